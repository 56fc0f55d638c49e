"""Which seals must lie ready when an outage begins, and by when must they be ordered?

In: `OutageList`, stock items. Out: a table. Next: reports on spares.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from seallife.errors import need_columns
from seallife.spares.confirmed import NO_ITEM
from seallife.spares.outagewords import LEAK_FIRST

__all__ = ["outage_kit"]

_LATE = "could come too late: ask for a date before the scope is fixed"


def outage_kit(
    listed: pd.DataFrame,
    pool_of: pd.Series,
    stores: pd.DataFrame,
    now: pd.Timestamp,
    *,
    spread: float = 0.25,
) -> pd.DataFrame:
    """Which seals should be in the kit of each coming outage?

    Parameters
    ----------
    listed : DataFrame
        `OutageList.table`.
    pool_of : Series
        Position -> stock item.
    stores : DataFrame
        Per ``pool``: ``description``, ``on_hand``, ``on_order``, ``lead_time_d``.
    now : Timestamp
        First day ahead.
    spread : float
        Standard deviation of lead times over their mean: an order is placed so early that 19 in
        20 come in time.

    Returns
    -------
    DataFrame
        Per site, first day of the outage and ``pool``: ``description``, ``renew`` (seals marked),
        ``maybe`` (of which it cannot be told yet), ``on_hand``, ``on_order``, ``lead_time_d``,
        ``order_by``, ``message``. What is in the store is not taken off: it serves failures until
        then.

    Raises
    ------
    InputError
        A column is missing.
    """
    need_columns(stores, ("pool", "description", "on_hand", "on_order", "lead_time_d"), "stores")
    rows = listed[listed["verdict"].isin([LEAK_FIRST, "renew", "cannot tell yet"])]
    rows = rows[rows["days_to_outage"].notna()]
    start = now + pd.to_timedelta(np.floor(rows["days_to_outage"]), unit="D")
    keys = {
        "site": rows["site"],
        "starts": start,
        "pool": rows["position_id"].map(pool_of).fillna(NO_ITEM),
    }
    maybe = rows["verdict"].eq("cannot tell yet")
    counts = pd.DataFrame({**keys, "renew": ~maybe, "maybe": maybe})
    kit = counts.groupby(["site", "starts", "pool"], as_index=False)[["renew", "maybe"]].sum()
    kit = kit[kit["renew"] > 0].reset_index(drop=True)
    about = stores.drop_duplicates("pool").set_index("pool")
    for name in ("description", "on_hand", "on_order", "lead_time_d"):
        kit[name] = kit["pool"].map(about[name])
    # 95 % of a lognormal of that spread lies below
    sigma = np.sqrt(np.log1p(spread**2))
    longest = kit["lead_time_d"].astype(float) * np.exp(1.645 * sigma - sigma**2 / 2)
    kit["order_by"] = kit["starts"] - pd.to_timedelta(np.ceil(longest), unit="D")
    kit["message"] = [_words(*v, now) for v in zip(kit["pool"], kit["order_by"], strict=True)]
    return kit.sort_values(["starts", "site", "order_by", "pool"], ignore_index=True)


def _words(pool: str, order_by: Any, now: pd.Timestamp) -> str:
    if pool == NO_ITEM:
        return "the register names no stock item for these positions"
    if pd.isna(order_by):
        return "lead time not known: ask for it before the scope is fixed"
    return _LATE if order_by < now else ""
