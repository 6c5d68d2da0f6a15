"""From the event that blocks a trip to the mail that says so: real worker, real sweep, a mail server on loopback."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta

import orjson
import psycopg

from fleet.embedded.receivers import Mailbox
from tests.benchmarks.ground import Ground
from tests.benchmarks.yard import Client, Yard, number_of, reading

GIVE_UP_S = 30.0


def add_route(yard: Yard) -> None:
    """One person who gets mail at once, at any hour."""
    from alarms.models import Channel
    from alarms.notices.routes import create_route
    from fleet.models import Fleet, Member, Role
    from tests import factories

    fleet = Fleet.objects.get(pk=yard.fleet_id)
    member = Member.objects.filter(fleet=fleet, role=Role.DISPATCHER).get()
    manager = factories.make_member(fleet, Role.MANAGER)
    wanted = {
        "member": member.username, "channel": Channel.EMAIL, "address": "gate@tarn.example", "kinds": ["alarm", "hold"],
    }  # fmt: skip
    create_route(fleet, wanted, by=manager, now=yard.now)


def _forget_what_was_sent(ground: Ground) -> None:
    """Puts what was sent back by an hour: after ten messages to one person the rest would come as a summary."""
    time.sleep(0.2)
    with psycopg.connect(ground.dsn, autocommit=True) as connection:
        connection.execute("UPDATE alarms_delivery SET created_at = created_at - interval '1 hour'")


def measure_notices(ground: Ground, yard: Yard, mailbox: Mailbox, *, trips: range) -> list[float]:
    """Seconds from the post to the mail, one trip after the other."""
    client = Client(ground.web_port, yard.integrator)
    found = []
    for i in trips:
        before = len(mailbox.mails)
        event = reading(number_of(i), datetime.now(UTC) + timedelta(milliseconds=1), set_point_c=2.0)
        begun = time.perf_counter()
        client.send("POST", "/api/v1/events/", orjson.dumps([event]), status=207)
        while len(mailbox.mails) == before:
            if time.perf_counter() - begun > GIVE_UP_S:
                raise RuntimeError(f"No mail about {number_of(i)} within {GIVE_UP_S:g} s.")
            time.sleep(0.002)
        found.append(time.perf_counter() - begun)
        _forget_what_was_sent(ground)
    return found
