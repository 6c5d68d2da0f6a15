"""One line per request that finds it again, and no line with a secret in it."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from datetime import datetime
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.http.logs import JsonFormatter
from fleet.models import Fleet, Member, Role
from tests import factories
from tests.conftest import Client

pytestmark = pytest.mark.django_db


class Lines(logging.Handler):
    """Every line of every logger, as the service writes it."""

    def __init__(self) -> None:
        super().__init__(logging.DEBUG)
        self.setFormatter(JsonFormatter())
        self.texts: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.texts.append(self.format(record))

    def of_requests(self) -> list[dict[str, Any]]:
        lines = [json.loads(text) for text in self.texts]
        return [line for line in lines if line["logger"] == "warmgate.requests"]


@pytest.fixture
def lines() -> Iterator[Lines]:
    handler, root = Lines(), logging.getLogger()
    level = root.level
    root.addHandler(handler)
    root.setLevel(logging.DEBUG)
    yield handler
    root.removeHandler(handler)
    root.setLevel(level)


def test_a_request_is_one_line_with_who_what_how_long_and_how_dear(
    tarn: Fleet, client_of: Client, lines: Lines
) -> None:
    factories.make_unit(tarn)
    client = client_of(tarn, Role.DISPATCHER)
    answer = client.get("/api/v1/units/HB-104/", HTTP_X_REQUEST_ID="yard-3.17")
    (line,) = lines.of_requests()
    member = Member.objects.get(fleet=tarn)
    assert answer["X-Request-ID"] == "yard-3.17"
    assert line.pop("duration_ms") > 0
    assert line.pop("sql_count") >= 2
    assert datetime.fromisoformat(line.pop("time")).tzinfo is not None
    assert line == {
        "level": "info", "logger": "warmgate.requests", "message": "request", "request_id": "yard-3.17",
        "fleet_id": tarn.pk, "member_id": member.pk, "method": "GET", "route": "/api/v1/units/<str:number>/",
        "status": 200,
    }  # fmt: skip


def test_refusals_have_their_line_too_and_probes_are_quiet(lines: Lines) -> None:
    client = APIClient(raise_request_exception=False)
    client.get("/api/v1/units/")
    client.get("/nowhere/")
    client.get("/livez")
    said = [(line["status"], line["route"], line["member_id"], line["level"]) for line in lines.of_requests()]
    assert said == [
        (401, "/api/v1/units/", None, "info"),
        (404, "unmatched", None, "info"),
        (200, "/livez", None, "debug"),
    ]


def test_a_request_id_of_a_stranger_cannot_forge_a_line(lines: Lines) -> None:
    for offered in ('x" , "level":"critical', "a\nb", "x" * 65, ""):
        answer = APIClient().get("/livez", HTTP_X_REQUEST_ID=offered)
        assert answer["X-Request-ID"] != offered
    assert all("\n" not in text for text in lines.texts)


def test_no_line_holds_a_token_a_password_a_secret_or_a_body(
    tarn: Fleet, client_of: Client, lines: Lines, settings: Any
) -> None:
    settings.WEBHOOK_ALLOWED_HOSTS = ["hooks.example.org"]
    token = factories.token_of(tarn, Role.MANAGER)
    member = Member.objects.get(fleet=tarn)
    member.set_password("a long and private sentence")
    member.save()
    client = APIClient(raise_request_exception=False)
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    login = {"username": member.username, "password": "a long and private sentence"}
    made = client.post("/api/v1/login/", login, format="json").json()["token"]
    client.post("/api/v1/login/", login | {"password": "a wrong but telling sentence"}, format="json")
    turned = client.post("/api/v1/tokens/rotate/", {}, format="json").json()["token"]
    route = {"member": member.username, "channel": "webhook", "address": "https://hooks.example.org/key-in-the-path"}
    secret = client.post("/api/v1/notice-routes/", route, format="json").json()["secret"]
    client.post("/api/v1/units/", {"number": "told-in-a-body", "model": "none"}, format="json")
    client.get(f"/api/v1/units/?model={'told-in-a-query'}")
    client.get("/api/v1/units/", HTTP_AUTHORIZATION=f"Bearer {token}x")
    assert len(lines.of_requests()) == 7
    everything = "\n".join(line for line in lines.texts if '"logger":"django.db' not in line)
    for private in (
        token, made, turned, secret, "private sentence", "telling sentence", "told-in-a", "key-in-the-path", token[:15],
    ):  # fmt: skip
        assert private not in everything
