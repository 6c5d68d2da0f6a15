"""Records that stand up: print, files, proof and purging."""

from __future__ import annotations

import csv
import io
from datetime import timedelta
from io import StringIO

import orjson
import pytest
from django.core.management import CommandError, call_command
from django.db.models import F

from fleet.models import AuditEntry, Role
from inspections.models import Defect, Inspection, Observation, Photo, Repair, ServiceRecord, Signature
from inspections.models.photos import photo_storage
from inspections.services.purging import purge_records
from tests import factories
from tests.api.test_inspections_filing import URL, all_sound, defect, filing
from tests.api.test_inspections_photos import content_of, picture, upload

pytestmark = pytest.mark.django_db


# --- print --------------------------------------------------------------------------------------------------------


def test_a_signed_inspection_prints_and_prints_the_same_again(inspector, unit):
    row = inspector.post(URL, filing(observations=all_sound(belt=defect("risslig – Ł ü 冷")))).json()
    observed = next(one["id"] for one in row["observations"] if one["item"] == "belt")
    repair = {"observation": observed, "kind": "repaired", "what_done": "<b>belt</b> & pulley", "signature": {}}
    assert inspector.post(f"{URL}{row['id']}/repairs/", repair).status_code == 201
    first, second = (inspector.get(f"{URL}{row['id']}/pdf/") for _ in range(2))
    assert (first.status_code, first["Content-Type"]) == (200, "application/pdf")
    assert first.content.startswith(b"%PDF-")
    assert first.content == second.content
    assert b"/Count 1 " in first.content  # a whole pre-trip sheet with a repair fits on one page


def test_a_draft_has_nothing_to_print(inspector, unit):
    path = inspector.post(URL, {"sheet": "pre-trip", "unit": "HB-104"})["Location"]
    assert inspector.get(f"{path}pdf/").status_code == 409


def test_another_fleets_inspection_does_not_print(client_of, other, inspector, unit):
    path = inspector.post(URL, filing())["Location"]
    assert client_of(other).get(f"{path}pdf/").status_code == 404


# --- files --------------------------------------------------------------------------------------------------------


def test_records_leave_as_csv_that_no_spreadsheet_runs(inspector, unit):
    inspector.post(URL, filing(observations=[{"item": "belt"} | defect('=HYPERLINK("http://x.invalid")')]))
    answer = inspector.get("/api/v1/exports/observations/?unit=HB-104")
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    assert answer["Content-Disposition"] == 'attachment; filename="tarn-observations.csv"'
    rows = list(csv.DictReader(io.StringIO(content_of(answer).decode())))
    assert len(rows) == 25
    assert next(row["note"] for row in rows if row["item"] == "belt").startswith("'=HYPERLINK")


def test_records_leave_as_json_lines(inspector, unit):
    made = inspector.post(URL, filing()).json()
    answer = inspector.get("/api/v1/exports/inspections/", HTTP_ACCEPT="application/jsonl")
    [row] = [orjson.loads(line) for line in content_of(answer).splitlines()]
    assert (row["id"], row["unit_number"], row["result"]) == (made["id"], "HB-104", "fit")
    assert row["signed_by"] == "inspector of Tarn Haulage (inspector, performed)"


@pytest.mark.parametrize(
    "what", ["inspections", "observations", "defects", "repairs", "services", "signatures", "audit"]
)
@pytest.mark.parametrize("form", ["csv", "jsonl"])
def test_every_kind_of_record_leaves_and_only_the_fleets_own(client_of, tarn, other, unit, what, form):
    manager = client_of(tarn, Role.MANAGER)
    row = manager.post(URL, filing(observations=[{"item": "belt"} | defect()])).json()
    observed = next(one["id"] for one in row["observations"] if one["item"] == "belt")
    repair = {"observation": observed, "kind": "repaired", "what_done": "new belt", "signature": {}}
    manager.post(f"{URL}{row['id']}/repairs/", repair)
    service = {"engine_hours_h": 10.0, "what_done": "oil", "signature": {}}
    manager.post("/api/v1/units/HB-104/service/", service)
    head = 1 if form == "csv" else 0
    own = content_of(manager.get(f"/api/v1/exports/{what}/?as={form}")).splitlines()
    assert len(own) > head
    strange = client_of(other, Role.MANAGER).get(f"/api/v1/exports/{what}/?as={form}")
    assert len(content_of(strange).splitlines()) == head


def test_the_audit_record_leaves_for_managers_only(inspector):
    assert inspector.get("/api/v1/exports/audit/").status_code == 403
    assert inspector.get("/api/v1/exports/secrets/").status_code == 404
    for query in ("as=xls", "since=yesterday", "colour=red"):
        assert inspector.get(f"/api/v1/exports/defects/?{query}").status_code == 400
    assert inspector.get("/api/v1/exports/signatures/?unit=HB-104").status_code == 400


def test_an_export_covers_the_time_asked_for(inspector, unit, now):
    inspector.post(URL, filing())
    later = factories.instant(now + timedelta(hours=1))
    assert len(content_of(inspector.get(f"/api/v1/exports/inspections/?since={later}")).splitlines()) == 1
    assert len(content_of(inspector.get(f"/api/v1/exports/inspections/?until={later}")).splitlines()) == 2


# --- proof --------------------------------------------------------------------------------------------------------


@pytest.fixture
def signed(inspector, unit):
    row = inspector.post(URL, filing(observations=all_sound(belt=defect()))).json()
    observed = next(one["id"] for one in row["observations"] if one["item"] == "belt")
    repair = {"observation": observed, "kind": "repaired", "what_done": "new belt", "signature": {}}
    inspector.post(f"{URL}{row['id']}/repairs/", repair)
    recheck = {"observations": [{"item": "belt", "outcome": "sound"}], "signature": {}}
    inspector.post(f"{URL}{row['id']}/rechecks/", recheck)
    service = {"engine_hours_h": 10.0, "what_done": "oil", "signature": {}}
    inspector.post("/api/v1/units/HB-104/service/", service)
    return row


def test_what_was_signed_proves_itself(signed):
    out = StringIO()
    call_command("verify_records", stdout=out)
    assert "Every signed record is what was signed." in out.getvalue()


@pytest.mark.parametrize(
    ("rows", "change"),
    [
        (lambda: Observation.objects.across_fleets().filter(outcome="defect"), {"note": "only a scratch"}),
        (lambda: Observation.objects.across_fleets().filter(item="fuel"), {"outcome": "wear"}),
        (lambda: Inspection.objects.across_fleets().filter(kind="pre_trip"), {"result": "fit"}),
        (lambda: Inspection.objects.across_fleets().filter(kind="pre_trip"), {"content_hash": "0" * 64}),
        (Repair.objects.across_fleets, {"what_done": "everything renewed"}),
        (ServiceRecord.objects.across_fleets, {"engine_hours_h": F("engine_hours_h") + 1}),
        (lambda: Signature.objects.across_fleets().filter(repair__isnull=False), {"name": "somebody else"}),
    ],
)
def test_a_record_that_was_altered_is_found(signed, rows, change):
    assert rows().update(**change) == 1
    out = StringIO()
    with pytest.raises(CommandError, match="1 records"):
        call_command("verify_records", stdout=out)
    assert "is not what was signed" in out.getvalue()


# --- purging ------------------------------------------------------------------------------------------------------


def test_records_older_than_the_operator_keeps_them_go_and_leave_an_entry(signed, tarn, now):
    later = now + timedelta(days=400)
    assert purge_records(now=later, keep_months=36) == 0
    assert purge_records(now=later, keep_months=12) == 2
    assert not Inspection.objects.across_fleets().exists()
    assert not Defect.objects.across_fleets().exists()
    assert ServiceRecord.objects.across_fleets().count() == 1  # the newest of its unit stays
    purged = AuditEntry.objects.for_fleet(tarn).filter(act="inspection.purged")
    assert {entry.content["content_hash"] for entry in purged} >= {signed["content_hash"]}
    assert purge_records(now=later, keep_months=12) == 0


def test_a_record_whose_defect_is_open_stays(inspector, unit, now):
    inspector.post(URL, filing(observations=all_sound(belt=defect())))
    assert purge_records(now=now + timedelta(days=800), keep_months=12) == 0
    assert Inspection.objects.across_fleets().count() == 1


def test_a_chain_of_reviews_does_not_keep_old_records_for_ever(inspector, unit, tarn, now):
    first = inspector.post(URL, filing()).json()["id"]
    second = inspector.post(URL, filing(signature={"reviewed": first})).json()["id"]
    Inspection.objects.across_fleets().filter(pk=first).update(performed_at=now - timedelta(days=800))
    assert purge_records(now=now, keep_months=12) == 1
    kept = inspector.get(f"{URL}{second}/").json()
    assert kept["reviewed"] == first
    assert inspector.get(f"{URL}{second}/pdf/").status_code == 200


def test_drafts_nobody_signed_and_photos_nobody_named_go(inspector, unit, now, django_capture_on_commit_callbacks):
    inspector.post(URL, {"sheet": "pre-trip", "unit": "HB-104"})
    upload(inspector, picture())
    name = Photo.objects.across_fleets().get().file.name
    assert purge_records(now=now + timedelta(days=6), keep_months=36) == 0
    with django_capture_on_commit_callbacks(execute=True):
        assert purge_records(now=now + timedelta(days=40), keep_months=36) == 2
    assert not photo_storage().exists(name)
