"""Puts these pages into fleet's navigation and onto its pages."""


def register() -> None:
    """Called once, when the app is ready."""
