"""Random hard trips: the nominal answer against resolved cycles, far from the four worked cases.

A hundred such trips were compared while the model was made (docs/thermal-method.md has the table); these few keep it
so.
"""

from typing import Any

import numpy as np
import pytest

from tests.unit.thermal_box import oracle
from tests.unit.thermal_box.asks import asked
from thermal import assess, nominal, request_of


def random_request(seed: int) -> dict[str, Any]:
    """Return a trip of 24 h with odd box, heater, load, stops, start and fuel."""
    rng = np.random.default_rng(seed)
    raw = asked()
    raw["box"] |= {
        "k_w_m2k": rng.uniform(0.35, 0.7),
        "contact_share": rng.uniform(0.04, 0.15),
        "lining_kj_m2k": rng.uniform(6, 12),
        "lining_film_w_m2k": rng.uniform(6, 10),
        "curtain": float(rng.choice([0.0, 0.8])),
    }
    raw["heater"] |= {
        "output_kw": rng.uniform(3.5, 10),
        "coolant_lag_min": rng.uniform(2, 6),
        "hysteresis_k": rng.uniform(0.5, 1.5),
        "min_on_min": rng.uniform(3, 15),
        "start_run_min": float(rng.choice([0, 3])),
    }
    if seed % 3 == 0:
        raw["heater"] |= {"output_low_kw": rng.uniform(0.5, 1.5), "burn_low_l_h": rng.uniform(0.1, 0.3)}
    raw["load"] |= {
        "mass_kg": float(np.exp(rng.uniform(np.log(400), np.log(20000)))),
        "edge_film_w_m2k": rng.uniform(2, 8),
        "respiration_w_kg": float(rng.choice([0.0, 0.02])),
        "high_c": 25.0,
    }
    mean, amplitude = rng.uniform(-30, 5), rng.uniform(2, 10)
    hours = np.arange(25)
    raw["trip"]["ambient_c"] = (mean + amplitude * np.sin(2 * np.pi * (hours + rng.uniform(0, 24)) / 24)).tolist()
    raw["trip"]["stops"] = [
        {
            "at_h": float(at + rng.uniform(0, 0.5)),
            "duration_h": rng.uniform(0.15, 1.0),
            "open_share": float(rng.choice([0.0, 0.5, 1.0])),
            "refuel": bool(rng.random() < 0.3),
            "heater_off": bool(rng.random() < 0.4),
        }
        for at in rng.choice([4, 9, 14, 19], int(rng.choice([0, 1, 2])), replace=False)
    ]
    raw["trip"]["box_start_c"] = float(rng.uniform(-10, 4)) if seed % 4 == 1 else None
    raw["fuel_l"] = float(rng.choice([120.0, 60.0, 8.0]))
    return raw


@pytest.mark.parametrize("seed", range(8))
def test_a_random_trip_agrees_with_resolved_cycles(seed):
    raw = random_request(seed)
    theirs = oracle.simulate(raw, oracle.nominal_world(raw))
    request = request_of(raw)
    plan = nominal(request.unit, load=request.load, trip=request.trip)
    assert plan.coldest_edge_c == pytest.approx(
        float(theirs["coldest"][0]), abs=0.7 if request.load.mass_kg > 4000 else 1.0
    )
    assert plan.warmest_c == pytest.approx(float(theirs["warmest"][0]), abs=0.7)
    assert plan.fuel_l == pytest.approx(float(theirs["fuel"][0]), rel=0.06, abs=0.7)
    assert plan.engine_h == pytest.approx(float(theirs["engine"][0]), rel=0.06, abs=0.7)


@pytest.mark.parametrize(
    "changes",
    [
        {"heater__output_kw": 3.3, "load__mass_kg": 5000.0, "trip__stops": []},
        {"load__mass_kg": 700.0, "risk__engine_h": 150.0, "trip__stops": []},
    ],
)
def test_a_middling_score_agrees_with_simulated_trips(changes):
    """Six hundred simulated trips leave an interval of about four points either side."""
    raw = asked(**changes)
    raw["trip"]["ambient_c"] = raw["trip"]["ambient_c"][12:37]
    ended = oracle.simulate(raw, oracle.random_worlds(raw, 600, 5))["lost"]
    request = request_of(raw)
    ours = assess(request.unit, load=request.load, trip=request.trip, risk=request.risk).score / 100
    theirs = 1 - ended.mean()
    assert abs(ours - theirs) < 0.035 + 2 * np.sqrt(max(theirs * (1 - theirs), 0.01) / 600)
