"""Learning from readings what no one asked the unit: how its box, heater and tank really are. Pure numpy."""
