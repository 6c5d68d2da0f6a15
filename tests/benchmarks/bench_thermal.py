"""Speed of the physics, side by side with scipy in one run: `uv run python -m tests.benchmarks.bench_thermal`.

The other side asks the same question the usual way: worlds drawn at random, each a `solve_ivp` of the same averaged
equations (three stores, limited heat, doors), as many as give a standard error of half a point. Ratios are what to
compare between machines; milliseconds depend on this one and on what else it does.
"""

import argparse
import os
import sys
from collections.abc import Callable
from dataclasses import replace
from time import perf_counter

import django
import numpy as np
from scipy.integrate import solve_ivp

from fleet.simulator.histories import HistoryPlan, histories
from thermal import Box, Heater, Load, Risk, Stop, Trip, Unit, assess, nominal, rank, warm
from thermal.box import door_w_k, network
from thermal.columns import columns_of
from thermal.health.day import AFTER_S, BEFORE_S, DAY_S, learn_day
from thermal.health.watch import HeatWatch

HOURS = 72
SE_POINTS = 0.5
UNIT = Unit(box=Box(k_w_m2k=0.45, area_m2=147.0, age_y=4.0), heater=Heater(output_kw=8.0), fuel_l=120.0)
LOAD = Load(mass_kg=4000.0, temperature_c=6.0, high_c=15.0)
STOP = Stop(at_h=20.5, duration_h=0.4)
DAY = tuple(-20.0 + 8.0 * float(np.sin(2 * np.pi * hour / 24)) for hour in range(HOURS + 1))
MILD = Trip(set_point_c=5.0, ambient_c=tuple(t + 8.0 for t in DAY), stops=(STOP,))
WINTER = Trip(set_point_c=5.0, ambient_c=DAY, stops=(STOP,))
SEVERE = Trip(set_point_c=5.0, ambient_c=tuple(t - 8.0 for t in DAY), stops=(STOP,))
RISK = Risk()


def seconds(run: Callable[[], object], *, least: int = 5, budget_s: float = 2.0) -> tuple[float, float]:
    """Return the fastest and the median time of `run` [s]."""
    times: list[float] = []
    begun = perf_counter()
    while len(times) < least or perf_counter() - begun < budget_s:
        start = perf_counter()
        run()
        times.append(perf_counter() - start)
    return min(times), float(np.median(times))


def general_solver_path(unit: Unit, load: Load, trip: Trip) -> float:
    """Return the coldest edge of one world by `solve_ivp` on the averaged equations, rtol 1e-6."""
    columns = columns_of([unit])
    net = network(columns, load)
    film, edge, shell, wall, bulk = (float(v[0]) for v in (net.film, net.edge, net.shell, net.wall, net.bulk))
    c_lining, c_edge, c_core = float(net.c_lining[0]), float(net.c_edge[0]), float(net.c_core[0])
    most, hours = float(columns.q_max[0]), np.arange(trip.hours + 1)
    stop = trip.stops[0]
    open_door = float(door_w_k(columns, span_k=25.0, open_share=stop.open_share)[0])

    def slope(t: float, x: np.ndarray) -> list[float]:
        hour = t / 3600.0
        ambient = float(np.interp(hour, hours, trip.ambient_c))
        door = open_door if stop.at_h <= hour < stop.end_h else 0.0
        total = film + edge + door
        floating = (film * x[0] + edge * x[1] + door * ambient) / total
        air = floating + min(max((trip.set_point_c + 0.8 - floating) * total, 0.0), most) / total
        return [
            (film * (air - x[0]) - shell * (x[0] - ambient)) / c_lining,
            (edge * (air - x[1]) - bulk * (x[1] - x[2]) - wall * (x[1] - ambient)) / c_edge,
            bulk * (x[1] - x[2]) / c_core,
        ]

    start = [trip.set_point_c, load.temperature_c, load.temperature_c]
    done = solve_ivp(slope, (0.0, trip.hours * 3600.0), start, method="LSODA", rtol=1e-6, atol=1e-6, max_step=1800.0)
    return float(done.y[1].min())


def worlds_needed(score: float) -> int:
    """Return how many independent worlds give the standard error at this score, at least a score of 95's."""
    chance = min(max(score / 100, 0.05), 0.95)
    return int(np.ceil(chance * (1 - chance) / (SE_POINTS / 100) ** 2))


def a_fleet(n: int) -> list[Unit]:
    rng = np.random.default_rng(0)
    return [
        Unit(
            box=replace(UNIT.box, k_w_m2k=rng.uniform(0.38, 0.6), area_m2=rng.uniform(120, 150)),
            heater=replace(UNIT.heater, output_kw=rng.uniform(4.0, 9.0)),
            fuel_l=rng.uniform(40.0, 150.0),
        )
        for _ in range(n)
    ]


def out(text: str = "") -> None:
    sys.stdout.write(text + "\n")


def bench_one(per_world_s: float) -> None:
    out("One assessment, 72 h with a door stop        fastest   median   score    se   worlds   vs solve_ivp")
    for name, trip, load in (
        ("winter, 4 t", WINTER, LOAD),
        ("winter, 18 t", WINTER, replace(LOAD, mass_kg=18000.0)),
        ("winter, 18 t, no stop", replace(WINTER, stops=()), replace(LOAD, mass_kg=18000.0)),
        ("close call, 6 t, weak heater", SEVERE, replace(LOAD, mass_kg=6000.0)),
    ):
        unit = replace(UNIT, heater=replace(UNIT.heater, output_kw=3.4)) if "weak" in name else UNIT

        def run(unit: Unit = unit, load: Load = load, trip: Trip = trip) -> None:
            assess(unit, load=load, trip=trip, risk=RISK)

        best, median = seconds(run)
        found = assess(unit, load=load, trip=trip, risk=RISK)
        ratio = worlds_needed(found.score) * per_world_s / median
        numbers = f"{best * 1e3:6.2f} ms {median * 1e3:6.2f} ms {found.score:7.2f} {found.se:5.2f}  {found.worlds:5d}"
        out(f"  {name:40s} {numbers}   {ratio:10,.0f} x")


def bench_batch(per_world_s: float, units: int) -> None:
    fleet = a_fleet(units)
    out(f"\n{units} units, one trip                          fastest   per unit   looked closer   vs solve_ivp")
    for name, trip, load in (
        ("mild, 18 t", MILD, replace(LOAD, mass_kg=18000.0)),
        ("winter, 4 t", WINTER, LOAD),
        ("severe, 18 t", SEVERE, replace(LOAD, mass_kg=18000.0)),
    ):

        def run(trip: Trip = trip, load: Load = load) -> None:
            rank(fleet, load=load, trip=trip, risk=RISK)

        best, _ = seconds(run, least=3)
        found = rank(fleet, load=load, trip=trip, risk=RISK)
        closer = sum(score.worlds > 32 for score in found)
        ratio = sum(worlds_needed(score.score) for score in found) * per_world_s / best
        out(f"  {name:40s} {best:6.3f} s  {best / units * 1e3:6.3f} ms  {closer:8d}      {ratio:12,.0f} x")


def bench_learning() -> None:
    """A day of one unit's readings every five minutes: learned, and watched."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    django.setup()
    from thermal.adapter.learning.proof import plant_of_history, readings_of

    history = histories(HistoryPlan(units=1, days=3, seed=11))[0]
    readings, plant = readings_of(history), plant_of_history(history)
    window = readings.between(DAY_S - BEFORE_S, 2 * DAY_S + AFTER_S)
    day = readings.between(DAY_S, 2 * DAY_S)
    out()
    out("| learning from a day of one unit | fastest, ms | median, ms |")
    out("|---|---|---|")
    for name, run in (
        (f"balance, rise, tank ({len(window)} readings)", lambda: learn_day(window, plant, number=1, start_s=DAY_S)),
        (f"heat watch ({len(day)} readings)", lambda: HeatWatch(plant, 17.0).run(day)),
    ):
        fastest, median = seconds(run)
        out(f"| {name} | {1e3 * fastest:.2f} | {1e3 * median:.2f} |")


def main() -> None:
    parser = argparse.ArgumentParser(description="Times the physics against scipy in one run.")
    parser.add_argument("--units", type=int, default=1000)
    units = parser.parse_args().units
    start = perf_counter()
    warm()
    out(f"warm() took {perf_counter() - start:.2f} s")
    first = perf_counter()
    assess(UNIT, load=LOAD, trip=WINTER, risk=RISK)
    out(f"first assessment after it {1e3 * (perf_counter() - first):.2f} ms\n")
    per_world, _ = seconds(lambda: general_solver_path(UNIT, LOAD, WINTER))
    plan, _ = seconds(lambda: nominal(UNIT, load=LOAD, trip=WINTER))
    edge = general_solver_path(UNIT, LOAD, WINTER)
    ours = nominal(UNIT, load=LOAD, trip=WINTER).hours.edge_c
    out(f"one path by solve_ivp (LSODA, rtol 1e-6) {per_world * 1e3:.1f} ms, coldest edge {edge:.2f} degC")
    if ours is not None:
        out(f"the whole nominal answer of thermal      {plan * 1e3:.1f} ms, coldest edge {ours.min():.2f} degC\n")
    bench_one(per_world)
    bench_batch(per_world, units)
    bench_learning()
    out("\nvs solve_ivp: worlds for the same standard error (0.5 points) times one path, over the time here.")


if __name__ == "__main__":
    main()
