"""JSON out, by orjson: times in UTC with `Z`, decimals as numbers, everything else as JSON knows it."""

from collections.abc import Mapping
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import orjson
from django.utils.functional import Promise
from rest_framework.renderers import BaseRenderer

_OPTIONS = orjson.OPT_PASSTHROUGH_DATETIME | orjson.OPT_SERIALIZE_NUMPY


def instant_text(value: datetime) -> str:
    """RFC 3339 in UTC with `Z`; a naive time raises ValueError because nobody knows what it means."""
    if value.tzinfo is None:
        raise ValueError("a time without an offset cannot be sent")
    return value.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _encode(value: Any) -> Any:
    if isinstance(value, datetime):
        return instant_text(value)
    if isinstance(value, Decimal):
        return float(value)
    if isinstance(value, Promise):
        return str(value)
    raise TypeError(f"{type(value).__name__} has no JSON form here")


def dump_json(data: Any) -> bytes:
    """`data` as JSON bytes; TypeError for types that have no one JSON form."""
    return orjson.dumps(data, default=_encode, option=_OPTIONS)


class OrjsonRenderer(BaseRenderer):
    """The default renderer of every view."""

    media_type = "application/json"
    format = "json"
    charset = None
    render_style = "binary"

    def render(
        self,
        data: Any,
        accepted_media_type: str | None = None,
        renderer_context: Mapping[str, Any] | None = None,
    ) -> bytes:
        return b"" if data is None else dump_json(data)
