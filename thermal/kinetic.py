"""Mean kinetic temperature of a record of temperatures: what one steady temperature would have done the same."""

import numpy as np

from thermal.errors import OutOfRange
from thermal.ranges import Array, require

__all__ = ["HEAT_OF_ACTIVATION_K", "mean_kinetic_c", "spans_h"]

# dH/R: 83.144 kJ/mol over 8.3144e-3 kJ/(mol K), the values of USP <1160> (USP 29) and <1079.2>.
HEAT_OF_ACTIVATION_K = 83.144 / 8.3144e-3
ZERO_C_K = 273.15


def mean_kinetic_c(temp_c: Array, weight: Array | None = None, *, activation_k: float = HEAT_OF_ACTIVATION_K) -> float:
    """Return the mean kinetic temperature [degC].

    Parameters
    ----------
    temp_c : ndarray, shape (n,)
        Temperatures, -70 to 80 [degC].
    weight : ndarray, shape (n,), optional
        How long each of them stands for, any unit; equal when left out.
    activation_k : float
        Heat of activation over the gas constant [K].

    Raises
    ------
    OutOfRange
        No temperature, one out of range, a negative weight or weights that add up to nothing.

    Notes
    -----
    `T_k = (dH/R) / -ln(sum w exp(-dH/(R T)) / sum w)`, T in kelvin. It weighs warm spells more than a plain mean and
    cold ones hardly at all: it says nothing about freezing.

    References
    ----------
    Haynes, J. D. (1971), J. Pharm. Sci. 60(6), 927-929; USP <1079.2>; ICH Q1A(R2), glossary.

    Examples
    --------
    The example in the public repository zelti/mkt (readme) gives 6.25 for these seven values:

    >>> round(mean_kinetic_c(np.array([2.0, 2, 5, 8, 8, 8, 8])), 2)
    6.25
    """
    temps = require("temp_c", np.asarray(temp_c, dtype=np.float64), -70.0, 80.0)
    weights = np.ones_like(temps) if weight is None else require("weight", np.asarray(weight, float), 0.0, np.inf)
    if temps.ndim != 1 or len(temps) == 0 or weights.shape != temps.shape or weights.sum() <= 0:
        raise OutOfRange("temp_c and weight must be two vectors of the same length, not empty", field="temp_c")
    exponent = -activation_k / (temps + ZERO_C_K)
    highest = exponent[weights > 0].max()
    mean = (weights * np.exp(exponent - highest)).sum() / weights.sum()
    return float(-activation_k / (np.log(mean) + highest) - ZERO_C_K)


def spans_h(at_h: Array, *, longest_h: float) -> Array:
    """Return how long each reading stands for: half the way to its neighbours, `longest_h` at most on each side [h].

    Parameters
    ----------
    at_h : ndarray, shape (n,)
        Moments, ascending [h].
    longest_h : float
        A longer silence is a gap: nothing stands for what was not measured.
    """
    steps = np.minimum(np.diff(at_h), longest_h) / 2
    spans: Array = np.concatenate([[0.0], steps]) + np.concatenate([steps, [0.0]])
    return spans if len(at_h) > 1 else np.ones(len(at_h))
