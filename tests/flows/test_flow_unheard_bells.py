"""Bells that no worker takes do not fill the broker.

On the broker of the settings: in-process by default, Redis in the second pass.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from kombu import Connection

from fleet.bell import ASSESS_TASK, DELIVER_TASK, QUEUES, breaker, drop_unheard
from fleet.celery import app

pytestmark = pytest.mark.django_db
MOST = 4


@pytest.fixture
def silence(settings: Any) -> Iterator[None]:
    """A broker without a bell and without a worker."""
    settings.BELL = "auto"
    breaker.reset()
    empty()
    yield
    breaker.reset()
    empty()


def empty() -> None:
    with app.connection_for_write() as connection:
        for name in QUEUES:
            app.amqp.queues[name](connection.default_channel).declare()
            connection.default_channel.queue_purge(queue=name)


def ring(task: str, times: int) -> None:
    for _ in range(times):
        app.send_task(task, retry=False, expires=60, ignore_result=True)


def waiting() -> dict[str, int]:
    with app.connection_for_write() as connection:
        channel = connection.default_channel
        return {name: channel.queue_declare(queue=name).message_count for name in QUEUES}


def test_more_bells_than_any_worker_needs_are_dropped(silence: None) -> None:
    ring(ASSESS_TASK, MOST + 1)
    ring(DELIVER_TASK, MOST)
    assert drop_unheard(most=MOST) == MOST + 1
    assert waiting() == {"assess": 0, "deliver": MOST}


def test_bells_that_a_worker_may_still_take_stay(silence: None) -> None:
    ring(ASSESS_TASK, MOST)
    assert drop_unheard(most=MOST) == 0
    assert waiting() == {"assess": MOST, "deliver": 0}


def test_a_broker_that_is_gone_silences_the_bell(silence: None, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as gone:
        nobody = Connection("redis://127.0.0.1:1/0", transport_options={"max_retries": 1})
        gone.setattr(app, "connection_for_write", lambda: nobody)
        assert drop_unheard() == 0
    assert not breaker.closed()


def test_without_a_bell_the_broker_is_left_alone(silence: None, settings: Any) -> None:
    settings.BELL = "off"
    assert drop_unheard(most=-1) == 0
