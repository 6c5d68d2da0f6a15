"""The physics on pages."""
