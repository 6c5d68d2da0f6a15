"""The error of a temperature forecast over a trip: how large, how long it lasts, how heavy its tails are."""

from functools import lru_cache

import numpy as np

from thermal.normal import chi2_quantile, normal_cdf
from thermal.params import Risk
from thermal.ranges import Array

__all__ = ["MODES", "error_modes", "error_sd", "tail_scale"]

MODES = 8


def error_sd(risk: Risk, *, hours: int) -> Array:
    """Return the standard deviation of the forecast error at each whole hour of the trip, K, shape (hours + 1,).

    `sd = sqrt(sd0^2 + (sd_per_day lead/24)^2)`, lead counted from the issue of the forecast, not from departure.
    """
    lead_d = (risk.lead_h + np.arange(hours + 1)) / 24.0
    sd: Array = np.hypot(risk.forecast_sd_c, risk.forecast_sd_per_day_c * lead_d)
    return sd


def error_modes(risk: Risk, *, hours: int) -> Array:
    """Return the forecast error as modes of unit normals, K, shape (hours + 1, 8); error = modes @ z.

    The error is a first-order autoregression in time, `corr(i, j) = exp(-|i - j|/correlation_h)`; its eight largest
    modes carry 92 % of a three-day trip's variance, and the rest is too fast to move a load.
    """
    return error_sd(risk, hours=hours)[:, None] * _unit_modes(hours, risk.forecast_correlation_h)


@lru_cache(maxsize=128)
def _unit_modes(hours: int, correlation_h: float) -> Array:
    """Return the largest modes of `exp(-|i - j|/correlation_h)`, scaled by the roots of their variances, (hours + 1,
    8).

    Notes
    -----
    The inverse of this matrix is tridiagonal, so its eigenvectors are `cos((j - m) t)` and `sin((j - m) t)` about the
    middle m, with `cos((m + 1) t) = r cos(m t)` or `sin((m + 1) t) = r sin(m t)` at the ends, `r =
    exp(-1/correlation)`, and variance `(1 - r^2)/(1 - 2 r cos t + r^2)`; the k-th angle lies in `((k - 1) pi/n, k
    pi/n)` (Kac, Murdock & Szego 1953, from memory; the tests compare with a general solver). Closed form, so that the
    numbers do not depend on a linear algebra library, and the signs are fixed.
    """
    n, r = hours + 1, float(np.exp(-1.0 / correlation_h))
    count, middle = min(MODES, n), hours / 2
    order = np.arange(count)
    even = order % 2 == 0
    low, high = order * np.pi / n, (order + 1) * np.pi / n

    def end(angle: Array) -> Array:
        outer, inner = (middle + 1) * angle, middle * angle
        value: Array = np.where(even, np.cos(outer) - r * np.cos(inner), np.sin(outer) - r * np.sin(inner))
        return value

    rising = np.sign(end(high))
    for _ in range(52):
        angle = (low + high) / 2
        above = end(angle) * rising > 0
        low, high = np.where(above, low, angle), np.where(above, angle, high)
    angle = (low + high) / 2
    place = (np.arange(n) - middle)[:, None] * angle
    shape = np.where(even, np.cos(place), np.sin(place))
    variance = (1 - r * r) / (1 - 2 * r * np.cos(angle) + r * r)
    modes = np.zeros((n, MODES))
    modes[:, :count] = shape * np.sqrt(variance / (shape**2).sum(axis=0))
    modes.setflags(write=False)
    return modes


def tail_scale(z: Array, *, df: float | None) -> Array:
    """Return the factor that turns normal forecast errors into Student-t errors of the same variance, shape of `z`.

    Parameters
    ----------
    z : ndarray
        Standard normal deviates, one per world.
    df : float or None
        Degrees of freedom above 2; None is the normal distribution.

    Notes
    -----
    `sqrt((df - 2)/chi2_df)` with one chi-square per world: a forecast that is badly wrong is wrong for the whole
    trip.
    """
    if df is None:
        return np.ones_like(z)
    p = np.clip(normal_cdf(z), 1e-9, 1 - 1e-9)
    scale: Array = np.sqrt((df - 2.0) / chi2_quantile(p, df=df))
    return scale
