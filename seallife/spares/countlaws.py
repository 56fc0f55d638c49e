"""How likely is each number of seals, if only mean and variance of the count are known?

In: means and variances, one for each law that the records allow. Out: chances of 0, 1, 2, ...
Next: `seallife.spares.demand`.

A sum of many seals' counts is close to the binomial, Poisson or negative binomial law of the same
mean and variance: one family, whose chances follow each other by (a + b / k).
"""

from __future__ import annotations

import numpy as np

from seallife.life.groups import Floats

__all__ = ["count_chances", "count_quantiles", "most_counts"]

_CELLS = 1_000_000
_LEAST_SCATTER = 1e-6  # variance over mean of counts that are all but certain


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
    some = mean > 1e-12
    m = np.where(some, mean, 1.0)
    scatter = np.where(some, np.maximum(variance / m, _LEAST_SCATTER), 1.0)
    a = 1 - 1 / scatter
    small = np.abs(a) < 1e-9
    a = np.where(small, 0.0, a)
    b = m * (1 - a) - a
    with np.errstate(divide="ignore", invalid="ignore"):
        none = np.where(small, -m, np.log1p(-a) * (1 + b / np.where(small, 1.0, a)))
        steps = a[..., None] + b[..., None] / np.arange(1, last + 1)
        # past the last count of a binomial nothing follows
        logs = np.where(steps > 0, np.log(np.where(steps > 0, steps, 1.0)), -np.inf)
    total = np.concatenate((none[..., None], none[..., None] + np.cumsum(logs, axis=-1)), axis=-1)
    chance = np.exp(total - total.max(axis=-1, keepdims=True))
    chance /= chance.sum(axis=-1, keepdims=True)
    return np.asarray(np.where(some[..., None], chance, np.arange(last + 1) == 0))
