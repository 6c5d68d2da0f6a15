"""What can this box carry at −30 °C, and for how long if the heat stops? A page over the calculator; stores nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse

from fleet.charts.asked import image_answer
from fleet.errors import InvalidInput
from fleet.models.members import Look
from fleet.pages.charts import paper_for
from fleet.pages.views import PageView
from thermal.adapter.estimates import estimate_document, request_for
from thermal.adapter.pages.answer import picture_of, sentences
from thermal.adapter.pages.inputs import FIELDS, START_GOODS, body_of, preset_links, read, shown, sign, units_of
from thermal.commodities import all_commodities


@dataclass(frozen=True, slots=True)
class Shown:
    """One field as the form shows it, in the reader's units."""

    name: str
    label: str
    sign: str
    low: str
    high: str
    step: str
    value: str
    wrong: str


class CalculatorView(PageView):
    template = "thermal/calculator.html"
    section = "thermal.calculator"

    def get(self, request: HttpRequest) -> HttpResponse:
        values, wrong = read(request.GET.dict())
        goods = request.GET.get("goods", START_GOODS)
        context: dict[str, Any] = {
            "fields": self._fields(values, wrong),
            "units": units_of(self.reader),
            "goods": goods,
            "goods_known": [(known.key, known.name) for known in all_commodities() if not known.no_heat_needed],
            "presets": preset_links(),
            "wrong": wrong,
            "look": {Look.LIGHT: "light", Look.DARK: "dark"}.get(Look(self.reader.look), ""),
        }
        if not wrong:
            try:
                context |= self._answer(body_of(values, goods), request)
            except InvalidInput as error:
                context["refused"] = "; ".join(one.detail for one in error.errors) or str(error)
        return self.page(context, template="thermal/_answer.html" if self.partial else "")

    def _fields(self, values: dict[str, float], wrong: dict[str, str]) -> list[Shown]:
        units = units_of(self.reader)

        def said(value: float, unit: str) -> str:
            return f"{round(shown(value, unit, units), 2):g}"

        return [
            Shown(
                field.name, field.label, sign(field.unit, units), said(field.low, field.unit),
                said(field.high, field.unit), f"{field.step:g}", self.request.GET.get(field.name, "")
                if field.name in wrong else said(values[field.name], field.unit), wrong.get(field.name, ""),
            )
            for field in FIELDS
        ]  # fmt: skip

    def _answer(self, body: dict[str, Any], request: HttpRequest) -> dict[str, Any]:
        document = estimate_document(self.fleet, body, now=self.now)
        asked = request_for(self.fleet, body, now=self.now)
        hours = document["hours"]
        step = max(asked.trip.hours // 24, 1)
        rows = list(
            zip(hours["at_h"], hours["air_c"], hours["edge_c"], hours["core_c"], hours["heat_kw"], hours["fuel_l"],
                document["damage_after_h"], strict=True)
        )[::step]  # fmt: skip
        return {
            "said": list(sentences(document, asked)),
            "cautions": document["cautions"],
            "assumed": document["defaults_used"],
            "rows": rows,
            "address": f"{reverse('page-calculator-chart')}?{request.GET.urlencode()}&",
        }


class CalculatorChart(PageView):
    """The picture of the same query. A query that asks for nothing sensible is 400."""

    def get(self, request: HttpRequest) -> HttpResponseBase:
        values, wrong = read(request.GET.dict())
        if wrong:
            raise InvalidInput(" ".join(wrong.values()))
        body = body_of(values, request.GET.get("goods", START_GOODS))
        picture = picture_of(request_for(self.fleet, body, now=self.now))
        return image_answer(request, picture, paper_for(request, self.reader), form="svg")
