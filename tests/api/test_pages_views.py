"""What the pages show, what they cost, and what their forms do."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from alarms.models import Alarm, Tier
from fleet.models import Assessment, Fleet, Hold, Member, Role, Trip
from fleet.readiness.service import assess_due
from tests import factories
from tests.db.conftest import plan, post

HOSTILE = "<script>alert('x')</script>\"'&"


@pytest.fixture
def manager(tarn: Fleet) -> Member:
    return factories.make_member(tarn, Role.MANAGER)


@pytest.fixture
def desk(manager: Member) -> Client:
    client = Client()
    client.force_login(manager)
    return client


@pytest.fixture
def dispatcher(tarn: Fleet) -> Member:
    return factories.make_member(tarn, Role.DISPATCHER)


@pytest.fixture
def held(tarn: Fleet, dispatcher: Member, now: datetime) -> Hold:
    """T-1 with HB-104, whose set point lies far outside the load's limits."""
    factories.potato()
    factories.make_unit(tarn)
    plan(tarn, dispatcher, now)
    post(tarn, factories.reading(now, set_point_c=44.0), now=now)
    Trip.objects.for_fleet(tarn).update(assess_due_at=now - timedelta(seconds=1))
    assess_due()
    return Hold.objects.for_fleet(tarn).get(state=Hold.State.OPEN)


def text(client: Client, path: str) -> str:
    page = client.get(path)
    assert page.status_code == 200, path
    return page.content.decode()


def test_departures_say_what_may_not_leave_and_why(desk: Client, held: Hold) -> None:
    page = text(desk, "/")
    for words in ("T-1", "HB-104", "blocked", "1 open hold", "Set point 44 °C is outside the load", "Departs"):
        assert words in page
    assert "T-1" not in text(desk, "/?verdict=ready")
    assert "T-1" in text(desk, "/?held=1&q=hb-10")
    assert "T-1" not in text(desk, "/?q=HB-9")
    assert "T-1" in text(desk, "/?day=nonsense&verdict=nonsense")


def test_a_trip_says_why_in_one_sentence_and_what_would_mend_it(desk: Client, held: Hold) -> None:
    page = text(desk, "/trips/T-1/")
    for words in ("May not leave. Set point 44 °C", "Set 7 °C at the unit", "Held since", "Vinterby depot", "pending"):
        assert words in page
    assert page.index("Stops the departure") < page.index("Conditions, and what is still due")


def test_reading_in_fahrenheit_and_gallons_changes_every_number(desk: Client, held: Hold, manager: Member) -> None:
    Member.objects.filter(pk=manager.pk).update(scale="f", volume="gal")
    for path in ("/", "/trips/T-1/", "/units/HB-104/", "/units/"):
        assert "°C" not in text(desk, path), path
    assert "Set point 111 °F" in text(desk, "/trips/T-1/")
    assert "40\u202fgal" in text(desk, "/units/HB-104/")  # 150 L / 3.785 411 784 L per US gallon = 39.6


def test_another_time_zone_moves_every_time(desk: Client, held: Hold, manager: Member, tarn: Fleet) -> None:
    Member.objects.filter(pk=manager.pk).update(time_zone="Pacific/Kiritimati")
    depart = Trip.objects.for_fleet(tarn).get().depart_at + timedelta(hours=14)
    assert f"{depart:%a %d %b %H:%M}" in text(desk, "/trips/T-1/")
    assert " UTC" not in text(desk, "/trips/T-1/").partition("What was answered before")[0]


def test_a_manager_releases_with_a_reason_after_reading_the_causes(desk: Client, held: Hold, manager: Member) -> None:
    path = f"/holds/{held.pk}/release/"
    assert "Set point 44 °C" in text(desk, path)
    short = {"revision": held.revision, "reason": "because", "confirmed": "1"}
    assert desk.post(path, short).status_code == 422
    unconfirmed = {"revision": held.revision, "reason": "Measured by hand: 8 degrees."}
    assert desk.post(path, unconfirmed).status_code == 422
    stale = unconfirmed | {"confirmed": "1", "revision": held.revision + 1}
    assert desk.post(path, stale).status_code == 412
    done = desk.post(path, unconfirmed | {"confirmed": "1"}, follow=True)
    assert "T-1 is released" in done.content.decode()
    assert "Measured by hand: 8 degrees." in done.content.decode()
    held.refresh_from_db()
    assert (held.state, held.released_by) == (Hold.State.RELEASED, manager)
    assert desk.post(path, unconfirmed | {"confirmed": "1", "revision": held.revision}).status_code == 409


def test_why_was_it_so_then(desk: Client, held: Hold, tarn: Fleet, now: datetime) -> None:
    first = Assessment.objects.for_fleet(tarn).earliest("pk")
    Assessment.objects.for_fleet(tarn).filter(pk=first.pk).update(
        computed_at=now - timedelta(hours=2), verdict="ready", document=first.document | {"findings": []}
    )
    then = now.astimezone(held.trip.depart_at.tzinfo) - timedelta(hours=1)
    page = text(desk, f"/trips/T-1/?at={then.isoformat().replace('+', '%2B')}")
    assert "As answered" in page
    assert "May leave: every check passes." in page
    assert "Nothing had been answered by" in text(desk, "/trips/T-1/?at=2020-01-01T00:00")
    assert "As answered" not in text(desk, "/trips/T-1/?at=whenever")


def test_a_script_hears_of_news_and_of_nothing_else(desk: Client, held: Hold) -> None:
    seen = desk.get("/trips/T-1/").context["seen"]
    ask = {"HX-Request": "true"}
    assert desk.get("/trips/T-1/", {"seen": seen}, headers=ask).status_code == 204
    answer = desk.get("/trips/T-1/", {"seen": "something older"}, headers=ask)
    assert "There is a newer answer" in answer.content.decode()


def test_an_unchanged_board_is_not_sent_again(desk: Client, held: Hold, time_machine: object) -> None:
    time_machine.move_to(held.opened_at.replace(second=20), tick=False)  # type: ignore[attr-defined]
    first = desk.get("/", headers={"HX-Request": "true"})
    assert first["ETag"]
    assert "<html" not in first.content.decode()
    ask = {"HX-Request": "true", "If-None-Match": first["ETag"]}
    assert desk.get("/", headers=ask).status_code == 304
    Hold.objects.for_fleet(held.fleet).update(changed_at=held.changed_at + timedelta(seconds=1))
    assert desk.get("/", headers=ask).status_code == 200


def test_names_from_outside_are_only_text(desk: Client, tarn: Fleet, held: Hold, now: datetime) -> None:
    Trip.objects.for_fleet(tarn).update(
        stops=[{"place": HOSTILE, "arrive_at": factories.instant(held.trip.arrive_at)}], cancel_reason=HOSTILE
    )
    Alarm.objects.create(
        fleet=tarn, unit=held.unit, scheme="book", code=HOSTILE[:20], tier=Tier.ATTEND, component=HOSTILE,
        meaning=HOSTILE, what_to_do=HOSTILE, mapping="book", opened_at=now, raised_at=now, last_event_at=now,
    )  # fmt: skip
    tarn.name = HOSTILE
    tarn.save()
    pages = ("/", "/trips/T-1/", "/units/", "/units/HB-104/", f"/?q={HOSTILE}", f"/units/?q={HOSTILE}")
    for path in (*pages, f"/alarms/{Alarm.objects.for_fleet(tarn).get().pk}/"):
        page = text(desk, path)
        assert "<script>alert" not in page, path
        assert "alert(&#x27;x&#x27;)" in page, path


def test_an_alarm_is_seen_and_signed_off_through_the_services(
    desk: Client, tarn: Fleet, held: Hold, now: datetime
) -> None:
    post(tarn, factories.fault(now, "odd-1"), now=now)
    alarm = Alarm.objects.for_fleet(tarn).get()
    path = f"/alarms/{alarm.pk}/"
    assert (
        desk.post(f"{path}seen/", {"revision": alarm.revision, "back": "//evil.example/"})["Location"]
        == "/units/HB-104/"
    )
    alarm.refresh_from_db()
    assert alarm.seen_at is not None
    refused = desk.post(path, {"revision": alarm.revision, "work_done": "Hose changed, bled."})
    assert refused.status_code == 409
    assert "still reports" in refused.content.decode()
    post(tarn, factories.fault(now + timedelta(seconds=1), "odd-1", state="cleared"), now=now)
    alarm.refresh_from_db()
    done = desk.post(path, {"revision": alarm.revision, "work_done": "Hose changed, bled."}, follow=True)
    assert "Signed off" in done.content.decode()
    alarm.refresh_from_db()
    assert (alarm.state, alarm.work_done) == ("closed", "Hose changed, bled.")


def test_a_unit_shows_its_values_with_their_ages(desk: Client, held: Hold, tarn: Fleet, now: datetime) -> None:
    post(tarn, factories.reading(now - timedelta(days=3), unit="HB-104", coolant_c=55.0), now=now)
    page = text(desk, "/units/HB-104/")
    for words in ("Return air", "44.0\u202f°C", "gateway/yard-3", "1834\u202fh", "Box, heater and tank", "T-1"):
        assert words in page


def test_pages_cost_the_same_however_many_rows(desk: Client, tarn: Fleet, dispatcher: Member, now: datetime) -> None:
    factories.potato()

    def grow(numbers: range) -> None:
        for number in numbers:
            factories.make_unit(tarn, f"HB-{number}")
            plan(tarn, dispatcher, now, reference=f"T-{number}", unit=f"HB-{number}")
        post(tarn, *[factories.reading(now, unit=f"HB-{n}", set_point_c=44.0) for n in numbers], now=now)
        post(tarn, *[factories.fault(now, f"odd-{n}", unit="HB-1") for n in numbers], now=now)
        Trip.objects.for_fleet(tarn).update(assess_due_at=now - timedelta(seconds=1))
        assess_due()

    def cost(path: str) -> int:
        desk.get(path)
        with CaptureQueriesContext(connection) as captured:
            assert desk.get(path).status_code == 200
        return len(captured)

    paths = ("/", "/units/", "/trips/T-1/", "/units/HB-1/")
    grow(range(1, 3))
    few = {path: cost(path) for path in paths}
    grow(range(3, 13))
    assert {path: cost(path) for path in paths} == few
    assert few["/"] <= 8
