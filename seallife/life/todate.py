"""How many of the seals in service will still run at the next outage, by class?

In: the life table, and a date for each seal in service (`seallife.outages`). Out: `SealsToDate`.
Next: report, spares.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.errors import InputError, need_columns
from seallife.life.ahead import share_running
from seallife.life.running import ShareRunning
from seallife.life.stretches import LEAST_AT_RISK
from seallife.life.usable import Clock, usable_lives

__all__ = ["SealsToDate", "seals_to_date"]


@dataclass(frozen=True, eq=False)
class SealsToDate(ShareRunning):
    """Share of the seals in service that will still run at their next outage.

    Attributes
    ----------
    table : DataFrame
        As in `ShareRunning`, by class, with ``in_service``: seals in service that have a date;
        ``left_out``: how many of them are in no other figure, as their age is not known;
        ``until_first``, ``until_last``; and ``until_from``: 'next outage', 'look ahead' where none
        lies ahead, or 'both'.
    seals : DataFrame
        One row per seal in service that has a date: ``life_id``, ``position_id``, class, ``site``,
        ``unit``, ``until``, ``until_from``; ``now`` and ``ahead`` with the unit of the clock;
        ``left_out``: why, or nothing; ``beyond``, ``share_of_like``.
    by : str
        Column of the class.
    clock : {'run_h', 'calendar_d'}
        Clock of ages.
    no_date : int
        Seals in service without a date: in no figure.
    """

    by: str
    clock: str
    no_date: int


def seals_to_date(
    lives: pd.DataFrame,
    ahead: pd.DataFrame,
    by: str = "service_class",
    clock: Clock = "run_h",
    *,
    level: float = 0.90,
    least_at_risk: int = LEAST_AT_RISK,
) -> SealsToDate:
    """What share of the seals now in service is expected to still run at its next outage?

    Parameters
    ----------
    lives : DataFrame
        As for `fit_lives`, with ``position_id``, ``site`` and ``unit``.
    ahead : DataFrame
        One row per seal in service, as from `seallife.outages.time_ahead`: ``life_id``, ``until``,
        ``until_from``, ``days_ahead``, and ``hours_ahead`` on the run-hour clock. Seals without a
        row are not asked about, so that a part of the plant can be: their class keeps its curve.
    by, clock, level
        As for `fit_lives`.
    least_at_risk : int
        As for `share_running`.

    Returns
    -------
    SealsToDate

    Raises
    ------
    InputError
        If a column is missing, or ``ahead`` names a life twice or one not in service.

    Notes
    -----
    On the run-hour clock the hours ahead are taken as known; how far they may be off is in no
    limit. The calendar clock needs none: set beside each other the two show how much hangs on it.
    """
    use = usable_lives(lives, by, clock)
    unit, stretch = use.unit, "hours_ahead" if use.unit == "h" else "days_ahead"
    need_columns(lives, ("position_id", "site", "unit"), "lives", "build it with build_lives")
    needed = ("life_id", "until", "until_from", stretch)
    need_columns(ahead, needed, "ahead", "build it with seallife.outages.time_ahead")
    running = np.flatnonzero((lives["end"] == "in service").to_numpy())
    place = pd.Series(running, index=lives["life_id"].to_numpy(dtype=object)[running])
    rows = _rows(ahead["life_id"], place)
    seals = lives.iloc[rows][["life_id", "position_id", by, "site", "unit"]].reset_index(drop=True)
    label = use.label[rows]
    now = pd.to_numeric(lives[f"exit_age_{unit}"]).to_numpy(np.float64, na_value=np.nan)[rows]
    further = pd.to_numeric(ahead[stretch]).to_numpy(np.float64, na_value=np.nan)
    known = lives["age_known"].to_numpy(dtype=bool, na_value=False)[rows]
    reason = np.full(len(rows), "", dtype=object)
    reason[~(np.isfinite(further) & (further >= 0))] = f"{stretch.replace('_', ' ')} not known"
    reason[~(np.isfinite(now) & (now >= 0))] = f"{'run hours' if unit == 'h' else 'age'} not known"
    reason[~known] = "age not known"
    kept = reason == ""
    result = share_running(
        use.middle,
        use.failed,
        now=now[kept],
        ahead=further[kept],
        now_group=label[kept],
        level=level,
        least_at_risk=least_at_risk,
        **use.grouped,
    )
    seals = seals.assign(
        **{
            by: label,
            "until": ahead["until"].to_numpy(),
            "until_from": ahead["until_from"].to_numpy(),
            f"now_{unit}": now,
            f"ahead_{unit}": further,
            "left_out": reason,
            "beyond": _spread(result.seals["beyond"], kept, False),
            "share_of_like": _spread(result.seals["share_of_like"], kept, np.nan),
        }
    )
    method = f"{result.method}, {'run hours' if unit == 'h' else 'calendar days'}"
    return SealsToDate(
        _with_dates(result.table, seals, by),
        level,
        method,
        result.source,
        seals,
        result.counts,
        least_at_risk,
        by,
        clock,
        len(running) - len(rows),
    )


def _rows(ids: pd.Series, place: pd.Series) -> NDArray[np.int64]:
    """Row of the life table of each seal that has a date."""
    twice = ids[ids.duplicated()]
    strange = ids[~ids.isin(place.index)]
    for wrong, what in ((twice, "is named twice"), (strange, "is no life in service")):
        if len(wrong):
            raise InputError(
                f"{wrong.iloc[0]!r} {what}", where="ahead", hint="give each seal in service once"
            )
    rows: NDArray[np.int64] = place.reindex(ids).to_numpy(dtype=np.int64)
    return rows


def _spread(values: pd.Series, kept: NDArray[np.bool_], blank: Any) -> NDArray[Any]:
    """Values of the seals kept, in their places among all."""
    out = np.full(len(kept), blank)
    out[kept] = values.to_numpy()
    return out


def _with_dates(table: pd.DataFrame, seals: pd.DataFrame, by: str) -> pd.DataFrame:
    """Add to each class how many seals were left out and what dates it was asked for."""
    table = table.rename(columns={"group": by})
    of = seals.groupby(by)
    label = table[by]
    out = (seals["left_out"] != "").groupby(seals[by]).sum()
    left = label.map(out).fillna(0).to_numpy(dtype=np.int64)
    held = label.map(of.size()).fillna(0).to_numpy(dtype=np.int64)
    source = of["until_from"].min().where(of["until_from"].min() == of["until_from"].max(), "both")
    table.insert(1, "in_service", held)
    table.insert(2, "left_out", left)
    table.insert(3, "until_first", label.map(of["until"].min()))
    table.insert(4, "until_last", label.map(of["until"].max()))
    table.insert(5, "until_from", label.map(source).fillna(""))
    status, message = table["status"].tolist(), table["message"].tolist()
    for i in np.flatnonzero(left):
        said = "" if held[i] == left[i] else message[i]
        why = ", ".join(sorted(set(seals.loc[seals[by] == label[i], "left_out"]) - {""}))
        what = f"{left[i]:,} of {held[i]:,} seals in service are left out: {why}."
        message[i] = f"{what} {said}".strip()
        if held[i] == left[i]:
            status[i] = "left out"
    return table.assign(status=status, message=message)
