"""Writes units, unit models and the policy. Whatever an answer was made from moves its version."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F

from fleet.bell import ASSESS_TASK, ring
from fleet.errors import Conflict, FieldError, InvalidInput, NotFound, StaleRevision
from fleet.models import Fleet, Member, PolicyRow, Trip, Unit, UnitModel, UnitState
from fleet.policy import faults_in
from fleet.records.audit import record_act
from fleet.retry import on_conflict
from fleet.trips.due import make_due, pull_near
from fleet.units.design import ORDERED
from fleet.units.state import lock_states


class KeyTaken(Conflict):
    """The fleet has a unit or model of this name."""


def create_unit_model(fleet: Fleet, values: Mapping[str, Any], *, by: Member, now: datetime) -> UnitModel:
    """*Raises* KeyTaken."""
    with transaction.atomic():
        model = UnitModel(fleet=fleet, **values)
        _insert(model, f"There is already a unit model {values['key']!r}.")
        record_act(by, act="unit_model.created", subject=model, at=now, content=dict(values))
        return model


def change_unit_model(
    fleet: Fleet, key: str, changes: Mapping[str, Any], *, revision: int | None, by: Member, now: datetime
) -> UnitModel:
    """Changes design data; every unit of the model is assessed again."""

    def work() -> UnitModel:
        with transaction.atomic():
            found = UnitModel.objects.for_fleet(fleet).select_for_update().filter(key=key).first()
            if found is None:
                raise NotFound("There is no such unit model.")
            model: UnitModel = found
            _require(model.revision, revision)
            for name, value in changes.items():
                setattr(model, name, value)
            _refuse_disorder(model)
            model.version += 1
            model.revision += 1
            model.save()
            unit_ids = Unit.objects.for_fleet(fleet).filter(model=model).values_list("pk", flat=True)
            make_due(list(unit_ids), at=now)
            record_act(by, act="unit_model.changed", subject=model, at=now, content=dict(changes))
            ring(ASSESS_TASK)
            return model

    return on_conflict(work)


def _refuse_disorder(model: UnitModel) -> None:
    """A change of one value is judged with the values it leaves as they are. *Raises* InvalidInput."""
    for lower, upper in ORDERED:
        low, high = getattr(model, lower), getattr(model, upper)
        if low is not None and high is not None and low > high:
            raise InvalidInput.at(f"/{lower}", "order", f"Must not be above {upper} ({high:g}).")


def create_unit(fleet: Fleet, values: Mapping[str, Any], *, by: Member, now: datetime) -> Unit:
    """Stores a unit with an empty state. *Raises* KeyTaken, InvalidInput for an unknown model."""
    with transaction.atomic():
        unit = Unit(fleet=fleet, **{**values, "model": _model_of(fleet, values["model"])})
        _insert(unit, f"There is already a unit {values['number']!r}.")
        UnitState.objects.create(fleet=fleet, unit=unit)
        record_act(by, act="unit.created", subject=unit, at=now, content={"number": unit.number})
        return unit


def change_unit(
    fleet: Fleet, number: str, changes: Mapping[str, Any], *, revision: int | None, by: Member, now: datetime
) -> Unit:
    """Changes a unit; its trips are assessed again."""

    def work() -> Unit:
        with transaction.atomic():
            found = Unit.objects.for_fleet(fleet).filter(number=number).values_list("pk", flat=True).first()
            if found is None:
                raise NotFound("There is no such unit.")
            lock_states([found])
            unit: Unit = Unit.objects.for_fleet(fleet).select_related("model").get(pk=found)
            _require(unit.revision, revision)
            for name, value in changes.items():
                setattr(unit, name, _model_of(fleet, value) if name == "model" else value)
            if unit.k_test_w_m2k is not None and unit.k_tested_on is None:
                raise InvalidInput.at("/k_tested_on", "required", "A tested K value needs its date.")
            unit.revision += 1
            unit.save()
            UnitState.objects.across_fleets().filter(unit=unit).update(version=F("version") + 1)
            make_due([unit.pk], at=now)
            record_act(by, act="unit.changed", subject=unit, at=now, content={"members": sorted(changes)})
            ring(ASSESS_TASK)
            return unit

    return on_conflict(work)


def change_policy(
    fleet: Fleet, changes: Mapping[str, float | None], *, revision: int | None, by: Member, now: datetime
) -> PolicyRow:
    """Changes thresholds; every live trip of the fleet is assessed again. *Raises* InvalidInput."""

    def work() -> PolicyRow:
        with transaction.atomic():
            row = PolicyRow.objects.select_for_update().get(fleet=fleet)
            _require(row.revision, revision)
            overrides = {k: v for k, v in {**row.overrides, **changes}.items() if v is not None}
            if faults := faults_in(overrides):
                raise InvalidInput(errors=[FieldError(f"/{k}", "out-of-range", v) for k, v in faults.items()])
            row.overrides = overrides
            row.version += 1
            row.revision += 1
            row.save()
            live = Trip.objects.for_fleet(fleet).filter(state__in=(Trip.State.PLANNED, Trip.State.UNDER_WAY))
            pull_near(list(live.values_list("pk", flat=True)), at=now)
            record_act(by, act="policy.changed", subject=row, at=now, content=dict(changes))
            ring(ASSESS_TASK)
            return row

    return on_conflict(work)


def _model_of(fleet: Fleet, key: str) -> UnitModel:
    model: UnitModel | None = UnitModel.objects.for_fleet(fleet).filter(key=key).first()
    if model is None:
        raise InvalidInput.at("/model", "unknown-model", "There is no such unit model.")
    return model


def _insert(row: Any, words: str) -> None:
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError as error:
        raise KeyTaken(words) from error


def _require(actual: int, expected: int | None) -> None:
    if expected is not None and actual != expected:
        raise StaleRevision(current=f'"{actual}"')
