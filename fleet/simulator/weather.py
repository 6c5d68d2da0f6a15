"""Ambient temperature by the hour: made up, or a forecast with the error that the sky adds to it."""

from __future__ import annotations

import numpy as np

from fleet.simulator.quantities import Floats, Risk


def forecast_error(risk: Risk, *, hours: int, rng: np.random.Generator) -> Floats:
    """Return truth minus forecast for whole hours 0..hours [K], shape (hours + 1, n).

    Notes
    -----
    e_i = s_i x_i g, s_i^2 = sd^2 + (per_day lead_i)^2 with the lead in days, x a stationary AR(1) series of
    unit variance with the given correlation time, g a factor per world that makes the error Student-t with
    the stated degrees of freedom and the same variance (1 for the normal law).
    """
    n = len(risk.lead_h)
    keep = np.exp(-1.0 / risk.forecast_correlation_h)
    fresh = np.sqrt(1.0 - keep**2)
    noise = rng.standard_normal((hours + 1, n))
    series = np.empty_like(noise)
    series[0] = noise[0]
    for i in range(1, hours + 1):
        series[i] = keep * series[i - 1] + fresh * noise[i]
    lead_d = (risk.lead_h + np.arange(hours + 1)[:, None]) / 24.0
    spread = np.hypot(risk.forecast_sd_c, risk.forecast_sd_per_day_c * lead_d)
    return series * spread * tail_factor(risk.forecast_tail_df, rng)


def tail_factor(df: Floats, rng: np.random.Generator) -> Floats:
    """Return the factor that turns a normal error into a Student-t one of equal variance, shape (n,)."""
    finite = np.isfinite(df)
    usable = np.where(finite, df, 10.0)
    chi2 = rng.chisquare(usable)
    return np.where(finite, np.sqrt((usable - 2.0) / chi2), 1.0)


def at_time(hourly: Floats, hours: float) -> Floats:
    """Return the ambient at a time, linear between hourly values, shape (n,); the last value holds on."""
    last = len(hourly) - 1
    i = min(int(hours), last)
    part = min(hours - i, 1.0)
    return hourly[i] + (hourly[min(i + 1, last)] - hourly[i]) * part


def winter_series(*, hours: int, rng: np.random.Generator, mean_c: float = -14.0) -> Floats:
    """Return a made-up winter [degC], shape (hours + 1,): a daily swing on top of slow fronts.

    The fronts are AR(1) with 60 h correlation and 6 K sd, the day swings by 4 K with its low at 06:00, and
    each hour carries 0.3 K of its own. All assumptions; use a file for a real place.
    """
    keep = np.exp(-1.0 / 60.0)
    fronts = np.empty(hours + 1)
    level = 6.0 * rng.standard_normal()
    for i in range(hours + 1):
        fronts[i] = level
        level = keep * level + 6.0 * np.sqrt(1.0 - keep**2) * rng.standard_normal()
    swing = -4.0 * np.cos(2.0 * np.pi * (np.arange(hours + 1) - 6.0) / 24.0)
    return np.clip(mean_c + fronts + swing + 0.3 * rng.standard_normal(hours + 1), -58.0, 40.0)
