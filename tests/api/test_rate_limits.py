"""Quotas over HTTP: what is said, what is refused, what never starves, and what happens while nobody counts."""

from __future__ import annotations

import uuid
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from typing import Any

import pytest
from prometheus_client import REGISTRY

from fleet.http import throttle
from fleet.http.quota import Quota, RedisCounter
from fleet.models import Fleet, Role
from tests import factories
from tests.api.isolation_world import fill
from tests.conftest import Client

pytestmark = pytest.mark.django_db
POLICY = "/api/v1/policy/"


@pytest.fixture(autouse=True)
def _counted_here(settings: Any) -> None:
    settings.RATE_URL = "memory://"
    throttle.breaker.reset()


def test_every_answer_to_a_token_says_what_is_left(tarn: Fleet, client_of: Client, settings: Any) -> None:
    settings.RATE_CALLS_PER_MIN = 10  # one comes back in six seconds, none between two requests of this test
    client = client_of(tarn)
    first, second = client.get(POLICY), client.get("/api/v1/units/NOBODY/")
    assert first["RateLimit-Policy"] == '"calls";q=10;w=60'
    assert first["RateLimit"].startswith('"calls";r=9;t=')
    assert second.status_code == 404
    assert second["RateLimit"].startswith('"calls";r=8;t=')


def test_one_too_many_is_429_with_the_time_to_wait_and_changes_nothing(
    tarn: Fleet, client_of: Client, settings: Any
) -> None:
    settings.RATE_CALLS_PER_MIN = 2
    client = client_of(tarn)
    answers = [client.post("/api/v1/unit-models/", {}, format="json") for _ in range(3)]
    assert [answer.status_code for answer in answers] == [400, 400, 429]
    refused = answers[2]
    assert refused.json()["type"] == "/docs/problems/rate-limited/"
    assert 1 <= int(refused["Retry-After"]) <= 30
    assert refused["RateLimit"].startswith('"calls";r=0;t=')


def test_another_token_is_not_slowed_down(tarn: Fleet, client_of: Client, settings: Any) -> None:
    settings.RATE_CALLS_PER_MIN = 1
    greedy, modest = client_of(tarn), client_of(tarn)
    assert [greedy.get(POLICY).status_code for _ in range(2)] == [200, 429]
    assert modest.get(POLICY).status_code == 200


def test_signing_seeing_and_releasing_never_starve(
    other: Fleet, client_of: Client, settings: Any, now: datetime
) -> None:
    factories.potato()
    world = fill(other, now, client_of)
    settings.RATE_CALLS_PER_MIN = 1
    manager = client_of(other, Role.MANAGER)
    assert [manager.get(POLICY).status_code for _ in range(3)] == [200, 429, 429]
    acts = [
        (f"notices/{world['notice']}/seen/", None),
        (f"alarms/{world['alarm']}/seen/", None),
        (f"alarms/{world['alarm']}/sign-off/", {"work_done": "hose changed and bled"}),
        (f"alarms/{world['alarm']}/void/", {"reason": "long enough a reason"}),
        (f"holds/{world['hold']}/release/", {"reason": "long enough a reason"}),
        (f"inspections/{world['inspection']}/repairs/", {}),
        (f"inspections/{world['inspection']}/rechecks/", {}),
        (f"inspections/{world['inspection']}/sign/", {}),
        ("inspections/", {}),
    ]
    for path, body in acts:
        answer = manager.post(f"/api/v1/{path}", body, format="json" if body is not None else None, HTTP_IF_MATCH="*")
        assert answer.status_code != 429, path
        assert answer["RateLimit"].startswith('"acts"'), path


def test_events_have_a_quota_of_their_own(tarn: Fleet, client_of: Client, settings: Any, now: datetime) -> None:
    settings.RATE_EVENTS_PER_MIN = 1
    gateway = client_of(tarn, Role.INTEGRATOR)
    sent = [gateway.post("/api/v1/events/", [factories.reading(now)], format="json").status_code for _ in range(2)]
    assert sent == [207, 429]
    assert gateway.get(POLICY).status_code == 200


def test_while_nobody_counts_requests_pass_and_are_counted(tarn: Fleet, client_of: Client, settings: Any) -> None:
    settings.RATE_URL = "redis://127.0.0.1:1/0"
    client = client_of(tarn)

    def unchecked() -> float:
        return REGISTRY.get_sample_value("warmgate_rate_total", {"quota": "calls", "outcome": "unchecked"}) or 0.0

    before = unchecked()
    try:
        answers = [client.get(POLICY) for _ in range(3)]
        assert [answer.status_code for answer in answers] == [200, 200, 200]
        assert unchecked() == before + 3
        assert not throttle.breaker.closed(), "Redis is left alone for a while after one failure"
        assert "RateLimit" not in answers[0]
    finally:
        throttle.breaker.reset()


def redis_url() -> str:
    from django.conf import settings

    return str(settings.BROKER_URL)


@pytest.mark.skipif("not __import__('django.conf').conf.settings.BROKER_URL.startswith('redis')", reason="needs Redis")
def test_in_redis_many_at_once_pass_exactly_the_quota() -> None:
    """Each thread with its own connection, as each process has."""
    key, quota = f"test:{uuid.uuid4().hex}", Quota("calls", 50, 3600)
    counters = [RedisCounter(redis_url()) for _ in range(4)]
    with ThreadPoolExecutor(4) as pool:
        taken = list(pool.map(lambda number: counters[number % 4].take(key, quota), range(120)))
    assert sum(one.allowed for one in taken) == 50
    assert sorted(one.remaining for one in taken if one.allowed) == list(range(50))
    assert all(0 < one.retry_after_s <= 72 for one in taken if not one.allowed)
