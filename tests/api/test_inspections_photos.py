"""Photos of an inspection: stored as our own, bound to one observation, covered by the signature."""

from __future__ import annotations

import resource
from io import BytesIO, StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone
from PIL import Image

from fleet.errors import StorageFull
from fleet.models import Member, Role
from inspections.models import Inspection, Photo
from inspections.services.photos import store_photo
from tests import factories
from tests.api.test_inspections_filing import URL, all_sound, defect, filing

pytestmark = pytest.mark.django_db
PHOTOS = "/api/v1/photos/"


def picture(form: str = "JPEG", *, size: tuple[int, int] = (64, 48), mode: str = "RGB", **kwargs) -> bytes:
    out = BytesIO()
    Image.new(mode, size, 128 if mode == "L" else None).save(out, form, **kwargs)
    return out.getvalue()


def upload(client, content: bytes, media_type: str = "image/jpeg"):
    return client.generic("POST", PHOTOS, content, content_type=media_type)


def content_of(answer) -> bytes:
    return b"".join(answer.streaming_content)


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
