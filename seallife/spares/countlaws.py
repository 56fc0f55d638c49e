"""How likely is each number of seals, if only mean and variance of the count are known?

In: means and variances, one for each law that the records allow. Out: chances of 0, 1, 2, ...
Next: `seallife.spares.demand`.

A sum of many seals' counts is close to the binomial, Poisson or negative binomial law of the same
mean and variance: one family, whose chances follow each other by (a + b / k). A binomial needs a
whole number of tries: where mean and variance ask for 4.3, laws of 4 and of 5 are mixed, which for
one seal or two is exact.
"""

from __future__ import annotations

import numpy as np

from seallife.life.groups import Floats

__all__ = ["count_chances", "count_quantiles", "most_counts"]

_CELLS = 1_000_000
_NOTHING = 1e-9


def most_counts(mean: Floats, variance: Floats) -> int:
    """Count beyond which no law has more than a chance in many millions."""
    top = mean + 9 * np.sqrt(np.maximum(variance, mean)) + 12
    return int(np.ceil(top.max(initial=12.0)))


def count_chances(mean: Floats, variance: Floats, most: int | None = None) -> Floats:
    """How likely is each count, over all equally likely laws?

    Parameters
    ----------
    mean, variance : ndarray, shape (draws, g)
        Of the count, by law and group.
    most : int, optional
        Last count told; by default one beyond which nothing is left.

    Returns
    -------
    ndarray, shape (g, most + 1)
        Sum 1 in each row.

    Source
    ------
    Johnson, Kemp & Kotz (2005), Univariate Discrete Distributions, section 2.3.1 (Katz family);
    Ehm (1991), Statistics & Probability Letters 11, 7-16 (sums of unlike chances).
    """
    draws, g = mean.shape
    own = np.array([most_counts(mean[:, k], variance[:, k]) for k in range(g)], dtype=np.int64)
    last = int(own.max(initial=0)) if most is None else most
    out = np.zeros((g, last + 1))
    # groups of like size together: a pool of six needs no chances of hundreds
    size = np.ceil(np.log2(own))
    for step in np.unique(size):
        rows = np.flatnonzero(size == step)
        upto = min(int(own[rows].max()), last)
        block = max(1, _CELLS // (len(rows) * (upto + 1)))
        for first in range(0, draws, block):
            some = np.ix_(np.arange(first, min(first + block, draws)), rows)
            out[rows, : upto + 1] += _family(mean[some], variance[some], upto).sum(axis=0)
    return np.asarray(out / out.sum(axis=1, keepdims=True))


def count_quantiles(chances: Floats, share: float) -> Floats:
    """Smallest count of which a share of all outcomes is no greater, shape (g,)."""
    reached = np.cumsum(chances, axis=1) >= share - 1e-12
    return np.asarray(np.argmax(reached, axis=1), dtype=np.float64)


def _family(mean: Floats, variance: Floats, last: int) -> Floats:
    """Chances of 0 to ``last`` for each mean and variance, shape (draws, g, last + 1)."""
    out = np.zeros((*mean.shape, last + 1))
    none = mean <= _NOTHING
    out[none, 0] = 1.0
    wide = ~none & (variance >= mean * (1 - _NOTHING))
    out[wide] = _spread(mean[wide], variance[wide], last)
    narrow = ~none & ~wide
    out[narrow] = _tries(mean[narrow], variance[narrow], last)
    return out


def _spread(m: Floats, variance: Floats, last: int) -> Floats:
    """Poisson or negative binomial."""
    a = np.maximum(1 - m / np.maximum(variance, m), 0.0)
    b = m * (1 - a) - a
    poisson = a < _NOTHING
    safe = np.where(poisson, 1.0, a)
    start = np.where(poisson, -m, np.log1p(-np.where(poisson, 0.0, a)) * (a + b) / safe)
    return _chain(start, a, b, last)


def _tries(m: Floats, variance: Floats, last: int) -> Floats:
    """Binomials of two neighbouring numbers of tries, of the mean, mixed to the variance."""
    tries = np.ceil(m**2 / (m - variance) - _NOTHING)
    upper = np.maximum(tries, np.ceil(m - _NOTHING))
    lower = upper - 1
    out = _binomial(m, upper, last)
    most = m * (1 - m / upper)
    some = lower >= m
    part = m % 1  # fewer tries than the mean cannot be: the counts next to the mean are left
    least = np.where(some, m * (1 - m / np.maximum(lower, m)), part * (1 - part))
    gap = most - least
    share = np.where(gap > _NOTHING, (most - variance) / np.where(gap > _NOTHING, gap, 1.0), 0.0)
    share = np.clip(share, 0.0, 1.0)[:, None]
    count = np.arange(last + 1)
    beside = np.maximum(1 - np.abs(count - m[:, None]), 0.0)
    beside[some] = _binomial(m[some], lower[some], last)
    return np.asarray((1 - share) * out + share * beside)


def _binomial(m: Floats, tries: Floats, last: int) -> Floats:
    p = np.minimum(m / tries, 1 - 1e-12)
    odds = p / (1 - p)
    return _chain(tries * np.log1p(-p), -odds, (tries + 1) * odds, last)


def _chain(start: Floats, a: Floats, b: Floats, last: int) -> Floats:
    """Chances from the log of the first and the ratio of each to the one before."""
    steps = a[:, None] + b[:, None] / np.arange(1, last + 1)
    # past the last count of a binomial nothing follows
    ended = steps <= _NOTHING * np.abs(a)[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        np.log(steps, out=steps)
    steps[ended] = -np.inf
    total = np.concatenate((start[:, None], start[:, None] + np.cumsum(steps, axis=1)), axis=1)
    total -= total.max(axis=1, keepdims=True)
    np.exp(total, out=total)
    return np.asarray(total / total.sum(axis=1, keepdims=True))
