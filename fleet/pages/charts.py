"""Charts on pages: the image for whoever is signed in, and beside it the same in words and in numbers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.urls import reverse

from fleet.charts.asked import image_answer
from fleet.charts.history import Stretch, history_picture
from fleet.charts.paper import Look, Paper, Size
from fleet.charts.picture import Picture
from fleet.charts.registry import FORECAST, trip_charts
from fleet.charts.table import Table, table_of
from fleet.errors import WarmgateError
from fleet.models import Trip, Unit
from fleet.models.members import Look as Wanted
from fleet.models.members import Scale, Volume
from fleet.pages.measures import measure
from fleet.pages.panels import Rendered
from fleet.pages.reader import Reader
from fleet.pages.views import PageView
from fleet.readiness.selectors import trip_with_units
from fleet.trips.selectors import unit_of

STRETCHES = {Stretch.DAY: "last 24 hours", Stretch.WEEK: "last 7 days"}


class ChartView(PageView):
    """One image in the reader's units, zone and colours; `?look=` and `?size=` are what the page's markup chooses."""

    def answered(self, request: HttpRequest, picture: Picture) -> HttpResponseBase:
        return image_answer(request, picture, paper_for(request, self.reader), form="svg")


def paper_for(request: HttpRequest, reader: Reader) -> Paper:
    """The reader's own paper, in the size and colours that the page's markup chose."""
    return Paper(
        size=Size.NARROW if request.GET.get("size") == Size.NARROW else Size.WIDE,
        look=Look.DARK if request.GET.get("look") == Look.DARK else Look.LIGHT,
        fahrenheit=reader.scale == Scale.FAHRENHEIT,
        gallons=reader.volume == Volume.GALLONS,
        zone=reader.zone if isinstance(reader.zone, ZoneInfo) else ZoneInfo("UTC"),
    )


class ForecastImage(ChartView):
    def get(self, request: HttpRequest, reference: str) -> HttpResponseBase:
        trip = trip_with_units(self.fleet.pk, reference)
        return self.answered(request, trip_charts[FORECAST].picture(trip, self.now))


class HistoryImage(ChartView):
    def get(self, request: HttpRequest, number: str) -> HttpResponseBase:
        unit = unit_of(self.fleet.pk, number)
        return self.answered(request, history_picture(unit, now=self.now, stretch=stretch_of(request)))


def stretch_of(request: HttpRequest) -> Stretch:
    return Stretch.WEEK if request.GET.get("stretch") == Stretch.WEEK else Stretch.DAY


def forecast_panel(request: HttpRequest, trip: Trip, now: datetime) -> Rendered | None:
    """The forecast of a trip; None where there is nothing to draw and nothing to say."""
    if trip.unit_id is None:
        return None
    try:
        picture = trip_charts[FORECAST].picture(trip_with_units(trip.fleet_id, trip.reference), now)
    except WarmgateError:
        return None
    return _rendered(request, picture, reverse("page-chart-trip", args=[trip.reference]))


def history_panel(request: HttpRequest, unit: Unit, now: datetime) -> Rendered | None:
    """What the unit has sent in the last day or week."""
    stretch = stretch_of(request)
    picture = history_picture(unit, now=now, stretch=stretch)
    address = f"{reverse('page-chart-unit', args=[unit.number])}?stretch={stretch}&"
    choices = [(key, words, key == stretch) for key, words in STRETCHES.items()]
    return _rendered(request, picture, address, stretches=choices)


def _rendered(request: HttpRequest, picture: Picture, address: str, **more: Any) -> Rendered:
    reader: Reader = request.reader  # type: ignore[attr-defined]
    return Rendered(
        "fleet/_chart.html",
        {
            "address": address if "?" in address else f"{address}?",
            "look": {Wanted.LIGHT: "light", Wanted.DARK: "dark"}.get(Wanted(reader.look), ""),
            "chart_title": picture.title,
            "chart_words": picture.words,
            "anything": picture.shows_anything,
            "numbers": numbers_of(table_of(picture), reader) if picture.shows_anything else None,
            **more,
        },
    )


@dataclass(frozen=True, slots=True)
class Numbers:
    """The chart as a table in the reader's units."""

    titles: list[str]
    rows: list[tuple[datetime, list[str]]]


def numbers_of(table: Table, reader: Reader) -> Numbers:
    columns = [column for column in table.columns if any(column.cells)]
    rows = [
        (datetime.fromtimestamp(at_s, UTC), [_cell(column.cells[i], column.unit, reader) for column in columns])
        for i, at_s in enumerate(table.at_s)
    ]
    return Numbers([column.title for column in columns], [row for row in rows if any(row[1])])


def _cell(values: tuple[float, ...], unit: str, reader: Reader) -> str:
    said = [measure(value, unit, reader) for value in values]
    return " to ".join(dict.fromkeys(said))
