"""The last report of a unit, and the rule that the next inspector reviews it."""

from __future__ import annotations

from typing import Any

from fleet.clock import text_of
from fleet.errors import InvalidInput, WarmgateError
from inspections.models import Defect, Inspection, Observation
from inspections.selectors import REPORTS, last_report


class ReviewRequired(WarmgateError):
    """The signer has to review the unit's last report and say which one it was."""

    code = "review-required"


def reviewed_report(row: Inspection, named: int | None, *, at: str) -> int | None:
    """Id of the report that the signer of *row* says to have reviewed.

    A pre-trip inspection must name the newest report that could be read when it was performed, or a newer one. *at*:
    where in the request the signature stands. *Raises* ReviewRequired, InvalidInput.
    """
    if row.supersedes is not None:
        return row.supersedes.reviewed_id
    if row.kind != Inspection.Kind.PRE_TRIP:
        return None
    owed = last_report(row.unit_id, before=row.performed_at, known_by=row.performed_at, without=row.pk)
    if owed is None and named is None:
        return None
    found = (
        Inspection.objects.for_fleet(row.fleet_id)
        .filter(pk=named or 0, unit_id=row.unit_id, kind__in=REPORTS, state=Inspection.State.SIGNED)
        .first()
    )
    if named is not None and found is None:
        raise InvalidInput.at(f"{at}/reviewed", "unknown-report", "There is no such report of this unit.")
    if owed is not None and (found is None or found.performed_at < owed.performed_at):
        raise ReviewRequired(
            "Read the unit's last report and its repairs, then sign with its id in `reviewed`.",
            last_report=report_document(owed),
        )
    return None if found is None else found.pk


def report_document(row: Inspection) -> dict[str, Any]:
    """The last report in short: what the next inspector has to see, and what has become of it."""
    found = Observation.objects.for_fleet(row.fleet_id).filter(
        inspection=row, outcome__in=(Observation.Outcome.DEFECT, Observation.Outcome.WEAR)
    )
    states = dict(
        Defect.objects.for_fleet(row.fleet_id).filter(opened_by__inspection=row).values_list("opened_by_id", "state")
    )
    return {
        "id": row.pk,
        "kind": str(row.kind),
        "result": str(row.result),
        "performed_at": text_of(row.performed_at),
        "observations": [
            {
                "item": one.item,
                "label": one.label,
                "outcome": str(one.outcome),
                "note": one.note,
                "state": states.get(one.pk),
            }
            for one in found.order_by("position")
        ],
    }
