"""Notice routes over HTTP: making, changing, testing and removing them, their secrets, and who may."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from pytest_django import Settings
from rest_framework.test import APIClient

from alarms.models import Channel, Delivery, NoticeRoute
from fleet.embedded.receivers import Answer, HookReceiver, Mailbox
from fleet.models import AuditEntry, Fleet, Role
from tests import factories as f
from tests.notice_rows import held, run
from tests.receivers import hooks, mailbox, member_of, route_to, subjects_of, verified

__all__ = ["hooks", "mailbox"]
ROUTES = "/api/v1/notice-routes/"
ClientOf = Callable[..., APIClient]


def body(**changes: Any) -> dict[str, Any]:
    return {"member": "tarn-manager", "channel": "email", **changes}


@pytest.fixture
def manager(tarn: Fleet, client_of: ClientOf) -> APIClient:
    return client_of(tarn)


def test_a_mail_route_goes_to_the_members_own_address(manager: APIClient) -> None:
    made = manager.post(ROUTES, body(quiet_from="22:00", quiet_until="06:30", position=2), format="json")
    assert made.status_code == 201, made.content
    route = made.json()
    assert (route["address"], route["kinds"], route["quiet_until"]) == (
        "manager@tarn.example",
        ["alarm", "hold"],
        "06:30",
    )
    assert (route["secret"], route["position"], route["state"]) == ("", 2, "enabled")
    assert made["Location"] == f"{ROUTES}{route['id']}/"
    assert manager.get(made["Location"]).json() == {k: v for k, v in route.items() if k != "secret"}


def test_a_webhook_secret_is_shown_when_it_is_made_and_when_it_is_rotated_only(manager: APIClient) -> None:
    made = manager.post(ROUTES, body(channel="webhook", address="https://hooks.example.org/w"), format="json").json()
    assert made["secret"].startswith("whsec_")
    path = f"{ROUTES}{made['id']}/"
    for answer in (manager.get(path), manager.get(ROUTES)):
        assert made["secret"] not in answer.content.decode()
    turned = manager.post(path + "rotate-secret/", HTTP_IF_MATCH='"1"')
    assert turned.status_code == 200
    assert turned.json()["secret"] not in ("", made["secret"])
    assert turned.json()["both_secrets_until"] is not None
    assert turned["ETag"] == '"2"'
    secrets = {made["secret"], turned.json()["secret"]}
    for entry in AuditEntry.objects.across_fleets():
        assert not any(secret in str(entry.content) for secret in secrets)


def test_a_rotated_webhook_verifies_with_both_secrets_for_a_day(
    tarn: Fleet, manager: APIClient, hooks: HookReceiver, now: datetime
) -> None:
    route = route_to(tarn, hooks.url(), now=now, channel=Channel.WEBHOOK)
    old = route.secret
    new = manager.post(f"{ROUTES}{route.pk}/rotate-secret/", HTTP_IF_MATCH='"1"').json()["secret"]
    held(tarn, now)
    run(now)
    assert verified(hooks.requests[0], old) == verified(hooks.requests[0], new)
    held(tarn, now + timedelta(hours=25), reference="T-2", number="HB-2")
    run(now + timedelta(hours=25))
    assert " " not in hooks.requests[-1].headers["webhook-signature"]
    verified(hooks.requests[-1], new)


REFUSED = [
    ({"channel": "pigeon"}, "/channel"),
    ({"member": "nobody"}, "/member"),
    ({"member": "other-manager"}, "/member"),
    ({"address": "not an address"}, "/address"),
    ({"channel": "webhook"}, "/address"),
    ({"channel": "webhook", "address": "http://hooks.example.org/"}, "/address"),
    ({"channel": "webhook", "address": "https://127.0.0.1/"}, "/address"),
    ({"channel": "webhook", "address": "https://169.254.169.254/"}, "/address"),
    ({"kinds": []}, "/kinds"),
    ({"kinds": ["weather"]}, "/kinds/0"),
    ({"quiet_from": "22:00"}, "/quiet_until"),
    ({"quiet_from": "22:00", "quiet_until": "22:00"}, "/quiet_until"),
    ({"quiet_from": "25:00", "quiet_until": "06:00"}, "/quiet_from"),
    ({"position": 0}, "/position"),
    ({"secret": "whsec_mine"}, "/secret"),
    ({"state": "enabled"}, "/state"),
]


@pytest.mark.parametrize(("change", "pointer"), REFUSED)
def test_bad_routes_are_refused_with_a_pointer(
    manager: APIClient, other: Fleet, change: dict[str, Any], pointer: str
) -> None:
    f.make_member(other, Role.MANAGER)
    answer = manager.post(ROUTES, body(**change), format="json")
    assert answer.status_code == 400
    assert pointer in [error["pointer"] for error in answer.json()["errors"]]
    assert not NoticeRoute.objects.across_fleets().exists()


def test_the_same_route_twice_is_a_conflict(manager: APIClient) -> None:
    assert manager.post(ROUTES, body(), format="json").status_code == 201
    assert manager.post(ROUTES, body(), format="json").status_code == 409


def test_changes_need_the_revision_that_was_read(manager: APIClient) -> None:
    made = manager.post(ROUTES, body(), format="json").json()
    path = f"{ROUTES}{made['id']}/"
    assert manager.patch(path, {"position": 3}, format="json").status_code == 428
    assert manager.patch(path, {"position": 3}, format="json", HTTP_IF_MATCH='"9"').status_code == 412
    changed = manager.patch(
        path, {"position": 3, "state": "disabled", "kinds": ["hold"]}, format="json", HTTP_IF_MATCH='"1"'
    )
    assert changed.status_code == 200
    assert (changed.json()["position"], changed.json()["state"], changed["ETag"]) == (3, "disabled", '"2"')
    assert changed.json()["disabled_reason"] == "disabled by manager of Tarn Haulage"
    again = manager.patch(path, {"state": "enabled"}, format="json", HTTP_IF_MATCH='"2"').json()
    assert (again["state"], again["disabled_reason"]) == ("enabled", "")
    assert manager.delete(path).status_code == 428
    assert manager.delete(path, HTTP_IF_MATCH='"3"').status_code == 204
    assert manager.get(path).status_code == 404
    acts = AuditEntry.objects.across_fleets().filter(object_type="noticeroute").order_by("pk")
    assert [entry.act for entry in acts] == ["route.created", "route.changed", "route.changed", "route.removed"]
    assert manager.post(ROUTES, body(), format="json").status_code == 201, "a removed route may be made again"


def test_what_waits_follows_a_corrected_address(
    tarn: Fleet, manager: APIClient, now: datetime, mailbox: Mailbox
) -> None:
    mailbox.refuse_recipient = "451 later"
    route = route_to(tarn, "wrong@tarn.example", now=now)
    held(tarn, now)
    run(now)
    mailbox.refuse_recipient = ""
    path = f"{ROUTES}{route.pk}/"
    changed = manager.patch(path, {"address": "right@tarn.example"}, format="json", HTTP_IF_MATCH='"1"')
    assert changed.status_code == 200
    run(now + timedelta(seconds=5))
    assert len(subjects_of(mailbox, "right@tarn.example")) == 1


def test_a_test_message_goes_through_the_real_pipeline(
    tarn: Fleet, manager: APIClient, now: datetime, mailbox: Mailbox, hooks: HookReceiver
) -> None:
    from django.utils import timezone

    mail = route_to(tarn, "1@tarn.example", now=now)
    hook = route_to(tarn, hooks.url(), now=now, channel=Channel.WEBHOOK)
    answers = [manager.post(f"{ROUTES}{route.pk}/test/") for route in (mail, hook)]
    assert [answer.status_code for answer in answers] == [202, 202]
    run(timezone.now())
    assert str(mailbox.mails[0].message["Subject"]) == "Test of a notice route of Tarn Haulage"
    assert verified(hooks.requests[0], hook.secret)["type"] == "route.test.v1"
    for answer in answers:
        delivery = manager.get(answer["Location"]).json()
        assert (delivery["state"], delivery["purpose"], delivery["attempts"]) == ("sent", "test", 1)
    NoticeRoute.objects.across_fleets().update(state="disabled")
    assert manager.post(f"{ROUTES}{mail.pk}/test/").status_code == 409


def test_gone_disables_the_route_and_the_owner_is_told_that_it_was_the_last(
    tarn: Fleet, now: datetime, mailbox: Mailbox, hooks: HookReceiver
) -> None:
    hooks.answer = Answer(410)
    route_to(tarn, hooks.url(), now=now, channel=Channel.WEBHOOK)
    held(tarn, now)
    run(now)
    route = NoticeRoute.objects.across_fleets().get()
    assert (route.state, route.disabled_reason) == ("disabled", "the receiver answered 410 Gone")
    subjects = subjects_of(mailbox, "owner@tarn.example")
    assert len(subjects) == 2, "one about the route, one about the hold that nobody else hears of"
    disabled = next(mail for mail in mailbox.mails if "disabled" in str(mail.message["Subject"]))
    assert "It was the last route" in disabled.text()
    assert AuditEntry.objects.across_fleets().filter(act="route.disabled", actor_name="service").count() == 1
    assert len(hooks.requests) == 1


@pytest.mark.parametrize("role", [Role.INTEGRATOR, Role.DISPATCHER, Role.INSPECTOR])
def test_only_managers_keep_routes(tarn: Fleet, client_of: ClientOf, now: datetime, role: Role) -> None:
    route = route_to(tarn, "1@tarn.example", now=now)
    client = client_of(tarn, role)
    calls = [
        client.get(ROUTES),
        client.post(ROUTES, body(), format="json"),
        client.patch(f"{ROUTES}{route.pk}/", {}, format="json", HTTP_IF_MATCH="*"),
        client.delete(f"{ROUTES}{route.pk}/", HTTP_IF_MATCH="*"),
        client.post(f"{ROUTES}{route.pk}/test/"),
        client.post(f"{ROUTES}{route.pk}/rotate-secret/", HTTP_IF_MATCH="*"),
    ]
    assert [answer.status_code for answer in calls] == [403] * 6


def test_another_fleet_sees_and_reaches_nothing(
    tarn: Fleet, other: Fleet, client_of: ClientOf, now: datetime, settings: Settings
) -> None:
    settings.WEBHOOK_ALLOWED_HOSTS = ["127.0.0.1"]
    route = route_to(tarn, "http://127.0.0.1:9/", now=now, channel=Channel.WEBHOOK)
    held(tarn, now)
    run(now)
    delivery = Delivery.objects.across_fleets().filter(route=route).first()
    assert delivery is not None
    stranger = client_of(other)
    member_of(other)
    for path in ("notice-routes", "notices", "deliveries"):
        assert stranger.get(f"/api/v1/{path}/").json()["items"] == []
    paths = [
        f"{ROUTES}{route.pk}/",
        f"/api/v1/notices/{delivery.notice_id}/",
        f"/api/v1/deliveries/{delivery.pk}/",
    ]
    assert [stranger.get(path).status_code for path in paths] == [404] * 3
    commands = [
        f"{ROUTES}{route.pk}/test/",
        f"{ROUTES}{route.pk}/rotate-secret/",
        f"/api/v1/notices/{delivery.notice_id}/seen/",
        f"/api/v1/deliveries/{delivery.pk}/redeliver/",
    ]
    assert [stranger.post(path, HTTP_IF_MATCH="*").status_code for path in commands] == [404] * 4
