"""What the box model is asked about: box, heater, unit, load, stop, start state, trip and risk.

Frozen values that refuse a wrong number when they are made. Field names, units, defaults and ranges are the rows of
`thermal.defaults`; temperatures are degC, times hours from departure unless the name says minutes, heat kW.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any, cast

from thermal.defaults import REQUIRED, field_of
from thermal.errors import Missing, OutOfRange
from thermal.ranges import require

__all__ = ["Box", "Heater", "Load", "Risk", "Start", "Stop", "Trip", "Unit", "help_gsd"]

MAX_HOURS = 336


def _default(name: str) -> Any:
    return field_of(name).default


def _check(group: str, value: Any) -> None:
    """Check every plain number of a dataclass against its row; None passes only where the row's default is None."""
    for item in fields(value):
        name = f"{group}.{item.name}"
        row = field_of(name)
        given = getattr(value, item.name)
        if isinstance(row.default, bool):
            if not isinstance(given, bool):
                raise OutOfRange(f"{name} must be true or false", field=name, value=given)
        elif (
            isinstance(row.default, tuple)
            or name == "trip.ambient_c"
            or (given is None and (row.default is None or name == "risk.forecast_tail_df"))
        ):
            continue
        else:
            require(name, given, row.low, row.high)


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """An insulated box. `k_w_m2k` is the value when new unless `age_y` is 0; see `thermal.defaults`."""

    k_w_m2k: float
    area_m2: float
    volume_m3: float = _default("box.volume_m3")
    age_y: float = _default("box.age_y")
    ageing_per_y: float = _default("box.ageing_per_y")
    moving_factor: float = _default("box.moving_factor")
    contact_share: float = _default("box.contact_share")
    lining_kj_m2k: float = _default("box.lining_kj_m2k")
    lining_film_w_m2k: float = _default("box.lining_film_w_m2k")
    door_width_m: float = _default("box.door_width_m")
    door_height_m: float = _default("box.door_height_m")
    door_flow: float = _default("box.door_flow")
    curtain: float = _default("box.curtain")

    def __post_init__(self) -> None:
        _check("box", self)
        shell = self.k_w_m2k * min(1.4, 1 + self.ageing_per_y * self.age_y) * self.moving_factor
        if shell >= 0.95 * self.lining_film_w_m2k:
            raise OutOfRange(
                "box.k_w_m2k leaves no wall behind the lining film: the shell must pass less heat than the film",
                field="box.k_w_m2k",
                value=self.k_w_m2k,
                limit=0.95 * self.lining_film_w_m2k,
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Heater:
    """A heater with limited output. `output_low_kw`/`burn_low_l_h` above 0: the engine never stops between runs."""

    output_kw: float
    derate: float = _default("heater.derate")
    output_low_kw: float = _default("heater.output_low_kw")
    coolant_lag_min: float = _default("heater.coolant_lag_min")
    hysteresis_k: float = _default("heater.hysteresis_k")
    min_on_min: float = _default("heater.min_on_min")
    min_off_min: float = _default("heater.min_off_min")
    burn_high_l_h: float = _default("heater.burn_high_l_h")
    burn_low_l_h: float = _default("heater.burn_low_l_h")
    tank_l: float = _default("heater.tank_l")
    start_run_min: float = _default("heater.start_run_min")

    def __post_init__(self) -> None:
        _check("heater", self)
        _not_above("heater.output_low_kw", self.output_low_kw, 0.95 * self.output_kw * self.derate)
        _not_above("heater.burn_low_l_h", self.burn_low_l_h, self.burn_high_l_h)


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A box with its heater, the fuel in its tank (None: full) and the reserve [L] it should arrive with."""

    box: Box
    heater: Heater
    fuel_l: float | None = None
    reserve_l: float = _default("reserve_l")

    def __post_init__(self) -> None:
        require("reserve_l", self.reserve_l, field_of("reserve_l").low, field_of("reserve_l").high)
        if self.fuel_l is not None:
            require("fuel_l", self.fuel_l, 0.0, self.heater.tank_l)

    @property
    def fuel_at_start_l(self) -> float:
        return self.heater.tank_l if self.fuel_l is None else self.fuel_l


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """What is carried. `damage_c` None: the freezing point; `high_c` None: no warm limit is judged."""

    mass_kg: float
    temperature_c: float
    cp_kj_kgk: float = _default("load.cp_kj_kgk")
    edge_share: float = _default("load.edge_share")
    freezes_c: float = _default("load.freezes_c")
    damage_c: float | None = None
    high_c: float | None = None
    latent_kj_kg: float = _default("load.latent_kj_kg")
    edge_film_w_m2k: float = _default("load.edge_film_w_m2k")
    full_area_m2: float = _default("load.full_area_m2")
    full_mass_kg: float = _default("load.full_mass_kg")
    bulk_w_mk: float = _default("load.bulk_w_mk")
    full_depth_m: float = _default("load.full_depth_m")
    respiration_w_kg: float = _default("load.respiration_w_kg")

    def __post_init__(self) -> None:
        _check("load", self)
        if self.high_c is not None and self.high_c <= self.damage_limit_c:
            raise OutOfRange(
                f"load.high_c must be above the damage limit {self.damage_limit_c:g}",
                field="load.high_c",
                value=self.high_c,
                limit=self.damage_limit_c,
            )

    @property
    def damage_limit_c(self) -> float:
        return self.freezes_c if self.damage_c is None else self.damage_c


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """A stop: doors open for `open_share` of it, tank filled at its start when `refuel`, no heat when
    `heater_off`."""

    at_h: float
    duration_h: float
    open_share: float = _default("stop.open_share")
    refuel: bool = False
    heater_off: bool = False

    def __post_init__(self) -> None:
        _check("stop", self)

    @property
    def end_h(self) -> float:
        return self.at_h + self.duration_h


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """The state a forecast starts from, as far as it was measured [degC]; None keeps the planned value.

    `lining_c` wins over `air_c`; from air alone the lining is put where it rests between air and ambient. `edge_c`
    and `core_c` replace the loading temperature. `heater_hot` says the coolant is warm, so heat comes at once.
    """

    lining_c: float | None = None
    air_c: float | None = None
    edge_c: float | None = None
    core_c: float | None = None
    heater_hot: bool = False

    def __post_init__(self) -> None:
        for name in ("lining_c", "air_c", "edge_c", "core_c"):
            if getattr(self, name) is not None:
                require(f"start.{name}", getattr(self, name), -70.0, 80.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trip:
    """Set point, ambient at whole hours from departure (linear in between), stops, and the state at the start.

    The trip ends at the last whole hour given; round an arrival up. `box_start_c` None: the box starts at the set
    point.
    """

    set_point_c: float
    ambient_c: tuple[float, ...]
    stops: tuple[Stop, ...] = ()
    box_start_c: float | None = None
    start: Start | None = None

    def __post_init__(self) -> None:
        for name in ("set_point_c", "box_start_c"):
            row = field_of(f"trip.{name}")
            if getattr(self, name) is not None or row.default is REQUIRED:
                require(row.name, getattr(self, name), row.low, row.high)
        object.__setattr__(self, "ambient_c", _hourly(self.ambient_c))
        object.__setattr__(self, "stops", _in_order(self.stops, hours=self.hours))

    @property
    def hours(self) -> int:
        return len(self.ambient_c) - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Risk:
    """How uncertain the inputs are, how often the heater fails (gamma posterior) and how long help takes."""

    sd_ln_k: float = _default("risk.sd_ln_k")
    sd_ln_output: float = _default("risk.sd_ln_output")
    sd_ln_edge_film: float = _default("risk.sd_ln_edge_film")
    sd_load_c: float = _default("risk.sd_load_c")
    sd_damage_c: float = _default("risk.sd_damage_c")
    sd_ln_burn: float = _default("risk.sd_ln_burn")
    sd_gauge_share: float = _default("risk.sd_gauge_share")
    forecast_sd_c: float = _default("risk.forecast_sd_c")
    forecast_sd_per_day_c: float = _default("risk.forecast_sd_per_day_c")
    forecast_correlation_h: float = _default("risk.forecast_correlation_h")
    forecast_tail_df: float | None = _default("risk.forecast_tail_df")
    lead_h: float = _default("risk.lead_h")
    failures: float = _default("risk.failures")
    engine_h: float = _default("risk.engine_h")
    help_median_h: float = _default("risk.help_median_h")
    help_gsd: float = _default("risk.help_gsd")

    def __post_init__(self) -> None:
        _check("risk", self)


def help_gsd(*, median_h: float, p90_h: float) -> float:
    """Return the geometric standard deviation of a lognormal help time from its median and 90 % point [h].

    `GSD = (p90 / median) ** (1 / 1.2816)`; 1.2816 is the 90 % point of the standard normal.

    Examples
    --------
    >>> round(help_gsd(median_h=4.0, p90_h=8.5), 3)
    1.801
    """
    median = require("help_median_h", median_h, field_of("risk.help_median_h").low, 240.0)
    p90 = require("help_p90_h", p90_h, median * 1.013, 5000.0)
    return cast(float, (p90 / median) ** (1 / 1.2816))


def _not_above(name: str, value: float, limit: float) -> None:
    if value > limit:
        raise OutOfRange(f"{name} must be at most {limit:g}", field=name, value=value, limit=limit)


def _hourly(values: Sequence[float]) -> tuple[float, ...]:
    row = field_of("trip.ambient_c")
    if not isinstance(values, (tuple, list)) or not 2 <= len(values) <= MAX_HOURS + 1:
        if values is None:
            raise Missing("trip.ambient_c")
        limit = (2, MAX_HOURS + 1)
        raise OutOfRange(f"trip.ambient_c must be {limit[0]} to {limit[1]} hourly values", field=row.name, limit=limit)
    return tuple(require(f"trip.ambient_c[{i}]", v, row.low, row.high) for i, v in enumerate(values))


def _in_order(stops: Sequence[Stop], *, hours: int) -> tuple[Stop, ...]:
    ordered = tuple(sorted(stops, key=lambda stop: stop.at_h))
    for i, stop in enumerate(ordered):
        if stop.end_h > hours + 1e-9:
            raise OutOfRange(
                "trip.stops: a stop ends after the trip", field="trip.stops", value=stop.end_h, limit=hours
            )
        if i and stop.at_h < ordered[i - 1].end_h - 1e-9:
            raise OutOfRange("trip.stops: two stops overlap", field="trip.stops", value=stop.at_h)
    return ordered
