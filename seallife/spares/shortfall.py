"""How often does each store run short, at any number of seals it might have started with?

In: `Steps`. Out: `Shortfalls`. Next: `seallife.spares.stockpaths`.

One more seal on the shelf from the start is one more at all times: the rules order by what was
lost, not by what is left. What is missing is therefore counted once, and read at any stock.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from seallife.life.groups import Floats, Ints, segment_max, segment_min
from seallife.schema import DAYS_PER_YEAR
from seallife.spares.paths import DemandPaths
from seallife.spares.steps import Steps

__all__ = ["MONTH_D", "Shortfalls", "first_short", "shortfalls"]

MONTH_D = DAYS_PER_YEAR / 12

_CELLS = 300_000  # months of lanes worked on at once


@dataclass(frozen=True, eq=False)
class Shortfalls:
    """Seals missing from the start of each store, over all futures.

    Attributes
    ----------
    missing : ndarray of int, shape (k,)
        Numbers of seals missing, rising by 1; 0 or less is the first.
    throughout, protected : ndarray, shape (p, k)
        Share of futures that never miss more, up to the end and up to the end of the protection
        time.
    month, month_end : ndarray, shape (p, months, k)
        Share of futures that never miss more in each month, and at its end.
    served : ndarray, shape (p, k)
        Share of seals needed that are missing no more, themselves counted; 1 where none are.
    backorders : ndarray, shape (p, k)
        Mean number missing beyond so many.
    mean_missing : ndarray, shape (p,)
    """

    missing: Ints
    throughout: Floats
    protected: Floats
    month: Floats
    month_end: Floats
    served: Floats
    backorders: Floats
    mean_missing: Floats

    def at(self, shares: Floats, stock: Ints, pool: Ints | None = None) -> Floats:
        """Shares, whose last axis is ``missing``, read at a stock of each pool.

        Parameters
        ----------
        shares : ndarray, shape (p, ..., k)
        stock : ndarray of int, shape (n,)
        pool : ndarray of int, shape (n,), optional
            Pool of each; all in order where None.
        """
        place = np.clip(stock - self.missing[0], 0, len(self.missing) - 1)
        rows = np.arange(len(stock)) if pool is None else pool
        return np.asarray(shares[rows, ..., place])

    def on_shelf(self, stock: Ints, pool: Ints | None = None) -> Floats:
        """Mean number on the shelf at a stock of each pool, shape (n,)."""
        rows = np.arange(len(stock)) if pool is None else pool
        return np.asarray(stock - self.mean_missing[rows] + self.at(self.backorders, stock, pool))


def first_short(steps: Steps, stock: Ints) -> Floats:
    """On which day does each future first wait for a seal, with this stock at the start?

    Parameters
    ----------
    steps : Steps
    stock : ndarray of int, shape (p,)

    Returns
    -------
    ndarray, shape (p, runs)
        Infinite where it never does.
    """
    short = steps.missing > stock[steps.lane // steps.runs]
    first = segment_min(np.where(short, steps.day, np.inf), steps.offsets)
    return first.reshape(len(stock), steps.runs)


def shortfalls(steps: Steps, paths: DemandPaths, protection_d: Floats) -> Shortfalls:
    """How many seals are missing, for how long and in which months?

    Parameters
    ----------
    steps : Steps
        Of p pools.
    paths : DemandPaths
        From which they were made.
    protection_d : ndarray, shape (p,)
        From a seal used to the one in its place [d].

    Returns
    -------
    Shortfalls
        Months are the horizon in equal parts of about a month.
    """
    p, runs = len(paths.pools), paths.runs
    lane = steps.lane
    pool = lane // runs
    low = int(min(steps.missing.min(initial=0), 0))
    k = int(max(steps.missing.max(initial=0), 0)) - low + 1
    place = steps.missing - low

    def peaks(rows: np.ndarray) -> Floats:
        top = segment_max(np.where(rows, steps.missing, 0).astype(np.float64), steps.offsets)
        return np.maximum(top, 0.0)

    lanes = np.arange(p * runs) // runs
    at_all = peaks(np.ones(len(lane), dtype=bool))
    early = peaks(steps.day <= protection_d[pool])
    last = np.ones(len(lane), dtype=bool)
    last[:-1] = lane[1:] != lane[:-1]
    until = np.append(steps.day[1:], 0.0)
    spell = np.where(last, paths.days, until) - steps.day
    time = np.bincount(pool * k + place, spell, p * k).reshape(p, k).astype(np.float64)
    time[:, -low] += runs * paths.days - time.sum(axis=1)  # before the first step
    time /= runs * paths.days
    beyond = 1 - time.cumsum(axis=1)
    backorders = beyond[:, ::-1].cumsum(axis=1)[:, ::-1]
    asked = steps.change == 1
    served = np.bincount(pool[asked] * k + place[asked], minlength=p * k).reshape(p, k)
    some = served.sum(axis=1, keepdims=True)
    month, month_end = _by_month(steps, paths, low, k)
    missing = np.arange(low, low + k)
    return Shortfalls(
        missing,
        _shares(lanes * k + at_all.astype(np.int64) - low, p, k) / runs,
        _shares(lanes * k + early.astype(np.int64) - low, p, k) / runs,
        month,
        month_end,
        np.where(some > 0, served.cumsum(axis=1) / np.maximum(some, 1), 1.0),
        np.maximum(backorders, 0.0),
        time @ missing.astype(np.float64),
    )


def _by_month(steps: Steps, paths: DemandPaths, low: int, k: int) -> tuple[Floats, Floats]:
    """Share of futures that miss no more in each month, and at its end, (p, months, k) each."""
    p, runs = len(paths.pools), paths.runs
    months = max(round(paths.days / MONTH_D), 1)
    number = np.clip(np.ceil(steps.day * months / paths.days).astype(np.int64) - 1, 0, months - 1)
    peak, end = np.empty((2, p, months, k))
    pools = max(_CELLS // (runs * months), 1)
    for first in range(0, p, pools):  # so many at a time as fit the cache
        offsets = steps.offsets[first * runs : (first + pools) * runs + 1]
        inside = slice(offsets[0], offsets[-1])
        lanes = len(offsets) - 1
        cell = np.repeat(np.arange(lanes), np.diff(offsets)) * months + number[inside]
        sizes = np.bincount(cell, minlength=lanes * months)
        net = np.bincount(cell, steps.change[inside], lanes * months).reshape(lanes, months)
        last = net.cumsum(axis=1)
        top = segment_max(
            steps.missing[inside].astype(np.float64), np.concatenate(([0], np.cumsum(sizes)))
        )
        most = np.maximum(top.reshape(last.shape), last - net)  # at its start, or after a step
        row = (np.arange(lanes)[:, None] // runs * months + np.arange(months)) * k - low
        for out, values in ((peak, most), (end, last)):
            out[first : first + pools] = _shares(
                (row + values).astype(np.int64).ravel(), lanes // runs * months, k
            ).reshape(-1, months, k)
    return peak / runs, end / runs


def _shares(place: Ints, rows: int, k: int) -> Floats:
    """Running count along the k numbers of each row."""
    counts = np.bincount(place, minlength=rows * k).reshape(rows, k)
    return counts.cumsum(axis=1).astype(np.float64)
