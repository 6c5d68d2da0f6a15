"""Units with risks of their own are scored together, and each as if it stood alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.unit.thermal_box.test_outlook import LOAD, SAME, STOPS, a_fleet
from thermal import OutOfRange, Risk, assess, nominal, rank
from thermal.outlook import outlooks
from thermal.own_risk import own_risks, shared_risk
from thermal.prepared import prepare

RISK = Risk(lead_h=9.0)
COLDER = replace(STOPS, ambient_c=tuple(temp_c - 14.0 for temp_c in STOPS.ambient_c))


def own_values(n: int, *, seed: int) -> list[Risk]:
    rng = np.random.default_rng(seed)
    return [
        replace(
            RISK,
            sd_ln_k=float(rng.uniform(0.02, 0.15)),
            sd_ln_output=float(rng.uniform(0.02, 0.1)),
            sd_ln_burn=float(rng.uniform(0.05, 0.2)),
            failures=float(rng.integers(1, 9)),
            engine_h=float(rng.uniform(1500.0, 9000.0)),
        )
        for _ in range(n)
    ]


def test_the_best_of_many_score_as_each_does_alone() -> None:
    fleet, risks = a_fleet(12, seed=7), own_values(12, seed=1)
    together = rank(fleet, load=LOAD, trip=COLDER, risk=shared_risk(RISK), top=12, prepared=prepare(fleet, LOAD, risks))
    alone = [assess(unit, load=LOAD, trip=COLDER, risk=risk) for unit, risk in zip(fleet, risks, strict=True)]
    assert len({score.score for score in alone}) > 6
    for one, other in zip(together, alone, strict=True):
        assert one.score == pytest.approx(other.score, abs=1e-6)
        assert one.se == pytest.approx(other.se, abs=1e-6)


def test_the_screen_takes_each_units_own_values() -> None:
    fleet, risks = a_fleet(70, seed=3), own_values(70, seed=2)
    together = rank(
        fleet, load=LOAD, trip=COLDER, risk=shared_risk(RISK), top=0, se_goal=100.0,
        prepared=prepare(fleet, LOAD, risks),
    )  # fmt: skip
    for unit, risk, score in list(zip(fleet, risks, together, strict=True))[::9]:
        one = rank([unit], load=LOAD, trip=COLDER, risk=risk, top=0, se_goal=100.0)[0]
        assert score.score == pytest.approx(one.score, abs=1e-4)


def test_the_chance_of_a_leg_takes_each_units_own_burn() -> None:
    fleet, risks = a_fleet(9, seed=5, fuel_l=(10.0, 60.0)), own_values(9, seed=4)
    prepared = prepare(fleet, LOAD, risks)
    plans = outlooks(fleet, load=LOAD, trip=STOPS, risk=shared_risk(RISK), prepared=prepared)
    for plan, unit, risk in zip(plans, fleet, risks, strict=True):
        alone = nominal(unit, load=LOAD, trip=STOPS, risk=risk)
        for mine, theirs in zip(plan.legs, alone.legs, strict=True):
            assert mine.chance_above_reserve == pytest.approx(theirs.chance_above_reserve, abs=SAME)


def test_what_is_the_trips_must_be_shared() -> None:
    with pytest.raises(OutOfRange, match="share"):
        own_risks([RISK, replace(RISK, help_median_h=2.0)])
    assert shared_risk(own_values(1, seed=1)[0]) == shared_risk(RISK)
