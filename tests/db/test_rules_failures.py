"""What breaks costs itself: a handler its own events, a check its own answer, a listener its own work."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import OperationalError

from fleet import retry
from fleet.events import EventHandler, Handled, handlers
from fleet.holds import HoldListener, listeners
from fleet.models import Fleet, Hold, QuarantinedEvent, Reading, Trip
from fleet.readiness.assess import assess
from fleet.readiness.registry import checks
from fleet.readiness.selectors import facts_of_trips, trips_with_units
from fleet.readiness.service import assess_trips, readiness
from tests.db.conftest import post
from tests.factories import fault, reading

S = timedelta(seconds=1)


@pytest.fixture
def registries() -> Iterator[None]:
    """Lets a test replace contributions, and puts everything back."""
    kept = [(registry, dict(registry._by_id)) for registry in (handlers, checks, listeners)]
    yield
    for registry, by_id in kept:
        registry._by_id.clear()
        registry._by_id.update(by_id)  # type: ignore[arg-type]


def explode(*args: Any) -> Any:
    raise RuntimeError("boom")


def test_a_handler_that_raises_costs_its_own_events_and_not_the_batch(
    tarn: Fleet, warm_trip: Trip, now: datetime, registries: None
) -> None:
    handlers._by_id["unit.fault.v1"] = EventHandler("unit.fault.v1", dict, explode)
    stored = Reading.objects.across_fleets().count()
    answer = post(tarn, reading(now + S), fault(now + S, "coolant-hot-2"), now=now)
    assert (answer.accepted, answer.count("quarantined")) == (1, 1)
    assert Reading.objects.across_fleets().count() == stored + 1
    kept = QuarantinedEvent.objects.for_fleet(tarn).get()
    assert (kept.code, kept.retryable) == ("handler-failed", True)


def test_a_handler_that_wrote_before_it_raised_leaves_nothing_behind(
    tarn: Fleet, warm_trip: Trip, now: datetime, registries: None
) -> None:
    def write_then_explode(fleet_id: int, events: Any, at: datetime) -> Handled:
        Trip.objects.for_fleet(fleet_id).update(cancel_reason="half written")
        return explode()  # type: ignore[no-any-return]

    handlers._by_id["unit.fault.v1"] = EventHandler("unit.fault.v1", dict, write_then_explode)
    post(tarn, fault(now, "coolant-hot-2"), now=now)
    assert Trip.objects.for_fleet(tarn).get().cancel_reason == ""


def test_a_fault_in_quarantine_makes_the_stop_tier_unknown_after_its_due_time(
    tarn: Fleet, warm_trip: Trip, now: datetime, registries: None
) -> None:
    handlers._by_id["unit.fault.v1"] = EventHandler("unit.fault.v1", dict, explode)
    post(tarn, fault(now, "coolant-hot-2"), now=now)
    late = warm_trip.loading_at + S
    post(tarn, reading(late), now=late)
    answer = assess(facts_of_trips(trips_with_units([warm_trip.pk])), now=late)[0]
    outcome = {finding.check: finding.outcome for finding in answer.findings}
    assert outcome["alarms.stop_tier"] == "unknown"
    assert answer.verdict in ("unknown", "blocked")


def test_a_broken_check_is_unknown_not_clear_and_is_asked_again_later_and_later(
    tarn: Fleet, warm_trip: Trip, now: datetime, registries: None
) -> None:
    checks._by_id["fleet.telemetry"] = replace(checks["fleet.telemetry"], judge=explode, due=lambda facts: None)
    waits = []
    for _ in range(3):
        assess_trips([warm_trip.pk], now=now)
        trip = Trip.objects.for_fleet(tarn).get()
        assert trip.assess_due_at is not None
        waits.append(trip.assess_due_at - now)
    assert readiness(tarn.pk, "T-1")["verdict"] == "unknown"
    assert waits == sorted(set(waits))


def test_a_broken_listener_does_not_undo_the_hold(
    tarn: Fleet, warm_trip: Trip, now: datetime, registries: None
) -> None:
    listeners.add(HoldListener("test.broken", told=explode, missed=lambda at: 0))
    post(tarn, reading(now + S, set_point_c=2.0), now=now)
    assess_trips([warm_trip.pk], now=now + S)
    assert Hold.objects.for_fleet(tarn).get().state == Hold.State.OPEN


def test_a_transaction_the_database_gave_up_is_tried_three_times() -> None:
    tries = []

    def work() -> str:
        tries.append(1)
        if len(tries) < 3:
            raise OperationalError("database is locked")
        return "done"

    assert retry.on_conflict(work) == "done"
    with pytest.raises(OperationalError):
        retry.on_conflict(lambda: (_ for _ in ()).throw(OperationalError("database is locked")))


def test_other_database_errors_are_not_tried_again() -> None:
    tries = []

    def work() -> None:
        tries.append(1)
        raise OperationalError("no such table")

    with pytest.raises(OperationalError):
        retry.on_conflict(work)
    assert len(tries) == 1
