"""Whether the heater is strong enough: heat it can give against heat the shell loses, hour by hour."""

from dataclasses import dataclass

import numpy as np

from thermal.columns import Columns
from thermal.params import Trip
from thermal.ranges import Array

__all__ = ["Capacity", "capacity_of"]

PESSIMISTIC = 0.10
SPAN_H = 12


@dataclass(frozen=True, slots=True)
class Capacity:
    """Heat available over heat needed; None where no heat is needed.

    ratio and worst_h: at the worst hour; ratio_12h: on the worst mean of 12 hours; pessimistic and pessimistic_12h:
    the same with a tenth more loss and a tenth less output; needed_kw, available_kw at the worst hour [kW].
    """

    ratio: float | None
    worst_h: float | None
    ratio_12h: float | None
    pessimistic: float | None
    pessimistic_12h: float | None
    needed_kw: float
    available_kw: float


def capacity_of(columns: Columns, trip: Trip) -> Capacity:
    """Return the heat margin of one unit (w = 1) on a trip.

    `Q_max / (UA (T_set - T_amb))` with shut doors. An ambient at or above the set point needs no heat, which is None
    and not infinity.
    """
    span = trip.set_point_c - np.array(trip.ambient_c)
    loss, output = float(columns.ua_full[0]), float(columns.q_max[0])
    worst = int(span.argmax())
    window = min(SPAN_H + 1, len(span))
    means = np.convolve(np.maximum(span, 0.0), _trapezoid(window), mode="valid")
    worse = (1 - PESSIMISTIC) / (1 + PESSIMISTIC)

    def ratio(kelvin: float) -> float | None:
        return output / (loss * kelvin) if kelvin > 0 else None

    hourly, mean = ratio(float(span[worst])), ratio(float(means.max()))
    return Capacity(
        ratio=hourly,
        worst_h=float(worst) if hourly is not None else None,
        ratio_12h=mean,
        pessimistic=None if hourly is None else hourly * worse,
        pessimistic_12h=None if mean is None else mean * worse,
        needed_kw=max(float(span[worst]), 0.0) * loss / 1e3,
        available_kw=output / 1e3,
    )


def _trapezoid(points: int) -> Array:
    weights = np.ones(points)
    weights[0] = weights[-1] = 0.5
    shares: Array = weights / weights.sum()
    return shares
