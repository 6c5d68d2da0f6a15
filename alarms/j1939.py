"""Plain facts of SAE J1939 diagnostics: failure modes, a few parameters, and the states that are not values.

A gateway that posts fault events may carry SPN and FMI numbers; this module reads them. It holds no maker's
codes. Failure modes are put in our own words; the numbering follows J1939-73 appendix A (copy at
autoprogs.ru/686200-post10.html, read). Slots follow github.com/EvanL1/voltage-j1939, src/database.rs
(read).
"""

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import ClassVar

__all__ = [
    "FAILURE_MODES",
    "PARAMETERS",
    "Decoded",
    "FailureMode",
    "J1939Error",
    "Parameter",
    "Severity",
    "State",
    "check_occurrences",
    "decode_spn",
    "failure_mode",
]

HIGHEST_SPN = 2**19 - 1
HIGHEST_OCCURRENCES = 126  # from memory; 127 says that the count is not available
OCCURRENCES_UNKNOWN = 127


class J1939Error(ValueError):
    """A number that J1939 does not allow or that this module does not know."""

    code: ClassVar[str] = "j1939"

    def __init__(self, message: str, *, field: str, value: object) -> None:
        super().__init__(message)
        self.field = field
        self.value = value


class Severity(StrEnum):
    """How far a failure mode says the value is out, worst first; `unranked` modes carry no such statement."""

    MOST = "most"
    MODERATE = "moderate"
    LEAST = "least"
    UNRANKED = "unranked"

    @property
    def rank(self) -> int:
        """0 for the worst; sorts findings."""
        return list(Severity).index(self)


@dataclass(frozen=True, slots=True)
class FailureMode:
    """One failure mode identifier (FMI).

    Attributes
    ----------
    fmi : int
        0-31.
    meaning : str
        What it says, in our words.
    severity : Severity
        Rank of the modes that grade a valid reading.
    trustworthy : bool
        Whether the reading of the parameter can still be used. Electrical and signal faults make it
        worthless.
    reserved : bool
        Reserved by the standard: reported, never interpreted.
    """

    fmi: int
    meaning: str
    severity: Severity
    trustworthy: bool
    reserved: bool = False


_GRADED = {
    0: ("far above the normal range", Severity.MOST),
    1: ("far below the normal range", Severity.MOST),
    15: ("slightly above the normal range", Severity.LEAST),
    16: ("clearly above the normal range", Severity.MODERATE),
    17: ("slightly below the normal range", Severity.LEAST),
    18: ("clearly below the normal range", Severity.MODERATE),
}
_SIGNAL = {
    2: "signal jumps, drops out or cannot be right",
    3: "voltage too high, or wire shorted to supply",
    4: "voltage too low, or wire shorted to ground",
    5: "current too low, or circuit open",
    6: "current too high, or circuit shorted to ground",
    8: "frequency, pulse width or period is abnormal",
    9: "arrives too seldom or too often",
    10: "changes faster or slower than it can",
    12: "device or component has failed",
    13: "out of calibration",
    19: "data received from the network is in error",
    20: "drifted high",
    21: "drifted low",
}
_OTHER = {
    7: "mechanism does not respond or is out of adjustment",
    11: "cause cannot be identified",
    14: "special instructions apply",
    31: "the condition exists",
}

FAILURE_MODES: MappingProxyType[int, FailureMode] = MappingProxyType(
    {fmi: FailureMode(fmi, text, severity, True) for fmi, (text, severity) in _GRADED.items()}
    | {fmi: FailureMode(fmi, text, Severity.UNRANKED, False) for fmi, text in _SIGNAL.items()}
    | {fmi: FailureMode(fmi, text, Severity.UNRANKED, True) for fmi, text in _OTHER.items()}
    | {fmi: FailureMode(fmi, "reserved", Severity.UNRANKED, False, True) for fmi in range(22, 31)}
)


@dataclass(frozen=True, slots=True)
class Parameter:
    """One suspect parameter (SPN): value = raw x scale + offset.

    Attributes
    ----------
    spn, bits : int
        Number, and length of the raw field (8, 16 or 32).
    name, unit : str
        What it measures and in which unit.
    scale, offset : float
        Units per bit, and value of raw 0.
    known : str
        `read`, or `memory` where the scale was not found in a source.
    """

    spn: int
    name: str
    bits: int
    scale: float
    offset: float
    unit: str
    known: str = "read"


PARAMETERS: MappingProxyType[int, Parameter] = MappingProxyType(
    {
        row.spn: row
        for row in (
            Parameter(96, "fuel level", 8, 0.4, 0.0, "%", "memory"),
            Parameter(98, "engine oil level", 8, 0.4, 0.0, "%"),
            Parameter(100, "engine oil pressure", 8, 4.0, 0.0, "kPa"),
            Parameter(110, "engine coolant temperature", 8, 1.0, -40.0, "°C"),
            Parameter(111, "engine coolant level", 8, 0.4, 0.0, "%"),
            Parameter(158, "battery potential, switched", 16, 0.05, 0.0, "V"),
            Parameter(168, "battery potential", 16, 0.05, 0.0, "V"),
            Parameter(171, "ambient air temperature", 16, 0.03125, -273.0, "°C"),
            Parameter(183, "engine fuel rate", 16, 0.05, 0.0, "L/h"),
            Parameter(190, "engine speed", 16, 0.125, 0.0, "rpm"),
            Parameter(247, "total engine hours", 32, 0.05, 0.0, "h"),
        )
    }
)


class State(StrEnum):
    """What a raw field holds."""

    VALUE = "value"
    RESERVED = "reserved"
    ERROR = "error"
    NOT_AVAILABLE = "not_available"


@dataclass(frozen=True, slots=True)
class Decoded:
    """A raw field read: `value` is None in every state but `value`."""

    state: State
    value: float | None
    unit: str


def failure_mode(fmi: int) -> FailureMode:
    """Failure mode of that number.

    Raises
    ------
    J1939Error
        Not an integer in 0-31.

    Examples
    --------
    >>> failure_mode(4).meaning
    'voltage too low, or wire shorted to ground'
    """
    return FAILURE_MODES[_integer("fmi", fmi, 31)]


def decode_spn(spn: int, raw: int) -> Decoded:
    """Value of a raw parameter field, or the state that says there is none.

    Parameters
    ----------
    spn : int
        Suspect parameter number, 0-524287; one of `PARAMETERS`.
    raw : int
        The field as an unsigned integer of the parameter's length.

    Returns
    -------
    Decoded
        The top byte decides: 0xFF not available, 0xFE error, 0xFB-0xFD reserved, else a value.

    Raises
    ------
    J1939Error
        A number out of range, or a parameter that is not in the table.

    Notes
    -----
    Not available, error and reserved follow the ranges of J1939-71 (0xFF and 0xFE read, 0xFB-0xFD from
    memory).

    Examples
    --------
    >>> decode_spn(110, 130).value
    90.0
    >>> decode_spn(110, 255).state
    <State.NOT_AVAILABLE: 'not_available'>
    """
    number = _integer("spn", spn, HIGHEST_SPN)
    if number not in PARAMETERS:
        raise J1939Error(f"parameter {number} is not in the table", field="spn", value=spn)
    parameter = PARAMETERS[number]
    field = _integer("raw", raw, 2**parameter.bits - 1)
    top = field >> (parameter.bits - 8)
    if top == 0xFF:
        return Decoded(State.NOT_AVAILABLE, None, parameter.unit)
    if top == 0xFE:
        return Decoded(State.ERROR, None, parameter.unit)
    if top > 0xFA:
        return Decoded(State.RESERVED, None, parameter.unit)
    return Decoded(State.VALUE, field * parameter.scale + parameter.offset, parameter.unit)


def check_occurrences(count: int) -> int | None:
    """Occurrence count of a fault, or None when the sender says that it has none (127).

    Raises
    ------
    J1939Error
        Not an integer in 0-127.
    """
    number = _integer("occurrences", count, OCCURRENCES_UNKNOWN)
    return None if number > HIGHEST_OCCURRENCES else number


def _integer(field: str, value: object, high: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= high:
        raise J1939Error(f"{field} must be an integer from 0 to {high}, not {value!r}", field=field, value=value)
    return value
