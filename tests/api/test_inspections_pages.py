"""The pages of inspections without a browser: who sees them, what a form files, what a page's script may call."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from django.test import Client

from fleet.models import AuditEntry, Fleet, Role
from inspections.models import Inspection, Photo, Repair
from inspections.pages.phone import SHELL_ASSETS
from tests import factories
from tests.api.test_inspections_filing import URL, all_sound, defect, filing, items
from tests.api.test_inspections_records import content_of, picture

HTML = {"Accept": "text/html,*/*;q=0.8"}  # as browsers say it
ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.django_db


@pytest.fixture
def unit(tarn: Fleet) -> Any:
    return factories.make_unit(tarn)


def signed_in(fleet: Fleet, role: Role, **kwargs: Any) -> Client:
    client = Client(headers=HTML, **kwargs)
    client.force_login(factories.make_member(fleet, role))
    return client


@pytest.fixture
def page(tarn: Fleet) -> Client:
    return signed_in(tarn, Role.INSPECTOR)


@pytest.fixture
def inspector(client_of: Any, tarn: Fleet, page: Client) -> Any:
    return client_of(tarn, Role.INSPECTOR)


def whole(**changes: str) -> dict[str, str]:
    return {f"outcome-{item['key']}": "sound" for item in items()} | {"key": "k-1"} | changes


def test_a_plain_form_files_a_whole_inspection(page: Client, unit: Any, tarn: Fleet) -> None:
    answer = page.post(
        "/inspections/fill/HB-104/pre-trip/", whole(**{"value-fuel-fuel_dip_l": "40", "unit-fuel-fuel_dip_l": "gal"})
    )
    row = Inspection.objects.for_fleet(tarn).get()
    assert (answer.status_code, answer["Location"]) == (302, f"/inspections/{row.pk}/")
    assert (row.state, row.result) == ("signed", "fit")
    # A US gallon is 231 cubic inches, 3.785411784 L (NIST Handbook 44, appendix C).
    assert row.observations.get(item="fuel").values == {"fuel_dip_l": pytest.approx(40 * 3.785411784)}


def test_a_form_sent_twice_files_once(page: Client, unit: Any, tarn: Fleet) -> None:
    first, second = (page.post("/inspections/fill/HB-104/pre-trip/", whole()) for _ in range(2))
    assert first["Location"] == second["Location"]
    assert Inspection.objects.for_fleet(tarn).count() == 1


def test_what_a_form_was_refused_for_stands_at_its_item_and_nothing_typed_is_lost(
    page: Client, unit: Any, tarn: Fleet
) -> None:
    said = whole(**{"outcome-belt": "defect", "note-coil": "a leaf", "value-battery-battery_rest_v": "twelve"})
    answer = page.post("/inspections/fill/HB-104/pre-trip/", said)
    text = answer.content.decode()
    assert answer.status_code == 422
    assert 'value="twelve"' in text
    assert "a leaf" in text
    assert not Inspection.objects.for_fleet(tarn).exists()
    answer = page.post("/inspections/fill/HB-104/pre-trip/", whole(**{"outcome-belt": "defect"}))
    assert "Say what the defect is." in answer.content.decode()


def test_a_reader_of_fahrenheit_and_gallons_gets_limits_so(page: Client, unit: Any, tarn: Fleet) -> None:
    member = tarn.members.get(role=Role.INSPECTOR)
    member.scale, member.volume = "f", "gal"
    member.save()
    form = page.get(
        "/inspections/phone/form/?unit=HB-104&sheet=pre-trip", headers={"Accept": "application/json"}
    ).json()
    measures = {one["name"]: one for group in form["groups"] for item in group["items"] for one in item["measures"]}
    assert [unit["send"] for unit in measures["battery_temp_c"]["units"]] == ["degF", "degC"]
    # 190 L / 3.785411784 L per gallon = 50.19 gal.
    assert (measures["fuel_dip_l"]["high"], measures["fuel_dip_l"]["units"][0]["send"]) == (50.2, "gal")


def test_an_inspections_page_shows_its_record_and_takes_a_repair_and_a_second_look(
    page: Client, inspector: Any, unit: Any, tarn: Fleet
) -> None:
    measured = {"values": {"battery_rest_v": 12.6, "battery_rest_h": 5}}
    record = inspector.post(URL, filing(observations=all_sound(belt=defect("two ribs missing"), battery=measured)))
    pk = record.json()["id"]
    text = page.get(f"/inspections/{pk}/").content.decode()
    assert "two ribs missing" in text
    assert "12.6" in text
    seen = next(one["id"] for one in record.json()["observations"] if one["item"] == "belt")
    repair = {"key": "r-1", "observation": seen, "kind": "repaired", "what_done": "New belt.", "parts": "belt, clip"}
    assert page.post(f"/inspections/{pk}/repair/", repair).status_code == 302
    assert page.post(f"/inspections/{pk}/repair/", repair).status_code == 302
    assert Repair.objects.for_fleet(tarn).get().parts == ["belt", "clip"]
    look = {"key": "l-1", "item": "belt", "outcome": "sound", "note": ""}
    answer = page.post(f"/inspections/{pk}/recheck/", look, follow=True)
    assert "The second look is signed." in answer.content.decode()
    assert inspector.get("/api/v1/defects/").json()["items"][0]["state"] == "closed"


def test_a_refused_repair_says_why_on_the_same_page(page: Client, inspector: Any, unit: Any) -> None:
    pk = inspector.post(URL, filing()).json()["id"]
    answer = page.post(
        f"/inspections/{pk}/repair/", {"key": "r", "observation": "1", "kind": "repaired", "what_done": "x y z"}
    )
    assert answer.status_code == 422
    assert "The inspection has no defect of this id." in answer.content.decode()


def test_a_draft_is_thrown_away_from_its_page_as_it_was_seen(
    page: Client, inspector: Any, unit: Any, tarn: Fleet
) -> None:
    begun = inspector.post(URL, {"sheet": "pre-trip", "unit": "HB-104"})
    pk = begun.json()["id"]
    assert "Throw this draft away" in page.get(f"/inspections/{pk}/").content.decode()
    inspector.patch(begun["Location"], {"observations": all_sound()[:1]}, HTTP_IF_MATCH=begun["ETag"])
    assert page.post(f"/inspections/{pk}/discard/", {"key": "d-1", "revision": "1"}).status_code == 422
    assert page.post(f"/inspections/{pk}/discard/", {"key": "d-2", "revision": "2"}).status_code == 302
    assert AuditEntry.objects.for_fleet(tarn).filter(act="inspection.discarded").exists()


@pytest.mark.parametrize("role", [Role.DISPATCHER, Role.MANAGER, Role.INSPECTOR])
def test_people_read_records_and_only_some_sign(tarn: Fleet, client_of: Any, role: Role) -> None:
    factories.make_unit(tarn)
    pk = client_of(tarn, Role.MANAGER).post(URL, filing(observations=all_sound(belt=defect()))).json()["id"]
    client = Client(headers=HTML)
    client.force_login(tarn.members.filter(role=role).first() or factories.make_member(tarn, role))
    text = client.get(f"/inspections/{pk}/").content.decode()
    assert ("Sign a repair" in text) == (role != Role.DISPATCHER)
    assert client.get("/inspections/").status_code == 200
    may = 200 if role != Role.DISPATCHER else 403
    for path in (
        "fill/HB-104/pre-trip/",
        "walk/",
        "phone/known/",
        "phone/pass/",
        "phone/form/?unit=HB-104&sheet=pre-trip",
    ):
        assert client.get(f"/inspections/{path}").status_code == may, path


def test_another_fleets_records_are_not_there(other: Fleet, client_of: Any, tarn: Fleet, page: Client) -> None:
    factories.make_unit(other, "SECRET-1", factories.make_model(other))
    boss = client_of(other, Role.MANAGER)
    pk = boss.post(URL, filing(unit="SECRET-1", observations=all_sound(belt=defect()))).json()["id"]
    form = {"key": "x", "observation": "1", "kind": "repaired", "what_done": "abc", "item": "belt", "outcome": "sound"}
    for path in (
        f"{pk}/",
        f"{pk}/pdf/",
        "fill/SECRET-1/pre-trip/",
        "photos/1/",
        "phone/form/?unit=SECRET-1&sheet=pre-trip",
    ):
        assert page.get(f"/inspections/{path}").status_code == 404, path
    for act in ("repair", "recheck", "discard"):
        assert page.post(f"/inspections/{pk}/{act}/", form).status_code == 404, act
    assert "SECRET" not in page.get("/inspections/").content.decode()
    assert "SECRET" not in page.get("/inspections/phone/known/").content.decode()


# --- what the page's script calls ---------------------------------------------------------------------------------


def send(client: Client, body: dict[str, Any], key: str, token: str = "") -> Any:
    headers = {"Idempotency-Key": key} | ({"X-CSRFToken": token} if token else {})
    return client.post("/inspections/phone/send/", json.dumps(body), content_type="application/json", headers=headers)


def test_an_inspection_that_is_sent_again_is_filed_once(page: Client, unit: Any, tarn: Fleet) -> None:
    first, second = (send(page, filing(), "phone-1") for _ in range(2))
    assert (first.status_code, second.status_code, second["Idempotency-Replayed"]) == (201, 201, "true")
    assert first.json()["id"] == second.json()["id"]
    assert Inspection.objects.for_fleet(tarn).count() == 1


def test_a_photo_that_is_sent_again_is_stored_once(page: Client, tarn: Fleet) -> None:
    content, key = picture(), {"Idempotency-Key": "p-1"}
    answers = [
        page.post("/inspections/phone/photo/", content, content_type="image/jpeg", headers=key) for _ in range(2)
    ]
    assert [answer.status_code for answer in answers] == [201, 201]
    assert answers[0].json()["id"] == answers[1].json()["id"]
    assert Photo.objects.for_fleet(tarn).count() == 1
    assert content_of(page.get(f"/inspections/photos/{answers[0].json()['id']}/")).startswith(b"\xff\xd8\xff")


def test_a_call_of_a_page_needs_the_session_and_the_fresh_form_token(tarn: Fleet, unit: Any) -> None:
    assert Client().get("/inspections/phone/pass/").status_code == 401
    client = signed_in(tarn, Role.INSPECTOR, enforce_csrf_checks=True)
    assert send(client, filing(), "c-1").status_code == 403
    answer = client.get("/inspections/phone/pass/").json()
    assert answer["member"] == tarn.members.get(role=Role.INSPECTOR).pk
    assert send(client, filing(), "c-1", answer["token"]).status_code == 201


def test_a_token_of_the_api_opens_no_page_and_a_session_opens_no_api(inspector: Any, page: Client) -> None:
    assert inspector.get("/inspections/phone/known/").status_code == 401
    assert page.get("/api/v1/inspections/").status_code == 401


def test_the_worker_is_confined_to_the_inspection_pages_and_changes_with_its_files(client: Client) -> None:
    answer = client.get("/inspections/worker.js")
    assert answer["Content-Type"].startswith("text/javascript")
    assert "Service-Worker-Allowed" not in answer
    assert answer["Cache-Control"] == "no-cache"
    assert "connect-src 'self'" in answer["Content-Security-Policy"]
    kept = json.loads(answer.content.decode().split("const KEPT = ")[1].split(";\n")[0])
    assert kept["shell"] == "/inspections/walk/"
    assert "/static/inspections/walk.js" in kept["assets"]


def test_the_worker_keeps_every_script_of_the_walk() -> None:
    """A script that is not kept makes the walk fail where there is no connection."""
    folder = ROOT / "inspections" / "static" / "inspections"
    scripts = {f"inspections/{path.name}" for path in folder.iterdir()} - {"inspections/worker.js"}
    assert scripts <= set(SHELL_ASSETS)


def test_the_shell_names_no_unit(page: Client, unit: Any) -> None:
    assert "HB-104" not in page.get("/inspections/walk/").content.decode()


def test_a_page_says_that_somebody_is_at_the_unit_and_takes_it_back(page: Client, unit: Any, tarn: Fleet) -> None:
    begun = send(page, {"sheet": "pre-trip", "unit": "HB-104"}, "a-1")
    assert (begun.status_code, begun.json()["state"]) == (201, "draft")
    gone = page.delete(f"/inspections/phone/send/{begun.json()['id']}/", headers={"If-Match": "*"})
    assert gone.status_code == 204
    assert not Inspection.objects.for_fleet(tarn).exists()


def test_sheets_that_are_taken_along_for_any_unit_claim_no_limits_of_one(page: Client, unit: Any) -> None:
    sheets = page.get("/inspections/phone/known/", headers={"Accept": "application/json"}).json()["sheets"]
    assert [one["sheet"] for one in sheets] == ["loading", "post-trip", "pre-trip", "seasonal"]
    pre_trip = {item["key"]: item for group in sheets[2]["groups"] for item in group["items"]}
    assert [one["limits"] for one in pre_trip["belt"]["measures"]] == [""]
    assert [one["limits"] for one in pre_trip["fuel"]["measures"]] == ["", ""]
    assert pre_trip["battery"]["caution"]


def test_the_list_and_a_record_cost_the_same_however_much_is_filed(
    page: Client, inspector: Any, unit: Any, django_assert_max_num_queries: Any
) -> None:
    first = inspector.post(URL, filing(observations=all_sound(belt=defect())))
    for _ in range(2):  # what is read once per process is read
        page.get("/inspections/")
        page.get(f"/inspections/{first.json()['id']}/")
    for number in range(6):
        reviewed = {"signature": {"reviewed": first.json()["id"] + number}}
        seen = all_sound(belt=defect(), fuel=defect("cap missing"))
        assert inspector.post(URL, filing(observations=seen) | reviewed).status_code == 201
    with django_assert_max_num_queries(10):
        page.get("/inspections/")
    with django_assert_max_num_queries(16):
        page.get(f"/inspections/{first.json()['id'] + 6}/")
