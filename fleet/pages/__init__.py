"""Pages for people: rendered on the server, readable without scripts, in the reader's own units and time zone."""
