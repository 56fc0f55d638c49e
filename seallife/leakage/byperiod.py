"""How high did each seal position leak in each quarter or month, and when did it get another seal?

In: `Readings`. Out: `PeriodLevels`. Next: `seallife.figures.leakstrip`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.leakage.bounds import READ_AS_RATE
from seallife.leakage.readings import Readings

if TYPE_CHECKING:
    from pandas.core.groupby import SeriesGroupBy

__all__ = ["PERIODS", "PeriodLevels", "levels_by_period", "seal_changes"]

PERIODS = {"quarter": "Q", "month": "M"}
"""Stretches of time by which readings may be gathered."""

_YEAR = pd.Timedelta(days=365)


@dataclass(frozen=True, eq=False)
class PeriodLevels:
    """Levels of positions by period.

    Attributes
    ----------
    cells : pandas.DataFrame
        Per position and period with a reading: ``position_id``, ``period`` (its first day), ``n``,
        ``n_below`` (below detection), ``n_above`` (off the scale), ``middle`` and ``highest`` of
        the readings [measured_in].
    positions : pandas.DataFrame
        ``position_id``, ``service_class``, ``n``, ``n_year`` and ``last_year``: readings of the
        last year before the newest of all, and the middle of them, those below detection as
        nought: a high limit of the instrument is no leak (NaN where there is none). Classes and
        positions with the highest last year first.
    changes : pandas.DataFrame
        As from `seal_changes`.
    by, measured_in : str
    left_out : int
        Readings not used: in doubt, of no seal, in words, or in another unit.
    """

    cells: pd.DataFrame
    positions: pd.DataFrame
    changes: pd.DataFrame
    by: str
    measured_in: str
    left_out: int


def levels_by_period(
    readings: Readings, *, by: str = "quarter", measured_in: str = ""
) -> PeriodLevels:
    """How high did each position leak in each quarter or month?

    Parameters
    ----------
    readings : Readings
    by : str
        'quarter' or 'month', of the calendar.
    measured_in : str
        Unit of the readings taken; '' for the one with most of them.

    Returns
    -------
    PeriodLevels

    Raises
    ------
    InputError
        A period or a unit that is not there.

    Notes
    -----
    The middle is the upper median: the reading in the middle, the higher one of two, with those
    below detection at their limit and those off the scale at its end. A leak of one reading does
    not move it: ``highest`` stands beside it.
    """
    if by not in PERIODS:
        raise InputError(f"is {by!r}", where="by", hint=f"give one of {', '.join(PERIODS)}")
    rows = readings.for_trends
    rows = rows[rows["quantity"].isin(READ_AS_RATE)]
    units = rows["measured_in"].value_counts()
    if measured_in and measured_in not in units:
        hint = f"known here: {', '.join(units.index)}"
        raise InputError(f"no reading is in {measured_in!r}", where="measured_in", hint=hint)
    unit = measured_in or (str(units.index[0]) if len(units) else "")
    rows = rows[rows["measured_in"] == unit]
    bound = rows["high"].where(np.isfinite(rows["high"]), rows["low"])
    rows = rows.assign(
        bound=bound,
        period=rows["date"].dt.to_period(PERIODS[by]).dt.start_time,
        is_below=rows["kind"] == "below",
        is_above=rows["kind"] == "above",
    )
    gathered = rows.groupby(["position_id", "period"])
    cells = gathered.agg(
        n=("bound", "size"),
        n_below=("is_below", "sum"),
        n_above=("is_above", "sum"),
        highest=("bound", "max"),
    )
    cells.insert(3, "middle", _middle(gathered["bound"]))
    return PeriodLevels(
        cells.reset_index(),
        _positions(rows),
        seal_changes(readings.table),
        by,
        unit,
        len(readings.table) - len(rows),
    )


def seal_changes(table: pd.DataFrame) -> pd.DataFrame:
    """When did a position that was read get another seal?

    Parameters
    ----------
    table : pandas.DataFrame
        Of `Readings`, or some rows of it.

    Returns
    -------
    pandas.DataFrame
        ``position_id``, ``date``: the end of a seal life after its last reading; the first reading
        of the next one where that end is not known. A life without a reading leaves no trace.
    """
    rows = table[table["life_id"] != ""].sort_values(["position_id", "date"], kind="stable")
    last = rows.shift()
    new = (rows["position_id"] == last["position_id"]) & (rows["life_id"] != last["life_id"])
    end = last["date"] + pd.to_timedelta(last["to_end_d"].astype(float), unit="D")
    date = end.where(end.notna() & (end <= rows["date"]), rows["date"])
    out = pd.DataFrame({"position_id": rows["position_id"], "date": date.dt.normalize()})
    return out[new].reset_index(drop=True)


def _middle(groups: SeriesGroupBy[Any, Any]) -> pd.Series:
    """Upper median."""
    middle: pd.Series = groups.quantile(0.5, interpolation="higher")
    return middle


def _positions(rows: pd.DataFrame) -> pd.DataFrame:
    """Positions, those with the highest last year first within their class, and classes alike."""
    recent = rows[rows["date"] > rows["date"].max() - _YEAR]
    read = rows.groupby("position_id")
    out = read.agg(service_class=("service_class", "last"), n=("bound", "size"))
    out["n_year"] = recent.groupby("position_id").size().reindex(out.index).fillna(0).astype(int)
    out["last_year"] = _middle(recent.groupby("position_id")["low"]).reindex(out.index)
    of_class = _middle(recent.groupby("service_class")["low"])
    order = out.assign(level=out["service_class"].map(of_class)).sort_values(
        ["level", "service_class", "last_year", "position_id"],
        ascending=[False, True, False, True],
        kind="stable",
    )
    return order.drop(columns="level").reset_index()
