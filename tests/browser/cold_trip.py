"""A trip that is blocked by the cold alone: a hold that a manager may release."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from tests.browser.calls import Api
from tests.waiting import wait_for

NEVER = -60.0
"""Nothing that a heater of the demo can do keeps a load warm in this cold: a block that a manager may release."""


def stamp(at: datetime) -> str:
    return at.isoformat(timespec="seconds").replace("+00:00", "Z")


def too_cold(reference: str, unit: str) -> dict[str, Any]:
    """A trip that loads soon and goes where no heater helps."""
    now = datetime.now(UTC)
    depart = now + timedelta(hours=3)
    return {
        "reference": reference, "planned_unit": unit, "loading_at": stamp(now + timedelta(hours=2)),
        "depart_at": stamp(depart),
        "load": {"commodity": "potato", "mass_kg": 9000, "temperature_c": 8.0, "set_point_c": 8.0},
        "stops": [{"place": "Norrholm market", "arrive_at": stamp(depart + timedelta(hours=9))}],
        "ambient": [{"at": stamp(now - timedelta(hours=1)), "temp_c": NEVER},
                    {"at": stamp(now + timedelta(hours=24)), "temp_c": NEVER}],
        "ambient_issued_at": stamp(now), "help": {"median_h": 3.0, "p90_h": 6.0},
    }  # fmt: skip


def hold_of(desk: Api, reference: str, unit: str) -> int:
    """Files such a trip, waits for its hold, returns the hold's id."""
    desk.post("trips/", too_cold(reference, unit))

    def hold() -> Any:
        rows = desk.get(f"holds/?trip={reference}&state=open")["items"]
        return rows[0]["id"] if rows else None

    return int(wait_for("the hold", hold, within_s=40, look_every_s=0.5))
