"""Many units for one trip: a quick screen of all, a closer look where the screen is not sure enough."""

from collections.abc import Sequence

from thermal.chance import EMPTY, SE_GOAL, Score, refined, score_of
from thermal.columns import columns_of
from thermal.errors import OutOfRange
from thermal.lattice import SCREEN, USUAL
from thermal.params import Load, Risk, Trip, Unit
from thermal.worlds import Plan, plan_of, run_worlds

__all__ = ["rank"]

# Units per chunk, so that a chunk's arrays stay in the processor's second cache.
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
) -> list[Score]:
    """Return one score per unit, in the order of `units`.

    Parameters
    ----------
    units : sequence of Unit
        Candidates.
    load, trip, risk : Load or None, Trip, Risk
        As in `thermal.chance.assess`; the same risk for every unit.
    se_goal : float
        Standard error above which a screened unit is looked at again [points].
    top : int
        How many of the best are scored exactly as `assess` would, so that a list and a single answer agree.

    Notes
    -----
    The screen takes 32 worlds and looks at breakdowns every second hour; units above `se_goal` and the best `top` get
    128 worlds at every hour, and 512 where those are still not sure.
    """
    if top < 0:
        raise OutOfRange("top must not be negative", field="top", value=top, limit=0)
    if load is None or load.mass_kg == 0:
        return [EMPTY] * len(units)
    plan = plan_of(trip, risk)
    scores: list[Score] = []
    for part in _chunks(units, CHUNK):
        worlds = run_worlds(plan, columns_of(part), load, points=slice(0, SCREEN), every=SCREEN_EVERY_H)
        scores += score_of(plan, worlds, load)
    again = [i for i, score in enumerate(scores) if score.se > se_goal]
    _closer(scores, units, again, plan=plan, load=load)
    best = sorted(range(len(scores)), key=lambda i: (-scores[i].score, i))[:top]
    _closer(scores, units, [i for i in best if scores[i].worlds == SCREEN], plan=plan, load=load)
    _exact(scores, units, best, plan=plan, load=load, se_goal=se_goal)
    return scores


def _chunks(units: Sequence[Unit], size: int) -> list[Sequence[Unit]]:
    return [units[i : i + size] for i in range(0, len(units), size)]


def _closer(scores: list[Score], units: Sequence[Unit], which: list[int], *, plan: Plan, load: Load) -> None:
    """Replace the scores of the units at `which` by those over 128 worlds."""
    for start in range(0, len(which), CHUNK_USUAL):
        part = which[start : start + CHUNK_USUAL]
        columns = columns_of([units[i] for i in part])
        worlds = run_worlds(plan, columns, load, points=slice(0, USUAL))
        for i, score in zip(part, score_of(plan, worlds, load), strict=True):
            scores[i] = score


def _exact(
    scores: list[Score], units: Sequence[Unit], which: list[int], *, plan: Plan, load: Load, se_goal: float
) -> None:
    """Take 512 worlds for those of `which` that are still not sure enough, as `assess` does."""
    for i in which:
        if scores[i].se > se_goal:
            columns = columns_of([units[i]])
            worlds = run_worlds(plan, columns, load, points=slice(0, USUAL))
            scores[i] = refined(plan, columns, load, worlds)[0]
