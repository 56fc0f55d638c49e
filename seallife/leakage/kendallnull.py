"""What S of Kendall would be without a trend: its variance, its law, its tails.

In: readings by segment. Out: `Statistics`, p, and the S that limits rest on. Next:
`seallife.leakage.kendall`, `seallife.leakage.slopes`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from seallife.leakage.segments import Bools, Readings, batches
from seallife.life.groups import Floats

__all__ = ["Statistics", "certain", "half_width", "null_variance", "p_values", "statistics"]

_EXACT = 10  # readings up to which every order is counted
_ROUNDING = 1e-10  # of the readings, by which those on one line may differ
_WIDEST = 0.9  # of the variance of an S that is always at one of its ends


@dataclass(frozen=True, eq=False)
class Statistics:
    """What the order of the readings says, one value a segment, shape (g,).

    Attributes
    ----------
    s, variance : ndarray
        Kendall's S and its variance over all orders of the readings.
    most : ndarray
        Largest S that readings with these ties and open bounds can show.
    kind : ndarray of object
        Sizes of the ties where every order can be counted, else None.
    """

    s: Floats
    variance: Floats
    most: Floats
    kind: NDArray[np.object_]


def certain(low: Floats, high: Floats, line: Floats | None = None) -> Bools:
    """Which readings are certainly above which, shape (g, n, n): row above column.

    The ends of an open reading are not part of it, so it is drawn in by the smallest step: then a
    value equal to a limit of detection is certainly the larger, and equal values are a tie. With
    a line, the readings less the line are compared. It may go through two readings; that they
    are a tie then must not hang on rounding.
    """
    is_open = low < high
    if line is None:
        lo = np.where(is_open & np.isfinite(low), np.nextafter(low, np.inf), low)
        hi = np.where(is_open & np.isfinite(high), np.nextafter(high, -np.inf), high)
    else:
        size = np.where(np.isfinite(high), np.abs(high), 0.0) + np.abs(line)
        size = np.maximum(size, np.where(np.isfinite(low), np.abs(low), 0.0))
        lo, hi = low - line, high - line + _ROUNDING * size.max(axis=1, keepdims=True)
    return np.asarray(lo[:, :, None] > hi[:, None, :])


def null_variance(above: Bools, late: Bools) -> tuple[Floats, Floats, Floats]:
    """Variance of S over all orders, the largest S, shape (g,), and scores, shape (g, n).

    For antisymmetric scores a and b the variance of the sum of a*b over all orders depends on
    their row sums and squares only (Daniels 1944).
    """
    n = above.shape[1]
    score, pairs = _margins(above)
    late_score, late_pairs = _margins(late)
    most = np.minimum(pairs, late_pairs) / 2
    if n < 2:
        return np.zeros(len(above)), most, score
    first = ((score**2).sum(axis=1) - pairs) * ((late_score**2).sum(axis=1) - late_pairs)
    second = pairs * late_pairs / (2 * n * (n - 1))
    return first / max(n * (n - 1) * (n - 2), 1) + second, most, score


def _margins(above: Bools) -> tuple[Floats, Floats]:
    """How many readings each is above less below, and how many ordered pairs are certain."""
    up = above.sum(axis=2, dtype=np.int32)
    score = (up - above.sum(axis=1, dtype=np.int32)).astype(np.float64)
    return score, 2.0 * up.sum(axis=1)


def statistics(readings: Readings) -> Statistics:
    """Kendall's S and its variance over all orders, for each segment."""
    g = len(readings)
    s, variance, most = np.zeros((3, g))
    kind = np.full(g, None, dtype=object)
    for ids, rows in batches(readings):
        time = readings.time[rows]
        above = certain(readings.low[rows], readings.high[rows])
        late = time[:, :, None] > time[:, None, :]
        s[ids] = _signed(above, late)
        variance[ids], most[ids], score = null_variance(above, late)
        n = rows.shape[1]
        if 1 < n <= _EXACT:
            kind[ids] = _kinds(above, score, late)
    return Statistics(s, variance, most, kind)


def _signed(above: Bools, late: Bools) -> Floats:
    """Pairs that certainly rise with time less pairs that fall, shape (g,)."""
    rise = np.count_nonzero(above & late, axis=(1, 2))
    fall = np.count_nonzero(above & late.transpose(0, 2, 1), axis=(1, 2))
    return np.asarray(rise - fall, dtype=np.float64)


def _kinds(above: Bools, score: Floats, late: Bools) -> NDArray[np.object_]:
    """Sizes of the ties of each segment; None where times tie or ties are not plain.

    Ties are plain where readings whose order is not certain stand in the same order to all
    others; they then have one score, and no other reading has it.
    """
    g, n = score.shape
    same = score[:, :, None] == score[:, None, :]
    tied = ~(above | above.transpose(0, 2, 1))
    plain = (same == tied).all(axis=(1, 2))
    plain &= np.count_nonzero(late, axis=(1, 2)) == n * (n - 1) // 2
    out = np.full(g, None, dtype=object)
    kinds, which = np.unique(np.sort(same.sum(axis=2), axis=1), axis=0, return_inverse=True)
    for k, sizes in enumerate(kinds):
        size, count = np.unique(sizes, return_counts=True)
        ties = tuple(np.repeat(size, count // size).tolist())
        for i in np.flatnonzero((which.ravel() == k) & plain):
            out[i] = ties
    return out


@lru_cache(maxsize=256)
def _tail(ties: tuple[int, ...]) -> tuple[Floats, Floats]:
    """Values of S from 0 up and how often it is at least that, over all orders.

    The number of inversions over the orders of a multiset is the Gaussian multinomial.
    """
    law: Floats = np.ones(1)
    for k in range(2, sum(ties) + 1):
        law = np.convolve(law, np.ones(k))
    for size in ties:
        for k in range(2, size + 1):
            law = np.asarray(np.polydiv(law, np.ones(k))[0], dtype=np.float64)
    values: Floats = np.arange(1.0 - len(law), len(law), 2.0)
    at_least = np.asarray(np.cumsum(law[::-1])[::-1] / law.sum(), dtype=np.float64)
    return values, at_least


def p_values(found: Statistics, inflation: Floats) -> tuple[Floats, Floats, Floats, Bools]:
    """z, two-sided p, one-sided p for rising, and whether every order was counted."""
    from scipy.special import betainc, ndtr

    known = found.variance > 0
    away = np.sign(found.s) * np.maximum(np.abs(found.s) - 1, 0)
    z = away / np.sqrt(np.where(known, found.variance, 1.0) * inflation)
    below = ndtr(z)
    wide = known & (inflation > 1)
    shape = _shape(found.variance[wide], found.most[wide], inflation[wide])
    below[wide] = betainc(shape, shape, (1 + away[wide] / found.most[wide]) / 2)
    p, rising = np.minimum(2 * np.minimum(below, 1 - below), 1.0), 1 - below
    # far out the difference from 1 would be rounding
    p[~wide], rising[~wide] = np.minimum(2 * ndtr(-np.abs(z)), 1.0)[~wide], ndtr(-z)[~wide]
    counted = np.array([k is not None for k in found.kind], dtype=bool) & known & ~wide
    for ties in set(found.kind[counted].tolist()):
        rows = np.flatnonzero(counted & np.array([k == ties for k in found.kind], dtype=bool))
        values, at_least = _tail(ties)
        place, other = (np.searchsorted(values, v) for v in (found.s[rows], np.abs(found.s[rows])))
        rising[rows], p[rows] = at_least[place], np.minimum(2 * at_least[other], 1.0)
    for column in (z, p, rising):
        column[~known] = np.nan
    return z, p, rising, counted


def half_width(variance: Floats, most: Floats, inflation: Floats, level: float) -> Floats:
    """S that is not passed on either side with probability ``level``, without a trend."""
    from scipy.special import betaincinv, ndtri

    out = ndtri((1 + level) / 2) * np.sqrt(variance)
    wide = (inflation > 1) & (most > 0)
    shape = _shape(variance[wide], most[wide], inflation[wide])
    out[wide] = most[wide] * (2 * betaincinv(shape, shape, (1 + level) / 2) - 1)
    return np.asarray(out)


def _shape(variance: Floats, most: Floats, inflation: Floats) -> Floats:
    """Shape of the beta law on -most to most that has the inflated variance."""
    share = np.clip(variance * inflation / most**2, 1e-12, _WIDEST)
    return (1 / share - 1) / 2
