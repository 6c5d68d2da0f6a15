"""Errors of the physics: what was refused, on which quantity, and against which limit.

Nothing here knows HTTP or Django. `thermal.adapter` turns these into `unknown` findings, the calculator into
a 400 with a pointer to `field`; both read `code`, `field`, `value` and `limit` and never parse the message.
"""

from typing import ClassVar

__all__ = ["Missing", "OutOfRange", "ThermalError"]


class ThermalError(ValueError):
    """An input the physics refuses to work with.

    Parameters
    ----------
    message : str
        What is wrong, as one sentence.
    field : str, optional
        Name of the quantity at fault, as the caller passed it.
    value : object, optional
        The offending value (the first offending element of an array).
    limit : object, optional
        The limit that was broken: a number, a `(low, high)` pair, or a few words.
    """

    code: ClassVar[str] = "thermal-error"

    def __init__(self, message: str, *, field: str = "", value: object = None, limit: object = None) -> None:
        super().__init__(message)
        self.field = field
        self.value = value
        self.limit = limit


class OutOfRange(ThermalError):
    """A value is present but not a finite number inside the range the equation was made for."""

    code = "out-of-range"


class Missing(ThermalError):
    """A value the equation cannot do without was not given."""

    code = "missing-input"

    def __init__(self, field: str, *, message: str = "") -> None:
        super().__init__(message or f"{field} is missing", field=field)
