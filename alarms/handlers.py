"""The app's contributions to fleet: it handles fault events and is told of every answer that is stored."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Annotated, Literal

import msgspec

from alarms.j1939 import OCCURRENCES_UNKNOWN
from alarms.models import FaultEvent, Scheme
from alarms.rules import pair_code
from alarms.services.assessing import assessed
from alarms.services.reports import store_reports
from fleet.events import EventHandler, Handled, Refused, UnitEvent, handlers
from fleet.holds import HoldChange, HoldListener, listeners
from fleet.models import Hold

FAULT_TYPE = "unit.fault.v1"
OWN_PREFIX = "warmgate/"

_CODE = r"^[^\x00-\x20\x7f]([^\x00-\x1f\x7f]*[^\x00-\x20\x7f])?\Z"
"""No control characters, no blanks at the ends: two spellings of one code would be two faults."""
Code = Annotated[str, msgspec.Meta(min_length=1, max_length=64, pattern=_CODE)]
Text = Annotated[str, msgspec.Meta(max_length=300, pattern=r"^[^\x00-\x08\x0b\x0c\x0e-\x1f]*$")]


class FaultData(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What a fault event says: raised or cleared, and which fault, by a code or by an open J1939 pair."""

    state: Literal["raised", "cleared"]
    code: Code | None = None
    spn: Annotated[int, msgspec.Meta(ge=0, le=2**19 - 1)] | None = None
    fmi: Annotated[int, msgspec.Meta(ge=0, le=31)] | None = None
    text: Text | None = None
    occurrence: Annotated[int, msgspec.Meta(ge=0, le=OCCURRENCES_UNKNOWN)] | None = None

    def __post_init__(self) -> None:
        if (self.spn is None) != (self.fmi is None):
            raise ValueError("spn and fmi go together")
        if (self.code is None) == (self.spn is None):
            raise ValueError("give either code or spn and fmi")


def handle_faults(fleet_id: int, events: Sequence[UnitEvent], now: datetime) -> Handled:
    """Stores fault events and moves the alarms they speak of."""
    refused = [_reserved(event) for event in events if event.source.startswith(OWN_PREFIX)]
    taken = [event for event in events if not event.source.startswith(OWN_PREFIX)]
    stored = store_reports(fleet_id, [_report(event) for event in taken], now=now)
    refused += [_contradiction(taken[place]) for place in sorted(stored.contradictions)]
    return Handled(
        duplicates=frozenset(taken[place].index for place in stored.repeats),
        refused=tuple(refused),
    )


def _report(event: UnitEvent) -> FaultEvent:
    data: FaultData = event.data
    return FaultEvent(
        unit_id=event.unit_id,
        source=event.source,
        event_id=event.id,
        at=event.at,
        scheme=Scheme.BOOK if data.spn is None else Scheme.J1939,
        code=code_of(data),
        state=data.state,
        text=data.text or "",
        occurrence=None if data.occurrence == OCCURRENCES_UNKNOWN else data.occurrence,
    )


def code_of(data: FaultData) -> str:
    """The code a fault is known by within its scheme."""
    if data.spn is not None and data.fmi is not None:
        return pair_code(data.spn, data.fmi)
    return data.code or ""


def _contradiction(event: UnitEvent) -> Refused:
    detail = "An event of this source and id is stored with other content. Give every event its own id."
    return Refused(event.index, "contradiction", detail, "/data")


def _reserved(event: UnitEvent) -> Refused:
    return Refused(event.index, "reserved-source", f"Sources under {OWN_PREFIX} are the service's own.", "/source")


def _told(hold: Hold, change: HoldChange, now: datetime) -> None:
    """Alarm records do not depend on holds; who must be told of a hold is the notices' concern."""


def _missed(now: datetime) -> int:
    """Nothing can be missed: each answer that is stored looks at the unit's alarms as a whole again."""
    return 0


FAULTS = EventHandler(id=FAULT_TYPE, schema=FaultData, handle=handle_faults)
RECORDS = HoldListener(id="alarms.records", told=_told, missed=_missed, assessed=assessed)


def register() -> None:
    """Puts the contributions into fleet's registries."""
    handlers.add(FAULTS)
    listeners.add(RECORDS)
