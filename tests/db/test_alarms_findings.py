"""What learning found becomes an alarm through an internal event, and only so."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import transaction

from alarms.findings import UnknownFinding
from alarms.models import Alarm, FaultEvent
from alarms.services.acts import void
from fleet.events import LEARNED_TYPE, Found, handlers, tell
from fleet.models import Fleet, Member, QuarantinedEvent, Role, Trip, Unit
from fleet.readiness.service import assess_trips
from fleet.units.state import lock_states
from tests import factories as f

Post = Callable[..., dict[str, Any]]
HOUR = timedelta(hours=1)
WHY = "Heat lost over heat given is 1.4 times what the design says."


@pytest.fixture
def unit(tarn: Fleet) -> Unit:
    return f.make_unit(tarn)


def say(unit: Unit, *findings: Found, now: datetime) -> None:
    with transaction.atomic():
        lock_states([unit.pk])
        tell(LEARNED_TYPE, unit.fleet_id, findings, now=now)


def worse(unit: Unit, at: datetime, *, there: bool = True) -> Found:
    return Found(unit.pk, at, "insulation-worse", there, WHY)


def alarm(code: str) -> Alarm:
    found: Alarm = Alarm.objects.across_fleets().filter(code=code).latest("pk")
    return found


def test_a_finding_opens_a_watch_tier_alarm_that_explains_itself(unit: Unit, now: datetime) -> None:
    say(unit, worse(unit, now - HOUR), now=now)
    one = alarm("insulation-worse")
    assert (one.tier, one.state, one.scheme, one.raised_at, one.text) == ("watch", "active", "derived", now - HOUR, WHY)


def test_the_same_finding_again_stores_nothing_and_its_end_returns_the_alarm(unit: Unit, now: datetime) -> None:
    say(unit, worse(unit, now), now=now)
    say(unit, worse(unit, now + HOUR), worse(unit, now + HOUR), now=now + HOUR)
    assert FaultEvent.objects.across_fleets().count() == 1
    say(unit, worse(unit, now + 2 * HOUR, there=False), now=now + 2 * HOUR)
    assert alarm("insulation-worse").state == "returned"


def test_what_a_manager_voided_is_not_raised_again_while_it_lasts(tarn: Fleet, unit: Unit, now: datetime) -> None:
    manager: Member = f.make_member(tarn, Role.MANAGER)
    say(unit, worse(unit, now), now=now)
    one = alarm("insulation-worse")
    void(one.pk, fleet=tarn, by=manager, revision=one.revision, reason="The door stood open all day.", now=now)
    say(unit, worse(unit, now + HOUR), now=now + HOUR)
    assert alarm("insulation-worse").state == "voided"


def test_an_assessment_leaves_findings_alone(warm_trip: Trip, now: datetime) -> None:
    unit = Unit.objects.across_fleets().get()
    say(unit, worse(unit, now), now=now)
    assess_trips([warm_trip.pk], now=now + timedelta(minutes=1))
    assert alarm("insulation-worse").state == "active"


def test_a_finding_makes_the_unit_s_trips_due(warm_trip: Trip, now: datetime) -> None:
    unit = Unit.objects.across_fleets().get()
    Trip.objects.across_fleets().update(assess_due_at=now + HOUR)
    say(unit, Found(unit.pk, now, "heat-gone", True, "No heat."), now=now)
    assert Trip.objects.across_fleets().get().assess_due_at == now


def test_the_wire_does_not_reach_an_internal_type(unit: Unit, post_events: Post, now: datetime) -> None:
    event = f.fault(now, "insulation-worse") | {"type": LEARNED_TYPE}
    assert post_events(event)["quarantined"] == 1
    assert QuarantinedEvent.objects.across_fleets().get().code == "unknown-type"
    assert LEARNED_TYPE not in handlers.ids()
    assert not Alarm.objects.across_fleets().exists()


def test_a_finding_without_words_is_an_error(unit: Unit, now: datetime) -> None:
    with pytest.raises(UnknownFinding):
        say(unit, Found(unit.pk, now, "made-up", True), now=now)
