"""Writes of inspections: each a keyword-only verb that opens one transaction and locks the unit's state first."""
