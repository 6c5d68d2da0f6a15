"""Trips: writing them, their states and gates, and when the worker has to look at them again."""
