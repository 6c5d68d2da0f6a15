"""The committed OpenAPI document is the one the service serves."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml
from django.core.management import call_command
from django.test import Client

PUBLIC = {"/api/v1/login/"}
"""The only calls without a token: they are how one gets it."""
COMMITTED = Path(__file__).parents[2] / "docs" / "openapi.yaml"


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    loaded: dict[str, Any] = yaml.safe_load(COMMITTED.read_text())
    return loaded


def test_the_committed_schema_is_what_the_code_says(tmp_path: Path) -> None:
    """Regenerate with `uv run manage.py spectacular --file docs/openapi.yaml`; warnings are errors."""
    made = tmp_path / "openapi.yaml"
    call_command("spectacular", "--validate", "--fail-on-warn", "--file", str(made))
    same = made.read_text() == COMMITTED.read_text()  # compared apart: the two are far too long to be shown
    assert same, "docs/openapi.yaml is not what the code says"


@pytest.mark.django_db
def test_the_served_schema_is_the_committed_one(client: Client, document: dict[str, Any]) -> None:
    response = client.get("/api/schema/", HTTP_ACCEPT="application/vnd.oai.openapi")
    assert response.status_code == 200
    same = yaml.safe_load(response.content) == document
    assert same, "/api/schema/ is not docs/openapi.yaml"


def test_it_is_openapi_3_1_with_webhooks(document: dict[str, Any]) -> None:
    assert document["openapi"].startswith("3.1")
    assert sorted(document["webhooks"]) == [
        "alarm.attend.v1",
        "alarm.heat_lost.v1",
        "alarm.stop.v1",
        "hold.changed.v1",
        "hold.ended.v1",
        "hold.opened.v1",
        "route.test.v1",
    ]


def test_every_operation_documents_its_problems_and_its_token(document: dict[str, Any]) -> None:
    for path, item in document["paths"].items():
        for method, operation in item.items():
            if method not in {"get", "post", "put", "patch", "delete"}:
                continue
            expected = [{}] if path in PUBLIC else [{"bearer": []}]
            assert operation["security"] == expected, (path, method)
            assert "401" in operation["responses"], (path, method)
            problem = operation["responses"]["401"]
            assert "application/problem+json" in str(problem) or "$ref" in problem, (path, method)
