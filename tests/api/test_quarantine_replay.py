"""Events that could not be taken: kept, counted, replayed, discarded."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import AuditEntry, Fleet, QuarantinedEvent, Reading, Role, UnitState
from tests import factories
from tests.conftest import Client
from tests.factories import fault, reading

pytestmark = pytest.mark.django_db
Post = Callable[..., dict[str, Any]]


@pytest.fixture(autouse=True)
def unit(tarn: Fleet) -> None:
    factories.make_unit(tarn)


@pytest.fixture
def sender(client_of: Client, tarn: Fleet) -> APIClient:
    return client_of(tarn, Role.INTEGRATOR)


def send(client: APIClient, body: bytes) -> Any:
    return client.generic("POST", "/api/v1/events/", body, content_type="application/cloudevents-batch+json")


@pytest.fixture
def held(post_events: Post, now: datetime) -> int:
    """An event of a unit that is not entered yet."""
    pk: int = post_events(reading(now, unit="HB-7"))["items"][0]["quarantine_id"]
    return pk


def test_the_quarantine_lists_the_raw_item_and_why(sender: APIClient, held: int) -> None:
    [item] = sender.get("/api/v1/quarantine/?state=held&code=unknown-unit&subject=HB-7").json()["items"]
    assert (item["id"], item["retryable"], item["times_received"]) == (held, True, 1)
    assert json.loads(item["raw"])["subject"] == "HB-7"
    assert sender.get("/api/v1/quarantine/?state=discarded").json()["items"] == []
    assert sender.get(f"/api/v1/quarantine/{held}/").json() == item


def test_the_same_item_again_is_counted_and_not_kept_twice(post_events: Post, held: int, now: datetime) -> None:
    assert post_events(reading(now, unit="HB-7"))["items"][0]["quarantine_id"] == held
    assert QuarantinedEvent.objects.across_fleets().get().times_received == 2


def test_a_replay_that_can_work_now_does(sender: APIClient, tarn: Fleet, held: int) -> None:
    url = f"/api/v1/quarantine/{held}/replay/"
    still = sender.post(url)
    assert (still.status_code, still.json()["state"], still.json()["item"]["code"]) == (200, "held", "unknown-unit")
    factories.make_unit(tarn, "HB-7")
    assert sender.post(url).json() == {"state": "replayed", "item": None}
    assert Reading.objects.for_fleet(tarn).count() == 1
    again = sender.post(url)
    assert (again.status_code, again.json()["type"]) == (409, "/docs/problems/conflict/")
    assert AuditEntry.objects.for_fleet(tarn).filter(act="quarantine.replayed").count() == 1


def test_a_replay_refused_for_another_reason_keeps_one_row_with_the_new_reason(
    sender: APIClient, tarn: Fleet, held: int, now: datetime
) -> None:
    factories.make_unit(tarn, "HB-7")
    send(sender, json.dumps([reading(now, unit="HB-7", fuel_l=1.0)]).encode())
    answer = sender.post(f"/api/v1/quarantine/{held}/replay/").json()
    assert (answer["state"], answer["item"]["code"]) == ("held", "contradiction")
    row = QuarantinedEvent.objects.for_fleet(tarn).get()
    assert (row.pk, row.code, row.state, row.retryable) == (held, "contradiction", "held", False)
    assert answer["item"]["quarantine_id"] == held


def test_a_replay_of_an_item_that_is_no_event_stays_held(sender: APIClient) -> None:
    pk = send(sender, b'["no event"]').json()["items"][0]["quarantine_id"]
    answer = sender.post(f"/api/v1/quarantine/{pk}/replay/")
    assert (answer.status_code, answer.json()["state"]) == (200, "held")


def test_an_item_that_was_not_utf8_can_be_replayed_without_a_crash(sender: APIClient) -> None:
    pk = send(sender, b'[{"specversion":"1.0","id":"\xff"}]').json()
    assert pk["quarantined"] == 1
    assert sender.post(f"/api/v1/quarantine/{pk['items'][0]['quarantine_id']}/replay/").status_code == 200


@pytest.mark.parametrize(
    ("body", "status", "pointer"),
    [({"reason": "a test sender"}, 200, None), ({}, 400, "/reason"), ({"reason": "no"}, 400, "/reason"),
     ({"reason": "fine", "by": "me"}, 400, "/by")],
)  # fmt: skip
def test_a_discard_needs_a_reason(
    sender: APIClient, held: int, body: dict[str, Any], status: int, pointer: str | None
) -> None:
    response = sender.post(f"/api/v1/quarantine/{held}/discard/", body, format="json")
    assert response.status_code == status
    if pointer:
        assert [error["pointer"] for error in response.json()["errors"]] == [pointer]
    else:
        assert (response.json()["state"], response.json()["reason"]) == ("discarded", "a test sender")
        assert response.json()["closed_by"] == "integrator of Tarn Haulage"
        assert sender.post(f"/api/v1/quarantine/{held}/replay/").status_code == 409


def test_a_fault_in_quarantine_is_told_to_readiness_until_it_is_discarded(
    post_events: Post, sender: APIClient, tarn: Fleet, now: datetime
) -> None:
    bad = fault(now, "coolant-hot-2")
    bad["data"]["state"] = "on"
    pk = post_events(bad)["items"][0]["quarantine_id"]

    def count() -> int:
        facts = UnitState.objects.for_fleet(tarn).get().facts
        return int(facts["fleet.quarantined_faults"][0])

    assert count() == 1
    sender.post(f"/api/v1/quarantine/{pk}/discard/", {"reason": "looked at"}, format="json")
    assert count() == 0
