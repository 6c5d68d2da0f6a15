"""Records that stand up: photos, print, files, proof and purging."""

from __future__ import annotations

import csv
import io
import resource
from datetime import timedelta
from io import BytesIO, StringIO

import orjson
import pytest
from django.core.management import CommandError, call_command
from django.db.models import F
from django.utils import timezone
from PIL import Image

from fleet.errors import StorageFull
from fleet.models import AuditEntry, Member, Role
from inspections.models import Defect, Inspection, Observation, Photo, Repair, ServiceRecord, Signature
from inspections.models.photos import photo_storage
from inspections.services.photos import store_photo
from inspections.services.purging import purge_records
from tests import factories
from tests.api.test_inspections_filing import URL, all_sound, defect, filing

pytestmark = pytest.mark.django_db
PHOTOS = "/api/v1/photos/"


@pytest.fixture
def unit(tarn):
    return factories.make_unit(tarn)


@pytest.fixture
def inspector(client_of, tarn):
    return client_of(tarn, Role.INSPECTOR)


def picture(form: str = "JPEG", *, size: tuple[int, int] = (64, 48), mode: str = "RGB", **kwargs) -> bytes:
    out = BytesIO()
    Image.new(mode, size, 128 if mode == "L" else None).save(out, form, **kwargs)
    return out.getvalue()


def upload(client, content: bytes, media_type: str = "image/jpeg"):
    return client.generic("POST", PHOTOS, content, content_type=media_type)


def content_of(answer) -> bytes:
    return b"".join(answer.streaming_content)


# --- photos -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("form", "mode"), [("JPEG", "RGB"), ("PNG", "RGBA"), ("PNG", "L"), ("PNG", "P"), ("WEBP", "RGB")]
)
def test_a_picture_is_stored_as_our_own_jpeg(inspector, tarn, form, mode):
    answer = upload(inspector, picture(form, mode=mode), f"image/{form.lower()}")
    assert answer.status_code == 201, answer.content
    assert (answer.json()["width_px"], answer.json()["height_px"]) == (64, 48)
    sent = inspector.get(f"{PHOTOS}{answer.json()['id']}/picture/")
    assert (sent["Content-Type"], sent["X-Content-Type-Options"]) == ("image/jpeg", "nosniff")
    with Image.open(BytesIO(content_of(sent))) as stored:
        assert (stored.format, stored.size) == ("JPEG", (64, 48))


def test_the_place_where_a_picture_was_taken_is_not_kept_and_it_stands_upright(inspector):
    exif = Image.Exif()
    exif[0x0112] = 6  # orientation: turned by a quarter
    exif[0x010F] = "phone"
    exif.get_ifd(0x8825)[2] = (60.0, 10.0, 0.0)  # latitude
    made = upload(inspector, picture(exif=exif)).json()
    assert (made["width_px"], made["height_px"]) == (48, 64)
    sent = content_of(inspector.get(f"{PHOTOS}{made['id']}/picture/"))
    with Image.open(BytesIO(sent)) as stored:
        assert dict(stored.getexif()) == {}
    assert b"phone" not in sent


def test_a_large_picture_is_made_smaller(inspector):
    made = upload(inspector, picture(size=(4096, 1024))).json()
    assert (made["width_px"], made["height_px"]) == (2048, 512)


@pytest.mark.parametrize(
    "content",
    [b"", b"<html><script>alert(1)</script></html>", b"%PDF-1.7", picture("GIF", mode="P"), picture()[:200],
     b"\xff\xd8\xff" + b"A" * 500, b"RIFF1234WAVEfmt "],
    ids=["empty", "html", "pdf", "gif", "cut off", "false jpeg", "sound"],
)  # fmt: skip
def test_what_is_no_picture_is_refused_whatever_it_is_called(inspector, content):
    answer = upload(inspector, content)
    assert (answer.status_code, answer.json()["type"]) == (415, "/docs/problems/not-a-photo/")
    assert not Photo.objects.across_fleets().exists()


def test_a_picture_that_would_unpack_to_too_many_pixels_is_refused(inspector):
    answer = upload(inspector, picture("PNG", size=(9000, 6000), mode="L"), "image/png")
    assert answer.status_code == 415


def test_a_picture_over_the_limit_is_refused(inspector):
    assert upload(inspector, b"\xff\xd8\xff" + bytes(8 * 1024 * 1024)).status_code == 413
    assert inspector.post(PHOTOS, {"picture": "x"}).status_code == 415


def test_a_photo_that_cannot_be_written_is_answered_so_and_leaves_no_row(inspector, settings, tmp_path):
    (tmp_path / "full").write_text("a file where the folder should be")
    settings.STATE_DIR = tmp_path / "full"
    answer = upload(inspector, picture())
    assert (answer.status_code, answer.json()["type"]) == (503, "/docs/problems/unavailable/")
    assert not Photo.objects.across_fleets().exists()


def test_a_photo_that_fits_only_in_part_leaves_neither_file_nor_row(inspector, tarn, settings, tmp_path):
    settings.STATE_DIR = tmp_path
    member = Member.objects.get(fleet=tarn, role=Role.INSPECTOR)
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (200, before[1]))  # a file of ours ends there, as on a full disk
    try:
        with pytest.raises(StorageFull):
            store_photo(tarn, picture(), by=member, now=timezone.now())
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []
    assert not Photo.objects.across_fleets().exists()


def test_observations_name_photos_and_the_signature_covers_them(inspector, unit):
    photo = upload(inspector, picture()).json()["id"]
    seen = all_sound(belt=defect() | {"photos": [photo]})
    row = inspector.post(URL, filing(observations=seen)).json()
    assert next(one["photos"] for one in row["observations"] if one["item"] == "belt") == [photo]
    Photo.objects.across_fleets().update(sha256="0" * 64)
    with pytest.raises(CommandError, match="1 records"):
        call_command("verify_records", stdout=StringIO())


def test_a_photo_belongs_to_one_observation(inspector, unit):
    photo = upload(inspector, picture()).json()["id"]
    twice = all_sound(belt=defect() | {"photos": [photo]}, fuel=defect() | {"photos": [photo]})
    assert inspector.post(URL, filing(observations=twice)).json()["errors"][0]["code"] == "unknown-photo"
    assert not Inspection.objects.across_fleets().exists()
    inspector.post(URL, filing(observations=all_sound(belt=defect() | {"photos": [photo]})))
    again = filing(sheet="post-trip", observations=[{"item": "belt", "photos": [photo]} | defect()])
    assert inspector.post(URL, again).json()["errors"][0]["pointer"] == "/observations/0/photos/0"


def test_photos_of_another_fleet_are_not_there(client_of, other, inspector, unit):
    photo = upload(inspector, picture()).json()["id"]
    stranger = client_of(other, Role.MANAGER)
    assert stranger.get(f"{PHOTOS}{photo}/").status_code == 404
    assert stranger.get(f"{PHOTOS}{photo}/picture/").status_code == 404
    factories.make_unit(other, "HB-104")
    named = filing(observations=[{"item": "belt", "photos": [photo]} | defect()])
    assert stranger.post(URL, named).json()["errors"][0]["code"] == "unknown-photo"


def test_only_inspectors_and_managers_upload(client_of, tarn):
    assert upload(client_of(tarn, Role.DISPATCHER), picture()).status_code == 403


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
