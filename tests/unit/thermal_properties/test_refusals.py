"""Every numeric argument of every property function refuses what is not a number in its range, by name."""

from functools import partial

import numpy as np
import pytest

from thermal import atp, battery, certificate, coolant, diesel, door, food
from thermal.errors import Missing, OutOfRange

DOORWAY = {"width_m": 2.4, "height_m": 2.6, "inside_c": 10.0, "outside_c": -20.0}
OPENING = {"heat_flow_w": 9e4, "open_s": 60.0, "box_volume_m3": 85.0, "inside_c": 10.0, "outside_c": -20.0}
BATTERY = {"rest_v": 12.6, "battery_c": 0.0, "rest_h": 5.0}

GOOD = [
    (coolant.freezing_c_from_volume, {"glycol_vol_pct": 50.0}),
    (coolant.freezing_c_from_mass, {"glycol_mass_pct": 50.0}),
    (coolant.mass_from_volume, {"glycol_vol_pct": 50.0}),
    (coolant.volume_from_mass, {"glycol_mass_pct": 50.0}),
    (coolant.volume_from_freezing_c, {"freezes_c": -20.0}),
    (coolant.coolant_margin_k, {"glycol_vol_pct": 50.0, "coldest_c": -30.0}),
    (partial(battery.rested_battery, nominal_v=12, engine_on=False), BATTERY),
    (battery.charge_from_gravity, {"gravity": 1.2}),
    (battery.freezing_c_from_gravity, {"gravity": 1.2}),
    (battery.cranking_factor, {"battery_c": -10.0}),
    (
        partial(diesel.flow_at, grade=diesel.fuel_grade("en590-f")),
        {"fuel_c": 0.0, "cloud_c": -5.0, "margin_k": 3.0},
    ),
    (diesel.litres_for_heat_kwh, {"heat_kwh": 10.0, "efficiency": 0.8}),
    (diesel.heat_kwh_from_litres, {"fuel_l": 10.0, "efficiency": 0.8}),
    (door.air_density, {"temp_c": 0.0, "pressure_pa": 1e5}),
    (door.door_flow, {**DOORWAY, "flow_factor": 0.8, "effectiveness": 0.1}),
    (door.door_heat, {**DOORWAY, "flow_factor": 0.8, "effectiveness": 0.1}),
    (door.door_conductance, {**DOORWAY, "flow_factor": 0.8, "effectiveness": 0.1}),
    (door.opening_heat, {**OPENING, "regained_w": 100.0}),
    (food.heat_capacity_for_cooling, {"water": 0.8}),
    (food.heat_capacity_for_warming, {"water": 0.8}),
    (food.heat_capacity_frozen, {"water": 0.8}),
    (food.latent_heat, {"water": 0.8}),
    (food.nzifst_above, {"water": 0.8}),
    (food.nzifst_below, {"water": 0.8}),
    (food.nzifst_latent, {"water": 0.8}),
    (food.freezing_c_of_solution, {"solute": 0.1, "solute_g_mol": 46.0, "water": 0.8}),
    (atp.mean_surface, {"inside_m2": 100.0, "outside_m2": 120.0}),
    (atp.k_value, {"heat_w": 1000.0, "surface_m2": 100.0, "difference_k": 25.0}),
    (atp.insulation_class, {"k_w_m2k": 0.4, "width_m": 2.6, "wall_mm": 45.0}),
    (atp.heated_class_for, {"outside_c": -20.0}),
    (atp.heat_loss_w, {"k_w_m2k": 0.4, "surface_m2": 130.0, "outside_c": -20.0, "inside_c": 12.0}),
    (atp.reserve_ratio, {"heater_w": 4000.0, "loss_w": 1664.0, "factor": 1.35}),
    (certificate.highest_yearly_growth, {"new_k": 0.4, "old_k": 0.7, "years": 12.0}),
    (certificate.aged_k, {"new_k": 0.4, "years": 5.0, "yearly_growth": 0.03}),
]
ARGUMENTS = [
    pytest.param(function, good, name, id=f"{getattr(function, 'func', function).__name__}-{name}")
    for function, good in GOOD
    for name in good
]
OPTIONAL = {"wall_mm", "cloud_c", "water"}  # None has a meaning of its own for these


@pytest.mark.parametrize(("function", "good", "name"), ARGUMENTS)
@pytest.mark.parametrize(
    "bad", [float("nan"), float("inf"), -float("inf"), 1e12, -1e12, True, "12"], ids=lambda bad: f"{bad!r}"
)
def test_a_wrong_number_raises_and_names_its_argument(function, good, name, bad):
    function(**good)
    with pytest.raises(OutOfRange) as caught:
        function(**{**good, name: bad})
    assert caught.value.field == name


@pytest.mark.parametrize(("function", "good", "name"), [case for case in ARGUMENTS if case.values[2] not in OPTIONAL])
def test_a_missing_number_raises_and_names_its_argument(function, good, name):
    with pytest.raises(Missing) as caught:
        function(**{**good, name: None})
    assert caught.value.field == name


VECTORISED = [
    (coolant.freezing_c_from_volume, {}, "glycol_vol_pct", np.linspace(0.0, 100.0, 7)),
    (coolant.volume_from_freezing_c, {}, "freezes_c", np.linspace(-55.0, 0.0, 7)),
    (coolant.coolant_margin_k, {"coldest_c": -30.0}, "glycol_vol_pct", np.linspace(0.0, 60.0, 7)),
    (battery.charge_from_gravity, {}, "gravity", np.linspace(1.0, 1.33, 7)),
    (battery.freezing_c_from_gravity, {}, "gravity", np.linspace(1.0, 1.33, 7)),
    (battery.cranking_factor, {}, "battery_c", np.linspace(-60.0, 60.0, 7)),
    (diesel.litres_for_heat_kwh, {"efficiency": 0.7}, "heat_kwh", np.linspace(0.0, 90.0, 7)),
    (door.door_flow, {**DOORWAY}, "outside_c", np.linspace(-40.0, 30.0, 8)),
    (door.door_heat, {**DOORWAY}, "inside_c", np.linspace(-40.0, 30.0, 8)),
    (door.opening_heat, {**OPENING}, "open_s", np.linspace(0.0, 900.0, 7)),
    (food.heat_capacity_for_cooling, {}, "water", np.linspace(0.0, 1.0, 7)),
    (food.heat_capacity_for_warming, {}, "water", np.linspace(0.0, 1.0, 7)),
    (food.freezing_c_of_solution, {"solute_g_mol": 46.07}, "solute", np.linspace(0.0, 0.3, 7)),
]


@pytest.mark.parametrize(("function", "fixed", "name", "values"), VECTORISED)
def test_an_array_gives_what_its_elements_give_one_by_one(function, fixed, name, values):
    grid = values.reshape(-1, 1)
    result = function(**{**fixed, name: grid})
    assert result.shape == grid.shape
    single = [function(**{**fixed, name: float(value)}) for value in values]
    assert all(type(value) is float for value in single)
    np.testing.assert_allclose(result.ravel(), single, rtol=1e-12, atol=1e-12)
