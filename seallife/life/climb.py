"""Where is the top of a likelihood of a few parameters, for many groups at once?

In: a function of parameters, one row a group. Out: `Peak`. Next: `seallife.life.laws`.

Newton steps from differences of the function's values. A direction in which the function bends the
wrong way is climbed all the same, a step that does not rise is halved, and no parameter leaves its
box: a top on a wall is found and told.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats

__all__ = ["Peak", "climb"]

_STEPS = 50
_REACH = 3e-4  # of the differences: tops are right to about 1e-7
_FLAT = 1e-7  # a rise in log-likelihood that is none
_CREEP = 1e-4  # and one that leaves nothing to gain, though the top be a long ridge


@dataclass(frozen=True, eq=False)
class Peak:
    """Tops of all groups.

    Attributes
    ----------
    at : ndarray, shape (g, p)
        Parameters.
    value : ndarray, shape (g,)
        Function there; -inf where it has no finite value.
    settled : ndarray of bool, shape (g,)
        Whether no step would gain anything.
    on_wall : ndarray of bool, shape (g, p)
        Parameters that end on the wall of their box.
    """

    at: Floats
    value: Floats
    settled: NDArray[np.bool_]
    on_wall: NDArray[np.bool_]

    def better(self, other: Peak) -> Peak:
        """Take the higher top of each group."""
        up = other.value > self.value
        return Peak(
            np.where(up[:, None], other.at, self.at),
            np.where(up, other.value, self.value),
            np.where(up, other.settled, self.settled),
            np.where(up[:, None], other.on_wall, self.on_wall),
        )


def climb(
    likelihood_of: Callable[[NDArray[np.bool_]], Callable[[Floats], Floats]],
    start: Floats,
    low: Sequence[float] | Floats,
    high: Sequence[float] | Floats,
) -> Peak:
    """Climb all groups at once.

    Parameters
    ----------
    likelihood_of : callable
        From a choice of groups, shape (g,), to their function: from parameters, shape (k, p), to
        values, shape (k,). It must hold a little outside the box. Groups whose top is found are
        left out of later choices.
    start : ndarray, shape (g, p)
    low, high : array_like, shape (p,) or (g, p)
        The box. A parameter with equal walls is held.
    """
    walls = [np.broadcast_to(np.asarray(v, dtype=np.float64), start.shape) for v in (low, high)]
    at = np.clip(start, *walls)
    rows = np.arange(len(at))
    settled = np.zeros(len(at), bool)
    function = _guarded(likelihood_of(~settled))
    value = function(at)
    settled = ~np.isfinite(value)
    creeps = np.zeros(len(at), bool)
    for _ in range(_STEPS):
        going = ~settled[rows]
        if not going.any():
            break
        if going.mean() < 0.7:
            rows = rows[going]
            function = _guarded(likelihood_of(np.isin(np.arange(len(at)), rows)))
        box = walls[0][rows], walls[1][rows]
        before = value[rows]
        at[rows], value[rows], done = _one_step(function, at[rows], before, box)
        settled[rows] |= done
        creeps[rows] = value[rows] - before < _CREEP
    lower, upper = walls
    wall = (np.abs(at - lower) < 1e-9) | (np.abs(at - upper) < 1e-9)
    settled |= creeps
    return Peak(at, value, settled & np.isfinite(value), wall & (upper > lower))


def _guarded(function: Callable[[Floats], Floats]) -> Callable[[Floats], Floats]:
    """Function with -inf where it has no finite value."""

    def value_at(x: Floats) -> Floats:
        with np.errstate(all="ignore"):
            value = function(x)
        return np.where(np.isfinite(value), value, -np.inf)

    return value_at


def _one_step(
    function: Callable[[Floats], Floats], at: Floats, value: Floats, box: tuple[Floats, Floats]
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """One Newton step: new parameters, new values, and which groups have arrived."""
    lower, upper = box
    held = upper <= lower
    slope, bend = _derivatives(function, at, value, held)
    edge = ((at <= lower) & (slope < 0)) | ((at >= upper) & (slope > 0)) | held
    step = _newton(slope, bend, edge)
    done = ~((slope * step).sum(axis=1) > _FLAT)
    size = np.where(done, 0.0, 1.0)
    for _ in range(12):
        new = np.clip(at + size[:, None] * step, lower, upper)
        tried = function(new)
        short = (tried < value) & (size > 0)
        if not short.any():
            break
        size = np.where(short, size / 3, size)
    rises = (tried >= value) & ~done
    # no rise along a rising slope is rounding: as near the top as can be told
    done |= ~rises | (tried - value < _FLAT / 10)
    return np.where(rises[:, None], new, at), np.where(rises, tried, value), done


def _derivatives(
    function: Callable[[Floats], Floats], at: Floats, value: Floats, held: NDArray[np.bool_]
) -> tuple[Floats, Floats]:
    """Slope, shape (g, p), and second derivatives, shape (g, p, p), from differences."""
    g, p = at.shape
    unit = np.eye(p) * _REACH
    free = [i for i in range(p) if not held[:, i].all()]
    slope, bend = np.zeros((g, p)), np.zeros((g, p, p))
    up = {i: function(at + unit[i]) for i in free}
    down = {i: function(at - unit[i]) for i in free}
    with np.errstate(invalid="ignore"):
        for i in free:
            slope[:, i] = (up[i] - down[i]) / (2 * _REACH)
            bend[:, i, i] = (up[i] - 2 * value + down[i]) / _REACH**2
            for j in free[: free.index(i)]:
                both = function(at + unit[i] + unit[j])
                bend[:, i, j] = bend[:, j, i] = (both - up[i] - up[j] + value) / _REACH**2
    return np.nan_to_num(slope, posinf=0.0, neginf=0.0), np.nan_to_num(bend, posinf=0.0, neginf=0.0)


def _newton(slope: Floats, bend: Floats, edge: NDArray[np.bool_]) -> Floats:
    """Newton step inside the box, uphill whichever way the function bends, at most 1.5 long."""
    free = np.where(edge, 0.0, 1.0)
    matrix = -bend * free[:, :, None] * free[:, None, :]
    matrix += np.einsum("gi,ij->gij", 1 - free, np.eye(slope.shape[1]))
    size, axes = np.linalg.eigh(matrix)
    size = np.maximum(np.abs(size), 1e-4)
    along = np.einsum("gji,gj->gi", axes, slope * free) / size
    step = np.einsum("gij,gj->gi", axes, along)
    longest = np.abs(step).max(axis=1, initial=0.0)
    step *= np.minimum(1.0, 1.5 / np.maximum(longest, 1e-300))[:, None] * free
    return np.asarray(step)
