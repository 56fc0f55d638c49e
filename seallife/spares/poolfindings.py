"""What is wrong with the stores, or between the stores and the register?

In: stock items, pools, positions. Out: findings. Next: `seallife.spares.pools`.

Numbers outside their range are found where files are read.
"""

from __future__ import annotations

import pandas as pd

from seallife.findings import Severity, join_findings, make_findings, set_aside_findings
from seallife.spares.confirmed import NO_ITEM, confirmed_findings
from seallife.spares.elastomers import elastomers_in
from seallife.spares.shelf import shelf_group

__all__ = ["pool_findings"]


def pool_findings(
    items: pd.DataFrame, table: pd.DataFrame, members: pd.DataFrame, *, now: pd.Timestamp
) -> pd.DataFrame:
    """What of the stock should a person mend or decide?

    Parameters
    ----------
    items : pandas.DataFrame
        Rows of ``stores`` as written, with pool and twice.
    table, members : pandas.DataFrame
        As in `seallife.spares.pools.Pools`.
    now : pandas.Timestamp
        End of data.

    Returns
    -------
    pandas.DataFrame
        Findings; none where there is no stock list at all.
    """
    if items.empty:
        return join_findings([])
    nameless = items["pool"] == ""
    kept = items[~nameless & ~items["twice"]].reset_index(drop=True)
    rows = table.set_index("pool").loc[kept["pool"]].reset_index()
    return join_findings(
        [
            set_aside_findings(
                "stock item without number",
                "ask",
                items[nameless],
                "the row names no stock item; give its number",
            ),
            set_aside_findings(
                "stock item listed twice",
                "ask",
                items[items["twice"]],
                "item {value} stands in the stores already; where it lies in two places, give the "
                "sum in one row",
                "pool",
            ),
            *_positions_and_items(rows, members, set(kept["pool"])),
            *confirmed_findings(kept, members),
            *_numbers(kept, rows),
            *_materials(kept, rows, members, now),
            _low_rank(members),
        ]
    )


def _positions_and_items(
    rows: pd.DataFrame, members: pd.DataFrame, listed: set[str]
) -> list[pd.DataFrame]:
    """Positions without item, items without position."""
    use = members[members["in_use"]]
    none = use[use["pool"] == NO_ITEM]
    lost = use[~use["pool"].isin(listed) & (use["pool"] != NO_ITEM)]
    idle = rows[rows["positions"] == 0]
    last = members.groupby("pool")["retired"].max().reindex(idle["pool"])
    since = ["" if pd.isna(d) else f"; its last one was retired on {d:%Y-%m-%d}" for d in last]
    return [
        _each_or_all(
            "position without stock item",
            none,
            len(use),
            "the register names no stock item for {value}; it is in no stock figure",
            "the register names no stock item for any position; stock cannot be judged",
            ("pool", "position_id", "positions"),
        ),
        make_findings(
            "item not in the stores",
            "ask",
            lost["record_id"],
            "the register names item {value}, which the stores do not list",
            column="pool",
            value=lost["pool"],
            action="counted as demand without stock",
        ),
        make_findings(
            "item used nowhere",
            "ask",
            idle["record_id"],
            [
                f"no position in use takes item {pool}{gone}; {hand:g} on hand, perhaps obsolete"
                if hand == hand
                else f"no position in use takes item {pool}{gone}; perhaps obsolete"
                for pool, gone, hand in zip(idle["pool"], since, idle["on_hand"], strict=True)
            ],
            column="used_on",
            value=idle["pool"],
            action="kept, without demand",
        ),
    ]


def _numbers(kept: pd.DataFrame, rows: pd.DataFrame) -> list[pd.DataFrame]:
    """Prices, times and levels that are missing or cannot be."""
    n = len(kept)
    repairable = rows["repairable"]
    swapped = kept["stock_low"] > kept["stock_high"]
    idle_time = ~repairable & (kept["repair_time_d"] > 0)
    empty = rows[["on_hand", "lead_time_d", "unit_cost"]].isna()
    told = [
        ("stock not known", "on_hand", empty["on_hand"], "number on hand"),
        ("lead time missing", "lead_time_d", empty["lead_time_d"], "lead time"),
        ("price missing", "unit_cost", empty["unit_cost"], "price"),
        (
            "repair time missing",
            "repair_time_d",
            repairable & rows["repair_time_d"].isna(),
            "repair time, though it is repaired",
        ),
    ]
    return [
        *(
            _each_or_all(
                check,
                kept[gap],
                n,
                f"item {{value}} has no {what} that can be used",
                f"no item has a {what} that can be used",
                (column, "pool", "stores"),
            )
            for check, column, gap, what in told
        ),
        make_findings(
            "levels the wrong way round",
            "ask",
            kept.loc[swapped, "record_id"],
            [
                f"item {pool} is ordered at {low:g} up to {high:g}; is it the other way round?"
                for pool, low, high in kept.loc[
                    swapped, ["pool", "stock_low", "stock_high"]
                ].itertuples(index=False)
            ],
            column="stock_high",
            value=kept.loc[swapped, "stock_high"],
            action="kept as written",
        ),
        make_findings(
            "repair time of what is not repaired",
            "ask",
            kept.loc[idle_time, "record_id"],
            "a repair time of {value} days is given, but not that the item is repaired; is it?",
            column="repairable",
            value=kept.loc[idle_time, "repair_time_d"],
            action="taken as not repaired",
        ),
    ]


def _materials(
    kept: pd.DataFrame, rows: pd.DataFrame, members: pd.DataFrame, now: pd.Timestamp
) -> list[pd.DataFrame]:
    """Cure dates and elastomers."""
    late = kept["cure_date"] > now
    ages = rows["elastomer"].map(shelf_group).isin(["A", "B", "C"]) & (rows["on_hand"] > 0)
    undated = ages & kept["cure_date"].isna()
    cell = pd.Series(elastomers_in(kept["elastomer"]), index=kept.index, dtype=object)
    text = pd.Series(elastomers_in(kept["description"], described=True), index=kept.index)
    ours = cell.where(cell != "", text)
    use = members[members["in_use"]]
    use = use.assign(elastomer=elastomers_in(use["elastomer"])).merge(
        pd.DataFrame({"pool": kept["pool"], "stocked": ours}), on="pool"
    )
    differs = use[
        (use["elastomer"] != use["stocked"]) & (use["elastomer"] != "") & (use["stocked"] != "")
    ]
    return [
        make_findings(
            "cure date in the future",
            "ask",
            kept.loc[late, "record_id"],
            f"the cure date {{value}} lies after the end of data, {now:%Y-%m-%d}",
            column="cure_date",
            value=kept.loc[late, "cure_date"],
            action="date not used",
        ),
        _each_or_all(
            "cure date missing",
            kept[undated],
            int(ages.sum()),
            "item {value} has elastomers in store and no cure date: its shelf life is not followed",
            "no item has a cure date: shelf lives are not followed",
            ("cure_date", "pool", "stores"),
            "doubt",
        ),
        make_findings(
            "elastomer differs",
            "ask",
            differs["record_id"],
            [
                f"the register says {a} for {p}, its stock item {pool} is of {b}"
                for p, pool, a, b in differs[
                    ["position_id", "pool", "elastomer", "stocked"]
                ].itertuples(index=False)
            ],
            column="elastomer",
            value=differs["elastomer"],
            action="kept as written",
        ),
    ]


def _low_rank(members: pd.DataFrame) -> pd.DataFrame:
    """Benzene, H2S or HF at a position that the register does not rank highest."""
    low = members[members["in_use"] & (members["criticality"] != members["criticality_said"])]
    return make_findings(
        "hazardous fluid, lower criticality",
        "note",
        low["record_id"],
        [
            f"{p} handles {h} and is ranked {said or 'nowhere'}; taken as {taken}"
            for p, h, said, taken in low[
                ["position_id", "hazard", "criticality_said", "criticality"]
            ].itertuples(index=False)
        ],
        column="criticality",
        value=low["criticality_said"],
        action="highest criticality taken",
    )


def _each_or_all(
    check: str,
    gone: pd.DataFrame,
    of: int,
    each: str,
    every: str,
    about: tuple[str, str, str],
    severity: Severity = "ask",
) -> pd.DataFrame:
    """One finding a record; a single one where all records lack the thing."""
    column, shown, table = about
    if len(gone) == of > 1:
        return make_findings(check, severity, [table], every, column=column)
    return make_findings(check, severity, gone["record_id"], each, column=column, value=gone[shown])
