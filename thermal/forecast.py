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
    at = np.arange(hours + 1)
    values, vectors = np.linalg.eigh(np.exp(-np.abs(at[:, None] - at) / correlation_h))
    count = min(MODES, hours + 1)
    modes = np.zeros((hours + 1, MODES))
    modes[:, :count] = (vectors * np.sqrt(np.maximum(values, 0.0)))[:, ::-1][:, :count]
    # Eigenvectors are known up to their sign: fix it, or equal inputs could give unequal scores.
    largest = np.argmax(np.abs(modes), axis=0)
    modes *= np.where(modes[largest, np.arange(MODES)] < 0, -1.0, 1.0)
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
