"""By which age has the share still running come down to a given one?

In: a law, columns of its parameters, log shares. Out: log ages. Next: `seallife.life.goodness`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from seallife.life.groups import Floats, Ints
from seallife.life.laws import NEAR_ZERO, Law, noise_density

__all__ = ["log_age_at", "log_ages_of_groups"]

_LEAST = -680.0  # log share below which gamma laws are not turned round
_STEPS = 60
_CLOSE = 1e-9
# Log ages are nearly straight in the log of the hazard lived: a table of them, with their slopes,
# is right to 1e-8 between its nodes.
_TABLE = np.arange(-9.0, 3.5 + 1e-9, 1 / 16)
_FEWEST = 3 * len(_TABLE)  # ages of a group for which a table pays


def log_age_at(law: Law, columns: Sequence[Floats], goal: Floats) -> Floats:
    """Log ages at which the log survival is ``goal``, shape (n,); parameters row by row.

    Parameters
    ----------
    law : Law
    columns : sequence of ndarray, shape (n,)
    goal : ndarray, shape (n,)
        Below 0.
    """
    with np.errstate(over="ignore"):
        return _INVERSE[law.name](columns, goal)


def log_ages_of_groups(law: Law, at: Floats, group: Ints, goal: Floats) -> Floats:
    """`log_age_at` for many ages of each group, shape (n,).

    Parameters
    ----------
    law : Law
    at : ndarray, shape (g, p)
        Parameters of each group.
    group : ndarray of int, shape (n,)
        Number of the group of each age.
    goal : ndarray, shape (n,)
    """
    slope = _SLOPE.get(law.name)
    tabled = np.zeros(len(at), bool)
    if slope is not None:
        tabled = np.bincount(group, minlength=len(at)) >= _FEWEST
        if law.name == "generalised gamma":
            tabled &= np.abs(at[:, 2]) >= NEAR_ZERO
    if slope is None or not tabled.any():
        return log_age_at(law, [c[group] for c in at.T], goal)
    k = len(_TABLE)
    columns = [np.repeat(c, k) for c in at[tabled].T]
    nodes = np.tile(-np.exp(_TABLE), int(tabled.sum()))
    value = log_age_at(law, columns, nodes)
    with np.errstate(over="ignore"):
        rise = slope(columns, value, nodes) / 16
    # of cubic pieces between the nodes, from values and slopes at their ends
    gap = np.diff(value, append=0.0)
    bend = 3 * gap - 2 * rise - np.append(rise[1:], 0.0)
    twist = rise + np.append(rise[1:], 0.0) - 2 * gap
    place = (np.log(-goal) - _TABLE[0]) * 16
    inside = tabled[group] & (place >= 0) & (place < k - 1)
    rows, others = np.flatnonzero(inside), np.flatnonzero(~inside)
    out = np.empty(len(goal))
    out[others] = log_age_at(law, [c[group[others]] for c in at.T], goal[others])
    cell = place[rows].astype(np.int64)
    u = place[rows] - cell
    cell += (np.cumsum(tabled) - 1)[group[rows]] * k
    out[rows] = value[cell] + u * (rise[cell] + u * (bend[cell] + u * twist[cell]))
    return out


def _gamma_slope(p: Sequence[Floats], x: Floats, goal: Floats) -> Floats:
    """Slope of log age by the log of the hazard lived."""
    from scipy.special import gammaln

    shape, y = np.exp(p[0]), x - p[1]
    return np.asarray(-goal / np.exp(shape * y - np.exp(y) - gammaln(shape) - goal))


def _generalised_slope(p: Sequence[Floats], x: Floats, goal: Floats) -> Floats:
    z = (x - p[1]) * np.exp(-p[0])
    return np.asarray(-goal * np.exp(p[0]) / np.exp(noise_density(p[2], z) - goal))


_SLOPE = {"gamma": _gamma_slope, "generalised gamma": _generalised_slope}


def _exponential(p: Sequence[Floats], goal: Floats) -> Floats:
    return np.asarray(p[0] + np.log(-goal))


def _weibull(p: Sequence[Floats], goal: Floats) -> Floats:
    return np.asarray(p[1] + np.log(-goal) * np.exp(-p[0]))


def _lognormal(p: Sequence[Floats], goal: Floats) -> Floats:
    from scipy.special import ndtri_exp

    return np.asarray(p[1] - np.exp(p[0]) * ndtri_exp(goal))


def _gamma(p: Sequence[Floats], goal: Floats) -> Floats:
    return p[1] + _log_gamma_quantile(np.exp(p[0]), goal, _rest(goal))


def _generalised(p: Sequence[Floats], goal: Floats) -> Floats:
    q = p[2]
    near = np.abs(q) < NEAR_ZERO
    z = _noise(np.where(near, NEAR_ZERO, q), goal)
    if near.any():
        rows = np.flatnonzero(near)
        other = _noise(np.full(len(rows), -NEAR_ZERO), goal[rows])
        share = (q[rows] + NEAR_ZERO) / (2 * NEAR_ZERO)
        z[rows] = share * z[rows] + (1 - share) * other
    return p[1] + np.exp(p[0]) * z


def _noise(q: Floats, goal: Floats) -> Floats:
    """Standardised log age of the generalised gamma, q not near 0."""
    shape = q**-2.0
    # below 0 a long life is a small gamma number: the log of the other tail is wanted
    above = np.where(q > 0, goal, _rest(goal))
    below = np.where(q > 0, _rest(goal), goal)
    return np.asarray((_log_gamma_quantile(shape, above, below) - np.log(shape)) / q)


def _rest(goal: Floats) -> Floats:
    """Log of one minus a share given by its log."""
    return np.asarray(np.log(-np.expm1(goal)))


def _log_gamma_quantile(shape: Floats, log_above: Floats, log_below: Floats) -> Floats:
    """Log of the gamma number with these shares above and below it, by whichever is smaller."""
    from scipy.special import gammainccinv, gammaincinv, gammaln

    high = log_above < log_below
    x = np.empty_like(shape)
    x[high] = gammainccinv(shape[high], np.exp(np.maximum(log_above[high], _LEAST)))
    x[~high] = gammaincinv(shape[~high], np.exp(log_below[~high]))
    # a number too small to be told from 0 has a log all the same
    tiny = ~(x > 1e-290)
    low = (log_below + gammaln(shape + 1)) / shape
    return np.where(tiny, low, np.log(np.where(tiny, 1.0, x)))


def _early_part(p: Sequence[Floats], goal: Floats) -> Floats:
    """Newton steps between the ages at which either part alone has come down so far."""
    ends = [_exponential(p[1:2], goal), _weibull(p[2:4], goal)]
    low, high = np.minimum(*ends), np.maximum(*ends)
    log_share, log_rest = -np.logaddexp(0.0, -p[0]), -np.logaddexp(0.0, p[0])
    odds = (np.broadcast_to(v, goal.shape) for v in (log_share, log_rest))
    columns = (*odds, p[1], np.exp(p[2]), p[3], goal, low, high, high)
    out, rows = high.copy(), np.arange(len(goal))
    for _ in range(_STEPS):
        log_share, log_rest, mean, shape, scale, wanted, low, high, x = columns
        early, rest = np.exp(x - mean), np.exp(shape * (x - scale))
        first, second = log_share - early, log_rest - rest
        value = np.logaddexp(first, second)
        away = value - wanted
        low, high = np.where(away > 0, x, low), np.where(away > 0, high, x)
        rate = np.exp(first - value) * early + np.exp(second - value) * shape * rest
        with np.errstate(divide="ignore", invalid="ignore"):
            new = x + away / rate
        new = np.where((new > low) & (new < high), new, (low + high) / 2)
        out[rows] = new
        left = ~(np.abs(new - x) < _CLOSE)
        if not left.any():
            break
        rows = rows[left]
        columns = tuple(
            c[left] for c in (log_share, log_rest, mean, shape, scale, wanted, low, high, new)
        )
    return out


_INVERSE: dict[str, Callable[[Sequence[Floats], Floats], Floats]] = {
    "exponential": _exponential,
    "Weibull": _weibull,
    "lognormal": _lognormal,
    "gamma": _gamma,
    "generalised gamma": _generalised,
    "Weibull with early part": _early_part,
}
