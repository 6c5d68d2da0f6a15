"""Pages keep fleets apart and roles in their place: every route that names an object, with another fleet's."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest
from django.test import Client
from rest_framework.test import APIClient

from fleet.models import Fleet, Hold, Role
from tests import factories
from tests.api.isolation_world import fill
from tests.api.page_routes import page_routes

PEOPLE = (Role.MANAGER, Role.DISPATCHER, Role.INSPECTOR)


def browser(fleet: Fleet, role: Role) -> Client:
    member = fleet.members.filter(role=role).first() or factories.make_member(fleet, role)
    client = Client()
    client.force_login(member)
    return client


@pytest.fixture
def secrets(other: Fleet, now: datetime, client_of: Callable[..., APIClient]) -> dict[str, Any]:
    """One of everything of the other fleet, by the words that stand for it in routes."""
    return fill(other, now, client_of)


def test_every_page_that_names_an_object_hides_the_other_fleets(tarn: Fleet, secrets: dict[str, Any]) -> None:
    named = {
        "trips/<str:reference>/": f"/trips/{secrets['trip']}/",
        "units/<str:number>/": f"/units/{secrets['unit']}/",
        "holds/<int:pk>/release/": f"/holds/{secrets['hold']}/release/",
        "alarms/<int:pk>/": f"/alarms/{secrets['alarm']}/",
        "alarms/<int:pk>/seen/": f"/alarms/{secrets['alarm']}/seen/",
        "charts/trips/<str:reference>/forecast.svg": f"/charts/trips/{secrets['trip']}/forecast.svg",
        "charts/units/<str:number>/history.svg": f"/charts/units/{secrets['unit']}/history.svg",
        "notices/<int:pk>/seen/": f"/notices/{secrets['notice']}/seen/",
    }
    ours = {path for path in page_routes() if "<" in path and not path.startswith("inspections/")}
    assert ours - set(named) == set(), "a page without a row here"
    client = browser(tarn, Role.MANAGER)
    form = {"revision": 1, "reason": "long enough a reason", "work_done": "long enough a work", "confirmed": "1"}
    for path in named.values():
        if not path.endswith("/seen/"):
            assert client.get(path).status_code == 404, path
        assert client.post(path, form).status_code in (404, 405), path


def test_no_list_shows_a_row_of_another_fleet(tarn: Fleet, secrets: dict[str, Any]) -> None:
    for role in PEOPLE:
        client = browser(tarn, role)
        for path in ("/", "/?q=SECRET", "/units/", "/units/?q=SECRET", "/?verdict=blocked&held=1"):
            assert "SECRET" not in client.get(path).content.decode().replace("has “SECRET” in", "").replace(
                'value="SECRET"', ""
            ).replace("q=SECRET", ""), path


def test_the_owner_sees_what_the_others_do_not(other: Fleet, secrets: dict[str, Any]) -> None:
    client = browser(other, Role.MANAGER)
    for path in (f"/trips/{secrets['trip']}/", f"/units/{secrets['unit']}/", f"/alarms/{secrets['alarm']}/"):
        assert client.get(path).status_code == 200, path
    assert "SECRET-1" in client.get("/").content.decode()


@pytest.mark.parametrize("role", [Role.DISPATCHER, Role.INSPECTOR])
def test_only_a_manager_releases(other: Fleet, secrets: dict[str, Any], role: Role) -> None:
    client = browser(other, role)
    path = f"/holds/{secrets['hold']}/release/"
    assert client.get(path).status_code == 403
    form = {"revision": 1, "reason": "long enough a reason", "confirmed": "1"}
    assert client.post(path, form).status_code == 403
    assert Hold.objects.for_fleet(other).get(pk=secrets["hold"]).state == Hold.State.OPEN


def test_a_dispatcher_signs_no_work_off_and_an_inspector_sees_no_notice(other: Fleet, secrets: dict[str, Any]) -> None:
    form = {"revision": 1, "work_done": "long enough a work"}
    assert browser(other, Role.DISPATCHER).post(f"/alarms/{secrets['alarm']}/", form).status_code == 403
    assert browser(other, Role.INSPECTOR).post(f"/notices/{secrets['notice']}/seen/", form).status_code == 403


def test_a_machine_sees_no_page(other: Fleet, secrets: dict[str, Any]) -> None:
    client = browser(other, Role.INTEGRATOR)
    for path in ("/", "/units/", f"/trips/{secrets['trip']}/", "/preferences/"):
        assert client.get(path).status_code == 403, path
