"""The four worked cases, which an independent resolved-cycle simulation made, against the calculator."""

import pytest

from tests.unit.thermal_box.asks import NAMES, case
from thermal import Estimate, estimate, request_of


@pytest.fixture(scope="module", params=NAMES)
def answered(request) -> tuple[dict, dict, Estimate]:
    loaded = case(request.param)
    return loaded["request"], loaded["expected"], estimate(request_of(loaded["request"]))


def close(ours: float | None, theirs: float | None, *, share: float, least: float) -> bool:
    if ours is None or theirs is None:
        return ours is theirs
    return abs(ours - theirs) <= max(share * abs(theirs), least)


def test_the_score_agrees_with_twenty_thousand_trips(answered):
    _, expected, ours = answered
    low, high = expected["chance_ci95"]
    assert low - 0.035 <= ours.score / 100 <= high + 0.035


def test_causes_add_up_to_what_is_lost(answered):
    _, _, ours = answered
    assert sum(ours.causes.values()) == pytest.approx(100 - ours.score, abs=1e-9)
    assert min(ours.causes.values()) >= 0


def test_coldest_and_warmest_agree(answered):
    request, expected, ours = answered
    allowed = 0.7 if request["load"]["mass_kg"] >= 4000 else 1.0
    assert ours.coldest_edge_c == pytest.approx(expected["coldest_edge_c"], abs=allowed)
    assert ours.warmest_c == pytest.approx(expected["warmest_c"], abs=allowed)


def test_fuel_and_engine_hours_agree(answered):
    _, expected, ours = answered
    assert close(ours.fuel_l, expected["fuel_l"], share=0.06, least=0.7)
    assert close(ours.engine_h, expected["engine_h"], share=0.06, least=0.7)
    assert ours.fuel_out_h == expected["fuel_out_h"]


def test_warm_up_agrees(answered):
    _, expected, ours = answered
    assert close(ours.warm_up_empty_h, expected["warm_up_empty_h"], share=0.12, least=0.15)
    assert close(ours.warm_up_loaded_h, expected["warm_up_loaded_h"], share=0.12, least=0.15)


def test_time_to_damage_agrees(answered):
    request, expected, ours = answered
    doors = any(stop["open_share"] > 0 for stop in request["trip"]["stops"])
    for hour, theirs in expected["damage_after_h"].items():
        assert close(ours.damage_after_h[int(hour)], theirs, share=0.25 if doors else 0.12, least=0.5)


def test_every_list_has_one_entry_per_hour(answered):
    request, _, ours = answered
    hours = len(request["trip"]["ambient_c"])
    path = ours.hours
    for values in (ours.damage_after_h, ours.plateau_h, path.at_h, path.air_c, path.edge_c, path.core_c):
        assert len(values) == hours
    assert path.fuel_l[-1] == pytest.approx(ours.fuel_l, abs=0.01)
