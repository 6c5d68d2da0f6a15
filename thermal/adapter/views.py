"""The calculator, and the forecast of a trip hour by hour."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
from rest_framework.request import Request
from rest_framework.response import Response

from fleet.clock import db_now, text_of
from fleet.errors import WarmgateError
from fleet.http.views import CommandView
from fleet.readiness.selectors import facts_of, own_unit, trip_with_units, unit_with_state
from fleet.readiness.service import TripHasNoUnit
from fleet.trips.selectors import unit_of
from thermal import nominal
from thermal.adapter.ambient import ambient_hours
from thermal.adapter.estimates import estimate_document
from thermal.adapter.forecasts import Forecast, NotEnough, gather
from thermal.adapter.serializers import EstimateInput, EstimateOutput, TripForecastOutput


class ForecastUnavailable(WarmgateError):
    """The model cannot be asked about this trip: the detail says what is missing."""

    code = "no-forecast"


class EstimateView(CommandView):
    """The calculator: what the physics says from numbers alone. Stores nothing."""

    tag = "thermal"
    roles = {"POST": "any"}
    input_serializer = EstimateInput
    output_serializer = EstimateOutput
    problems = ("hazardous-load",)

    def post(self, request: Request) -> Response:
        return Response(estimate_document(self.fleet, self.read(request), now=db_now()))


class TripForecastView(CommandView):
    """The box hour by hour: air, edge and core of the load, heat, fuel, time to damage."""

    tag = "thermal"
    roles = {"GET": "any"}
    output_serializer = TripForecastOutput
    problems = ("no-unit", "no-forecast")
    query_parameters = {
        "unit": {"schema": {"type": "string"}, "description": "Ask for this unit instead of the trip's own."}
    }

    def get(self, request: Request, reference: str) -> Response:
        trip = trip_with_units(self.fleet.pk, reference)
        number = request.query_params.get("unit")
        unit = own_unit(trip) if number is None else unit_with_state(unit_of(self.fleet.pk, number).pk)
        if unit is None:
            raise TripHasNoUnit("The trip has no unit yet. Name one with ?unit=.")
        facts = facts_of(trip, unit)
        if not facts.trip.needs_heat:
            raise ForecastUnavailable("The load needs no heat.")
        now = db_now()
        result = gather([facts], now)[(facts.trip.id, facts.unit.id)]
        if isinstance(result, NotEnough):
            raise ForecastUnavailable(result.words)
        document = forecast_document(result, trip=reference, unit=unit.number, ambient_c=ambient_hours(facts.trip, now))
        return Response(document)


def forecast_document(forecast: Forecast, *, trip: str, unit: str, ambient_c: tuple[float, ...]) -> dict[str, Any]:
    inputs = forecast.inputs
    plan = nominal(inputs.unit, load=inputs.load, trip=inputs.trip, risk=inputs.risk)
    p10 = forecast.score.coldest_edge_p10_c
    load = inputs.load
    return {
        "trip": trip,
        "unit": unit,
        "starts_at": text_of(inputs.starts_at),
        "set_point_c": inputs.trip.set_point_c,
        "damage_c": load.damage_limit_c if load else None,
        "high_c": load.high_c if load else None,
        "coldest_edge_p10_c": None if p10 is None else round(p10, 2),
        "k_from": inputs.k_source,
        "hours": {
            "at": [text_of(inputs.starts_at + timedelta(hours=h)) for h in plan.hours.at_h.tolist()],
            "ambient_c": [round(value, 2) for value in ambient_c],
            "air_c": _numbers(plan.hours.air_c),
            "edge_c": _numbers(plan.hours.edge_c),
            "core_c": _numbers(plan.hours.core_c),
            "heat_kw": _numbers(plan.hours.heat_kw),
            "fuel_l": _numbers(plan.hours.fuel_l),
            "damage_after_h": _numbers(plan.damage_after_h),
        },
        "assumptions": [
            "The box starts at the set point at departure (preheated); under way it starts from the measured air.",
            "Nominal path: no forecast error, no failure; `coldest_edge_p10_c` is met in nine of ten worlds.",
        ],
        "version": forecast.score.version,
    }


def _numbers(values: Any) -> list[float | None]:
    if values is None:
        return []
    return [round(value, 2) if np.isfinite(value) else None for value in values.tolist()]
