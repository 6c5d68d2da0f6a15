"""The states of a trip and the steps between them."""

from __future__ import annotations

from fleet.errors import WarmgateError
from fleet.models import Trip

State = Trip.State
STEPS: dict[str, tuple[frozenset[str], str]] = {
    "depart": (frozenset({State.PLANNED}), State.UNDER_WAY),
    "deliver": (frozenset({State.UNDER_WAY}), State.DELIVERED),
    "cancel": (frozenset({State.PLANNED, State.UNDER_WAY}), State.CANCELLED),
}
WHILE_PLANNED = frozenset({"change", "replace_ambient", "assign"})


class InvalidTransition(WarmgateError):
    """The step is not legal in the trip's state; `legal` lists those that are."""

    code = "invalid-transition"


def legal_steps(state: str) -> list[str]:
    steps = [name for name, (froms, _) in STEPS.items() if state in froms]
    return sorted(
        steps
        + (sorted(WHILE_PLANNED) if state == State.PLANNED else [])
        + (["replace_ambient"] if state == State.UNDER_WAY else [])
    )


def require_step(trip: Trip, step: str) -> None:
    """*Raises* InvalidTransition."""
    legal = legal_steps(trip.state)
    if step not in legal:
        raise InvalidTransition(f"The trip is {trip.state}; this step is not possible.", state=trip.state, legal=legal)
