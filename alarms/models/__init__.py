"""Rows of the app: code books, fault events and alarms in `records`; who was told of what in `notices`."""

from alarms.models.notices import (
    UNFINISHED,
    WAITING,
    Channel,
    Delivery,
    Kind,
    Notice,
    NoticeRoute,
    NoticeSubject,
)
from alarms.models.records import OPEN_STATES, Alarm, CodeBook, CodeEntry, FaultEvent, Mapping, Scheme, Tier

__all__ = [
    "OPEN_STATES",
    "UNFINISHED",
    "WAITING",
    "Alarm",
    "Channel",
    "CodeBook",
    "CodeEntry",
    "Delivery",
    "FaultEvent",
    "Kind",
    "Mapping",
    "Notice",
    "NoticeRoute",
    "NoticeSubject",
    "Scheme",
    "Tier",
]
