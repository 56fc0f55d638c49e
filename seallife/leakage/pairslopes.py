"""The slopes between all pairs of readings, in order: where S of the residuals changes.

In: readings of segments of one size. Out: `PairSlopes`. Next: `seallife.leakage.slopes`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from seallife.life.groups import Floats, Ints

__all__ = ["PairSlopes", "Ranks"]

Ranks = Literal["between", "nearest"]


@dataclass(frozen=True, eq=False)
class PairSlopes:
    """Slopes at which pairs cease to rise or begin to fall, ordered, of segments of one size.

    ``values`` holds both of each pair, or one of them where both are the same (``double``);
    ``empty`` pairs that tell nothing at any slope stand half before and half after the others.
    """

    values: Floats
    empty: Ints
    pairs: int
    double: bool

    @classmethod
    def of(cls, time: Floats, low: Floats, high: Floats, exact: bool) -> PairSlopes:
        """Slopes of all pairs of readings in order of time, each of shape (g, n)."""
        i, j = np.triu_indices(time.shape[1], 1)
        gap = time[:, j] - time[:, i]
        same = gap == 0
        per = 1 / np.where(same, 1.0, gap)
        if exact:
            values = (low[:, j] - low[:, i]) * per
            # pairs of one time go to the end and are not counted
            values[same] = np.inf
            values.sort(axis=1)
            return cls(values, np.count_nonzero(same, axis=1), len(i), True)
        up, down = (low[:, j] - high[:, i]) * per, (high[:, j] - low[:, i]) * per
        up[same], down[same] = -np.inf, np.inf
        empty = np.count_nonzero(np.isneginf(up) & np.isposinf(down), axis=1)
        values = np.concatenate([up, down], axis=1)
        values.sort(axis=1)
        return cls(values, empty, len(i), False)

    def at(self, rank: Ints) -> Floats:
        """Value of that rank among both of all pairs that tell something, from 1; open beyond."""
        last = 2 * (self.pairs - self.empty)
        inside = np.clip(rank, 1, np.maximum(last, 1))
        column = (inside + 1) // 2 - 1 if self.double else inside + self.empty - 1
        found = np.take_along_axis(self.values, column[:, None], axis=1)[:, 0]
        return np.where(rank < 1, -np.inf, np.where(rank > last, np.inf, found))

    def flat(self) -> tuple[Floats, Floats]:
        """Slopes between which S of the residuals is nought."""
        half = self.pairs - self.empty
        none = half == 0
        return (
            np.where(none, -np.inf, self.at(half)),
            np.where(none, np.inf, self.at(half + 1)),
        )

    def limits(self, half: Floats, ranks: Ranks) -> tuple[Floats, Floats]:
        """Slopes at which S of the residuals reaches ``half`` on either side."""
        pairs = self.pairs - self.empty
        below, above = (pairs - half) / 2, (pairs + half) / 2 + 1
        if ranks == "nearest":
            below, above = np.round(below), np.round(above - 1) + 1
        # of the two of one rank, which are the same for exact readings, the inner one: the outer
        # covers up to 97 % at 90 % where half of 8 readings are below detection
        return self._interpolate(below, 0), self._interpolate(above, 1)

    def _interpolate(self, rank: Floats, inner: int) -> Floats:
        whole = np.floor(rank).astype(np.int64)
        share = rank - whole
        one, two = self.at(2 * whole - inner), self.at(2 * whole + 2 - inner)
        both = np.isfinite(one) & np.isfinite(two)
        with np.errstate(invalid="ignore"):
            mixed = np.where(both, one + share * (two - one), one if inner else two)
        return np.asarray(np.where(share == 0, one, mixed))
