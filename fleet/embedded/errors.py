"""What can stop the embedded service from starting, in words for the person who started it."""

from __future__ import annotations


class CannotStart(RuntimeError):
    """The service cannot start; the message says what to do."""
