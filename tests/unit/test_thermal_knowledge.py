"""What a forecast takes for the unit: paper, test or learning, and that it says which."""

from __future__ import annotations

import pytest

from tests.unit.facts import NOW, facts
from thermal.adapter.checks.capacity import judge
from thermal.adapter.forecasts import Forecast, gather
from thermal.adapter.inputs import Inputs, inputs_of

LEARNED_K = {"k_w_m2k": 0.6, "sd_ln": 0.052, "hours": 85.0}
LEARNED_HEATER = {"output": 0.9, "output_sd_ln": 0.05, "burn": 1.1, "burn_sd_ln": 0.03, "hours": 85.0}


def asked(**said: object) -> Inputs:
    found = inputs_of(facts(said=said), NOW)
    assert isinstance(found, Inputs)
    return found


def test_a_learned_k_brings_its_own_spread_rounded_up() -> None:
    inputs = asked(**{"thermal.k_w_m2k": LEARNED_K})
    assert (inputs.unit.box.k_w_m2k, inputs.k_source) == (0.6, "learned")
    assert inputs.risk.sd_ln_k == pytest.approx(0.06)


def test_a_fact_that_was_taken_back_leaves_the_design() -> None:
    assert asked(**{"thermal.k_w_m2k": None}) == asked()


def test_learned_output_and_burn_change_the_heater() -> None:
    paper, learned = asked().unit.heater, asked(**{"thermal.heater": LEARNED_HEATER})
    assert learned.unit.heater.output_kw == pytest.approx(0.9 * paper.output_kw)
    assert learned.unit.heater.burn_high_l_h == pytest.approx(1.1 * paper.burn_high_l_h)
    assert learned.risk.sd_ln_burn == pytest.approx(0.03)


def test_a_gauge_that_reads_high_is_not_believed_by_so_much() -> None:
    paper, learned = asked().unit, asked(**{"thermal.heater": {**LEARNED_HEATER, "gauge_high_l": 8.0}}).unit
    assert paper.fuel_l is not None
    assert learned.fuel_l == pytest.approx(paper.fuel_l - 8.0)


def test_a_finding_says_where_each_value_is_from() -> None:
    for said, words in (
        ({}, ("design data", "heat output by design", "burn by design")),
        (
            {"thermal.k_w_m2k": LEARNED_K, "thermal.heater": LEARNED_HEATER},
            ("K 0.60 W/m2K (learned from 85 h of heating)", "heat output 90 % of the design (learned)"),
        ),
    ):
        one = facts(said=said)
        forecast = gather([one], NOW)[(one.trip.id, one.unit.id)]
        assert isinstance(forecast, Forecast)
        source = judge(one, forecast, NOW).source
        assert all(word in source for word in words), source
