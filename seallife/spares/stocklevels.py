"""How many seals should each store hold, given what the futures will need of it?

In: `DemandPaths`, a table of stores. Out: `LevelChoices`. Next: reports on spares.

Levels are judged with a full shelf at the start: no level helps before what is ordered for it has
come. What to order today is another question: `seallife.spares.advice`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.life.groups import Floats, Ints
from seallife.life.result import TableResult, worded_status
from seallife.schema import DAYS_PER_YEAR
from seallife.spares.paths import DemandPaths
from seallife.spares.restock import (
    LEAD_SPREAD,
    REJECT_SHARE,
    need_share,
    read_restock,
    with_all_pools,
)
from seallife.spares.shortfall import Shortfalls, shortfalls
from seallife.spares.steps import store_steps

__all__ = ["PATH_MEASURES", "LevelChoices", "choose_levels"]

PATH_MEASURES = (
    "months without shortage",
    "no shortage through the protection time",
    "no shortage through the horizon",
    "fill rate",
)
"""What a share of service along the futures may refer to."""

_SOURCE = "simulated demand; Zipkin, Foundations of Inventory Management (2000)"

_FEWEST = 5  # futures that must lie beyond a share for it to be told


@dataclass(frozen=True, eq=False)
class LevelChoices(TableResult):
    """Smallest level that gives the service asked, and what other levels would give and cost.

    Attributes
    ----------
    table : DataFrame
        Per ``pool``: ``measure`` and ``share`` asked; ``stock`` (order up to) and ``reorder``;
        ``stock_now`` (order up to in use); ``months_without_shortage``, ``no_shortage_protection``,
        ``no_shortage_horizon``, ``fill_rate``, ``backorders``, ``on_shelf`` at that level;
        ``holding_per_year``, ``shortage_per_year``, ``cost_per_year``; ``cheapest`` level and its
        ``cheapest_cost``; ``status``, ``message``.
    curve : DataFrame
        The same figures per ``pool`` and ``stock``, up to the first level that is never short.
    runs, seed : int
    """

    curve: pd.DataFrame
    runs: int
    seed: int


def choose_levels(
    paths: DemandPaths,
    stores: pd.DataFrame,
    *,
    share: float = 0.95,
    measure: str = "months without shortage",
    holding_share: float = 0.20,
    shortage_cost_per_day: ArrayLike = np.nan,
    spread: float = LEAD_SPREAD,
    reject_share: float = REJECT_SHARE,
    kinds: Sequence[int] = (0, 1, 2),
    seed: int = 1,
) -> LevelChoices:
    """Which is the smallest level at which each store gives the service asked?

    Parameters
    ----------
    paths : DemandPaths
    stores : DataFrame
        See `seallife.spares.restock.read_restock`. The lot, order-up-to less reorder level, is
        kept; one for one where levels are not given. ``on_hand`` may be missing here.
    share : float
        Service asked.
    measure : str
        One of `PATH_MEASURES`. The protection time runs from today: lead time, or repair time and
        the share beyond repair times the lead time.
    holding_share : float
        Cost of a seal on the shelf in a year, as a share of its price: capital, room, insurance,
        obsolescence.
    shortage_cost_per_day : array_like, scalar or one a row of ``stores``
        Cost of each seal waited for [1/d]; NaN where not known.
    spread, reject_share, kinds, seed
        As of `seallife.spares.stockpaths.stores_ahead`.

    Returns
    -------
    LevelChoices

    Raises
    ------
    InputError
        The table or a parameter cannot be used.

    Notes
    -----
    Costs count seals on the shelf: those in repair or on order cost nothing here.
    """
    need_share(share, "share")
    if measure not in PATH_MEASURES:
        raise InputError(f"{measure!r} is not known", where="measure", hint=f"use {PATH_MEASURES}")
    if not (np.isfinite(holding_share) and holding_share >= 0):
        raise InputError(f"is {holding_share}", where="holding_share", hint="give 0.2 for 20 %")
    paths = with_all_pools(paths, stores)
    daily = _daily(shortage_cost_per_day, stores, paths)
    held = stores["on_hand"].fillna(0.0) if "on_hand" in stores else 0.0
    restock = read_restock(
        stores.assign(on_hand=held), paths.pools, spread=spread, reject_share=reject_share
    )
    full = restock.filled()
    steps = store_steps(paths, full, kinds=kinds, seed=seed)
    short = shortfalls(steps, paths, restock.protection_d)
    known = restock.known
    lot = restock.up_to - restock.reorder
    reached = _reached(short)[measure] >= share - 1e-12
    stock = np.maximum(short.missing[reached.argmax(axis=1)], lot - 1)
    price = restock.unit_cost
    figures = _figures(short, np.arange(len(known)), stock, price * holding_share, daily)
    curve = _curve(short, paths.pools, known, lot, price * holding_share, daily)
    few = paths.runs * (1 - share) < _FEWEST
    status, message = worded_status(
        len(known),
        [
            *restock.cases,
            (
                np.full(len(known), few),
                "too few futures",
                f"{paths.runs} futures are too few to tell a service of {share:.1%}.",
            ),
            (np.isnan(price), "price not given", "The price is not known: no cost is given."),
            (
                np.isnan(daily),
                "shortage cost not given",
                "What a day without a seal costs is not known: no cheapest level is given.",
            ),
        ],
    )
    best = curve.dropna(subset="cost_per_year").sort_values("cost_per_year", kind="stable")
    best = best.drop_duplicates("pool").set_index("pool").reindex(paths.pools)
    table = pd.DataFrame(
        {
            "pool": paths.pools,
            "measure": measure,
            "share": share,
            "stock": np.where(known, stock, np.nan),
            "reorder": np.where(known, stock - lot, np.nan),
            "stock_now": np.where(known & restock.levels_given, restock.up_to, np.nan),
            **{name: np.where(known, values, np.nan) for name, values in figures.items()},
            "cheapest": best["stock"].to_numpy(),
            "cheapest_cost": best["cost_per_year"].to_numpy(),
            "status": status,
            "message": restock.said(message),
        }
    )
    method = (
        f"smallest level for {share:g} {measure}, {paths.runs} futures, full shelf at the start"
    )
    return LevelChoices(table, np.nan, method, _SOURCE, curve, paths.runs, seed)


def _reached(short: Shortfalls) -> dict[str, Floats]:
    """Service at each number of seals, by measure, shape (p, k)."""
    values = (short.month.mean(axis=1), short.protected, short.throughout, short.served)
    return dict(zip(PATH_MEASURES, values, strict=True))


def _figures(
    short: Shortfalls, pool: Ints, stock: Ints, holding: Floats, daily: Floats
) -> dict[str, Floats]:
    """Service and cost of pools at a stock each."""
    names = ("months_without_shortage", "no_shortage_protection", "no_shortage_horizon")
    shares = [short.at(values, stock, pool) for values in _reached(short).values()]
    waited, shelf = short.at(short.backorders, stock, pool), short.on_shelf(stock, pool)
    kept, lost = holding[pool] * shelf, daily[pool] * waited * DAYS_PER_YEAR
    return dict(zip((*names, "fill_rate"), shares, strict=True)) | {
        "backorders": waited,
        "on_shelf": shelf,
        "holding_per_year": kept,
        "shortage_per_year": lost,
        "cost_per_year": kept + lost,
    }


def _curve(
    short: Shortfalls,
    pools: pd.Index[str],
    known: np.ndarray,
    lot: Ints,
    holding: Floats,
    daily: Floats,
) -> pd.DataFrame:
    """Figures of all levels of each known pool, up to the first that is never short."""
    last = np.maximum(short.missing[(short.throughout >= 1).argmax(axis=1)], lot - 1)
    pool = np.repeat(np.arange(len(pools)), np.where(known, last - lot + 2, 0))
    first = np.searchsorted(pool, pool)
    stock = np.arange(len(pool)) - first + lot[pool] - 1
    figures = _figures(short, pool, stock, holding, daily)
    return pd.DataFrame(
        {"pool": pools[pool], "stock": stock, "reorder": stock - lot[pool], **figures}
    )


def _daily(cost: ArrayLike, stores: pd.DataFrame, paths: DemandPaths) -> Floats:
    """Cost of a seal waited for, by pool [1/d]."""
    values = np.asarray(cost, dtype=np.float64)
    if values.shape not in ((), (len(stores),)) or np.any(values < 0):
        raise InputError(
            "is below 0 or not one a row of the stores",
            where="shortage_cost_per_day",
            hint="give one number, or one a row",
        )
    spread = pd.Series(np.broadcast_to(values, len(stores)), index=pd.Index(stores["pool"]))
    return np.asarray(spread.reindex(paths.pools), dtype=np.float64)
