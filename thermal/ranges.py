"""One gate for every number that enters the physics: it is a finite number in its range, or it raises."""

from math import isinf
from typing import overload

import numpy as np
from numpy.typing import NDArray

from thermal.errors import Missing, OutOfRange

__all__ = ["Array", "require"]

Array = NDArray[np.float64]


@overload
def require(name: str, value: float | None, low: float, high: float) -> float: ...
@overload
def require(name: str, value: Array, low: float, high: float) -> Array: ...
def require(name: str, value: object, low: float, high: float) -> float | Array:
    """Return `value` unchanged (as float or float64 array) when every element lies in [low, high].

    Parameters
    ----------
    name : str
        Name of the quantity; ends up in `field` of the error.
    value : float or ndarray, any shape, or None
        The value to check, in the unit its name carries. Integers are accepted, booleans are not: a flag that
        slipped into a number's place must not become 0 or 1.
    low, high : float
        Inclusive limits; may be infinite.

    Returns
    -------
    float or ndarray
        The same numbers as float or float64.

    Raises
    ------
    Missing
        `value` is None.
    OutOfRange
        Not a number, NaN, infinite, or outside the limits. An array names its first offending element.
    """
    if type(value) is float and low <= value <= high and not isinf(value):
        return value  # nearly always, and asked ten thousand times in a ranking
    if value is None:
        raise Missing(name)
    limit = (low, high)
    if isinstance(value, (bool, np.bool_, str, bytes)):
        raise OutOfRange(f"{name} must be a number, not {value!r}", field=name, value=value, limit=limit)
    if isinstance(value, (int, float)):
        return _require_scalar(name, value, low, high)
    return _require_array(name, value, low, high)


def _require_scalar(name: str, value: int | float, low: float, high: float) -> float:
    try:
        number = float(value)
    except OverflowError:
        number = float("inf")
    # A NaN fails both comparisons, an infinity is refused even when the limit is infinite.
    if not (low <= number <= high) or isinf(number):
        raise OutOfRange(
            f"{name} must be from {low:g} to {high:g}, not {value}",
            field=name,
            value=value,
            limit=(low, high),
        )
    return number


def _require_array(name: str, value: object, low: float, high: float) -> float | Array:
    limit = (low, high)
    try:
        array = np.asarray(value)
    except ValueError as error:  # ragged nesting
        raise OutOfRange(f"{name} must be a plain array of numbers", field=name, limit=limit) from error
    if array.dtype.kind not in "iuf":
        raise OutOfRange(f"{name} must hold numbers, not {array.dtype}", field=name, value=value, limit=limit)
    numbers = array.astype(np.float64, copy=False)
    good = np.isfinite(numbers) & (numbers >= low) & (numbers <= high)
    if not good.all():
        worst = float(numbers[~good].flat[0]) if numbers.ndim else float(numbers)
        raise OutOfRange(
            f"{name} must be from {low:g} to {high:g}, not {worst:g}", field=name, value=worst, limit=limit
        )
    return numbers if numbers.ndim else float(numbers)
