"""Log lines as JSON objects that name the request they belong to. Bodies, headers and tokens are never
logged."""

import logging
from datetime import UTC, datetime
from typing import Any

import orjson

from fleet.http.context import current


class JsonFormatter(logging.Formatter):
    """One JSON object per line: time, level, logger, message, the request's ids, and the record's
    `fields`."""

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat().replace("+00:00", "Z"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        if (context := current()) is not None:
            line["request_id"] = context.request_id
            line["fleet_id"] = context.fleet_id
            line["member_id"] = context.member_id
        line.update(getattr(record, "fields", {}))
        if record.exc_info:
            line["exception"] = self.formatException(record.exc_info)
        return orjson.dumps(line, default=str).decode()
