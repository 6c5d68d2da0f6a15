"""JSON out, by orjson: times in UTC with `Z`, decimals as numbers, everything else as JSON knows it."""

import math
from collections.abc import Mapping
from datetime import UTC, date, datetime, time
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
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, Decimal):
        return float(value)
    if isinstance(value, Promise):
        return str(value)
    raise TypeError(f"{type(value).__name__} has no JSON form here")


def refuse_not_finite(data: Any) -> None:
    """ValueError if a NaN or an infinity is anywhere in `data`.

    orjson would write it as null, and null means something here: "does not freeze before arrival". A failed
    calculation must not read like good news.
    """
    pending = [data]
    while pending:
        value = pending.pop()
        if isinstance(value, float):
            if not math.isfinite(value):
                raise ValueError("a number that is not finite cannot be sent")
        elif isinstance(value, dict):
            pending.extend(value.values())
        elif isinstance(value, list | tuple):
            pending.extend(value)
        elif hasattr(value, "tolist"):  # arrays, and the scalars of arrays that are no float
            pending.append(value.tolist())


def dump_json(data: Any) -> bytes:
    """`data` as JSON bytes; TypeError for types without one JSON form, ValueError for numbers without any."""
    refuse_not_finite(data)
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
