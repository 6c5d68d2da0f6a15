"""Answers a calculator request by simulation: what happens as stated, and in how many worlds it goes wrong.

The answers carry the calculator's field names and meanings, so that the two can be laid side by side.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fleet.simulator.errors import SimulatorError
from fleet.simulator.journey import Journey
from fleet.simulator.network import loss_conductance
from fleet.simulator.quantities import Case, Floats
from fleet.simulator.request import parse_case
from fleet.simulator.worlds import STEP_S, Truth, Worlds, draw_worlds, sure_worlds

FINE_STEP_S = 30.0  # one world as stated is cheap: resolve it finer than the many
WARM_UP_STEP_S = 20.0
LONGEST_WARM_UP_H = 48
NORMAL_975 = 1.959964  # 97.5 % point of the normal law


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a request. Hours from departure; None for never or not applicable.

    `chance` is the share of worlds in which nothing passed a damage limit, `chance_ci95` its Wilson
    interval. `damage_after_h[i]` is the time from whole hour i until the edge reaches its damage limit when
    heat stops there.
    """

    chance: float
    chance_ci95: tuple[float, float]
    worlds: int
    undamaged: int
    cold: int
    hot: int
    coldest_edge_c: float | None
    coldest_edge_h: float | None
    warmest_c: float | None
    fuel_l: float
    fuel_out_h: float | None
    engine_h: float
    warm_up_empty_h: float | None
    warm_up_loaded_h: float | None
    equilibrium_c: float | None
    damage_after_h: tuple[float | None, ...]


def simulate_worlds(
    case: Case, *, n: int, seed: int, step_s: float = STEP_S, inner: int = 3, keep_series: bool = False
) -> Truth:
    """Return what happened in n worlds of one case, uncertain inputs drawn from its risk."""
    return simulate_batch([case], n=n, seed=seed, step_s=step_s, inner=inner, keep_series=keep_series)


def simulate_batch(
    cases: list[Case],
    *,
    n: int = 1,
    seed: int,
    step_s: float = STEP_S,
    inner: int = 3,
    keep_series: bool = False,
) -> Truth:
    """Return what happened in n worlds of each of many cases, in the order case by case."""
    rng = np.random.default_rng(seed)
    worlds = draw_worlds(cases, n=n, rng=rng)
    return Journey(worlds, rng=rng, step_s=step_s, inner=inner).run(keep_series=keep_series)


def simulate_nominal(case: Case, *, step_s: float = FINE_STEP_S, inner: int = 3, keep_series: bool = False) -> Truth:
    """Return what happens when everything is as stated: no error, no breakdown, nobody brings fuel."""
    return run_sure(sure_worlds([case], n=1), step_s=step_s, inner=inner, keep_series=keep_series)


def run_sure(worlds: Worlds, *, step_s: float, inner: int = 3, keep_series: bool = False) -> Truth:
    """Run worlds that draw nothing."""
    return Journey(worlds, rng=np.random.default_rng(0), step_s=step_s, inner=inner).run(keep_series=keep_series)


def run_case(request: Mapping[str, Any], *, n_worlds: int, seed: int, inner: int = 3) -> Outcome:
    """Return the outcome of a calculator request from `n_worlds` simulated worlds and one as stated.

    Raises
    ------
    SimulatorError
        When the request is not a valid case or no world is asked for.
    """
    case = parse_case(request)
    truth = simulate_worlds(case, n=n_worlds, seed=seed, inner=inner)
    nominal = simulate_nominal(case, inner=inner)
    undamaged = int(np.count_nonzero(~truth.damaged))
    cold_first = truth.damaged & (truth.cold_at_h <= truth.hot_at_h)
    cold = int(np.count_nonzero(cold_first))
    return Outcome(
        chance=undamaged / n_worlds,
        chance_ci95=wilson_interval(undamaged, n_worlds),
        worlds=n_worlds,
        undamaged=undamaged,
        cold=cold,
        hot=n_worlds - undamaged - cold,
        coldest_edge_c=finite(nominal.min_edge_c),
        coldest_edge_h=finite(nominal.min_edge_h),
        warmest_c=finite(nominal.max_c),
        fuel_l=float(nominal.fuel_used_l[0]),
        fuel_out_h=finite(nominal.fuel_out_h),
        engine_h=float(nominal.engine_h[0]),
        warm_up_empty_h=warm_up_h(case, loaded=False),
        warm_up_loaded_h=warm_up_h(case, loaded=True) if case.load.mass_kg[0] > 0 else None,
        equilibrium_c=equilibrium_c(case),
        damage_after_h=damage_after_h(case, inner=inner),
    )


def wilson_interval(hits: int, n: int) -> tuple[float, float]:
    """Return the 95 % score interval of a share (Wilson 1927)."""
    if not 0 <= hits <= n or n < 1:
        raise SimulatorError(f"interval: {hits} of {n} is not a share")
    z2, share = NORMAL_975**2, hits / n
    middle = (share + z2 / (2 * n)) / (1 + z2 / n)
    half = NORMAL_975 / (1 + z2 / n) * math.sqrt(share * (1 - share) / n + z2 / (4 * n * n))
    return max(0.0, middle - half), min(1.0, middle + half)


def damage_after_h(case: Case, *, inner: int = 3, step_s: float = STEP_S) -> tuple[float | None, ...]:
    """Return for heat lost at each whole hour how long the edge stays above `damage_c` [h].

    None where it does so to the end of the trip. All branches run side by side as worlds of their own; the
    tank never runs dry in them.
    """
    if case.load.mass_kg[0] <= 0:
        return ()
    starts_h = np.arange(case.trip.hours + 1, dtype=np.float64)
    worlds = replace(sure_worlds([case], n=len(starts_h)), heat_stops_s=starts_h * 3600.0)
    truth = run_sure(endless_fuel(worlds), step_s=step_s, inner=inner)
    after = truth.cold_at_h - starts_h
    return tuple(max(0.0, float(value)) if np.isfinite(value) else None for value in after)


def endless_fuel(worlds: Worlds) -> Worlds:
    """Return the worlds with tanks that never run dry."""
    return replace(worlds, fuel_l=np.full_like(worlds.fuel_l, np.inf))


def warm_up_h(case: Case, *, loaded: bool, inner: int = 3) -> float | None:
    """Return how long a cold heater needs until the air first reaches the set point [h]; None for never.

    The box starts soaked at the first ambient value, which stays; a load comes in at its own temperature.
    """
    trip, start = case.trip, float(case.trip.ambient_c[0])
    if start >= trip.set_point_c:
        return 0.0
    load = case.load if loaded else replace(case.load, mass_kg=np.zeros(1))
    flat = replace(trip, ambient_c=np.full(LONGEST_WARM_UP_H + 1, start), stops=(), box_start_c=start)
    worlds = endless_fuel(sure_worlds([replace(case, load=load, trip=flat)], n=1))
    journey = Journey(worlds, rng=np.random.default_rng(0), step_s=WARM_UP_STEP_S, inner=inner)
    return first_time_above(journey, trip.set_point_c)


def first_time_above(journey: Journey, level_c: float) -> float | None:
    """Return when the air first reaches a level [h], linear within a step; None when it does not."""
    air = float(journey.air_c[0])
    for k in range(round(LONGEST_WARM_UP_H * 3600 / WARM_UP_STEP_S)):
        journey.step(k * WARM_UP_STEP_S)
        before, air = air, float(journey.air_c[0])
        if air >= level_c:
            return (k + (level_c - before) / (air - before)) * WARM_UP_STEP_S / 3600.0
    return None


def equilibrium_c(case: Case) -> float | None:
    """Return where the air ends when full output cannot reach the set point [degC]; None when it can."""
    output_w = float(case.heater.output_kw[0] * case.heater.derate[0]) * 1e3
    end = float(case.trip.ambient_c[0]) + output_w / float(loss_conductance(case.box)[0])
    return None if end >= case.trip.set_point_c else end


def finite(values: Floats) -> float | None:
    """Return the only value of an array, or None when it is NaN or infinite."""
    value = float(values[0])
    return value if math.isfinite(value) else None
