"""A POST with an Idempotency-Key may be repeated: by a nervous client, by two at once, after a refusal."""

import threading
from datetime import timedelta

import pytest
from django.db import close_old_connections, connections
from django.utils import timezone
from knox.models import get_token_model
from rest_framework.test import APIClient

from fleet.http.idempotency import KEPT, body_hash, forget_expired_keys
from fleet.models import AuditEntry, Fleet, IdempotencyKey, Member, Role

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.api.http_routes")]
URL = "/notes/write/"


def new_client(slug, fleet=None):
    fleet = fleet or Fleet.objects.create(name=slug, slug=slug, owner_email="owner@example.invalid")
    member = Member.objects.create(username=slug, fleet=fleet, role=Role.DISPATCHER)
    _, token = get_token_model().objects.create(user=member)
    client = APIClient(raise_request_exception=False)
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return fleet, client


@pytest.fixture
def ours():
    return new_client("vinterby")


def notes():
    return AuditEntry.objects.across_fleets().count()


def keys():
    return IdempotencyKey.objects.across_fleets()


def test_the_same_key_and_body_replays_the_first_answer_byte_for_byte(ours):
    _, client = ours
    first = client.post(URL, {"text": "a"}, HTTP_IDEMPOTENCY_KEY="k-1")
    second = client.post(URL, {"text": "a"}, HTTP_IDEMPOTENCY_KEY="k-1")
    assert (first.status_code, second.status_code) == (201, 201)
    assert second.content == first.content
    assert second["Location"] == first["Location"]
    assert "Idempotency-Replayed" not in first
    assert second["Idempotency-Replayed"] == "true"
    assert second["Content-Type"] == first["Content-Type"] == "application/json"
    assert notes() == 1


def test_blanks_and_the_order_of_members_do_not_make_another_body(ours):
    _, client = ours
    client.generic("POST", URL, b'{"text":"a","air_c":5}', "application/json", HTTP_IDEMPOTENCY_KEY="k")
    answer = client.generic("POST", URL, b'{ "air_c": 5, "text": "a" }', "application/json", HTTP_IDEMPOTENCY_KEY="k")
    assert answer["Idempotency-Replayed"] == "true"
    assert body_hash({"a": 1}) != body_hash({"a": True})
    assert body_hash({"a": "1"}) != body_hash({"a": 1})


def test_another_body_or_another_route_under_the_same_key_is_422(ours):
    _, client = ours
    client.post(URL, {"text": "a"}, HTTP_IDEMPOTENCY_KEY="k")
    answer = client.post(URL, {"text": "b"}, HTTP_IDEMPOTENCY_KEY="k")
    assert answer.status_code == 422
    assert answer.json()["type"] == "/docs/problems/idempotency-key-reused/"
    assert notes() == 1
    keys().update(route="POST /elsewhere/")
    assert client.post(URL, {"text": "a"}, HTTP_IDEMPOTENCY_KEY="k").status_code == 422


def test_without_a_key_a_repeated_post_is_a_new_one(ours):
    _, client = ours
    client.post(URL, {"text": "a"})
    client.post(URL, {"text": "a"})
    assert notes() == 2
    assert keys().count() == 0


def test_keys_belong_to_one_member(ours):
    fleet, client = ours
    _, colleague = new_client("colleague", fleet)
    _, stranger = new_client("norrholm")
    for caller in (client, colleague, stranger):
        answer = caller.post(URL, {"text": "a"}, HTTP_IDEMPOTENCY_KEY="k")
        assert answer.status_code == 201
        assert "Idempotency-Replayed" not in answer
    assert notes() == 3


@pytest.mark.parametrize("text", ["refuse", "answer 409"])
def test_a_refusal_takes_its_writes_and_its_key_back(ours, text):
    _, client = ours
    answer = client.post(URL, {"text": text}, HTTP_IDEMPOTENCY_KEY="k")
    assert answer.status_code == 409
    assert (notes(), keys().count()) == (0, 0)
    assert client.post(URL, {"text": "a"}, HTTP_IDEMPOTENCY_KEY="k").status_code == 201


def test_a_refused_body_leaves_the_key_free_for_the_corrected_one(ours):
    _, client = ours
    assert client.post(URL, {"txt": "a"}, HTTP_IDEMPOTENCY_KEY="k").status_code == 400
    assert client.post(URL, {"text": "a"}, HTTP_IDEMPOTENCY_KEY="k").status_code == 201


@pytest.mark.parametrize("key", ["", " ", "a b", "x" * 256, "é", "a\tb", "a\x7f"])
def test_a_key_that_is_none_is_refused_and_named(ours, key):
    answer = ours[1].post(URL, {"text": "a"}, HTTP_IDEMPOTENCY_KEY=key)
    assert answer.status_code == 400
    assert [(error["in"], error["pointer"]) for error in answer.json()["errors"]] == [("header", "/Idempotency-Key")]
    assert notes() == 0


def test_a_key_is_forgotten_after_48_hours_whether_or_not_the_cleaner_ran(ours):
    _, client = ours
    client.post(URL, {"text": "a"}, HTTP_IDEMPOTENCY_KEY="k")
    keys().update(created_at=timezone.now() - KEPT - timedelta(seconds=1))
    answer = client.post(URL, {"text": "b"}, HTTP_IDEMPOTENCY_KEY="k")
    assert answer.status_code == 201
    assert "Idempotency-Replayed" not in answer
    assert keys().count() == 1


def test_the_cleaner_deletes_old_keys_and_counts_them(ours):
    _, client = ours
    now = timezone.now()
    for name in ("old", "young"):
        client.post(URL, {"text": name}, HTTP_IDEMPOTENCY_KEY=name)
    keys().filter(key="old").update(created_at=now - KEPT - timedelta(minutes=1))
    assert forget_expired_keys(now=now) == 1
    assert [row.key for row in keys()] == ["young"]
    assert forget_expired_keys(now=now) == 0


@pytest.mark.django_db(transaction=True)
def test_calls_at_the_same_moment_have_one_effect_and_one_answer():
    _, client = new_client("vinterby")
    credentials = client._credentials
    callers, start = 6, threading.Barrier(6, timeout=20)
    answers, errors = [], []

    def call():
        own = APIClient(raise_request_exception=False)
        own.credentials(**credentials)
        try:
            start.wait()
            answers.append(own.post(URL, {"text": "a"}, HTTP_IDEMPOTENCY_KEY="k"))
        except Exception as error:  # noqa: BLE001 - a thread's failure must reach the assertion
            errors.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=call) for _ in range(callers)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    close_old_connections()
    assert errors == []
    assert [answer.status_code for answer in answers] == [201] * callers
    assert len({answer.content for answer in answers}) == 1
    assert sum("Idempotency-Replayed" in answer for answer in answers) == callers - 1
    assert (notes(), keys().count()) == (1, 1)
