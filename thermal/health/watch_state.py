"""What the heat watch remembers of one unit between two readings."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import nan

__all__ = ["Level", "WatchState"]


class Level(StrEnum):
    """What the watch says."""

    QUIET = "quiet"
    ATTEND = "attend"
    STOP = "stop"


@dataclass
class WatchState:
    """Everything the watch remembers. NaN: not known yet; times [s], temperatures [degC].

    run_s: calling without a break; off_s: switched off; under_s: calling far below the set point; cold_s: on, not
    calling and too cold; shut_s: doors shut, or not seen to be open; open_s: since doors seemed to open. Not frozen,
    because a fleet's readings make many of them: the watch changes only the copy it returns.
    """

    at_s: float = nan
    air_c: float = nan
    discharge_c: float = nan
    ambient_c: float = nan
    running: float = nan
    lining_c: float = nan
    edge_c: float = nan
    run_s: float = 0.0
    off_s: float = 0.0
    under_s: float = 0.0
    cold_s: float = 0.0
    cold_air_c: float = nan
    """Air when the unit was first found too cold without calling."""
    shut_s: float = 0.0
    open_s: float = 0.0
    opened_c: float = nan
    """Air before doors that nobody reports seemed to open; NaN while they seem shut."""
    open_c: float = nan
    """Air while they seem open."""
    start_below_k: float = nan
    """How far below the set point its heater usually starts, by its own sensor."""
    rest_k: float = nan
    """Discharge above return air when the unit has long been off: the offset of the two sensors."""
    same_air: int = 0
    same_discharge: int = 0
    lost: float = 0.0
    doubt_air_c: float = nan
    """Air when the sum last left 0."""
    level: Level = Level.QUIET
    not_called: bool = False

    def copy(self) -> WatchState:
        """Return an equal state that may be changed."""
        other = object.__new__(WatchState)
        other.__dict__.update(self.__dict__)
        return other
