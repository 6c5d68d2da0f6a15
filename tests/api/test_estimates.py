"""The calculator answers the worked cases of an independent resolved-cycle simulation within its tolerances."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from fleet.models import Fleet, Role
from tests.conftest import Client

CASES = sorted((Path(__file__).parents[2] / "fixtures" / "thermal" / "cases").glob("*.json"))


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_the_endpoint_agrees_with_the_independent_simulation(path: Path, tarn: Fleet, client_of: Client) -> None:
    case = json.loads(path.read_text())
    response = client_of(tarn, Role.DISPATCHER).post("/api/v1/thermal/estimates/", case["request"], format="json")
    assert response.status_code == 200, response.content
    answer, expected = response.json(), case["expected"]
    edge_k = 0.7 if case["request"]["load"]["mass_kg"] >= 4000 else 1.0
    assert answer["coldest_edge_c"] == pytest.approx(expected["coldest_edge_c"], abs=edge_k)
    assert answer["fuel_l"] == pytest.approx(expected["fuel_l"], abs=max(0.7, 0.06 * expected["fuel_l"]))
    for name in ("warm_up_empty_h", "warm_up_loaded_h"):
        assert answer[name] == pytest.approx(expected[name], abs=max(0.15, 0.12 * expected[name]))
    low, high = expected["chance_ci95"]
    assert low - 0.035 <= answer["score"] / 100 <= high + 0.035
    assert sum(answer["causes"].values()) == pytest.approx(100 - answer["score"], abs=0.011)
    share = 0.25 if case["request"]["trip"]["stops"] else 0.12
    for hour, after_h in expected["damage_after_h"].items():
        got = answer["damage_after_h"][int(hour)]
        assert (got is None) == (after_h is None)
        if after_h is not None:
            assert got == pytest.approx(after_h, abs=max(0.5, share * after_h))


def minimal() -> dict[str, Any]:
    return {
        "box": {"k_w_m2k": 0.45, "area_m2": 147},
        "heater": {"output_kw": 8},
        "load": {"mass_kg": 9000, "temperature_c": 6},
        "trip": {"set_point_c": 5, "ambient_c": [-20] * 25},
    }


def test_what_is_left_out_is_named_with_its_default_and_source(tarn: Fleet, client_of: Client) -> None:
    answer = client_of(tarn, Role.INSPECTOR).post("/api/v1/thermal/estimates/", minimal(), format="json").json()
    assert any(line.startswith("heater.start_run_min: 3.0 min (common practice") for line in answer["defaults_used"])
    assert any("not a certificate" in line for line in answer["cautions"])


@pytest.mark.parametrize(
    ("group", "name", "value", "pointer"),
    [
        ("box", "k_w_m2k", 0, "/box/k_w_m2k"),
        ("box", "k_w_m2k", None, "/box/k_w_m2k"),
        ("heater", "output_kw", "8", "/heater/output_kw"),
        ("load", "mass_kg", -1, "/load/mass_kg"),
        ("load", "colour", "green", "/load/colour"),
        ("trip", "ambient_c", [-20], "/trip/ambient_c"),
        ("trip", "ambient_c", [-20, True], "/trip/ambient_c/1"),
        ("load", "high_c", -5, "/load/high_c"),
        ("heater", "output_low_kw", 7.9, "/heater/output_low_kw"),
        ("load", "commodity", "unheard-of", "/load/commodity"),
    ],
)
def test_a_bad_value_is_a_400_that_points_at_it(
    tarn: Fleet, client_of: Client, group: str, name: str, value: Any, pointer: str
) -> None:
    body = minimal()
    body[group][name] = value
    response = client_of(tarn, Role.DISPATCHER).post("/api/v1/thermal/estimates/", body, format="json")
    assert response.status_code == 400, response.content
    assert pointer in [error["pointer"] for error in response.json()["errors"]]


def test_fahrenheit_and_feet_give_the_same_answer(tarn: Fleet, client_of: Client) -> None:
    client = client_of(tarn, Role.DISPATCHER)
    body = minimal()
    metric = client.post("/api/v1/thermal/estimates/", body, format="json").json()
    body["load"]["temperature_c"] = {"value": 42.8, "unit": "degF"}
    body["trip"]["ambient_c"] = [{"value": -4, "unit": "degF"}] * 25
    imperial = client.post("/api/v1/thermal/estimates/", body, format="json").json()
    assert imperial == metric


def test_a_hazardous_commodity_is_refused_not_guessed(tarn: Fleet, client_of: Client) -> None:
    body = minimal()
    body["load"]["commodity"] = "solvent-paint"
    response = client_of(tarn, Role.DISPATCHER).post("/api/v1/thermal/estimates/", body, format="json")
    assert response.status_code == 422
    assert response.json()["type"] == "/docs/problems/hazardous-load/"


def test_a_commodity_stands_for_the_properties_it_states(tarn: Fleet, client_of: Client) -> None:
    """Banana: chilled below 13 °C (table, read), so the time to damage counts from there and not from freezing."""
    client = client_of(tarn, Role.DISPATCHER)
    body = minimal()
    body["load"] |= {"commodity": "banana", "temperature_c": 14.0}
    body["trip"]["set_point_c"] = 14.0
    banana = client.post("/api/v1/thermal/estimates/", body, format="json")
    assert banana.status_code == 200, banana.content
    del body["load"]["commodity"]
    body["load"] |= {"freezes_c": -0.8, "damage_c": 13.0, "high_c": 16.0, "cp_kj_kgk": 3.56, "latent_kj_kg": 249.0}
    spelled_out = client.post("/api/v1/thermal/estimates/", body, format="json").json()
    assert banana.json()["damage_after_h"] == spelled_out["damage_after_h"]
    assert banana.json()["score"] == spelled_out["score"]
    assert not any(line.startswith("load.freezes_c") for line in banana.json()["defaults_used"])
