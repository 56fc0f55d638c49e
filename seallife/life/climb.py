"""Where is the top of a likelihood of a few parameters, for many groups at once?

In: a likelihood with its derivatives, one row a group. Out: `Peak`. Next: `seallife.life.lawtops`.

Newton steps on all groups side by side. A direction in which the function bends the wrong way is
climbed all the same, a step that does not rise is shortened, and no parameter leaves its box: a top
on a wall is found and told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol, Self

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats

__all__ = ["Hill", "Peak", "climb"]

_STEPS = 50
_FLAT = 1e-7  # a rise in log-likelihood that is none
_LAST = 1e-4  # and one so small that the step which makes it need not be tried
_CREEP = 1e-4  # and one that leaves nothing to gain, though the top be a long ridge
_LONGEST = 1.5


class Hill(Protocol):
    """A function of p parameters for each of g groups."""

    def value(self, at: Floats) -> Floats:
        """Values, shape (g,), at parameters of shape (g, p)."""
        ...

    def slopes(self, at: Floats) -> tuple[Floats, Floats, Floats]:
        """Values, slopes, shape (g, p), and second derivatives, shape (g, p, p)."""
        ...

    def take(self, keep: NDArray[np.bool_]) -> Self:
        """Only the chosen groups."""
        ...


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

    def best_of(self, times: int) -> Peak:
        """Highest top of each group, of so many that were searched one after the other."""
        value = self.value.reshape(times, -1)
        best = value.argmax(axis=0) * value.shape[1] + np.arange(value.shape[1])
        return Peak(self.at[best], self.value[best], self.settled[best], self.on_wall[best])


def climb(
    hill: Hill, start: Floats, low: Sequence[float] | Floats, high: Sequence[float] | Floats
) -> Peak:
    """Climb all groups at once.

    Parameters
    ----------
    hill : Hill
        It must hold a little outside the box. Groups whose top is found are left out of later
        steps.
    start : ndarray, shape (g, p)
    low, high : array_like, shape (p,) or (g, p)
        The box. A parameter with equal walls is held.
    """
    lower, upper = (
        np.broadcast_to(np.asarray(v, dtype=np.float64), start.shape) for v in (low, high)
    )
    at = np.clip(start, lower, upper)
    rows = np.arange(len(at))
    value, slope, bend = _slopes(hill, at)
    settled = ~np.isfinite(value)
    creeps = np.zeros(len(at), bool)
    for _ in range(_STEPS):
        here, box = at[rows], (lower[rows], upper[rows])
        step, gain, plain = _step(here, slope, bend, *box)
        going = ~settled[rows]
        settled[rows[~(gain > _FLAT)]] = True
        # a full step so near the top leaves nothing that could be told from rounding
        last = np.flatnonzero(going & plain & (gain > _FLAT) & (gain < _LAST))
        end = rows[last]
        at[end], value[end] = here[last] + step[last], value[end] + gain[last] / 2
        settled[end], creeps[end] = True, False
        going = ~settled[rows]
        if not going.any():
            break
        if going.mean() < 0.7:
            rows, hill, step, going = rows[going], hill.take(going), step[going], going[going]
        here, before, box = at[rows], value[rows], (lower[rows], upper[rows])
        new, tried, slope, bend = _rise(hill, here, before, step, ~going, box)
        rises = (tried >= before) & going
        # no rise along a rising slope is rounding: as near the top as can be told
        settled[rows] |= ~rises | (tried - before < _FLAT / 10)
        at[rows], value[rows] = np.where(rises[:, None], new, here), np.where(rises, tried, before)
        creeps[rows[going]] = (value[rows] - before < _CREEP)[going]
    wall = (np.abs(at - lower) < 1e-9) | (np.abs(at - upper) < 1e-9)
    settled |= creeps
    return Peak(at, value, settled & np.isfinite(value), wall & (upper > lower))


def _slopes(hill: Hill, at: Floats) -> tuple[Floats, Floats, Floats]:
    """Function and derivatives, with -inf and 0 where they have no finite value."""
    with np.errstate(all="ignore"):
        value, slope, bend = hill.slopes(at)
    slope, bend = (np.nan_to_num(v, posinf=0.0, neginf=0.0) for v in (slope, bend))
    return np.where(np.isfinite(value), value, -np.inf), slope, bend


def _step(
    at: Floats, slope: Floats, bend: Floats, lower: Floats, upper: Floats
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Newton step inside the box, uphill whichever way the function bends, what it may gain.

    And whether it is the whole step of a Newton search, to no wall.
    """
    edge = ((at <= lower) & (slope < 0)) | ((at >= upper) & (slope > 0)) | (upper <= lower)
    free = np.where(edge, 0.0, 1.0)
    matrix = -bend * free[:, :, None] * free[:, None, :]
    matrix += np.einsum("gi,ij->gij", 1 - free, np.eye(slope.shape[1]))
    size, axes = np.linalg.eigh(matrix)
    plain = size[:, 0] > 1e-4
    size = np.maximum(np.abs(size), 1e-4)
    along = np.einsum("gji,gj->gi", axes, slope * free) / size
    step = np.einsum("gij,gj->gi", axes, along)
    longest = np.abs(step).max(axis=1, initial=0.0)
    plain &= (longest <= _LONGEST) & ((at + step >= lower) & (at + step <= upper)).all(axis=1)
    step *= np.minimum(1.0, _LONGEST / np.maximum(longest, 1e-300))[:, None] * free
    return step, (slope * step).sum(axis=1), plain


def _rise(
    hill: Hill,
    at: Floats,
    before: Floats,
    step: Floats,
    done: NDArray[np.bool_],
    box: tuple[Floats, Floats],
) -> tuple[Floats, Floats, Floats, Floats]:
    """Take the step, shortened where it does not rise: new parameters, values and derivatives."""
    size = np.where(done, 0.0, 1.0)
    new = np.clip(at + size[:, None] * step, *box)
    tried, slope, bend = _slopes(hill, new)
    short = (tried < before) & ~done
    if not short.any():
        return new, tried, slope, bend
    part, rows = hill.take(short), np.flatnonzero(short)
    inner, left = (box[0][rows], box[1][rows]), np.ones(len(rows), bool)
    for _ in range(12):
        size[rows[left]] /= 3
        new[rows] = np.clip(at[rows] + size[rows, None] * step[rows], *inner)
        with np.errstate(all="ignore"):
            left = ~(part.value(new[rows]) >= before[rows])
        if not left.any():
            break
    tried[rows], slope[rows], bend[rows] = _slopes(part, new[rows])
    return new, tried, slope, bend
