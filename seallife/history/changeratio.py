"""Ratio of a failure rate after a change to that before, against what happened meanwhile.

In: failures and expected failures on both sides. Out: `RateRatio`; dispersion; exposure needed.
Next: `seallife.history.improvement`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.life.groups import Floats, Ints
from seallife.life.lifedata import check_level

__all__ = ["RateRatio", "dispersion", "more_needed", "rate_ratio"]

_POWER = 0.8  # chance with which a halved rate should show
_TOLD = 0.5  # the ratio that should show
_FEWEST_PAIRS = 10  # positions below which their scatter is not estimated


@dataclass(frozen=True)
class RateRatio:
    """Ratio of two failure rates.

    Attributes
    ----------
    ratio : float
        NaN without failures before.
    low, high : float
        Limits; 0 without failures after, infinite without failures before.
    p : float
        Two-sided: how far out a ratio of 1 lies.
    """

    ratio: float
    low: float
    high: float
    p: float


def rate_ratio(
    failures: tuple[float, float],
    expected: tuple[float, float],
    *,
    log_change: ArrayLike = 0.0,
    dispersion: float = 1.0,
    level: float = 0.90,
    draws: int = 4_000,
    seed: int | tuple[int, ...] = 1,
) -> RateRatio:
    """By which factor did the rate change, beyond what changed elsewhere?

    Parameters
    ----------
    failures, expected : tuple of two floats
        Failures, and time at risk or failures expected at equal rates, before and after.
    log_change : float or ndarray, shape (draws,)
        Log of the change at unchanged positions, or draws of it from `seallife.history.unchanged`.
    dispersion : float
        Variance of counts over that of chance alone, see `dispersion`.
    level : float
        Two-sided level.
    draws, seed : int
        Of the interval; the seed may be several numbers.

    Raises
    ------
    InputError
        A count is negative, a time at risk is not above 0, or there are too few draws.

    Examples
    --------
    >>> got = rate_ratio((57, 15), (153.0, 87.0))
    >>> [round(v, 2) for v in (got.ratio, got.low, got.high)]
    [0.46, 0.28, 0.73]

    Source
    ------
    Given the total, the later count is binomial; Brown, Cai & DasGupta (2001), Statistical
    Science 16, 101-133 (limits from the Jeffreys prior); McCullagh & Nelder (1989), section 4.5
    (dispersion).
    """
    check_level(level)
    (n0, n1), (t0, t1) = failures, expected
    if min(n0, n1) < 0 or not (t0 > 0 and t1 > 0):
        raise InputError(
            f"are {failures} in {expected}",
            where="failures, expected",
            hint="give counts of 0 or more and times above 0",
        )
    if draws < 200:
        raise InputError(f"is {draws}", where="draws", hint="give 200 or more")
    rng = np.random.default_rng(seed)
    odds = rng.beta(n1 / dispersion + 0.5, n0 / dispersion + 0.5, draws)
    change = np.broadcast_to(np.asarray(log_change, dtype=np.float64), (draws,))
    with np.errstate(divide="ignore"):
        log_ratio = np.log(odds) - np.log1p(-odds) + np.log(t0 / t1) - change
    low, high = np.exp(np.quantile(log_ratio, [(1 - level) / 2, (1 + level) / 2]))
    below = float((log_ratio < 0).mean())
    return RateRatio(
        n1 / t1 / (n0 / t0) / float(np.exp(change.mean())) if n0 else np.nan,
        float(low) if n1 else 0.0,
        float(high) if n0 else np.inf,
        min(1.0, 2 * max(min(below, 1 - below), 0.5 / draws)),
    )


def dispersion(
    before: Floats, after: Floats, expected: tuple[Floats, Floats], group: Ints
) -> float:
    """Do counts before and after scatter more than chance lets them, position by position?

    Given the failures of a position, those after are binomial whatever its own rate: positions
    that differ for good do not count as scatter.

    Parameters
    ----------
    before, after : ndarray, shape (n,)
        Failures of each position.
    expected : tuple of two ndarrays, shape (n,)
        Failures expected of each on both sides, up to a factor.
    group : ndarray of int, shape (n,)
        Positions for which the ratio of rates is the same.

    Returns
    -------
    float
        Pearson's statistic over its degrees of freedom, 1 or more; 1 with fewer than 10 of them.
    """
    share = np.where(expected[0] > 0, expected[1], 0.0)
    used = (before + after > 0) & (share > 0)
    n, k, g = (before + after)[used], after[used], group[used].astype(np.int64)
    freedom = int(used.sum()) - len(np.unique(g))
    if freedom < _FEWEST_PAIRS:
        return 1.0
    size = int(g.max()) + 1
    log_odds = np.log(expected[1][used] / expected[0][used])
    log_ratio, total = np.zeros(size), np.bincount(g, k, size)
    for _ in range(50):
        p = 1 / (1 + np.exp(-log_ratio[g] - log_odds))
        bend = np.bincount(g, n * p * (1 - p), size)
        step = (total - np.bincount(g, n * p, size)) / np.maximum(bend, 1e-9)
        # where all or none came after, the ratio runs to its end and those positions fit
        log_ratio = np.clip(log_ratio + np.clip(step, -1, 1), -12, 12)
    p = 1 / (1 + np.exp(-log_ratio[g] - log_odds))
    return max(1.0, float(((k - n * p) ** 2 / (n * p * (1 - p))).sum()) / freedom)


def more_needed(
    failures_before: float,
    expected: tuple[float, float],
    *,
    log_change: float = 0.0,
    variance: float = 0.0,
    dispersion: float = 1.0,
    level: float = 0.90,
) -> float:
    """How much more time at risk after the change would tell a ratio of 0.5, four times in five?

    Parameters
    ----------
    failures_before : float
    expected : tuple of two floats
        Time at risk, or failures expected at equal rates, before and after.
    log_change, variance : float
        Change at unchanged positions and its variance, which more time does not lessen here.
    dispersion, level : float
        As for `rate_ratio`.

    Returns
    -------
    float
        As a share of the time after that there is: 0 where it is enough, infinite where no time
        after the change would do, since too little is known of the time before.

    Examples
    --------
    >>> round(more_needed(57, (153.0, 87.0)), 2)
    0.03
    >>> more_needed(4, (20.0, 60.0))
    inf
    """
    from scipy.special import ndtri

    check_level(level)
    if failures_before <= 0 or min(expected) <= 0:
        return np.inf
    allowed = (np.log(1 / _TOLD) / (ndtri((1 + level) / 2) + ndtri(_POWER))) ** 2
    left = (allowed - variance) / dispersion - 1 / failures_before
    if left <= 0:
        return np.inf
    rate = failures_before / expected[0] * np.exp(log_change)
    return float(max(0.0, 1 / left / (_TOLD * rate * expected[1]) - 1))
