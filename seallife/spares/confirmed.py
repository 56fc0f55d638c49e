"""Do the lists of confirmed positions in the stores agree with the register?

In: ``used_on`` of the stock items, positions. Out: findings. Next: `seallife.spares.poolfindings`.
"""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from seallife.findings import make_findings
from seallife.register import tag_key

__all__ = ["NO_ITEM", "confirmed_findings"]

NO_ITEM = "(none)"
"""Pool of the positions for which the register names no stock item."""

_SHOWN = 4  # names in one sentence


def confirmed_findings(kept: pd.DataFrame, members: pd.DataFrame) -> list[pd.DataFrame]:
    """Where do the confirmed positions of an item and the register disagree?

    Parameters
    ----------
    kept : pandas.DataFrame
        Stock items, each once: pool, record_id, used_on (names of positions, or tags that stand at
        one site, with blanks, commas, semicolons or lines between).
    members : pandas.DataFrame
        As in `seallife.spares.pools.Pools`.

    Returns
    -------
    list of pandas.DataFrame
        Findings. An item without a list is not held against anything.
    """
    names = _names_listed(kept, members)
    known = names.dropna(subset=["position_id"])
    strange = names[names["position_id"].isna()]
    known = known.drop_duplicates(["pool", "position_id"])
    known = known.merge(members, on="position_id", suffixes=("", "_register"))
    known = known[known["in_use"]].sort_values(["position_id", "pool"])
    twice = known["position_id"].duplicated(keep=False)
    under = known[twice].groupby("position_id")["pool"].agg(" and ".join)
    seats = members.set_index("position_id").loc[under.index]
    elsewhere = known[~twice & (known["pool"] != known["pool_register"])]
    lists = members["in_use"] & members["pool"].isin(names["pool"])
    lacking = members[lists & ~members["position_id"].isin(known["position_id"])]
    item = kept.set_index("pool")["record_id"]
    return [
        make_findings(
            "position under two items",
            "doubt",
            seats["record_id"],
            [
                f"{position} is confirmed for items {pools}; its demand is counted under "
                f"{seat if seat != NO_ITEM else 'none'} only"
                for position, pools, seat in zip(under.index, under, seats["pool"], strict=True)
            ],
            column="pool",
            value=under.index,
            action="the register's item taken",
        ),
        _by_item(
            "confirmed for another item",
            elsewhere,
            item,
            "the register names another item, or none, for {names}, which this item's list holds",
        ),
        _by_item(
            "not confirmed for its item",
            lacking,
            item,
            "the register puts {names} under this item, whose list of confirmed positions lacks it",
        ),
        _by_item(
            "confirmed for unknown position",
            strange.assign(position_id=strange["name"]),
            item,
            "{names} in the list of confirmed positions is no position or tag of the register",
        ),
    ]


def _names_listed(kept: pd.DataFrame, members: pd.DataFrame) -> pd.DataFrame:
    """Names in ``used_on``, one a row: pool, name, position_id (NaN where it is none)."""
    by_position = members.assign(key=members["position_id"].map(tag_key))
    by_tag = members.assign(key=members["tag"].map(tag_key))
    by_tag = by_tag[~by_tag["key"].isin(by_position["key"])]
    at_one = by_tag.groupby("key")["site"].transform("nunique") == 1
    book = pd.concat([by_position, by_tag[at_one]])[["key", "position_id"]]
    wide = _parted(kept[["pool", "used_on"]].rename(columns={"used_on": "name"}), r"[;,|\n]+")
    whole = wide["name"].map(tag_key).isin(book["key"])
    names = pd.concat([wide[whole], _parted(wide[~whole], r"\s+")])
    return names.assign(key=names["name"].map(tag_key)).merge(book, on="key", how="left")


def _parted(names: pd.DataFrame, between: str) -> pd.DataFrame:
    """One row a name."""
    cut = names["name"].str.split(between, regex=True)
    out = names.assign(name=cut).explode("name", ignore_index=True)
    out["name"] = out["name"].fillna("").str.strip()
    return out[out["name"] != ""]


def _by_item(check: str, rows: pd.DataFrame, item: pd.Series, sentence: str) -> pd.DataFrame:
    """One finding an item that names its positions."""
    names = rows.groupby("pool", sort=False)["position_id"].agg(list)
    return make_findings(
        check,
        "ask",
        item.loc[names.index],
        [sentence.replace("{names}", _some(n)) for n in names],
        column="used_on",
        value=names.index,
        action="the register's item taken",
    )


def _some(names: Sequence[str]) -> str:
    """Name a few; count the rest."""
    more = len(names) - _SHOWN
    return ", ".join(names[:_SHOWN]) + (f" and {more} more" if more > 0 else "")
