"""How many seals will be needed, as a picture: month by month, beside the months on record.

In: `Demand`, months on record. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from seallife.errors import InputError, need_columns
from seallife.figures.panels import counted
from seallife.figures.rows import known_names, short_count
from seallife.figures.style import (
    GREY,
    INK,
    LEAD,
    OTHER,
    draw,
    faint,
    label,
    line,
)

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.spares.demand import Demand

__all__ = ["demand_figure"]

_PAST = 36  # months on record that are drawn
_SLIGHT = 5e-4  # seals a month that no bar shows
_ONE_DAY = pd.Timedelta(days=1)
_BAR = 0.86 * 86_400_000  # ms of a day that a bar covers

_KINDS: dict[str, tuple[str, dict[str, Any]]] = {
    "failed": ("failed", {"color": faint(LEAD, 0.6)}),
    "planned": ("planned with other work", {"color": faint(LEAD, 0.2)}),
    "outage": (
        "planned in outage",
        {
            "color": "white",
            "pattern": {"shape": "/", "fgcolor": OTHER, "bgcolor": "white", "size": 5},
            "line": {"color": OTHER, "width": 0.8},
        },
    ),
}
"""Column of a month -> what it is called, and its bar: dark, pale, hatched, also in grey."""


def demand_figure(
    demand: Demand, by: str = "all", group: str = "all", *, past: pd.DataFrame | None = None
) -> Figure:
    """Draw the seals that will be needed in each month, by why, with the range of their count.

    Parameters
    ----------
    demand : Demand
    by : {'all', 'site', 'service_class', 'pool'}
    group : str
        Name of the group.
    past : DataFrame, optional
        ``month`` (its first day), ``needed``: seals that were needed, of the same group. The last
        36 whole months stand to the left of today. A month that is not in it stays blank.

    Raises
    ------
    InputError
        If there is no such group, or ``past`` lacks a column.
    """
    row = _group(demand, by, group)
    ahead = demand.by_month(by, group)
    today = pd.Timestamp(ahead["first"].iloc[0])
    seen = _whole_months(past, today)
    steady = float(row["constant_rate"]) / float(row["months"])
    top = 1.12 * max(
        float(ahead["high"].max()),
        float(ahead["need"].max()),
        steady,
        0.0 if seen.empty else float(seen["needed"].max()),
        0.9,
    )
    traces = [*_record(seen), *_bars(ahead), *_whiskers(ahead)]
    starts, ends = (ahead[c].dt.strftime("%Y-%m-%d").tolist() for c in ("first", "last"))
    told = f"constant rate: {short_count(steady)} a month<extra></extra>"
    style: dict[str, Any] = {"colour": INK, "dash": "dash", "width": 2, "hovertemplate": told}
    traces.append(line([starts[0], ends[-1]], [steady, steady], "constant rate", **style))
    words = f"constant<br>rate: {short_count(steady)}<br>a month"
    notes = [
        label(words, ends[-1], steady, xanchor="left", xshift=8, align="left"),
        *_key(ahead, demand.level),
    ]
    shapes = []
    first = seen["month"].min() if len(seen) else today
    if len(seen):
        ink = {"color": INK, "width": 1}
        day = f"{today:%Y-%m-%d}"
        shapes.append({"type": "line", "x0": day, "x1": day, "y0": 0, "y1": 1, "yref": "paper",
                       "line": ink})  # fmt: skip
        above = {"yref": "paper", "yanchor": "top", "font": {"size": 12, "color": INK}}
        notes += [
            label("on record", day, 1, xanchor="right", xshift=-5, **above),
            label(f"today, {today.day} {today:%b %Y}", day, 1, xanchor="left", xshift=5, **above),
        ]
    layout = {
        "xaxis": {
            "type": "date",
            "range": [f"{first:%Y-%m-%d}", ends[-1]],
            "title": {"text": "month"},
            "nticks": 8,
        },
        "yaxis": {"title": {"text": "seals needed in the month"}, "range": [0, top]},
        "barmode": "stack",
        "bargap": 0,
        "margin": {"l": 56, "r": 104, "t": 44, "b": 48},
        "shapes": shapes,
    }
    return draw(traces, layout, notes=notes, height=340, alt=_alt(demand, row, group, steady, seen))


def _group(demand: Demand, by: str, group: str) -> pd.Series[Any]:
    """Row of the group over the longest horizon."""
    mine = demand.table[(demand.table["by"] == by) & (demand.table["group"] == group)]
    if mine.empty:
        known = demand.table.loc[demand.table["by"] == by, "group"]
        if known.empty:
            hint = f"known here: {known_names(demand.table['by'])}"
            raise InputError(f"is {by!r}", where="by", hint=hint)
        raise InputError(
            f"there is no {group!r}", where="group", hint=f"known: {known_names(known)}"
        )
    return mine.sort_values("months").iloc[-1]


def _whole_months(past: pd.DataFrame | None, today: pd.Timestamp) -> pd.DataFrame:
    """Last months on record that were over by today."""
    if past is None:
        return pd.DataFrame({"month": pd.to_datetime([]), "needed": []})
    need_columns(past, ("month", "needed"), "past")
    rows = past[["month", "needed"]].dropna().sort_values("month")
    over = rows["month"] + pd.DateOffset(months=1) <= today
    since = today - pd.DateOffset(months=_PAST + 1)
    return rows[over & (rows["month"] > since)].tail(_PAST)


def _bars(ahead: pd.DataFrame) -> list[dict[str, Any]]:
    """Expected seals of each month, by why, on top of each other."""
    days, middle = _middles(ahead["first"], ahead["last"] + _ONE_DAY)
    said = [
        f"{first:%b %Y}: {need:.1f} needed, {low:.0f} to {high:.0f}"
        for first, need, low, high in zip(
            *(ahead[c] for c in ("first", "need", "low", "high")), strict=True
        )
    ]
    return [
        {
            "type": "bar",
            "name": name,
            "x": middle,
            "y": [v if v > _SLIGHT else None for v in ahead[column].round(4).tolist()],
            "width": (days * _BAR).round().tolist(),
            "marker": marker,
            "customdata": said,
            "hovertemplate": f"%{{customdata}}; {name}: %{{y:.1f}}<extra></extra>",
        }
        for column, (name, marker) in _KINDS.items()
        if ahead[column].max() > _SLIGHT
    ]


def _middles(start: pd.Series[Any], end: pd.Series[Any]) -> tuple[pd.Series[Any], list[str]]:
    """How many days has each month, and which is its middle one?"""
    days = (end - start).dt.days
    middle = start + pd.to_timedelta(days // 2, unit="D")
    return days, middle.dt.strftime("%Y-%m-%d").tolist()


def _whiskers(ahead: pd.DataFrame) -> list[dict[str, Any]]:
    """Range of the count of each month."""
    middle = _middles(ahead["first"], ahead["last"] + _ONE_DAY)[1]
    x: list[Any] = []
    y: list[Any] = []
    for day, low, high in zip(middle, ahead["low"], ahead["high"], strict=True):
        x += [day, day, None]
        y += [float(low), float(high), None]
    return [line(x, y, "range of the count", colour=GREY, width=1.3, hoverinfo="skip")]


def _record(seen: pd.DataFrame) -> list[dict[str, Any]]:
    """Seals that were needed, month by month."""
    if seen.empty:
        return []
    days, middle = _middles(seen["month"], seen["month"] + pd.DateOffset(months=1))
    return [
        {
            "type": "bar",
            "name": "on record",
            "x": middle,
            "y": seen["needed"].tolist(),
            "width": (days * _BAR).round().tolist(),
            "marker": {"color": faint(INK, 0.28), "line": {"color": GREY, "width": 0.6}},
            "hovertemplate": "%{x|%b %Y}: %{y:.0f} needed, on record<extra></extra>",
        }
    ]


def _key(ahead: pd.DataFrame, level: float) -> list[dict[str, Any]]:
    """What bars and whiskers are, above."""
    sign = {
        "failed": ("■", faint(LEAD, 0.6)),
        "planned": ("■", faint(LEAD, 0.3)),
        "outage": ("▨", OTHER),
    }
    parts = [
        f'<span style="color:{sign[column][1]}">{sign[column][0]}</span> {name}'
        for column, (name, _) in _KINDS.items()
        if ahead[column].max() > _SLIGHT
    ]
    text = " &nbsp; ".join([*parts, f"│ range of the count at {level:.0%}"])
    corner = {"xref": "paper", "yref": "paper", "xanchor": "left", "yanchor": "bottom"}
    return [label(text, 0, 1, yshift=8, **corner)]


def _alt(demand: Demand, row: pd.Series[Any], group: str, steady: float, seen: pd.DataFrame) -> str:
    mine = demand.table[(demand.table["by"] == row["by"]) & (demand.table["group"] == group)]
    told = "; ".join(
        f"{short_count(r['need'])} in {r['months']} months ({r['low']:.0f} to {r['high']:.0f} at "
        f"{demand.level:.0%})"
        for _, r in mine.iterrows()
    )
    where = "" if row["by"] == "all" else f" of {group}"
    past = f", {counted(len(seen), 'month', 'months')} on record before" if len(seen) else ""
    return (
        f"Seals{where} expected to be needed month by month{past}: {told}. "
        f"At the constant rate {short_count(steady)} a month."
    )
