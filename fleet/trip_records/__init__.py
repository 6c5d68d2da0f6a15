"""The record of a trip for whoever receives the load or settles a claim: as PDF, CSV and JSON Lines."""
