"""Alarms over HTTP: lists, the story of one, and what people do to them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from alarms.models import Alarm
from fleet.models import AuditEntry, Fleet, Role
from tests import factories as f

Post = Callable[..., dict[str, Any]]
Client = Callable[..., APIClient]
MINUTE = timedelta(minutes=1)
STOP = {"data": {"state": "raised", "spn": 110, "fmi": 0}}
STOP_CLEARED = {"data": {"state": "cleared", "spn": 110, "fmi": 0}}
WORK = {"work_done": "Hose clamp replaced, coolant topped up."}


@pytest.fixture
def faults(tarn: Fleet, post_events: Post, now: datetime) -> None:
    """HB-104: an old stop fault that cleared, and a new fault that nobody has explained."""
    f.make_unit(tarn)
    post_events(f.fault(now - 9 * MINUTE, "x", id_="1") | STOP, f.fault(now - 8 * MINUTE, "x", id_="2") | STOP_CLEARED)
    post_events(f.fault(now - 7 * MINUTE, "fan-stuck"))


def pk_of(code: str) -> int:
    return int(Alarm.objects.across_fleets().get(code=code).pk)


def act(client: APIClient, pk: int, verb: str, body: dict[str, Any] | None = None, *, match: str | None = '"1"') -> Any:
    headers = {} if match is None else {"HTTP_IF_MATCH": match}
    return client.post(f"/api/v1/alarms/{pk}/{verb}/", body, format="json", **headers)


def test_the_list_is_newest_first_and_can_put_open_ones_first(
    tarn: Fleet, faults: None, client_of: Client, post_events: Post, now: datetime
) -> None:
    inspector = client_of(tarn, Role.INSPECTOR)
    post_events(f.fault(now - 6 * MINUTE, "belt"), f.fault(now - 5 * MINUTE, "belt", state="cleared"))
    assert act(inspector, pk_of("belt"), "sign-off", WORK).status_code == 200

    def codes(query: str) -> list[str]:
        response = inspector.get(f"/api/v1/alarms/{query}")
        assert response.status_code == 200, response.content
        return [row["code"] for row in response.json()["items"]]

    assert codes("") == ["belt", "fan-stuck", "spn110-fmi0"]
    assert codes("?first=open") == ["fan-stuck", "spn110-fmi0", "belt"]
    assert codes("?tier=stop&unit=HB-104") == ["spn110-fmi0"]
    assert codes("?state=returned") == ["spn110-fmi0"]
    assert codes("?open=false") == ["belt"]
    assert codes("?unit=HB-999") == []
    first = inspector.get("/api/v1/alarms/?first=open&limit=2").json()
    second = inspector.get(first["next"]).json()
    assert [row["code"] for row in second["items"]] == ["belt"]


@pytest.mark.parametrize("query", ["?first=closed", "?first=open&order=oldest", "?colour=red", "?open=1"])
def test_a_filter_that_is_not_one_is_refused(tarn: Fleet, faults: None, client_of: Client, query: str) -> None:
    response = client_of(tarn, Role.MANAGER).get(f"/api/v1/alarms/{query}")
    assert response.status_code == 400
    assert response.json()["errors"][0]["in"] == "query"


def test_one_alarm_says_everything_with_its_etag(tarn: Fleet, faults: None, client_of: Client, now: datetime) -> None:
    response = client_of(tarn, Role.DISPATCHER).get(f"/api/v1/alarms/{pk_of('spn110-fmi0')}/")
    body = response.json()
    assert response["ETag"] == '"1"'
    assert (body["unit"], body["tier"], body["state"], body["as_reported"]) == ("HB-104", "stop", "returned", False)
    assert (body["raised_at"], body["repeat"], body["previous"]) == (f.instant(now - 9 * MINUTE), 1, None)
    assert (body["damage"], body["unmapped"], body["mapping"]) == (None, False, "fmi")


def test_a_signature_needs_the_fault_gone_the_right_role_and_the_row_as_it_is(
    tarn: Fleet, faults: None, client_of: Client
) -> None:
    inspector, stuck, stop = client_of(tarn, Role.INSPECTOR), pk_of("fan-stuck"), pk_of("spn110-fmi0")
    refused = act(inspector, stuck, "sign-off", WORK)
    assert (refused.status_code, refused.json()["type"]) == (409, "/docs/problems/alarm-still-reported/")
    assert act(client_of(tarn, Role.DISPATCHER), stop, "sign-off", WORK).status_code == 403
    assert act(client_of(tarn, Role.INTEGRATOR), stop, "sign-off", WORK).status_code == 403
    assert act(inspector, stop, "sign-off", WORK, match=None).status_code == 428
    assert act(inspector, stop, "sign-off", WORK, match='"9"').status_code == 412
    assert act(inspector, stop, "sign-off", {"work_done": "ok"}).status_code == 400
    done = act(inspector, stop, "sign-off", WORK)
    assert (done.status_code, done.json()["state"], done["ETag"]) == (200, "closed", '"2"')
    assert done.json()["signed_by"] == "inspector of Tarn Haulage"
    again = act(inspector, stop, "sign-off", WORK, match='"2"')
    assert (again.status_code, again.json()["type"]) == (409, "/docs/problems/conflict/")
    entry = AuditEntry.objects.across_fleets().get(act="alarm.signed_off")
    assert entry.content["work_done"] == WORK["work_done"]
    assert (entry.content["role"], entry.content["meaning"]) == ("inspector", "repaired")


def test_seen_keeps_the_alarm_open_and_is_written_down(tarn: Fleet, faults: None, client_of: Client) -> None:
    dispatcher, stuck = client_of(tarn, Role.DISPATCHER), pk_of("fan-stuck")
    assert act(dispatcher, stuck, "seen", match=None).status_code == 428
    seen = act(dispatcher, stuck, "seen")
    assert (seen.json()["state"], seen.json()["seen_by"]) == ("active", "dispatcher of Tarn Haulage")
    assert act(dispatcher, stuck, "seen").status_code == 412
    assert AuditEntry.objects.across_fleets().filter(act="alarm.seen").count() == 1


def test_only_a_manager_voids_and_gives_a_reason(tarn: Fleet, faults: None, client_of: Client) -> None:
    stuck, reason = pk_of("fan-stuck"), {"reason": "The fan was run on the bench."}
    assert act(client_of(tarn, Role.INSPECTOR), stuck, "void", reason).status_code == 403
    manager = client_of(tarn, Role.MANAGER)
    assert act(manager, stuck, "void", {"reason": ""}).status_code == 400
    assert act(manager, stuck, "void").status_code == 400
    voided = act(manager, stuck, "void", reason)
    assert (voided.status_code, voided.json()["state"], voided.json()["void_reason"]) == (
        200,
        "voided",
        reason["reason"],
    )


def test_the_history_tells_events_acts_and_the_chain(
    tarn: Fleet, faults: None, client_of: Client, post_events: Post, now: datetime
) -> None:
    inspector = client_of(tarn, Role.INSPECTOR)
    old = pk_of("spn110-fmi0")
    act(inspector, old, "sign-off", WORK)
    post_events(f.fault(now + MINUTE, "x", id_="9") | STOP)
    story = inspector.get(f"/api/v1/alarms/{old}/history/").json()
    assert [event["state"] for event in story["events"]] == ["cleared", "raised"]
    assert [(entry["act"], entry["by"]) for entry in story["acts"]] == [
        ("alarm.signed_off", "inspector of Tarn Haulage")
    ]
    assert [(record["repeat"], record["state"]) for record in story["chain"]] == [(2, "active"), (1, "closed")]
    newer = inspector.get(f"/api/v1/alarms/{story['chain'][0]['id']}/history/").json()
    assert newer["alarm"]["previous"] == old
    assert len(newer["events"]) == 1


@pytest.mark.parametrize("verb", ["", "history/"])
def test_another_fleet_s_alarm_is_not_there(
    tarn: Fleet, other: Fleet, faults: None, client_of: Client, verb: str
) -> None:
    stranger = client_of(other, Role.MANAGER)
    assert stranger.get(f"/api/v1/alarms/{pk_of('fan-stuck')}/{verb}").status_code == 404
    assert stranger.get("/api/v1/alarms/").json()["items"] == []


@pytest.mark.parametrize(
    ("verb", "body"), [("seen", None), ("sign-off", WORK), ("void", {"reason": "It is not ours at all."})]
)
def test_another_fleet_s_alarm_cannot_be_touched(
    tarn: Fleet, other: Fleet, faults: None, client_of: Client, verb: str, body: dict[str, Any] | None
) -> None:
    response = act(client_of(other, Role.MANAGER), pk_of("fan-stuck"), verb, body, match="*")
    assert response.status_code == 404
    assert Alarm.objects.across_fleets().get(code="fan-stuck").revision == 1
