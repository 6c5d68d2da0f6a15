"""The record of a trip: what it says, that its hashes can be checked, who gets it."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime, timedelta
from hashlib import sha256
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from pypdf import PdfReader
from rest_framework.test import APIClient

from fleet.models import Fleet, Role, Trip
from fleet.records.canonical import content_hash
from fleet.records.seal import seal_entries
from tests import factories
from tests.conftest import Client

pytestmark = pytest.mark.django_db
URL = "/api/v1/trips/T-1/record"
Post = Callable[..., dict[str, Any]]


@pytest.fixture
def dispatcher(tarn: Fleet, client_of: Client, now: datetime, post_events: Post) -> APIClient:
    """A delivered trip of six hours: the load fell below its range for half an hour, and the unit fell silent once."""
    factories.potato()
    unit = factories.make_unit(tarn)
    client = client_of(tarn, Role.DISPATCHER)
    assert client.post("/api/v1/trips/", factories.trip_body(now), format="json").status_code == 201
    left = now - timedelta(hours=6)
    Trip.objects.for_fleet(tarn).update(
        state=Trip.State.DELIVERED, assigned_unit=unit, loading_at=left, depart_at=left, departed_at=left,
        delivered_at=now,
    )  # fmt: skip
    minutes = [m for m in range(0, 360, 10) if not 120 < m < 220]
    post_events(
        *(
            factories.reading(
                left + timedelta(minutes=m), cargo_c=3.0 if 60 <= m < 90 else 8.0, set_point_c=7.0 if m else 5.0
            )
            for m in minutes
        )
    )
    return client


def body(response: Any) -> bytes:
    assert response.status_code == 200, response.getvalue()
    content: bytes = response.getvalue()
    return content


def document(client: APIClient) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(body(client.get(f"{URL}.jsonl")).splitlines()[0])
    return loaded


def pages(client: APIClient, tmp_path: Path) -> str:
    file = tmp_path / "record.pdf"
    file.write_bytes(body(client.get(f"{URL}.pdf")))
    return " ".join(" ".join(page.extract_text() for page in PdfReader(file).pages).split())


def test_the_pdf_says_what_happened(dispatcher: APIClient, tmp_path: Path) -> None:
    text = pages(dispatcher, tmp_path)
    expected = (
        "Record of trip T-1", "Tarn Haulage", "unit HB-104", "below 4.0 °C", "3.0 °C at", "30 min", "1 h 40 min",
        "Times without readings", "as asked", "-2.0 K", "No alarm stood", "trip.created",
    )  # fmt: skip
    for words in expected:
        assert words in text, words
    assert "PROVISIONAL" not in text
    assert "Mean kinetic" not in text  # potatoes are no medicine


def test_the_csv_has_the_digest_that_the_pdf_names(dispatcher: APIClient, tmp_path: Path) -> None:
    file = body(dispatcher.get(f"{URL}.csv"))
    digest = sha256(file).hexdigest()
    assert digest in pages(dispatcher, tmp_path).replace(" ", "")
    said = document(dispatcher)["readings"]
    assert (said["count"], said["csv_sha256"]) == (len(file.splitlines()) - 1, digest)


def test_the_content_hash_is_that_of_the_document_without_it(dispatcher: APIClient) -> None:
    said = document(dispatcher)
    claimed = said.pop("content_sha256")
    assert content_hash(said) == claimed


def test_the_pdf_of_a_delivered_trip_is_the_same_bytes_each_time(dispatcher: APIClient) -> None:
    assert body(dispatcher.get(f"{URL}.pdf")) == body(dispatcher.get(f"{URL}.pdf"))


def test_a_reading_that_arrives_later_changes_the_digests(
    dispatcher: APIClient, now: datetime, post_events: Post
) -> None:
    before = document(dispatcher)
    post_events(factories.reading(now - timedelta(minutes=200), cargo_c=8.0))
    after = document(dispatcher)
    assert before["readings"]["csv_sha256"] != after["readings"]["csv_sha256"]
    assert before["content_sha256"] != after["content_sha256"]


def test_the_data_hold_excursion_gap_and_set_point(dispatcher: APIClient) -> None:
    parts = document(dispatcher)["sections"]
    (one,) = parts["fleet.excursions"]["excursions"]
    assert (one["what"], one["side"], one["length_min"], one["extreme_c"]) == ("cargo", "below", 30.0, 3.0)
    (gap,) = parts["fleet.gaps"]["gaps"]
    assert gap["length_min"] == 100.0
    assert [entry["set_point_c"] for entry in parts["fleet.set_point"]["reported"]] == [5.0, 7.0]


def test_jsonl_is_the_record_and_then_every_reading(dispatcher: APIClient) -> None:
    lines = body(dispatcher.get(f"{URL}.jsonl")).splitlines()
    assert len(lines) == 1 + document(dispatcher)["readings"]["count"]
    assert json.loads(lines[-1])["source"] == "gateway/yard-3"


def test_sealed_acts_name_their_place_in_the_chain(dispatcher: APIClient, now: datetime) -> None:
    seal_entries(now + timedelta(minutes=1))
    acts = document(dispatcher)["sections"]["fleet.acts"]
    assert acts
    assert all(act["seq"] and len(act["hash"]) == 64 for act in acts)


def test_alarms_of_the_trip_stand_in_it_with_what_was_done(
    dispatcher: APIClient, now: datetime, post_events: Post, tmp_path: Path
) -> None:
    post_events(factories.fault(now - timedelta(hours=2), "coolant-hot-2"))
    alarms = document(dispatcher)["sections"]["alarms.alarms"]["alarms"]
    assert [alarm["code"] for alarm in alarms] == ["coolant-hot-2"]
    assert "coolant-hot-2" in pages(dispatcher, tmp_path)


def test_medicine_has_its_mean_kinetic_temperature(dispatcher: APIClient, tarn: Fleet, tmp_path: Path) -> None:
    trip = Trip.objects.for_fleet(tarn).get()
    Trip.objects.for_fleet(tarn).update(loads=[{**trip.loads[0], "commodity": "insulin"}])
    cargo = document(dispatcher)["sections"]["thermal.mean_kinetic"]["cargo_c"]
    assert 7.0 < cargo["mean_kinetic_c"] < 8.0
    assert "USP <1079.2>" in pages(dispatcher, tmp_path)


def test_a_source_that_looks_like_a_formula_is_written_as_text(
    dispatcher: APIClient, now: datetime, post_events: Post
) -> None:
    post_events(factories.reading(now - timedelta(minutes=200), source="=cmd|'/c calc'!A1"))
    assert b",'=cmd|" in body(dispatcher.get(f"{URL}.csv"))


def test_a_trip_that_has_not_left_has_no_record(dispatcher: APIClient, now: datetime) -> None:
    assert (
        dispatcher.post("/api/v1/trips/", factories.trip_body(now, reference="T-2"), format="json").status_code == 201
    )
    for form in ("pdf", "csv", "jsonl"):
        response = dispatcher.get(f"/api/v1/trips/T-2/record.{form}")
        assert response.status_code == 409
        assert response.json()["type"].endswith("/conflict/")


def test_a_record_on_the_way_says_that_it_is_not_the_last(dispatcher: APIClient, tarn: Fleet, tmp_path: Path) -> None:
    Trip.objects.for_fleet(tarn).update(state=Trip.State.UNDER_WAY, delivered_at=None)
    assert document(dispatcher)["provisional"] is True
    assert "PROVISIONAL" in pages(dispatcher, tmp_path)


def test_only_dispatchers_and_managers_get_it(dispatcher: APIClient, tarn: Fleet, client_of: Client) -> None:
    for role, status in ((Role.MANAGER, 200), (Role.INSPECTOR, 403), (Role.INTEGRATOR, 403)):
        assert client_of(tarn, role).get(f"{URL}.csv").status_code == status


def test_the_command_writes_the_same_file(dispatcher: APIClient, tmp_path: Path) -> None:
    file, out = tmp_path / "T-1.csv", StringIO()
    call_command("trip_record", "T-1", "--format", "csv", "--out", str(file), stdout=out)
    assert file.read_bytes() == body(dispatcher.get(f"{URL}.csv"))
    assert "written" in out.getvalue()
    with pytest.raises(CommandError, match="There is no trip"):
        call_command("trip_record", "T-404")
