"""Which parameters of a law make the lives of each group most likely?

In: `LifeData`, a law of `seallife.life.laws`. Out: `Peak`. Next: `seallife.life.lawfits`,
`seallife.life.mixture`.

Failures need the density alone, lives withdrawn and late entries the survival alone: the rows are
parted once, and a search goes over them as flat arrays for all groups at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from seallife.life.climb import Peak, climb
from seallife.life.groups import Floats
from seallife.life.laws import Law
from seallife.life.lawsums import Rows, law_sums
from seallife.life.lifedata import LifeData

__all__ = ["LawRows", "fit_law"]


@dataclass(frozen=True, eq=False)
class LawRows:
    """Log-likelihood of groups under a law that has slopes in `SLOPES`.

    Attributes
    ----------
    law : Law
    died, watched : Rows
        Failures; lives withdrawn, and late entries with a count below 0.
    """

    law: Law
    died: Rows
    watched: Rows

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
            Rows.of(x[failed], None if data.weight is None else weight[failed], code[failed], g),
            Rows.of(
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
            total += rows.sum(function([rows.spread(c) for c in at.T], rows.x))
        return total

    def slopes(self, at: Floats) -> tuple[Floats, Floats, Floats]:
        """Value, shape (g,), slope, shape (g, p), and second derivatives, shape (g, p, p)."""
        p = at.shape[1]
        value, *rest = law_sums(self.law.name, at, self.died, self.watched)
        bends = np.zeros((len(at), p, p))
        pairs = [(i, j) for i in range(p) for j in range(i + 1)]
        for (i, j), column in zip(pairs, rest[p:], strict=True):
            bends[:, i, j] = bends[:, j, i] = column
        return value, np.stack(rest[:p], axis=1), bends


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
