"""Which parameters of a law make the lives of each group most likely?

In: `LifeData`, a law of `seallife.life.laws`. Out: `Peak`. Next: `seallife.life.lawfits`,
`seallife.life.mixture`.

Failures need the density alone, lives withdrawn and late entries the survival alone: the rows are
parted once, and a search goes over them as flat arrays for all groups at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from seallife.life.climb import Peak, climb
from seallife.life.groups import Floats, Ints, stable_order
from seallife.life.laws import Law
from seallife.life.lawslopes import SLOPES
from seallife.life.lifedata import LifeData

__all__ = ["LawRows", "fit_law"]


@dataclass(frozen=True, eq=False)
class _Rows:
    """Log ages of one kind, gathered by group, and what each counts."""

    x: Floats
    worth: Floats
    offsets: Ints

    @classmethod
    def of(cls, x: Floats, worth: Floats, group: Ints, groups: int) -> _Rows:
        order = stable_order(group, groups)
        sizes = np.bincount(group, minlength=groups)
        return cls(x[order], worth[order], np.concatenate(([0], np.cumsum(sizes))))

    def take(self, keep: NDArray[np.bool_]) -> _Rows:
        """Only the rows of some groups."""
        sizes = np.diff(self.offsets)
        rows = np.flatnonzero(np.repeat(keep, sizes))
        offsets = np.concatenate(([0], np.cumsum(sizes[keep])))
        return _Rows(self.x[rows], self.worth[rows], offsets)

    def repeat(self, times: int) -> _Rows:
        """All groups again and again, one after the other."""
        shift = np.repeat(np.arange(times) * len(self.x), len(self.offsets) - 1)
        offsets = np.append(np.tile(self.offsets[:-1], times) + shift, times * len(self.x))
        return _Rows(np.tile(self.x, times), np.tile(self.worth, times), offsets)

    def columns(self, at: Floats) -> list[Floats]:
        """Parameters of its group on each row."""
        return list(np.repeat(at.T, np.diff(self.offsets), axis=1))

    def sums(self, values: Sequence[Floats]) -> Floats:
        """Sum of each column per group, shape (columns, g)."""
        out = np.zeros((len(values), len(self.offsets) - 1))
        filled = np.diff(self.offsets) > 0
        if filled.any():
            worth = np.stack(np.broadcast_arrays(*values)) * self.worth
            out[:, filled] = np.add.reduceat(worth, self.offsets[:-1][filled], axis=1)
        return out


@dataclass(frozen=True, eq=False)
class LawRows:
    """Log-likelihood of groups under a law that has slopes in `SLOPES`.

    Attributes
    ----------
    law : Law
    died, watched : _Rows
        Failures; lives withdrawn, and late entries with a count below 0.
    """

    law: Law
    died: _Rows
    watched: _Rows

    @classmethod
    def of(cls, law: Law, data: LifeData) -> LawRows:
        """Part the rows of lives with exact ages."""
        weight = np.ones(len(data.age)) if data.weight is None else data.weight
        x, code, failed = np.log(data.age), data.groups.codes, data.failed
        late = np.zeros(len(x), bool) if data.entry is None else data.entry > 0
        entered = np.log(np.zeros(0) if data.entry is None else data.entry[late])
        g, still = len(data.groups), ~failed
        return cls(
            law,
            _Rows.of(x[failed], weight[failed], code[failed], g),
            _Rows.of(
                np.r_[x[still], entered],
                np.r_[weight[still], -weight[late]],
                np.r_[code[still], code[late]],
                g,
            ),
        )

    def take(self, keep: NDArray[np.bool_]) -> LawRows:
        """Only the chosen groups."""
        return LawRows(self.law, self.died.take(keep), self.watched.take(keep))

    def repeat(self, times: int) -> LawRows:
        """All groups again and again, one after the other."""
        return LawRows(self.law, self.died.repeat(times), self.watched.repeat(times))

    def value(self, at: Floats) -> Floats:
        """Log-likelihood of each group, shape (g,), at parameters of shape (g, p)."""
        total = np.zeros(len(at))
        functions = (self.law.log_density, self.law.log_survival)
        for rows, function in zip((self.died, self.watched), functions, strict=True):
            total += rows.sums([function(rows.columns(at), rows.x)])[0]
        return total

    def slopes(self, at: Floats) -> tuple[Floats, Floats, Floats]:
        """Value, shape (g,), slope, shape (g, p), and second derivatives, shape (g, p, p)."""
        p = at.shape[1]
        pairs = [(i, j) for i in range(p) for j in range(i + 1)]
        total = np.zeros((1 + p + len(pairs), len(at)))
        for rows, function in zip((self.died, self.watched), SLOPES[self.law.name], strict=True):
            value, slope, bend = function(rows.columns(at), rows.x)
            total += rows.sums([value, *slope, *(bend[i][j] for i, j in pairs)])
        bends = np.zeros((len(at), p, p))
        for (i, j), column in zip(pairs, total[1 + p :], strict=True):
            bends[:, i, j] = bends[:, j, i] = column
        return total[0], total[1 : 1 + p].T, bends


def fit_law(
    law: Law,
    data: LifeData,
    log_shape: Floats,
    log_scale: Floats,
    *,
    low: Floats | None = None,
    high: Floats | None = None,
    starts: list[Floats] | None = None,
) -> Peak:
    """Best parameters of a law in every group, from a Weibull fit's.

    Parameters
    ----------
    law : Law
    data : LifeData
        Lives with exact ages.
    log_shape, log_scale : ndarray, shape (g,)
        Of a Weibull fit, or any fair guess.
    low, high : ndarray, shape (g, p), optional
        Box, where the law's own, which lies about ``log_scale``, is not meant.
    starts : list of ndarray, shape (g, p), optional
        Where to start, if not at the law's own starts.
    """
    shift = np.where(np.array(law.ages), log_scale[:, None], 0.0)
    walls: list[Any] = [np.asarray(own) + shift for own in (law.low, law.high)]
    walls = [own if given is None else given for own, given in zip(walls, (low, high), strict=True)]
    begin = law.starts(log_shape, log_scale) if starts is None else starts
    # all starts side by side, as if each were a group of its own
    times, rows = len(begin), LawRows.of(law, data)
    box = [np.tile(wall, (times, 1)) for wall in walls]
    return climb(rows.repeat(times), np.concatenate(begin), *box).best_of(times)
