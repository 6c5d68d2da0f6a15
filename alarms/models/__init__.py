"""Rows of the app: code books, fault events and alarms in `records`; who was told of what in `notices`."""

from alarms.models.records import OPEN_STATES, Alarm, CodeBook, CodeEntry, FaultEvent, Mapping, Scheme, Tier

__all__ = ["OPEN_STATES", "Alarm", "CodeBook", "CodeEntry", "FaultEvent", "Mapping", "Scheme", "Tier"]
