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
    "was over the limit": "was over the limit: act now",
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
    style: dict[str, Any] = {"colour": INK, **here}
    traces = []
    now, base, level = (float(row[c]) for c in ("now", "baseline", "level_now"))
    doubling = float(row["doubling_days"])
    if np.isfinite([base, level, doubling]).all() and level >= base > 0:
        begin = part.loc[part["segment"] == row["segment"], "day"].min()
        start = max(now - doubling * np.log2(level / base), float(begin))
        at_start = level * 2 ** ((start - now) / doubling)
        days, levels = [float(begin), start, now], [base, at_start, level]
        traces.append(line(_dates(days), levels, "fitted level", width=1.8, hoverinfo="skip", **style))
    if row["status"] == "ok":
        limit = float(row["limit"])
        low, middle, high = (now + float(row[c]) for c in ("days_low", "days", "days_high"))
        ahead = {"dash": "dash", "width": 1.5, "hoverinfo": "skip"}
        if traces:
            traces.append(line(_dates([now, middle]), [level, limit], "foretold", **ahead, **style))
        edge = (ends[1] - pd.Timestamp(0)).days
        hover = f"level at {limit:,.4g}: {_date(low):%d %b %Y} to {_date(high):%d %b %Y}"
        bar = line(
            _dates([low, min(high, edge)]),
            [limit, limit],
            "dates at the limit",
            width=5,
            hovertemplate=f"{hover}<extra></extra>",
            **style,
        )
        traces.append(bar)
    return traces


def _dates(days: list[float]) -> list[str]:
    return [f"{_date(day):%Y-%m-%d}" for day in days]


def _date(day: float) -> pd.Timestamp:
    """Day number since 1970 as a date."""
    return pd.Timestamp(0) + pd.Timedelta(days=float(np.floor(day)))
