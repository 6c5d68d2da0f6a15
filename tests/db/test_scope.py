"""No query runs before it was said whose rows it means, whatever the model and whatever way it is evaluated."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest
from django.apps import apps
from django.db.models import Count

from fleet.models import AuditEntry, Fleet, Hold, Reading, Trip, Unit, UnitState, UnscopedQuery
from fleet.models.scope import FleetRow, ScopedQuerySet
from tests import factories
from tests.db.conftest import post
from tests.factories import reading

pytestmark = pytest.mark.django_db
SCOPED = [model for model in apps.get_models() if isinstance(model._default_manager.all(), ScopedQuerySet)]
WAYS: dict[str, Callable[[Any], Any]] = {
    "list": list,
    "bool": bool,
    "len": len,
    "repr": repr,
    "index": lambda rows: rows.order_by("pk")[0],
    "slice": lambda rows: list(rows[:3]),
    "get": lambda rows: rows.get(),
    "first": lambda rows: rows.first(),
    "last": lambda rows: rows.order_by("pk").last(),
    "latest": lambda rows: rows.latest("pk"),
    "in_bulk": lambda rows: rows.in_bulk(),
    "count": lambda rows: rows.count(),
    "exists": lambda rows: rows.exists(),
    "iterator": lambda rows: list(rows.iterator()),
    "aggregate": lambda rows: rows.aggregate(n=Count("pk")),
    "values": lambda rows: list(rows.values("pk")),
    "values_list": lambda rows: list(rows.values_list("pk", flat=True)),
    "filter": lambda rows: list(rows.filter(pk__isnull=False).exclude(pk__isnull=True).order_by("-pk")),
    "update": lambda rows: rows.update(),
    "delete": lambda rows: rows.delete(),
    "get_or_create": lambda rows: rows.get_or_create(),
}


def test_every_row_of_a_fleet_is_behind_the_rule() -> None:
    rows = {model for model in apps.get_models() if issubclass(model, FleetRow)}
    assert rows <= set(SCOPED)
    assert {Reading, Trip, Unit, UnitState, Hold, AuditEntry} <= set(SCOPED)


@pytest.mark.parametrize("way", WAYS.values(), ids=WAYS)
@pytest.mark.parametrize("model", SCOPED, ids=lambda model: model.__name__)
def test_an_unscoped_query_raises(model: Any, way: Callable[[Any], Any], db: None) -> None:
    with pytest.raises(UnscopedQuery):
        way(model.objects.all())


@pytest.mark.parametrize("model", SCOPED, ids=lambda model: model.__name__)
def test_the_manager_itself_raises_too_and_a_scope_of_nothing_is_none(model: Any, db: None) -> None:
    with pytest.raises(UnscopedQuery):
        model.objects.count()
    with pytest.raises(UnscopedQuery):
        model.objects.for_fleet(None)


@pytest.mark.parametrize("model", SCOPED, ids=lambda model: model.__name__)
def test_a_scoped_query_runs_in_every_form_that_reads(model: Any, tarn: Fleet) -> None:
    for rows in (model.objects.for_fleet(tarn), model.objects.for_fleet(tarn.pk), model.objects.across_fleets()):
        assert len(list(rows.order_by("pk")[:1])) == min(rows.count(), 1)
        assert rows.exists() == bool(rows.filter(pk__isnull=False))
        assert rows.aggregate(n=Count("pk"))["n"] == len(list(rows.iterator()))


def test_for_fleet_narrows_and_across_fleets_does_not(tarn: Fleet, other: Fleet) -> None:
    ours, theirs = factories.make_unit(tarn, "HB-1"), factories.make_unit(other, "HB-2")
    assert list(Unit.objects.for_fleet(tarn)) == [ours]
    assert list(Unit.objects.for_fleet(other)) == [theirs]
    assert list(Unit.objects.across_fleets().order_by("number")) == [ours, theirs]


def test_rows_without_a_fleet_column_are_narrowed_by_their_path(tarn: Fleet, other: Fleet, now: datetime) -> None:
    for fleet in (tarn, other):
        factories.make_unit(fleet)
        post(fleet, reading(now), now=now)
    assert [row.unit.fleet_id for row in Reading.objects.for_fleet(tarn)] == [tarn.pk]
    assert Reading.objects.across_fleets().count() == 2


def test_rows_reached_through_a_row_in_scope_are_in_scope(tarn: Fleet, now: datetime) -> None:
    unit = factories.make_unit(tarn)
    post(tarn, reading(now), now=now)
    found = Unit.objects.for_fleet(tarn).get(pk=unit.pk)
    assert found.state.unit_id == unit.pk
    assert found.model.fleet_id == tarn.pk
    found.refresh_from_db()
    found.save()
    assert [row.number for row in found.model.units.all()] == ["HB-104"]


def test_saying_the_scope_is_kept_by_everything_built_on_it(tarn: Fleet) -> None:
    factories.make_unit(tarn)
    rows = Unit.objects.for_fleet(tarn).filter(number="HB-104").exclude(pk=0).order_by("pk").select_related("model")
    assert rows.all().get().number == "HB-104"
    assert (rows | Unit.objects.for_fleet(tarn)).count() == 1
    assert rows.update(number="HB-105") == 1
