"""Limits of leakage as lines across the panels of readings, each labelled where it stands.

In: limits in force. Out: traces and notes. Next: `seallife.figures.leakreadings`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from seallife.errors import need_columns
from seallife.figures.style import GREY, INK, OTHER, label, line

if TYPE_CHECKING:
    from seallife.leakage.limits import LimitsInForce

__all__ = ["limit_lines", "limit_table"]

_STYLE = {
    "legal": (OTHER, "solid", 1.8),
    "house": (OTHER, "dash", 1.5),
    "statistical": (GREY, "dot", 1.5),
}
_COLUMNS = ("position_id", "kind", "limit")


def limit_table(
    limits: LimitsInForce | pd.DataFrame | None, table: pd.DataFrame, positions: list[str]
) -> pd.DataFrame:
    """Limits of the positions drawn: position_id, kind, limit, date and measured_in where known.

    Raises
    ------
    InputError
        If a column is missing.
    """
    if limits is None:
        return pd.DataFrame(columns=[*_COLUMNS, "date", "measured_in"])
    rows = limits if isinstance(limits, pd.DataFrame) else limits.table
    if "reading" in rows and "position_id" not in rows:
        about = table[["position_id", "date", "measured_in"]]
        rows = rows.join(about, on="reading", how="inner")
    need_columns(rows, _COLUMNS, "limits")
    if "date" not in rows:
        rows = rows.assign(date=np.datetime64("NaT", "ns"))
    if "measured_in" not in rows:
        rows = rows.assign(measured_in="")
    return rows[rows["position_id"].isin(positions)]


def limit_lines(
    held: pd.DataFrame,
    position: str,
    part: pd.DataFrame,
    ends: tuple[pd.Timestamp, pd.Timestamp],
    k: str,
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Lines of one panel; where a limit was changed its line has a step at the next reading."""
    rows = held[held["position_id"] == position]
    if len(part):
        rows = rows[rows["measured_in"].isin(["", part["measured_in"].iloc[0]])]
    traces, notes = [], []
    first, last = (f"{day:%Y-%m-%d}" for day in ends)
    for kind, mine in rows.groupby("kind", sort=False):
        colour, dash, width = _STYLE.get(str(kind), (INK, "dashdot", 1.5))
        for x, y in _paths(mine, first, last):
            stepped = len(set(y)) > 1
            traces.append(
                line(
                    x,
                    y,
                    f"{kind} limit",
                    colour=colour,
                    dash=dash,
                    width=width,
                    step=True,
                    hovertemplate=f"{kind} limit %{{y:,.4g}}<extra></extra>",
                    xaxis=f"x{k}",
                    yaxis=f"y{k}",
                )
            )
            notes.append(
                label(
                    f"{kind} {y[-1]:,.4g}",
                    int(stepped),
                    float(np.log10(y[-1])),
                    xref=f"x{k} domain",
                    yref=f"y{k}",
                    xanchor="right" if stepped else "left",
                    yanchor="bottom",
                    xshift=-2 if stepped else 2,
                    font={"size": 11, "color": colour},
                )
            )
    return traces, notes


def _paths(rows: pd.DataFrame, first: str, last: str) -> list[tuple[list[str], list[float]]]:
    """Course of the limits of one kind: one with its steps, or one each where undated."""
    rows = rows[rows["limit"] > 0]
    if rows["date"].isna().all():
        return [([first, last], [v, v]) for v in dict.fromkeys(rows["limit"].astype(float))]
    rows = rows.sort_values("date", kind="stable").drop_duplicates("date", keep="first")
    new = rows["limit"] != rows["limit"].shift()
    days = rows.loc[new, "date"].dt.strftime("%Y-%m-%d").tolist()
    values = rows.loc[new, "limit"].astype(float).tolist()
    at = [(max(day, first), v) for day, v in zip(days, values, strict=True)]
    return [([day for day, _ in at] + [last], [v for _, v in at] + values[-1:])]
