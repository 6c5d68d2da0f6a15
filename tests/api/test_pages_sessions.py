"""Signing in to the pages: who may, how often, what a session is worth, and where it is worth nothing."""

from __future__ import annotations

import secrets
from datetime import datetime

import pytest
from django.conf import settings
from django.contrib.sessions.models import Session
from django.test import Client

from fleet.chores import forget_sessions
from fleet.models import AuditEntry, Fleet, Member, Role
from tests import factories

PASSWORD = "a long and private sentence"
HTML = {"Accept": "text/html"}


@pytest.fixture
def manager(tarn: Fleet) -> Member:
    member = factories.make_member(tarn, Role.MANAGER)
    member.username = f"maja-{secrets.token_hex(4)}"  # tries are counted by name for a quarter of an hour
    member.set_password(PASSWORD)
    member.save()
    return member


def sign_in(client: Client, member: Member, password: str = PASSWORD, **more: str) -> object:
    return client.post("/sign-in/", {"username": member.username, "password": password, **more}, headers=HTML)


def test_a_stranger_is_sent_to_sign_in_and_comes_back(manager: Member) -> None:
    client = Client()
    refused = client.get("/units/?q=HB", headers=HTML)
    assert (refused.status_code, refused["Location"]) == (302, "/sign-in/?next=%2Funits%2F%3Fq%3DHB")
    done = sign_in(client, manager, next="/units/?q=HB")
    assert (done.status_code, done["Location"]) == (302, "/units/?q=HB")  # type: ignore[attr-defined]
    assert client.get("/units/?q=HB").status_code == 200


@pytest.mark.parametrize("target", ["https://elsewhere.example/", "//elsewhere.example/", "javascript:alert(1)"])
def test_signing_in_leads_to_no_other_host(manager: Member, target: str) -> None:
    assert sign_in(Client(), manager, next=target)["Location"] == "/"  # type: ignore[index]


def test_a_wrong_password_an_unknown_name_and_a_machine_look_the_same(manager: Member, tarn: Fleet) -> None:
    machine = factories.make_member(tarn, Role.INTEGRATOR)
    machine.set_password(PASSWORD)
    machine.save()
    stranger = Member(username="nobody")
    answers = {
        sign_in(Client(), manager, "not this one").content.decode().replace(manager.username, ""),  # type: ignore[attr-defined]
        sign_in(Client(), stranger).content.decode().replace("nobody", ""),  # type: ignore[attr-defined]
        sign_in(Client(), machine).content.decode().replace(machine.username, ""),  # type: ignore[attr-defined]
    }
    assert len({page.partition("<h1>")[2].partition("<form")[0] for page in answers}) == 1


def test_tries_are_counted_together_with_those_of_the_api(manager: Member, settings: object) -> None:
    settings.LOGIN_TRIES = 3  # type: ignore[attr-defined]
    for _ in range(3):
        Client().post("/api/v1/login/", {"username": manager.username, "password": "x"}, "application/json")
    answer = sign_in(Client(), manager)
    assert answer.status_code == 429  # type: ignore[attr-defined]
    assert "Too many tries" in answer.content.decode()  # type: ignore[attr-defined]


def test_a_session_never_authenticates_the_api(manager: Member) -> None:
    client = Client()
    client.force_login(manager)
    assert client.get("/units/").status_code == 200
    for method in ("get", "post", "put", "patch", "delete"):
        for path in ("/api/v1/units/", "/api/v1/policy/", "/api/v1/holds/1/release/"):
            assert getattr(client, method)(path).status_code == 401, (method, path)


def test_the_api_sets_no_cookie(manager: Member, client_of: object, tarn: Fleet) -> None:
    answer = client_of(tarn).get("/api/v1/units/")  # type: ignore[operator]
    assert not answer.cookies
    assert "Cookie" not in answer.get("Vary", "")


def test_a_form_without_its_token_changes_nothing(manager: Member) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(manager)
    refused = client.post("/preferences/", {"scale": "f", "volume": "gal", "look": "dark"}, headers=HTML)
    assert refused.status_code == 403
    assert "too old" in refused.content.decode()
    manager.refresh_from_db()
    assert manager.scale == "c"


def test_signing_out_ends_the_session_also_for_a_copied_cookie(manager: Member) -> None:
    client, copy = Client(), Client()
    client.force_login(manager)
    copy.cookies = client.cookies.copy()  # type: ignore[assignment]
    assert copy.get("/units/").status_code == 200
    assert client.get("/sign-out/").status_code == 405
    client.post("/sign-out/")
    assert copy.get("/units/").status_code == 302


def test_a_new_password_or_a_closed_account_ends_the_session(manager: Member) -> None:
    client = Client()
    client.force_login(manager)
    manager.is_active = False
    manager.save()
    assert client.get("/units/").status_code == 302
    manager.is_active = True
    manager.save()
    client.force_login(manager)
    manager.set_password("another long sentence")
    manager.save()
    assert client.get("/units/").status_code == 302


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(manager: Member) -> None:
    client = Client()
    sign_in(client, manager)
    for cookie in client.cookies.values():
        assert cookie["httponly"], cookie.key
        assert cookie["samesite"] == "Lax"
    assert int(client.cookies[settings.SESSION_COOKIE_NAME]["max-age"]) == 7 * 24 * 3600


def test_beginning_and_ending_a_session_is_in_the_audit(manager: Member) -> None:
    client = Client()
    sign_in(client, manager)
    client.post("/sign-out/")
    acts = AuditEntry.objects.for_fleet(manager.fleet).order_by("pk").values_list("act", flat=True)
    assert [act for act in acts if act.startswith("session.")] == ["session.began", "session.ended"]


def test_sessions_that_ran_out_are_swept(manager: Member, now: datetime) -> None:
    client = Client()
    client.force_login(manager)
    Session.objects.update(expire_date=now)
    assert forget_sessions(now.replace(year=now.year + 1)) == 1


def test_a_host_operator_finds_no_page_of_any_fleet(db: None) -> None:
    operator = Member.objects.create(username="operator", is_staff=True)
    client = Client()
    client.force_login(operator)
    assert client.get("/", headers=HTML).status_code == 403


def test_unknown_pages_are_pages_for_people_and_problems_for_machines(db: None) -> None:
    page = Client().get("/nowhere/", headers=HTML)
    assert (page.status_code, page["Content-Type"]) == (404, "text/html; charset=utf-8")
    assert Client().get("/nowhere/")["Content-Type"] == "application/problem+json"
    assert Client().get("/api/v1/nowhere/", headers=HTML)["Content-Type"] == "application/problem+json"


def test_pages_may_load_and_run_their_own_files_only(manager: Member) -> None:
    client = Client()
    client.force_login(manager)
    for path in ("/", "/units/", "/preferences/"):
        page = client.get(path)
        policy = page["Content-Security-Policy"]
        assert "unsafe" not in policy
        assert "script-src 'self';" in policy
        assert page["Cache-Control"] in ("no-store", "private, no-cache")
        text = page.content.decode()
        assert " style=" not in text
        assert "<style" not in text
        assert "onclick" not in text


def test_preferences_change_how_pages_read(manager: Member) -> None:
    client = Client()
    client.force_login(manager)
    said = {"scale": "f", "volume": "gal", "look": "dark", "time_zone": "America/Winnipeg"}
    assert client.post("/preferences/", said).status_code == 302
    manager.refresh_from_db()
    assert (manager.scale, manager.volume, manager.look, manager.time_zone) == tuple(said.values())
    assert 'data-look="dark"' in client.get("/").content.decode()
    assert client.post("/preferences/", said | {"time_zone": "Moon/Base"}).status_code == 422
