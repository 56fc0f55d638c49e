"""What did the forecasts of one evening say, what would simple rules have said, what happened?

In: forecasts of counts, `Events` as known then and as known now. Out: `Made`. Next:
`seallife.scorecard.summary`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd

from seallife.errors import InputError, need_columns
from seallife.life.groups import Floats
from seallife.life.result import worded_status
from seallife.scorecard.happened import KINDS, Events
from seallife.scoring import constant_rate, last_years_usage

__all__ = ["RULES", "Made", "hold", "keep_contract"]

RULES = {"usage": "last year's usage", "rate": "the constant rate"}
"""Simple rules that every forecast is held against."""

_KEYS = ["kind", "by", "group", "months"]
_LONG_AGO = pd.Timestamp(1800, 1, 1)
_NOT_JUDGED = {
    "records missing": "records of this group begin or are missing within the forecast's time",
    "too little record": "less than half of the year before is on record, or no position was in "
    "use, so no rule can be held beside it",
}


class Made(NamedTuple):
    """Forecasts of one evening.

    Attributes
    ----------
    rows : DataFrame
        origin, until, kind, by, group, months, observed, new, status, message.
    chances : dict of str to ndarray, shape (n, k)
        Of the forecast ('own') and of each of `RULES`.
    """

    rows: pd.DataFrame
    chances: dict[str, Floats]


def keep_contract(
    rows: pd.DataFrame, chance: Floats, over: Sequence[int], now: Events
) -> tuple[pd.DataFrame, Floats]:
    """Refuse forecasts that cannot be held against anything.

    Raises
    ------
    InputError
        Rows and chances do not go together, or are of kinds, groups or months not asked for.
    """
    need_columns(rows, _KEYS, "forecast")
    chance = np.asarray(chance, dtype=float)
    if chance.ndim != 2 or len(chance) != len(rows) or not len(rows):
        raise InputError(
            f"gave {len(rows)} rows, chances of shape {chance.shape}", where="forecast"
        )
    for column, known in (("kind", KINDS), ("by", now.groups.columns), ("months", over)):
        strange = rows.loc[~rows[column].isin(list(known)), column]
        if len(strange):
            said = ", ".join(map(str, known))
            raise InputError(
                f"gave '{strange.iloc[0]}', not one of {said}", where=f"forecast: {column}"
            )
    for by, part in rows.groupby("by"):
        strange = part.loc[~part["group"].isin(now.groups[by]), "group"]
        if len(strange):
            raise InputError(
                f"no position stands in {by} '{strange.iloc[0]}'", where="forecast: group"
            )
    return rows[_KEYS].reset_index(drop=True), chance


def hold(rows: pd.DataFrame, chance: Floats, now: Events, then: Events, day: pd.Timestamp) -> Made:
    """Hold forecasts of an evening, and those of simple rules, against what happened.

    Parameters
    ----------
    rows, chance
        From `keep_contract`.
    now, then : Events
        Of the whole record, and of what was known on the evening of ``day``.
    """
    n = len(rows)
    observed, new = np.zeros((2, n), dtype=np.int64)
    broken = np.zeros(n, dtype=bool)
    until = np.empty(n, dtype="datetime64[ns]")
    for ahead, part in rows.groupby("months"):
        at, last = part.index.to_numpy(), day + pd.DateOffset(months=int(str(ahead)))
        observed[at], came = now.counts(part, day, last)
        new[at] = now.sums(part, came[~came["position_id"].isin(then.running)])
        broken[at] = now.broken(part, day, last)
        until[at] = last.to_datetime64()
    positions, year_ago = then.positions(rows), day - pd.DateOffset(years=1)
    last_year = then.years(rows, year_ago, day)
    enough = (positions > 0) & (last_year >= positions / 2)
    # Where a part of the year is not on record, or positions came since, usage is scaled up.
    scale = np.divide(positions, last_year, where=enough, out=np.zeros(n))
    used = then.counts(rows, year_ago, day)[0] * scale
    months: Floats = rows["months"].to_numpy(dtype=float)
    past = np.where(enough, then.years(rows, _LONG_AGO, day), 1.0)
    events = then.counts(rows, _LONG_AGO, day)[0]
    status, message = worded_status(
        n,
        [
            (broken, "records missing", _NOT_JUDGED["records missing"]),
            (~enough, "too little record", _NOT_JUDGED["too little record"]),
        ],
    )
    cells = chance.shape[1]
    return Made(
        rows.assign(
            origin=day, until=until, observed=observed, new=new, status=status, message=message
        ),
        {
            "own": chance,
            "usage": last_years_usage(used, months, cells),
            "rate": constant_rate(events, past, positions * months / 12, cells),
        },
    )
