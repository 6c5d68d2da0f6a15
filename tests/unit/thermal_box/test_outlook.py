"""Many units in one march get what each of them gets alone from `thermal.nominal`."""

from dataclasses import replace

import numpy as np
import pytest

from tests.unit.thermal_box.asks import ask
from thermal import Box, Heater, Load, Risk, Start, Stop, Trip, Unit, nominal
from thermal.outlook import CHUNK, Outlook, outlooks, with_fuel
from thermal.warmup import warm_up, warm_ups

SAME = 1e-9
"""Kelvins, litres and hours: only the order of additions differs."""
RISK = Risk()
LOAD = Load(mass_kg=6000.0, temperature_c=7.0, high_c=15.0)
NIGHT = tuple(-16.0 + 9.0 * float(np.sin(2 * np.pi * hour / 24)) for hour in range(31))
PLAIN = Trip(set_point_c=6.0, ambient_c=NIGHT)
STOPS = Trip(
    set_point_c=6.0,
    ambient_c=NIGHT,
    stops=(
        Stop(at_h=4.3, duration_h=0.4),
        Stop(at_h=11.0, duration_h=0.5, heater_off=True),
        Stop(at_h=17.25, duration_h=0.3, refuel=True),
    ),
)
UNDER_WAY = replace(STOPS, start=Start(air_c=3.0))
COLD_BOX = replace(PLAIN, box_start_c=-8.0)


def a_fleet(n: int, *, seed: int, fuel_l: tuple[float, float] = (30.0, 180.0)) -> list[Unit]:
    """Boxes from tight to poor, heaters from weak to strong, some with a low fire, tanks from low to full."""
    rng = np.random.default_rng(seed)
    return [
        Unit(
            box=Box(
                k_w_m2k=float(rng.uniform(0.35, 0.75)),
                area_m2=float(rng.uniform(90, 150)),
                age_y=float(rng.uniform(0, 9)),
            ),
            heater=Heater(
                output_kw=float(rng.uniform(2.2, 9.0)),
                output_low_kw=float(rng.choice([0.0, 1.1])),
                burn_low_l_h=float(rng.choice([0.0, 0.2])),
                burn_high_l_h=float(rng.uniform(0.8, 2.2)),
                min_on_min=float(rng.choice([0.0, 10.0])),
            ),
            fuel_l=float(rng.uniform(*fuel_l)),
        )
        for _ in range(n)
    ]


def agree(found: Outlook, unit: Unit, load: Load | None, trip: Trip) -> None:
    alone = nominal(unit, load=load, trip=trip, risk=RISK)
    for name in ("coldest_edge_c", "coldest_edge_h", "warmest_c", "fuel_out_h"):
        assert getattr(found, name) == pytest.approx(getattr(alone, name), abs=SAME), name
    assert len(found.legs) == len(alone.legs)
    for mine, theirs in zip(found.legs, alone.legs, strict=True):
        assert (mine.start_h, mine.end_h, mine.have_l) == (theirs.start_h, theirs.end_h, theirs.have_l)
        assert mine.need_l == pytest.approx(theirs.need_l, abs=SAME)
        assert mine.chance_above_reserve == pytest.approx(theirs.chance_above_reserve, abs=SAME)
    assert found.capacity == alone.capacity
    np.testing.assert_allclose(found.damage_after_h, alone.damage_after_h, rtol=0, atol=SAME)


@pytest.mark.parametrize("trip", [PLAIN, STOPS, UNDER_WAY, COLD_BOX], ids=["plain", "stops", "under way", "cold box"])
@pytest.mark.parametrize("load", [LOAD, replace(LOAD, mass_kg=900.0), None], ids=["6 t", "0.9 t", "empty"])
def test_a_unit_among_many_gets_what_it_gets_alone(trip: Trip, load: Load | None) -> None:
    fleet = a_fleet(20, seed=7)
    for found, unit in zip(outlooks(fleet, load=load, trip=trip, risk=RISK), fleet, strict=True):
        agree(found, unit, load, trip)


def test_tanks_that_run_dry_cool_their_own_box_only() -> None:
    fleet = a_fleet(24, seed=11, fuel_l=(1.0, 30.0))
    found = outlooks(fleet, load=LOAD, trip=STOPS, risk=RISK)
    dry = [outlook.fuel_out_h is not None for outlook in found]
    assert any(dry)
    assert not all(dry)
    for outlook, unit in zip(found, fleet, strict=True):
        agree(outlook, unit, LOAD, STOPS)


@pytest.mark.parametrize("fuel_l", [2.0, 25.0, 120.0])
def test_another_amount_in_the_tank_gives_what_asking_again_gives(fuel_l: float) -> None:
    fleet = a_fleet(12, seed=5, fuel_l=(1.0, 60.0))
    for before, unit in zip(outlooks(fleet, load=LOAD, trip=STOPS, risk=RISK), fleet, strict=True):
        then = with_fuel(before, fuel_l, unit=unit, load=LOAD, trip=STOPS, risk=RISK)
        agree(then, replace(unit, fuel_l=fuel_l), LOAD, STOPS)


def test_a_fill_at_the_start_leaves_nothing_to_add() -> None:
    filled = replace(PLAIN, stops=(Stop(at_h=0.0, duration_h=0.1, open_share=0.0, refuel=True),))
    unit = a_fleet(1, seed=1)[0]
    before = outlooks([unit], load=LOAD, trip=filled, risk=RISK)[0]
    agree(with_fuel(before, 5.0, unit=unit, load=LOAD, trip=filled, risk=RISK), unit, LOAD, filled)


def test_the_worked_cases_come_out_alike() -> None:
    for name in ("base_winter", "tiny_load", "refuel_in_time", "ambient_above_set"):
        request = ask(name)
        found = outlooks([request.unit], load=request.load, trip=request.trip, risk=RISK)[0]
        agree(found, request.unit, request.load, request.trip)


def test_order_and_chunks_change_nothing() -> None:
    fleet = a_fleet(CHUNK + 5, seed=3)
    forward = outlooks(fleet, load=LOAD, trip=STOPS, risk=RISK)
    backward = outlooks(fleet[::-1], load=LOAD, trip=STOPS, risk=RISK)[::-1]
    for one, other in zip(forward, backward, strict=True):
        assert one.legs == other.legs
        assert one.coldest_edge_c == pytest.approx(other.coldest_edge_c, abs=SAME)
        np.testing.assert_allclose(one.damage_after_h, other.damage_after_h, rtol=0, atol=SAME)


def test_no_units_no_outlooks() -> None:
    assert outlooks([], load=LOAD, trip=PLAIN, risk=RISK) == []


@pytest.mark.parametrize("set_point_c", [2.0, 6.0, 18.0])
def test_boxes_that_are_warmed_together_take_what_each_takes_alone(set_point_c: float) -> None:
    fleet, rng = a_fleet(40, seed=13), np.random.default_rng(1)
    soak = rng.uniform(-25.0, 8.0, len(fleet))
    ambient = np.minimum(soak, rng.uniform(-60.0, 8.0, len(fleet)))
    together = warm_ups(fleet, set_point_c=set_point_c, soak_c=soak.tolist(), ambient_c=ambient.tolist())
    for unit, found, soak_c, ambient_c in zip(fleet, together, soak, ambient, strict=True):
        alone = warm_up(unit, load=None, set_point_c=set_point_c, soak_c=float(soak_c), ambient_c=float(ambient_c))
        assert found.empty_h == pytest.approx(alone.empty_h, abs=SAME)
        assert found.equilibrium_c == pytest.approx(alone.equilibrium_c, abs=SAME)
    assert warm_ups([], set_point_c=set_point_c, soak_c=[], ambient_c=[]) == []
