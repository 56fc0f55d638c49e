"""Which readings are over a limit: all of them, legal limits first.

In: readings, limits in force. Out: `Exceedances`. Next: reports on leakage.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.errors import InputError
from seallife.leakage.conversions import WATER_DROP_ML
from seallife.leakage.limits import KINDS, LimitsInForce, limits_in_force
from seallife.leakage.records import Bools, dates
from seallife.life.groups import Ints

__all__ = ["ACT_NOW", "Exceedances", "exceedances", "exceedances_of"]

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
        statistical; of each the open ones first, of these the sure ones, newest first.
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
    return exceedances_of(limits_in_force(limits, readings, drop_ml=drop_ml), readings)


def exceedances_of(found: LimitsInForce, readings: pd.DataFrame) -> Exceedances:
    """Which readings are over the limits found for them?

    Parameters
    ----------
    found : LimitsInForce
        Of these readings.
    readings : DataFrame
        As for `exceedances`.

    Returns
    -------
    Exceedances

    Raises
    ------
    InputError
        As `exceedances`.
    """
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
        "method",
        "reading_unit",
    ]
    none = pd.Series(pd.NaT, index=readings.index)
    day = dates(readings["date"], "readings.date")
    ended = dates(readings.get("life_end", none), "readings.life_end").notna().to_numpy()
    life = readings.get("life", pd.Series(pd.NA, index=readings.index, dtype=object))
    # numbers only while there are as many rows as readings times kinds of limit
    at = readings.index.get_indexer(pd.Index(found.table["reading"]))
    kind = found.table["kind"].map(KINDS.index).to_numpy(dtype=np.int64)
    limit = found.table["limit"].to_numpy(dtype=np.float64)
    a, b = low.to_numpy(dtype=np.float64)[at], high.to_numpy(dtype=np.float64)[at]
    verdict = np.select([a >= limit, (a < limit) & (limit < b)], [2, 1], 0)
    seal = _seals(life, readings["position_id"], readings["method"])
    still = _open(seal[at] * len(KINDS) + kind, day.to_numpy()[at], verdict > 0)
    listed = np.flatnonzero(verdict > 0)
    rows = at[listed]
    state = np.select([ended[rows], still[listed]], [_STATES[2], _STATES[0]], _STATES[1])
    table = found.table.iloc[listed].reset_index(drop=True)
    told = [c for c in wanted if c not in ("date", "life")]
    known = readings[told].iloc[rows].reset_index(drop=True)
    known = known.assign(date=day.to_numpy()[rows], life=life.to_numpy()[rows])
    table = table.join(known).assign(
        low=a[listed], high=b[listed], state=state, rank=kind[listed],
        verdict=np.where(verdict[listed] == 2, "over", "cannot tell"),
    )  # fmt: skip
    table = table.assign(shut=table["state"] != "open", unsure=table["verdict"] != "over")
    table = table.sort_values(
        ["rank", "shut", "unsure", "date", "position_id"],
        ascending=[True, True, True, False, True],
        kind="stable",
    )
    first = ["kind", "verdict", "state", *wanted[:-1], "low", "high", "reading_unit"]
    rest = ["limit", "as_written", "scope", "citation", "conversion", "reading", "limit_row"]
    shown = table[[*first, *rest]].reset_index(drop=True)
    return Exceedances(shown, _counts(kind, verdict, len(readings)), found.messages, ACT_NOW)


def _seals(life: pd.Series[Any], position: pd.Series[Any], method: pd.Series[Any]) -> Ints:
    """Number of the seal life, or of the position where none is told, with its method."""
    lives, _ = pd.factorize(life.astype(object))
    places, _ = pd.factorize(position.astype(object))
    seal = np.where(lives >= 0, lives, lives.max(initial=-1) + 1 + places)
    how, _ = pd.factorize(method.astype(object).fillna("").astype(str))
    return np.asarray(seal * (how.max(initial=0) + 1) + how, dtype=np.int64)


def _open(key: Ints, day: NDArray[np.datetime64], over: Bools) -> Bools:
    """Is the last reading of each key over, or one of several of that day?"""
    codes, _ = pd.factorize(key)
    number = day.astype("datetime64[s]").astype(np.int64)
    last = np.full(codes.max(initial=-1) + 1, np.iinfo(np.int64).min)
    np.maximum.at(last, codes, number)
    bad = np.zeros(len(last), dtype=bool)
    bad[codes[over & (number == last[codes])]] = True
    return np.asarray(bad[codes])


def _counts(kind: Ints, verdict: Ints, n: int) -> pd.DataFrame:
    """How many readings of each verdict, and without a limit."""
    rows = []
    for k, name in enumerate(KINDS):
        met = verdict[kind == k]
        told = [int((met == v).sum()) for v in (2, 1, 0)]
        rows.append((name, len(met), *told, n - len(met)))
    columns = ["kind", "readings", "over", "cannot_tell", "below", "no_limit"]
    return pd.DataFrame(rows, columns=columns)
