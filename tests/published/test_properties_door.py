"""Open-door exchange against the Gosney-Olama equation as ASHRAE gives it, with CoolProp's air."""

import pytest
from CoolProp.CoolProp import PropsSI

from thermal.door import CP_AIR, GOSNEY_OLAMA, air_density, door_flow, door_heat, opening_heat


def test_the_factor_in_si_is_the_published_one_in_feet_and_minutes():
    # 13.26 ft3/min form, IRC 2017 notes, scribd 434795483, read: the equation is homogeneous, so only
    # minutes change.
    published = 13.26 / 60.0
    assert published == pytest.approx(GOSNEY_OLAMA)


@pytest.mark.parametrize(
    ("size_m", "cold_c", "warm_c", "flow_m3s", "heat_kw"),
    [
        # The equation above with dry air of CoolProp 8.0.0, computed independently of this project.
        ((2.4, 2.6), -20.0, 10.0, 2.207, 92.95),
        ((2.4, 2.6), -30.0, 5.0, 2.392, 122.4),
        ((1.0, 2.0), -20.0, 20.0, 0.698, 39.18),
    ],
)
def test_flow_and_heat_agree_with_the_equation(size_m, cold_c, warm_c, flow_m3s, heat_kw):
    door = {"width_m": size_m[0], "height_m": size_m[1], "inside_c": warm_c, "outside_c": cold_c}
    assert door_flow(**door) == pytest.approx(flow_m3s, rel=5e-3)
    assert door_heat(**door) / 1000.0 == pytest.approx(heat_kw, rel=5e-3)


@pytest.mark.parametrize("temp_c", [-40.0, -30.0, -20.0, 5.0, 10.0, 20.0])
def test_air_is_the_librarys_air(temp_c):
    # CoolProp 8.0.0, dry air at 1 atm, computed.
    library = {name: PropsSI(name, "T", temp_c + 273.15, "P", 101_325, "Air") for name in "DC"}
    assert air_density(temp_c) == pytest.approx(library["D"], rel=2e-3)
    assert library["C"] == pytest.approx(CP_AIR, rel=1e-3)


@pytest.mark.parametrize(("curtain", "kept"), [(0.93, 0.07), (0.80, 0.20), (0.50, 0.50)])
def test_curtains_keep_back_what_is_published(curtain, kept):
    # Strips 93 %, vertical air curtains 50-80 %: same notes, read; Pham and Oliver 1983 report -93 and
    # -75..-80 %.
    door = {"width_m": 2.4, "height_m": 2.6, "inside_c": 10.0, "outside_c": -20.0}
    assert door_flow(**door, effectiveness=curtain) / door_flow(**door) == pytest.approx(kept)


def test_the_air_of_a_long_box_is_gone_in_well_under_a_minute():
    # "Heating with the doors open is waste": common practice, no source. 85 m3 at 2.2 m3/s last about 40 s,
    # so an hour with doors open costs the air content once and then whatever heater, walls and load give
    # back.
    door = {"width_m": 2.4, "height_m": 2.6, "inside_c": 10.0, "outside_c": -20.0}
    box = {"box_volume_m3": 85.0, "inside_c": 10.0, "outside_c": -20.0}
    heat_w = door_heat(**door)
    idle = opening_heat(heat_w, open_s=3600.0, **box)
    heated = opening_heat(heat_w, open_s=3600.0, **box, regained_w=8000.0)
    assert opening_heat(heat_w, open_s=60.0, **box) == idle < 60.0 * heat_w
    assert heated - idle == pytest.approx(8000.0 * 3600.0)
