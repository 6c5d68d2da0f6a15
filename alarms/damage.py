"""How long there is time while heat is lost under way: read from the newest forecast, kept on the record, said."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from fleet.readiness.facts import instant


@dataclass(frozen=True, slots=True)
class Damage:
    """When the edge of the load reaches the temperature at which it takes damage, if no heat comes from now on."""

    after_h: float
    at: datetime
    limit_c: float


def damage_of(extras: Mapping[str, Any], *, limit_c: float | None) -> Damage | None:
    """The estimate in an answer's forecast; None when it holds none or the load has no damage limit."""
    forecast = extras.get("forecast") or {}
    after_h, at = forecast.get("damage_after_now_h"), forecast.get("damage_at")
    if after_h is None or at is None or limit_c is None:
        return None
    return Damage(float(after_h), instant(at), limit_c)


def damage_sentence(damage: Damage, *, zone: tzinfo) -> str:
    """The estimate for a person, in the fleet's own time.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2027, 1, 12, 3, 40, tzinfo=UTC)
    >>> damage_sentence(Damage(2.6, at, -0.6), zone=UTC)
    'edge of the load reaches −0.6 °C at about 03:40 (2.6 h)'
    """
    limit = f"{damage.limit_c:.1f}".replace("-", "−")
    if damage.after_h <= 0:
        return f"edge of the load may have reached {limit} °C"
    return f"edge of the load reaches {limit} °C at about {damage.at.astimezone(zone):%H:%M} ({damage.after_h:.1f} h)"
