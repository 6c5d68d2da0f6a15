"""What stands on the departures page: trips of two days with their newest stored answers; five statements at most,
however many trips there are."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from itertools import groupby
from typing import Any

from django.db.models import F, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from fleet.models import Assessment, Fleet, Hold, Trip
from fleet.pages.answers import first_reason
from fleet.pages.reader import Reader
from fleet.readiness.standing import is_covered
from fleet.trips.selectors import commodities_by_key

MOST = 200
"""So many trips one page shows; it says so where there are more."""
WORST = ("blocked", "unknown", "conditional", "ready")
DAYS = {"today": 1, "tomorrow": 1, "both": 2}


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the reader asked to see."""

    day: str = "both"
    verdict: str = ""
    held: bool = False
    text: str = ""


@dataclass(frozen=True, slots=True)
class Slip:
    """One trip on the page."""

    trip: Trip
    unit: str | None
    place: str
    goods: str
    verdict: str | None
    score: float | None
    reason: Mapping[str, Any] | None
    answered_at: datetime | None
    renewing: bool
    """Time has made the answer stale; the service is about to look again."""
    holds: int
    released: bool


@dataclass(frozen=True, slots=True)
class Board:
    """The page's rows by day, and how much was left out."""

    days: list[tuple[str, datetime, list[Slip]]]
    under_way: list[Slip]
    shown: int
    planned: int
    tally: list[tuple[str, int]]
    """How many planned departures have which answer, the worst first."""
    more: bool


@dataclass(frozen=True, slots=True)
class Standings:
    """Trips with what was last answered about them; the answers' documents are read only if a page is made."""

    trips: list[Any]
    answers: dict[int, Assessment]
    holds: dict[int, list[Hold]]
    more: bool


def window(wanted: Wanted, reader: Reader) -> tuple[datetime, datetime]:
    """From when to when a trip has to depart, by the reader's midnight."""
    midnight = reader.local(reader.now).replace(hour=0, minute=0, second=0, microsecond=0)
    first = midnight + timedelta(days=1) if wanted.day == "tomorrow" else midnight
    return first, first + timedelta(days=DAYS[wanted.day])


def standings(fleet: Fleet, wanted: Wanted, reader: Reader) -> Standings:
    """Three statements: trips, their newest answers without the documents, their holds."""
    rows = list(_trips(fleet, wanted, reader)[: MOST + 1])
    trips, more = rows[:MOST], len(rows) > MOST
    ids = [trip.answer_id for trip in trips if trip.answer_id is not None]
    answers = Assessment.objects.for_fleet(fleet).filter(pk__in=ids).defer("document")
    live = (Hold.State.OPEN, Hold.State.RELEASED)
    holds = Hold.objects.for_fleet(fleet).filter(trip_id__in=[trip.pk for trip in trips], state__in=live)
    by_trip: dict[int, list[Hold]] = {}
    for hold in holds.order_by("pk"):
        by_trip.setdefault(hold.trip_id, []).append(hold)
    return Standings(trips, {answer.pk: answer for answer in answers}, by_trip, more)


def _trips(fleet: Fleet, wanted: Wanted, reader: Reader) -> QuerySet[Any]:
    """Planned trips that leave in the window, those overdue, and those under way."""
    first, last = window(wanted, reader)
    planned = Q(state=Trip.State.PLANNED, depart_at__lt=last)
    if wanted.day == "tomorrow":
        planned &= Q(depart_at__gte=first)
    shown = planned if wanted.day == "tomorrow" else planned | Q(state=Trip.State.UNDER_WAY)
    own = Coalesce(OuterRef("assigned_unit"), OuterRef("planned_unit"))
    newest = Assessment.objects.for_fleet(fleet).filter(trip=OuterRef("pk"), unit=own).order_by("-pk").values("pk")
    rows: Any = Trip.objects.for_fleet(fleet).filter(shown)
    if wanted.text:
        text = wanted.text
        rows = rows.filter(
            Q(reference__icontains=text)
            | Q(assigned_unit__number__icontains=text)
            | Q(assigned_unit__isnull=True, planned_unit__number__icontains=text)
        )
    return (
        rows.defer("ambient")
        .annotate(
            answer_id=Subquery(newest[:1]), unit_number=Coalesce(F("assigned_unit__number"), F("planned_unit__number"))
        )
        .order_by("depart_at", "pk")
    )


def tag_of(standing: Standings, *parts: Any) -> str:
    """An entity tag that moves when anything on the page would: rows, holds, and the minute that is counted down."""
    seen: list[Any] = [*parts, standing.more]
    for trip in standing.trips:
        answer = standing.answers.get(trip.answer_id)
        seen.append((trip.pk, trip.version, trip.revision, trip.state, answer and (answer.pk, answer.valid_until)))
        seen += [(hold.pk, hold.state, hold.changed_at) for hold in standing.holds.get(trip.pk, ())]
    return f'"{sha256(repr(seen).encode()).hexdigest()[:24]}"'


def board(standing: Standings, wanted: Wanted, reader: Reader, fleet: Fleet) -> Board:
    """The page's rows: two more statements, for the documents of the answers and the names of the goods."""
    documents = dict(
        Assessment.objects.for_fleet(fleet).filter(pk__in=list(standing.answers)).values_list("pk", "document")
    )
    goods = goods_of(fleet, standing.trips)
    every = [_slip(trip, standing, documents, goods, reader) for trip in standing.trips]
    slips = [slip for slip in every if _fits(slip, wanted)]
    planned = [slip for slip in slips if slip.trip.state == Trip.State.PLANNED]
    under_way = [slip for slip in slips if slip.trip.state == Trip.State.UNDER_WAY]
    counts = Counter(slip.verdict for slip in planned)
    tally = [(verdict, counts[verdict]) for verdict in WORST if counts[verdict]]
    return Board(_by_day(planned, reader), under_way, len(slips), len(planned), tally, standing.more)


def _slip(
    trip: Any, standing: Standings, documents: Mapping[int, Any], goods: Mapping[int, str], reader: Reader
) -> Slip:
    answer = standing.answers.get(trip.answer_id)
    document = documents.get(trip.answer_id) or {}
    holds = standing.holds.get(trip.pk, [])
    return Slip(
        trip=trip,
        unit=trip.unit_number,
        place=trip.stops[-1]["place"] if trip.stops else "",
        goods=goods[trip.pk],
        verdict=answer.verdict if answer else None,
        score=answer.score if answer else None,
        reason=first_reason(document.get("findings", ())),
        answered_at=answer.computed_at if answer else None,
        renewing=answer is not None and answer.valid_until <= reader.now,
        holds=sum(hold.state == Hold.State.OPEN for hold in holds),
        released=is_covered(
            document.get("cause_keys", ()),
            [hold for hold in holds if answer and hold.unit_id == answer.unit_id],
            now=reader.now,
        ),
    )


def goods_of(fleet: Fleet, trips: Iterable[Trip]) -> dict[int, str]:
    """What each trip carries, by the names of the commodities; one statement."""
    listed = list(trips)
    names = commodities_by_key(fleet.pk, {load["commodity"] for trip in listed for load in trip.loads})
    return {
        trip.pk: ", ".join(
            names[key].name if key in names else key for key in (load["commodity"] for load in trip.loads)
        )
        or "dry goods"
        for trip in listed
    }


def _fits(slip: Slip, wanted: Wanted) -> bool:
    return (not wanted.verdict or slip.verdict == wanted.verdict) and (not wanted.held or slip.holds > 0)


def _by_day(slips: Iterable[Slip], reader: Reader) -> list[tuple[str, datetime, list[Slip]]]:
    today = reader.local(reader.now).date()
    names = {today: "Today", today + timedelta(days=1): "Tomorrow"}

    def day(slip: Slip) -> Any:
        return max(reader.local(slip.trip.depart_at).date(), today - timedelta(days=1))

    found = []
    for date, rows in groupby(slips, key=day):
        listed = list(rows)
        found.append((names.get(date, "Overdue from earlier days"), listed[0].trip.depart_at, listed))
    return found
