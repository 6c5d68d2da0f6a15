"""Trips over HTTP: what a plan must obey, and the steps from planned to delivered."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Assessment, AuditEntry, Commodity, Fleet, Hold, Role, Trip, UnitState
from tests import factories
from tests.conftest import Client
from tests.factories import instant, reading, trip_body

pytestmark = pytest.mark.django_db
URL = "/api/v1/trips/"
H = timedelta(hours=1)
Post = Callable[..., dict[str, Any]]


@pytest.fixture
def dispatcher(client_of: Client, tarn: Fleet) -> APIClient:
    factories.potato()
    factories.make_unit(tarn)
    return client_of(tarn, Role.DISPATCHER)


def errors(response: Any) -> list[tuple[str, str]]:
    return [(error["pointer"], error["code"]) for error in response.json()["errors"]]


def create(client: APIClient, now: datetime, **changes: Any) -> Any:
    return client.post(URL, trip_body(now, **changes), format="json")


def stop(now: datetime, arrive_h: float, leave_h: float | None = None, **more: Any) -> dict[str, Any]:
    leave = {} if leave_h is None else {"leave_at": instant(now + leave_h * H)}
    return {"place": "Norrholm market", "arrive_at": instant(now + arrive_h * H)} | leave | more


LOAD = {"commodity": "potato", "mass_kg": 9000, "temperature_c": 8.0, "set_point_c": 7.0, "low_c": 4.0, "high_c": 15.0}
# The trip of the factory loads at now + 4.5 h and leaves at now + 6 h.
PLANS: dict[str, tuple[Callable[[datetime], dict[str, Any]], str, str]] = {
    "loading after departure": (lambda now: {"loading_at": instant(now + 7 * H)}, "/loading_at", "order"),
    "loading over a week before": (lambda now: {"loading_at": instant(now - 163 * H)}, "/loading_at", "order"),
    "arrival at departure": (lambda now: {"stops": [stop(now, 6)]}, "/stops/0/arrive_at", "order"),
    "leaving before arrival": (
        lambda now: {"stops": [stop(now, 8, 7.9), stop(now, 12)]}, "/stops/0/leave_at", "order",
    ),
    "a stop nobody leaves": (lambda now: {"stops": [stop(now, 8), stop(now, 12)]}, "/stops/0/leave_at", "required"),
    "stops out of order": (
        lambda now: {"stops": [stop(now, 12, 13), stop(now, 12.5)]}, "/stops/1/arrive_at", "order",
    ),
    "doors open for longer than the stop": (
        lambda now: {"stops": [stop(now, 8, 9, door_open_min=61), stop(now, 12)]}, "/stops/0/door_open_min", "order",
    ),
    "over three weeks": (lambda now: {"stops": [stop(now, 6 + 21 * 24 + 0.1)]}, "/stops", "order"),
    "no stop": (lambda now: {"stops": []}, "/stops", "min-length"),
    "ambient that goes back in time": (
        lambda now: {"ambient": [{"at": instant(now), "temp_c": 1}, {"at": instant(now - H), "temp_c": 1}]},
        "/ambient/1/at", "order",
    ),
    "ambient twice at one moment": (
        lambda now: {"ambient": [{"at": instant(now), "temp_c": 1}] * 2}, "/ambient/1/at", "order",
    ),
    "air colder than any": (lambda now: {"ambient": [{"at": instant(now), "temp_c": -90.5}]}, "/ambient/0/temp_c",
                            "too-small"),
    "both load and loads": (lambda now: {"load": LOAD, "loads": [LOAD]}, "/load", "invalid"),
    "an unknown commodity": (lambda now: {"load": LOAD | {"commodity": "moon-rock"}}, "/load/commodity",
                             "unknown-commodity"),
    "limits the wrong way round": (lambda now: {"load": LOAD | {"low_c": 15.0}}, "/load/low_c", "order"),
    "damage above the warm limit": (lambda now: {"load": LOAD | {"damage_c": 15.0}}, "/load/damage_c", "order"),
    "no set point": (lambda now: {"load": LOAD | {"set_point_c": None}}, "/load/set_point_c", "required"),
    "two set points in one box": (
        lambda now: {"load": "@loads", "loads": [LOAD, LOAD | {"set_point_c": 8.0}]}, "/loads/0/set_point_c",
        "contradiction",
    ),
    "the second load is wrong": (
        lambda now: {"load": "@loads", "loads": [LOAD, LOAD | {"commodity": "moon-rock"}]}, "/loads/1/commodity",
        "unknown-commodity",
    ),
    "a heavy load": (lambda now: {"load": LOAD | {"mass_kg": 60_001}}, "/load/mass_kg", "too-large"),
    "true as a mass": (lambda now: {"load": LOAD | {"mass_kg": True}}, "/load/mass_kg", "not-a-number"),
    "help that is slower in half of the cases": (
        lambda now: {"help": {"median_h": 6.0, "p90_h": 3.0}}, "/help/p90_h", "invalid",
    ),
    "an unknown unit": (lambda now: {"planned_unit": "HB-999"}, "/planned_unit", "unknown-unit"),
    "a reference with a slash": (lambda now: {"reference": "T/1"}, "/reference", "invalid"),
    "a naive time": (lambda now: {"depart_at": "2027-01-12T18:00:00"}, "/depart_at", "not-an-instant"),
    "a member nobody knows": (lambda now: {"driver": "me"}, "/driver", "unknown-member"),
    "a member nobody knows inside": (lambda now: {"load": LOAD | {"colour": 1}}, "/load/colour", "unknown-member"),
}  # fmt: skip


@pytest.mark.parametrize(("change", "pointer", "code"), PLANS.values(), ids=PLANS)
@pytest.mark.parametrize("route", ["", "preview/"])
def test_a_plan_that_cannot_be_is_refused_with_a_pointer(
    dispatcher: APIClient, now: datetime, route: str, change: Any, pointer: str, code: str
) -> None:
    body = trip_body(now) | change(now)
    if body["load"] == "@loads":
        del body["load"]
    response = dispatcher.post(URL + route, body, format="json")
    assert response.status_code == 400, response.content
    assert (pointer, code) in errors(response)
    assert Trip.objects.across_fleets().count() == 0


@pytest.mark.parametrize(
    "change",
    [
        lambda now: {"loading_at": instant(now + 6 * H)},
        lambda now: {"loading_at": instant(now + 6 * H - 168 * H)},
        lambda now: {"stops": [stop(now, 8, 8, door_open_min=0), stop(now, 12)]},
        lambda now: {"stops": [stop(now, 8, 9, door_open_min=60), stop(now, 12)]},
        lambda now: {"stops": [stop(now, 6 + 21 * 24)]},
        lambda now: {"load": None},
        lambda now: {"ambient": []},
        lambda now: {"planned_unit": None},
        lambda now: {"load": LOAD | {"set_point_c": {"value": 44.6, "unit": "degF"}}},
    ],
)
def test_a_plan_at_the_very_limit_is_taken(dispatcher: APIClient, now: datetime, change: Any) -> None:
    response = create(dispatcher, now, **change(now))
    assert response.status_code == 201, response.content


def test_a_trip_is_stored_with_its_limits_resolved(dispatcher: APIClient, tarn: Fleet, now: datetime) -> None:
    Commodity.objects.create(
        fleet=tarn, key="our-pears", name="Pears", freezes_c=-1.5, chill_c=2.0, low_c=3.0, high_c=9.0, cp_kj_kgk=3.7,
        latent_kj_kg=270.0, respiration_w_kg=0.02, source="tests",
    )  # fmt: skip
    load = {"commodity": "our-pears", "mass_kg": 9000, "temperature_c": 5.0, "set_point_c": 6.0, "low_c": 4.0}
    response = create(dispatcher, now, load=load)
    assert response.status_code == 201
    assert (response["Location"], response["ETag"]) == (f"{URL}T-1/", '"1"')
    body = response.json()
    [stored] = body["loads"]
    assert (stored["low_c"], stored["high_c"], stored["damage_c"], stored["freezes_c"]) == (4.0, 9.0, 2.0, -1.5)
    assert (stored["cp_kj_kgk"], stored["respiration_w_kg"]) == (3.7, 0.02)
    assert (body["state"], body["planned_unit"], body["assigned_unit"]) == ("planned", "HB-104", None)
    assert [point["heater_off"] for point in body["stops"]] == [True, False]
    assert dispatcher.get(f"{URL}T-1/").json() == body
    assert AuditEntry.objects.for_fleet(tarn).filter(act="trip.created").count() == 1


@pytest.mark.parametrize(
    ("hazard", "stated", "status", "pointer"),
    [
        ("refused", None, 422, "/load/commodity"),
        ("refused", "none", 422, "/load/commodity"),
        ("must_state", None, 422, "/load/dangerous_goods"),
        ("must_state", "none", 201, ""),
        ("must_state", "class 3", 422, "/load/commodity"),
        ("none", None, 201, ""),
        ("none", "class 3", 422, "/load/commodity"),
    ],
)
def test_dangerous_goods_are_refused_and_not_guessed(
    dispatcher: APIClient, tarn: Fleet, now: datetime, hazard: str, stated: str | None, status: int, pointer: str
) -> None:
    Commodity.objects.create(
        fleet=tarn, key="paint", name="Paint", freezes_c=0.0, low_c=5.0, high_c=30.0, hazard=hazard, source="tests"
    )
    response = create(dispatcher, now, load=LOAD | {"commodity": "paint", "dangerous_goods": stated})
    assert response.status_code == status, response.content
    if status == 422:
        assert response.json()["type"] == "/docs/problems/hazardous-load/"
        assert [error["pointer"] for error in response.json()["errors"]] == [pointer]


def test_a_reference_is_taken_once_per_fleet(
    dispatcher: APIClient, now: datetime, other: Fleet, client_of: Client
) -> None:
    assert create(dispatcher, now).status_code == 201
    again = create(dispatcher, now)
    assert (again.status_code, again.json()["type"]) == (409, "/docs/problems/conflict/")
    factories.make_unit(other)
    assert create(client_of(other, Role.DISPATCHER), now).status_code == 201


def test_an_idempotent_create_replays_the_first_answer(dispatcher: APIClient, now: datetime) -> None:
    key = {"HTTP_IDEMPOTENCY_KEY": "a-key-of-mine"}
    first = dispatcher.post(URL, trip_body(now), format="json", **key)
    again = dispatcher.post(URL, trip_body(now), format="json", **key)
    assert (first.status_code, again.status_code, again.json()) == (201, 201, first.json())
    assert (again["Idempotency-Replayed"], again["ETag"]) == ("true", first["ETag"])
    other_body = dispatcher.post(URL, trip_body(now, reference="T-2"), format="json", **key)
    assert (other_body.status_code, Trip.objects.across_fleets().count()) == (422, 1)


# --- changes ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def planned(dispatcher: APIClient, now: datetime) -> APIClient:
    assert create(dispatcher, now).status_code == 201
    return dispatcher


def patch(client: APIClient, changes: dict[str, Any], tag: str | None = "*") -> Any:
    match = {} if tag is None else {"HTTP_IF_MATCH": tag}
    return client.patch(f"{URL}T-1/", changes, format="json", **match)


def test_times_slip_and_the_revision_moves(planned: APIClient, tarn: Fleet, now: datetime) -> None:
    response = patch(planned, {"depart_at": instant(now + 7 * H)}, '"1"')
    assert (response.status_code, response["ETag"], response.json()["revision"]) == (200, '"2"', 2)
    assert response.json()["depart_at"] == instant(now + 7 * H)
    trip = Trip.objects.for_fleet(tarn).get()
    assert trip.assess_due_at is not None
    assert trip.version == 2


@pytest.mark.parametrize(
    ("tag", "status", "code"),
    [(None, 428, "precondition-required"), ('"9"', 412, "stale-revision"), ('W/"1"', 412, "stale-revision"),
     ("1", 400, "invalid-input"), ('"1"', 200, ""), ('"9", "1"', 200, ""), ("*", 200, "")],
)  # fmt: skip
def test_changes_need_the_revision_that_was_read(planned: APIClient, tag: str | None, status: int, code: str) -> None:
    response = patch(planned, {"help": None}, tag)
    assert response.status_code == status
    assert status == 200 or response.json()["type"] == f"/docs/problems/{code}/"


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"reference": "T-2"}, "/reference"),
        ({"ambient": []}, "/ambient"),
        ({"state": "delivered"}, "/state"),
        ({"load": {"commodity": "potato"}}, "/load/mass_kg"),
        ({"stops": [{"place": "Vinterby depot"}]}, "/stops/0/arrive_at"),
        ({"planned_unit": "HB-999"}, "/planned_unit"),
    ],
)
def test_a_change_takes_whole_parts_of_what_may_change(
    planned: APIClient, changes: dict[str, Any], pointer: str
) -> None:
    response = patch(planned, changes)
    assert response.status_code == 400
    assert pointer in [at for at, _ in errors(response)]
    assert Trip.objects.across_fleets().get().revision == 1


def test_a_slip_that_breaks_the_plan_is_refused(planned: APIClient, now: datetime) -> None:
    response = patch(planned, {"depart_at": instant(now + 15 * H)})
    assert errors(response) == [("/stops/0/arrive_at", "order")]


def test_a_planned_unit_may_change_and_its_hold_stays_behind(
    planned: APIClient, tarn: Fleet, now: datetime, post_events: Post
) -> None:
    factories.make_unit(tarn, "HB-2")
    versions = dict(UnitState.objects.for_fleet(tarn).values_list("unit__number", "version"))
    response = patch(planned, {"planned_unit": "HB-2"})
    assert response.json()["planned_unit"] == "HB-2"
    moved = dict(UnitState.objects.for_fleet(tarn).values_list("unit__number", "version"))
    assert all(moved[number] > versions[number] for number in ("HB-104", "HB-2"))
    assert patch(planned, {"planned_unit": None}).json()["planned_unit"] is None


def test_a_new_set_point_has_to_be_confirmed_by_the_unit(planned: APIClient, post_events: Post, now: datetime) -> None:
    post_events(reading(now - H))
    assert found(planned, "fleet.set_point") == "pass"
    load = {**LOAD, "set_point_c": 7.2}
    patch(planned, {"load": load})
    assert found(planned, "fleet.set_point") == "concern"
    post_events(reading(now + timedelta(minutes=1)))
    assert found(planned, "fleet.set_point") == "pass"


def found(client: APIClient, check: str) -> str:
    findings = client.get(f"{URL}T-1/readiness/").json()["findings"]
    return next(str(finding["outcome"]) for finding in findings if finding["check"] == check)


def test_dry_goods_take_the_place_of_a_load(planned: APIClient) -> None:
    assert patch(planned, {"load": None}).json()["loads"] == []
    assert found(planned, "thermal.capacity") == "pass"


def test_a_forecast_is_replaced_by_integrators_too(
    planned: APIClient, tarn: Fleet, now: datetime, client_of: Client
) -> None:
    forecast = {"ambient": [{"at": instant(now), "temp_c": -40.0}, {"at": instant(now + 40 * H), "temp_c": -40.0}],
                "ambient_issued_at": instant(now)}  # fmt: skip
    sender = client_of(tarn, Role.INTEGRATOR)
    url = f"{URL}T-1/ambient/"
    assert sender.put(url, forecast, format="json").status_code == 428
    response = sender.put(url, forecast, format="json", HTTP_IF_MATCH='"1"')
    assert (response.status_code, response["ETag"]) == (200, '"2"')
    assert [point["temp_c"] for point in response.json()["ambient"]] == [-40.0, -40.0]
    trip = Trip.objects.for_fleet(tarn).get()
    assert (trip.ambient_version, trip.version) == (2, 1)
    assert errors(sender.put(url, {"ambient": []}, format="json", HTTP_IF_MATCH="*"))[0][0] == "/ambient"


# --- gates and steps --------------------------------------------------------------------------------------------------


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
    from tests.api.test_inspections_filing import filing

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
