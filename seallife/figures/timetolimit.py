"""When rising leakage may be at its limit, and what is due at each seal: a ladder of intervals.

In: `TimeToLimit`. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from seallife.figures.leakrise import OVER
from seallife.figures.panels import counted, only_words
from seallife.figures.style import GREY, INK, LEAD, draw, label, line, plain, points

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.leakage.forecast import TimeToLimit

__all__ = ["time_to_limit_figure"]

_MOST, _ROW = 25, 34  # rows; px of each
_TOP, _FOOT = 30, 56  # px
_TEXT, _LEFT = 17, -192  # px of a line of text; from the axis to the names
_LONGEST = 366.0  # days beyond which intervals are cut
_ARROW = "latest beyond the page or not known"
_SHORT = 30.0  # days that the axis has at least


def time_to_limit_figure(
    forecast: TimeToLimit, *, names: Mapping[Any, str] | None = None, most: int = _MOST
) -> Figure:
    """Draw the days to the limit of each rising segment, and the next step.

    Parameters
    ----------
    forecast : TimeToLimit
        Rows as of ``ranked()``: those over the limit at nought days, above all others.
    names : mapping, optional
        Segment -> name; the segment itself where there is none.
    most : int
        Rows drawn; the others are counted in words.
    """
    ranked = forecast.ranked()
    others = _others(forecast.table)
    if not len(ranked):
        words = "No segment is over a limit or is said to rise."
        return only_words("<br>".join([words, *others, "Many failures show nothing before."]))
    rows = ranked.head(most).reset_index(drop=True)
    named = [plain((names or {}).get(s, s), 24) for s in rows["segment"]]
    edge = _edge(rows)
    lines = [*_more(ranked, len(rows)), *_WORDS, *others]
    traces = [
        *_intervals(rows, named, edge, forecast.level),
        *(_at_nought(rows, named, status, **style) for status, style in _MARKS.items()),
    ]
    notes = [*_names(rows, named), *_steps(rows), _below(lines)]
    statuses = rows["status"]
    cut = any(t["name"] == _ARROW and len(t["x"]) for t in traces)
    notes.append(_key(forecast.level, bool((statuses == "ok").any()), cut))
    foot = _FOOT + _TEXT * len(lines)
    layout = {
        "xaxis": {
            "title": {"text": "days from the date of forecast to the level at the limit"},
            "range": [-0.03 * edge, edge],
            "rangemode": "tozero",
            "nticks": 7,
        },
        "yaxis": {
            "range": [len(rows) - 0.5, -0.5],
            "showticklabels": False,
            "showgrid": False,
            "showline": False,
            "ticks": "",
        },
        "margin": {"l": 6 - _LEFT, "r": 176, "t": _TOP, "b": foot},
        "shapes": [_nought()],
    }
    over = int(rows["status"].isin(OVER).sum())
    alt = (
        f"{counted(len(rows), 'segment', 'segments')} over a limit or rising, {over} of them over "
        "it or perhaps over it: each with the days to the limit and the next step."
    )
    height = _TOP + foot + _ROW * len(rows)
    return draw([t for t in traces if len(t["x"])], layout, notes=notes, height=height, alt=alt)


_MARKS: dict[str, dict[str, Any]] = {
    "over the limit now": {"symbol": "square", "fill": INK, "size": 14},
    "was over the limit": {"symbol": "square", "fill": INK, "size": 9},
    "may be over the limit": {"symbol": "square", "fill": "white", "size": 11},
}
_WORDS = (
    "The level, not a reading: one reading over the limit is a leak at once and is acted on.",
    "A seal can fail before. Each step is the least that is due; the site's rules go before it.",
)


def _edge(rows: pd.DataFrame) -> float:
    """End of the axis: the latest date that is known, a year at most."""
    days = rows[["days_low", "days_high"]].to_numpy(dtype=float)
    known = days[np.isfinite(days)]
    return float(min(max(1.15 * known.max(initial=0.0), _SHORT), _LONGEST))


def _intervals(
    rows: pd.DataFrame, named: list[str], edge: float, level: float
) -> list[dict[str, Any]]:
    """Bars from earliest to latest, dots between; arrows where the latest is not on the page."""
    bars: tuple[list[float | None], list[float | None]] = ([], [])
    dots: list[tuple[float, int, str]] = []
    arrows: list[tuple[float, int]] = []
    columns = ("status", "days_low", "days", "days_high")
    for i, (status, low, middle, high) in enumerate(zip(*(rows[c] for c in columns), strict=True)):
        if status in OVER:
            continue
        cut = not high <= edge
        tip = edge * 0.985
        bars[0].extend([min(low, tip), tip if cut else high, None])
        bars[1].extend([i, i, None])
        if cut:
            arrows.append((tip, i))
        if middle <= edge:
            said = f"{named[i]}: {low:.0f} to {high:.0f} days at {level:.0%}, middle {middle:.0f}"
            dots.append((middle, i, said))
    hover = "%{customdata}<extra></extra>"
    return [
        line(*bars, "earliest to latest", width=4, hoverinfo="skip"),
        points([d for d, _, _ in dots], [i for _, i, _ in dots], "middle", size=9,
               customdata=[said for _, _, said in dots], hovertemplate=hover),
        points([a for a, _ in arrows], [i for _, i in arrows], _ARROW,
               fill=LEAD, symbol="triangle-right", size=11, width=0, hoverinfo="skip"),
    ]  # fmt: skip


def _at_nought(rows: pd.DataFrame, named: list[str], status: str, **style: Any) -> dict[str, Any]:
    """Marks of those that are, were or may be over the limit."""
    at = np.flatnonzero(rows["status"] == status).tolist()
    said = [f"{named[i]}: {OVER[status]}" for i in at]
    style |= {"customdata": said, "hovertemplate": "%{customdata}<extra></extra>"}
    return points([0.0] * len(at), at, status, colour=INK, cliponaxis=False, **style)


def _nought() -> dict[str, Any]:
    ink = {"color": INK, "width": 1}
    return {"type": "line", "layer": "below", "x0": 0, "x1": 0, "y0": 0, "y1": 1,
            "yref": "paper", "line": ink}  # fmt: skip


def _names(rows: pd.DataFrame, named: list[str]) -> list[dict[str, Any]]:
    """Who it is, the level and its limit, and how old the last reading is."""
    notes = []
    columns = ("status", "limit", "level_now", "now", "last")
    told = zip(*(rows[c].tolist() for c in columns), strict=True)
    left = {"xref": "paper", "xanchor": "left", "xshift": _LEFT, "align": "left"}
    for i, (status, limit, level, now, last) in enumerate(told):
        words = f"limit {_number(limit)}" if np.isfinite(limit) else "no limit"
        if np.isfinite(level) and status not in OVER:
            words = f"{_number(level)} of {words}"
        if now > last:
            words += f", read {now - last:.0f} d ago"
        text = f'<b>{named[i]}</b><br><span style="color:{GREY}">{words}</span>'
        notes.append(label(text, 0, i, font={"size": 11, "color": INK}, **left))
    return notes


def _number(value: float) -> str:
    """Three digits, no powers of ten."""
    return f"{float(f'{value:.3g}'):,.10g}"


def _steps(rows: pd.DataFrame) -> list[dict[str, Any]]:
    """The next step, at the right."""
    notes = []
    beside = {"xref": "paper", "xanchor": "left", "xshift": 8, "align": "left"}
    for i, (status, step) in enumerate(zip(rows["status"], rows["next_step"], strict=True)):
        urgent = status in OVER
        words = OVER[status] if urgent else str(step)
        text = words.replace(", ", ",<br>").replace(": ", ":<br>", 1) if len(words) > 26 else words
        notes.append(label(f"<b>{text}</b>" if urgent else text, 1, i, **beside))
    return notes


def _key(level: float, intervals: bool, cut: bool) -> dict[str, Any]:
    text = "■ over the limit &nbsp; □ may be over"
    if cut:
        text += f" &nbsp; ━► {_ARROW}"
    if intervals:
        text += f" &nbsp; ━○━ interval at {level:.0%}"
    corner = {"xref": "paper", "yref": "paper", "xanchor": "left", "yanchor": "bottom"}
    return label(text, 0, 1, xshift=_LEFT, yshift=6, **corner)


def _more(ranked: pd.DataFrame, shown: int) -> list[str]:
    """Rows not drawn; those over a limit are never left without a word."""
    rest = ranked.iloc[shown:]
    if not len(rest):
        return []
    over = int(rest["status"].isin(OVER).sum())
    words = f"… and {len(rest):,} more"
    return [
        f"{words}, {over:,} of them over the limit, or perhaps over it: act on these too"
        if over
        else words
    ]


def _others(table: pd.DataFrame) -> list[str]:
    """Segments not drawn, with why: none of them is said to be tight."""
    rest = table.loc[table["rank"].isna(), "status"].value_counts()
    if not len(rest):
        return []
    told = ", ".join(f"{n:,} {status}" for status, n in rest.items())
    return [f"Not drawn: {told}."]


def _below(lines: list[str]) -> dict[str, Any]:
    """Lines under the axis."""
    where = {"xref": "paper", "yref": "paper", "yanchor": "top", "yshift": -48, "align": "left"}
    return label("<br>".join(lines), 0, 0, xanchor="left", xshift=_LEFT, **where)
