"""Whole fleets: what their events look like, that they follow the truth, and that a seed is a seed."""

from __future__ import annotations

import ast
import json
import sys
from collections import defaultdict
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fleet.simulator.agenda import Habits, draw_agenda
from fleet.simulator.connectivity import QUALITIES
from fleet.simulator.errors import SimulatorError
from fleet.simulator.incidents import BREAKDOWN_CODES, CODE_BOOK, TROUBLE_CODES, draw_troubles, failure_events
from fleet.simulator.roster import UNIT_MODELS, draw_roster, fleet_file
from fleet.simulator.samples import FLAGS, MEASURED
from fleet.simulator.streams import Day, FleetPlan, FleetStream
from fleet.simulator.yard import Reliability

PLAN = FleetPlan(units=25, days=2, start=datetime(2026, 1, 5, tzinfo=UTC), seed=3, quality=QUALITIES["rough"])
# Of the contract: every field a reading may have; `fuel_pct` may stand for `fuel_l`.
ALLOWED = {
    "return_air_c", "discharge_air_c", "set_point_c", "ambient_c", "cargo_c", "fuel_l", "battery_v", "coolant_c",
    "engine_hours_h", "heater_running", "unit_on", "door_open", "speed_km_h",
    "latitude", "longitude",
}  # fmt: skip


@pytest.fixture(scope="module")
def days() -> list[Day]:
    """Return the days of the rough plan."""
    return list(FleetStream(PLAN).days())


def events_of(days: list[Day]) -> list[dict[str, Any]]:
    """Return all events in order of arrival."""
    return [json.loads(line) for day in days for line in day.lines]


def truth_of(days: list[Day], kind: str) -> list[dict[str, Any]]:
    """Return all truth records of a kind."""
    return [record for day in days for record in day.truth if record["kind"] == kind]


def test_equal_plans_give_equal_bytes_and_another_seed_does_not(days: list[Day]) -> None:
    again = list(FleetStream(PLAN).days())
    assert [(day.lines, day.truth) for day in days] == [(day.lines, day.truth) for day in again]
    assert next(FleetStream(replace(PLAN, seed=4)).days()).lines != days[0].lines


def test_events_have_the_shape_of_the_contract(days: list[Day]) -> None:
    assert set(MEASURED) | set(FLAGS) == ALLOWED
    for event in events_of(days):
        assert set(event) == {"specversion", "id", "source", "type", "subject", "time", "data"}
        assert event["specversion"] == "1.0"
        assert datetime.fromisoformat(event["time"]).utcoffset() is not None
        if event["type"] == "unit.reading.v1":
            assert event["data"]
            assert set(event["data"]) <= ALLOWED | {"fuel_pct"}
            assert not {"fuel_l", "fuel_pct"} <= set(event["data"])
            assert ("latitude" in event["data"]) == ("longitude" in event["data"])
        else:
            assert event["type"] == "unit.fault.v1"
            assert event["data"]["state"] in {"raised", "cleared"}
            assert ("code" in event["data"]) != ("spn" in event["data"])


def test_the_same_identity_always_means_the_same_content(days: list[Day]) -> None:
    seen: dict[tuple[str, ...], str] = {}
    repeats = 0
    for day in days:
        for line in day.lines:
            event = json.loads(line)
            keys = [(event["source"], event["id"])]
            if event["type"] == "unit.reading.v1":
                keys.append((event["subject"], event["time"], event["source"]))
            repeats += keys[0] in seen
            for key in keys:
                assert seen.setdefault(key, line) == line
    assert repeats > 50


def test_some_events_arrive_out_of_order(days: list[Day]) -> None:
    newest: dict[str, str] = {}
    late = 0
    for event in events_of(days):
        late += event["time"] < newest.get(event["source"], "")
        newest[event["source"]] = max(event["time"], newest.get(event["source"], ""))
    assert late > 50


def test_some_units_have_a_second_source(days: list[Day]) -> None:
    senders = defaultdict(set)
    for event in events_of(days):
        senders[event["subject"]].add(event["source"].split("/")[0])
    assert {"gateway"} in senders.values()
    assert {"gateway", "tracker"} in senders.values()
    told = {record["unit"] for record in truth_of(days, "link") if record["second_source"]}
    assert {unit for unit, names in senders.items() if "tracker" in names} == told


def test_a_clean_reading_is_near_the_truth() -> None:
    days = list(FleetStream(replace(PLAN, quality=QUALITIES["clean"])).days())
    bad = {(r["unit"], r.get("field")) for kind in ("sensor_stuck", "sensor_drift") for r in truth_of(days, kind)}
    states = {(r["unit"], r["at"]): r for r in truth_of(days, "state")}
    gaps = []
    for event in events_of(days):
        state = states.get((event["subject"], event["time"]))
        if state and event["type"] == "unit.reading.v1" and (event["subject"], "return_air_c") not in bad:
            gaps.append(event["data"]["return_air_c"] - state["air_c"])
    assert len(gaps) > 30
    # Noise and offset of 0.3 K each.
    assert np.std(gaps) == pytest.approx(np.hypot(0.3, 0.3), rel=0.5)


def test_the_truth_tells_every_layer_every_hour(days: list[Day]) -> None:
    states = truth_of(days, "state")
    assert len(states) == 25 * 48
    loaded = [state for state in states if state["edge_c"] is not None]
    assert loaded
    assert all(len(state["inner_c"]) == 3 for state in loaded)


def test_breakdowns_speak_unless_they_are_silent() -> None:
    plan = replace(PLAN, reliability=Reliability(failures_per_h=1 / 15), quality=QUALITIES["clean"])
    days = list(FleetStream(plan).days())
    spoken = defaultdict(list)
    for record in truth_of(days, "fault"):
        spoken[record["unit"]].append(record)
    breakdowns = truth_of(days, "breakdown")
    assert {record["silent"] for record in breakdowns} == {True, False}
    for record in breakdowns:
        at = datetime.fromisoformat(record["at"])
        if record["silent"] or at >= datetime(2026, 1, 6, 23, 50, tzinfo=UTC):
            continue
        raised = [
            fault
            for fault in spoken[record["unit"]]
            if fault["state"] == "raised" and 0 <= (datetime.fromisoformat(fault["at"]) - at).total_seconds() < 300
        ]
        assert raised


def test_forgetful_people_leave_their_mark(days: list[Day]) -> None:
    always = Habits(1.0, 1.0, 1.0, 1.0, 1.0)
    never = Habits(0.0, 0.0, 0.0, 0.0, 0.0)
    one_day = {"horizon_s": 86_400, "most_kg": 20_000.0}
    careless = draw_agenda("A", habits=always, rng=np.random.default_rng(1), **one_day)  # type: ignore[arg-type]
    careful = draw_agenda("A", habits=never, rng=np.random.default_rng(1), **one_day)  # type: ignore[arg-type]
    slips = {record["slip"] for record in careless.records if record["kind"] == "slip"}
    assert slips == {"unit_left_off", "door_left_open", "set_point_not_confirmed", "heater_on_with_doors_open"}
    assert any(s.kind == "driving" and not s.unit_on for s in careless.segments)
    assert any(s.kind == "waiting" and s.door_open for s in careless.segments)
    assert any(record["kind"] == "inspection" and record["late"] for record in careless.records)
    assert not [record for record in careful.records if record["kind"] == "slip"]
    assert all(s.unit_on for s in careful.segments if s.kind == "driving")
    assert not any(s.door_open and s.unit_on for s in careful.segments)


def test_an_agenda_has_no_holes() -> None:
    agenda = draw_agenda("A", horizon_s=5 * 86_400, most_kg=2e4, habits=Habits(), rng=np.random.default_rng(2))
    starts = [segment.start_s for segment in agenda.segments]
    assert starts[0] == 0
    assert starts == sorted(set(starts))
    assert starts[-1] > 4 * 86_400


def test_small_troubles_are_poisson_and_clear_after_they_were_raised() -> None:
    counts = []
    for seed in range(200):
        events = draw_troubles(units=20, horizon_s=86_400, rng=np.random.default_rng(seed))
        raised = [event for event in events if event.data["state"] == "raised"]
        assert len(raised) * 2 == len(events)
        counts.append(len(raised))
    # 2 troubles a day, a fifth of them with 2, 3 or 4 turns: 2 (0.8 + 0.2 * 3) expected events.
    assert np.mean(counts) == pytest.approx(2.8, abs=4 * np.std(counts) / np.sqrt(200))


def test_a_failure_is_cleared_after_it_was_raised_and_a_silent_one_says_nothing() -> None:
    record = {"kind": "breakdown", "at_s": 1000, "back_at_s": 1010.0, "silent": False}
    raised, cleared = failure_events(record, 0, rng=np.random.default_rng(1))
    assert 1000 < raised.at_s < cleared.at_s
    assert failure_events({**record, "silent": True}, 0, rng=np.random.default_rng(1)) == []


def test_codes_are_words_and_one_is_in_no_book() -> None:
    book = {code for code, *_ in CODE_BOOK}
    used = {what["code"] for what in (*BREAKDOWN_CODES, *TROUBLE_CODES) if "code" in what}
    assert used - book == {"not-in-any-book-1"}
    assert {tier for _, tier, *_ in CODE_BOOK} == {"watch", "attend", "stop"}


def test_the_fleet_file_says_what_to_create_first() -> None:
    roster = draw_roster(units=40, rng=np.random.default_rng(1), prefix="X")
    facts = fleet_file(roster, start=PLAN.start, code_book=CODE_BOOK)
    keys = {model["key"] for model in facts["unit-models"]}
    assert [unit["number"] for unit in facts["units"]][:2] == ["X-0001", "X-0002"]
    assert {unit["model"] for unit in facts["units"]} == keys
    assert keys <= {model["key"] for model in UNIT_MODELS}
    assert {book["unit_model"] for book in facts["code-books"]} == keys
    assert len(facts["code-books"][0]["entries"]) == len(CODE_BOOK)
    json.dumps(facts, allow_nan=False)


def test_existing_numbers_can_be_used() -> None:
    roster = draw_roster(units=2, rng=np.random.default_rng(1), numbers=("HB-7", "HB-7", "HB-104", "HB-9"))
    assert roster.numbers == ("HB-7", "HB-104")
    with pytest.raises(SimulatorError, match="different numbers"):
        draw_roster(units=3, rng=np.random.default_rng(1), numbers=("HB-7", "HB-104"))


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({"units": 0}, "units"),
        ({"days": 0}, "days"),
        ({"start": datetime(2026, 1, 1)}, "offset"),  # noqa: DTZ001
        ({"cadence_min": 0}, "cadence"),
        ({"weather_c": np.zeros(10)}, "weather"),
    ],
)
def test_an_impossible_plan_is_refused(change: dict[str, Any], what: str) -> None:
    with pytest.raises(SimulatorError, match=what):
        FleetStream(replace(PLAN, **change))


def test_the_simulator_imports_numpy_and_the_standard_library_only() -> None:
    """It must share nothing with `thermal`, which it is there to prove, and run without Django."""
    for path in Path("fleet/simulator").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom):
                assert node.level == 0
                names = [node.module or ""]
            for name in names:
                ours = name.startswith("fleet.simulator")
                assert ours or name.split(".")[0] in sys.stdlib_module_names | {"numpy"}, f"{path}: {name}"
