"""Whether the heater is strong enough: heat it can give against heat the shell loses, hour by hour."""

from typing import NamedTuple

import numpy as np

from thermal.columns import Columns
from thermal.params import Trip
from thermal.ranges import Array

__all__ = ["Capacity", "capacities_of", "capacity_of"]

PESSIMISTIC = 0.10
SPAN_H = 12


class Capacity(NamedTuple):
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
    """Return the heat margin of one unit (w = 1) on a trip; see `capacities_of`."""
    return capacities_of(columns, trip)[0]


def capacities_of(columns: Columns, trip: Trip) -> list[Capacity]:
    """Return the heat margin of each unit on a trip, in their order.

    `Q_max / (UA (T_set - T_amb))` with shut doors. An ambient at or above the set point needs no heat, which is None
    and not infinity.
    """
    span = trip.set_point_c - np.array(trip.ambient_c)
    worst = int(span.argmax())
    window = min(SPAN_H + 1, len(span))
    means = np.convolve(np.maximum(span, 0.0), _trapezoid(window), mode="valid")
    hour_k, mean_k = float(span[worst]), float(means.max())
    units = zip(columns.ua_full.tolist(), columns.q_max.tolist(), strict=True)
    return [_capacity(loss, output, worst_h=worst, hour_k=hour_k, mean_k=mean_k) for loss, output in units]


def _capacity(loss: float, output: float, *, worst_h: int, hour_k: float, mean_k: float) -> Capacity:
    """Return the margin of `output` [W] over `loss` [W/K] at the worst hour and on the worst mean [K]."""
    worse = (1 - PESSIMISTIC) / (1 + PESSIMISTIC)
    hourly = output / (loss * hour_k) if hour_k > 0 else None
    mean = output / (loss * mean_k) if mean_k > 0 else None
    return Capacity(
        ratio=hourly,
        worst_h=float(worst_h) if hourly is not None else None,
        ratio_12h=mean,
        pessimistic=None if hourly is None else hourly * worse,
        pessimistic_12h=None if mean is None else mean * worse,
        needed_kw=max(hour_k, 0.0) * loss / 1e3,
        available_kw=output / 1e3,
    )


def _trapezoid(points: int) -> Array:
    weights = np.ones(points)
    weights[0] = weights[-1] = 0.5
    shares: Array = weights / weights.sum()
    return shares
