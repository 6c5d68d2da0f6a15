"""What every act on a unit's records has in common: the unit locked first, its trips due, the entry, the bell."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import Model

from fleet.bell import ASSESS_TASK, ring
from fleet.errors import StaleRevision, WarmgateError
from fleet.models import Fleet, Member, Unit
from fleet.records.audit import record_act
from fleet.trips.due import make_due
from fleet.trips.selectors import unit_of
from fleet.units.state import lock_states


class AlreadySigned(WarmgateError):
    """The record is signed (or superseded); it is corrected by another record, never edited."""

    code = "already-signed"


def locked_unit(fleet: Fleet, number: str) -> Unit:
    """The unit with its model, its state locked until the transaction ends. *Raises* NotFound."""
    unit = unit_of(fleet.pk, number)
    lock_states([unit.pk])
    return unit


def finish_act(by: Member, *, act: str, subject: Model, unit: Unit, now: datetime, content: Mapping[str, Any]) -> None:
    """Writes the entry, makes the unit's trips due and wakes the worker once this has committed."""
    make_due([unit.pk], at=now)
    record_act(by, act=act, subject=subject, at=now, content={"unit": unit.number, **content})
    ring(ASSESS_TASK)


def require_revision(actual: int, expected: int | None) -> None:
    if expected is not None and actual != expected:
        raise StaleRevision(current=f'"{actual}"')
