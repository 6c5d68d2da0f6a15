"""Lists: pages that neither skip nor repeat while rows arrive, filters that are read or refused, one fleet
only."""

from datetime import UTC, datetime, timedelta
from urllib.parse import parse_qs, urlsplit

import pytest
from knox.models import get_token_model
from rest_framework.test import APIClient

from fleet.http.pagination import Cursor
from fleet.models import AuditEntry, Fleet, Member, Role

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.api.http_routes")]

START = datetime(2027, 1, 12, 5, 40, tzinfo=UTC)


def new_fleet(slug):
    fleet = Fleet.objects.create(name=slug, slug=slug, owner_email="owner@example.invalid")
    member = Member.objects.create(username=slug, fleet=fleet, role=Role.DISPATCHER)
    _, token = get_token_model().objects.create(user=member)
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return fleet, member, client


def add_notes(fleet, count, *, first=0, actor=None, act="note"):
    return AuditEntry.objects.bulk_create(
        AuditEntry(
            fleet=fleet,
            at=START + timedelta(minutes=number),
            actor=actor,
            actor_name="x",
            act=act,
            object_type="note",
            object_id=str(number),
        )
        for number in range(first, first + count)
    )


@pytest.fixture
def ours():
    return new_fleet("vinterby")


@pytest.fixture
def theirs():
    return new_fleet("norrholm")


def follow(client, url, *, after_page=lambda page: None):
    """Every text on the way from `url` along `next`, and the last page."""
    seen, page = [], None
    while url:
        page = client.get(url).json()
        seen += [item["text"] for item in page["items"]]
        after_page(page)
        url = page["next"]
    return seen, page


def test_a_walk_sees_every_row_once_newest_first(ours):
    fleet, _, client = ours
    add_notes(fleet, 25)
    seen, _ = follow(client, "/notes/?limit=10")
    assert seen == [str(number) for number in reversed(range(25))]


def test_a_walk_is_stable_while_rows_arrive(ours):
    fleet, _, client = ours
    add_notes(fleet, 25)
    arrivals = iter(range(100, 200))

    def arrive(page):
        add_notes(fleet, 1, first=next(arrivals))

    seen, _ = follow(client, "/notes/?limit=7", after_page=arrive)
    assert seen == [str(number) for number in reversed(range(25))]


def test_an_oldest_first_walk_meets_the_rows_that_arrive(ours):
    fleet, _, client = ours
    add_notes(fleet, 5)
    pending = [5, 6]

    def arrive(page):
        if pending:
            add_notes(fleet, 1, first=pending.pop(0))

    seen, _ = follow(client, "/notes/?limit=2&order=oldest", after_page=arrive)
    assert seen == [str(number) for number in range(7)]


def test_a_walk_survives_the_deletion_of_the_row_it_stands_on(ours):
    fleet, _, client = ours
    rows = add_notes(fleet, 6)
    first = client.get("/notes/?limit=3").json()
    AuditEntry.objects.for_fleet(fleet).filter(pk=rows[3].pk).delete()
    rest = client.get(first["next"]).json()
    assert [item["text"] for item in rest["items"]] == ["2", "1", "0"]


def test_previous_leads_back_over_the_same_pages(ours):
    fleet, _, client = ours
    add_notes(fleet, 10)
    pages, url = [], "/notes/?limit=4"
    while url:
        page = client.get(url).json()
        pages.append([item["text"] for item in page["items"]])
        last, url = page, page["next"]
    back, url = [], last["previous"]
    while url:
        page = client.get(url).json()
        back.append([item["text"] for item in page["items"]])
        assert page["next"] is not None
        url = page["previous"]
    assert back == pages[-2::-1]
    assert client.get("/notes/?limit=4").json()["previous"] is None


def test_new_rows_are_found_by_going_back_from_the_first_page(ours):
    fleet, _, client = ours
    add_notes(fleet, 4)
    second = client.get(client.get("/notes/?limit=2").json()["next"]).json()
    add_notes(fleet, 1, first=50)
    first = client.get(second["previous"]).json()
    assert [item["text"] for item in first["items"]] == ["3", "2"]
    newest = client.get(first["previous"]).json()
    assert [item["text"] for item in newest["items"]] == ["50"]


def test_a_page_past_the_end_is_empty_and_turns_round(ours):
    fleet, _, client = ours
    rows = add_notes(fleet, 2)
    cursor = Cursor("onward", "newest", (rows[0].pk,)).encode()
    page = client.get(f"/notes/?cursor={cursor}").json()
    assert (page["items"], page["next"]) == ([], None)
    back = client.get(page["previous"]).json()
    assert [item["text"] for item in back["items"]] == ["1"]


def test_an_empty_list_is_one_empty_page(ours):
    assert ours[2].get("/notes/").json() == {"items": [], "next": None, "previous": None}


def test_links_keep_the_filters_and_the_limit(ours):
    fleet, _, client = ours
    add_notes(fleet, 3)
    query = parse_qs(urlsplit(client.get("/notes/?limit=1&act=note").json()["next"]).query)
    assert (query["limit"], query["act"]) == (["1"], ["note"])


@pytest.mark.parametrize(
    ("query", "pointer", "code"),
    [
        ("limit=0", "/limit", "out-of-range"),
        ("limit=201", "/limit", "out-of-range"),
        ("limit=-1", "/limit", "out-of-range"),
        ("limit=1e1", "/limit", "out-of-range"),
        ("limit=%D9%A5", "/limit", "out-of-range"),
        ("limit=5&limit=6", "/limit", "repeated"),
        ("cursor=abc", "/cursor", "not-a-cursor"),
        ("cursor=" + Cursor("onward", "newest", ("abc",)).encode(), "/cursor", "not-a-cursor"),
        ("cursor=" + Cursor("onward", "newest", (1, 2)).encode(), "/cursor", "not-a-cursor"),
        ("cursor=" + Cursor("onward", "newest", (1,)).encode() + "&order=oldest", "/order", "mismatch"),
        ("order=best", "/order", "invalid-choice"),
        ("colour=red", "/colour", "unknown-parameter"),
        ("page=2", "/page", "unknown-parameter"),
        ("format=json", "/format", "unknown-parameter"),
        ("act=", "/act", "blank"),
        ("act=%00", "/act", "null-character"),
        ("act=" + "x" * 256, "/act", "max-length"),
        ("since=2027-01-12", "/since", "not-an-instant"),
        ("since=2027-01-12T05:40:00", "/since", "not-an-instant"),
        ("since=0001-01-01T00:00:00%2B14:00", "/since", "not-an-instant"),
        ("actor=x", "/actor", "not-an-id"),
        ("actor=-1", "/actor", "not-an-id"),
        ("actor=99999999999999999999", "/actor", "not-an-id"),
        ("sealed=1", "/sealed", "not-a-boolean"),
        ("sealed=True", "/sealed", "not-a-boolean"),
    ],
)
def test_a_parameter_that_cannot_be_meant_is_refused_and_pointed_at(ours, query, pointer, code):
    answer = ours[2].get(f"/notes/?{query}")
    assert answer.status_code == 400
    assert [(error["in"], error["pointer"], error["code"]) for error in answer.json()["errors"]] == [
        ("query", pointer, code)
    ]


def test_filters_narrow_the_list(ours):
    fleet, member, client = ours
    add_notes(fleet, 3)
    add_notes(fleet, 1, first=3, actor=member, act="other")
    assert [item["text"] for item in client.get("/notes/?act=other").json()["items"]] == ["3"]
    assert [item["text"] for item in client.get(f"/notes/?actor={member.pk}").json()["items"]] == ["3"]
    later = client.get("/notes/?since=2027-01-12T06:42:00%2B01:00").json()
    assert [item["text"] for item in later["items"]] == ["3", "2"]
    assert client.get("/notes/?sealed=true").json()["items"] == []
    assert len(client.get("/notes/?sealed=false").json()["items"]) == 4


def test_a_filter_is_no_parameter_of_a_detail(ours):
    fleet, _, client = ours
    (row,) = add_notes(fleet, 1)
    assert client.get(f"/notes/{row.pk}/").json()["text"] == "0"
    assert client.get(f"/notes/{row.pk}/?act=note").status_code == 400


def test_another_fleets_rows_are_in_no_list_and_behind_no_number(ours, theirs):
    (row,) = add_notes(ours[0], 1)
    assert ours[2].get(f"/notes/{row.pk}/").status_code == 200
    stranger = theirs[2]
    assert stranger.get("/notes/").json()["items"] == []
    assert stranger.get(f"/notes/?actor={ours[1].pk}").json()["items"] == []
    assert stranger.get(f"/notes/{row.pk}/").status_code == 404
    cursor = Cursor("back", "newest", (row.pk - 1,)).encode()
    assert stranger.get(f"/notes/?cursor={cursor}").json()["items"] == []


def test_times_are_answered_in_utc_with_z(ours):
    fleet, _, client = ours
    (row,) = add_notes(fleet, 1)
    assert client.get(f"/notes/{row.pk}/").json()["at"] == "2027-01-12T05:40:00Z"


def test_a_page_costs_two_statements(ours, django_assert_num_queries):
    fleet, _, client = ours
    add_notes(fleet, 30)
    with django_assert_num_queries(2):
        assert len(client.get("/notes/?limit=20").json()["items"]) == 20
