"""Which readings are over a limit: all of them, legal limits first.

In: readings, limits in force. Out: `Exceedances`. Next: reports on leakage.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.leakage.conversions import WATER_DROP_ML
from seallife.leakage.limits import KINDS, limits_in_force
from seallife.leakage.records import dates

__all__ = ["ACT_NOW", "Exceedances", "exceedances"]

ACT_NOW = (
    "A leak over a limit is acted on now, whatever its probability. This list is no record of "
    "compliance: which limits hold is for the site to confirm."
)
_STATES = ("open", "closed: below since", "closed: renewed")


@dataclass(frozen=True, eq=False)
class Exceedances:
    """Readings over a limit, or of which that cannot be told.

    Attributes
    ----------
    table : DataFrame
        A row per reading and kind of limit: ``kind``, ``verdict`` ('over' or 'cannot tell'),
        ``state`` ('open', 'closed: below since', 'closed: renewed'), ``date``, ``position_id``,
        ``site``, ``unit``, ``service_class``, ``life``, ``method``, ``low``, ``high``,
        ``reading_unit``, ``limit`` [unit of the reading], ``as_written``, ``scope``,
        ``citation``, ``conversion``, ``reading``, ``limit_row``. Legal first, then house, then
        statistical; newest first.
    counts : DataFrame
        Per ``kind``: ``readings`` held against a limit, of them ``over``, ``cannot_tell``,
        ``below``; ``no_limit``, readings without one.
    messages : DataFrame
        As in `seallife.leakage.limits.LimitsInForce`.
    note : str
        What has to be said with it.
    """

    table: pd.DataFrame
    counts: pd.DataFrame
    messages: pd.DataFrame
    note: str

    def __len__(self) -> int:
        return len(self.table)


def exceedances(
    limits: pd.DataFrame, readings: pd.DataFrame, *, drop_ml: float = WATER_DROP_ML
) -> Exceedances:
    """Which readings are over a limit, and is that still so?

    Parameters
    ----------
    limits, readings : DataFrame
        As in `seallife.leakage.limits.limits_in_force`. Of readings further, where known:
        ``life`` (label of the seal life; without it the position stands for one life) and
        ``life_end`` (when that seal came out; blank while in service).
    drop_ml : float
        Volume of a drop [mL].

    Returns
    -------
    Exceedances
        All of them, however old and however unlikely: there is nothing to filter by.

    Raises
    ------
    InputError
        As `limits_in_force`; or if bounds of a reading are missing or the wrong way round.

    Notes
    -----
    Over: the lower bound is at the limit or more. Cannot tell: the limit lies between the bounds,
    as with a reading above a scale that ends below the limit, or one not detected by an
    instrument coarser than the limit.

    Open: the seal is still in, and the last reading by that method that was held against that
    kind of limit is over, or cannot be told to be below. Several readings of one day count as
    the worst of them. A method that sees less does not close what another has seen.
    """
    found = limits_in_force(limits, readings, drop_ml=drop_ml)
    low, high = (pd.to_numeric(readings[c], errors="coerce") for c in ("low", "high"))
    bad = low.isna() | high.isna() | (low > high)
    if bad.any():
        raise InputError(
            f"are {readings['low'][bad].iloc[0]} and {readings['high'][bad].iloc[0]}",
            where=f"low and high of reading {readings.index[bad][0]}",
            hint="give bounds; inf above scale",
        )
    wanted = [
        "date",
        "position_id",
        "site",
        "unit",
        "service_class",
        "life",
        "life_end",
        "method",
        "reading_unit",
    ]
    known = readings.assign(
        low=low,
        high=high,
        date=dates(readings["date"], "readings.date"),
        life=readings.get("life", pd.Series(pd.NA, index=readings.index, dtype=object)),
        life_end=dates(
            readings.get("life_end", pd.Series(pd.NaT, index=readings.index)), "readings.life_end"
        ),
    )[[*wanted, "low", "high"]]
    table = found.table.merge(known, left_on="reading", right_index=True, how="left")
    straddles = (table["low"] < table["limit"]) & (table["limit"] < table["high"])
    over = table["low"] >= table["limit"]
    table["verdict"] = np.select([over, straddles], ["over", "cannot tell"], "below")
    table["state"] = _state(table)
    listed = table[table["verdict"] != "below"].assign(rank=lambda t: t["kind"].map(KINDS.index))
    listed = listed.sort_values(
        ["rank", "date", "position_id"], ascending=[True, False, True], kind="stable"
    )
    first = ["kind", "verdict", "state", *[c for c in wanted if c != "life_end"], "low", "high"]
    rest = ["limit", "as_written", "scope", "citation", "conversion", "reading", "limit_row"]
    first.insert(first.index("reading_unit"), first.pop(first.index("low")))
    first.insert(first.index("reading_unit"), first.pop(first.index("high")))
    shown = listed[[*first, *rest]].reset_index(drop=True)
    return Exceedances(shown, _counts(table, len(readings)), found.messages, ACT_NOW)


def _state(table: pd.DataFrame) -> pd.Series[Any]:
    """Whether the last reading of each seal life, by each method, is still over."""
    # of several kinds of key, a column of text is the same for all
    own = table["life"].notna()
    seal = np.where(
        own, "life " + table["life"].astype(str), "at " + table["position_id"].astype(str)
    )
    keys = [
        pd.Series(seal, index=table.index),
        table["kind"],
        table["method"].fillna("").astype(str),
    ]
    last = table.groupby(keys)["date"].transform("max") == table["date"]
    bad = (last & (table["verdict"] != "below")).groupby(keys).transform("any")
    renewed = table["life_end"].notna()
    words = np.select([renewed, bad], [_STATES[2], _STATES[0]], _STATES[1])
    return pd.Series(words, index=table.index, dtype=object)


def _counts(table: pd.DataFrame, n: int) -> pd.DataFrame:
    """How many readings of each verdict, and without a limit."""
    rows = []
    for kind in KINDS:
        met = table.loc[table["kind"] == kind, "verdict"]
        told = [int((met == word).sum()) for word in ("over", "cannot tell", "below")]
        rows.append((kind, len(met), *told, n - len(met)))
    columns = ["kind", "readings", "over", "cannot_tell", "below", "no_limit"]
    return pd.DataFrame(rows, columns=columns)
