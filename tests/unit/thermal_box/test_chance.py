"""The score: deterministic, honest about its error, and moving the right way."""

import numpy as np
import pytest
from scipy.special import ndtri
from scipy.stats import chi2, norm, qmc

from tests.unit.thermal_box.asks import ask
from thermal import EstimateRequest, Risk, Score, assess, warm
from thermal.chance import SE_GOAL
from thermal.columns import columns_of
from thermal.forecast import error_modes, error_sd, tail_scale
from thermal.lattice import DIMENSIONS, normals
from thermal.normal import chi2_quantile, normal_cdf
from thermal.worlds import Worlds, plan_of, run_worlds

HARD = (
    {"load__temperature_c": 4.0, "load__mass_kg": 3000.0, "risk__help_median_h": 10.0},
    {"heater__output_kw": 3.2, "load__mass_kg": 6000.0},
    {"load__damage_c": 3.5},
    {"fuel_l": 24.0, "load__mass_kg": 2000.0},
    {"load__high_c": 7.2, "trip__ambient_c": [9.0] * 49, "trip__stops": []},
    {"heater__output_kw": 3.2, "load__mass_kg": 6000.0, "risk__forecast_tail_df": 4.0},
)


def score(request: EstimateRequest, se_goal: float = SE_GOAL) -> Score:
    return assess(request.unit, load=request.load, trip=request.trip, risk=request.risk, se_goal=se_goal)


def plain_score(request: EstimateRequest, table: np.ndarray, monkeypatch: pytest.MonkeyPatch) -> float:
    """Return the plain mean over many worlds, no control variate."""
    monkeypatch.setattr("thermal.lattice.normals", lambda: table)
    plan, columns, lost = plan_of(request.trip, request.risk), columns_of([request.unit]), []
    for start in range(0, table.shape[1], 2048):
        worlds: Worlds = run_worlds(plan, columns, request.load, points=slice(start, start + 2048))
        out = (worlds.cold_margin <= 0) | (worlds.hot_margin <= 0)
        lost.append(np.where(out, 1.0, 1 - (1 - worlds.breakdown) * (1 - worlds.fuel)).mean())
    monkeypatch.undo()
    return 100 * (1 - float(np.mean(lost)))


def test_equal_inputs_give_equal_scores():
    first = score(ask())
    plan_of.cache_clear()
    warm()
    assert score(ask()) == first


@pytest.mark.parametrize("changes", HARD)
def test_the_standard_error_is_honest(changes, monkeypatch):
    request = ask(**changes)
    big = ndtri(qmc.Sobol(14, seed=71).random(16384)).T.copy()
    reference = plain_score(request, big, monkeypatch)
    for goal in (99.0, SE_GOAL):
        ours = score(request, se_goal=goal)
        assert abs(ours.score - reference) < 3 * ours.se + 0.2


def test_standard_error_is_below_half_a_point_on_clear_trips():
    for name in ("base_winter", "tiny_load", "refuel_in_time", "ambient_above_set"):
        assert score(ask(name)).se <= SE_GOAL


def test_causes_add_up_and_are_not_negative():
    for changes in HARD:
        ours = score(ask(**changes))
        parts = (ours.causes.cold, ours.causes.hot, ours.causes.fuel, ours.causes.breakdown)
        assert sum(parts) == pytest.approx(100 - ours.score, abs=1e-9)
        assert min(parts) >= 0


def test_the_cause_that_dominates_is_the_one_that_was_set_up():
    assert score(ask(fuel_l=5.0, load__mass_kg=2000.0)).causes.fuel > 10
    assert score(ask(heater__output_kw=1.6, load__mass_kg=2000.0)).causes.cold > 90
    assert score(ask(**HARD[4])).causes.hot > 10
    assert score(ask(risk__engine_h=20.0, load__mass_kg=1000.0, fuel_l=180.0)).causes.breakdown > 10


@pytest.mark.parametrize(
    ("worse", "better"),
    [
        ({"heater__output_kw": 3.0}, {"heater__output_kw": 4.0}),
        ({"fuel_l": 15.0}, {"fuel_l": 25.0}),
        ({"box__k_w_m2k": 0.9, "heater__output_kw": 4.0}, {"box__k_w_m2k": 0.7, "heater__output_kw": 4.0}),
        ({"load__damage_c": 4.0}, {"load__damage_c": 3.0}),
        ({"risk__help_median_h": 12.0, "load__mass_kg": 1000.0}, {"risk__help_median_h": 3.0, "load__mass_kg": 1000.0}),
        ({"risk__engine_h": 100.0, "load__mass_kg": 1000.0}, {"risk__engine_h": 2000.0, "load__mass_kg": 1000.0}),
        ({"load__high_c": 6.5}, {"load__high_c": 15.0}),
    ],
)
def test_a_better_input_gives_a_better_score(worse, better):
    assert score(ask(**worse)).score < score(ask(**better)).score


def test_a_colder_trip_is_never_better():
    scores = []
    for shift in (0.0, -6.0, -12.0, -18.0):
        ambient = [v + shift for v in ask().trip.ambient_c]
        scores.append(score(ask(trip__ambient_c=ambient, heater__output_kw=5.0, load__mass_kg=3000.0)).score)
    assert scores == sorted(scores, reverse=True)
    assert scores[-1] < scores[0] - 20


def test_a_longer_lead_is_less_certain():
    changes = {"heater__output_kw": 3.6, "load__mass_kg": 6000.0}
    assert score(ask(**changes, risk__lead_h=96.0)).score < score(ask(**changes)).score


def test_an_empty_box_has_nothing_to_lose():
    empty = score(ask(load__mass_kg=0.0))
    assert (empty.score, empty.se, empty.worlds) == (100.0, 0.0, 0)
    assert empty.coldest_edge_p10_c is None


def test_more_worlds_are_taken_only_where_they_are_needed():
    assert score(ask()).worlds == 128
    assert score(ask(**HARD[1]), se_goal=0.01).worlds == 512


def test_the_shipped_worlds_are_the_documented_recipe():
    made = ndtri(qmc.Sobol(14, seed=5).random(512)).T
    assert normals().shape == (len(DIMENSIONS), 512)
    assert np.abs(normals() - made).max() < 1e-12


def test_the_normal_distribution_is_good_to_seven_digits():
    x = np.linspace(-9, 9, 4001)
    assert np.abs(normal_cdf(x) - norm.cdf(x)).max() < 7.6e-8


@pytest.mark.parametrize("df", [2.5, 4.0, 30.0, 400.0])
def test_chi_square_quantiles(df):
    p = np.linspace(0.0005, 0.9995, 501)
    assert chi2_quantile(p, df=df) == pytest.approx(chi2.ppf(p, df), rel=2e-5)


def test_eight_modes_carry_the_forecast_error():
    risk = ask().risk
    modes = error_modes(risk, hours=72)
    assert (modes**2).sum() / (error_sd(risk, hours=72) ** 2).sum() > 0.91
    lag_24 = (modes[0] * modes[24]).sum() / np.sqrt((modes[0] ** 2).sum() * (modes[24] ** 2).sum())
    assert lag_24 == pytest.approx(np.exp(-1), abs=0.08)


@pytest.mark.parametrize("hours", [1, 2, 7, 24, 72, 240])
@pytest.mark.parametrize("correlation_h", [1.0, 24.0, 240.0])
def test_modes_are_those_of_a_general_eigenvalue_solver(hours, correlation_h):
    risk = Risk(forecast_sd_c=1.0, forecast_sd_per_day_c=0.0, forecast_correlation_h=correlation_h)
    at = np.arange(hours + 1)
    values, vectors = np.linalg.eigh(np.exp(-np.abs(at[:, None] - at) / correlation_h))
    largest = vectors[:, ::-1][:, :8] * np.sqrt(values[::-1][:8])
    ours = error_modes(risk, hours=hours)
    assert ours @ ours.T == pytest.approx(largest @ largest.T, abs=1e-8)


def test_heavy_tails_keep_the_variance_and_lose_the_middle():
    u = (np.arange(200_000) + 0.5) / 200_000
    scale = tail_scale(ndtri(u), df=4.0)
    assert (scale**2).mean() == pytest.approx(1.0, rel=0.01)
    assert np.median(scale) < 0.85
    assert (tail_scale(np.zeros(3), df=None) == 1.0).all()


def test_a_short_trip_has_fewer_modes_than_eight():
    assert score(ask(trip__ambient_c=[-20.0, -21.0, -22.0], trip__stops=[])).score > 99
