"""Any order, any repetition and any cutting into batches of the same fault events ends in the same alarm rows."""

from __future__ import annotations

import itertools
from datetime import datetime, timedelta
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from alarms.models import Alarm, FaultEvent
from alarms.services.acts import sign_off
from alarms.services.refold import DERIVED_COLUMNS
from fleet.models import Fleet, Member, Role, Unit, UnitState
from tests import factories as f
from tests.db.conftest import post

CODES: tuple[dict[str, Any], ...] = ({"code": "fan-stuck"}, {"code": "coolant-hot-2"}, {"spn": 110, "fmi": 0})
numbers = itertools.count(1)
Said = tuple[int, int, bool, str, str]
"""Minute, place of the code, raised or not, source, text."""
said = st.tuples(
    st.integers(0, 12), st.integers(0, 2), st.booleans(), st.sampled_from(["a", "b"]), st.sampled_from(["", "hot"])
)


def event(unit: Unit, index: int, what: Said, now: datetime) -> dict[str, Any]:
    minute, code, raised, source, text = what
    at = now - timedelta(minutes=30 - minute)
    data = {"state": "raised" if raised else "cleared", **CODES[code]} | ({"text": text} if text else {})
    return f.fault(at, "x", unit=unit.number, id_=f"{unit.number}-{index:02}", source=source) | {"data": data}


def records_of(unit: Unit) -> list[dict[str, Any]]:
    columns = ("scheme", "code", "state", "tier", "repeat", *DERIVED_COLUMNS)
    return list(Alarm.objects.across_fleets().filter(unit=unit).order_by("scheme", "code", "id").values(*columns))


def summary_of(unit: Unit) -> dict[str, Any]:
    facts = UnitState.objects.across_fleets().get(unit=unit).facts
    listed = facts.get("alarms.open", [[]])[0]
    return {
        "open": sorted((alarm["code"], alarm["state"], alarm["raised_at"]) for alarm in listed),
        "count": facts.get("alarms.open_count", [0])[0],
        "last_stop_at": facts.get("alarms.last_stop_at", [None])[0],
    }


def new_unit(fleet: Fleet) -> Unit:
    unit: Unit = f.make_unit(fleet, f"P-{next(numbers):05}")
    return unit


def batches(events: list[dict[str, Any]], cuts: list[int]) -> list[list[dict[str, Any]]]:
    edges = sorted({0, len(events), *(cut % (len(events) + 1) for cut in cuts)})
    return [events[start:end] for start, end in itertools.pairwise(edges) if end > start]


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    events=st.lists(said, min_size=1, max_size=12),
    repeats=st.lists(st.integers(0, 11), max_size=5),
    cuts=st.lists(st.integers(0, 20), max_size=5),
    random=st.randoms(use_true_random=False),
)
def test_any_order_and_repetition_gives_the_same_rows(
    tarn: Fleet, now: datetime, events: list[Said], repeats: list[int], cuts: list[int], random: Any
) -> None:
    straight, shuffled = new_unit(tarn), new_unit(tarn)
    in_order = [event(straight, index, what, now) for index, what in enumerate(events)]
    in_order.sort(key=lambda one: (one["time"], one["source"], one["id"]))
    post(tarn, *in_order, now=now)
    arriving = [event(shuffled, index, what, now) for index, what in enumerate(events)]
    arriving += [arriving[place % len(events)] for place in repeats]
    random.shuffle(arriving)
    for batch in batches(arriving, cuts):
        post(tarn, *batch, now=now)
    assert records_of(shuffled) == records_of(straight)
    assert summary_of(shuffled) == summary_of(straight)
    assert FaultEvent.objects.across_fleets().filter(unit=shuffled).count() == len(events)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    before=st.lists(st.booleans(), max_size=4),
    late=st.lists(st.booleans(), max_size=4),
    after=st.lists(st.booleans(), max_size=4),
    random=st.randoms(use_true_random=False),
)
def test_what_arrives_after_a_signature_ends_in_the_same_open_records_in_any_order(
    tarn: Fleet, now: datetime, before: list[bool], late: list[bool], after: list[bool], random: Any
) -> None:
    """Reports from before and after the signature, in two orders of arrival after it."""
    first, second = new_unit(tarn), new_unit(tarn)
    by = Member.objects.filter(fleet=tarn, role=Role.INSPECTOR).first() or f.make_member(tarn, Role.INSPECTOR)
    for unit in (first, second):
        known = [
            event(unit, index, (index, 0, raised, "a", ""), now) for index, raised in enumerate([*before, True, False])
        ]
        post(tarn, *known, now=now)
        alarm = Alarm.objects.across_fleets().get(unit=unit)
        sign_off(alarm.pk, fleet=tarn, by=by, work_done="Repaired.", revision=None, now=now - timedelta(minutes=15))
    said = [(9 + index / 8, raised) for index, raised in enumerate(late)]
    said += [(20 + index, raised) for index, raised in enumerate(after)]
    for unit, arriving in ((first, said), (second, random.sample(said, len(said)))):
        for minute, raised in arriving:
            place = said.index((minute, raised))
            at = now - timedelta(minutes=30 - minute)
            id_ = f"{unit.number}-later-{place:02}"
            sent = f.fault(at, "fan-stuck", unit=unit.number, id_=id_, source="a")
            post(tarn, sent | {"data": {"state": "raised" if raised else "cleared", **CODES[0]}}, now=now)

    def live(unit: Unit) -> list[dict[str, Any]]:
        return [row for row in records_of(unit) if row["state"] != "voided"]

    assert live(first) == live(second)
    assert summary_of(first) == summary_of(second)
