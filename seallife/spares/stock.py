"""How many seals must a store hold, if demand goes on as it does?

In: mean number of seals needed while one is away. Out: `StockService`, `StockLevels`. Next:
reports on spares. Demand that changes with the seals' ages: `seallife.spares.stockpaths`.

Three measures of one stock are kept apart. "No shortage": nobody waits at a given time. "Fill
rate": a seal needed is on the shelf. "Backorders": how many are waited for, on average.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.life.groups import Floats
from seallife.life.result import TableResult, worded_status
from seallife.schema import DAYS_PER_YEAR
from seallife.spares.counts import Counts, counts_of, shares_of

__all__ = [
    "COMMON_CAUSE",
    "StockLevels",
    "StockService",
    "seals_away",
    "stock_level",
    "stock_service",
]

COMMON_CAUSE = (
    "Service levels leave out what strikes many seals at once: a bad batch, an upset of a unit."
)
"""What must be said of every level of stock."""

_SOURCE = "Palm (1938); Sherbrooke, Optimal Inventory Modeling of Systems (2004), ch. 2"


@dataclass(frozen=True, eq=False)
class StockService:
    """What a stock does, by each measure; arrays of shape (p,).

    Attributes
    ----------
    no_shortage : ndarray
        Probability that nobody waits at a given time, P(D <= stock).
    fill_rate : ndarray
        Share of seals needed that are on the shelf, P(D <= stock - 1) for Poisson demand.
    backorders : ndarray
        Mean number waited for.
    """

    no_shortage: Floats
    fill_rate: Floats
    backorders: Floats


@dataclass(frozen=True, eq=False)
class StockLevels(TableResult):
    """Smallest stock that gives the service asked.

    Attributes
    ----------
    table : DataFrame
        Per ``pool``: ``needed`` (mean number needed while one is away), ``stock``, ``measure``
        and ``share`` asked, ``no_shortage``, ``fill_rate``, ``backorders`` of that stock,
        ``status``, ``message``.
    """


def stock_service(
    stock: ArrayLike, mean: ArrayLike, variance: ArrayLike | None = None
) -> StockService:
    """What does this stock do?

    Parameters
    ----------
    stock : array_like, shape (p,)
        Base stock: every seal used is ordered or repaired at once.
    mean : array_like, shape (p,) or (p, q)
        Mean number needed while one is away: rate times lead time, or `seals_away`. Columns are
        equally likely laws.
    variance : array_like, optional
        As the mean; the mean itself where None (Poisson).

    Returns
    -------
    StockService

    Raises
    ------
    InputError
        A stock, mean or variance is negative or missing, or shapes differ.

    Examples
    --------
    >>> got = stock_service([3], [1.6])
    >>> got.no_shortage.round(3), got.fill_rate.round(3), got.backorders.round(2)
    (array([0.921]), array([0.783]), array([0.11]))
    """
    counts = counts_of(mean, variance)
    held = np.atleast_1d(np.asarray(stock, dtype=np.float64))
    if not np.all(np.isfinite(held) & (held >= 0) & (held == np.floor(held))):
        raise InputError("is not a whole number of 0 or more", where="stock")
    if held.shape not in ((1,), counts.expected.shape):
        raise InputError(
            f"has shape {held.shape} for {len(counts.expected)} pools",
            where="stock",
            hint="give one number a pool",
        )
    return _service(np.broadcast_to(held, counts.expected.shape), counts)


def stock_level(
    mean: ArrayLike,
    share: ArrayLike,
    variance: ArrayLike | None = None,
    *,
    measure: str = "no shortage",
    pools: ArrayLike | None = None,
) -> StockLevels:
    """Which is the smallest stock that gives this service?

    Parameters
    ----------
    mean : array_like, shape (p,) or (p, q)
        Mean number needed while one is away; columns are equally likely laws.
    share : array_like, scalar or shape (p,)
        Service asked, from 0 up to but not including 1.
    variance : array_like, optional
        As the mean; above it the rate is uncertain, below it the number of seals is limited.
    measure : {'no shortage', 'fill rate'}
    pools : array_like, shape (p,), optional
        Names; numbers where None.

    Returns
    -------
    StockLevels

    Raises
    ------
    InputError
        A mean or variance is negative or missing, a share lies outside 0 to 1, shapes differ, or
        the measure is not known.

    Notes
    -----
    Holds for steady demand and one-for-one replenishment, whatever the spread of the time away.
    After many renewals at once it does not hold: use `seallife.spares.stockpaths`.

    Examples
    --------
    >>> stock_level([1.6], 0.9).table["stock"].tolist()
    [3]
    >>> stock_level([1.6], 0.9, measure="fill rate").table["stock"].tolist()
    [4]
    """
    counts = counts_of(mean, variance)
    names = _names(pools, len(counts.expected))
    asked = shares_of(share, len(names))
    stock = counts.smallest(asked, measure)
    got = _service(stock, counts)
    none = counts.expected == 0
    status, message = worded_status(len(names), [(none, "no demand", "No seal is expected.")])
    table = pd.DataFrame(
        {
            "pool": names,
            "needed": counts.expected,
            "stock": stock.astype(np.int64),
            "measure": measure,
            "share": asked,
            "no_shortage": got.no_shortage,
            "fill_rate": got.fill_rate,
            "backorders": got.backorders,
            "status": status,
            "message": message,
        }
    )
    return StockLevels(table, np.nan, f"smallest base stock, {measure}", _SOURCE)


def seals_away(
    rate_per_year: ArrayLike,
    repair_time_d: ArrayLike,
    reject_share: ArrayLike = 0.0,
    lead_time_d: ArrayLike = 0.0,
) -> Floats:
    """How many repairable seals are away at a time, on average?

    Parameters
    ----------
    rate_per_year : array_like, shape (p,)
        Seals of the pool that come out in a year.
    repair_time_d : array_like
        From the pump through the repair shop to the shelf [d].
    reject_share : array_like
        Share that turns out beyond repair, at the end of that time.
    lead_time_d : array_like
        From the order of a new one to the shelf [d].

    Returns
    -------
    ndarray, shape (p,)

    Examples
    --------
    >>> seals_away([4.8], 365.25 / 6).round(3).tolist()
    [0.8]
    """
    away = np.asarray(repair_time_d, float) + np.asarray(reject_share, float) * np.asarray(
        lead_time_d, float
    )
    return np.atleast_1d(np.asarray(rate_per_year, float) * away / DAYS_PER_YEAR)


def _service(stock: Floats, counts: Counts) -> StockService:
    """All three measures: backorders are what the other two leave over."""
    enough, met = counts.at_most(stock), counts.met(stock)
    waited = counts.expected * (1 - met) - stock * (1 - enough)
    return StockService(enough, met, np.maximum(waited, 0.0))


def _names(pools: ArrayLike | None, p: int) -> np.ndarray:
    """One name a row."""
    names = np.arange(p) if pools is None else np.asarray(pools)
    if names.shape != (p,):
        raise InputError(f"has shape {names.shape} for {p} rows", where="pools")
    return names
