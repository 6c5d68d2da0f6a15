"""API2:2023, broken authentication: one way in, and no hint to those who knock at it.

Rotation, revocation, log-in and guessing are tests/api/test_tokens.py.
"""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from knox.models import get_token_model
from rest_framework.test import APIClient

from fleet.models import Fleet, Member, Role
from tests import factories

pytestmark = pytest.mark.django_db
POLICY = "/api/v1/policy/"


def ask(authorization: str | None, path: str = POLICY) -> Any:
    client = APIClient(raise_request_exception=False)
    if authorization is not None:
        client.credentials(HTTP_AUTHORIZATION=authorization)
    return client.get(path)


def said(answer: Any) -> dict[str, Any]:
    return {name: value for name, value in answer.json().items() if name != "request_id"} | {
        "challenge": answer["WWW-Authenticate"],
        "status_code": answer.status_code,
    }


def test_every_way_of_having_no_valid_token_is_the_same_answer(tarn: Fleet) -> None:
    good = factories.token_of(tarn, Role.MANAGER)
    expired = factories.token_of(tarn, Role.MANAGER)
    get_token_model().objects.filter(token_key=expired[:15]).update(expiry=timezone.now() - timedelta(seconds=1))
    ways = [
        None, "", "Bearer", f"Bearer {good} {good}", f"Basic {good}", f"Token {good}", f"Bearer {good[:-1]}",
        f"Bearer {good[:15]}{'0' * (len(good) - 15)}", f"Bearer {good}\u00e9", f"Bearer {'x' * 5000}",
        f"Bearer {expired}", "Bearer null", "Bearer ' OR 1=1 --",
    ]  # fmt: skip
    answers = [said(ask(way)) for way in ways]
    assert {answer["status_code"] for answer in answers} == {401}
    assert [answer for answer in answers if answer != answers[0]] == []
    assert ask(f"Bearer {good}").status_code == 200


def test_a_token_elsewhere_than_in_its_header_is_none(tarn: Fleet) -> None:
    token = factories.token_of(tarn, Role.MANAGER)
    client = APIClient()
    client.cookies["token"] = client.cookies["sessionid"] = token
    assert client.get(POLICY).status_code == 401
    assert client.get(f"{POLICY}?token={token}&access_token={token}").status_code == 401
    assert client.get(POLICY, HTTP_X_API_KEY=token).status_code == 401


def test_a_member_who_left_is_out_at_once(tarn: Fleet) -> None:
    token = factories.token_of(tarn, Role.MANAGER)
    assert ask(f"Bearer {token}").status_code == 200
    Member.objects.filter(fleet=tarn).update(is_active=False)
    assert ask(f"Bearer {token}").status_code == 401


def test_every_role_s_tokens_expire(settings: Any, tarn: Fleet) -> None:
    assert settings.TOKEN_LIFE_H.keys() == set(Role)
    for role in Role:
        factories.token_of(tarn, role)
    ends = get_token_model().objects.values_list("expiry", flat=True)
    assert all(end is not None and end < timezone.now() + timedelta(days=366) for end in ends)


def test_tokens_cannot_be_guessed(tarn: Fleet) -> None:
    """256 random bits in hexadecimal; RFC 6749 section 10.10 asks for 128 (from memory)."""
    tokens = [factories.token_of(tarn, Role.MANAGER) for _ in range(20)]
    assert all(re.fullmatch(r"[0-9a-f]{64}", token) for token in tokens)
    assert len({token[:8] for token in tokens}) == len(tokens)
    assert all(len(row.digest) == 128 for row in get_token_model().objects.all())
