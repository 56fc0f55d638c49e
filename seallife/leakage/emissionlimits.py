"""Between which limits does what a population emitted in a year lie?

In: hours and rates of readings. Out: limits of each year. Next: `seallife.leakage.emissions`.

Two things are not known of a seal whose readings are: what it emits at such readings, which is
the scatter of single seals about the equation; and what would have been read at other times. The
second shows in how readings of one position differ. Where they differ as much as positions do, a
position's mean says little of it, and is drawn towards that of all before it is scattered.
"""

from __future__ import annotations

import numpy as np

from seallife.leakage.standing import Standing
from seallife.life.groups import Floats, Ints

__all__ = ["by_member", "lasting_share", "limits_of_years"]

_CELLS = 1_000_000  # of resamples by positions held at once


def by_member(stands: Standing, rate: Floats, p: int) -> tuple[Floats, Floats]:
    """Hours monitored and kg of each member in each year.

    Parameters
    ----------
    stands : Standing
    rate : ndarray, shape (n,)
        Of each reading [kg/h].
    p : int
        Members.

    Returns
    -------
    hours, kg : ndarray, shape (p, m)
        Between steps of a total only: the kg of a member is no estimate for that seal.
    """
    hours, kg = (np.zeros((p, stands.hours.shape[1])) for _ in range(2))
    np.add.at(hours, stands.member, stands.hours)
    np.add.at(kg, stands.member, stands.hours * rate[:, None])
    return hours, kg


def lasting_share(member: Ints, hours: Floats, rate: Floats) -> float:
    """Which share of the differences between positions is for good?

    Parameters
    ----------
    member : ndarray of int, shape (n,)
        Position of each reading of a year.
    hours : ndarray, shape (n,)
        That it stands for, above 0.
    rate : ndarray, shape (n,)

    Returns
    -------
    float
        0 where means of positions differ no more than readings of one position make them, 1 where
        all readings of a position are alike; missing where none was read twice.

    Source
    ------
    One-way analysis of variance; Searle, Casella & McCulloch (1992), Variance Components, ch. 3
    (from memory).
    """
    p = int(member.max()) + 1
    total, n = (np.bincount(member, weights=w, minlength=p) for w in (hours, np.ones(len(member))))
    weight = hours / total[member]
    mean = np.bincount(member, weights=weight * rate, minlength=p)
    plain = np.bincount(member, weights=rate, minlength=p) / np.maximum(n, 1)
    twice = int((n - 1)[n > 1].sum())
    if not twice:
        return float(np.nan)
    within = float(((rate - plain[member]) ** 2).sum() / twice)
    noise = within * np.bincount(member, weights=weight**2, minlength=p)[n > 0].mean()
    between = float(mean[n > 0].var(ddof=1)) if (n > 0).sum() > 1 else 0.0
    return float(np.clip(1 - noise / between, 0.0, 1.0)) if between > 0 else 1.0


def limits_of_years(
    stands: Standing,
    rate: Floats,
    hours: Floats,
    kg: Floats,
    spread: float,
    level: float,
    resamples: int,
    seed: int,
) -> tuple[Floats, Floats]:
    """Limits of what was emitted in the monitored hours of each year.

    Parameters
    ----------
    stands : Standing
    rate : ndarray, shape (n,)
        Of each reading [kg/h].
    hours, kg : ndarray, shape (p, m)
        Of each member, from `by_member`.
    spread : float
        Standard deviation of the logarithm of single seals about the equation.
    level : float
    resamples, seed : int

    Returns
    -------
    low, high : ndarray, shape (m,)
        [kg], missing where fewer than two positions were read.
    """
    years = hours.shape[1]
    low, high = np.full(years, np.nan), np.full(years, np.nan)
    for year in range(years):
        rows, read = np.flatnonzero(hours[:, year] > 0), stands.hours[:, year] > 0
        n = len(rows)
        if n < 2:
            continue
        lasting = lasting_share(stands.member[read], stands.hours[read, year], rate[read])
        h, k = hours[rows, year], kg[rows, year]
        mean = k.sum() / h.sum()
        # not known: all of it may be for good and all of it may not, whichever is wider
        own = 1.0 if np.isnan(lasting) else lasting
        passing = 1.0 if np.isnan(lasting) else 1.0 - lasting
        # the root, so that true means differ as much as the lasting share of what is seen
        true = h * (mean + np.sqrt(own) * (k / h - mean))
        # a year has its own stream: its limits do not move when other years are added
        rng = np.random.default_rng([seed, year])
        totals = np.empty(resamples)
        step = max(1, _CELLS // n)
        for at in range(0, resamples, step):
            size = min(step, resamples - at)
            single = np.exp(spread * rng.standard_normal((size, n)) - spread**2 / 2)
            drawn: Ints = rng.integers(0, n, (size, n))
            # per hour, so that positions read for part of the year count for that part
            off = k[drawn].sum(axis=1) / h[drawn].sum(axis=1) - mean
            totals[at : at + size] = single @ true + np.sqrt(passing) * off * h.sum()
        tails = np.quantile(totals, [(1 - level) / 2, (1 + level) / 2])
        low[year], high[year] = np.maximum(tails, 0.0)
    return low, high
