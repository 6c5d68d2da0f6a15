"""The one error of the simulator."""

from __future__ import annotations


class SimulatorError(ValueError):
    """An input the simulator refuses: missing, unknown or outside its physical range."""

    code = "simulator-input"
