"""What the fleet's own history says about how often a heater fails."""

from thermal.ranges import Array, require

__all__ = ["failure_chance", "failure_posterior"]


def failure_posterior(
    *, failures: float, engine_h: float, prior_failures: float = 1.0, prior_engine_h: float = 1500.0
) -> tuple[float, float]:
    """Return the gamma posterior (failures a, engine hours b) of a heater's failure rate per engine hour.

    Parameters
    ----------
    failures : float
        Faults that stopped the heat in the history, 0 to 1e5 [-].
    engine_h : float
        Engine hours of that history, 0 to 1e8 [h].
    prior_failures, prior_engine_h : float
        Gamma prior; the default, one failure in 1500 engine hours, is an assumption that the fleet's moments replace.

    Returns
    -------
    a, b : float
        Fit for `Risk.failures` and `Risk.engine_h`; the mean rate is a/b.

    Notes
    -----
    Conjugate update `a = a0 + failures`, `b = b0 + engine_h` for a Poisson process.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.6.

    Examples
    --------
    >>> failure_posterior(failures=2, engine_h=1909, prior_failures=2, prior_engine_h=1400)
    (4.0, 3309.0)
    """
    a0 = require("prior_failures", prior_failures, 1e-3, 1e5)
    b0 = require("prior_engine_h", prior_engine_h, 1e-3, 1e8)
    return (
        a0 + require("failures", failures, 0.0, 1e5),
        b0 + require("engine_h", engine_h, 0.0, 1e8),
    )


def failure_chance(exposure_h: Array, *, failures: float | Array, engine_h: float | Array) -> Array:
    """Return the chance of at least one failure in `exposure_h` engine hours, shape of `exposure_h`.

    Parameters
    ----------
    exposure_h : ndarray
        Engine hours at risk, at least 0; hours that count only in part are weighted [h].
    failures, engine_h : float or ndarray, last axis of `exposure_h`
        Gamma posterior of the failure rate, see `failure_posterior`.

    Notes
    -----
    `1 - (1 + t/b)^(-a)`, the Poisson probability averaged over the gamma-distributed rate: exact for any number of
    failures, and a rate that is uncertain counts for what it is.
    """
    chance: Array = 1.0 - (1.0 + exposure_h / engine_h) ** (-failures)
    return chance
