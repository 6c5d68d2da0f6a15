"""Many candidates in one pass get the findings that each of them gets alone: same verdict, same order."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pytest
from msgspec.structs import replace

from fleet.readiness.assess import Answer, assess
from fleet.readiness.facts import Facts, Known
from fleet.readiness.findings import NOTHING, Finding, Outcome
from fleet.trips.candidates import rank_key
from tests.unit.facts import AMBIENT, NOW, H, facts, load, under_way, unit_facts
from thermal import nominal
from thermal.adapter.checks import CHECKS
from thermal.adapter.forecasts import RANK_FROM, Forecast, gather
from thermal.outlook import Outlook

pytestmark = pytest.mark.django_db

COLDER = tuple((at, temp_c - 12.0) for at, temp_c in AMBIENT)
NEAR = 2.0
"""Points: a screened score may lie this far from one that was looked at closely."""


def a_fleet(n: int, *, seed: int, trip: Facts) -> list[Facts]:
    """The same trip with random units: poor and good boxes, weak and strong heaters, low and full tanks."""
    rng = np.random.default_rng(seed)
    made = []
    for i in range(n):
        design = {
            "k_w_m2k": float(rng.uniform(0.38, 0.7)),
            "heater_output_kw": float(rng.uniform(3.0, 9.0)),
            "burn_high_l_h": float(rng.uniform(0.8, 2.5)),
        }
        values = {"fuel_l": float(rng.uniform(8, 180)), "return_air_c": float(rng.choice([7.1, -4.0]))}
        unit = unit_facts(id=100 + i, number=f"U-{i:03d}", design=design, values=values)
        made.append(replace(trip, unit=unit))
    return made


def told_alone(result: Forecast) -> Forecast:
    """The same answer with the plan that `thermal.nominal` makes for this unit alone."""
    asked = result.inputs
    plan = nominal(asked.unit, load=asked.load, trip=asked.trip, risk=asked.risk)
    shared = {name: getattr(plan, name) for name in Outlook._fields if name != "heated"}
    return replace(result, nominal=Outlook(**shared, heated=result.nominal.heated))


@pytest.mark.parametrize(
    ("trip", "now"),
    [(facts(), NOW), (facts(ambient=COLDER), NOW), (under_way(), NOW + 9 * H)],
    ids=["winter", "severe", "under way"],
)
def test_findings_of_many_are_those_of_each_alone(trip: Facts, now: datetime) -> None:
    fleet = a_fleet(60, seed=2, trip=trip)
    results = gather(fleet, now)
    seen: set[Outcome] = set()
    for of in fleet:
        result = results[(of.trip.id, of.unit.id)]
        assert isinstance(result, Forecast)
        assert result.ranked
        shown = replace(result, ranked=False)
        for check in CHECKS:
            if of.trip.phase in check.phases:
                finding = check.judge(of, shown, now)
                assert finding == check.judge(of, told_alone(shown), now)
                if check.id != "thermal.chance":
                    assert among_many(finding) == check.judge(of, result, now)
                seen.add(finding.outcome)
    assert {Outcome.PASS, Outcome.CONCERN, Outcome.BLOCK} <= seen


@pytest.mark.parametrize("seed", [1, 4, 9])
def test_the_verdict_among_many_is_the_verdict_alone(seed: int) -> None:
    trip = facts(ambient=COLDER, policy={"score_floor": 50.0, "score_ready": 90.0})
    fleet = a_fleet(40, seed=seed, trip=trip)
    together = assess(fleet, now=NOW)
    compared = 0
    for answer in together:
        alone = assess([answer.facts], now=NOW)[0]
        assert alone.score is not None
        assert answer.score == pytest.approx(alone.score, abs=NEAR)
        assert without_chance(answer) == without_chance(alone), "word for word"
        limits = (answer.facts.policy.score_floor, answer.facts.policy.score_ready)
        if min(abs(alone.score - limit) for limit in limits) > NEAR:
            assert (answer.verdict, outcomes(answer)) == (alone.verdict, outcomes(alone))
            compared += 1
    assert compared > 20


def without_chance(answer: Answer) -> list[Finding]:
    """All but the one finding that a ranking may look at more coarsely."""
    return [among_many(finding) for finding in answer.findings if finding.check != "thermal.chance"]


def among_many(finding: Finding) -> Finding:
    """The finding without what only a single answer shows."""
    return replace(finding, contributes=NOTHING)


def outcomes(answer: Answer) -> list[tuple[str, Outcome]]:
    return [(finding.check, finding.outcome) for finding in answer.findings]


def test_the_order_does_not_depend_on_the_order_of_asking() -> None:
    fleet = a_fleet(70, seed=6, trip=facts())
    one, other = (
        [answer.facts.unit.number for answer in sorted(assess(many, now=NOW), key=rank_key)]
        for many in (fleet, fleet[::-1])
    )
    assert one == other


def test_remedies_that_cost_further_runs_are_left_to_the_single_answer() -> None:
    far_from_help = facts(
        loads=[load(mass_kg=1500.0)], ambient=COLDER, help_median_h=10.0, help_p90_h=20.0,
        policy={"score_floor": 1.0, "score_ready": 99.5},
    )  # fmt: skip
    weak = a_fleet(RANK_FROM, seed=8, trip=far_from_help)

    def chance(of: Answer) -> Finding:
        return next(finding for finding in of.findings if finding.check == "thermal.chance")

    concerned = [answer for answer in assess(weak, now=NOW) if chance(answer).outcome is Outcome.CONCERN]
    assert concerned
    assert all(chance(answer).remedy is None for answer in concerned)
    assert any(chance(assess([answer.facts], now=NOW)[0]).remedy is not None for answer in concerned)


def test_units_that_have_run_for_different_hours_are_scored_together() -> None:
    """No two units of a fleet have the same failure rate; asked one by one a thousand would take seconds."""
    fleet = a_fleet(RANK_FROM, seed=3, trip=facts())
    ran = [
        replace(
            of,
            unit=replace(
                of.unit,
                values=dict(of.unit.values) | {"engine_hours_h": Known(2000.0 + 90.0 * i, NOW - H, "gateway")},
                facts=dict(of.unit.facts) | {"fleet.first_engine_hours": Known(900.0, NOW - 90 * H, "gateway")},
            ),
        )
        for i, of in enumerate(fleet)
    ]
    results = gather(ran, NOW)
    forecasts = [results[(of.trip.id, of.unit.id)] for of in ran]
    assert all(isinstance(one, Forecast) and one.ranked for one in forecasts)
    assert len({one.inputs.risk for one in forecasts if isinstance(one, Forecast)}) == RANK_FROM
