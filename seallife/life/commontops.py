"""One table of likelihoods for all drawings of a group, and the top of each.

In: `Draws` under some laws. Out: `CommonTops`. Next: `seallife.life.calibration`.

The drawings of a group resemble each other, so the same few shapes serve to tabulate them all. What
lies outside of the table, or is not smooth enough for it, is left to be done by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

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
    """Tops of drawings under some laws, those that the table holds.

    Attributes
    ----------
    law, row : ndarray of int, shape (k,)
        Number of the law and of the drawing.
    surface : WeibullSurface
        Their likelihoods.
    best : ndarray, shape (k,)
        Log sigma of the top.
    low, high : ndarray, shape (k,)
        Log sigmas to look at.
    apart : list of ndarray
        Drawings that have a top but no place in the table, law by law.
    """

    law: Ints
    row: Ints
    surface: WeibullSurface
    best: Floats
    low: Floats
    high: Floats
    apart: list[Ints]

    def of(self, laws: Sequence[int]) -> NDArray[np.intp]:
        """Places of some laws."""
        return np.flatnonzero(np.isin(self.law, laws))

    def take(self, at: NDArray[np.intp]) -> CommonTops:
        """Only some places."""
        columns = (self.best, self.low, self.high)
        best, low, high = (c[at] for c in columns)
        surface = self.surface.take(at)
        return CommonTops(self.law[at], self.row[at], surface, best, low, high, self.apart)

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


def common_tops(draws: Draws, laws: Sequence[Ended]) -> CommonTops:
    """Tabulate the drawings of one group under each law, and find their tops."""
    some = [np.flatnonzero((v.failures >= 2) & v.distinct) for v in laws]
    law, row = np.repeat(np.arange(len(laws)), [len(v) for v in some]), np.concatenate(some)
    r = np.concatenate([v.failures[k] for v, k in zip(laws, some, strict=True)])
    total = np.concatenate([v.log_age_sum[k] for v, k in zip(laws, some, strict=True)])
    tau = np.log([v.sigma for v in laws])
    reach = np.array([_reach(v.failures[k]) for v, k in zip(laws, some, strict=True)])
    low, high, widened = tau - reach, tau + reach, False
    nodes = int(np.ceil(5 + 14 * reach.max()))
    while True:
        middle, half = -(low + high) / 2, (high - low) / 2 * 1.02
        values = np.empty((len(row), nodes))
        with np.errstate(all="ignore"):
            for i, (ended, rows) in enumerate(zip(laws, some, strict=True)):
                theta = middle[i] + half[i] * chebyshev_places(nodes)
                values[law == i] = np.log(draws.sums(ended, np.exp(theta))[rows])
        surface = WeibullSurface.of_values(r, total, values, middle[law], half[law])
        good = np.isfinite(values).all(axis=1)
        exact = surface.resolved(_EXACT)
        if nodes < _MOST and (good & ~exact).sum() > _APART * len(row):
            nodes += nodes // 3
            continue
        best, error, settled = surface.tops(tau[law], (low[law], high[law]))
        near = np.minimum(best - REACH * error, tau[law] - 0.5 * error)
        far = np.maximum(best + REACH * error, tau[law] + 0.5 * error)
        near, far = np.maximum(near, -WIDEST), np.minimum(far, WIDEST)
        good &= exact & settled & np.isfinite(error)
        inside = good & (near >= low[law]) & (far <= high[law])
        if widened or inside.sum() >= (1 - _APART) * len(row):
            break
        for i in range(len(laws)):
            mine = good & (law == i)
            if mine.any():
                low[i] = min(low[i], np.quantile(near[mine], 0.01))
                high[i] = max(high[i], np.quantile(far[mine], 0.99))
        widened = True
    at = np.flatnonzero(inside)
    apart = [row[(law == i) & ~inside] for i in range(len(laws))]
    return CommonTops(law[at], row[at], surface.take(at), best[at], near[at], far[at], apart)


def _reach(failures: Floats) -> float:
    """Span of a table to either side of the law drawn from."""
    few = failures.mean() if len(failures) else 2.0
    return float(min(0.85 / np.sqrt(few), 0.45) * _SPAN)
