"""Sensors: noise, steps, drift, stuck values, sensors that were never fitted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fleet.simulator.samples import FLAGS, MEASURED, Samples
from fleet.simulator.sensors import CHARACTER, Sensors, Stuck, draw_sensors

AIR, AMBIENT = MEASURED.index("return_air_c"), MEASURED.index("ambient_c")
DAY_S = 86_400


def samples(n: int, *, first_s: int = 0) -> Samples:
    """Return n samples of unit 0, a minute apart, everything at 5."""
    return Samples(
        unit=np.zeros(n, dtype=np.int64),
        at_s=first_s + 60 * np.arange(n),
        measured=np.full((len(MEASURED), n), 5.0),
        flags=np.zeros((len(FLAGS), n), dtype=np.bool_),
    )


def perfect() -> Sensors:
    """Return the sensors of two units without offset, drift or failure, all fitted."""
    sensors = draw_sensors(units=2, horizon_s=DAY_S, rng=np.random.default_rng(1))
    zero = np.zeros_like(sensors.offset)
    return replace(sensors, offset=zero, drift_per_day=zero, fitted=zero == 0, stuck=[], held={})


def read(sensors: Sensors, what: Samples) -> np.ndarray:
    """Return what the sensors show."""
    return sensors.read(what, rng=np.random.default_rng(2))


def test_noise_has_its_spread_and_values_their_step() -> None:
    shown = read(perfect(), samples(5000))[AIR]
    assert shown.mean() == pytest.approx(5.0, abs=0.02)
    assert shown.std() == pytest.approx(0.3, rel=0.05)
    assert np.abs(shown * 10 - np.round(shown * 10)).max() < 1e-9


def test_a_set_point_and_a_standstill_are_exact() -> None:
    what = samples(200)
    what.measured[MEASURED.index("speed_km_h")] = 0.0
    shown = read(perfect(), what)
    assert set(shown[MEASURED.index("set_point_c")]) == {5.0}
    assert set(shown[MEASURED.index("speed_km_h")]) == {0.0}


def test_drift_grows_with_time() -> None:
    sensors = perfect()
    sensors.drift_per_day[AIR, 0] = 0.5
    early, late = read(sensors, samples(2000))[AIR].mean(), read(sensors, samples(2000, first_s=4 * DAY_S))[AIR].mean()
    assert late - early == pytest.approx(2.0, abs=0.05)


def test_a_stuck_sensor_shows_one_value_across_days_and_only_while_it_is_stuck() -> None:
    sensors = replace(perfect(), stuck=[Stuck(0, "ambient_c", 600.0, 6000.0)])
    first, second = read(sensors, samples(50)), read(sensors, samples(100, first_s=3000))
    held = set(first[AMBIENT, 10:]) | set(second[AMBIENT, :50])
    assert len(held) == 1
    assert len(set(first[AMBIENT, :10])) > 1
    assert len(set(second[AMBIENT, 50:])) > 1
    assert len(set(first[AIR, 10:])) > 1


def test_a_sensor_that_was_never_fitted_shows_nothing() -> None:
    sensors = perfect()
    sensors.fitted[AMBIENT, 0] = False
    shown = read(sensors, samples(3))
    assert np.isnan(shown[AMBIENT]).all()
    assert not np.isnan(shown[AIR]).any()


def test_fuel_is_never_negative() -> None:
    what = samples(500)
    what.measured[MEASURED.index("fuel_l")] = 0.1
    assert read(perfect(), what)[MEASURED.index("fuel_l")].min() == 0.0


def test_spells_and_fittings_are_drawn_as_often_as_stated() -> None:
    sensors = draw_sensors(units=2000, horizon_s=10 * DAY_S, rng=np.random.default_rng(1))
    expected = 0.02 * 2000 * 10
    assert len(sensors.stuck) == pytest.approx(expected, abs=4 * np.sqrt(expected))
    for row, name in enumerate(MEASURED):
        share = CHARACTER[name][3]
        assert sensors.fitted[row].mean() == pytest.approx(share, abs=4 * np.sqrt(share * (1 - share) / 2000))
    records = sensors.records(tuple(f"U{i}" for i in range(2000)))
    assert {record["kind"] for record in records} == {"sensor_stuck", "sensor_drift"}
