"""One table of likelihoods for all drawings of a group under a law, and the top of each.

In: `Draws` under laws. Out: `CommonTops`. Next: `seallife.life.calibration`.

The drawings of a group resemble each other, so the same few shapes serve to tabulate them all. What
lies outside of the table, or is not smooth enough for it, is left to be done by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats, Ints
from seallife.life.lines import Lines, best_on
from seallife.life.redrawn import Draws, Ended
from seallife.life.surface import WeibullSurface, chebyshev_places

__all__ = ["REACH", "WIDEST", "CommonTops", "common_tops"]

WIDEST = float(np.log(1e4))
"""Log shapes beyond are not tabulated: no fit lies there."""

REACH = 2.5
"""Standard errors of log shape about a top within which likelihoods are looked at."""

_SPAN = 6.0  # those that a table spans
_EXACT = 1e-9  # of a table
_MOST = 40  # nodes
_APART = 0.05  # share of the drawings that a table need not hold


@dataclass(frozen=True, eq=False)
class CommonTops:
    """Tops of sets of drawings, those that the tables hold.

    Attributes
    ----------
    number, row : ndarray of int, shape (k,)
        Number of the set and of the drawing within it.
    surface : WeibullSurface
        Their likelihoods.
    best : ndarray, shape (k,)
        Log sigma of the top.
    low, high : ndarray, shape (k,)
        Log sigmas to look at.
    apart : list of ndarray
        Drawings that have a top but no place in the table, set by set.
    """

    number: Ints
    row: Ints
    surface: WeibullSurface
    best: Floats
    low: Floats
    high: Floats
    apart: list[NDArray[np.intp]]

    def of(self, sets: Sequence[int]) -> NDArray[np.intp]:
        """Places of some sets."""
        return np.flatnonzero(np.isin(self.number, sets))

    def take(self, at: NDArray[np.intp]) -> CommonTops:
        """Only some places."""
        columns = (self.best, self.low, self.high)
        best, low, high = (c[at] for c in columns)
        surface = self.surface.take(at)
        return CommonTops(self.number[at], self.row[at], surface, best, low, high, self.apart)

    def fallen(self, tau: Floats, mu: Floats, lines: Lines, shape: bool) -> Floats:
        """Signed roots of the fall from each top to where quantities have the values of a law.

        Parameters
        ----------
        tau, mu : ndarray, shape (k,)
            Log sigma and log scale, from the centre of the drawings.
        lines : Lines
            The quantities; log sigma goes before them where ``shape``.
        """
        surface, best = self.surface, self.best
        target = lines.values(tau, mu)
        side = lines.values(best, surface.best_scale(best)) - target
        height = best_on(surface, lines, target, best, (self.low, self.high))[2]
        if shape:
            height = np.hstack([surface.ridge(tau)[:, None], height])
            side = np.hstack([(best - tau)[:, None], side])
        fall = np.maximum(surface.ridge(best)[:, None] - height, 0.0)
        return np.asarray(np.sign(side) * np.sqrt(2 * fall))


def common_tops(sets: Sequence[tuple[Draws, Ended]]) -> CommonTops:
    """Tabulate the drawings of each set, all of one group under one law, and find their tops."""
    tables = [_Table.of(*one) for one in sets]
    tops = _tops(tables)
    narrow = [i for i, found in enumerate(tops) if found.outside and found.good.any()]
    for i in narrow:
        tables[i] = tables[i].wider(*sets[i], tops[i])
    for i, found in zip(narrow, _tops([tables[i] for i in narrow]), strict=True):
        tops[i] = found
    number = np.repeat(np.arange(len(sets)), [len(table.row) for table in tables])
    row = np.concatenate([table.row for table in tables])
    best, low, high, inside = (
        np.concatenate([getattr(found, c) for found in tops])
        for c in ("best", "low", "high", "inside")
    )
    at = np.flatnonzero(inside)
    surface = WeibullSurface.stack([table.surface for table in tables])
    apart = [table.row[~found.inside] for table, found in zip(tables, tops, strict=True)]
    return CommonTops(number[at], row[at], surface.take(at), best[at], low[at], high[at], apart)


@dataclass(frozen=True, eq=False)
class _Table:
    """Likelihoods of the drawings of one set that have a top, between two log sigmas.

    ``tau`` is that of the law drawn from; of the drawings numbered ``row`` those that are ``exact``
    have their place in the table.
    """

    row: NDArray[np.intp]
    surface: WeibullSurface
    exact: NDArray[np.bool_]
    tau: float
    low: float
    high: float

    @classmethod
    def of(cls, draws: Draws, ended: Ended) -> _Table:
        """About the law drawn from."""
        row = np.flatnonzero((ended.failures >= 2) & ended.distinct)
        few = ended.failures[row].mean() if len(row) else 2.0
        reach = float(min(0.85 / np.sqrt(few), 0.45) * _SPAN)
        tau, nodes = float(np.log(ended.sigma)), min(int(np.ceil(4 + 20 * reach)), _MOST - 1)
        return cls._between(draws, ended, row, (tau - reach, tau + reach), nodes)

    @classmethod
    def _between(
        cls,
        draws: Draws,
        ended: Ended,
        row: NDArray[np.intp],
        span: tuple[float, float],
        nodes: int,
    ) -> _Table:
        """With so many nodes, or more where they do not do."""
        low, high = span
        middle, half = -(low + high) / 2, (high - low) / 2 * 1.02
        r, total, one = ended.failures[row], ended.log_age_sum[row], np.ones(len(row))
        while True:
            shapes = np.exp(middle + half * chebyshev_places(nodes))
            with np.errstate(all="ignore"):
                values = np.log(draws.sums(ended, shapes)[row])
            good = np.isfinite(values).all(axis=1)
            values[~good] = 0.0
            surface = WeibullSurface.of_values(r, total, values, middle * one, half * one)
            exact = surface.resolved(_EXACT)
            if nodes >= _MOST or (good & ~exact).sum() <= _APART * len(row):
                return cls(row, surface, good & exact, float(np.log(ended.sigma)), low, high)
            nodes += nodes // 3

    def wider(self, draws: Draws, ended: Ended, tops: _Tops) -> _Table:
        """Such that it holds nearly all tops."""
        low = min(self.low, float(np.quantile(tops.low[tops.good], 0.01)))
        high = max(self.high, float(np.quantile(tops.high[tops.good], 0.99)))
        nodes = self.surface.series.shape[1]
        return self._between(draws, ended, self.row, (low, high), nodes)


class _Tops(NamedTuple):
    """Log sigmas of the tops of a table and of those to look at, and whether they are in it."""

    best: Floats
    low: Floats
    high: Floats
    good: NDArray[np.bool_]
    inside: NDArray[np.bool_]

    @property
    def outside(self) -> bool:
        """Whether too many are not."""
        return int(self.inside.sum()) < (1 - _APART) * len(self.inside)


def _tops(tables: Sequence[_Table]) -> list[_Tops]:
    """Tops of all tables, searched side by side."""
    if not tables:
        return []
    size = [len(table.row) for table in tables]
    tau, low, high = (
        np.repeat([getattr(table, c) for table in tables], size) for c in ("tau", "low", "high")
    )
    surface = WeibullSurface.stack([table.surface for table in tables])
    best, error, settled = surface.tops(tau, (low, high))
    near = np.maximum(np.minimum(best - REACH * error, tau - 0.5 * error), -WIDEST)
    far = np.minimum(np.maximum(best + REACH * error, tau + 0.5 * error), WIDEST)
    good = np.concatenate([table.exact for table in tables]) & settled & np.isfinite(error)
    inside = good & (near >= low) & (far <= high)
    columns = (np.split(c, np.cumsum(size)[:-1]) for c in (best, near, far, good, inside))
    return [_Tops(*one) for one in zip(*columns, strict=True)]
