"""What will each store be able to give, with what it holds and orders today?

In: `DemandPaths`, a table of stores. Out: `StoresAhead`. Next: reports on spares.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from seallife.life.groups import Floats, Ints
from seallife.life.result import TableResult, worded_status
from seallife.schema import DAYS_PER_YEAR
from seallife.spares.paths import DemandPaths
from seallife.spares.restock import (
    LEAD_SPREAD,
    REJECT_SHARE,
    Restock,
    need_share,
    read_restock,
    with_all_pools,
)
from seallife.spares.shortfall import MONTH_D, Shortfalls, first_short, shortfalls
from seallife.spares.steps import Steps, store_steps

__all__ = ["StoresAhead", "stores_ahead"]

_SOURCE = "simulated demand; Zipkin, Foundations of Inventory Management (2000)"


@dataclass(frozen=True, eq=False)
class StoresAhead(TableResult):
    """How the stores fare along the futures, as they are filled up today.

    Attributes
    ----------
    table : DataFrame
        Per ``pool``: ``on_hand``, ``on_order``, ``reorder``, ``up_to`` as followed;
        ``needed_per_year``; ``no_shortage`` (share of futures in which nobody ever waits),
        ``months_without_shortage`` (share of months), ``fill_rate`` (share of seals needed that
        are on the shelf), ``backorders`` (mean number waited for), ``on_shelf`` (mean number);
        ``short_within`` (share of futures that run short), ``first_short_months`` with
        ``first_short_low``, ``first_short_high`` (infinite beyond the horizon) and
        ``first_shortage`` in words; ``orders_per_year``, ``bought_per_year``; ``spend_per_year``
        with ``spend_low``, ``spend_high`` (new seals only; NaN where the price is not known);
        ``status``, ``message``.
    monthly : DataFrame
        Per ``pool`` and ``month`` from 1: ``no_shortage`` during it, ``no_shortage_at_end``.
    runs, seed : int
    """

    monthly: pd.DataFrame
    runs: int
    seed: int


def stores_ahead(
    paths: DemandPaths,
    stores: pd.DataFrame,
    *,
    spread: float = LEAD_SPREAD,
    reject_share: float = REJECT_SHARE,
    kinds: Sequence[int] = (0, 1, 2),
    level: float = 0.90,
    seed: int = 1,
) -> StoresAhead:
    """Will a seal be on the shelf when one is needed, if stores go on as today?

    Parameters
    ----------
    paths : DemandPaths
    stores : DataFrame
        See `seallife.spares.restock.read_restock`; also ``unit_cost`` where known.
    spread : float
        Standard deviation of lead and repair times over their mean.
    reject_share : float
        Share of seals beyond repair, where the table does not say.
    kinds : sequence of int
        Which of `seallife.spares.paths.KINDS` the store must serve; leave out 2 where seals of an
        outage are bought for it.
    level : float
        Of the ranges.
    seed : int

    Returns
    -------
    StoresAhead
        Pools of the futures first, then those of the table that no seal in service draws on.

    Raises
    ------
    InputError
        The table or a parameter cannot be used, or no time is left.

    Notes
    -----
    Seals on order or in repair at the start arrive evenly over the lead time, unless
    ``arrives_d`` says when. Repairs, freight and rush orders are not in the spend. Common causes
    (one bad batch, one upset for a whole unit) are not in the futures unless they are in the laws.
    """
    need_share(level, "level")
    paths = with_all_pools(paths, stores)
    restock = read_restock(stores, paths.pools, spread=spread, reject_share=reject_share)
    steps = store_steps(paths, restock, kinds=kinds, seed=seed)
    short = shortfalls(steps, paths, restock.protection_d)
    stock = restock.on_hand
    years = paths.days / DAYS_PER_YEAR
    known = restock.known
    price = restock.unit_cost
    bought = steps.ordered / years
    needed = paths.needed(np.full(len(known), paths.days), kinds).mean(axis=1) / years

    def of_known(values: Floats | Ints) -> Floats:
        return np.where(known, values, np.nan)

    ends = [(1 - level) / 2, (1 + level) / 2]
    low, high = np.quantile(bought, ends, axis=1, method="inverted_cdf")
    status, message = worded_status(
        len(known),
        [
            *restock.cases,
            (
                (needed == 0) & (restock.position > 0),
                "no demand",
                "No seal in service is foreseen to need one.",
            ),
            (np.isnan(price), "price not given", "The price is not known: no spend is given."),
        ],
    )
    table = pd.DataFrame(
        {
            "pool": paths.pools,
            "on_hand": of_known(restock.on_hand),
            "on_order": of_known(restock.on_order),
            "reorder": of_known(restock.reorder),
            "up_to": of_known(restock.up_to),
            "needed_per_year": needed,
            "no_shortage": of_known(short.at(short.throughout, stock)),
            "months_without_shortage": of_known(short.at(short.month, stock).mean(axis=1)),
            "fill_rate": of_known(short.at(short.served, stock)),
            "backorders": of_known(short.at(short.backorders, stock)),
            "on_shelf": of_known(short.on_shelf(stock)),
            **_first_shortage(steps, restock, paths, level),
            "orders_per_year": of_known(steps.orders.mean(axis=1) / years),
            "bought_per_year": of_known(bought.mean(axis=1)),
            "spend_per_year": of_known(price * bought.mean(axis=1)),
            "spend_low": of_known(price * low),
            "spend_high": of_known(price * high),
            "status": status,
            "message": restock.said(message),
        }
    )
    method = (
        f"{paths.runs} futures over {paths.days:.0f} d, lead times lognormal with a spread of "
        f"{spread:.0%}"
    )
    return StoresAhead(
        table, level, method, _SOURCE, _monthly(short, restock, paths), paths.runs, seed
    )


def _first_shortage(
    steps: Steps, restock: Restock, paths: DemandPaths, level: float
) -> dict[str, object]:
    """When futures first run short: share of them, median, range and words."""
    first = np.sort(first_short(steps, restock.on_hand), axis=1) / MONTH_D
    first[~restock.known] = np.nan
    within = np.where(restock.known, np.isfinite(first).mean(axis=1), np.nan)
    shares = ((1 - level) / 2, 0.5, (1 + level) / 2)
    places = [max(int(np.ceil(share * paths.runs)) - 1, 0) for share in shares]
    low, middle, high = first[:, places].T
    horizon = paths.days / MONTH_D
    words = [
        ""
        if np.isnan(m)
        else f"less than half of futures run short within {horizon:.0f} months"
        if np.isinf(m)
        else f"in month {np.ceil(m):.0f} ({np.ceil(a):.0f} to {_at_most(b, horizon)})"
        for a, m, b in zip(low.tolist(), middle.tolist(), high.tolist(), strict=True)
    ]
    return {
        "short_within": within,
        "first_short_months": middle,
        "first_short_low": low,
        "first_short_high": high,
        "first_shortage": words,
    }


def _at_most(months: float, horizon: float) -> str:
    """Upper end of a range of months in words."""
    return f"{np.ceil(months):.0f}" if np.isfinite(months) else f"later than {horizon:.0f}"


def _monthly(short: Shortfalls, restock: Restock, paths: DemandPaths) -> pd.DataFrame:
    """Share of futures without a shortage, by pool and month; pools that are known only."""
    known = np.flatnonzero(restock.known)
    during = short.at(short.month, restock.on_hand)[known]
    end = short.at(short.month_end, restock.on_hand)[known]
    months = during.shape[1]
    return pd.DataFrame(
        {
            "pool": np.repeat(paths.pools[known].to_numpy(), months),
            "month": np.tile(np.arange(1, months + 1), len(known)),
            "no_shortage": during.ravel(),
            "no_shortage_at_end": end.ravel(),
        }
    )
