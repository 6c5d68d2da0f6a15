"""API10:2023, unsafe consumption of APIs: what gateways send and receivers answer is a stranger's word.

Hostile events are tests/api/test_events.py, answers of receivers tests/unit/test_channels_webhook.py.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest

from alarms.channels.base import printable
from alarms.models import Delivery
from fleet.embedded.receivers import Answer
from fleet.models import Fleet, QuarantinedEvent, Role, Unit, UnitState
from tests import factories, receivers
from tests.conftest import Client
from tests.notice_rows import held, run

pytestmark = pytest.mark.django_db
hooks = receivers.hooks
SCRIPT = "<script>alert(1)</script>"


def test_a_gateway_s_text_reaches_people_as_text(
    tarn: Fleet, client_of: Client, post_events: Any, now: datetime
) -> None:
    factories.make_unit(tarn)
    post_events(factories.fault(now, "odd-1") | {"data": {"state": "raised", "code": "odd-1", "text": SCRIPT}})
    answer = client_of(tarn, Role.DISPATCHER).get("/api/v1/alarms/")
    assert answer["Content-Type"] == "application/json"
    assert answer["X-Content-Type-Options"] == "nosniff"


def reported(unit: Unit) -> dict[str, Any]:
    """What is believed of the unit because a gateway said it."""
    facts = UnitState.objects.for_fleet(unit.fleet_id).get(unit=unit).facts
    return {name: fact for name, fact in facts.items() if fact[2] != "fleet"}


def test_a_value_no_sensor_can_have_is_kept_apart_and_changes_nothing(
    tarn: Fleet, post_events: Any, now: datetime
) -> None:
    unit = factories.make_unit(tarn)
    post_events(factories.reading(now))
    before = reported(unit)
    answer = post_events(
        factories.reading(now, id_="x", return_air_c=900.0), factories.reading(now, id_="y", fuel_l=-1)
    )
    assert answer["quarantined"] == 2
    assert reported(unit) == before
    assert QuarantinedEvent.objects.for_fleet(tarn).count() == 2


def test_a_gateway_cannot_speak_from_the_future(tarn: Fleet, post_events: Any, now: datetime) -> None:
    factories.make_unit(tarn)
    (item,) = post_events(factories.reading(now + timedelta(days=1)))["items"]
    assert item["status"] == "quarantined"


def test_what_a_receiver_answers_is_cut_and_cleaned_before_it_is_kept(
    tarn: Fleet,
    client_of: Client,
    hooks: Any,
    now: datetime,
) -> None:
    hooks.answers = [Answer(500, body=("\x1b[2J\x00" + SCRIPT + "x" * 100_000).encode())] * 3
    receivers.route_to(tarn, hooks.url(), now=now, channel="webhook")
    held(tarn, now)
    run(now)
    kept = [str(vars(delivery)) for delivery in Delivery.objects.for_fleet(tarn)]
    assert kept
    assert all("\x1b" not in text and "\x00" not in text and len(text) < 20_000 for text in kept)


def test_control_characters_of_strangers_are_made_visible() -> None:
    cleaned = printable("a\x1b[31mred\x00\r\nX-Injected: 1")
    assert not any(ord(character) < 32 for character in cleaned)
