"""A fault blocks a departure: a person and a machine are told, the person sees it, the cause goes, both hear the end
once.

Real events over HTTP, the services that the tasks call, a real mail server and a real webhook receiver.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from rest_framework.test import APIClient

from alarms.models import Channel, Delivery, Notice
from fleet.embedded.receivers import HookReceiver, Mailbox
from fleet.models import AuditEntry, Fleet, Hold, Role, Trip
from fleet.readiness.service import assess_trips
from tests import factories as f
from tests.notice_rows import run, stop_book
from tests.receivers import hooks, mailbox, route_to, subjects_of, verified

__all__ = ["hooks", "mailbox"]
MANAGER = "manager@tarn.example"
Post = Callable[..., dict[str, Any]]
ClientOf = Callable[..., APIClient]


def assess(now: datetime) -> None:
    assess_trips(list(Trip.objects.across_fleets().values_list("pk", flat=True)), now=now)


def see(manager: APIClient, notice: Notice) -> None:
    path = f"/api/v1/notices/{notice.pk}/"
    read = manager.get(path)
    assert read.status_code == 200, read.content
    assert manager.post(path + "seen/", HTTP_IF_MATCH='"999"').status_code == 412
    assert manager.post(path + "seen/").status_code == 428
    seen = manager.post(path + "seen/", HTTP_IF_MATCH=read["ETag"])
    assert (seen.status_code, seen.json()["state"]) == (200, "seen")


def sign_off(inspector: APIClient) -> None:
    path = f"/api/v1/alarms/{inspector.get('/api/v1/alarms/').json()['items'][0]['id']}/"
    body = {"work_done": "Hose clamp replaced, system bled, ran warm for an hour."}
    tag = inspector.get(path)["ETag"]
    done = inspector.post(path + "sign-off/", body, format="json", HTTP_IF_MATCH=tag)
    assert done.status_code == 200, done.content


def test_from_the_fault_to_the_closure_with_exactly_the_expected_messages(
    tarn: Fleet, client_of: ClientOf, post_events: Post, now: datetime, mailbox: Mailbox, hooks: HookReceiver
) -> None:
    f.potato()
    unit = f.make_unit(tarn)
    stop_book(tarn, unit, now)
    route_to(tarn, MANAGER, now=now)
    hook = route_to(tarn, hooks.url(), now=now, role=Role.DISPATCHER, channel=Channel.WEBHOOK)
    dispatcher, manager = client_of(tarn, Role.DISPATCHER), client_of(tarn)
    assert dispatcher.post("/api/v1/trips/", f.trip_body(now), format="json").status_code == 201

    # 1. The unit reports a fault that stops it; the trip leaves in six hours. Nothing is sent before both are known.
    post_events(f.reading(now), f.fault(now, "coolant-hot-2"))
    assess(now)
    hold = Hold.objects.across_fleets().get()
    assert run(now) == 0
    notice = Notice.objects.across_fleets().get()
    assert (notice.state, notice.reason) == ("pending", "nothing")

    # 2. Half a minute later one mail says both, and the machine gets one event for each.
    run(now + timedelta(seconds=31))
    (mail,) = mailbox.mails
    local = hold.trip.depart_at.astimezone(ZoneInfo(tarn.time_zone)).strftime("%a %d %b %H:%M %Z")
    assert mail.message["Subject"] == f"Blocked: HB-104, T-1 departs {local}"
    for words in (
        "Coolant far too hot.",
        "What to do: Stop the heater",
        "/trips/T-1/",
        "does not certify",
    ):
        assert words in mail.text()
        assert words in mail.text("html")
    bodies = [verified(request, hook.secret) for request in hooks.requests]
    assert sorted(body["type"] for body in bodies) == ["alarm.stop.v1", "hold.opened.v1"]
    opened = next(body for body in bodies if body["type"] == "hold.opened.v1")
    assert opened["data"]["hold"]["id"] == hold.pk
    assert opened["data"]["unit"] == "HB-104"
    assert Notice.objects.across_fleets().get().state == "sent"

    # 3. The manager has seen it: no repeat when the next step would have been due.
    see(manager, notice)
    assert AuditEntry.objects.for_fleet(tarn).filter(act="notice.seen").count() == 1
    run(now + timedelta(minutes=20))
    assert (len(mailbox.mails), len(hooks.requests)) == (1, 2)

    # 4. The fault clears and a person signs the work off; the next assessment lifts the hold.
    later = now + timedelta(minutes=30)
    post_events(f.fault(now + timedelta(minutes=1), "coolant-hot-2", state="cleared"))
    sign_off(client_of(tarn, Role.INSPECTOR))
    run(later)
    assert (len(mailbox.mails), len(hooks.requests)) == (1, 2), "an alarm's end waits for the hold it caused"
    assess(later)
    hold.refresh_from_db()
    assert (hold.state, hold.close_reason) == ("lifted", "signed_off")

    # 5. Both hear the end, exactly once, however often the worker runs and the auditor looks.
    for minutes in (31, 32, 60, 600):
        run(now + timedelta(minutes=minutes))
    assert subjects_of(mailbox, MANAGER)[1:] == [f"Hold lifted: HB-104, T-1 departs {local}"]
    assert "Hose clamp replaced" in mailbox.mails[1].text()
    bodies = [verified(request, hook.secret) for request in hooks.requests[2:]]
    assert sorted((body["type"], body["data"]["change"]) for body in bodies) == [
        ("alarm.stop.v1", "ended"),
        ("hold.ended.v1", "ended"),
    ]
    assert Notice.objects.across_fleets().get().state == "closed"
    assert set(Delivery.objects.across_fleets().values_list("state", flat=True)) == {"sent"}
