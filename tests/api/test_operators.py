"""Configuration by the host's operators: who may, that services do the writing, and that records are only read."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest
from django.conf import settings
from django.contrib import admin
from django.test import Client

from alarms.models import NoticeRoute
from fleet.models import AuditEntry, Fleet, Member, PolicyRow, Role, Trip, Unit, UnitModel
from fleet.operators.registers import RecordRegister, every_row
from tests import factories
from tests.db.conftest import plan

ROOT = f"/{settings.ADMIN_PATH}"


@pytest.fixture
def operator(db: None) -> Member:
    return Member.objects.create(username="operator", name="Host operator", is_staff=True)


@pytest.fixture
def desk(operator: Member) -> Client:
    client = Client()
    client.force_login(operator)
    return client


@pytest.fixture
def trip(tarn: Fleet, now: datetime) -> Trip:
    factories.potato()
    factories.make_unit(tarn)
    return plan(tarn, factories.make_member(tarn, Role.DISPATCHER), now)


def acts(fleet: Fleet) -> list[str]:
    return list(AuditEntry.objects.for_fleet(fleet).order_by("pk").values_list("act", flat=True))


def form_of(client: Client, path: str) -> dict[str, Any]:
    """What a browser would send back unchanged."""
    form = client.get(path).context["adminform"].form
    body: dict[str, Any] = {}
    for field in form:
        value = field.value()
        if value is not None and value is not False:
            body[field.html_name] = value
    return body


@pytest.mark.parametrize("role", [*Role])
def test_no_member_of_a_fleet_gets_in_however_privileged(tarn: Fleet, role: Role) -> None:
    member = factories.make_member(tarn, role)
    member.is_staff = member.is_superuser = True
    member.save()
    client = Client()
    client.force_login(member)
    for path in ("", "fleet/unit/", "fleet/member/add/", "fleet/trip/"):
        assert client.get(f"{ROOT}{path}").status_code == 302, path


def test_a_stranger_signs_in_where_everybody_does(db: None) -> None:
    answer = Client().get(ROOT, follow=True)
    assert answer.redirect_chain[-1][0].startswith("/sign-in/")


def test_every_register_lists_searches_and_opens(desk: Client, trip: Trip) -> None:
    for model, register in admin.site._registry.items():
        path = f"{ROOT}{model._meta.app_label}/{model._meta.model_name}/"
        page = desk.get(f"{path}?q=HB" if register.search_fields else path)
        assert page.status_code == 200, path
        assert "unsafe" not in page["Content-Security-Policy"]
        row = every_row(model).first()
        if row is not None:
            assert desk.get(f"{path}{row.pk}/change/").status_code == 200, path


def test_records_are_neither_added_nor_changed_nor_deleted(desk: Client, trip: Trip) -> None:
    records = [model for model, register in admin.site._registry.items() if isinstance(register, RecordRegister)]
    assert {"Trip", "Assessment", "Hold", "AuditEntry", "Inspection", "Alarm", "Delivery"} <= {
        model.__name__ for model in records
    }
    for model in records:
        path = f"{ROOT}{model._meta.app_label}/{model._meta.model_name}/"
        assert desk.get(f"{path}add/").status_code == 403, path
        row = every_row(model).first()
        if row is not None:
            assert desk.post(f"{path}{row.pk}/change/", {"state": "delivered"}).status_code == 403, path
            assert desk.post(f"{path}{row.pk}/delete/", {"post": "yes"}).status_code == 403, path


def test_nothing_at_all_can_be_deleted(desk: Client, trip: Trip) -> None:
    for model in admin.site._registry:
        row = every_row(model).first()
        if row is not None:
            path = f"{ROOT}{model._meta.app_label}/{model._meta.model_name}/{row.pk}/delete/"
            assert desk.post(path, {"post": "yes"}).status_code == 403, path


def test_a_changed_unit_model_moves_its_version_and_makes_trips_due(desk: Client, tarn: Fleet, trip: Trip) -> None:
    Trip.objects.for_fleet(tarn).update(assess_due_at=None)
    model = UnitModel.objects.for_fleet(tarn).get()
    path = f"{ROOT}fleet/unitmodel/{model.pk}/change/"
    assert desk.post(path, form_of(desk, path) | {"heater_output_kw": "7.5"}).status_code == 302
    after = UnitModel.objects.for_fleet(tarn).get()
    assert (after.heater_output_kw, after.version, after.revision) == (7.5, model.version + 1, model.revision + 1)
    assert Trip.objects.for_fleet(tarn).get().assess_due_at is not None
    entry = AuditEntry.objects.for_fleet(tarn).get(act="unit_model.changed")
    assert (entry.actor_name, entry.content) == ("Host operator", {"heater_output_kw": 7.5})


def test_what_physics_refuses_is_refused_here_too(desk: Client, tarn: Fleet, trip: Trip) -> None:
    model = UnitModel.objects.for_fleet(tarn).get()
    path = f"{ROOT}fleet/unitmodel/{model.pk}/change/"
    page = desk.post(path, form_of(desk, path) | {"k_w_m2k": "45"})
    assert page.status_code == 200
    assert "k_w_m2k" in page.context["adminform"].form.errors
    assert UnitModel.objects.for_fleet(tarn).get().k_w_m2k == 0.45


def test_a_form_that_was_opened_before_somebody_else_saved_is_refused(desk: Client, tarn: Fleet, trip: Trip) -> None:
    unit = Unit.objects.for_fleet(tarn).get()
    path = f"{ROOT}fleet/unit/{unit.pk}/change/"
    old = form_of(desk, path)
    assert desk.post(path, old | {"service": "out_of_service"}).status_code == 302
    page = desk.post(path, old | {"serviced_at_h": "10"}, follow=True)
    assert "has changed since you read it" in page.content.decode()
    assert Unit.objects.for_fleet(tarn).get().serviced_at_h is None


def test_a_new_unit_has_its_state_and_its_entry(desk: Client, tarn: Fleet, trip: Trip) -> None:
    model = UnitModel.objects.for_fleet(tarn).get()
    body = {"fleet": tarn.pk, "number": "HB-900", "model": model.pk, "service": "in_service"}
    assert desk.post(f"{ROOT}fleet/unit/add/", body).status_code == 302
    assert Unit.objects.for_fleet(tarn).get(number="HB-900").state.version == 1
    assert "unit.created" in acts(tarn)
    again = desk.post(f"{ROOT}fleet/unit/add/", body, follow=True)
    assert "There is already a unit" in again.content.decode()


def test_a_unit_cannot_get_another_fleets_model(desk: Client, tarn: Fleet, other: Fleet) -> None:
    foreign = factories.make_model(other)
    body = {"fleet": tarn.pk, "number": "HB-901", "model": foreign.pk, "service": "in_service"}
    page = desk.post(f"{ROOT}fleet/unit/add/", body)
    assert "belongs to another fleet" in page.content.decode()
    assert not Unit.objects.for_fleet(tarn).exists()


def test_a_threshold_is_checked_stored_and_put_back(desk: Client, tarn: Fleet) -> None:
    path = f"{ROOT}fleet/policyrow/{tarn.pk}/change/"
    assert desk.post(path, form_of(desk, path) | {"overrides": '{"score_floor": 95}'}).status_code == 302
    assert PolicyRow.objects.get(fleet=tarn).overrides == {"score_floor": 95.0}
    assert desk.post(path, form_of(desk, path) | {"overrides": '{"score_floor": 950}'}).status_code == 200
    assert desk.post(path, form_of(desk, path) | {"overrides": '{"no_such": 1}'}).status_code == 200
    assert desk.post(path, form_of(desk, path) | {"overrides": "{}"}).status_code == 302
    row = PolicyRow.objects.get(fleet=tarn)
    assert (row.overrides, row.version) == ({}, 3)
    assert acts(tarn) == ["policy.changed", "policy.changed"]


def test_a_fleet_is_founded_with_its_policy_and_renamed(desk: Client) -> None:
    body = {"name": "Fell", "slug": "fell", "time_zone": "Europe/Oslo", "owner_email": "o@fell.example"}
    assert desk.post(f"{ROOT}fleet/fleet/add/", body).status_code == 302
    fleet = Fleet.objects.get(slug="fell")
    assert fleet.policy.version == 1
    assert (
        desk.post(f"{ROOT}fleet/fleet/{fleet.pk}/change/", body | {"name": "Fell Lines", "slug": "x"}).status_code
        == 302
    )
    fleet.refresh_from_db()
    assert (fleet.name, fleet.slug) == ("Fell Lines", "fell")
    assert acts(fleet) == ["fleet.changed"]


def test_a_member_is_admitted_given_a_password_and_ended(desk: Client, tarn: Fleet, other: Fleet) -> None:
    body = {"fleet": tarn.pk, "username": "ida", "name": "Ida", "role": "inspector", "email": "ida@tarn.example",
            "is_active": "on", "new_password": "a long and private sentence"}  # fmt: skip
    assert desk.post(f"{ROOT}fleet/member/add/", body).status_code == 302
    ida = Member.objects.get(username="ida")
    assert ida.check_password("a long and private sentence")
    assert (ida.is_staff, ida.is_superuser) == (False, False)
    path = f"{ROOT}fleet/member/{ida.pk}/change/"
    body = {"name": "Ida", "role": "manager", "email": ida.email, "fleet": other.pk, "username": "x"}
    assert desk.post(path, body).status_code == 302
    ida.refresh_from_db()
    assert (ida.fleet_id, ida.username, ida.role, ida.is_active) == (tarn.pk, "ida", "manager", False)
    assert acts(tarn) == ["member.admitted", "member.password_set", "member.changed"]
    assert "private sentence" not in str(list(AuditEntry.objects.for_fleet(tarn).values_list("content", flat=True)))


def test_operators_are_not_made_or_ended_by_each_other(desk: Client, operator: Member) -> None:
    body = {"username": "second", "name": "Second", "role": "manager", "is_active": "on"}
    assert desk.post(f"{ROOT}fleet/member/add/", body).status_code == 200
    assert not Member.objects.filter(username="second").exists()
    assert desk.post(f"{ROOT}fleet/member/{operator.pk}/change/", {"name": "x"}).status_code == 403


def test_a_route_gets_its_secret_and_never_shows_it(desk: Client, tarn: Fleet, settings: Any) -> None:
    settings.WEBHOOK_ALLOWED_HOSTS = ["127.0.0.1"]
    manager = factories.make_member(tarn, Role.MANAGER)
    body = {"fleet": tarn.pk, "member": manager.pk, "channel": "webhook", "address": "http://127.0.0.1/hook",
            "kinds": ["hold"], "position": "1", "state": "enabled"}  # fmt: skip
    answer = desk.post(f"{ROOT}alarms/noticeroute/add/", body)
    assert answer.status_code == 302, answer.context["adminform"].form.errors
    route = NoticeRoute.objects.for_fleet(tarn).get()
    assert route.secret.startswith("whsec_")
    path = f"{ROOT}alarms/noticeroute/{route.pk}/change/"
    assert route.secret not in desk.get(path).content.decode()
    assert desk.post(path, form_of(desk, path) | {"state": "disabled"}).status_code == 302
    route.refresh_from_db()
    assert (route.state, route.disabled_reason) == ("disabled", "disabled by Host operator")
    assert acts(tarn)[-2:] == ["route.created", "route.changed"]
