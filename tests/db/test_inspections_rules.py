"""Rules that have to hold whatever the order and whoever comes at the same time."""

from __future__ import annotations

import threading
from datetime import timedelta
from itertools import permutations

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from fleet.clock import db_now
from fleet.models import Role, UnitState
from fleet.trips.service import create_trip
from inspections.models import Defect, Inspection, Signature
from inspections.services.acts import AlreadySigned
from inspections.services.amending import correct_inspection
from inspections.services.filing import file_inspection, sign_inspection
from inspections.services.mending import sign_repair
from tests import factories
from tests.api.test_inspections_filing import all_sound, defect


@pytest.fixture
def people(tarn):
    return {role: factories.make_member(tarn, role) for role in (Role.INSPECTOR, Role.MANAGER, Role.DISPATCHER)}


@pytest.fixture
def unit(tarn):
    return factories.make_unit(tarn)


def file_one(fleet, by, *, at, now, observations=None, sheet="post-trip", signature=True):
    filing = {
        "unit": "HB-104",
        "sheet": sheet,
        "performed_at": at,
        "observations": all_sound(sheet) if observations is None else observations,
        "signature": {} if signature else None,
    }
    return file_inspection(fleet, filing, by=by, now=now)


def standing_of(fleet) -> tuple:
    """What all records come to, without row ids and server times."""
    facts = UnitState.objects.for_fleet(fleet).get(unit__number="HB-104").facts
    summary = facts["inspections.pre_trip"][0]
    defects = sorted(
        Defect.objects.for_fleet(fleet)
        .exclude(state="withdrawn")
        .values_list("item", "state", "blocks", "opened_at", "seen_at", "repaired_at", "closed_at")
    )
    measured = {
        name: entry[:2] for name, entry in facts.items() if name.startswith("inspections.") and "pre" not in name
    }
    return (
        summary["result"], summary["performed_at"], summary["wear"], summary["unseen"],
        [(one["item"], one["state"]) for one in summary["defects"]], defects, measured,
    )  # fmt: skip


ACTS = range(4)


@pytest.mark.django_db
@pytest.mark.parametrize("order", list(permutations(ACTS)), ids=lambda order: "".join(map(str, order)))
def test_reports_in_any_order_of_arrival_come_to_the_same(tarn, unit, people, now, order):
    """Four reports, written hours apart, reach the service in every order."""
    by = people[Role.INSPECTOR]
    coolant = {"values": {"coolant_glycol_pct": 50}}
    reports = [
        (6, "pre-trip", all_sound(belt=defect(), coolant={"values": {"coolant_glycol_pct": 40}})),
        (5, "post-trip", all_sound("post-trip", leaks=defect("oil"))),
        (4, "pre-trip", all_sound(coil={"outcome": "wear"}, coolant=coolant)),
        (3, "post-trip", all_sound("post-trip", belt=defect("worse"))),
    ]
    for index in order:
        hours, sheet, seen = reports[index]
        file_one(tarn, by, at=now - timedelta(hours=hours), now=now, sheet=sheet, observations=seen)
    assert standing_of(tarn) == (
        "fit",
        (now - timedelta(hours=4)).isoformat().replace("+00:00", "Z"),
        ["Coil"],
        [],
        [("belt", "open"), ("leaks", "open")],
        [
            ("belt", "open", True, now - timedelta(hours=6), now - timedelta(hours=3), None, None),
            ("leaks", "open", True, now - timedelta(hours=5), now - timedelta(hours=5), None, None),
        ],
        {
            "inspections.coolant_glycol_pct": [50.0, stamp(now - timedelta(hours=4))],
            "inspections.in_progress": [False, stamp(now)],
        },
    )


def stamp(at) -> str:
    return at.strftime("%Y-%m-%dT%H:%M:%S.%fZ")


@pytest.mark.django_db
def test_a_repair_signed_for_an_earlier_moment_than_the_newest_defect_does_not_mend_it(tarn, unit, people, now):
    by = people[Role.INSPECTOR]
    row = file_one(tarn, by, at=now - timedelta(hours=3), now=now, observations=all_sound("post-trip", belt=defect()))
    file_one(tarn, by, at=now - timedelta(hours=1), now=now, observations=all_sound("post-trip", belt=defect()))
    seen = row.observations.get(item="belt")
    repair = {"observation": seen.pk, "kind": "repaired", "what_done": "new belt", "signature": {}}
    sign_repair(tarn, row.pk, repair | {"performed_at": now - timedelta(hours=2)}, by=by, now=now)
    assert Defect.objects.for_fleet(tarn).get().state == "open"
    sign_repair(tarn, row.pk, repair, by=by, now=now)
    assert Defect.objects.for_fleet(tarn).get().state == "repaired"


@pytest.mark.django_db
def test_every_act_moves_the_units_version_and_makes_its_trips_due(tarn, unit, people, now):
    factories.potato()
    trip = create_trip(tarn, plan(now), by=people[Role.DISPATCHER], now=now)
    versions = [UnitState.objects.for_fleet(tarn).get(unit=unit).version]

    def moved() -> bool:
        trip.refresh_from_db()
        versions.append(UnitState.objects.for_fleet(tarn).get(unit=unit).version)
        was_due = trip.assess_due_at == now
        type(trip).objects.for_fleet(tarn).update(assess_due_at=now + timedelta(hours=1))
        return was_due and versions[-1] > versions[-2]

    moved()
    by = people[Role.INSPECTOR]
    seen = all_sound("pre-trip", belt=defect())
    row = file_one(tarn, by, at=now, now=now, sheet="pre-trip", observations=seen, signature=False)
    assert moved()
    sign_inspection(tarn, row.pk, {}, revision=None, by=by, now=now)
    assert moved()
    repair = {"kind": "repaired", "what_done": "new belt", "signature": {}}
    repair["observation"] = row.observations.get(item="belt").pk
    sign_repair(tarn, row.pk, repair, by=by, now=now)
    assert moved()
    correct = {"reason": "the wrong unit", "observations": all_sound(), "signature": {}}
    correct_inspection(tarn, row.pk, correct, by=by, now=now)
    assert moved()


def plan(now) -> dict:
    body = factories.trip_body(now)
    from fleet.trips.serializers import TripInput

    serializer = TripInput(data=body)
    serializer.is_valid(raise_exception=True)
    return serializer.validated_data


@pytest.mark.django_db
def test_filing_costs_the_same_with_a_long_history(tarn, unit, people, now):
    by = people[Role.INSPECTOR]

    def statements(hour: int) -> int:
        with CaptureQueriesContext(connection) as context:
            file_one(tarn, by, at=now - timedelta(hours=hour), now=now)
        return len(context)

    statements(30)  # the very first one also publishes that nobody is inspecting
    early = statements(29)
    for hour in range(28, 9, -1):
        file_one(tarn, by, at=now - timedelta(hours=hour), now=now)
    assert statements(5) == early


@pytest.mark.django_db
@pytest.mark.parametrize(
    "change",
    [{"signed_at": None}, {"result": ""}, {"state": "draft"}, {"kind": "recheck"}],
)
def test_the_database_itself_refuses_half_a_signature(tarn, unit, people, now, change):
    row = file_one(tarn, people[Role.INSPECTOR], at=now, now=now)
    with pytest.raises(IntegrityError), transaction.atomic():
        Inspection.objects.for_fleet(tarn).filter(pk=row.pk).update(**change)


@pytest.mark.django_db(transaction=True)
def test_of_two_who_sign_one_draft_at_the_same_moment_one_is_told_that_it_is_signed(tarn, people):
    factories.make_unit(tarn)
    at = db_now()
    row = file_one(tarn, people[Role.INSPECTOR], at=at, now=at, signature=False)
    outcomes: list[str] = []
    barrier = threading.Barrier(2)

    def sign(role: Role) -> None:
        try:
            barrier.wait(timeout=10)
            sign_inspection(tarn, row.pk, {}, revision=None, by=people[role], now=db_now())
            outcomes.append("signed")
        except AlreadySigned:
            outcomes.append("refused")
        finally:
            connection.close()

    threads = [threading.Thread(target=sign, args=(role,)) for role in (Role.INSPECTOR, Role.MANAGER)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    assert sorted(outcomes) == ["refused", "signed"]
    assert Signature.objects.for_fleet(tarn).count() == 1
