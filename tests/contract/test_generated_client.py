"""A client that openapi-python-client makes from our document takes an integrator through the main journey."""

from __future__ import annotations

import importlib
import json
import sys
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import httpx
import pytest
from django.core.wsgi import get_wsgi_application
from openapi_python_client import generate
from openapi_python_client.config import Config, ConfigFile, MetaType

from fleet.models import Fleet, Role
from tests import factories
from tests.response_schema import document

PACKAGE = "warmgate_made_client"
NOT_GENERATED = {
    # What is no JSON: the generator leaves bodies and answers of other types out, and says so.
    "GET /api/v1/inspections/{id}/pdf/ within inspections",
    "POST /api/v1/photos/ within inspections. Endpoint will not be generated",
    "GET /api/v1/photos/{id}/picture/ within inspections",
    "GET /api/v1/trips/{reference}/forecast.png within charts",
    "GET /api/v1/trips/{reference}/forecast.svg within charts",
    "GET /api/v1/trips/{reference}/record.jsonl within trips",
    "GET /api/v1/trips/{reference}/record.pdf within trips",
    "GET /api/v1/units/{number}/history.png within charts",
    "GET /api/v1/units/{number}/history.svg within charts",
}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SimpleNamespace]:
    """The generated package, and what the generator complained about."""
    folder = tmp_path_factory.mktemp("client")
    source = folder / "openapi.json"
    source.write_text(json.dumps(document()))
    config = Config.from_sources(
        ConfigFile(package_name_override=PACKAGE, post_hooks=[]),
        meta_type=MetaType.NONE,
        document_source=source,
        file_encoding="utf-8",
        overwrite=True,
        output_path=folder / PACKAGE,
    )
    complaints = generate(config=config)
    sys.path.insert(0, str(folder))
    yield SimpleNamespace(complaints=complaints, package=importlib.import_module(PACKAGE), folder=folder)
    sys.path.remove(str(folder))
    for name in [name for name in sys.modules if name.split(".")[0] == PACKAGE]:
        del sys.modules[name]


@pytest.fixture
def client_for(made: SimpleNamespace, tarn: Fleet, keep_connection: Callable[[], None]) -> Callable[[Role], Any]:
    """A generated client with a token of a role; it speaks to the application without a network."""
    transport = httpx.WSGITransport(app=get_wsgi_application())

    def make(role: Role) -> Any:
        keep_connection()
        return made.package.AuthenticatedClient(
            base_url="http://testserver", token=factories.token_of(tarn, role), httpx_args={"transport": transport}
        )

    return make


def call(operation: str, client: Any, *path: str, **arguments: Any) -> Any:
    """The typed answer of one generated function, `trips.v1_trips_create`."""
    tag, name = operation.split(".")
    module: ModuleType = importlib.import_module(f"{PACKAGE}.api.{tag}.{name}")
    return module.sync(*path, client=client, **arguments)


def model(name: str, body: Any) -> Any:
    module = importlib.import_module(f"{PACKAGE}.models")
    return getattr(module, name).from_dict(body)


def test_the_generator_understands_everything_that_is_json(made: SimpleNamespace) -> None:
    said = {str(complaint.header) for complaint in made.complaints}
    assert {header.removeprefix("WARNING parsing ").rstrip(".") for header in said} == NOT_GENERATED
    assert len(list(Path(made.folder).rglob("api/*/v1_*.py"))) > 80


def test_from_an_empty_fleet_to_a_departure_that_is_blocked(client_for: Callable[[Role], Any], now: datetime) -> None:
    factories.potato()
    manager, gateway = client_for(Role.MANAGER), client_for(Role.INTEGRATOR)
    dispatcher = client_for(Role.DISPATCHER)
    design = {"key": "box-8", "name": "Box", **factories.DESIGN}
    assert call("units.v1_unit_models_create", manager, body=model("UnitModelInputRequest", design)).key == "box-8"
    unit = model("UnitInputRequest", {"number": "HB-104", "model": "box-8"})
    assert call("units.v1_units_create", manager, body=unit).number == "HB-104"

    trip = call("trips.v1_trips_create", dispatcher, body=model("TripInputRequest", factories.trip_body(now)))
    assert (trip.reference, trip.state.value, trip.revision) == ("T-1", "planned", 1)

    reading, fault = factories.reading(now), factories.fault(now, "any")
    sent = [model("CloudEvent", event) for event in (reading, fault)]
    # Which of the two kinds of data it is, the caller says. SPN 110, FMI 0: the coolant is far too hot.
    sent[1].data = model("OtherEventData", {"state": "raised", "spn": 110, "fmi": 0})
    answer = call("events.v1_events_create", gateway, body=sent)
    assert (answer.received, answer.accepted, answer.items) == (2, 2, [])

    assessment = call("readiness.v1_trips_readiness_retrieve", dispatcher, "T-1")
    assert assessment.unit == "HB-104"
    assert {finding.check for finding in assessment.findings} > {"thermal.fuel", "inspections.pre_trip"}
    assert assessment.verdict.value == "blocked"

    assign = model("AssignmentInputRequest", {"unit": "HB-104"})
    refused = call("trips.v1_trips_assignment_update", dispatcher, "T-1", body=assign, if_match='"1"')
    assert (refused.type_, refused.status) == ("/docs/problems/dispatch-blocked/", 409)
    assert refused["findings"]

    cold = factories.reading(now + timedelta(seconds=1), unit="HB-404")
    (item,) = call("events.v1_events_create", gateway, body=[model("CloudEvent", cold)]).items
    assert item.status.value == "quarantined"
    late = call("trips.v1_trips_assignment_update", dispatcher, "T-1", body=assign, if_match='"7"')
    assert (late.type_, late.status) == ("/docs/problems/stale-revision/", 412)
