"""Two fleets for the isolation tests: Other Lines owns one of everything, each named SECRET; Tarn asks for it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from rest_framework.test import APIClient

from alarms.models import Delivery, NoticeSubject
from fleet.models import Commodity, Fleet, QuarantinedEvent, Role, Trip
from tests import factories
from tests.api.test_inspections_filing import all_sound, defect, filing
from tests.api.test_inspections_records import picture, upload
from tests.notice_rows import an_alarm, held, stop_book

V1 = "/api/v1/"
ITEM = {"key": "secret-item", "label": "Secret item", "look_for": "a secret", "blocks": False}
SHEET = {
    "key": "secret-sheet", "kind": "pre_trip", "title": "Secret sheet",
    "groups": [{"key": "all", "title": "All", "items": [ITEM]}],
}  # fmt: skip


def made(response: Any) -> dict[str, Any]:
    assert response.status_code in (200, 201, 202, 207), (response.status_code, response.content)
    document: dict[str, Any] = response.json()
    return document


def fill(other: Fleet, now: datetime, client_of: Callable[..., APIClient]) -> dict[str, Any]:
    """One of everything for the other fleet; returns what the words of the table stand for."""
    boss, sender = client_of(other, Role.MANAGER), client_of(other, Role.INTEGRATOR)
    model = factories.make_model(other, "secret-model")
    unit = factories.make_unit(other, "SECRET-1", model)
    Commodity.objects.create(
        fleet=other, key="secret-goods", name="Secret goods", freezes_c=-0.5, low_c=4.0, high_c=10.0, cp_kj_kgk=3.7,
        latent_kj_kg=260.0, source="tests",
    )  # fmt: skip
    route = made(boss.post(f"{V1}notice-routes/", {"member": "other-manager", "channel": "email",
                                                   "address": "secret@other.example"}, format="json"))  # fmt: skip
    made(boss.post(f"{V1}notice-routes/{route['id']}/test/"))
    made(boss.post(f"{V1}trips/", factories.trip_body(now, reference="T-SECRET", unit="SECRET-1"), format="json"))
    made(boss.get(f"{V1}trips/T-SECRET/readiness/"))
    made(sender.post(f"{V1}events/", [factories.reading(now, unit="SECRET-1"),
                                      factories.reading(now, unit="SECRET-404")], format="json"))  # fmt: skip
    hold = held(other, now, reference="T-SECRET-2", number="SECRET-1")
    planned = Trip.objects.for_fleet(other).get(reference="T-SECRET")
    Trip.objects.for_fleet(other).filter(pk=hold.trip_id).update(stops=planned.stops, loads=planned.loads)
    Trip.objects.for_fleet(other).filter(pk=planned.pk).update(departed_at=now)  # so that it has a record
    alarm = an_alarm(other, now, number="SECRET-1")
    stop_book(other, unit, now)
    return _ids(other) | _inspected(boss) | {
        "trip": "T-SECRET", "unit": "SECRET-1", "model": "secret-model", "goods": "secret-goods",
        "sheet": "secret-sheet", "member": "other-manager", "hold": hold.pk, "alarm": alarm.pk, "route": route["id"],
        "token": made(sender.get(f"{V1}tokens/"))["items"][0]["id"],
        "book": made(boss.get(f"{V1}code-books/"))["items"][0]["id"],
    }  # fmt: skip


def _ids(other: Fleet) -> dict[str, Any]:
    subject = NoticeSubject.objects.across_fleets().filter(notice__unit__number="SECRET-1").first()
    assert subject is not None
    return {
        "event": QuarantinedEvent.objects.for_fleet(other).get().pk,
        "notice": subject.notice_id,
        "delivery": Delivery.objects.for_fleet(other).order_by("pk")[0].pk,
    }


def _inspected(boss: APIClient) -> dict[str, Any]:
    """A sheet, a photo, a signed inspection with a repaired defect, a service."""
    sheet = made(boss.post(f"{V1}inspection-sheets/", SHEET, format="json"))
    photo = made(upload(boss, picture()))["id"]
    seen = all_sound(belt=defect("secret crack") | {"photos": [photo]})
    body = filing(unit="SECRET-1", trip="T-SECRET", observations=seen)
    inspection = made(boss.post(f"{V1}inspections/", body, format="json"))
    bad = next(one["id"] for one in inspection["observations"] if one["outcome"] == "defect")
    repair = made(boss.post(
        f"{V1}inspections/{inspection['id']}/repairs/",
        {"observation": bad, "kind": "repaired", "what_done": "secret work", "signature": {}}, format="json",
    ))  # fmt: skip
    made(boss.post(f"{V1}units/SECRET-1/service/", {"engine_hours_h": 9.0, "what_done": "secret oil", "signature": {}},
                   format="json"))  # fmt: skip
    return {
        "sheet_pk": sheet["id"],
        "photo": photo,
        "inspection": inspection["id"],
        "seen": bad,
        "repair": repair["id"],
        "defect": made(boss.get(f"{V1}defects/"))["items"][0]["id"],
    }


def own(tarn: Fleet, now: datetime, client_of: Callable[..., APIClient]) -> dict[str, Any]:
    """What Tarn itself has, for URLs whose body names the other fleet's objects."""
    boss = client_of(tarn, Role.MANAGER)
    factories.make_unit(tarn)
    made(boss.post(f"{V1}trips/", factories.trip_body(now), format="json"))
    inspection = made(boss.post(f"{V1}inspections/", filing(observations=all_sound(belt=defect())), format="json"))
    return {"trip": "T-1", "unit": "HB-104", "model": "box-8", "inspection": inspection["id"]}
