"""The load without heat: when its edge reaches a limit, and how long it then takes to freeze through."""

import numpy as np

from thermal.box import Network
from thermal.paths import Model, Paths
from thermal.ranges import Array
from thermal.steps import propagator

__all__ = ["branch_times", "hold_h", "plateau_h"]

MOST_FADED = 60.0
PLATEAU_STEP_H = 0.25
PLATEAU_LONGEST_H = 240.0


def _reach_h(longest: float, hours: int, *, coarse: bool) -> list[int]:
    """Return the hours after a loss of heat at which worlds are looked at: hourly first, coarser later."""
    near = [*range(5), *range(6, 9, 2), *range(12, 17, 4)] if coarse else [*range(7), *range(8, 17, 2)]
    step = 8 if coarse else 4
    reach = [*near, *range(16 + step, hours + step, step)]
    last = min(longest, hours)
    return [r for r in reach if r <= hours and r - step <= last]


def hold_h(model: Model, paths: Paths, *, limit_c: Array, longest_h: float, every: int = 1) -> Array:
    """Return hours from each whole hour until the edge reaches `limit_c` if heat stops there, shape (j, w); inf =
    not.

    Parameters
    ----------
    model, paths
        Heated and unheated paths of the columns.
    limit_c : ndarray, shape (w,)
        Limit of the edge [degC].
    longest_h : float
        Times longer than this may be returned as inf [h].
    every : int
        Look only at every so many hours of the trip; the first axis shortens accordingly. Above 1 the times after a
        loss are looked at more coarsely too.

    Notes
    -----
    Superposition: after a loss of heat at hour j the state is the unheated path plus `exp(A R)` times the deviation
    from it at j, so no time loop is needed. Doors that open in between shorten the deviation by the middle rate's
    difference.
    """
    grid = model.grid
    hours = len(grid.at_hour) - 1
    reach = _reach_h(longest_h, hours, coarse=every > 1)
    dtype = paths.x.dtype
    looked = grid.at_hour[::every]
    unheated = paths.unheated[grid.at_hour, 1] - limit_c.astype(dtype)
    lining, edge, core = (np.ascontiguousarray(paths.x[looked, i] - paths.unheated[looked, i]) for i in range(3))
    shut = np.zeros(len(reach) - 1, dtype=np.intp)
    decay = propagator(model.modes, shut, np.array(reach[1:]) * 3600.0, row=1).astype(dtype)
    faded = _faded(model)
    if faded is not None:
        # Beyond this exponent a deviation is gone; held there, the two factors stay within single precision.
        faded = np.minimum(faded, MOST_FADED)
        grown, faded = np.exp(faded[::every]), np.exp(-faded)
        lining, core, moving = lining * grown, core * grown, edge * grown
    else:
        moving = edge
    before = edge + unheated[::every]
    alive = before > 0
    found = np.where(alive, np.inf, 0.0)
    for i in range(1, len(reach)):
        count = (hours - reach[i]) // every + 1
        later = slice(reach[i], reach[i] + (count - 1) * every + 1, every)
        now = decay[0, i - 1] * lining[:count]
        now += decay[1, i - 1] * moving[:count]
        now += decay[2, i - 1] * core[:count]
        if faded is not None:
            now *= faded[later]
        now += unheated[later]
        crossed = now <= 0
        crossed &= alive[:count]
        if crossed.any():
            rows, worlds = np.nonzero(crossed)
            above, below = before[rows, worlds], now[rows, worlds]
            found[rows, worlds] = reach[i - 1] + (reach[i] - reach[i - 1]) * above / (above - below)
            alive[rows, worlds] = False
        before = now
    return found


def _faded(model: Model) -> Array | None:
    """Return the extra decay, cumulated to each hour, that open doors bring to a deviation, (j + 1, w); None: no
    doors."""
    grid = model.grid
    if not grid.door.any():
        return None
    extra = np.maximum(model.modes.rates[1, :1] - model.modes.rates[1], 0.0)
    total = np.zeros((len(grid.at_hour), extra.shape[1]), dtype=np.float32)
    for step in np.flatnonzero(grid.door).tolist():
        total[np.searchsorted(grid.at_hour, step, side="right") :] += extra[grid.door[step]] * grid.dt_s[step]
    return total


def branch_times(model: Model, paths: Paths, *, ambient: Array, limits_c: tuple[float, ...]) -> tuple[Array, Array]:
    """Return, for one column, hours from each whole hour until the edge reaches each limit without heat, and the core
    then.

    Parameters
    ----------
    model, paths
        One column (w = 1).
    ambient : ndarray, shape (s, 1)
        Mean ambient of each step [degC].
    limits_c : tuple of float
        Limits of the edge [degC].

    Returns
    -------
    hours, state : ndarray, shape (limits, j + 1) and (limits, 3, j + 1)
        Hours [h] and lining, edge, core at that moment [degC]; inf and NaN where it does not come before arrival.

    Notes
    -----
    Every branch is marched through the doors that really open after it, so many stops cost no accuracy.
    """
    grid, steps = model.grid, model.steps
    branches = len(grid.at_hour)
    x = paths.x[grid.at_hour, :, 0].T.copy()
    limits = sorted(set(limits_c))
    found = np.full((len(limits), branches), np.inf)
    state = np.full((len(limits), 3, branches), np.nan)
    for i, limit in enumerate(limits):
        found[i, x[1] <= limit] = 0.0
        state[i][:, x[1] <= limit] = x[:, x[1] <= limit]
    pending = np.isinf(found)
    drift = steps.ambient[:, grid.kind, 0] * ambient[:, 0] + steps.own[:, grid.kind, 0]
    matrices = np.ascontiguousarray(steps.m[..., 0].transpose(2, 0, 1))
    active = np.searchsorted(grid.at_hour, np.arange(len(grid.dt_s)), side="right").tolist()
    for s, kind in enumerate(grid.kind.tolist()):
        old = x[:, : active[s]].copy()
        new = matrices[kind] @ old + drift[:, s, None]
        x[:, : active[s]] = new
        for i, limit in enumerate(limits):
            for j in np.flatnonzero((new[1] <= limit) & pending[i, : active[s]]).tolist():
                share = (old[1, j] - limit) / (old[1, j] - new[1, j])
                found[i, j] = grid.time_h[s] + share * grid.dt_s[s] / 3600.0 - j
                state[i, :, j] = old[:, j] + share * (new[:, j] - old[:, j])
                pending[i, j] = False
    rows = [limits.index(limit) for limit in limits_c]
    return found[rows], state[rows]


def plateau_h(
    net: Network, *, from_h: Array, state: Array, freezes_c: float, latent_j: float, ambient_c: Array
) -> Array:
    """Return hours that the edge stays at its freezing point until it is frozen through, shape of `from_h`; inf =
    not.

    Parameters
    ----------
    net : Network
        One column (w = 1).
    from_h : ndarray, shape (n,)
        When the edge reaches the freezing point, from departure [h]; inf gives inf.
    state : ndarray, shape (3, n)
        Lining, edge and core at that moment [degC].
    freezes_c : float
        Freezing point [degC].
    latent_j : float
        Latent heat of the whole edge, `L f m` [J].
    ambient_c : ndarray, shape (hours + 1,)
        Ambient at whole hours; the last value is held after arrival [degC].

    Notes
    -----
    `integral [(T_f - T_amb) (air path + wall) - bulk (T_c - T_f)]+ dt = L f m`, with the core relaxing exponentially
    to the edge. "Frozen through" is not a safe time: damage began when it started. Longest answer 240 h.
    """
    result = np.full(from_h.shape, np.inf)
    live = np.isfinite(from_h)
    if not live.any():
        return result
    at = np.arange(0.0, PLATEAU_LONGEST_H + PLATEAU_STEP_H, PLATEAU_STEP_H)[:, None]
    film, edge, shell, wall, bulk = (float(v[0]) for v in (net.film, net.edge, net.shell, net.wall, net.bulk))
    near = film * edge / (film + edge)
    hours = np.arange(len(ambient_c))
    ambient = np.interp(from_h[live] + at, hours, ambient_c)
    lining, _, core_c = state[:, live]
    resting = (near * freezes_c + shell * ambient[0]) / (near + shell)
    held_j = near / (near + shell) * float(net.c_lining[0]) * np.maximum(lining - resting, 0.0)
    core = (core_c - freezes_c) * np.exp(-at * 3600.0 * bulk / float(net.c_core[0]))
    flow = np.maximum((freezes_c - ambient) * (near * shell / (near + shell) + wall) - bulk * core, 0.0)
    drawn = np.cumsum((flow[1:] + flow[:-1]) / 2, axis=0) * PLATEAU_STEP_H * 3600.0
    latent = latent_j + held_j
    done = drawn >= latent
    first = done.argmax(axis=0)
    columns = np.arange(len(first))
    after = drawn[first, columns]
    start = np.where(first > 0, drawn[first - 1, columns], 0.0)
    share = (latent - start) / np.where(after > start, after - start, 1.0)
    result[live] = np.where(done.any(axis=0), (first + share) * PLATEAU_STEP_H, np.inf)
    return result
