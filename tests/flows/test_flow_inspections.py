"""From a failed inspection to a departure: held, repaired, checked again, lifted at once."""

from __future__ import annotations

from datetime import timedelta

import pytest

from fleet.models import AuditEntry, Hold, Role
from fleet.readiness.service import assess_due
from tests import factories
from tests.api.test_inspections_filing import URL, all_sound, defect, filing
from tests.factories import instant

pytestmark = pytest.mark.django_db


@pytest.fixture
def story(client_of, tarn, now):
    """A unit, a trip that leaves in six hours, and the people around it."""
    factories.potato()
    factories.make_unit(tarn)
    dispatcher = client_of(tarn, Role.DISPATCHER)
    assert dispatcher.post("/api/v1/trips/", factories.trip_body(now)).status_code == 201
    return dispatcher, client_of(tarn, Role.INSPECTOR), client_of(tarn, Role.MANAGER)


def finding(client, check: str = "inspections.pre_trip") -> dict:
    answer = client.get("/api/v1/trips/T-1/readiness/").json()
    return next(one for one in answer["findings"] if one["check"] == check)


def test_a_failed_inspection_holds_the_trip_until_repair_and_recheck_are_signed(story, tarn, now):
    dispatcher, inspector, manager = story
    assert finding(dispatcher)["outcome"] == "pending"

    failed = inspector.post(URL, filing(observations=all_sound(belt=defect()))).json()
    assess_due()
    [hold] = Hold.objects.for_fleet(tarn)
    assert hold.state == "open"
    assert finding(dispatcher)["outcome"] == "block"
    refused = manager.post(
        f"/api/v1/holds/{hold.pk}/release/", {"reason": "we are in a hurry"}, HTTP_IF_MATCH=f'"{hold.revision}"'
    )
    assert refused.status_code == 409

    [observed] = [one["id"] for one in failed["observations"] if one["outcome"] == "defect"]
    repaired = inspector.post(
        f"{URL}{failed['id']}/repairs/",
        {"observation": observed, "kind": "repaired", "what_done": "belt changed", "parts": ["belt"],
         "done_by": "Rask workshop", "signature": {"device_at": instant(now)}},
    )  # fmt: skip
    assert repaired.status_code == 201, repaired.content
    assess_due()
    still = finding(dispatcher)
    assert (still["outcome"], "repaired, not checked again" in still["message"]) == ("block", True)

    looked = inspector.post(
        f"{URL}{failed['id']}/rechecks/",
        {"observations": [{"item": "belt", "outcome": "sound"}], "signature": {}},
    )
    assert (looked.status_code, looked.json()["result"], looked.json()["kind"]) == (201, "fit", "recheck")
    assess_due()
    assert finding(dispatcher)["outcome"] == "pass"
    hold.refresh_from_db()
    assert (hold.state, hold.close_reason) == ("lifted", "signed_off")
    acts = list(AuditEntry.objects.for_fleet(tarn).order_by("id").values_list("act", flat=True))
    assert [act for act in acts if act.startswith(("inspection.", "defect."))] == [
        "inspection.signed", "defect.repaired", "inspection.signed",
    ]  # fmt: skip


def test_a_defect_that_needs_no_repair_still_needs_a_signature_and_a_second_look(story):
    dispatcher, inspector, _ = story
    failed = inspector.post(URL, filing(observations=all_sound(vents=defect("open by a finger")))).json()
    again = inspector.post(URL, filing(signature={"reviewed": failed["id"]}))
    assert again.json()["result"] == "fit"
    assert finding(dispatcher)["outcome"] == "block"
    [observed] = [one["id"] for one in failed["observations"] if one["outcome"] == "defect"]
    body = {"observation": observed, "kind": "repair_unnecessary", "what_done": "this load breathes", "signature": {}}
    assert inspector.post(f"{URL}{failed['id']}/repairs/", body).status_code == 201
    assert finding(dispatcher)["outcome"] == "block"
    look = {"observations": [{"item": "vents", "outcome": "sound"}], "signature": {}}
    assert inspector.post(f"{URL}{failed['id']}/rechecks/", look).status_code == 201
    assert finding(dispatcher)["outcome"] == "pass"
    assert inspector.post(f"{URL}{failed['id']}/repairs/", body).status_code == 409


def test_an_incomplete_inspection_is_completed_by_looking_at_what_was_not_seen(story, now):
    dispatcher, inspector, _ = story
    some = [one for one in all_sound() if one["item"] != "battery"]
    first = inspector.post(URL, filing(observations=some)).json()
    waiting = finding(dispatcher)
    assert waiting["outcome"] == "pending"
    assert "battery and terminals not seen" in waiting["message"]
    look = {"observations": [{"item": "battery", "outcome": "sound"}], "signature": {}}
    inspector.post(f"{URL}{first['id']}/rechecks/", look)
    assert finding(dispatcher)["outcome"] == "pass"


def test_a_correction_supersedes_and_the_old_record_stays(story, now):
    dispatcher, inspector, _ = story
    seen = all_sound(coolant={"values": {"coolant_glycol_pct": 15}}, belt=defect())
    wrong = inspector.post(URL, filing(observations=seen)).json()
    assert finding(dispatcher)["outcome"] == "block"
    right = inspector.post(
        f"{URL}{wrong['id']}/corrections/",
        {"reason": "written for the wrong unit", "observations": all_sound(), "signature": {}},
    )
    assert right.status_code == 201, right.content
    body = right.json()
    assert (body["supersedes"], body["result"], body["performed_at"]) == (wrong["id"], "fit", wrong["performed_at"])
    old = inspector.get(f"{URL}{wrong['id']}/").json()
    assert (old["state"], old["superseded_by"], old["content_hash"]) == (
        "superseded", body["id"], wrong["content_hash"],
    )  # fmt: skip
    assert finding(dispatcher)["outcome"] == "pass"
    facts = inspector.get("/api/v1/units/HB-104/state/").json()["facts"]
    assert "inspections.coolant_glycol_pct" not in facts
    assert inspector.get("/api/v1/defects/?unit=HB-104").json()["items"][0]["state"] == "withdrawn"
    body = {"reason": "once more, please", "observations": all_sound(), "signature": {}}
    again = inspector.post(f"{URL}{wrong['id']}/corrections/", body)
    assert again.json()["type"] == "/docs/problems/already-signed/"


def test_a_late_report_that_changes_an_answer_is_marked(story, now):
    dispatcher, inspector, _ = story
    inspector.post(URL, filing())
    assert finding(dispatcher)["outcome"] == "pass"
    assess_due()
    late = filing(
        sheet="post-trip",
        observations=all_sound("post-trip", leaves={}, leaks=defect("coolant under the unit")),
        performed_at=instant(now - timedelta(hours=1)),
    )
    body = inspector.post(URL, late).json()
    assert body["arrival"] == "changed_answer"
    assert finding(dispatcher)["outcome"] == "block"


def test_a_stop_tier_alarm_after_the_inspection_makes_another_look_necessary(story, post_events, now):
    dispatcher, inspector, _ = story
    first = inspector.post(URL, filing(performed_at=instant(now - timedelta(minutes=30)))).json()
    assert finding(dispatcher)["outcome"] == "pass"
    hot = factories.fault(now - timedelta(minutes=5), "coolant-hot-2")
    hot["data"] = {"state": "raised", "spn": 110, "fmi": 0}
    post_events(hot)
    assert finding(dispatcher, "alarms.stop_tier")["outcome"] == "block"
    voided = finding(dispatcher)
    assert voided["outcome"] == "pending"
    assert "no longer counts: a stop-tier alarm came" in voided["message"]
    assert inspector.post(URL, filing(signature={"reviewed": first["id"]})).status_code == 201
    assert finding(dispatcher)["outcome"] == "pass"


def test_a_unit_that_is_off_while_somebody_inspects_it_is_not_left_off(story, post_events, now):
    dispatcher, inspector, _ = story
    changed = {"loading_at": instant(now + timedelta(hours=1))}
    assert dispatcher.patch("/api/v1/trips/T-1/", changed, HTTP_IF_MATCH="*").status_code == 200
    post_events(
        factories.reading(now - timedelta(minutes=62), unit_on=True),
        factories.reading(now - timedelta(minutes=1), unit_on=False, heater_running=False),
    )
    assert finding(dispatcher, "fleet.unit_on")["outcome"] == "block"
    draft = inspector.post(URL, {"sheet": "pre-trip", "unit": "HB-104"})
    assert finding(dispatcher, "fleet.unit_on")["outcome"] == "pass"
    filled = inspector.patch(draft["Location"], {"observations": all_sound()}, HTTP_IF_MATCH=draft["ETag"])
    assert inspector.post(f"{draft['Location']}sign/", {}, HTTP_IF_MATCH=filled["ETag"]).status_code == 200
    assert finding(dispatcher, "fleet.unit_on")["outcome"] == "block"


def test_measured_load_temperatures_answer_the_loads_question(story, now):
    dispatcher, inspector, _ = story
    soon = {"loading_at": instant(now + timedelta(minutes=10)), "depart_at": instant(now + timedelta(hours=6))}
    assert dispatcher.patch("/api/v1/trips/T-1/", soon, HTTP_IF_MATCH="*").status_code == 200
    for temperatures, outcome in (([8.0, 8.4, 7.9], "pass"), ([2.0, 3.0, 2.5], "block")):
        seen = all_sound("loading", load_temperature={"values": {"load_temperatures_c": temperatures}})
        answer = inspector.post(URL, filing(sheet="loading", trip="T-1", observations=seen))
        assert answer.status_code == 201, answer.content
        assert finding(dispatcher, "fleet.load_temperature")["outcome"] == outcome
