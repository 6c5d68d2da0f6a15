"""Events as JSON text in the CloudEvents 1.0 shape."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from typing import Any

READING, FAULT = "unit.reading.v1", "unit.fault.v1"


def instant(start: datetime, at_s: float) -> str:
    """Return a time of the simulation as RFC 3339 in UTC, whole seconds."""
    return (start + timedelta(seconds=round(at_s))).strftime("%Y-%m-%dT%H:%M:%SZ")


def event_text(*, kind: str, event_id: str, source: str, subject: str, time: str, data: dict[str, Any]) -> str:
    """Return one event as compact JSON, keys in a fixed order."""
    event = {
        "specversion": "1.0",
        "id": event_id,
        "source": source,
        "type": kind,
        "subject": subject,
        "time": time,
        "data": data,
    }
    return json.dumps(event, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
