"""Notices and deliveries over HTTP: lists, filters, seen, sending again."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import pytest
from drf_spectacular.generators import SchemaGenerator
from rest_framework.test import APIClient

from alarms.models import Channel, Delivery, Notice
from fleet.embedded.receivers import HookReceiver, Mailbox
from fleet.models import AuditEntry, Fleet, Role
from tests.notice_rows import HOUR, MIN, an_alarm, end, held, run
from tests.receivers import hooks, mailbox, route_to

__all__ = ["hooks", "mailbox"]
NOTICES, DELIVERIES = "/api/v1/notices/", "/api/v1/deliveries/"
ClientOf = Callable[..., APIClient]


@pytest.fixture
def manager(tarn: Fleet, client_of: ClientOf) -> APIClient:
    return client_of(tarn)


def test_a_notice_says_what_it_is_about_and_how_far_telling_has_come(
    tarn: Fleet, manager: APIClient, now: datetime, mailbox: Mailbox
) -> None:
    route_to(tarn, "1@tarn.example", now=now)
    hold = held(tarn, now)
    an_alarm(tarn, now)
    run(now)
    (notice,) = manager.get(NOTICES).json()["items"]
    assert {name: notice[name] for name in ("unit", "state", "urgency", "reason", "round", "step")} == {
        "unit": "HB-104", "state": "sent", "urgency": "now", "reason": "first", "round": 1, "step": 0,
    }  # fmt: skip
    about = [(subject["kind"], subject["hold"], subject["trip"]) for subject in notice["subjects"]]
    assert about == [("hold", hold.pk, "T-1"), ("alarm", None, None)]
    assert notice["subjects"][0]["says"] == ["Fuel is short by 23 L."]
    assert notice["subjects"][0]["link"].endswith("/trips/T-1/")
    assert notice["next_at"] is not None


def test_lists_are_newest_first_and_filtered(tarn: Fleet, manager: APIClient, now: datetime, mailbox: Mailbox) -> None:
    route_to(tarn, "1@tarn.example", now=now)
    first = held(tarn, now, number="HB-1", reference="T-1")
    held(tarn, now, number="HB-2", reference="T-2", leaves_in=20 * HOUR)
    run(now)
    end(first, now + MIN)
    run(now + 3 * MIN)
    units = [item["unit"] for item in manager.get(NOTICES).json()["items"]]
    assert units == ["HB-2", "HB-1"]
    for query, expected in (
        ("?unit=HB-1", ["HB-1"]), ("?state=closed", ["HB-1"]), ("?urgency=planned", ["HB-2"]), ("?state=seen", []),
    ):  # fmt: skip
        assert [item["unit"] for item in manager.get(NOTICES + query).json()["items"]] == expected
    assert manager.get(NOTICES + "?weather=bad").status_code == 400
    purposes = [item["purpose"] for item in manager.get(DELIVERIES).json()["items"]]
    assert purposes == ["tell", "close", "tell"]
    assert len(manager.get(DELIVERIES + "?purpose=close&state=sent&channel=email").json()["items"]) == 1


def test_a_list_of_notices_takes_the_same_number_of_statements_however_long(
    tarn: Fleet, manager: APIClient, now: datetime, django_assert_max_num_queries: Callable[..., object]
) -> None:
    for index in range(5):
        held(tarn, now, number=f"HB-{index}", reference=f"T-{index}")
    manager.get(f"{NOTICES}?limit=1")  # the first use of a token is written down
    with django_assert_max_num_queries(3):  # type: ignore[attr-defined]
        assert len(manager.get(NOTICES).json()["items"]) == 5


def test_seen_is_for_managers_and_dispatchers(tarn: Fleet, client_of: ClientOf, now: datetime) -> None:
    held(tarn, now)
    run(now)
    path = f"{NOTICES}{Notice.objects.across_fleets().get().pk}/seen/"
    for role, status in ((Role.INTEGRATOR, 403), (Role.INSPECTOR, 403), (Role.DISPATCHER, 200), (Role.MANAGER, 200)):
        assert client_of(tarn, role).post(path, HTTP_IF_MATCH="*").status_code == status


def test_what_joined_since_the_notice_was_read_is_not_acknowledged_unread(
    tarn: Fleet, manager: APIClient, now: datetime
) -> None:
    held(tarn, now)
    run(now)
    path = f"{NOTICES}{Notice.objects.across_fleets().get().pk}/"
    read = manager.get(path)["ETag"]
    held(tarn, now + MIN, reference="T-2")
    assert manager.post(path + "seen/", HTTP_IF_MATCH=read).status_code == 412
    assert manager.post(path + "seen/", HTTP_IF_MATCH=manager.get(path)["ETag"]).status_code == 200


def test_a_closed_notice_cannot_be_seen(tarn: Fleet, manager: APIClient, now: datetime) -> None:
    end(held(tarn, now), now)
    run(now)
    path = f"{NOTICES}{Notice.objects.across_fleets().get().pk}/seen/"
    assert manager.post(path, HTTP_IF_MATCH="*").status_code == 409


def test_a_delivery_is_sent_again_under_its_own_id_even_when_all_is_over(
    tarn: Fleet, manager: APIClient, now: datetime, hooks: HookReceiver
) -> None:
    from django.utils import timezone

    route_to(tarn, hooks.url(), now=now, channel=Channel.WEBHOOK)
    hold = held(tarn, now)
    run(now)
    end(hold, now)
    run(now)
    opened = Delivery.objects.across_fleets().order_by("pk")[0]
    again = manager.post(f"{DELIVERIES}{opened.pk}/redeliver/")
    assert (again.status_code, again.json()["state"]) == (202, "queued")
    assert manager.post(f"{DELIVERIES}{opened.pk}/redeliver/").status_code == 409
    run(timezone.now())
    ids = [request.headers["webhook-id"] for request in hooks.requests]
    assert ids[2] == ids[0] == opened.message_id
    assert hooks.requests[2].body == hooks.requests[0].body
    assert AuditEntry.objects.across_fleets().filter(act="delivery.again").count() == 1
    assert Notice.objects.across_fleets().get().state == "closed"


def test_inspectors_do_not_read_other_peoples_messages(tarn: Fleet, client_of: ClientOf) -> None:
    assert client_of(tarn, Role.INSPECTOR).get(DELIVERIES).status_code == 403
    assert client_of(tarn, Role.INSPECTOR).get(NOTICES).status_code == 200


def test_the_document_lists_every_webhook() -> None:
    schema = SchemaGenerator().get_schema(request=None, public=True)
    assert set(schema["webhooks"]) >= {
        "hold.opened.v1", "hold.changed.v1", "hold.ended.v1", "alarm.stop.v1", "alarm.heat_lost.v1", "alarm.attend.v1",
        "route.test.v1",
    }  # fmt: skip
