"""Conversions against factors that do not come from Pint.

Exact definitions, from memory: 1 in = 2.54 cm, 1 lb = 0.453 592 37 kg (1959 agreement), 1 imperial gallon =
4.546 09 L, 1 US gallon = 231 in³, 1 Btu (International Table) = 1055.055 852 62 J. The rest is computed
from them.
"""

import pytest

from fleet.http.fields import QuantityField
from fleet.http.quantities import UNITS, UnknownUnit, convert, unit_names

INCH_M = 0.0254
FOOT_M = 12 * INCH_M
POUND_KG = 0.45359237
BTU_J = 1055.05585262
US_GALLON_L = 231 * INCH_M**3 * 1000

TABLE = [
    # Fixed points of the scales: 32 degF = 0 degC, 212 degF = 100 degC, -40 is the same on both.
    ("c", 32, "degF", 0.0),
    ("c", 212, "degF", 100.0),
    ("c", -40, "degF", -40.0),
    ("c", 44, "degF", 12 / 1.8),
    ("c", -130, "degF", -90.0),
    ("c", 273.15, "K", 0.0),
    ("c", 5, "degC", 5.0),
    # A difference has no offset.
    ("k", 9, "delta_degF", 5.0),
    ("k", 3, "delta_degC", 3.0),
    ("k", 3, "K", 3.0),
    ("kw", 9500, "W", 9.5),
    ("kw", 1, "Btu/h", BTU_J / 3.6e6),
    ("w", 1, "kW", 1000.0),
    ("kwh", 3.6, "MJ", 1.0),
    ("l", 1, "gal", US_GALLON_L),
    ("l", 1, "imp_gal", 4.54609),
    ("l", 0.088, "m3", 88.0),
    ("l_h", 1, "gal/h", US_GALLON_L),
    ("v", 12_700, "mV", 12.7),
    ("a", 500, "mA", 0.5),
    ("h", 90, "min", 1.5),
    ("h", 1, "d", 24.0),
    ("min", 0.5, "h", 30.0),
    ("s", 2, "min", 120.0),
    ("kg", 18, "t", 18_000.0),
    ("kg", 1, "lb", POUND_KG),
    ("m", 1, "ft", FOOT_M),
    ("m2", 1, "ft2", FOOT_M**2),
    ("m3", 1, "ft3", FOOT_M**3),
    ("m3", 1500, "L", 1.5),
    ("m_s", 90, "km/h", 25.0),
    ("m_s", 1, "mph", 5280 * FOOT_M / 3600),
    ("w_m2k", 1, "Btu/(h.ft2.degF)", BTU_J * 1.8 / 3600 / FOOT_M**2),
    ("w_k", 1, "Btu/(h.degF)", BTU_J * 1.8 / 3600),
    ("kj_kgk", 1, "Btu/(lb.degF)", BTU_J * 1.8 / POUND_KG / 1000),
    ("kj_kg", 1, "Btu/lb", BTU_J / POUND_KG / 1000),
    ("kg_m3", 1, "lb/ft3", POUND_KG / FOOT_M**3),
]


@pytest.mark.parametrize(("unit", "value", "name", "expected"), TABLE)
def test_a_foreign_unit_is_converted_by_its_definition(unit, value, name, expected):
    assert convert(value, name, unit=unit) == pytest.approx(expected, rel=1e-11, abs=1e-9)


def test_a_limit_written_in_another_unit_is_exactly_the_limit():
    assert convert(-130, "degF", unit="c") == -90.0
    field = QuantityField(unit="c", min_value=-90, max_value=70)
    assert field.to_internal_value({"value": -130, "unit": "degF"}) == -90.0


@pytest.mark.parametrize("unit", UNITS)
def test_every_name_of_the_list_is_one_the_unit_library_knows_and_ours_comes_first(unit):
    assert convert(1.25, unit_names(unit)[0], unit=unit) == 1.25
    for name in unit_names(unit):
        assert convert(1.0, name, unit=unit) != 0


@pytest.mark.parametrize(
    ("unit", "name"),
    [
        ("c", "C"),  # coulomb
        ("c", "celsius"),
        ("c", "delta_degC"),
        ("k", "degC"),
        ("l", "gallon"),
        ("kw", "hp"),  # mechanical or metric? Nobody knows.
        ("kg", ""),
        ("kg", "kg * 2"),
        ("kg", "__import__('os')"),
        ("h", "year ** 9999"),
    ],
)
def test_a_name_outside_the_list_is_refused_even_where_the_unit_library_knows_it(unit, name):
    with pytest.raises(UnknownUnit, match="is not one of"):
        convert(1.0, name, unit=unit)


def test_the_suffixes_of_the_contract_all_have_a_dimension():
    suffixes = ["c", "k", "kw", "l", "l_h", "v", "h", "min", "kg", "pct", "m2", "m3", "w_m2k"]
    assert set(suffixes) <= UNITS.keys()
