"""Until when must each seal in service run, and how many hours is that?

In: lives, the table of outages, `RunClock`. Out: a date and a stretch for each seal in service.
Next: `seallife.life.todate`.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from seallife.clocks import RunClock, day_number
from seallife.errors import InputError
from seallife.schema import HOURS_PER_DAY

__all__ = ["next_outages", "outage_spacing", "time_ahead"]


def next_outages(
    seals: pd.DataFrame, outages: pd.DataFrame, look_ahead_days: int = 365
) -> pd.DataFrame:
    """When does the next outage of each seal's unit begin?

    Parameters
    ----------
    seals : pandas.DataFrame
        site, unit, exit: first day after the records of that seal end.
    outages : pandas.DataFrame
        site, unit (empty: all units of the site), start, record_id.
    look_ahead_days : int
        How far to look where no outage lies ahead.

    Returns
    -------
    pandas.DataFrame
        Index as ``seals``: until (first day of the outage), until_from ('next outage', 'look
        ahead'), outage_record. An outage that has begun by the end of records is not ahead, nor is
        one without a first day.
    """
    if look_ahead_days < 1:
        raise InputError(f"is {look_ahead_days!r}", where="look_ahead_days", hint="give 1 or more")
    until = pd.Series(pd.NaT, index=seals.index, dtype="datetime64[ns]")
    record = pd.Series("", index=seals.index, dtype=object)
    # the last first, so that the next one is written over it
    for o in outages.sort_values("start", ascending=False, kind="stable").itertuples():
        unit = "" if pd.isna(o.unit) else str(o.unit)
        hit = (seals["site"] == o.site) & (seals["exit"] <= o.start)
        hit &= (seals["unit"] == unit) | (unit == "")
        until, record = until.mask(hit, o.start), record.mask(hit, o.record_id)
    planned = until.notna()
    horizon = seals["exit"] + pd.Timedelta(days=look_ahead_days)
    return pd.DataFrame(
        {
            "until": until.where(planned, horizon),
            "until_from": np.where(planned, "next outage", "look ahead"),
            "outage_record": record,
        },
        index=seals.index,
    )


def time_ahead(
    lives: pd.DataFrame,
    outages: pd.DataFrame,
    clock: RunClock,
    *,
    look_ahead_days: int = 365,
    recent_days: float = 365.0,
) -> pd.DataFrame:
    """How long, and how many hours, must each seal in service run until its next outage?

    Parameters
    ----------
    lives : pandas.DataFrame
        Lives as in `LifeTable.table`.
    outages : pandas.DataFrame
        As for `next_outages`.
    clock : RunClock
        How much each position ran.
    look_ahead_days : int
        How far to look where no outage lies ahead: ``look_ahead_days`` of `Rules`.
    recent_days : float
        Days before the end of records over which the share of time run is taken.

    Returns
    -------
    pandas.DataFrame
        One row a seal in service: life_id, position_id, until, until_from, outage_record,
        days_ahead, run_share (of the recent days), hours_ahead, and hours_ahead_low,
        hours_ahead_high: bounds of the recent hours carried ahead, see `RunClock.spread`. What the
        pump will run is taken from what it ran; a change of duty is in no bound.
    """
    if not recent_days > 0:
        raise InputError(f"is {recent_days!r}", where="recent_days", hint="give a number above 0")
    seals = lives[lives["end"] == "in service"]
    ahead = next_outages(seals, outages, look_ahead_days)
    position, last = seals["position_id"], day_number(seals["exit"])
    hours, metered = (
        now - before
        for now, before in zip(
            clock.at(position, last), clock.at(position, last - recent_days), strict=True
        )
    )
    days = day_number(ahead["until"]) - last
    scale = days / recent_days
    low, high = clock.spread(position, hours, metered)
    return pd.DataFrame(
        {
            "life_id": seals["life_id"],
            "position_id": position,
            **{name: ahead[name] for name in ahead},
            "days_ahead": days,
            "run_share": hours / (recent_days * HOURS_PER_DAY),
            "hours_ahead": hours * scale,
            "hours_ahead_low": low * scale,
            "hours_ahead_high": np.minimum(high * scale, days * HOURS_PER_DAY),
        }
    ).reset_index(drop=True)


def outage_spacing(outages: pd.DataFrame, now: pd.Timestamp) -> pd.DataFrame:
    """How long is it from each coming outage to the one after?

    Parameters
    ----------
    outages : pandas.DataFrame
        site, unit (empty: all units of the site), start.
    now : Timestamp
        First day ahead.

    Returns
    -------
    pandas.DataFrame
        site, unit, days_between, one row for each unit or site with an outage ahead: to the next
        one ahead of the same unit or of the whole site; where none is planned, the median of those
        between past ones. Without either there is no row.
    """
    table = outages.dropna(subset=["start"]).assign(unit=outages["unit"].fillna("").astype(str))
    table = table.sort_values("start", kind="stable")
    rows = []
    for (site, unit), ahead in table[table["start"] >= now].groupby(["site", "unit"], sort=True):
        mine = table[(table["site"] == site) & table["unit"].isin([unit, ""])]
        starts = mine["start"].drop_duplicates()
        later = starts[starts > ahead["start"].iloc[0]]
        gaps = np.diff(starts.to_numpy("datetime64[D]")).astype(np.float64)
        if len(later):
            days = float((later.iloc[0] - ahead["start"].iloc[0]).days)
        elif len(gaps):
            days = float(np.median(gaps))
        else:
            continue
        rows.append((site, unit, days))
    return pd.DataFrame(rows, columns=["site", "unit", "days_between"])
