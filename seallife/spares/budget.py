"""What will seals cost, year by year?

In: `DemandPaths`, stock items. Out: `Budget`. Next: reports on spares.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from seallife.errors import need_columns
from seallife.life.lifedata import check_level
from seallife.life.result import TableResult, worded_status
from seallife.schema import DAYS_PER_YEAR
from seallife.spares.paths import DemandPaths

__all__ = ["Budget", "yearly_budget"]

_METHOD = "seals needed in simulated futures at today's prices"
_SOURCE = "simulated demand (no inflation, no discounts, no work)"


@dataclass(frozen=True, eq=False)
class Budget(TableResult):
    """Seals and money for each year ahead.

    Attributes
    ----------
    table : DataFrame
        Per ``year`` ahead, from 1: ``seals`` needed with ``seals_low``, ``seals_high``; ``new`` of
        them that must be bought; ``spend`` with ``spend_low``, ``spend_high``; ``unpriced``: share
        of the seals whose item has no price, not in the spend; ``status``, ``message``.
    repairs_priced : bool
        Whether repairs are in the spend.
    runs, seed : int
    """

    repairs_priced: bool
    runs: int
    seed: int


def yearly_budget(
    paths: DemandPaths,
    stores: pd.DataFrame,
    *,
    repair_share: float = np.nan,
    reject_share: float = 0.20,
    level: float = 0.90,
    seed: int = 1,
) -> Budget:
    """How much will the seals of the coming years cost?

    Parameters
    ----------
    paths : DemandPaths
    stores : DataFrame
        Per ``pool``: ``unit_cost`` (NaN where not known), ``repairable``, ``reject_share`` (NaN
        where not known).
    repair_share : float
        Cost of a repair as a share of the price of a new seal; NaN where not known: repairs are
        then left out, and each row says so.
    reject_share : float
        Share of seals beyond repair where the table does not say.
    level : float
        Of the ranges.
    seed : int

    Returns
    -------
    Budget
        Whole years within the futures.

    Raises
    ------
    InputError
        A column is missing or the level cannot be used.
    """
    check_level(level)
    need_columns(stores, ("pool", "unit_cost", "repairable", "reject_share"), "stores")
    rows = stores.drop_duplicates("pool").set_index("pool").reindex(paths.pools)
    price = rows["unit_cost"].to_numpy(np.float64, na_value=np.nan)
    back = rows["repairable"].eq(True).to_numpy()
    rejects = rows["reject_share"].to_numpy(np.float64, na_value=np.nan)
    rejects = np.where(np.isnan(rejects), reject_share, rejects)
    years = max(int(np.floor((paths.days + 2) / DAYS_PER_YEAR)), 1)
    year = np.minimum((paths.day / DAYS_PER_YEAR).astype(np.int64), years)
    lost = np.random.default_rng(seed).random(len(paths.pool)) < rejects[paths.pool]
    new = lost | ~back[paths.pool]
    known = np.isfinite(price)
    repair = 0.0 if np.isnan(repair_share) else repair_share
    paid = np.nan_to_num(price)[paths.pool] * np.where(new, 1.0, repair)

    def by_run(weight: np.ndarray | None) -> np.ndarray:
        cells = (years + 1) * paths.run + year
        sums = np.bincount(cells, weight, (years + 1) * paths.runs)
        return sums.reshape(paths.runs, -1)[:, :years]

    seals, bought, spend = by_run(None), by_run(new.astype(float)), by_run(paid)
    blank = by_run((~known[paths.pool]).astype(float)).sum(axis=0) / np.maximum(
        seals.sum(axis=0), 1
    )
    tails = [(1 - level) / 2, (1 + level) / 2]
    low, high = np.quantile(seals, tails, axis=0, method="inverted_cdf")
    cheap, dear = np.quantile(spend, tails, axis=0)
    none = np.full(years, not known.any())
    repairs_left = np.full(years, bool(np.isnan(repair_share) and back.any()))
    status, message = worded_status(
        years,
        [
            (none, "no price given", "No item has a price: nothing can be said in money."),
            (blank > 0, "not all priced", "Seals of items without a price are not in the spend."),
            (repairs_left, "repairs left out", "What a repair costs is not given: new seals only."),
        ],
    )
    table = pd.DataFrame(
        {
            "year": np.arange(1, years + 1),
            "seals": seals.mean(axis=0),
            "seals_low": low,
            "seals_high": high,
            "new": bought.mean(axis=0),
            "spend": np.where(none, np.nan, spend.mean(axis=0)),
            "spend_low": np.where(none, np.nan, cheap),
            "spend_high": np.where(none, np.nan, dear),
            "unpriced": blank,
            "status": status,
            "message": message,
        }
    )
    return Budget(table, level, _METHOD, _SOURCE, not np.isnan(repair_share), paths.runs, seed)
