"""Filing inspections over HTTP: whole, as a draft, refused."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from fleet.models import AuditEntry, Role, UnitState
from inspections.builtin import built_in_documents
from inspections.models import Inspection, Observation
from tests import factories
from tests.factories import instant

pytestmark = pytest.mark.django_db
URL = "/api/v1/inspections/"


def items(sheet: str = "pre-trip") -> list[dict[str, Any]]:
    document = next(one for one in built_in_documents() if one["key"] == sheet)
    return [item for group in document["groups"] for item in group["items"]]


def all_sound(sheet: str = "pre-trip", **changes: dict[str, Any]) -> list[dict[str, Any]]:
    """Every item sound, but for those named in *changes* (`snow_ice={...}`)."""
    return [{"item": item["key"], "outcome": "sound"} | changes.get(item["key"], {}) for item in items(sheet)]


def filing(**changes: Any) -> dict[str, Any]:
    return {"sheet": "pre-trip", "unit": "HB-104", "observations": all_sound(), "signature": {}} | changes


def defect(note: str = "frayed on one side") -> dict[str, Any]:
    return {"outcome": "defect", "note": note}


def test_a_whole_inspection_is_signed_at_once(inspector, unit, tarn):
    answer = inspector.post(URL, filing())
    assert answer.status_code == 201, answer.content
    body = answer.json()
    assert (body["state"], body["result"], body["arrival"]) == ("signed", "fit", "in_time")
    assert answer["Location"] == f"/api/v1/inspections/{body['id']}/"
    assert answer["ETag"] == '"1"'
    [signature] = body["signatures"]
    assert (signature["name"], signature["role"], signature["meaning"]) == (
        "inspector of Tarn Haulage", "inspector", "performed",
    )  # fmt: skip
    assert len(body["content_hash"]) == 64
    fact = UnitState.objects.for_fleet(tarn).get(unit=unit).facts["inspections.pre_trip"][0]
    assert (fact["result"], fact["unseen"], fact["defects"]) == ("fit", [], [])
    assert AuditEntry.objects.for_fleet(tarn).filter(act="inspection.signed").count() == 1


def test_items_nobody_wrote_about_are_not_seen_and_the_result_is_incomplete(inspector, unit):
    some = [one for one in all_sound() if one["item"] not in ("battery", "air_chute")]
    body = inspector.post(URL, filing(observations=some)).json()
    outcomes = {one["item"]: one["outcome"] for one in body["observations"]}
    assert (outcomes["battery"], outcomes["air_chute"], outcomes["belt"]) == ("not_seen", "not_seen", "sound")
    assert body["result"] == "incomplete"


def test_a_part_that_is_not_fitted_is_no_gap(inspector, unit):
    some = [one for one in all_sound() if one["item"] != "air_chute"]
    assert inspector.post(URL, filing(observations=some)).json()["result"] == "fit"


def test_a_blocking_defect_makes_the_unit_unfit_even_when_the_sheet_is_incomplete(inspector, unit):
    body = inspector.post(URL, filing(observations=[{"item": "belt"} | defect()])).json()
    assert body["result"] == "unfit"


def test_a_draft_is_filled_step_by_step_and_then_signed(inspector, unit, tarn):
    begun = inspector.post(URL, {"sheet": "pre-trip", "unit": "HB-104"})
    assert (begun.status_code, begun.json()["state"], begun.json()["result"]) == (201, "draft", "")
    progress = UnitState.objects.for_fleet(tarn).get(unit=unit).facts["inspections.in_progress"][0]
    assert progress["inspection"] == begun.json()["id"]
    path = begun["Location"]
    step = inspector.patch(path, {"observations": all_sound()[:5]}, HTTP_IF_MATCH=begun["ETag"])
    assert (step.status_code, len(step.json()["observations"]), step["ETag"]) == (200, 5, '"2"')
    again = inspector.patch(path, {"observations": [{"item": "fuel"} | defect("cap missing")]}, HTTP_IF_MATCH='"2"')
    assert next(one["outcome"] for one in again.json()["observations"] if one["item"] == "fuel") == "defect"
    rest = inspector.patch(path, {"observations": all_sound()}, HTTP_IF_MATCH='"3"')
    signed = inspector.post(f"{path}sign/", {}, HTTP_IF_MATCH=rest["ETag"])
    assert (signed.status_code, signed.json()["state"], signed.json()["result"]) == (200, "signed", "fit")
    assert UnitState.objects.for_fleet(tarn).get(unit=unit).facts["inspections.in_progress"][0] is False


def test_what_is_signed_is_never_edited(inspector, unit):
    path = inspector.post(URL, filing())["Location"]
    for answer in (
        inspector.patch(path, {"observations": []}, HTTP_IF_MATCH='"1"'),
        inspector.post(f"{path}sign/", {}, HTTP_IF_MATCH='"1"'),
    ):
        assert (answer.status_code, answer.json()["type"]) == (409, "/docs/problems/already-signed/")


def test_a_draft_changed_by_somebody_else_is_not_signed_unread(inspector, unit):
    path = inspector.post(URL, {"sheet": "pre-trip", "unit": "HB-104"})["Location"]
    inspector.patch(path, {"observations": all_sound()[:1]}, HTTP_IF_MATCH='"1"')
    assert inspector.post(f"{path}sign/", {}, HTTP_IF_MATCH='"1"').status_code == 412
    assert inspector.post(f"{path}sign/", {}).status_code == 428


@pytest.mark.parametrize(
    ("observation", "pointer", "code"),
    [
        ({"item": "warp_core", "outcome": "sound"}, "/observations/0/item", "unknown-item"),
        ({"item": "belt", "outcome": "defect"}, "/observations/0/note", "required"),
        ({"item": "belt", "outcome": "fine"}, "/observations/0/outcome", "invalid-choice"),
        (
            {"item": "belt", "outcome": "sound", "values": {"fuel_dip_l": 3}},
            "/observations/0/values/fuel_dip_l",
            "not-measured-here",
        ),
        (
            {"item": "battery", "outcome": "sound", "values": {"battery_rest_v": 11.4, "battery_rest_h": 5}},
            "/observations/0/values/battery_rest_v",
            "outside-limits",
        ),
        (
            {"item": "fuel", "outcome": "sound", "values": {"fuel_dip_l": 191}},
            "/observations/0/values/fuel_dip_l",
            "outside-limits",
        ),
        (
            {"item": "coolant", "outcome": "not_seen", "values": {"coolant_glycol_pct": 50}},
            "/observations/0/outcome",
            "contradiction",
        ),
        (
            {"item": "coolant", "outcome": "sound", "values": {"coolant_glycol_pct": 101}},
            "/observations/0/values/coolant_glycol_pct",
            "too-large",
        ),
    ],
)
def test_an_observation_that_says_nothing_sound_is_refused(inspector, unit, observation, pointer, code):
    answer = inspector.post(URL, filing(observations=[observation]))
    assert answer.status_code == 400
    assert [(one["pointer"], one["code"]) for one in answer.json()["errors"]] == [(pointer, code)]
    assert not Inspection.objects.across_fleets().exists()


def test_the_same_item_twice_is_refused(inspector, unit):
    twice = [{"item": "belt", "outcome": "sound"}] * 2
    assert inspector.post(URL, filing(observations=twice)).json()["errors"][0]["code"] == "repeated-item"


def test_a_value_that_must_be_measured_is_asked_for(inspector, unit):
    answer = inspector.post(URL, filing(sheet="loading", observations=all_sound("loading")))
    assert answer.json()["errors"][0]["code"] == "value-required"
    two = all_sound("loading", load_temperature={"values": {"load_temperatures_c": [7.0, 8.0]}})
    assert inspector.post(URL, filing(sheet="loading", observations=two)).json()["errors"][0]["code"] == "too-few"


def test_one_signature_is_for_one_unit(inspector, unit):
    answer = inspector.post(URL, filing(unit=["HB-104", "HB-105"]))
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (400, "/unit")


def test_a_repeat_with_the_same_key_files_nothing_twice(inspector, unit):
    first = inspector.post(URL, filing(), HTTP_IDEMPOTENCY_KEY="phone-7/1")
    second = inspector.post(URL, filing(), HTTP_IDEMPOTENCY_KEY="phone-7/1")
    assert (second.status_code, second.json()) == (201, first.json())
    assert second["Idempotency-Replayed"] == "true"
    assert Inspection.objects.across_fleets().count() == 1
    assert inspector.post(URL, filing(sheet="loading"), HTTP_IDEMPOTENCY_KEY="phone-7/1").status_code == 422


@pytest.mark.parametrize(("shift", "code"), [(timedelta(minutes=11), "time-ahead"), (timedelta(days=-32), "too-old")])
def test_a_time_nobody_can_have_looked_at_is_refused(inspector, unit, now, shift, code):
    answer = inspector.post(URL, filing(performed_at=instant(now + shift)))
    assert answer.json()["errors"][0]["code"] == code


def test_measured_values_become_facts_of_the_moment_they_were_measured(inspector, unit, tarn, now):
    at = now - timedelta(hours=1)
    seen = all_sound(
        coolant={"values": {"coolant_glycol_pct": 48}},
        battery={
            "values": {"battery_rest_v": {"value": 12700, "unit": "mV"}, "battery_rest_h": 3, "battery_temp_c": -8}
        },
        fuel={"values": {"fuel_dip_l": 120.5, "fuel_grade": "en590-2"}},
        belt={"values": {"belt_tension_n": 420}},
    )
    body = inspector.post(URL, filing(observations=seen, performed_at=instant(at))).json()
    assert body["arrival"] == "late"
    facts = UnitState.objects.for_fleet(tarn).get(unit=unit).facts
    measured = {name: value for name, (value, when, _) in facts.items() if when.startswith(instant(at)[:19])}
    assert measured == {
        "inspections.coolant_glycol_pct": 48.0,
        "inspections.battery_rest_v": {"volts": 12.7, "rest_h": 3.0, "temp_c": -8.0},
        "inspections.fuel_dip_l": 120.5,
        "inspections.fuel_grade": "en590-2",
        "inspections.belt_tension_n": 420.0,
        "inspections.pre_trip": facts["inspections.pre_trip"][0],
    }


def test_load_temperatures_are_kept_as_mean_and_as_measured(inspector, unit, tarn):
    seen = all_sound("loading", load_temperature={"values": {"load_temperatures_c": [7.0, 8.0, 9.3]}})
    assert inspector.post(URL, filing(sheet="loading", observations=seen)).status_code == 201
    facts = UnitState.objects.for_fleet(tarn).get(unit=unit).facts
    assert facts["inspections.load_temperature_c"][0] == pytest.approx(8.1)
    assert facts["inspections.load_temperatures_c"][0] == [7.0, 8.0, 9.3]


def test_a_late_report_never_replaces_a_newer_value(inspector, unit, tarn, now):
    for share, at in ((50, now), (35, now - timedelta(hours=3))):
        seen = [{"item": "coolant", "outcome": "sound", "values": {"coolant_glycol_pct": share}}]
        inspector.post(URL, filing(sheet="seasonal", observations=seen, performed_at=instant(at)))
    assert UnitState.objects.for_fleet(tarn).get(unit=unit).facts["inspections.coolant_glycol_pct"][0] == 50


def test_the_next_inspector_signs_to_have_reviewed_the_last_report(inspector, unit):
    first = inspector.post(URL, filing(observations=all_sound(coil={"outcome": "wear", "note": "dirty"}))).json()
    refused = inspector.post(URL, filing())
    assert (refused.status_code, refused.json()["type"]) == (409, "/docs/problems/review-required/")
    assert refused.json()["last_report"]["id"] == first["id"]
    assert refused.json()["last_report"]["observations"][0]["label"] == "Coil"
    accepted = inspector.post(URL, filing(signature={"reviewed": first["id"]})).json()
    assert accepted["reviewed"] == first["id"]
    assert [one["meaning"] for one in accepted["signatures"]] == ["performed", "reviewed"]
    assert inspector.post(URL, filing(signature={"reviewed": first["id"]})).status_code == 409


def test_a_report_nobody_could_have_read_yet_is_not_asked_for(inspector, unit, now):
    inspector.post(URL, filing())
    offline = filing(performed_at=instant(now - timedelta(hours=2)))
    assert inspector.post(URL, offline).status_code == 201


def test_a_report_of_another_unit_cannot_be_reviewed(inspector, unit, tarn):
    factories.make_unit(tarn, "HB-105")
    elsewhere = inspector.post(URL, filing(unit="HB-105")).json()["id"]
    answer = inspector.post(URL, filing(signature={"reviewed": elsewhere}))
    assert answer.json()["errors"][0]["code"] == "unknown-report"


@pytest.mark.parametrize("role", [Role.INTEGRATOR, Role.DISPATCHER])
def test_only_inspectors_and_managers_file(client_of, tarn, unit, role):
    client = client_of(tarn, role)
    assert client.post(URL, filing()).status_code == 403
    assert client.get(URL).status_code == 200


def test_another_fleet_sees_and_reaches_nothing(client_of, tarn, other, unit, inspector):
    path = inspector.post(URL, filing(observations=[{"item": "belt"} | defect()]))["Location"]
    stranger = client_of(other, Role.MANAGER)
    seen = Observation.objects.across_fleets().get(item="belt").pk
    body = {"observation": seen, "kind": "repaired", "what_done": "new belt", "signature": {}}
    signed = {"observations": [{"item": "belt", "outcome": "sound"}], "signature": {}}
    answers = [
        stranger.get(path),
        stranger.patch(path, {}, HTTP_IF_MATCH="*"),
        stranger.post(f"{path}sign/", {}, HTTP_IF_MATCH="*"),
        stranger.post(f"{path}repairs/", body),
        stranger.post(f"{path}rechecks/", signed),
        stranger.post(f"{path}corrections/", signed | {"reason": "wrong unit written"}),
        stranger.post(URL, filing()),
        stranger.get("/api/v1/defects/1/"),
    ]
    assert [answer.status_code for answer in answers] == [404] * len(answers)
    assert stranger.get(URL).json()["items"] == []
    assert stranger.get("/api/v1/defects/").json()["items"] == []
