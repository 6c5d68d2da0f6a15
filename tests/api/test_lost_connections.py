"""A connection to the database that was kept and has died is noticed by the first statement of the next request."""

from __future__ import annotations

import pytest
from django.db import connection, connections

from fleet.models import Fleet, Role
from tests.conftest import Client


@pytest.mark.skipif(connection.vendor != "postgresql", reason="a file has no connection to lose")
@pytest.mark.django_db(transaction=True)
def test_a_request_after_the_database_hung_up_is_answered(tarn: Fleet, client_of: Client) -> None:
    client = client_of(tarn, Role.DISPATCHER)
    assert client.get("/api/v1/policy/").status_code == 200
    hang_up()
    assert client.get("/api/v1/policy/").status_code == 200


@pytest.mark.skipif(connection.vendor != "postgresql", reason="a file has no connection to lose")
@pytest.mark.django_db(transaction=True)
def test_a_statement_that_fails_on_a_sound_connection_is_not_asked_twice(
    tarn: Fleet, client_of: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = client_of(tarn, Role.DISPATCHER)
    assert client.get("/api/v1/policy/").status_code == 200
    asked = []
    monkeypatch.setattr("fleet.compiled.CompiledQuery.ask", lambda self, key: asked.append(key) or fail_on_the_server())
    assert client.get("/api/v1/policy/").status_code == 503
    assert len(asked) == 1


def hang_up() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        (pid,) = cursor.fetchone()
    other = connections.create_connection("default")
    try:
        with other.cursor() as cursor:
            cursor.execute("SELECT pg_terminate_backend(%s, 5000)", [pid])
    finally:
        other.close()


def fail_on_the_server() -> None:
    with connection.cursor() as cursor:
        cursor.execute("DO $$ BEGIN RAISE EXCEPTION 'not now' USING ERRCODE = '57014'; END $$")
