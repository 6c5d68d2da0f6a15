"""Code books over HTTP: dry run, versions, what an import does to alarms, export, unmapped codes."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from alarms.models import Alarm, CodeBook
from fleet.models import AuditEntry, Fleet, Role, Trip, UnitModel, UnitState
from tests import factories as f

Post = Callable[..., dict[str, Any]]
Client = Callable[..., APIClient]
MINUTE = timedelta(minutes=1)
URL = "/api/v1/code-books/"


def entry(code: str, tier: str = "stop", **more: str) -> dict[str, str]:
    words = {"component": "coolant", "meaning": f"{code} as the book says", "what_to_do": "Let it cool, find the leak."}
    return {"code": code, "tier": tier, **words, **more}


@pytest.fixture
def manager(tarn: Fleet, client_of: Client) -> APIClient:
    f.make_unit(tarn)
    return client_of(tarn, Role.MANAGER)


def put(client: APIClient, *entries: dict[str, str], **more: Any) -> Any:
    return client.post(URL, {"unit_model": "box-8", "entries": list(entries)} | more, format="json")


def facts() -> dict[str, Any]:
    return {name: known[0] for name, known in UnitState.objects.across_fleets().get().facts.items()}


def test_a_dry_run_says_what_would_change_and_changes_nothing(
    manager: APIClient, post_events: Post, now: datetime
) -> None:
    post_events(f.fault(now, "coolant-hot-2"))
    version = UnitState.objects.across_fleets().get().version
    response = put(manager, entry("coolant-hot-2"), dry_run=True)
    body = response.json()
    assert response.status_code == 200
    assert body["lines"] == ["coolant-hot-2: new, stop: coolant-hot-2 as the book says"]
    alarm = Alarm.objects.across_fleets().get()
    assert body["open_alarms"] == [
        {"alarm": alarm.pk, "unit": "HB-104", "code": "coolant-hot-2", "tier_before": "attend", "tier": "stop"}
    ]
    assert (body["stored"], body["book"]) == (False, None)
    assert (alarm.tier, alarm.unmapped) == ("attend", True)
    assert CodeBook.objects.across_fleets().count() == 0
    assert UnitState.objects.across_fleets().get().version == version
    assert not AuditEntry.objects.across_fleets().filter(act="code_book.imported").exists()


def test_an_import_maps_open_alarms_again_and_makes_the_model_s_trips_due(
    tarn: Fleet, manager: APIClient, client_of: Client, post_events: Post, now: datetime
) -> None:
    f.potato()
    client_of(tarn, Role.DISPATCHER).post("/api/v1/trips/", f.trip_body(now), format="json")
    post_events(f.fault(now, "coolant-hot-2"))
    Trip.objects.across_fleets().update(assess_due_at=now + timedelta(hours=1))
    before = UnitModel.objects.for_fleet(tarn).get().version
    body = put(manager, entry("coolant-hot-2"), note="From the workshop").json()
    assert (body["stored"], body["book"]["version"], body["book"]["entry_count"]) == (True, 1, 1)
    alarm = Alarm.objects.across_fleets().get()
    assert (alarm.tier, alarm.mapping, alarm.component) == ("stop", "book", "coolant")
    assert facts()["alarms.open"][0]["tier"] == "stop"
    assert facts()["alarms.last_stop_at"] == f.instant(now)
    assert UnitModel.objects.for_fleet(tarn).get().version == before + 1
    assert Trip.objects.across_fleets().get().assess_due_at < now + timedelta(minutes=1)
    acts = set(AuditEntry.objects.across_fleets().values_list("act", flat=True))
    assert {"code_book.imported", "alarm.tier_changed"} <= acts


def test_the_book_in_force_explains_new_faults_also_open_pairs_and_is_replaced_as_a_whole(
    manager: APIClient, post_events: Post, now: datetime
) -> None:
    put(manager, entry("fan-slow", "watch"), entry("spn110-fmi0", "attend"))
    pair = f.fault(now, "x", id_="p") | {"data": {"state": "raised", "spn": 110, "fmi": 0}}
    post_events(f.fault(now, "fan-slow"), pair)
    assert dict(Alarm.objects.across_fleets().values_list("code", "tier")) == {
        "fan-slow": "watch", "spn110-fmi0": "attend"
    }  # fmt: skip
    body = put(manager, entry("fan-slow", "watch")).json()
    assert body["book"]["version"] == 2
    assert body["lines"] == ["spn110-fmi0: removed (was attend: spn110-fmi0 as the book says)"]
    assert Alarm.objects.across_fleets().get(code="spn110-fmi0").tier == "stop", "the open numbering speaks again"


def test_the_same_book_again_makes_no_version(manager: APIClient) -> None:
    put(manager, entry("fan-slow", "watch"))
    body = put(manager, entry("fan-slow", "watch")).json()
    assert (body["stored"], body["book"]["version"], body["unchanged"], body["lines"]) == (False, 1, 1, [])


def test_old_records_get_their_words_and_keep_the_tier_they_were_handled_under(
    tarn: Fleet, manager: APIClient, client_of: Client, post_events: Post, now: datetime
) -> None:
    post_events(f.fault(now - 9 * MINUTE, "odd"), f.fault(now - 8 * MINUTE, "odd", state="cleared"))
    pk = Alarm.objects.across_fleets().get().pk
    inspector = client_of(tarn, Role.INSPECTOR)
    inspector.post(
        f"/api/v1/alarms/{pk}/sign-off/",
        {"work_done": "Looked at it, nothing found."},
        format="json",
        HTTP_IF_MATCH="*",
    )
    body = put(manager, entry("odd", "stop")).json()
    alarm = Alarm.objects.across_fleets().get()
    assert (alarm.tier, alarm.meaning, alarm.mapping) == ("attend", "odd as the book says", "book")
    assert body["open_alarms"] == []
    assert facts().get("alarms.last_stop_at") is None


def test_unmapped_codes_are_collected_until_somebody_explains_them(
    tarn: Fleet, manager: APIClient, post_events: Post, now: datetime
) -> None:
    f.make_unit(tarn, "HB-105")
    said = f.fault(now - 5 * MINUTE, "odd", unit="HB-105")
    said["data"]["text"] = "odd noise"
    post_events(f.fault(now - 9 * MINUTE, "odd"), said, f.fault(now - 3 * MINUTE, "odder"))
    items = manager.get(f"{URL}unmapped/").json()["items"]
    assert [item["code"] for item in items] == ["odder", "odd"]
    assert items[1] == {
        "unit_model": "box-8", "code": "odd", "units": 2, "records": 2, "open": 2,
        "first_raised_at": f.instant(now - 9 * MINUTE), "last_raised_at": f.instant(now - 5 * MINUTE),
        "text": "odd noise",
    }  # fmt: skip
    assert manager.get(f"{URL}unmapped/?unit_model=other").json()["items"] == []
    put(manager, entry("odd"), entry("odder"))
    assert manager.get(f"{URL}unmapped/").json()["items"] == []


def test_a_book_comes_as_a_table_and_goes_as_the_same_table(manager: APIClient) -> None:
    table = 'code,tier,component,meaning,what_to_do\r\nfan-slow,watch,fan,"Slow, very slow",Clean it.\r\n'
    body = manager.post(URL, {"unit_model": "box-8", "csv": table}, format="json").json()
    pk = body["book"]["id"]
    for accept in ("text/csv", "*/*"):
        export = manager.get(f"{URL}{pk}/export/", HTTP_ACCEPT=accept)
        assert (export.status_code, export["Content-Type"]) == (200, "text/csv; charset=utf-8")
        assert export.content.decode() == table
        assert export["Content-Disposition"] == 'attachment; filename="code-book-box-8-1.csv"'
    whole = manager.get(f"{URL}{pk}/").json()
    assert (whole["version"], whole["entries"][0]["meaning"]) == (1, "Slow, very slow")
    assert [book["version"] for book in manager.get(f"{URL}?unit_model=box-8").json()["items"]] == [1]


REFUSED: dict[str, dict[str, Any]] = {
    "neither entries nor a table": {"unit_model": "box-8"},
    "both": {"unit_model": "box-8", "entries": [], "csv": "x"},
    "a code twice": {"unit_model": "box-8", "entries": [entry("a"), entry("a", "watch")]},
    "an unknown tier": {"unit_model": "box-8", "entries": [entry("a", "red")]},
    "an unknown model": {"unit_model": "box-9", "entries": [entry("a")]},
    "an unknown member": {"unit_model": "box-8", "entries": [entry("a", lamp="red")]},
    "a bad table": {"unit_model": "box-8", "csv": "code;tier\n"},
}


@pytest.mark.parametrize("name", REFUSED)
def test_a_book_that_is_not_whole_is_refused(manager: APIClient, name: str) -> None:
    response = manager.post(URL, REFUSED[name], format="json")
    assert response.status_code == 400, response.content
    assert response.json()["errors"]
    assert CodeBook.objects.across_fleets().count() == 0


def test_only_managers_import_and_nobody_sees_another_fleet_s_books(
    tarn: Fleet, other: Fleet, manager: APIClient, client_of: Client
) -> None:
    assert put(client_of(tarn, Role.INSPECTOR), entry("a")).status_code == 403
    pk = put(manager, entry("a")).json()["book"]["id"]
    stranger = client_of(other, Role.MANAGER)
    for path in (f"{URL}{pk}/", f"{URL}{pk}/export/"):
        response = stranger.get(path, HTTP_ACCEPT="text/csv, */*")
        assert (response.status_code, response["Content-Type"]) == (404, "application/problem+json")
        assert response.json()["type"] == "/docs/problems/not-found/"
    assert stranger.get(URL).json()["items"] == []
    assert put(stranger, entry("a")).status_code == 400


def test_a_repeated_key_imports_once(manager: APIClient) -> None:
    body = {"unit_model": "box-8", "entries": [entry("a")]}
    first = manager.post(URL, body, format="json", HTTP_IDEMPOTENCY_KEY="k-1")
    second = manager.post(URL, body, format="json", HTTP_IDEMPOTENCY_KEY="k-1")
    assert second["Idempotency-Replayed"] == "true"
    assert first.json() == second.json()
    assert CodeBook.objects.across_fleets().count() == 1
