"""The calculator: everything the physics can say from numbers alone, under the names of the public answer."""

from dataclasses import dataclass

import numpy as np

from thermal.chance import Score, assess
from thermal.nominal import Nominal, nominal
from thermal.ranges import Array
from thermal.request import EstimateRequest, defaults_used, request_of
from thermal.version import VERSION
from thermal.warmup import WarmUp, warm_up

__all__ = ["Estimate", "EstimateRequest", "HourlyEstimate", "defaults_used", "estimate", "request_of"]

Numbers = list[float | None]

ADVICE = (
    "An estimate, not a certificate: a person inspects; local codes, the carrier's rules and the maker's manual "
    "stand above it.",
    "One zone: a carton in the coldest corner can be colder than the edge given here.",
    "Not covered: sun, a delayed arrival, a partition, air leaks beyond the moving factor.",
)


@dataclass(frozen=True, slots=True)
class HourlyEstimate:
    """The nominal path at whole hours; degC, heat kW (mean of the hour that begins there), fuel burnt L."""

    at_h: list[int]
    air_c: Numbers
    edge_c: Numbers
    core_c: Numbers
    heat_kw: Numbers
    fuel_l: Numbers


@dataclass(frozen=True, slots=True)
class Estimate:
    """The answer of the calculator, field for field; `dataclasses.asdict` gives the JSON object."""

    score: float
    score_se: float
    causes: dict[str, float]
    coldest_edge_c: float | None
    coldest_edge_h: float | None
    warmest_c: float | None
    fuel_l: float
    fuel_out_h: float | None
    engine_h: float
    warm_up_empty_h: float | None
    warm_up_loaded_h: float | None
    equilibrium_c: float | None
    capacity_ratio: float | None
    capacity_worst_h: float | None
    heat_needed_kw: float
    heat_available_kw: float
    damage_after_h: Numbers
    plateau_h: Numbers
    hours: HourlyEstimate
    defaults_used: list[str]
    cautions: list[str]
    version: str


def estimate(request: EstimateRequest) -> Estimate:
    """Return the full answer for a request; see `thermal.request.request_of` for how to make one.

    Notes
    -----
    Warm-up: the box soaked at the first ambient, which is then held; the load at its own temperature; moving
    factor on; fuel without limit. Time to damage ignores fuel. The reserve plays no part in the score.
    """
    plan = nominal(request.unit, load=request.load, trip=request.trip, risk=request.risk)
    score = assess(request.unit, load=request.load, trip=request.trip, risk=request.risk)
    warming = warm_up(
        request.unit,
        load=request.load,
        set_point_c=request.trip.set_point_c,
        soak_c=request.trip.ambient_c[0],
    )
    shown, causes = _points(score)
    return Estimate(
        score=shown,
        score_se=round(score.se, 3),
        causes=causes,
        coldest_edge_c=_two(plan.coldest_edge_c),
        coldest_edge_h=_two(plan.coldest_edge_h),
        warmest_c=_two(plan.warmest_c),
        fuel_l=round(plan.fuel_l, 2),
        fuel_out_h=_two(plan.fuel_out_h),
        engine_h=round(plan.engine_h, 2),
        warm_up_empty_h=_two(warming.empty_h),
        warm_up_loaded_h=_two(warming.loaded_h),
        equilibrium_c=_two(warming.equilibrium_c),
        capacity_ratio=_two(plan.capacity.ratio),
        capacity_worst_h=plan.capacity.worst_h,
        heat_needed_kw=round(plan.capacity.needed_kw, 3),
        heat_available_kw=round(plan.capacity.available_kw, 3),
        damage_after_h=_list(plan.damage_after_h),
        plateau_h=_list(plan.plateau_h),
        hours=_hours(plan),
        defaults_used=list(defaults_used(request.given)),
        cautions=[*_cautions(request, plan, warming), *ADVICE],
        version=VERSION,
    )


def _points(score: Score) -> tuple[float, dict[str, float]]:
    """Return score and causes in hundredths of a point that still add up to 100: largest remainders get the rest."""
    lost = round(10000 - 100 * score.score)
    raw = {name: 100 * getattr(score.causes, name) for name in ("cold", "hot", "fuel", "breakdown")}
    whole = {name: int(value) for name, value in raw.items()}
    order = sorted(raw, key=lambda name: (whole[name] - raw[name], name))
    for name in order[: max(lost - sum(whole.values()), 0)]:
        whole[name] += 1
    return (10000 - lost) / 100, {name: value / 100 for name, value in whole.items()}


def _two(value: float | None) -> float | None:
    return None if value is None else round(value, 2)


def _list(values: Array) -> Numbers:
    """Return a list rounded to hundredths with None where a value is infinite: it does not happen before arrival."""
    return [round(v, 2) if np.isfinite(v) else None for v in values.tolist()]


def _hours(plan: Nominal) -> HourlyEstimate:
    hours = plan.hours
    nothing: Numbers = [None] * len(hours.at_h)
    return HourlyEstimate(
        at_h=[int(h) for h in hours.at_h],
        air_c=_list(hours.air_c),
        edge_c=nothing if hours.edge_c is None else _list(hours.edge_c),
        core_c=nothing if hours.core_c is None else _list(hours.core_c),
        heat_kw=_list(hours.heat_kw),
        fuel_l=_list(hours.fuel_l),
    )


def _cautions(request: EstimateRequest, plan: Nominal, warming: WarmUp) -> list[str]:
    """Return what a reader of this answer must know first."""
    load, found = request.load, []
    if load.mass_kg == 0:
        found.append("Empty box: there is no load to lose, the score says nothing.")
    elif load.high_c is None:
        found.append("No warm limit was given: overheating is not judged.")
    if load.mass_kg > 0 and load.temperature_c <= load.damage_limit_c:
        found.append("The load is at or below its damage limit when it is loaded; a heater does not thaw it.")
    if plan.fuel_out_h is not None:
        found.append(f"The tank runs dry after {plan.fuel_out_h:.1f} h on the nominal path.")
    if plan.capacity.ratio is not None and plan.capacity.ratio < 1:
        found.append("The heater cannot hold the set point in the coldest hour.")
    if warming.equilibrium_c is not None:
        found.append(f"A cold box never reaches the set point; it settles near {warming.equilibrium_c:.1f} degC.")
    if load.mass_kg > 0 and plan.capacity.ratio is not None:
        found.append("Warm-up is of the air: lining and load take much longer.")
    return found
