"""A sheet as a form for one unit, and the rules of filling it. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fleet.errors import FieldError
from inspections.models import Inspection, Observation

SEEN = (Observation.Outcome.SOUND, Observation.Outcome.WEAR)


@dataclass(frozen=True, slots=True)
class Asked:
    """A value an item asks for, with the limits that hold for this unit."""

    name: str
    required: bool
    low: float | None
    high: float | None
    count: int


@dataclass(frozen=True, slots=True)
class Item:
    """One item of a sheet."""

    key: str
    label: str
    group: str
    position: int
    blocks: bool
    if_fitted: bool
    measures: tuple[Asked, ...]


@dataclass(frozen=True, slots=True)
class Seen:
    """What a person wrote about one item."""

    item: str
    outcome: str
    note: str = ""
    values: Mapping[str, Any] = field(default_factory=dict)


def items_of(groups: Sequence[Mapping[str, Any]], *, design: Mapping[str, float | None]) -> dict[str, Item]:
    """Items of a sheet in walking order; limits named by a design value are taken from the unit's model."""
    items: dict[str, Item] = {}
    for group in groups:
        for document in group["items"]:
            items[document["key"]] = Item(
                key=document["key"],
                label=document["label"],
                group=group["key"],
                position=len(items),
                blocks=document.get("blocks", False),
                if_fitted=document.get("if_fitted", False),
                measures=tuple(_asked(measure, design) for measure in document.get("measures", ())),
            )
    return items


def _asked(document: Mapping[str, Any], design: Mapping[str, float | None]) -> Asked:
    low, high = (_limit(document, side, design) for side in ("low", "high"))
    return Asked(document["name"], document.get("required", False), low, high, document.get("count", 1))


def _limit(document: Mapping[str, Any], side: str, design: Mapping[str, float | None]) -> float | None:
    """A limit as a number. None: there is none, or the unit model does not state it."""
    if named := document.get(f"{side}_design"):
        return design.get(named)
    limit = document.get(side)
    if limit is not None and document.get("per_12v"):
        nominal_v = design.get("nominal_v")
        return None if nominal_v is None else round(limit * nominal_v / 12.0, 6)
    return None if limit is None else float(limit)


def faults_in(items: Mapping[str, Item], seen: Sequence[Seen]) -> list[FieldError]:
    """What is wrong with these observations, with a pointer to each; empty when they can be stored."""
    faults: list[FieldError] = []
    known: set[str] = set()
    for index, one in enumerate(seen):
        at = f"/observations/{index}"
        item = items.get(one.item)
        if item is None:
            faults.append(FieldError(f"{at}/item", "unknown-item", f"The sheet has no item {one.item!r}."))
            continue
        if one.item in known:
            faults.append(FieldError(f"{at}/item", "repeated-item", "Each item is observed once."))
        known.add(one.item)
        faults += _item_faults(item, one, at)
    return faults


def _item_faults(item: Item, one: Seen, at: str) -> list[FieldError]:
    faults: list[FieldError] = []
    if one.outcome == Observation.Outcome.DEFECT and len(one.note) < 3:
        faults.append(FieldError(f"{at}/note", "required", "Say what the defect is."))
    if one.outcome == Observation.Outcome.NOT_SEEN and one.values:
        faults.append(FieldError(f"{at}/outcome", "contradiction", "An item that was measured was seen."))
    asked = {measure.name: measure for measure in item.measures}
    for name in one.values.keys() - asked.keys():
        faults.append(FieldError(f"{at}/values/{name}", "not-measured-here", f"{item.label} does not ask for it."))
    for measure in item.measures:
        value = one.values.get(measure.name)
        if value is None:
            if measure.required and one.outcome in SEEN:
                faults.append(FieldError(f"{at}/values", "value-required", f"{measure.name} has to be measured."))
        elif fault := _value_fault(measure, value, one.outcome):
            faults.append(FieldError(f"{at}/values/{measure.name}", *fault))
    return faults


def _value_fault(asked: Asked, value: Any, outcome: str) -> tuple[str, str] | None:
    if isinstance(value, list) and len(value) < asked.count:
        return "too-few", f"Measure at {asked.count} places at least."
    if outcome != Observation.Outcome.SOUND or isinstance(value, list | str):
        return None
    if asked.low is not None and value < asked.low:
        return "outside-limits", f"{value:g} is below the limit of {asked.low:g}: that is wear or a defect, not sound."
    if asked.high is not None and value > asked.high:
        return "outside-limits", f"{value:g} is above the limit of {asked.high:g}: that is wear or a defect, not sound."
    return None


def result_of(observations: Iterable[Observation]) -> Inspection.Result:
    """`unfit` with a blocking defect, else `incomplete` with an item not seen, else `fit`."""
    rows = list(observations)
    if any(row.outcome == Observation.Outcome.DEFECT and row.blocks for row in rows):
        return Inspection.Result.UNFIT
    if any(row.outcome == Observation.Outcome.NOT_SEEN and not row.if_fitted for row in rows):
        return Inspection.Result.INCOMPLETE
    return Inspection.Result.FIT
