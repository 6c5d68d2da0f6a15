"""Generated requests, right and wrong ones, against the whole API with a populated fleet behind it.

Every operation gets the same number of requests, always the same ones. Half of those that name an object name one that
is there. What an answer must be is the OpenAPI document and the checks of schemathesis, but for those listed in
`CHECKS`.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from copy import deepcopy
from datetime import datetime
from typing import Any

import pytest
import schemathesis
from django.core.wsgi import get_wsgi_application
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import checks
from schemathesis.generation import GenerationMode

from fleet.models import Fleet, Role
from tests import factories
from tests.api.isolation_world import fill
from tests.conftest import Client
from tests.response_schema import document

EXAMPLES = int(os.environ.get("GENERATED_REQUESTS", "6"))
"""Requests of each kind to each operation. A few find coarse faults in every run; 60 take minutes and find more."""
GROUPS = (
    ("alarms", "code-books"),
    ("commodities", "defect-counts", "defects", "deliveries", "exports", "quarantine", "repairs", "work-due"),
    ("events",),
    ("holds", "login", "photos", "policy", "tokens"),
    ("inspection-sheets", "thermal"),
    ("inspections",),
    ("notice-routes", "notices"),
    ("trips",),
    ("unit-models", "units"),
)
"""Collections that share a populated fleet, which takes as long to make as a few dozen requests."""
KNOWN = {
    "alarms": "alarm", "code-books": "book", "commodities": "goods", "defects": "defect", "deliveries": "delivery",
    "holds": "hold", "inspection-sheets": "sheet_pk", "inspections": "inspection", "notice-routes": "route",
    "notices": "notice", "photos": "photo", "quarantine": "event", "repairs": "repair", "tokens": "token",
    "trips": "trip", "unit-models": "model", "units": "unit",
}  # fmt: skip
"""What of the populated fleet the URLs of a group name."""
# What is not looked at, each with its reason; everything else is.
NOT_CHECKED = {
    # A body may fit the schema and name a unit that is not there: no schema can say which exist.
    "positive_data_acceptance",
    # tests/api/test_http_routes.py and test_roles.py call every route without a token and with each role.
    "ignored_auth",
}
# What is wrong with an event costs that event only: the batch is answered with 207 all the same.
NOT_CHECKED_OF_EVENTS = NOT_CHECKED | {"negative_data_rejection"}
REFUSALS = [400, 401, 403, 404, 406, 409, 412, 413, 415, 422, 428, 429]
CONFIG = {
    # If-Match is asked for with 428 (RFC 6585) and compared, 412, before a body is read.
    "checks": {
        "missing_required_header": {"expected-statuses": REFUSALS},
        "negative_data_rejection": {"expected-statuses": REFUSALS},
    },
}


@pytest.fixture(scope="module")
def schema() -> Any:
    described = deepcopy(document())
    for item in described["paths"].values():
        for operation in item.values():
            operation.pop("security", None)  # every request gets a token: one without is no wrong request here
    made = schemathesis.openapi.from_dict(described, config=schemathesis.Config.from_dict(CONFIG))
    made.app = get_wsgi_application()
    return made


@pytest.fixture
def world(other: Fleet, client_of: Client, now: datetime) -> dict[str, Any]:
    factories.potato()
    return fill(other, now, client_of)


def operations(schema: Any, group: str) -> Iterator[Any]:
    for result in schema.get_all_operations():
        operation = result.ok()
        # The WSGI client of schemathesis leaves files open that an answer streams.
        if operation.path.split("/")[3] == group and not operation.path.endswith("/picture/"):
            yield operation


def test_the_groups_are_all_there_are() -> None:
    named = [name for group in GROUPS for name in group]
    assert {path.split("/")[3] for path in document()["paths"]} == set(named)
    assert len(named) == len(set(named))


@pytest.mark.django_db
@pytest.mark.parametrize("group", GROUPS, ids="+".join)
def test_every_answer_is_one_the_document_promises(
    group: tuple[str, ...], schema: Any, world: dict[str, Any], other: Fleet, keep_connection: Callable[[], None]
) -> None:
    token = factories.token_of(other, Role.INTEGRATOR if group == ("events",) else Role.MANAGER)
    headers = {"Authorization": f"Bearer {token}"}
    keep_connection()
    for name in group:
        for operation in operations(schema, name):
            for mode in modes(operation):
                send_generated(operation, mode, headers=headers, known=world.get(KNOWN.get(name, "")))


def modes(operation: Any) -> list[GenerationMode]:
    """Right requests, and wrong ones where there is something beside the path that can be wrong."""
    json_body = any("json" in body.media_type for body in operation.body)
    headers = [header for header in operation.headers if header.name != "If-None-Match"]  # any text is a right one
    if json_body or list(operation.query) or headers:
        return [GenerationMode.POSITIVE, GenerationMode.NEGATIVE]
    return [GenerationMode.POSITIVE]


def send_generated(operation: Any, mode: GenerationMode, *, headers: dict[str, str], known: Any) -> None:
    """Sends the requests of one operation. *known* is what right ones name in the URL, every other time."""
    ignored = NOT_CHECKED_OF_EVENTS if operation.path.endswith("/events/") else NOT_CHECKED
    excluded = [check for check in checks.CHECKS.get_all() if check.__name__ in ignored]

    @settings(
        max_examples=EXAMPLES, deadline=None, derandomize=True, database=None,
        phases=[Phase.explicit, Phase.generate], suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(case=operation.as_strategy(generation_mode=mode), real=st.booleans())
    def run(case: Any, real: bool) -> None:
        if real and mode is GenerationMode.POSITIVE and known is not None and case.path_parameters:
            case.path_parameters = dict.fromkeys(case.path_parameters, known)
            if "If-Match" in (case.headers or {}):
                case.headers["If-Match"] = "*"
        response = case.call(headers=headers)
        case.validate_response(response, headers=headers, excluded_checks=excluded)

    run()
