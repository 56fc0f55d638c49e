"""Which stock items are there, which positions live on each, and what is known of it?

In: the table ``stores``, positions of the register, `Costs`. Out: `Pools`. Next: demand and stock.

A pool is the positions that take the same stock item now, as the register names it. That one item
fits another pump is for a person to confirm: it is never inferred from descriptions or sizes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from seallife.errors import InputError, need_columns
from seallife.intake.typed import empty_table
from seallife.schema import TABLES
from seallife.sections import Costs, cost_at
from seallife.spares.confirmed import NO_ITEM
from seallife.spares.elastomers import elastomers_in
from seallife.spares.hazards import position_hazards
from seallife.spares.poolfindings import pool_findings

__all__ = ["NO_ITEM", "Pools", "rank_criticality", "read_pools"]

_OF_POSITIONS = (
    *("position_id", "record_id", "tag", "site", "pool", "criticality", "elastomer"),
    *("retired", "status", "fluid", "service_text", "service_class"),
)

_GAPS = {
    "no stock item": "the register names no stock item for these positions: their seals are met by "
    "no stock here",
    "not in the stores": "the register names this item, but the stores do not list it",
    "used nowhere": "no position in use takes this item",
    "stock not known": "the stores give no number on hand",
    "lead time not known": "without a lead time it cannot be said how many to hold",
    "repair time not known": "it can be repaired, but nobody said how long that takes",
    "price not known": "without a price nothing can be said in money",
}
"""Status -> what it means, the weightiest first."""


@dataclass(frozen=True, eq=False)
class Pools:
    """Stock items with the positions that live on them.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a stock item, the positions without one together under `NO_ITEM`: pool,
        description, positions (in use), sites, on_hand, on_order (0 where blank), on_order_due,
        stock_low, stock_high, unit_cost, lead_time_d, repairable, repair_time_d, reject_share (of
        the stores, else of `Costs`), cure_date, elastomer, elastomer_from ('stores', 'register',
        'description'), criticality (highest of its positions),
        hazard, hazardous, shortage_per_day (mean of its positions), record_id, status ('ok' or the
        weightiest gap), message (all gaps). NaN where not known.
    members : pandas.DataFrame
        One row a position: position_id, record_id, tag, site, pool, in_use, retired, criticality
        (as taken), criticality_said, hazard, elastomer.
    findings : pandas.DataFrame
        What a person should mend or know.
    """

    table: pd.DataFrame
    members: pd.DataFrame
    findings: pd.DataFrame


def read_pools(
    stores: pd.DataFrame, positions: pd.DataFrame, costs: Costs, *, now: pd.Timestamp
) -> Pools:
    """Which positions live on which stock item, and what do the stores say of it?

    Parameters
    ----------
    stores : pandas.DataFrame
        Columns of ``stores`` in the schema; material_no and on_hand at least. May be empty: then
        no stock is known, and nothing is found wrong with it.
    positions : pandas.DataFrame
        `Register.table`; service_class as assigned, where hazards by class are wanted.
    costs : Costs
        For the share of rejects and the cost of a shortage.
    now : pandas.Timestamp
        End of data: positions retired by then are not counted, later cure dates are none.

    Returns
    -------
    Pools

    Raises
    ------
    InputError
        A column is missing, or ``now`` is no date.

    Notes
    -----
    A number that cannot be is not used: less than nothing in the store, a lead or repair time or a
    price of 0. Positions whose fluid is named as benzene, H2S or HF count as of the highest
    criticality (`rank_criticality`), whatever the register says; ``criticality_said`` keeps that.
    """
    if not isinstance(now, pd.Timestamp) or pd.isna(now):
        raise InputError(f"is {now!r}", where="now", hint="give the day on which the records end")
    need_columns(stores, ("material_no", "on_hand"), "stores")
    need_columns(positions, _OF_POSITIONS, "positions")
    items = _items(stores)
    members = _members(positions, costs, now)
    table = _table(items, members, costs, now)
    return Pools(table, members, pool_findings(items, table, members, now=now))


def rank_criticality(words: Iterable[str], costs: Costs) -> list[str]:
    """Which criticality is the highest?

    Parameters
    ----------
    words : iterable of str
        As the register writes them.
    costs : Costs
        Where it gives ``failure_extra`` or else ``shortage_per_day`` by criticality, the dearer is
        the higher; else the first of the alphabet or of numbers is: A before B, 1 before 2.

    Returns
    -------
    list of str
        Each word once, the highest first; '' is none.

    Examples
    --------
    >>> rank_criticality(["B", "A", "", "B"], Costs())
    ['A', 'B']
    >>> rank_criticality(["1", "5"], Costs(failure_extra={"1": 900.0, "5": 9000.0}))
    ['5', '1']
    """
    amounts = costs.failure_extra or costs.shortage_per_day
    dear = {word: cost_at(amounts, word) for word in set(words) - {""}}
    return sorted(dear, key=lambda w: (-np.nan_to_num(dear[w], nan=-1.0), w.casefold(), w))


def _items(stores: pd.DataFrame) -> pd.DataFrame:
    """All columns of the schema, ``pool`` in front; rows as given."""
    blank = empty_table(TABLES["stores"])
    items = stores.reindex(columns=blank.columns).reset_index(drop=True)
    if "record_id" not in stores:
        items["record_id"] = [f"stores:{row}" for row in range(len(items))]
    texts = blank.select_dtypes(object).columns
    items[texts] = items[texts].fillna("").astype(str)
    items = items.astype(blank.dtypes.drop(texts).to_dict())
    pool = items["material_no"].str.strip()
    items.insert(0, "pool", pool)
    return items.assign(twice=pool.duplicated() & (pool != ""))


def _members(positions: pd.DataFrame, costs: Costs, now: pd.Timestamp) -> pd.DataFrame:
    """One row a position, with what it says about its pool."""
    about = position_hazards(positions)
    pool = positions["pool"].str.strip()
    said = positions["criticality"].str.strip()
    ranks = rank_criticality(said, costs)
    out = positions[["position_id", "record_id", "tag", "site"]].assign(
        pool=pool.where(pool != "", NO_ITEM),
        in_use=~((positions["retired"] <= now) | (positions["status"] == "retired")),
        retired=positions["retired"],
        criticality=said.mask(about["highest"], ranks[0] if ranks else ""),
        criticality_said=said,
        hazard=about["hazard"],
        elastomer=_material(positions["elastomer"]),
    )
    return out.reset_index(drop=True)


def _table(
    items: pd.DataFrame, members: pd.DataFrame, costs: Costs, now: pd.Timestamp
) -> pd.DataFrame:
    """One row a stock item."""
    use = members[members["in_use"]]
    kept = items[~items["twice"] & (items["pool"] != "")].set_index("pool")
    names = sorted({*kept.index, *use["pool"]} - {NO_ITEM})
    names += [NO_ITEM] * bool((use["pool"] == NO_ITEM).any())
    index = pd.Index(names, name="pool", dtype=object)
    row = kept.reindex(index)
    listed = row["record_id"].notna()
    repairable = row["repairable"] == "yes"
    own = row["reject_share"].where(row["reject_share"].between(0, 1))
    material, material_from = _elastomer(row, use)
    hazard = _joined(use[use["hazard"] != ""], "hazard").reindex(index, fill_value="")
    ranks = rank_criticality(use["criticality"], costs)
    rank = use["criticality"].map({word: n for n, word in enumerate(ranks)})
    highest = rank.groupby(use["pool"]).min().reindex(index)
    daily = use["criticality"].map({w: cost_at(costs.shortage_per_day, w) for w in ("", *ranks)})
    per_day = daily.groupby(use["pool"])
    table = pd.DataFrame(
        {
            "description": row["description"].fillna(""),
            "positions": use.groupby("pool").size().reindex(index, fill_value=0),
            "sites": _joined(use, "site").reindex(index, fill_value=""),
            "on_hand": row["on_hand"].where(row["on_hand"] >= 0),
            "on_order": row["on_order"].fillna(0.0).clip(lower=0).where(listed),
            "on_order_due": row["on_order_due"],
            "stock_low": row["stock_low"],
            "stock_high": row["stock_high"],
            "unit_cost": row["unit_cost"].where(row["unit_cost"] > 0),
            "lead_time_d": row["lead_time_d"].where(row["lead_time_d"] > 0),
            "repairable": repairable,
            "repair_time_d": row["repair_time_d"].where(repairable & (row["repair_time_d"] > 0)),
            "reject_share": own.fillna(costs.reject_share).where(repairable),
            "cure_date": row["cure_date"].where(row["cure_date"] <= now),
            "elastomer": material,
            "elastomer_from": material_from,
            "criticality": highest.map(dict(enumerate(ranks))).fillna(""),
            "hazard": hazard,
            "hazardous": hazard != "",
            # one position whose cost is not known leaves the mean not known
            "shortage_per_day": per_day.mean().where(per_day.count() == per_day.size()),
            "record_id": row["record_id"].fillna(""),
        },
        index=index,
    )
    table["status"], table["message"] = _gaps(table, listed)
    return table.reset_index()


def _material(written: pd.Series) -> pd.Series:
    """Codes of the elastomers, or the words as written where there is none."""
    codes = pd.Series(elastomers_in(written), index=written.index, dtype=object)
    return codes.where(codes != "", written.str.strip())


def _joined(rows: pd.DataFrame, column: str) -> pd.Series:
    """All values of a column by pool, each once."""
    each = rows[["pool", column]].drop_duplicates().sort_values(column)
    return each.groupby("pool")[column].agg(", ".join)


def _elastomer(row: pd.DataFrame, use: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Elastomer of each item and where it was found: stores, register, description."""
    named = use[use["elastomer"] != ""].groupby("pool")["elastomer"]
    alike = named.min().where(named.min() == named.max())
    described = elastomers_in(row["description"].fillna(""), described=True)
    found = {
        "stores": _material(row["elastomer"].fillna("")),
        "register": alike.reindex(row.index).fillna(""),
        "description": pd.Series(described, index=row.index, dtype=object),
    }
    material, source = (pd.Series("", index=row.index, dtype=object) for _ in range(2))
    for name, word in found.items():
        new = (material == "") & (word != "")
        material, source = material.mask(new, word), source.mask(new, name)
    return material, source


def _gaps(table: pd.DataFrame, listed: pd.Series) -> tuple[list[str], list[str]]:
    """Status (the weightiest gap) and message (all gaps) of each item."""
    nowhere = table.index == NO_ITEM
    holds = {
        "no stock item": nowhere,
        "not in the stores": ~listed & ~nowhere,
        "used nowhere": listed & (table["positions"] == 0),
        "stock not known": listed & table["on_hand"].isna(),
        "lead time not known": listed & table["lead_time_d"].isna(),
        "repair time not known": table["repairable"] & table["repair_time_d"].isna(),
        "price not known": listed & table["unit_cost"].isna(),
    }
    gaps = np.column_stack([np.asarray(holds[name], dtype=bool) for name in _GAPS])
    words = list(_GAPS)
    each = [[words[k] for k in np.flatnonzero(row)] for row in gaps]
    return [e[0] if e else "ok" for e in each], ["; ".join(_GAPS[w] for w in e) for e in each]
