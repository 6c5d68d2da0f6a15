"""API8:2023, security misconfiguration: a fresh installation is safe, and failures say nothing of inside."""

from __future__ import annotations

import os
import subprocess
import sys
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Fleet
from tests.api import http_routes
from tests.conftest import Client
from tests.flows.embedded import ROOT

PRODUCTION = {
    "WARMGATE_DATABASE_URL": "postgresql://nobody@127.0.0.1:1/none",
    "WARMGATE_BROKER_URL": "redis://127.0.0.1:1/0",
    "WARMGATE_ALLOWED_HOSTS": "warmgate.example",
}


def run(command: list[str], **environment: str) -> subprocess.CompletedProcess[str]:
    """A command with no variable of ours but these, in the repository."""
    clean = {name: value for name, value in os.environ.items() if not name.startswith(("WARMGATE_", "DJANGO_"))}
    clean["WARMGATE_STATE_DIR"] = os.environ["WARMGATE_STATE_DIR"]
    return subprocess.run(
        command, cwd=ROOT, env=clean | environment, capture_output=True, text=True, check=False, timeout=60
    )


def manage(*words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return run([sys.executable, "manage.py", *words], **environment)


def test_the_check_before_a_deployment_has_nothing_to_say() -> None:
    done = manage("check", "--deploy", "--fail-level", "WARNING", **PRODUCTION, WARMGATE_SECRET_KEY="7%kQx!p2" * 10)
    assert done.returncode == 0, done.stderr
    assert "no issues" in done.stdout


def test_production_does_not_start_without_a_secret() -> None:
    done = manage("check", **PRODUCTION)
    assert done.returncode != 0
    assert "WARMGATE_SECRET_KEY" in done.stderr


def test_the_defaults_are_the_safe_ones() -> None:
    """Read in a process of its own: the test-suite changes some of them."""
    code = "from fleet import settings as s; print(s.DEBUG, s.SECURE_SSL_REDIRECT, s.BEHIND_PROXY, s.ALLOWED_HOSTS)"
    done = run([sys.executable, "-c", code], **PRODUCTION, WARMGATE_SECRET_KEY="x" * 50)
    assert done.stdout.split() == ["False", "True", "False", "['warmgate.example']"]


@pytest.mark.django_db
def test_every_answer_carries_the_headers_that_browsers_obey(tarn: Fleet, client_of: Client) -> None:
    for answer in (
        client_of(tarn).get("/api/v1/policy/"),
        APIClient().get("/api/v1/policy/"),
        APIClient().get("/nothing"),
    ):
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["X-Frame-Options"] == "DENY"
        assert "default-src 'none'" in answer["Content-Security-Policy"]
        assert answer["Referrer-Policy"] == "same-origin"
        assert "Server" not in answer
        assert "X-Powered-By" not in answer
        assert "Access-Control-Allow-Origin" not in answer
    assert client_of(tarn).get("/api/v1/policy/")["Cache-Control"] in ("no-store", "private, no-cache")


@pytest.mark.django_db
@pytest.mark.urls("tests.api.http_routes")
def test_a_failure_says_where_to_look_and_nothing_else(client_of: Client, tarn: Fleet) -> None:
    assert http_routes.urlpatterns
    client: Any = client_of(tarn)
    answer = client.get("/crash/")
    text = answer.content.decode()
    assert answer.status_code == 500
    assert answer.json()["request_id"] == answer["X-Request-ID"]
    for word in ("Traceback", ".py", "Error(", "django", "SELECT"):
        assert word not in text


@pytest.mark.django_db
def test_methods_that_reflect_are_not_served(tarn: Fleet, client_of: Client) -> None:
    for method in ("TRACE", "CONNECT", "TRACK"):
        assert client_of(tarn).generic(method, "/api/v1/policy/").status_code == 405
