"""Brings alarm rows in line with the stored reports of their faults: loads, folds, writes, tells.

A constant number of statements for a batch, however many faults it touches (reports are loaded 200 faults at a time).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import F, Q, Window
from django.db.models.functions import RowNumber

from alarms.codebooks.mapping import meanings_of
from alarms.folding import Cut, Episode, Report, fold
from alarms.models import Alarm, FaultEvent
from alarms.rules import Meaning
from alarms.services.publish import publish
from alarms.watchers import AlarmChange, tell_watchers
from fleet.records.audit import record_act

Identity = tuple[int, str, str]
"""(unit id, scheme, code): what makes two reports speak of the same fault."""

AT_A_TIME = 200
NEWEST = 3
"""Rows of a fault that are looked at when nothing arrived late."""
WITHDRAWN = (
    "Reports that arrived late show that the unit had not reported this fault after the record before it closed."
)
DERIVED_COLUMNS = ("raised_at", "returned_at", "last_event_at", "as_reported", "raise_count", "text", "occurrence")


@dataclass(slots=True)
class _Outcome:
    """What a refold does to rows."""

    created: list[Alarm] = field(default_factory=list)
    changed: list[Alarm] = field(default_factory=list)
    told: list[tuple[Alarm, AlarmChange]] = field(default_factory=list)


def refold(fleet_id: int, earliest: Mapping[Identity, datetime], *, now: datetime) -> set[int]:
    """Folds these faults again after reports of them were stored; *earliest* is the oldest new report of each.

    Writes rows, publishes the facts of units whose rows changed, tells the watchers, and returns those units. The
    units' states are locked by the caller.
    """
    if not earliest:
        return set()
    rows = _rows_of(fleet_id, earliest)
    since = {identity: _since(rows.get(identity, [])) for identity in earliest}
    late = {key: at for key, at in earliest.items() if since[key] is not None and at <= _newest_cut(rows[key])}
    if late:
        rows |= _rows_of(fleet_id, late, all_of_them=True)
        since |= dict.fromkeys(late, None)
    reports = _reports_of(fleet_id, since)
    outcome = _Outcome()
    opening: list[tuple[Identity, Episode]] = []
    for identity in sorted(earliest):
        own = rows.get(identity, [])
        whole = since[identity] is None
        known = own if whole else own[_base(own) :]
        episode = _settle(known, reports.get(identity, []), outcome, now, whole=whole)
        if episode is not None:
            opening.append((identity, episode))
    _open_new(fleet_id, opening, rows, outcome, now)
    return _write(outcome, now)


def _rows_of(
    fleet_id: int, identities: Mapping[Identity, datetime], *, all_of_them: bool = False
) -> dict[Identity, list[Alarm]]:
    """The records of these faults, oldest first: the newest few, or all."""
    found = Alarm.objects.for_fleet(fleet_id).filter(
        unit_id__in={unit_id for unit_id, _, _ in identities}, code__in={code for _, _, code in identities}
    )
    if not all_of_them:
        place = Window(RowNumber(), partition_by=[F("unit_id"), F("scheme"), F("code")], order_by=F("id").desc())
        found = found.annotate(place=place).filter(place__lte=NEWEST)
    rows: dict[Identity, list[Alarm]] = {}
    for alarm in sorted(found, key=lambda alarm: alarm.pk):
        identity = identity_of(alarm)
        if identity in identities:
            rows.setdefault(identity, []).append(alarm)
    return rows


def identity_of(row: Alarm | FaultEvent) -> Identity:
    return (row.unit_id, str(row.scheme), row.code)


def _base(rows: Sequence[Alarm]) -> int:
    """Place of the newest record that has a cut."""
    return max(index for index, row in enumerate(rows) if row.cut_at is not None)


def _newest_cut(rows: Sequence[Alarm]) -> datetime:
    cut_at = rows[_base(rows)].cut_at
    assert cut_at is not None
    return cut_at


def _since(rows: Sequence[Alarm]) -> datetime | None:
    """From when on reports are needed when none arrived late; None: all, because nothing was closed yet.

    What was still reported at the newest cut goes on after it, so that record's own reports are needed too.
    """
    if all(row.cut_at is None for row in rows):
        return None
    base = rows[_base(rows)]
    return base.raised_at if base.as_reported else base.cut_at


def _reports_of(fleet_id: int, since: Mapping[Identity, datetime | None]) -> dict[Identity, list[Report]]:
    reports: dict[Identity, list[Report]] = {}
    identities = sorted(since)
    for start in range(0, len(identities), AT_A_TIME):
        wanted = Q()
        for identity in identities[start : start + AT_A_TIME]:
            unit_id, scheme, code = identity
            at = since[identity]
            one = Q(unit_id=unit_id, scheme=scheme, code=code)
            wanted |= one if at is None else one & Q(at__gte=at)
        found = FaultEvent.objects.for_fleet(fleet_id).filter(wanted)
        columns = ("unit_id", "scheme", "code", "at", "source", "event_id", "state", "text", "occurrence")
        for unit_id, scheme, code, at, source, event_id, state, text, occurrence in found.values_list(*columns):
            report = Report(at, source, event_id, state == FaultEvent.State.RAISED, text, occurrence)
            reports.setdefault((unit_id, scheme, code), []).append(report)
    return reports


def _settle(
    rows: Sequence[Alarm], reports: Sequence[Report], outcome: _Outcome, now: datetime, *, whole: bool
) -> Episode | None:
    """Moves the known records of one fault; returns the episode that needs a new record, if there is one.

    *whole*: all reports are there, so closed records are counted again too. Otherwise nothing new belongs to them.
    """
    closed = [row for row in rows if row.cut_at is not None]
    cuts = [Cut(row.cut_at, carries=row.state != Alarm.State.VOIDED) for row in closed if row.cut_at is not None]
    *earlier, newest = fold(reports, cuts)
    for row, episode in zip(closed, earlier, strict=True):
        if whole and episode is not None and _take(row, episode):
            outcome.changed.append(row)
    last = rows[-1] if rows and rows[-1].cut_at is None else None
    if last is None:
        return newest
    _move_last(last, newest, outcome, now)
    return None


def _take(row: Alarm, episode: Episode) -> bool:
    """Copies the event-derived columns; says whether any changed."""
    changed = False
    for name in DERIVED_COLUMNS:
        value = getattr(episode, name)
        if getattr(row, name) != value:
            setattr(row, name, value)
            changed = True
    return changed


def _move_last(row: Alarm, episode: Episode | None, outcome: _Outcome, now: datetime) -> None:
    """Moves the record that has no cut: the open one, or one that was withdrawn."""
    was_open, was_reported = row.is_open, row.as_reported
    if episode is None:
        if was_open:
            row.state, row.voided_at, row.void_reason = Alarm.State.VOIDED, now, WITHDRAWN
            row.as_reported = False
            outcome.changed.append(row)
            outcome.told.append((row, AlarmChange.VOIDED))
        return
    changed = _take(row, episode)
    state = Alarm.State.ACTIVE if episode.as_reported else Alarm.State.RETURNED
    if row.state != state:
        row.state, row.voided_at, row.void_reason = state, None, ""
        changed = True
    if not changed:
        return
    outcome.changed.append(row)
    if not was_open:
        outcome.told.append((row, AlarmChange.OPENED))
    elif was_reported != episode.as_reported:
        outcome.told.append((row, AlarmChange.RAISED_AGAIN if episode.as_reported else AlarmChange.RETURNED))


def _open_new(
    fleet_id: int,
    opening: Sequence[tuple[Identity, Episode]],
    rows: Mapping[Identity, Sequence[Alarm]],
    outcome: _Outcome,
    now: datetime,
) -> None:
    meanings = meanings_of([identity for identity, _ in opening])
    for identity, episode in sorted(opening, key=lambda pair: (pair[1].raised_at, pair[0])):
        chain = rows.get(identity, [])
        alarm = _new_row(fleet_id, identity, episode, meanings[identity], now)
        if chain:
            alarm.previous, alarm.repeat = chain[-1], chain[-1].repeat + 1
        outcome.created.append(alarm)
        outcome.told.append((alarm, AlarmChange.OPENED))


def _new_row(fleet_id: int, identity: Identity, episode: Episode, meaning: Meaning, now: datetime) -> Alarm:
    unit_id, scheme, code = identity
    alarm = Alarm(
        fleet_id=fleet_id,
        unit_id=unit_id,
        scheme=scheme,
        code=code,
        state=Alarm.State.ACTIVE if episode.as_reported else Alarm.State.RETURNED,
        opened_at=now,
        tier=meaning.tier,
        component=meaning.component,
        meaning=meaning.meaning,
        what_to_do=meaning.what_to_do,
        mapping=meaning.mapping,
    )
    _take(alarm, episode)
    return alarm


def _write(outcome: _Outcome, now: datetime) -> set[int]:
    if outcome.created:
        Alarm.objects.bulk_create(outcome.created)
    if outcome.changed:
        columns = [*DERIVED_COLUMNS, "state", "voided_at", "void_reason"]
        Alarm.objects.across_fleets().bulk_update(outcome.changed, columns)
    units = {alarm.unit_id for alarm in [*outcome.created, *outcome.changed]}
    publish(units, now=now)
    for alarm, change in outcome.told:
        if change is AlarmChange.VOIDED:
            record_act(None, act="alarm.withdrawn", subject=alarm, at=now, content={"reason": WITHDRAWN})
        tell_watchers(alarm, change, now=now)
    return units
