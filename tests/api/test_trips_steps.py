"""The gates and steps of a trip over HTTP: assigned, left, delivered, cancelled, or refused."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Assessment, AuditEntry, Fleet, Hold, Role, Trip
from tests.api.test_inspections_filing import filing
from tests.api.trip_calls import URL, H, Post, create, dispatcher, errors, patch, planned
from tests.conftest import Client
from tests.factories import instant, reading

__all__ = ["dispatcher", "planned"]
pytestmark = pytest.mark.django_db


def assign(client: APIClient, unit: str = "HB-104", tag: str = "*") -> Any:
    return client.put(f"{URL}T-1/assignment/", {"unit": unit}, format="json", HTTP_IF_MATCH=tag)


def step(client: APIClient, name: str, body: Any = None) -> Any:
    return client.post(f"{URL}T-1/{name}/", body, format="json", HTTP_IF_MATCH="*")


def test_a_unit_that_may_go_is_assigned_with_the_answer_it_was_assigned_on(
    planned: APIClient, tarn: Fleet, post_events: Post, now: datetime
) -> None:
    post_events(reading(now))
    response = assign(planned)
    assert (response.status_code, response["ETag"]) == (200, '"2"')
    assert response.json()["verdict"] == "conditional"
    trip = Trip.objects.for_fleet(tarn).select_related("assigned_unit").get()
    assert trip.assigned_unit is not None
    assert trip.assigned_unit.number == "HB-104"
    assert Assessment.objects.for_fleet(tarn).get().trigger == "gate"


def test_a_blocked_unit_is_refused_with_findings_and_holds_and_the_answer_is_stored(
    planned: APIClient, tarn: Fleet, post_events: Post, now: datetime
) -> None:
    post_events(reading(now, set_point_c=2.0))
    response = assign(planned)
    problem = response.json()
    assert (response.status_code, problem["type"]) == (409, "/docs/problems/dispatch-blocked/")
    assert [finding["check"] for finding in problem["findings"]] == ["fleet.set_point"]
    assert [hold["causes"] for hold in problem["holds"]] == [["fleet.set_point"]]
    assert problem["assessment"]["verdict"] == problem["verdict"] == "blocked"
    trip = Trip.objects.for_fleet(tarn).get()
    assert (trip.assigned_unit_id, trip.revision) == (None, 1)
    assert Assessment.objects.for_fleet(tarn).get().trigger == "gate"
    assert Hold.objects.for_fleet(tarn).get().state == "open"
    assert AuditEntry.objects.for_fleet(tarn).filter(act="trip.assignment_refused").count() == 1


def test_what_is_due_at_departure_is_due_at_the_gate(
    planned: APIClient, tarn: Fleet, post_events: Post, now: datetime
) -> None:
    post_events(reading(now))
    assert step(planned, "depart").json()["type"] == "/docs/problems/no-unit/"
    assert assign(planned).status_code == 200
    refused = step(planned, "depart")
    assert refused.status_code == 409
    missing = {finding["check"]: finding["outcome"] for finding in refused.json()["findings"]}
    assert missing["inspections.pre_trip"] == missing["fleet.load_temperature"] == "unknown"
    assert Trip.objects.for_fleet(tarn).get().state == "planned"


LEGAL = ["assign", "cancel", "change", "depart", "replace_ambient"]


def test_dry_goods_depart_and_are_delivered_and_every_other_step_is_illegal(
    dispatcher: APIClient, tarn: Fleet, post_events: Post, now: datetime, client_of: Client
) -> None:
    create(dispatcher, now, load=None)
    early = step(dispatcher, "deliver")
    assert (early.status_code, early.json()["type"]) == (409, "/docs/problems/invalid-transition/")
    assert (early.json()["state"], early.json()["legal"]) == ("planned", LEGAL)
    post_events(reading(now))
    inspect(client_of(tarn, Role.INSPECTOR))
    assert assign(dispatcher).status_code == 200
    left = step(dispatcher, "depart")
    assert (left.status_code, left.json()["verdict"]) == (200, "ready"), left.content
    trip = dispatcher.get(f"{URL}T-1/").json()
    assert (trip["state"], trip["departed_at"] is not None) == ("under_way", True)
    for again in (step(dispatcher, "depart"), patch(dispatcher, {"help": None}), assign(dispatcher)):
        assert (again.status_code, again.json()["legal"]) == (409, ["cancel", "deliver", "replace_ambient"])
    done = step(dispatcher, "deliver")
    assert (done.status_code, done.json()["state"], done.json()["delivered_at"] is not None) == (200, "delivered", True)
    over = step(dispatcher, "cancel", {"reason": "too late"})
    assert (over.status_code, over.json()["legal"]) == (409, [])


def inspect(inspector: APIClient) -> None:
    assert inspector.post("/api/v1/inspections/", filing(), format="json").status_code == 201


def test_cancelling_needs_a_reason_and_ends_the_hold_and_frees_the_unit(
    planned: APIClient, tarn: Fleet, post_events: Post, now: datetime
) -> None:
    post_events(reading(now, set_point_c=2.0))
    assign(planned)
    assert errors(step(planned, "cancel", {})) == [("/reason", "required")]
    response = step(planned, "cancel", {"reason": "shipper withdrew"})
    assert (response.json()["state"], response.json()["cancel_reason"]) == ("cancelled", "shipper withdrew")
    hold = Hold.objects.for_fleet(tarn).get()
    assert (hold.state, hold.close_reason) == ("ended", "cancelled")
    assert create(planned, now, reference="T-2").status_code == 201
    found_ = planned.get(f"{URL}T-2/readiness/").json()["findings"]
    assert next(f for f in found_ if f["check"] == "fleet.availability")["outcome"] == "pass"


@pytest.mark.parametrize("name", ["assignment", "depart", "deliver", "cancel", "ambient"])
def test_every_command_needs_if_match(planned: APIClient, now: datetime, name: str) -> None:
    bodies = {"assignment": {"unit": "HB-104"}, "cancel": {"reason": "why not"},
              "ambient": {"ambient": [{"at": instant(now), "temp_c": 1.0}]}}  # fmt: skip
    send = planned.put if name in ("assignment", "ambient") else planned.post
    url = f"{URL}T-1/{name}/"
    assert send(url, bodies.get(name), format="json").status_code == 428
    assert send(url, bodies.get(name), format="json", HTTP_IF_MATCH='"7"').status_code == 412


def test_a_unit_on_an_overlapping_trip_is_not_free(
    planned: APIClient, tarn: Fleet, post_events: Post, now: datetime
) -> None:
    post_events(reading(now))
    assert create(planned, now, reference="T-2").status_code == 201
    refused = assign(planned)
    assert refused.status_code == 409
    [finding] = refused.json()["findings"]
    assert (finding["check"], finding["subjects"]) == ("fleet.availability", ["T-2"])


def test_lists_are_filtered(planned: APIClient, now: datetime) -> None:
    create(planned, now, reference="T-2", unit=None)

    def references(query: str) -> list[str]:
        return [item["reference"] for item in planned.get(URL + query).json()["items"]]

    assert references("") == ["T-2", "T-1"]
    assert references("?planned_unit=HB-104&state=planned") == ["T-1"]
    assert references("?unit=HB-104") == []
    assert references(f"?departs_from={instant(now + 6 * H)}&order=oldest") == ["T-1", "T-2"]
    assert references(f"?departs_until={instant(now + 6 * H)}") == []
    assert planned.get(f"{URL}?colour=red").status_code == 400
