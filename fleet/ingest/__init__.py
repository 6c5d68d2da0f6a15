"""The way of an event from the wire into rows: parse, write readings, move unit state, run handlers, quarantine."""
