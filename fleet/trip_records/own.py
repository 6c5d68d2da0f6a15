"""Fleet's own sections: the load and its range, the set point, temperatures, excursions, gaps, acts."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import numpy as np

from fleet.charts.thin import gap_s, gaps
from fleet.clock import text_of
from fleet.models import AuditEntry, Hold
from fleet.readiness.facts import TripFacts
from fleet.trip_records.excursions import Excursion, excursions
from fleet.trip_records.sections import Content, Grid, Scope, Section, length, moment, number, sections

JUDGED = (("cargo_c", "cargo"), ("return_air_c", "return air"))
"""The load's own sensor, and the air that comes back from it. Discharge air is hotter by its nature and not judged."""
MOST_EXCURSIONS = 200


def register() -> None:
    sections.add(Section("fleet.load", 10, "Load and agreed range", load))
    sections.add(Section("fleet.set_point", 20, "Set point as the unit reported it", set_point))
    sections.add(Section("fleet.excursions", 30, "Outside the agreed range", outside))
    sections.add(Section("fleet.gaps", 36, "Times without readings", silences))
    sections.add(Section("fleet.temperatures", 50, "Temperatures, hour by hour", temperatures))
    sections.add(Section("fleet.acts", 60, "Departure, arrival and what people did", acts))


def load(scope: Scope) -> Content:
    trip = TripFacts.from_row(scope.trip)
    data = {
        "loads": scope.trip.loads,
        "low_c": trip.low_c,
        "high_c": trip.high_c,
        "damage_c": trip.damage_c,
        "set_point_c": trip.set_point_c,
        "loading_at": text_of(scope.trip.loading_at),
        "depart_at": text_of(scope.trip.depart_at),
        "departed_at": _text(scope.trip.departed_at),
        "delivered_at": _text(scope.trip.delivered_at),
        "stops": scope.trip.stops,
    }
    rows = [
        (one.commodity, f"{one.mass_kg:.0f}", number(one.temperature_c), number(one.set_point_c),
         f"{number(one.low_c)} to {number(one.high_c)}", number(one.damage_c))
        for one in trip.loads
    ]  # fmt: skip
    head = ("commodity", "mass [kg]", "declared [°C]", "set point [°C]", "agreed range [°C]", "damage below [°C]")
    places = [
        (stop.place, moment(stop.arrive_at), moment(stop.leave_at), f"{stop.door_open_min:.0f}")
        for stop in trip.stops
    ]  # fmt: skip
    stops = Grid(("place, as planned", "arrives", "leaves", "doors open [min]"), tuple(places))
    grids = (Grid(head, tuple(rows)), stops) if rows else (stops,)
    lines = (
        f"Loading {moment(scope.trip.loading_at)}; planned departure {moment(scope.trip.depart_at)}; left "
        f"{moment(scope.trip.departed_at)}; delivered {moment(scope.trip.delivered_at)}.",
        *(() if rows else ("Dry goods: no range was agreed.",)),
    )
    return Content(data, lines, grids)


def set_point(scope: Scope) -> Content:
    """Each value that the unit reported, from when on: how the record shows that the set point was really taken."""
    at_s, values = scope.measured.series("set_point_c")
    first = np.flatnonzero(np.diff(values, prepend=np.nan) != 0)
    wanted = TripFacts.from_row(scope.trip).set_point_c
    taken = [{"from": _at(at_s[i]), "set_point_c": float(values[i])} for i in first]
    rows = tuple((_said(at_s[i]), number(float(values[i])), _agrees(float(values[i]), wanted)) for i in first)
    lines = (f"The trip asks for {number(wanted)} °C.",) if wanted is not None else ()
    if not rows:
        return Content({"asked_c": wanted, "reported": []}, (*lines, "The unit never reported its set point."))
    grid = Grid(("reported from", "set point [°C]", "against the trip"), rows)
    return Content({"asked_c": wanted, "reported": taken}, lines, (grid,))


def _agrees(value: float, wanted: float | None) -> str:
    if wanted is None:
        return ""
    return "as asked" if abs(value - wanted) < 0.05 else f"{value - wanted:+.1f} K"


def temperatures(scope: Scope) -> Content:
    """Lowest and highest of each hour that has readings."""
    at_s = scope.measured.at_s
    hours = np.unique(np.floor(at_s / 3600.0)) * 3600.0
    data, rows = [], []
    for start in hours.tolist():
        inside = (at_s >= start) & (at_s < start + 3600.0)
        entry: dict[str, Any] = {"from": _at(start), "readings": int(inside.sum())}
        cells = [_said(start), str(int(inside.sum()))]
        for name in ("cargo_c", "return_air_c", "ambient_c", "fuel_l"):
            known = scope.measured.fields[name][inside]
            known = known[np.isfinite(known)]
            pair = (float(known.min()), float(known.max())) if len(known) else None
            entry[name] = None if pair is None else {"low": round(pair[0], 2), "high": round(pair[1], 2)}
            cells.append("–" if pair is None else f"{pair[0]:.1f} to {pair[1]:.1f}")
        data.append(entry)
        rows.append(tuple(cells))
    head = ("hour from", "readings", "cargo [°C]", "return air [°C]", "outside [°C]", "fuel [L]")
    lines = () if rows else ("No readings in this time.",)
    return Content(data, lines, (Grid(head, tuple(rows), (1.6, 0.7, 1, 1, 1, 1)),) if rows else ())


def outside(scope: Scope) -> Content:
    """Every stay outside the agreed range and beyond the damage limit, of the load's sensor and of the air."""
    trip = TripFacts.from_row(scope.trip)
    if trip.low_c is None and trip.high_c is None and trip.damage_c is None:
        return Content({"judged": False, "excursions": []}, ("No range was agreed: nothing to judge.",))
    found: list[tuple[str, str, Excursion]] = []
    unmeasured = []
    for name, words in JUDGED:
        at_s, values = scope.measured.series(name)
        if not len(at_s):
            unmeasured.append(words)
            continue
        longer_s = gap_s(at_s)
        for kind, low, high in (("range", trip.low_c, trip.high_c), ("damage", trip.damage_c, None)):
            stays = excursions(at_s, values, low_c=low, high_c=high, longer_s=longer_s)
            found += [(words, kind, one) for one in stays]
    found.sort(key=lambda entry: (entry[2].from_s, entry[0], entry[1]))
    lines = [f"Not measured: {', '.join(unmeasured)}."] if unmeasured else []
    if not found:
        lines.append("Nothing that was measured left its range.")
    if len(found) > MOST_EXCURSIONS:
        lines.append(f"The first {MOST_EXCURSIONS} of {len(found)} are printed; the data hold all of them.")
    rows = tuple(_row(*entry) for entry in found[:MOST_EXCURSIONS])
    head = ("what", "limit", "from", "length", "extreme", "ended")
    grids = (Grid(head, rows, (1, 1.4, 1.4, 0.9, 1.6, 1.2)),) if rows else ()
    data = {"judged": True, "not_measured": unmeasured, "excursions": [_entry(*entry) for entry in found]}
    return Content(data, tuple(lines), grids)


def _row(words: str, kind: str, one: Excursion) -> tuple[str, ...]:
    limit = f"{one.side} {one.limit_c:.1f} °C ({'damage' if kind == 'damage' else 'agreed range'})"
    ended = "back in range" if one.returned else "readings ended or fell silent"
    extreme = f"{one.extreme_c:.1f} °C at {_said(one.extreme_s)}"
    return words, limit, _said(one.from_s), length(one.length_s), extreme, ended


def _entry(words: str, kind: str, one: Excursion) -> dict[str, Any]:
    return {
        "what": words,
        "limit": kind,
        "side": one.side,
        "limit_c": one.limit_c,
        "from": _at(one.from_s),
        "until": _at(one.until_s),
        "length_min": round(one.length_s / 60, 1),
        "extreme_c": round(one.extreme_c, 2),
        "extreme_at": _at(one.extreme_s),
        "returned": one.returned,
    }


def silences(scope: Scope) -> Content:
    """What the record does not cover: spans without a reading that are longer than three usual steps."""
    at_s = scope.measured.at_s
    longer_s = gap_s(at_s)
    found = gaps(at_s, since_s=scope.since.timestamp(), until_s=scope.until.timestamp(), longer_s=longer_s)
    total_s = sum(until - since for since, until in found)
    span_s = (scope.until - scope.since).total_seconds()
    data = {
        "longer_than_min": round(longer_s / 60, 1),
        "covered_share": round(max(1 - total_s / span_s, 0.0), 4) if span_s else 0.0,
        "gaps": [
            {"from": _at(since), "until": _at(until), "length_min": round((until - since) / 60, 1)}
            for since, until in found
        ],
    }
    if not found:
        return Content(data, (f"No silence longer than {length(longer_s)}.",))
    rows = tuple((_said(since), _said(until), length(until - since)) for since, until in found)
    lines = (f"Silent for {length(total_s)} of {length(span_s)}; nothing is known of what happened then.",)
    return Content(data, lines, (Grid(("from", "until", "length"), rows),))


def acts(scope: Scope) -> Content:
    """Entries of the audit chain about the trip and its holds."""
    rows = AuditEntry.objects.for_fleet(scope.trip.fleet_id)
    holds = Hold.objects.for_fleet(scope.trip.fleet_id).filter(trip=scope.trip).values_list("pk", flat=True)
    of_trip = rows.filter(object_type="trip", object_id=str(scope.trip.pk))
    of_holds = rows.filter(object_type="hold", object_id__in=[str(pk) for pk in holds])
    found = list((of_trip | of_holds).order_by("id"))
    data = [entry_data(entry) for entry in found]
    return Content(data, (), (Grid(ACTS_HEAD, tuple(entry_row(entry) for entry in found), ACTS_SHARES),))


ACTS_HEAD = ("when", "act", "by", "why", "place in the audit chain")
ACTS_SHARES = (1.3, 1.1, 1.2, 1.6, 2.2)


def entry_data(entry: AuditEntry) -> dict[str, Any]:
    """One audit entry with its place in the chain."""
    return {
        "at": text_of(entry.at),
        "act": entry.act,
        "by": entry.actor_name,
        "object": f"{entry.object_type} {entry.object_id}",
        "content": entry.content,
        "seq": entry.seq,
        "hash": entry.hash,
    }


def entry_row(entry: AuditEntry) -> tuple[str, ...]:
    sealed = f"{entry.seq}: {entry.hash}" if entry.seq is not None else "not sealed yet"
    return moment(entry.at), entry.act, entry.actor_name, str(entry.content.get("reason") or ""), sealed


def _at(at_s: float) -> str:
    return text_of(datetime.fromtimestamp(float(at_s), tz=UTC))


def _said(at_s: float) -> str:
    return moment(datetime.fromtimestamp(float(at_s), tz=UTC))


def _text(at: datetime | None) -> str | None:
    return None if at is None else text_of(at)
