"""Wrong numbers are refused by the name of their field."""

import math

import pytest

from tests.unit.thermal_box.asks import asked
from thermal import Missing, OutOfRange, ThermalError, help_gsd, request_of
from thermal.defaults import FIELDS, REQUIRED, UnknownField, default_of


@pytest.mark.parametrize("row", [f for f in FIELDS if "." in f.name and f.low < f.high], ids=lambda f: f.name)
def test_every_number_is_refused_outside_its_range(row):
    group, _, field = row.name.partition(".")
    if group == "stop":
        raw = asked(trip__stops=[{"at_h": 1.0, "duration_h": 0.5}])
        target, path = raw["trip"]["stops"][0], f"trip.stops[0].{field}"
    else:
        raw = asked()
        target, path = raw[group], row.name
    for wrong in (math.nan, math.inf, row.high + 1, row.low - 1, True, "5"):
        target[field] = [wrong] * 49 if row.name == "trip.ambient_c" else wrong
        with pytest.raises(OutOfRange) as caught:
            request_of(raw)
        assert caught.value.field.removesuffix("[0]") == path


@pytest.mark.parametrize("row", [f for f in FIELDS if f.default is REQUIRED], ids=lambda f: f.name)
def test_a_missing_required_field_is_named(row):
    group, _, field = row.name.partition(".")
    raw = asked(trip__stops=[{"at_h": 1.0, "duration_h": 0.5}])
    target = raw["trip"]["stops"][0] if group == "stop" else raw[group]
    del target[field]
    with pytest.raises(Missing) as caught:
        request_of(raw)
    assert caught.value.field == (f"trip.stops[0].{field}" if group == "stop" else row.name)


@pytest.mark.parametrize("group", ["box", "heater", "load", "trip"])
def test_a_missing_group_names_its_first_required_field(group):
    raw = asked()
    del raw[group]
    with pytest.raises(Missing) as caught:
        request_of(raw)
    assert caught.value.field.startswith(f"{group}.")


@pytest.mark.parametrize(
    ("raw", "field"),
    [
        (asked(load__high_c=-2.0), "load.high_c"),
        (asked(heater__output_low_kw=7.5), "heater.output_low_kw"),
        (asked(heater__burn_low_l_h=2.0), "heater.burn_low_l_h"),
        (asked(fuel_l=191.0), "fuel_l"),
        (asked(box__k_w_m2k=3.0, box__lining_film_w_m2k=3.0), "box.k_w_m2k"),
        (asked(trip__stops=[{"at_h": 71.9, "duration_h": 1.0}]), "trip.stops"),
        (asked(trip__stops=[{"at_h": 5, "duration_h": 2.0}, {"at_h": 6, "duration_h": 1.0}]), "trip.stops"),
        (asked(trip__ambient_c=[-5.0]), "trip.ambient_c"),
        (asked(trip__stops=[{"at_h": 5, "duration_h": 2.0, "refuel": 1}]), "trip.stops[0].refuel"),
        (asked(trip__stops="none"), "trip.stops"),
    ],
)
def test_values_that_contradict_each_other_are_refused(raw, field):
    with pytest.raises(OutOfRange) as caught:
        request_of(raw)
    assert caught.value.field == field


def test_an_unknown_field_is_refused():
    for raw, field in ((asked(box__colour="red"), "box.colour"), (asked(colour="red"), "colour")):
        with pytest.raises(UnknownField) as caught:
            request_of(raw)
        assert caught.value.field == field


def test_every_error_is_one_family():
    assert issubclass(UnknownField, ThermalError)
    with pytest.raises(ThermalError):
        default_of("box.area_m2")


def test_help_spread_from_median_and_ninetieth():
    assert help_gsd(median_h=4.0, p90_h=4.0 * 1.8**1.2816) == pytest.approx(1.8)
    with pytest.raises(OutOfRange):
        help_gsd(median_h=4.0, p90_h=4.0)
