"""Sheets of a fleet, forms for a unit, carried defects, history, services and the list of work."""

from __future__ import annotations

from datetime import timedelta

import pytest

from fleet.models import Role, Unit, UnitState
from fleet.units.state import put_facts
from inspections.builtin import built_in_documents, load_built_in_sheets
from inspections.models import Sheet
from tests import factories
from tests.api.test_inspections_filing import URL, all_sound, defect, filing
from tests.factories import instant

pytestmark = pytest.mark.django_db
SHEETS = "/api/v1/inspection-sheets/"


@pytest.fixture
def unit(tarn):
    model = factories.make_model(
        tarn, belt_tension_low_n=300.0, belt_tension_high_n=500.0, service_every_h=500.0, service_every_months=6.0
    )
    return factories.make_unit(tarn, model=model, serviced_at_h=1500.0)


@pytest.fixture
def manager(client_of, tarn):
    return client_of(tarn, Role.MANAGER)


def copy_of(sheet: dict) -> dict:
    return {name: sheet[name] for name in ("key", "kind", "title", "intro", "groups")}


def test_every_fleet_has_the_built_in_sheets_and_loading_them_again_changes_nothing(inspector, tarn):
    before = list(Sheet.objects.across_fleets().values())
    load_built_in_sheets()
    assert list(Sheet.objects.across_fleets().values()) == before
    listed = inspector.get(SHEETS).json()["items"]
    assert {(one["key"], one["kind"], one["own"]) for one in listed} == {
        ("pre-trip", "pre_trip", False), ("loading", "loading", False), ("post-trip", "post_trip", False),
        ("seasonal", "seasonal", False),
    }  # fmt: skip


@pytest.mark.parametrize("key", [document["key"] for document in built_in_documents()])
def test_a_fleet_copies_a_built_in_sheet_as_it_is_answered(manager, tarn, key):
    original = next(one for one in manager.get(f"{SHEETS}?key={key}").json()["items"])
    answer = manager.post(SHEETS, copy_of(original))
    assert answer.status_code == 201, answer.content
    assert (answer.json()["own"], answer.json()["version"]) == (True, 1)
    assert [one["own"] for one in manager.get(f"{SHEETS}?key={key}").json()["items"]] == [True]


def test_a_filled_inspection_keeps_the_version_it_used(manager, unit):
    first = copy_of(manager.get(f"{SHEETS}?key=pre-trip").json()["items"][0])
    manager.post(SHEETS, first)
    old = manager.post(URL, filing()).json()
    first["groups"] = first["groups"][:1]
    assert manager.post(SHEETS, first).json()["version"] == 2
    seen = all_sound()[:12]
    new = manager.post(URL, filing(observations=seen, signature={"reviewed": old["id"]})).json()
    assert (new["sheet_version"], new["result"], len(new["observations"])) == (2, "fit", 12)
    assert manager.get(f"{URL}{old['id']}/").json()["sheet_version"] == 1
    offline = filing(sheet_version=1, signature={"reviewed": new["id"]})
    assert manager.post(URL, offline).json()["sheet_version"] == 1


def test_a_sheet_of_a_unit_model_is_used_for_its_units_only(manager, unit, tarn):
    factories.make_unit(tarn, "HB-900", factories.make_model(tarn, "box-9"))
    sheet = copy_of(manager.get(f"{SHEETS}?key=pre-trip").json()["items"][0])
    assert manager.post(SHEETS, sheet | {"unit_model": "box-9", "title": "For the nine"}).status_code == 201
    titles = [
        manager.get(f"/api/v1/units/{number}/inspection-form/").json()["title"] for number in ("HB-900", "HB-104")
    ]
    assert titles == ["For the nine", "Pre-trip inspection"]


@pytest.mark.parametrize(
    ("change", "pointer", "code"),
    [
        ({"key": "belt"}, "/groups/0/items/1/key", "bad-key"),
        ({"key": "Big Key"}, "/groups/0/items/1/key", "bad-key"),
        ({"measures": [{"name": "light_years"}]}, "/groups/0/items/1/measures/0/name", "invalid-choice"),
        (
            {"measures": [{"name": "fuel_dip_l", "high_design": "colour"}]},
            "/groups/0/items/1/measures/0/high_design",
            "unknown-design-value",
        ),
        (
            {"measures": [{"name": "fuel_dip_l", "high": 1, "high_design": "tank_l"}]},
            "/groups/0/items/1/measures/0/high",
            "contradiction",
        ),
    ],
)
def test_a_sheet_nobody_could_fill_is_refused(manager, change, pointer, code):
    item = {"key": "belt", "label": "Belts", "look_for": "cracks", "blocks": True}
    second = item | {"key": "second"} | change
    sheet = {"key": "mine", "kind": "pre_trip", "title": "Mine",
             "groups": [{"key": "all", "title": "All", "items": [item, second]}]}  # fmt: skip
    answer = manager.post(SHEETS, sheet)
    assert answer.status_code == 400
    assert [(one["pointer"], one["code"]) for one in answer.json()["errors"]] == [(pointer, code)]


def test_only_managers_change_sheets_and_a_sheet_keeps_its_kind(manager, inspector):
    sheet = copy_of(manager.get(f"{SHEETS}?key=loading").json()["items"][0])
    assert inspector.post(SHEETS, sheet).status_code == 403
    manager.post(SHEETS, sheet)
    assert manager.post(SHEETS, sheet | {"kind": "pre_trip"}).json()["errors"][0]["code"] == "kind-changed"


def test_a_fleets_sheet_is_its_own(client_of, manager, other):
    sheet = copy_of(manager.get(f"{SHEETS}?key=loading").json()["items"][0])
    made = manager.post(SHEETS, sheet)
    stranger = client_of(other, Role.MANAGER)
    assert stranger.get(made["Location"]).status_code == 404
    assert [one["own"] for one in stranger.get(f"{SHEETS}?key=loading").json()["items"]] == [False]


def test_the_form_shows_this_units_limits(inspector, unit):
    form = inspector.get("/api/v1/units/HB-104/inspection-form/").json()
    items = {item["key"]: item for group in form["groups"] for item in group["items"]}
    assert items["belt"]["measures"] == [
        {"name": "belt_tension_n", "required": False, "low": 300.0, "high": 500.0, "count": 1}
    ]
    assert items["fuel"]["measures"][0]["high"] == 190.0
    assert items["battery"]["measures"][0]["low"] == pytest.approx(12.2)
    assert "396.11" in form["caution"]
    assert form["last_report"] is None


def test_a_24_volt_unit_has_24_volt_limits(inspector, tarn):
    factories.make_unit(tarn, "HB-24", factories.make_model(tarn, "box-24", nominal_v=24.0))
    form = inspector.get("/api/v1/units/HB-24/inspection-form/?sheet=seasonal").json()
    items = {item["key"]: item for group in form["groups"] for item in group["items"]}
    assert items["battery"]["measures"][0]["low"] == pytest.approx(24.8)


def test_defects_are_carried_over_to_the_next_sheet_until_they_are_closed(inspector, unit):
    found = inspector.post(URL, filing(observations=all_sound(belt=defect()))).json()
    form = inspector.get("/api/v1/units/HB-104/inspection-form/?sheet=pre-trip").json()
    items = {item["key"]: item for group in form["groups"] for item in group["items"]}
    [carried] = items["belt"]["carried"]
    assert (carried["note"], carried["state"], carried["inspection"]) == ("frayed on one side", "open", found["id"])
    assert form["last_report"]["id"] == found["id"]
    assert form["last_report"]["observations"][0]["state"] == "open"
    loading = inspector.get("/api/v1/units/HB-104/inspection-form/?sheet=loading").json()
    assert [one["id"] for one in loading["carried_elsewhere"]] == [carried["id"]]


def test_open_alarms_stand_on_the_form_and_watch_tier_ones_on_the_work_list(inspector, unit, now):
    watch = {"id": 1, "tier": "watch", "code": "filter-old", "meaning": "Filter is old"}
    stop = {"id": 2, "tier": "stop", "code": "coolant-hot-2", "meaning": "Coolant too hot"}
    put_facts({unit.pk: {"alarms.open": [watch, stop]}}, at=now, source="alarms")
    assert len(inspector.get("/api/v1/units/HB-104/inspection-form/").json()["open_alarms"]) == 2
    [row] = inspector.get("/api/v1/work-due/").json()["items"]
    assert row["watch_alarms"] == [watch]


def test_history_tells_which_belts_fail_and_at_what_hours(inspector, unit, tarn, post_events, now):
    post_events(factories.reading(now - timedelta(minutes=5), engine_hours_h=1834.2))
    inspector.post(URL, filing(observations=all_sound(belt=defect())))
    hours = all_sound("post-trip", start_up={"values": {"engine_hours_h": 1840.0}}, leaks=defect("oil below"))
    inspector.post(URL, filing(sheet="post-trip", observations=hours))
    history = inspector.get("/api/v1/units/HB-104/observations/?item=belt").json()["items"]
    assert [(one["outcome"], one["engine_hours_h"]) for one in history] == [("sound", 1840.0), ("defect", 1834.2)]
    counts = {one["item"]: one for one in inspector.get("/api/v1/defect-counts/").json()["items"]}
    assert (counts["belt"]["defects"], counts["belt"]["engine_hours_median_h"]) == (1, 1834.2)
    assert counts["leaks"]["engine_hours_min_h"] == 1840.0
    assert [one["item"] for one in inspector.get("/api/v1/defect-counts/?item=belt").json()["items"]] == ["belt"]


def test_a_service_moves_the_plan_and_voids_the_inspection(inspector, unit, tarn, now):
    inspector.post(URL, filing())
    body = {"engine_hours_h": 2005.0, "what_done": "oil and filters", "done_by": "Rask workshop", "signature": {}}
    answer = inspector.post("/api/v1/units/HB-104/service/", body, HTTP_IDEMPOTENCY_KEY="s-1")
    assert answer.status_code == 201, answer.content
    assert answer.json()["signatures"][0]["meaning"] == "performed"
    row = Unit.objects.for_fleet(tarn).get(number="HB-104")
    assert (row.serviced_at_h, row.serviced_on) == (2005.0, now.date())
    standing = UnitState.objects.for_fleet(tarn).get(unit=unit).facts["inspections.pre_trip"][0]
    assert standing["work_at"] > standing["performed_at"]
    late = body | {"engine_hours_h": 1900.0, "performed_at": instant(now - timedelta(days=20))}
    assert inspector.post("/api/v1/units/HB-104/service/", late).status_code == 201
    row.refresh_from_db()
    assert row.serviced_at_h == 2005.0
    assert len(inspector.get("/api/v1/units/HB-104/service/").json()["items"]) == 2


def test_the_work_list_puts_the_overdue_first_and_never_calls_the_unknown_fine(inspector, unit, tarn, post_events, now):
    factories.make_unit(tarn, "HB-105", unit.model)
    factories.make_unit(tarn, "HB-106", unit.model, serviced_at_h=1800.0, serviced_on=now.date())
    factories.make_unit(tarn, "HB-107", factories.make_model(tarn, "no-plan"))
    for number, hours in (("HB-104", 2001.0), ("HB-106", 1834.0)):
        post_events(factories.reading(now, unit=number, engine_hours_h=hours))
    rows = inspector.get("/api/v1/work-due/").json()["items"]
    assert [(row["unit"], row["service"]) for row in rows] == [
        ("HB-104", "overdue"), ("HB-105", "unknown"), ("HB-106", "later"), ("HB-107", "no_plan"),
    ]  # fmt: skip
    assert rows[0]["hours_left_h"] == -1.0
    assert [row["unit"] for row in inspector.get("/api/v1/work-due/?unit=HB-105").json()["items"]] == ["HB-105"]
    assert inspector.get("/api/v1/work-due/?unit=HB-999").status_code == 404


def test_another_fleets_units_are_not_found(client_of, other, unit):
    stranger = client_of(other, Role.MANAGER)
    paths = ("inspection-form/", "observations/", "service/")
    assert [stranger.get(f"/api/v1/units/HB-104/{path}").status_code for path in paths] == [404, 404, 404]
    body = {"engine_hours_h": 1.0, "what_done": "oil", "signature": {}}
    assert stranger.post("/api/v1/units/HB-104/service/", body).status_code == 404
    assert stranger.get("/api/v1/work-due/").json()["items"] == []
    assert stranger.get("/api/v1/defect-counts/").json()["items"] == []
