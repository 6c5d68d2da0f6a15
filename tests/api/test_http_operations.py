"""Health, metrics and the API's own document: what operators and generated clients stand on."""

import re

import pytest
import yaml
from django.db import OperationalError, connection
from django.db.migrations.recorder import MigrationRecorder
from django.test import override_settings
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.utils import OpenApiWebhook, extend_schema
from drf_spectacular.validation import validate_schema
from rest_framework import serializers
from rest_framework.test import APIClient

from fleet.http import health
from fleet.http.schema import WEBHOOKS
from tests.api import http_routes

pytestmark = [pytest.mark.urls("tests.api.http_routes")]


@pytest.fixture
def stranger():
    return APIClient(raise_request_exception=False)


@pytest.fixture
def fresh_health(monkeypatch):
    monkeypatch.setattr(health, "_migrated_until", 0.0)


@pytest.mark.django_db
def test_livez_touches_nothing(stranger, django_assert_num_queries):
    with django_assert_num_queries(0):
        answer = stranger.get("/livez")
    assert (answer.status_code, answer.json()) == (200, {"status": "live"})
    assert stranger.head("/livez").status_code == 200


@pytest.mark.django_db
def test_readyz_asks_for_migrations_once_a_minute(stranger, fresh_health, django_assert_num_queries):
    assert stranger.get("/readyz").json() == {"status": "ready"}
    with django_assert_num_queries(1):
        assert stranger.get("/readyz").json() == {"status": "ready"}


@pytest.mark.django_db
def test_readyz_is_503_while_a_migration_is_missing(stranger, fresh_health):
    MigrationRecorder(connection).migration_qs.filter(app="knox").delete()
    answer = stranger.get("/readyz")
    assert answer.status_code == 503
    assert answer["Content-Type"] == "application/problem+json"
    assert re.search(r"^\d+ migrations are not applied", answer.json()["detail"])


@pytest.mark.django_db
def test_readyz_is_503_while_the_database_is_away(stranger, fresh_health):
    def away(execute, sql, params, many, context):
        raise OperationalError("could not connect to secret.internal")

    with connection.execute_wrapper(away):
        answer = stranger.get("/readyz")
    assert answer.status_code == 503
    assert "secret" not in answer.content.decode()


def test_metrics_count_requests_by_route_and_not_by_path(stranger):
    stranger.get("/livez")
    stranger.get("/nowhere/at-all")
    stranger.generic("BREW", "/livez")
    text = stranger.get("/metrics").content.decode()
    assert re.search(r'warmgate_http_request_seconds_count\{.*route="/livez".*\} [1-9]', text)
    assert 'route="unmatched"' in text
    assert 'method="other"' in text
    assert "at-all" not in text
    assert "BREW" not in text


def test_metrics_can_ask_for_a_token(stranger):
    with override_settings(METRICS_TOKEN="m" * 32):
        assert stranger.get("/metrics").status_code == 401
        assert stranger.get("/metrics", HTTP_AUTHORIZATION="Bearer " + "n" * 32).status_code == 401
        assert stranger.get("/metrics", HTTP_AUTHORIZATION="Bearer " + "m" * 32).status_code == 200


class HoldOpened(serializers.Serializer):
    """A hold was opened."""

    trip = serializers.CharField()


@pytest.fixture
def webhook(monkeypatch):
    decorate = extend_schema(request=HoldOpened, responses={200: None}, summary="A hold was opened")
    WEBHOOKS.append(OpenApiWebhook(name="test.hold.opened.v1", decorator=decorate))
    yield
    WEBHOOKS.pop()


@pytest.fixture
def document(capsys):
    found = SchemaGenerator(patterns=http_routes.urlpatterns).get_schema(request=None, public=True)
    assert capsys.readouterr().err == "", "drf-spectacular warned"
    validate_schema(found)
    return found


def test_the_document_is_valid_openapi_3_1_and_made_without_warnings(document):
    assert document["openapi"] == "3.1.0"
    assert {"/notes/", "/notes/{id}/", "/notes/write/", "/versioned/"} <= document["paths"].keys()


def test_every_operation_documents_its_problems_by_one_component(document):
    write = document["paths"]["/notes/write/"]["post"]["responses"]
    assert {"201", "400", "401", "403", "406", "409", "413", "415", "422", "429", "default"} == write.keys()
    for responses in (write, document["paths"]["/notes/"]["get"]["responses"]):
        content = responses["401"]["content"]
        assert content == {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}


def headers_of(operation, where="parameters"):
    return {p["name"]: p for p in operation.get(where, []) if p["in"] == "header"}


def test_headers_are_documented_where_the_view_declares_them(document):
    versioned = document["paths"]["/versioned/"]
    assert headers_of(versioned["patch"])["If-Match"]["required"] is True
    assert "If-None-Match" in headers_of(versioned["get"])
    assert "304" in versioned["get"]["responses"]
    assert "ETag" in versioned["get"]["responses"]["200"]["headers"]
    assert {"412", "428"} <= versioned["patch"]["responses"].keys()
    write = document["paths"]["/notes/write/"]["post"]
    assert "Idempotency-Key" in headers_of(write)
    assert "Idempotency-Replayed" in write["responses"]["201"]["headers"]
    assert "Idempotency-Key" not in headers_of(document["paths"]["/echo/"]["post"])


def test_request_bodies_are_closed_and_quantities_take_their_units(document):
    schemas = document["components"]["schemas"]
    assert schemas["NoteInputRequest"]["additionalProperties"] is False
    assert schemas["NoteInputRequest"]["required"] == ["text"]
    lines = schemas["NoteInputRequest"]["properties"]["lines"]
    assert (lines["minItems"], lines["maxItems"]) == (1, 5)
    choices = schemas["NoteInputRequest"]["properties"]["air_c"]["oneOf"]
    assert {"type": "number", "minimum": -90, "maximum": 70} in choices
    assert {"$ref": "#/components/schemas/QuantityC"} in choices
    assert {"type": "null"} in choices
    assert schemas["QuantityC"]["properties"]["unit"] == {"$ref": "#/components/schemas/UnitC"}
    assert schemas["UnitC"]["enum"] == ["degC", "degF", "K"]
    assert schemas["UnitL"]["enum"] == ["L", "m3", "gal", "imp_gal"]


def test_lists_document_their_page_filters_and_limits(document):
    operation = document["paths"]["/notes/"]["get"]
    query = {p["name"]: p["schema"] for p in operation["parameters"] if p["in"] == "query"}
    assert query.keys() == {"act", "since", "actor", "sealed", "cursor", "limit", "order"}
    assert query["limit"] == {"type": "integer", "minimum": 1, "maximum": 200, "default": 50}
    assert query["act"] == {"type": "string", "minLength": 1, "maxLength": 255}
    assert query["since"] == {"type": "string", "format": "date-time"}
    page = document["components"]["schemas"]["PaginatedNoteAnswerList"]
    assert page["required"] == ["items", "next", "previous"]


def test_operations_are_secured_by_a_bearer_token(document):
    assert document["paths"]["/notes/"]["get"]["security"] == [{"bearer": []}]
    assert document["components"]["securitySchemes"]["bearer"]["scheme"] == "bearer"


def test_registered_webhooks_have_their_section(webhook, document):
    sent = document["webhooks"]["test.hold.opened.v1"]["post"]
    schema = sent["requestBody"]["content"]["application/json"]["schema"]
    assert schema == {"$ref": "#/components/schemas/HoldOpened"}
    assert "HoldOpened" in document["components"]["schemas"]
    assert sent["responses"].keys() == {"200"}


def test_the_document_and_its_page_are_served_to_anyone_and_from_here_only(stranger):
    answer = stranger.get("/api/schema/")
    assert answer.status_code == 200
    assert yaml.safe_load(answer.content)["openapi"] == "3.1.0"
    page = stranger.get("/api/docs/").content.decode()
    links = re.findall(r'(?:src|href)="([^"]+)"', page)
    assert any("swagger-ui-bundle.js" in link for link in links)
    assert not [link for link in links if "//" in link]
    assert "<script>" not in page
    script = stranger.get("/api/docs/?script=")
    assert script["Content-Type"] == "application/javascript"
    assert "/api/schema/" in script.content.decode()
