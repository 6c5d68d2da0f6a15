"""What a winter does to a fleet: loads that shrink on the way, fuel that goes astray, weak heaters, places."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from fleet.simulator.agenda import CARGOES, Agenda, Carried, Habits, Segment, draw_agenda
from fleet.simulator.connectivity import QUALITIES
from fleet.simulator.decay import Change, Kind
from fleet.simulator.incidents import Troubles
from fleet.simulator.mishaps import NO_MISHAPS, Mishaps, draw_changes, parked_spells
from fleet.simulator.network import EDGE
from fleet.simulator.roster import draw_roster
from fleet.simulator.streams import FleetPlan, FleetStream
from fleet.simulator.tracks import KM_PER_DEGREE, ROAD_SPEED_KM_H, ROAMS_KM, Tracks
from fleet.simulator.yard import Reliability, Yard

PLAN = FleetPlan(units=20, days=1, start=datetime(2026, 1, 6, tzinfo=UTC), seed=5, quality=QUALITIES["clean"])
LOAD = Carried(CARGOES[0], 4000.0, 7.0, "T1")


def yard_with(*segments: tuple[int, Carried | None], ambient_c: float = -15.0) -> Yard:
    """Return a yard of one unit, switched on, that carries the given loads from the given seconds on."""
    roster = draw_roster(units=1, rng=np.random.default_rng(1))
    lived = [Segment(at_s, "stop", True, False, False, 7.0, False, carried) for at_s, carried in segments]
    never = Reliability(failures_per_h=1e-9)
    return Yard(
        roster,
        [Agenda("A", lived)],
        ambient_c=np.full((25, 1), ambient_c),
        reliability=never,
        rng=np.random.default_rng(2),
    )


def events(plan: FleetPlan) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return the events and the truth of a plan."""
    days = list(FleetStream(plan).days())
    return [json.loads(line) for day in days for line in day.lines], [r for day in days for r in day.truth]


def test_a_part_taken_out_leaves_the_rest_as_warm_as_it_was() -> None:
    yard = yard_with((0, LOAD), (3600, replace(LOAD, mass_kg=1000.0)))
    for _ in range(60):
        yard.step()
    before = yard.temps[EDGE:].copy()
    yard.touch(yard.due.pop(60))
    assert yard.load.mass_kg[0] == 1000.0
    assert (yard.temps[EDGE:] == before).all()
    # A quarter of the load is a quarter of its heat store.
    full = yard_with((0, LOAD))
    full.step()
    assert yard.chain.capacity[EDGE:, 0] == pytest.approx(full.chain.capacity[EDGE:, 0] / 4)


def test_the_ice_of_a_part_goes_with_it() -> None:
    yard = yard_with((0, replace(LOAD, temperature_c=-0.55)), ambient_c=-40.0)
    yard.unit_on[:] = False
    yard.due[0] = [(0, replace(yard.due[0][0][1], unit_on=False))]
    for _ in range(600):
        yard.step()
    ice, most = yard.freezing.ice_j.copy(), yard.freezing.most_j.copy()
    assert ice.max() > 0.0
    yard.exchange_load(0, replace(LOAD, temperature_c=-0.55, mass_kg=1000.0))
    assert yard.freezing.ice_j == pytest.approx(ice / 4)
    assert yard.freezing.most_j == pytest.approx(most / 4)


def test_trips_tell_what_they_leave_on_the_way_and_never_more_than_they_carry() -> None:
    _, truth = events(PLAN)
    trips = [record for record in truth if record["kind"] == "trip"]
    left = [(trip["load"]["mass_kg"], [stop["unload_kg"] for stop in trip["stops"]]) for trip in trips]
    assert any(any(parts) for _, parts in left)
    assert all(sum(parts) < mass for mass, parts in left)
    for trip in trips:
        moments = [trip["loading_at"], trip["depart_at"]]
        moments += [stop[name] for stop in trip["stops"] for name in ("arrive_at", "leave_at")]
        assert [*moments, trip["deliver_at"]] == sorted([*moments, trip["deliver_at"]])


def test_fuel_is_drawn_only_from_a_parked_unit() -> None:
    rng = np.random.default_rng(1)
    agendas = [draw_agenda(f"A{i}", horizon_s=5 * 86_400, most_kg=2e4, habits=Habits(), rng=rng) for i in range(10)]
    drains = [
        change
        for change in draw_changes(Mishaps(drains_per_unit_day=2.0), agendas, horizon_s=5 * 86_400, rng=rng)
        if change.kind is Kind.DRAIN
    ]
    assert len(drains) == pytest.approx(100, abs=40)
    for drain in drains:
        spells = parked_spells(agendas[drain.unit].segments, 5 * 86_400)
        assert any(start <= drain.at_s <= end for start, end in spells)
        now = [segment for segment in agendas[drain.unit].segments if segment.start_s <= drain.at_s][-1]
        assert (now.unit_on, now.moving, now.door_open) == (False, False, False)


def test_what_was_drawn_is_in_the_truth_and_missing_from_the_tank() -> None:
    _, truth = events(replace(PLAN, mishaps=Mishaps(drains_per_unit_day=1.0)))
    drawn = [record for record in truth if record["kind"] == "change" and record["what"] == "drain"]
    states = {(record["unit"], record["at"]): record["fuel_l"] for record in truth if record["kind"] == "state"}
    missing = []
    for record in drawn:
        hour = datetime.fromisoformat(record["at"]).hour
        before = states.get((record["unit"], f"2026-01-06T{hour:02}:00:00Z"))
        after = states.get((record["unit"], f"2026-01-06T{hour + 1:02}:00:00Z"))
        if before is not None and after is not None and before > record["size"] + 10:
            missing.append(before - after - record["size"])
    assert len(missing) >= 3
    assert min(missing) >= -0.05


def test_a_heater_that_lost_output_blows_colder_air() -> None:
    lost = tuple(Change(unit, 0, Kind.OUTPUT, 0.4) for unit in range(PLAN.units))
    whole, _ = events(replace(PLAN, mishaps=NO_MISHAPS))
    weak, truth = events(replace(PLAN, mishaps=NO_MISHAPS, changes=lost))
    assert [record["size"] for record in truth if record["kind"] == "change"] == [0.4] * PLAN.units

    def rise_k(found: list[dict[str, Any]]) -> float:
        """Return the mean of what comes out of running heaters over the air going in."""
        rises = [
            event["data"]["discharge_air_c"] - event["data"]["return_air_c"]
            for event in found
            if event["data"].get("heater_running") and "discharge_air_c" in event["data"]
        ]
        return float(np.mean(rises))

    assert rise_k(weak) < 0.6 * rise_k(whole)


def test_a_unit_says_at_once_that_its_doors_moved() -> None:
    found, _ = events(replace(PLAN, cadence_min=60))
    last: dict[str, tuple[str, bool]] = {}
    minutes = set()
    for event in found:
        if "door_open" in event["data"]:
            before = last.get(event["subject"])
            if before is not None and before[1] != event["data"]["door_open"]:
                minutes.add(event["time"][14:16])
            last[event["subject"]] = (event["time"], event["data"]["door_open"])
    # By turns alone every unit would speak in one minute of the hour only.
    assert len(minutes) > 20


def test_some_gauges_speak_in_per_cent_and_mean_the_same_fuel() -> None:
    found, truth = events(replace(PLAN, percent_gauge_share=0.5))
    units = {record["unit"] for record in truth if record["kind"] == "gauge"}
    assert {event["subject"] for event in found if "fuel_pct" in event["data"]} <= units
    assert not {event["subject"] for event in found if "fuel_l" in event["data"]} & units
    assert 3 <= len(units) <= 17
    assert all(0 <= event["data"]["fuel_pct"] <= 100 for event in found if "fuel_pct" in event["data"])
    litres, _ = events(replace(PLAN, percent_gauge_share=0.0))
    tank = {n: float(FleetStream(PLAN).roster.heater.tank_l[i]) for i, n in enumerate(FleetStream(PLAN).roster.numbers)}
    other = {(e["subject"], e["id"]): e["data"] for e in litres}
    for event in found:
        if "fuel_pct" in event["data"]:
            size = tank[event["subject"]]
            same = min(other[event["subject"], event["id"]]["fuel_l"], size)
            assert event["data"]["fuel_pct"] * size / 100 == pytest.approx(same, abs=0.0025 * size + 1e-6)


def test_places_move_with_the_road_speed_and_stay_in_the_region() -> None:
    tracks = Tracks(50, rng=np.random.default_rng(3))
    first = tracks.at.copy()
    tracks.move(np.arange(50) < 25, step_s=3600)
    north, east = (tracks.at - first) * KM_PER_DEGREE
    way = np.hypot(north, east * np.cos(np.radians(tracks.at[0])))
    assert way[25:].max() == 0.0
    assert way[:25] == pytest.approx(ROAD_SPEED_KM_H, rel=0.02)
    for leg in range(400):
        tracks.move(np.full(50, leg % 2 == 0), step_s=3600)
    away = (tracks.at - tracks.home) * KM_PER_DEGREE
    assert np.hypot(away[0], away[1] * np.cos(np.radians(tracks.at[0]))).max() < ROAMS_KM + 2 * ROAD_SPEED_KM_H


def test_as_many_troubles_flap_as_the_plan_says() -> None:
    calm, _ = events(replace(PLAN, troubles=Troubles(per_unit_day=0.0)))
    rough, _ = events(replace(PLAN, troubles=Troubles(per_unit_day=1.0, flapping_share=1.0, most_turns=12)))
    mild = {"battery-low-1", "air-sensor-1", "coolant-low-1", "oil-change-0", "filter-dirty-0"}
    assert not [event for event in calm if event["data"].get("code") in mild]
    raised: dict[tuple[str, str], int] = {}
    for event in rough:
        if event["data"].get("code") in mild and event["data"]["state"] == "raised":
            key = (event["subject"], event["data"]["code"])
            raised[key] = raised.get(key, 0) + 1
    assert max(raised.values()) > 4
