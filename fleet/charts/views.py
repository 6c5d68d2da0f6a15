"""Charts over the API: a trip's forecast and a unit's history, as SVG or PNG."""

from __future__ import annotations

from typing import Any, ClassVar

from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from fleet.charts.asked import PARAMETERS, asked, image_answer, paper_of
from fleet.charts.history import Stretch, history_picture
from fleet.charts.picture import Picture
from fleet.charts.registry import FORECAST, trip_charts
from fleet.clock import db_now
from fleet.http.renderers import OrjsonRenderer
from fleet.http.views import CommandView
from fleet.readiness.selectors import trip_with_units
from fleet.trips.selectors import unit_of

STRETCH = {
    "stretch": {
        "schema": {"type": "string", "enum": list(Stretch), "default": Stretch.DAY},
        "description": "How far back.",
    }
}


class SvgRenderer(OrjsonRenderer):
    """Lets a caller accept SVG; the image itself goes past the renderer, problems are JSON."""

    media_type = "image/svg+xml"
    format = "svg"


class PngRenderer(OrjsonRenderer):
    media_type = "image/png"
    format = "png"


class ChartView(CommandView):
    """One picture, drawn in one form."""

    tag = "charts"
    roles = {"GET": "any"}
    gives_etag = True
    form: ClassVar[str]

    def answer_picture(self, request: Request, picture: Picture) -> HttpResponseBase:
        paper = paper_of(request, default_zone=self.fleet.time_zone)
        return image_answer(request._request, picture, paper, form=self.form)


class ForecastChart(ChartView):
    """What the model expects of a trip with the band of its worlds, and over it what was measured."""

    query_parameters = PARAMETERS
    problems = ("no-unit",)

    def picture(self, reference: str) -> Picture:
        trip = trip_with_units(self.fleet.pk, reference)
        return trip_charts[FORECAST].picture(trip, db_now())


class HistoryChart(ChartView):
    """A unit's last day or week: temperatures, set point, share of the time its heater ran, fuel, doors and alarms."""

    query_parameters = PARAMETERS | STRETCH

    def picture(self, number: str) -> Picture:
        stretch = Stretch(asked(self.request, "stretch", STRETCH))
        return history_picture(unit_of(self.fleet.pk, number), now=db_now(), stretch=stretch)


def _image(media_type: str) -> dict[Any, Any]:
    return {(200, media_type): OpenApiTypes.BINARY}


class ForecastSvg(ForecastChart):
    form = "svg"
    renderer_classes = (OrjsonRenderer, SvgRenderer)

    @extend_schema(responses=_image("image/svg+xml"))
    def get(self, request: Request, reference: str) -> HttpResponseBase:
        return self.answer_picture(request, self.picture(reference))


class ForecastPng(ForecastChart):
    form = "png"
    renderer_classes = (OrjsonRenderer, PngRenderer)

    @extend_schema(responses=_image("image/png"))
    def get(self, request: Request, reference: str) -> HttpResponseBase:
        return self.answer_picture(request, self.picture(reference))


class HistorySvg(HistoryChart):
    form = "svg"
    renderer_classes = (OrjsonRenderer, SvgRenderer)

    @extend_schema(responses=_image("image/svg+xml"))
    def get(self, request: Request, number: str) -> HttpResponseBase:
        return self.answer_picture(request, self.picture(number))


class HistoryPng(HistoryChart):
    form = "png"
    renderer_classes = (OrjsonRenderer, PngRenderer)

    @extend_schema(responses=_image("image/png"))
    def get(self, request: Request, number: str) -> HttpResponseBase:
        return self.answer_picture(request, self.picture(number))
