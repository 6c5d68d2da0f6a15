"""Rows for tests of notices: held trips and alarms, announced as their own services announce them."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from alarms.deliveries.sending import deliver_due
from alarms.models import Alarm, CodeBook, CodeEntry, Scheme, Tier
from alarms.notices.listener import alarm_changed, hold_changed
from alarms.watchers import AlarmChange
from fleet.holds import HoldChange
from fleet.models import Fleet, Hold, Trip, Unit
from tests import factories

MIN, HOUR = timedelta(minutes=1), timedelta(hours=1)


def run(now: datetime) -> int:
    """Everything that is due at this moment, as the deliver task does it; how many messages were sent."""
    return deliver_due(clock=lambda: now).sent


def a_unit(fleet: Fleet, number: str = "HB-104") -> Unit:
    return Unit.objects.for_fleet(fleet).filter(number=number).first() or factories.make_unit(fleet, number)


def a_trip(fleet: Fleet, now: datetime, *, leaves_in: timedelta = HOUR, reference: str = "T-1", **changes: Any) -> Trip:
    depart = now + leaves_in
    columns = {
        "loading_at": depart - HOUR, "depart_at": depart, "arrive_at": depart + 10 * HOUR,
        "stops": [{"place": "Norrholm market", "arrive_at": (depart + 10 * HOUR).isoformat()}], **changes,
    }  # fmt: skip
    return Trip.objects.create(fleet=fleet, reference=reference, **columns)


def cause(
    key: str = "thermal.fuel", *, message: str = "Fuel is short by 23 L.", outcome: str = "block"
) -> dict[str, Any]:
    return {
        "key": key, "check": key.split(":", maxsplit=1)[0], "outcome": outcome, "message": message,
        "remedy": "Refuel 23 L.", "releasable": True, "since": "2027-01-12T05:00:00+00:00",
    }  # fmt: skip


def held(
    fleet: Fleet,
    now: datetime,
    *,
    leaves_in: timedelta = HOUR,
    reference: str = "T-1",
    number: str = "HB-104",
    causes: list[dict[str, Any]] | None = None,
) -> Hold:
    """A trip that is held, as the assessment would have left it."""
    unit = a_unit(fleet, number)
    trip = a_trip(fleet, now, leaves_in=leaves_in, reference=reference, planned_unit=unit)
    hold = Hold.objects.create(
        fleet=fleet, trip=trip, unit=unit, causes=causes or [cause()], opened_at=now, changed_at=now
    )
    with transaction.atomic():
        hold_changed(hold, HoldChange.OPENED, now)
    return hold


def end(hold: Hold, now: datetime, *, state: Hold.State = Hold.State.LIFTED, reason: str = "signed_off") -> None:
    hold.state, hold.closed_at, hold.close_reason = state, now, reason
    hold.save()
    with transaction.atomic():
        hold_changed(hold, HoldChange.ENDED, now)


def an_alarm(
    fleet: Fleet, now: datetime, *, code: str = "coolant-hot-2", tier: Tier = Tier.STOP, number: str = "HB-104",
    scheme: Scheme = Scheme.BOOK, **columns: Any,
) -> Alarm:  # fmt: skip
    alarm = Alarm.objects.create(
        fleet=fleet, unit=a_unit(fleet, number), scheme=scheme, code=code, opened_at=now, raised_at=now,
        last_event_at=now, tier=tier, component="coolant", meaning="Coolant far too hot.",
        what_to_do="Stop the heater and let it cool; a technician looks for the leak.", mapping="book", **columns,
    )  # fmt: skip
    with transaction.atomic():
        alarm_changed(alarm, AlarmChange.OPENED, now)
    return alarm


def stop_book(fleet: Fleet, unit: Unit, now: datetime, code: str = "coolant-hot-2") -> None:
    """A code book in which one code stops the unit."""
    book = CodeBook.objects.create(fleet=fleet, unit_model=unit.model, version=1, entry_count=1, imported_at=now)
    CodeEntry.objects.create(
        book=book, code=code, tier=Tier.STOP, component="coolant", meaning="Coolant far too hot.",
        what_to_do="Stop the heater and let it cool; a technician looks for the leak.",
    )  # fmt: skip
