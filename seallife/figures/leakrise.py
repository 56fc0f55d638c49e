"""A rise of leakage as fitted, and the dates between which its level may be at the limit.

In: rows of `TimeToLimit`. Out: traces and words. Next: `seallife.figures.leakreadings`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from seallife.figures.style import INK, line

__all__ = ["OVER", "rise_end", "rise_lines", "rise_words"]

OVER = {
    "over the limit now": "over the limit now: act",
    "was over the limit": "was over the limit: close it",
    "may be over the limit": "may be over the limit: re-read at once",
}
"""Statuses that come before every rise, and what is said of them."""


def rise_words(row: pd.Series | None) -> str:
    """What is due at a seal that is over its limit or rises; '' for the others."""
    if row is None or not np.isfinite(row["rank"]):
        return ""
    return OVER.get(str(row["status"])) or str(row["next_step"])


def rise_end(row: pd.Series | None) -> pd.Timestamp | None:
    """Latest date of the level at the limit; None where no interval is given."""
    if row is None or row["status"] != "ok":
        return None
    return _date(float(row["now"] + row["days_high"]))


def rise_lines(
    row: pd.Series, part: pd.DataFrame, ends: tuple[pd.Timestamp, pd.Timestamp], k: str
) -> list[dict[str, Any]]:
    """Fitted level of a segment, and the interval of dates at its limit.

    Parameters
    ----------
    row : pandas.Series
        Of `seallife.leakage.forecast.TimeToLimit`.
    part : pandas.DataFrame
        Readings of the panel.
    ends : tuple of Timestamp
        First and last day of the panel.
    k : str
        Number of the panel.
    """
    here = {"xaxis": f"x{k}", "yaxis": f"y{k}"}
    style: dict[str, Any] = {"colour": INK, "hoverinfo": "skip", **here}
    traces = []
    now, last, base, level = (float(row[c]) for c in ("now", "last", "baseline", "level_now"))
    doubling = float(row["doubling_days"])
    if np.isfinite([base, level, doubling]).all() and level >= base > 0:
        begin = float(part.loc[part["segment"] == row["segment"], "day"].min())

        def at(day: float) -> float:
            return max(level * 2 ** ((day - now) / doubling), base)

        bend = min(max(now - doubling * np.log2(level / base), begin), last)
        seen = [begin, bend, last]
        fitted = [at(day) for day in seen]
        traces.append(line(_dates(seen), fitted, "fitted level", width=1.8, **style))
        ahead, levels = [last, now], [fitted[-1], level]
        if row["status"] == "ok" and row["days"] > 0:
            ahead.append(now + float(row["days"]))
            levels.append(float(row["limit"]))
        traces.append(line(_dates(ahead), levels, "foretold", dash="dot", width=1.8, **style))
    if row["status"] == "ok":
        limit = float(row["limit"])
        low, high = (now + float(row[c]) for c in ("days_low", "days_high"))
        edge = (ends[1] - pd.Timestamp(0)).days
        hover = f"level at {limit:,.4g}: {_date(low):%d %b %Y} to {_date(high):%d %b %Y}"
        bar = line(
            _dates([low, min(high, edge)]),
            [limit, limit],
            "dates at the limit",
            width=5,
            hovertemplate=f"{hover}<extra></extra>",
            **style | {"hoverinfo": None},
        )
        traces.append(bar)
    return traces


def _dates(days: list[float]) -> list[str]:
    return [f"{_date(day):%Y-%m-%d}" for day in days]


def _date(day: float) -> pd.Timestamp:
    """Day number since 1970 as a date."""
    return pd.Timestamp(0) + pd.Timedelta(days=float(np.floor(day)))
