"""How many failures, or removals, has a position of each group had by each time?

In: `Removals`, `LifeTable`, `Register`. Out: `MeanCumulative`. Next:
`seallife.figures.recurrence`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import pandas as pd

from seallife.clocks import day_number
from seallife.errors import InputError
from seallife.events import Removals
from seallife.history.growthdata import events_placed, spans_at_risk
from seallife.history.mtbr import position_groups
from seallife.history.recurrence import MeanCumulative, mean_cumulative, nobody_watched
from seallife.lives import LifeTable
from seallife.register import Register

__all__ = ["mean_cumulative_of_groups"]

_BY = ("all", "site", "unit", "service_class")


def mean_cumulative_of_groups(
    removals: Removals,
    lives: LifeTable,
    register: Register,
    service_class: pd.Series,
    *,
    by: str = "service_class",
    counts: Literal["failures", "removals"] = "failures",
    scale: Literal["calendar", "age"] = "calendar",
    level: float = 0.90,
) -> MeanCumulative:
    """How many failures, or removals, has a position had on average by each time?

    Parameters
    ----------
    removals, lives, register, service_class
        As `seallife.history.mtbr.mtbr_history` takes them; time at risk is that of the lives.
    by : {'all', 'site', 'unit', 'service_class'}
    counts : {'failures', 'removals'}
        Removals of unknown reason are failures as in ``lives``.
    scale : {'calendar', 'age'}
        Days since 1970-01-01, or days since the position was commissioned.
    level : float

    Returns
    -------
    MeanCumulative
        With two more columns in its table: ``left_out``, failures or removals on a day far from
        any time at risk of their position, and ``no_age``, positions whose commissioning is not
        known and that stand in no curve by age.

    Raises
    ------
    InputError
        Another word in ``by``, ``counts`` or ``scale``, or no position with a known age.

    Notes
    -----
    Positions in records that begin late enter a curve by age late, at their age then. A curve by
    calendar begins with the records of each group.
    """
    for name, word, known in (
        ("by", by, _BY),
        ("counts", counts, ("failures", "removals")),
        ("scale", scale, ("calendar", "age")),
    ):
        if word not in known:
            raise InputError(f"is {word!r}", where=name, hint=f"use {', '.join(known)}")
    whole = counts == "removals"
    counted = {"failed": True, "withdrawn": whole}
    counted["unknown"] = whole or lives.unknown_as == "failed"
    spans = spans_at_risk(lives)
    events = events_placed(removals, register, spans, counted)
    group = position_groups(register, service_class)[by].astype(str)
    group = group[group.index.isin(spans["position_id"])]
    named = register.table.set_index("position_id")["commissioned"].reindex(group.index)
    begun = pd.Series(day_number(named), index=group.index)
    missing = begun.isna() if scale == "age" else pd.Series(data=False, index=group.index)
    origin = begun if scale == "age" else begun * 0
    spans = spans[~spans["position_id"].map(missing).astype(bool)]
    if spans.empty:
        hint = "give commissioned in positions, or use scale='calendar'"
        raise InputError("no position has a known day of commissioning", where="scale", hint=hint)
    lost = events["time"].isna()
    kept = events[~lost & ~events["position_id"].map(missing).astype(bool)]
    shift = origin.fillna(0.0)
    got = mean_cumulative(
        kept["time"] - kept["position_id"].map(shift),
        kept["position_id"],
        spans["start"] - spans["position_id"].map(shift),
        spans["end"] - spans["position_id"].map(shift),
        spans["position_id"],
        group=spans["position_id"].map(group),
        level=level,
    )
    table = got.table
    if scale == "calendar":
        table = table.assign(message=_with_dates(table))
    gone = events.loc[lost, "position_id"].map(group).value_counts()
    names = table["group"]
    return replace(
        got,
        table=table.assign(
            left_out=names.map(gone).fillna(0).astype(int),
            no_age=names.map(group[missing].value_counts()).fillna(0).astype(int),
        ),
    )


def _with_dates(table: pd.DataFrame) -> list[str]:
    """Messages with dates in place of day numbers."""
    out = table["message"].tolist()
    for i, word in enumerate(table["status"]):
        if word == "nobody watched":
            days = table[["unwatched_from", "unwatched_to"]].iloc[i]
            first, last = pd.to_datetime(days, unit="D").dt.strftime("%Y-%m-%d")
            out[i] = nobody_watched(first, last)
    return out
