"""Lead-acid battery against US Army TM 5-1185, battery section (a government manual, 80 °F basis; read)."""

import pytest

from thermal.battery import charge_from_gravity, cranking_factor, freezing_c_from_gravity, rested_battery

WARM = {"battery_c": 26.6667, "rest_h": 8.0, "engine_on": False}


@pytest.mark.parametrize(
    ("gravity", "freezes_f"), [(1.280, -90.0), (1.250, -62.0), (1.200, -16.0), (1.150, 5.0), (1.100, 19.0)]
)
def test_the_acid_freezes_where_the_manual_says(gravity, freezes_f):
    # TM 5-1185, read: printed in °F.
    assert freezing_c_from_gravity(gravity) == pytest.approx((freezes_f - 32.0) / 1.8, abs=1e-9)


@pytest.mark.parametrize(
    ("gravity", "charge"), [(1.280, 1.0), (1.250, 0.75), (1.220, 0.5), (1.190, 0.25), (1.130, 0.0)]
)
def test_the_state_of_charge_is_the_manuals(gravity, charge):
    # TM 5-1185, read: 1.280 full, 1.130 discharged.
    assert charge_from_gravity(gravity) == pytest.approx(charge)


def test_almost_discharged_lies_between_a_quarter_and_nothing():
    # TM 5-1185, read: 1.160 is "almost discharged".
    assert 0.0 < charge_from_gravity(1.160) < 0.25


@pytest.mark.parametrize(
    ("rest_v", "gravity"), [(12.72, 1.28), (12.54, 1.25), (12.36, 1.22), (12.18, 1.19), (11.82, 1.13)]
)
def test_cell_volts_are_specific_gravity_plus_084(rest_v, gravity):
    # electrapk.com/lead-acid-battery-specific-gravity, read; six cells.
    state = rested_battery(rest_v, nominal_v=12, **WARM)
    assert state.gravity == pytest.approx(gravity, abs=1e-6)
    assert rested_battery(2 * rest_v, nominal_v=24, **WARM).charge == pytest.approx(state.charge)


@pytest.mark.parametrize(
    ("battery_c", "share", "tolerance"), [(26.7, 1.00, 0.0), (-1.1, 0.65, 1e-3), (-17.8, 0.40, 1e-3)]
)
def test_cranking_strength_is_the_manuals(battery_c, share, tolerance):
    # TM 5-1185, read: 100 % at 80 °F, 65 % at 30 °F, 40 % at 0 °F.
    assert cranking_factor(battery_c) == pytest.approx(share, abs=tolerance)


def test_below_the_last_line_cranking_strength_is_never_higher():
    # TM 5-1185, read: 40 % at 0 °F is the last line.
    assert cranking_factor(-30.0) < 0.40


def test_a_flat_battery_is_frozen_at_minus_ten():
    # TM 5-1185, read: SG 1.100 freezes at 19 °F.
    assert freezing_c_from_gravity(1.100) > -10.0


def test_a_three_quarter_battery_is_not_frozen_at_minus_forty():
    # TM 5-1185, read: SG 1.250 freezes at -62 °F.
    assert freezing_c_from_gravity(1.250) < -40.0


def test_twelve_volts_at_minus_fifteen_is_a_freeze_risk():
    # SG about 1.16 by electrapk.com and TM 5-1185, read; the margin is thinner than 5 K.
    state = rested_battery(12.0, nominal_v=12, battery_c=-15.0, rest_h=8.0, engine_on=False)
    assert -15.0 - state.freezes_c < 5.0
    assert state.charge < 0.25
