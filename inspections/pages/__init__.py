"""Inspections on pages."""
