"""Fixtures with a real mailbox and a real webhook receiver on the loopback, and routes that lead to them.

Import the fixtures into a test module by name.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
import time_machine
from pytest_django import Settings
from standardwebhooks import Webhook

from alarms.models import Channel, NoticeRoute
from alarms.notices.routes import create_route
from fleet.embedded.receivers import HookReceiver, Mailbox, ReceivedHook
from fleet.models import Fleet, Member, Role
from tests import factories

SMTP = "django.core.mail.backends.smtp.EmailBackend"


@pytest.fixture
def mailbox(settings: Settings) -> Iterator[Mailbox]:
    """A mail server that the service sends through."""
    with Mailbox() as box:
        settings.EMAIL_BACKEND = SMTP
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", box.port
        yield box


@pytest.fixture
def hooks(settings: Settings) -> Iterator[HookReceiver]:
    """A webhook receiver that the service may reach although it is private and plain http."""
    settings.WEBHOOK_ALLOWED_HOSTS = ["127.0.0.1"]
    with HookReceiver() as receiver:
        yield receiver


def member_of(fleet: Fleet, role: Role = Role.MANAGER) -> Member:
    return Member.objects.filter(fleet=fleet, role=role).first() or factories.make_member(fleet, role)


def route_to(
    fleet: Fleet, address: str, *, now: datetime, role: Role = Role.MANAGER, channel: str = Channel.EMAIL, **plan: Any
) -> NoticeRoute:
    """A route to the fleet's member of this role."""
    member = member_of(fleet, role)
    wanted = {"member": member.username, "channel": channel, "address": address, "kinds": ["alarm", "hold"], **plan}
    return create_route(fleet, wanted, by=member_of(fleet), now=now)


def verified(hook: ReceivedHook, secret: str) -> dict[str, Any]:
    """The body, after the signature was checked by the Standard Webhooks package."""
    # The package compares with the clock; tests send messages of later moments, so its clock stands at theirs.
    with time_machine.travel(datetime.fromtimestamp(int(hook.headers["webhook-timestamp"]), UTC)):
        body: dict[str, Any] = Webhook(secret).verify(hook.body, dict(hook.headers))
    assert body == json.loads(hook.body)
    return body


def subjects_of(box: Mailbox, to: str) -> list[str]:
    """Subject lines of the mails to one address, in the order they came."""
    return [str(mail.message["Subject"]) for mail in box.mails if to in mail.recipients]
