"""Faults that no unit reports and our own rules find: what a rule may read, and the rules by subject."""
