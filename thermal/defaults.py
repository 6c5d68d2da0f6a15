"""The one table of every input of the box model: default, range, unit and where the default comes from.

`thermal.params` takes its defaults and limits from here, the calculator lists from here what it assumed, and
docs/thermal-method.md prints it. A `source` that starts with "assumption" is our judgement and is meant to be replaced
by the carrier's own data; "required" has no default and raises when it is missing.
"""

from dataclasses import dataclass
from typing import Final

from thermal.errors import ThermalError

__all__ = ["FIELDS", "REQUIRED", "Field", "UnknownField", "default_of", "field_of"]


class UnknownField(ThermalError):
    """A name that the table does not know."""

    code = "unknown-field"


class _Required:
    """Marks a field that has no default."""

    def __repr__(self) -> str:
        return "required"


REQUIRED: Final = _Required()


@dataclass(frozen=True, slots=True)
class Field:
    """One input: `name` as in the calculator's request, inclusive `low`..`high`, `unit`, `source` of the default."""

    name: str
    default: object
    low: float
    high: float
    unit: str
    source: str


_A = "assumption"
_GEOMETRY = f"{_A}: a 13.6 m semi-trailer"
_PRACTICE = "common practice, no source"
_FOOD = f"{_A}: produce near carrots or cabbage; food tables say 3.5-4.2 kJ/kgK and 250-330 kJ/kg"

FIELDS: Final[tuple[Field, ...]] = (
    Field("box.k_w_m2k", REQUIRED, 0.1, 3.0, "W/m2K", "required: the certificate value when new"),
    Field("box.area_m2", REQUIRED, 1.0, 400.0, "m2", "required: sqrt(inner area x outer area)"),
    Field("box.volume_m3", 85.0, 0.5, 200.0, "m3", _GEOMETRY),
    Field("box.age_y", 0.0, 0.0, 60.0, "years", f"{_A}: the K value given is the present one"),
    Field(
        "box.ageing_per_y",
        0.03,
        0.0,
        0.1,
        "1/year",
        f"{_A}: foam literature 2-5 %/y, from memory; capped at +40 %",
    ),
    Field(
        "box.moving_factor",
        1.10,
        0.8,
        2.0,
        "-",
        "outside film alone about 1.07 (computed); leakage is an assumption",
    ),
    Field("box.contact_share", 0.08, 0.0, 0.5, "-", f"{_A}: share of the shell that a full load touches"),
    Field("box.lining_kj_m2k", 9.0, 1.0, 40.0, "kJ/m2K", f"{_A}: liner, floor and inner foam"),
    Field("box.lining_film_w_m2k", 8.0, 3.0, 50.0, "W/m2K", "EN ISO 6946 inner film, 1/0.13, from memory"),
    Field("box.door_width_m", 2.4, 0.3, 6.0, "m", _GEOMETRY),
    Field("box.door_height_m", 2.5, 0.3, 5.0, "m", _GEOMETRY),
    Field("box.door_flow", 0.8, 0.0, 1.0, "-", f"{_A}: doorway flow factor of the door formula"),
    Field("box.curtain", 0.0, 0.0, 0.99, "-", "no curtain; strips reach about 0.8-0.93"),
    Field("heater.output_kw", REQUIRED, 0.2, 60.0, "kW", "required: rated heat output"),
    Field("heater.derate", 0.90, 0.1, 1.0, "-", f"{_A}: share of the rated output that reaches the box"),
    Field("heater.output_low_kw", 0.0, 0.0, 60.0, "kW", "start-stop heater: no low fire"),
    Field("heater.coolant_lag_min", 4.0, 0.0, 20.0, "min", f"{_A}: 2-6 min"),
    Field("heater.hysteresis_k", 1.0, 0.05, 5.0, "K", _PRACTICE),
    Field("heater.min_on_min", 10.0, 0.0, 60.0, "min", _PRACTICE),
    Field("heater.min_off_min", 5.0, 0.0, 60.0, "min", _PRACTICE),
    Field("heater.start_run_min", 3.0, 0.0, 60.0, "min", _PRACTICE),
    Field("heater.burn_high_l_h", 1.10, 0.0, 20.0, "L/h", f"{_A}: 7.2 kW / (0.65 x 9.95 kWh/L)"),
    Field("heater.burn_low_l_h", 0.0, 0.0, 20.0, "L/h", "start-stop heater: engine stops between runs"),
    Field("heater.tank_l", 190.0, 1.0, 2000.0, "L", f"{_A}: a common tank size"),
    Field("fuel_l", None, 0.0, 2000.0, "L", f"{_A}: a full tank when not given"),
    Field("reserve_l", 15.0, 0.0, 500.0, "L", f"{_A}: the policy's smallest reserve"),
    Field("load.mass_kg", REQUIRED, 0.0, 60000.0, "kg", "required; 0 is an empty box"),
    Field("load.temperature_c", REQUIRED, -40.0, 60.0, "degC", "required: at loading"),
    Field("load.cp_kj_kgk", 3.6, 0.2, 4.5, "kJ/kgK", _FOOD),
    Field("load.edge_share", 0.15, 0.01, 0.9, "-", f"{_A}: share of the mass in the outer layer"),
    Field("load.freezes_c", -1.0, -40.0, 20.0, "degC", f"{_A}: first ice of produce, food tables -0.2 to -1.6"),
    Field("load.damage_c", None, -40.0, 40.0, "degC", "the freezing point when not given"),
    Field("load.high_c", None, -40.0, 80.0, "degC", "no warm limit is judged when not given"),
    Field("load.latent_kj_kg", 280.0, 1.0, 340.0, "kJ/kg", _FOOD),
    Field("load.edge_film_w_m2k", 4.0, 0.5, 30.0, "W/m2K", f"{_A}: packed goods in fan air, 2-8"),
    Field("load.full_area_m2", 90.0, 1.0, 500.0, "m2", f"{_A}: exposed surface of a full load"),
    Field("load.full_mass_kg", 20000.0, 100.0, 60000.0, "kg", _GEOMETRY),
    Field("load.bulk_w_mk", 0.4, 0.02, 5.0, "W/mK", f"{_A}: fruit 0.3-0.6 with gaps"),
    Field("load.full_depth_m", 0.25, 0.01, 2.0, "m", f"{_A}: edge to core of a full load"),
    Field("load.respiration_w_kg", 0.0, 0.0, 0.5, "W/kg", "none: cautious on the cold side; produce 0.01-0.03"),
    Field("trip.set_point_c", REQUIRED, -30.0, 40.0, "degC", "required"),
    Field("trip.ambient_c", REQUIRED, -70.0, 60.0, "degC", "required: at whole hours from departure"),
    Field("trip.stops", (), 0.0, 0.0, "-", "no stops"),
    Field("trip.box_start_c", None, -70.0, 60.0, "degC", "the box starts at the set point"),
    Field("stop.at_h", REQUIRED, 0.0, 336.0, "h", "required: from departure"),
    Field("stop.duration_h", REQUIRED, 0.01, 48.0, "h", "required"),
    Field("stop.open_share", 1.0, 0.0, 1.0, "-", f"{_A}: doors open for the whole stop, the cold reading"),
    Field("stop.refuel", False, 0.0, 0.0, "-", "no fill"),
    Field("stop.heater_off", False, 0.0, 0.0, "-", "the heater stays on"),
    Field("risk.sd_ln_k", 0.08, 0.0, 0.5, "-", f"{_A}: its own when learned, 0.15 without a certificate"),
    Field("risk.sd_ln_output", 0.07, 0.0, 0.5, "-", _A),
    Field("risk.sd_ln_edge_film", 0.25, 0.0, 1.0, "-", _A),
    Field("risk.sd_load_c", 0.5, 0.0, 5.0, "K", _A),
    Field("risk.sd_damage_c", 0.2, 0.0, 3.0, "K", _A),
    Field("risk.sd_ln_burn", 0.08, 0.0, 0.5, "-", _A),
    Field("risk.sd_gauge_share", 0.04, 0.0, 0.5, "of tank", _A),
    Field("risk.forecast_sd_c", 1.2, 0.0, 15.0, "K", "fits a winter verification: MAE 1.03 K on day 1"),
    Field(
        "risk.forecast_sd_per_day_c",
        0.5,
        0.0,
        5.0,
        "K/day",
        "fits the same verification: MAE 2.32 K on day 5",
    ),
    Field("risk.forecast_correlation_h", 24.0, 1.0, 240.0, "h", f"{_A}: 12-36 h"),
    Field(
        "risk.forecast_tail_df",
        4.0,
        2.1,
        1000.0,
        "-",
        f"{_A}: heavy tails; 68 % and 3 % rates of a forecast study give 2.9",
    ),
    Field("risk.lead_h", 0.0, 0.0, 240.0, "h", f"{_A}: the forecast was issued at departure"),
    Field("risk.failures", 1.0, 0.01, 1e6, "-", f"{_A}: prior of one failure"),
    Field("risk.engine_h", 1500.0, 1.0, 1e9, "h", f"{_A}: in 1500 engine hours"),
    Field("risk.help_median_h", 4.0, 0.05, 240.0, "h", f"{_A}: detection and help"),
    Field("risk.help_gsd", 1.8, 1.01, 10.0, "-", f"{_A}: geometric spread of that time"),
)

_BY_NAME: Final = {field.name: field for field in FIELDS}


def field_of(name: str) -> Field:
    """Return the row of the table called `name`.

    Raises
    ------
    UnknownField
        No such row.
    """
    try:
        return _BY_NAME[name]
    except KeyError:
        raise UnknownField(f"{name} is not an input of the box model", field=name) from None


def default_of(name: str) -> object:
    """Return the default of an optional input, None where "not given" has its own meaning."""
    field = field_of(name)
    if field.default is REQUIRED:
        raise UnknownField(f"{name} has no default", field=name)
    return field.default
