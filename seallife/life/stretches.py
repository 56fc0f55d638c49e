"""What was seen over the ages that each seal would pass?

In: `RiskSets`, ages now and then. Out: `Stretches`. Next: `seallife.life.ahead`.

The ages at which a life enters or ends and those at which a stretch begins or ends cut each class
into cells; what a stretch (now, then] meets is a difference of two running sums over them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError
from seallife.life.groups import Floats, Ints, running_sum, segment_max, segment_min, segment_sum
from seallife.life.risksets import RiskSets

__all__ = ["LEAST_AT_RISK", "Stretches", "lay_stretches", "read_stretches"]

LEAST_AT_RISK = 5
"""Lives that must be at risk at an age for it to count as seen (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class Stretches:
    """Stretches of age laid over the lives at risk.

    Attributes
    ----------
    offsets : ndarray of int, shape (g + 1,)
        Cells of class i are ``offsets[i]:offsets[i + 1]``.
    at_risk, failures : ndarray, shape (k,)
        Lives at risk throughout each cell, failures at its end.
    group, start, end : ndarray of int, shape (m,)
        Class of each stretch, and the cells after which it begins and with which it ends.
    """

    offsets: Ints
    at_risk: Floats
    failures: Floats
    group: Ints
    start: Ints
    end: Ints

    def over(self, values: Floats) -> Floats:
        """Sum of a value of cells over each stretch, shape (m,)."""
        total = running_sum(values, self.offsets)
        return total[self.end] - total[self.start]

    def touches(self, cells: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Whether each stretch meets one of the chosen cells, shape (m,)."""
        count = np.cumsum(cells)
        met: NDArray[np.bool_] = count[self.end] > count[self.start]
        return met

    def open(self, rows: NDArray[np.bool_], worth: Floats | None = None) -> NDArray[Any]:
        """Stretches that run through each cell, or the sum of their worth, shape (k,)."""
        cells = len(self.at_risk) + 1
        each = None if worth is None else worth[rows]
        begun = np.bincount(self.start[rows] + 1, each, cells)
        ended = np.bincount(self.end[rows] + 1, each, cells)
        running: NDArray[Any] = np.cumsum(begun - ended)[:-1]
        return running

    def sum(self, values: NDArray[Any]) -> Floats:
        """Sum of a value of cells per class, shape (g,)."""
        return segment_sum(values, self.offsets)

    def least(self, values: Floats) -> Floats:
        """Smallest value of cells per class, inf where there is none, shape (g,)."""
        return segment_min(values, self.offsets)

    def most(self, values: Floats) -> Floats:
        """Largest value of cells per class, -inf where there is none, shape (g,)."""
        return segment_max(values, self.offsets)


def lay_stretches(sets: RiskSets, group: Ints, start: Floats, end: Floats) -> Stretches:
    """Lay stretches of age over the lives at risk.

    Parameters
    ----------
    sets : RiskSets
        Lives at risk of all classes.
    group : ndarray of int, shape (m,)
        Class of each stretch, as a number into ``sets``.
    start, end : ndarray, shape (m,)
        Ages between which each stretch runs; ``end`` is not below ``start``.

    Returns
    -------
    Stretches
        Beyond the oldest age of a class nothing is at risk.
    """
    classes, m = len(sets.offsets) - 1, len(start)
    # ages as whole numbers, so that class and age make one rising key
    known, rank = np.unique(np.concatenate((sets.age, start, end)), return_inverse=True)
    of_set = np.repeat(np.arange(classes), np.diff(sets.offsets))
    keys = np.concatenate((of_set, group, group)) * len(known) + rank
    cells, place = np.unique(keys, return_inverse=True)
    offsets = np.searchsorted(cells, np.arange(classes + 1) * len(known))
    seen = len(sets.age)
    failures = np.zeros(len(cells))
    failures[place[:seen]] = sets.failures
    following = np.searchsorted(keys[:seen], cells)
    inside = following < sets.offsets[1:][cells // max(len(known), 1)]
    at_risk = np.where(inside, np.append(sets.at_risk, 0.0)[following], 0.0)
    return Stretches(offsets, at_risk, failures, group, place[seen : seen + m], place[seen + m :])


def read_stretches(now: ArrayLike, ahead: ArrayLike) -> tuple[Floats, Floats]:
    """Check ages now and what is to be run from there.

    Raises
    ------
    InputError
        If a value is missing or below 0, or the two differ in length.
    """
    out = []
    for values, name in ((now, "now"), (ahead, "ahead")):
        try:
            array = np.asarray(values, dtype=np.float64)
        except (TypeError, ValueError):
            raise InputError("holds something that is not a number", where=name) from None
        if array.ndim != 1:
            raise InputError(f"has shape {array.shape}", where=name, hint="give a plain list")
        bad = ~(np.isfinite(array) & (array >= 0))
        if bad.any():
            first = int(np.argmax(bad))
            raise InputError(
                f"{array[first].item()!r} is not a number of 0 or more",
                where=f"{name}[{first}]",
                hint="leave out seals of unknown age and count them beside the result",
            )
        out.append(array)
    if len(out[0]) != len(out[1]):
        raise InputError(
            f"has {len(out[1])} values where now has {len(out[0])}",
            where="ahead",
            hint="give one a seal",
        )
    return out[0], out[1]
