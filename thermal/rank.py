"""Many units for one trip: a quick screen of all, a closer look where the screen is not sure enough."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from thermal.chance import EMPTY, SE_GOAL, Score, refined, score_of
from thermal.errors import OutOfRange
from thermal.lattice import SCREEN, USUAL
from thermal.own_risk import shared_risk
from thermal.params import Load, Risk, Trip, Unit
from thermal.paths import Holding, holding_of
from thermal.prepared import Prepared, prepare
from thermal.worlds import Plan, Worlds, plan_of, run_worlds

__all__ = ["rank"]

# Units per chunk: the 700 calls of a chunk cost 1.3 ms whatever its width; half as wide again, it gained 3 ms a ranking
# and took half as much memory again in each thread that ranks (`thermal.ready` has the allocator keep it). One chunk
# after the other: in two threads, calls on arrays this small spend more on handing the interpreter to and fro than they
# gain.
CHUNK = 64
CHUNK_USUAL = 8
SCREEN_EVERY_H = 2
TOP = 10


def rank(
    units: Sequence[Unit],
    *,
    load: Load | None,
    trip: Trip,
    risk: Risk,
    se_goal: float = SE_GOAL,
    top: int = TOP,
    prepared: Prepared | None = None,
) -> list[Score]:
    """Return one score per unit, in the order of `units`.

    Parameters
    ----------
    units : sequence of Unit
        Candidates.
    load, trip, risk : Load or None, Trip, Risk
        As in `thermal.chance.assess`; the same for every unit beside what `prepared` says.
    se_goal : float
        Standard error above which a screened unit is looked at again [points].
    top : int
        How many of the best are scored exactly as `assess` would, so that a list and a single answer agree.
    prepared : Prepared, optional
        What `thermal.prepared.prepare` made of the same units and load, where the plan needs it too. Its own risks of
        the units replace those of `risk`.

    Notes
    -----
    The screen takes 32 worlds and looks at breakdowns every second hour; units above `se_goal` and the best `top` get
    128 worlds at every hour, and 512 where those are still not sure.
    """
    if top < 0:
        raise OutOfRange("top must not be negative", field="top", value=top, limit=0)
    if load is None or load.mass_kg == 0:
        return [EMPTY] * len(units)
    if not units:
        return []
    plan = plan_of(trip, shared_risk(risk))
    known = prepare(units, load, [risk] * len(units)) if prepared is None else prepared
    ambient = plan.ambient[:, None]
    holding = holding_of(known.columns, load, trip, plan.grid, ambient, thermostat=known.thermostat)
    fleet = _Fleet(plan, load, known, holding)

    def screened(part: list[int]) -> list[Score]:
        here = slice(part[0], part[-1] + 1)
        return score_of(plan, fleet.worlds(here, points=slice(0, SCREEN), every=SCREEN_EVERY_H), load)

    scores = _in_turn(screened, _chunks(list(range(len(units))), CHUNK))
    again = [i for i, score in enumerate(scores) if score.se > se_goal]
    _closer(scores, fleet, again)
    best = sorted(range(len(scores)), key=lambda i: (-scores[i].score, i))[:top]
    _closer(scores, fleet, [i for i in best if scores[i].worlds == SCREEN])
    _exact(scores, fleet, best, se_goal=se_goal)
    return scores


@dataclass(frozen=True, slots=True)
class _Fleet:
    """The units of one ranking with what is known of all of them."""

    plan: Plan
    load: Load
    units: Prepared
    holding: Holding

    def worlds(self, which: slice | list[int], *, points: slice, every: int = 1) -> Worlds:
        """Return how the worlds `points` end for the units at these places."""
        these, held = self.units.take(which), self.holding.take(which)
        return run_worlds(self.plan, these.columns, self.load, points=points, every=every, holding=held, own=these.own)


def _chunks(which: list[int], size: int) -> list[list[int]]:
    return [which[i : i + size] for i in range(0, len(which), size)]


def _in_turn(answer: Callable[[list[int]], list[Score]], parts: list[list[int]]) -> list[Score]:
    """Return the answers for all parts, in their order."""
    return [score for part in parts for score in answer(part)]


def _closer(scores: list[Score], fleet: _Fleet, which: list[int]) -> None:
    """Replace the scores of the units at `which` by those over 128 worlds."""

    def usual(part: list[int]) -> list[Score]:
        return score_of(fleet.plan, fleet.worlds(part, points=slice(0, USUAL)), fleet.load)

    for i, score in zip(which, _in_turn(usual, _chunks(which, CHUNK_USUAL)), strict=True):
        scores[i] = score


def _exact(scores: list[Score], fleet: _Fleet, which: list[int], *, se_goal: float) -> None:
    """Take 512 worlds for those of `which` that are still not sure enough, as `assess` does."""
    for i in which:
        if scores[i].se > se_goal:
            worlds, this = fleet.worlds([i], points=slice(0, USUAL)), fleet.units.take([i])
            scores[i] = refined(fleet.plan, this.columns, fleet.load, worlds, own=this.own)[0]
