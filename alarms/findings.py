"""Takes what learning found in readings (an internal event) into alarm records."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from alarms.learned import LEARNED
from alarms.rules import Ruling
from alarms.services.reports import RULED, ruled_codes, store_rulings
from fleet.bell import ASSESS_TASK, ring
from fleet.events import LEARNED_TYPE, Found, InternalHandler, internal_handlers
from fleet.models import UnitState
from fleet.trips.due import make_due

LONGEST_TEXT = 300


class UnknownFinding(RuntimeError):
    """Learning speaks of something that has no words here: a mistake in the program."""


def handle_findings(fleet_id: int, findings: Sequence[Found], now: datetime) -> None:
    """Raises and clears the alarms of findings. One that says what is known already changes nothing.

    The units' states are locked by the caller. What is raised is kept in the same unit fact as what our own rules
    find, so that a manager who voids a record is not told the same thing again while it lasts.
    """
    for finding in findings:
        if finding.code not in LEARNED:
            raise UnknownFinding(finding.code)
    news = {unit_id: _news(unit_id, findings) for unit_id in sorted({finding.unit_id for finding in findings})}
    changed = [unit_id for unit_id, found in news.items() if found]
    if not changed:
        return
    make_due(changed, at=now)  # trips are locked before records
    for unit_id in changed:
        for at, rulings in news[unit_id].items():
            store_rulings(fleet_id, unit_id, rulings, known=_known(unit_id), now=now, at=at)
    ring(ASSESS_TASK)


def _news(unit_id: int, findings: Sequence[Found]) -> dict[datetime, list[Ruling]]:
    """What these findings change for one unit, by moment, in order."""
    known = set(_known(unit_id))
    news: dict[datetime, list[Ruling]] = {}
    for finding in sorted((one for one in findings if one.unit_id == unit_id), key=lambda one: (one.at, one.code)):
        if finding.there != (finding.code in known):
            news.setdefault(finding.at, []).append(Ruling(finding.code, finding.there, finding.text[:LONGEST_TEXT]))
            (known.add if finding.there else known.discard)(finding.code)
    return news


def _known(unit_id: int) -> frozenset[str]:
    facts = UnitState.objects.across_fleets().values_list("facts", flat=True).get(unit_id=unit_id)
    return ruled_codes(facts.get(RULED, [None])[0])


LEARNED_FINDINGS = InternalHandler(id=LEARNED_TYPE, handle=handle_findings)


def register() -> None:
    internal_handlers.add(LEARNED_FINDINGS)
