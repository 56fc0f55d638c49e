"""One sheet for the storeroom: each stock item, what it will need, what to order and why.

In: stock items and what was found of them. Out: a table. Next: reports, command line.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from seallife.spares.advice import OrderAdvice
from seallife.spares.demand import Demand
from seallife.spares.shelf import QUIET, ShelfLife
from seallife.spares.stocklevels import LevelChoices
from seallife.spares.stockpaths import StoresAhead

__all__ = ["storeroom_sheet"]

_FIRST = ("order now", "cannot tell yet", "order later", "enough")


def storeroom_sheet(
    items: pd.DataFrame,
    advice: OrderAdvice,
    levels: LevelChoices,
    storeroom: StoresAhead,
    shelf: ShelfLife,
    demand: Demand,
    last_year: pd.Series,
    now: pd.Timestamp,
) -> pd.DataFrame:
    """What should the planner know of each stock item, on one line?

    Parameters
    ----------
    items : DataFrame
        `Pools.table` without the positions that have no item.
    advice, levels, storeroom, shelf, demand
        Found of the same items.
    last_year : Series
        Pool -> seals needed in the last 365 days.
    now : Timestamp
        First day ahead.

    Returns
    -------
    DataFrame
        One row a pool, those to be ordered first, by the day of the order: ``pool``,
        ``description``, ``positions``, ``criticality``, ``hazard``; ``on_hand``, ``on_order``;
        ``lead_time_d``; ``need_low``, ``need``, ``need_high`` until a new one could come;
        ``enough`` in the share of futures asked; ``action``, ``order`` (pieces), ``order_by``
        (day), ``why``; ``no_shortage_before``;
        ``year_low``, ``year_need``, ``year_high`` and ``last_year``: seals needed in the twelve
        months ahead and in those past; ``reorder``, ``order_up_to`` that give the service asked,
        ``reorder_in_use``, ``order_up_to_in_use``; as filled up today: ``months_without_shortage``,
        ``fill_rate``, ``backorders``, ``first_shortage``; ``unit_cost``, ``order_cost``;
        ``shelf`` (status), ``limit_date``; ``record_id``; ``notes``: all that is not known.
    """
    told = advice.table.set_index("pool")
    level, store = levels.table.set_index("pool"), storeroom.table.set_index("pool")
    kept = shelf.table.set_index("pool")
    year = demand.table[(demand.table["by"] == "pool") & (demand.table["months"] == 12)]
    year = year.set_index("group")
    pool = items["pool"]
    within = told["order_within_d"].reindex(pool).to_numpy()
    days = pd.to_timedelta(np.floor(within), unit="D")
    kept_message = kept["message"].reindex(pool)
    shelf_status = kept["status"].reindex(pool).fillna("").astype(str).to_numpy()
    sheet = pd.DataFrame(
        {
            **{c: items[c].to_numpy() for c in ("pool", "description", "positions")},
            **{c: items[c].to_numpy() for c in ("criticality", "hazard", "on_hand", "on_order")},
            "lead_time_d": items["lead_time_d"].to_numpy(),
            **{c: told[c].reindex(pool).to_numpy() for c in ("need_low", "need", "need_high")},
            "enough": told["level"].reindex(pool).to_numpy(),
            "action": told["action"].reindex(pool).fillna("cannot tell yet").to_numpy(),
            "order": told["order"].reindex(pool).to_numpy(),
            "order_by": now + days,
            "why": told["why"].reindex(pool).fillna("").to_numpy(),
            "no_shortage_before": told["no_shortage_before"].reindex(pool).to_numpy(),
            "year_low": year["low"].reindex(pool).fillna(0).to_numpy(),
            "year_need": year["need"].reindex(pool).fillna(0).to_numpy(),
            "year_high": year["high"].reindex(pool).fillna(0).to_numpy(),
            "last_year": last_year.reindex(pool).fillna(0).astype(int).to_numpy(),
            "reorder": level["reorder"].reindex(pool).to_numpy(),
            "order_up_to": level["stock"].reindex(pool).to_numpy(),
            "reorder_in_use": items["stock_low"].to_numpy(),
            "order_up_to_in_use": items["stock_high"].to_numpy(),
            **{
                c: store[c].reindex(pool).to_numpy()
                for c in ("months_without_shortage", "fill_rate", "backorders", "first_shortage")
            },
            "unit_cost": items["unit_cost"].to_numpy(),
            "order_cost": told["cost"].reindex(pool).to_numpy(),
            "shelf": np.where(np.isin(shelf_status, QUIET), "", shelf_status),
            "limit_date": kept["limit_in_force"].reindex(pool).to_numpy(),
            "record_id": items["record_id"].to_numpy(),
            "notes": _notes(_first(items["message"], told["message"].reindex(pool)), kept_message),
        }
    )
    rank = sheet["action"].map({word: k for k, word in enumerate(_FIRST)})
    order = sheet.assign(rank=rank.fillna(1)).sort_values(
        ["rank", "order_by", "criticality", "pool"], kind="stable"
    )
    return order.drop(columns="rank").reset_index(drop=True)


def _first(message: pd.Series, other: pd.Series) -> pd.Series:
    """What is not known of an item is told once: by the stores, else by the advice."""
    said = message.fillna("").astype(str).to_numpy()
    return pd.Series(np.where(said != "", said, other.fillna("").astype(str).to_numpy()))


def _notes(*messages: pd.Series) -> list[str]:
    """Sentences of each item, each once."""
    rows = zip(*(m.fillna("").astype(str).str.strip() for m in messages), strict=True)
    return [" ".join(dict.fromkeys(_sentence(m) for m in row if m)) for row in rows]


def _sentence(text: str) -> str:
    text = text[0].upper() + text[1:]
    return text if text.endswith(".") else f"{text}."
