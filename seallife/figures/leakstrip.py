"""Leakage of the whole fleet at a glance: one row a seal position, one cell a quarter or month.

In: `Readings`. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from seallife.figures.panels import counted, only_words
from seallife.figures.shades import SCALE, SHADES, shade_key, shade_span
from seallife.figures.style import GREY, INK, OTHER, draw, label, line, plain
from seallife.leakage.byperiod import PERIODS, PeriodLevels, levels_by_period

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.leakage.readings import Readings

__all__ = ["leak_strip_figure"]

_INNER, _LEAST, _MOST = 560, 4.0, 18.0  # px of all rows; of one row
_ROWS = 130  # positions beyond which rows are too thin to be seen
_TEXT = 14  # px of a line of text
_TOP, _SHADE, _BAR, _FOOT = 24, 40, 11, 78  # px
_NAMED = 3  # rows named in each class where there is no room for all

Places = dict[str, int]


def leak_strip_figure(
    readings: Readings, *, by: str = "quarter", measured_in: str = "", most: int = _ROWS
) -> Figure:
    """Draw how high each position leaked in each quarter or month, and when it got another seal.

    Parameters
    ----------
    readings : Readings
        A cell is as dark as the middle of its readings is high (see
        `seallife.leakage.byperiod.levels_by_period`), blank without reading. Service classes, and
        positions within them, with the highest last year stand first.
    by : str
        'quarter' or 'month'.
    measured_in : str
        Unit of the readings drawn; '' for the one with most of them.
    most : int
        Positions drawn, those with the highest last year; the others are counted in words.
    """
    found = levels_by_period(readings, by=by, measured_in=measured_in)
    if not len(found.cells):
        return only_words("no reading of leakage that can be drawn by period")
    shown = found.positions.loc[
        found.positions["last_year"].sort_values(ascending=False, kind="stable").index[:most]
    ].sort_index()
    place, pitch, blocks = _place(shown)
    edges = _edges(found)
    cells = found.cells[found.cells["position_id"].isin(place)]
    span, cut = shade_span(cells["middle"])
    count = max(place.values()) + 1
    inner = round(count * pitch)
    title = f"middle of the readings ({plain(found.measured_in)}, log scale)"
    key, words, axes = shade_key(span, cut, title, [0.54, 0.95])
    traces = [
        _cells(cells, found, place, edges, count, span),
        *_changes(found, place, edges),
        _pegged(cells, found, place, pitch),
        *key,
    ]
    notes = [*_classes(shown, place, pitch, blocks), _key(), *words, _foot(found, len(shown))]
    whole = inner + _SHADE
    # the shades stand above the rows, as high on the page however many rows there are
    axes["yaxis2"]["domain"] = [1 - _BAR / whole, 1]
    layout = {
        **axes,
        "xaxis": {
            "range": [edges[0], edges[-1]],
            "showgrid": False,
            "dtick": "M12" if len(edges) < 14 * {"Q": 4, "M": 12}[PERIODS[by]] else "M24",
            "tickformat": "%Y",
        },
        "yaxis": {
            "range": [count - 0.5, -0.5],
            "domain": [0, inner / whole],
            "showgrid": False,
            "showline": False,
            "showticklabels": False,
            "ticks": "",
        },
        "margin": {"l": 100, "r": 92, "t": _TOP, "b": _FOOT},
    }
    alt = (
        f"{counted(len(shown), 'seal position', 'seal positions')} by {by}, darker where leakage "
        f"was read higher; those with the highest last year stand first in each class."
    )
    return draw(traces, layout, notes=notes, height=whole + _TOP + _FOOT, alt=alt)


def _place(shown: pd.DataFrame) -> tuple[Places, float, list[tuple[str, int, int]]]:
    """Row of each position, height of a row [px], and (class, first row, rows held) of classes.

    A class is never lower than a line of text, and a blank row parts it from the next.
    """
    sizes = shown.groupby("service_class", sort=False).size()
    pitch = float(np.clip(_INNER / (len(shown) + len(sizes)), _LEAST, _MOST))
    least = int(np.ceil(_TEXT / pitch))
    place: Places = {}
    blocks = []
    row = 0
    for name, part in shown.groupby("service_class", sort=False):
        place |= {p: row + i for i, p in enumerate(part["position_id"])}
        held = max(len(part), least)
        blocks.append((str(name), row, held))
        row += held + 1
    return place, pitch, blocks


def _edges(found: PeriodLevels) -> list[str]:
    """First days of all periods from first to last, and of the one after."""
    step = PERIODS[found.by]
    first, last = (found.cells["period"].agg(end).to_period(step) for end in ("min", "max"))
    days = pd.period_range(first, last + 1, freq=step).start_time
    return [str(day) for day in days.strftime("%Y-%m-%d")]


def _cells(
    cells: pd.DataFrame,
    found: PeriodLevels,
    place: Places,
    edges: list[str],
    count: int,
    span: tuple[float, float],
) -> dict[str, Any]:
    """Levels as shades, what was read in words for who points there."""
    row = cells["position_id"].map(place).to_numpy()
    at = {day: i for i, day in enumerate(edges)}
    column = cells["period"].dt.strftime("%Y-%m-%d").map(at).to_numpy()
    level = np.full((count, len(edges) - 1), np.nan)
    level[row, column] = np.log10(cells["middle"])
    # nothing seen is the lightest shade whatever the limit of the instrument was
    unseen = (cells["n_below"] == cells["n"]).to_numpy()
    level[row[unseen], column[unseen]] = span[0]
    told = np.full(level.shape, "", dtype=object)
    columns = ("position_id", "n", "n_below", "n_above", "middle", "highest")
    for i, j, *values in zip(row, column, *(cells[c].tolist() for c in columns), strict=True):
        told[i, j] = _words(*values)
    unit = plain(found.measured_in)
    return {
        "type": "heatmap",
        "name": "level",
        "x": edges,
        "y": list(range(count)),
        "z": [[None if np.isnan(v) else round(v, 2) for v in values] for values in level.tolist()],
        "text": told.tolist(),
        "zmin": span[0],
        "zmax": span[1],
        "colorscale": SCALE,
        "showscale": False,
        "ygap": 0.6,
        "hoverongaps": False,
        "hovertemplate": f"%{{text}} {unit}, {found.by} from %{{x|%b %Y}}<extra></extra>",
    }


def _words(position: str, n: int, below: int, above: int, middle: float, highest: float) -> str:
    """What was read in one cell; the unit follows."""
    read = f"{plain(position, 40)}: {n} read"
    if below == n:
        return f"{read}, below {highest:.4g}"
    unseen = f", {below} below detection" if below else ""
    return f"{read}{unseen}, middle {middle:.4g}, highest {'over ' if above else ''}{highest:.4g}"


def _changes(found: PeriodLevels, place: Places, edges: list[str]) -> list[dict[str, Any]]:
    """Where another seal went in: an ink tick with a white rim, seen on pale and dark alike."""
    rows = found.changes[found.changes["position_id"].isin(place)]
    day = rows["date"].dt.strftime("%Y-%m-%d")
    rows, day = rows[day >= edges[0]], day[day >= edges[0]]
    x: list[str | None] = []
    y: list[float | None] = []
    for at, when in zip(rows["position_id"].map(place), day, strict=True):
        x += [when, when, None]
        y += [at - 0.5, at + 0.5, None]
    style: dict[str, Any] = {"hoverinfo": "skip"}
    return [
        line(x, y, "rim of ticks", colour="white", width=4, **style),
        line(x, y, "another seal", colour=OTHER, width=2, **style),
    ]


def _pegged(
    cells: pd.DataFrame, found: PeriodLevels, place: Places, pitch: float
) -> dict[str, Any]:
    """Cells with a reading off the scale."""
    rows = cells[cells["n_above"] > 0]
    period = rows["period"].dt.to_period(PERIODS[found.by])
    middle = period.dt.start_time + (period.dt.end_time - period.dt.start_time) / 2
    return {
        "type": "scatter",
        "mode": "markers",
        "name": "off the scale",
        "x": middle.dt.strftime("%Y-%m-%d").tolist(),
        "y": rows["position_id"].map(place).tolist(),
        "marker": {
            "symbol": "triangle-up",
            "size": float(np.clip(1.5 * pitch, 7, 11)),
            "color": INK,
            "line": {"color": "white", "width": 1},
        },
        "hoverinfo": "skip",
    }


def _classes(
    shown: pd.DataFrame, place: Places, pitch: float, blocks: list[tuple[str, int, int]]
) -> list[dict[str, Any]]:
    """Names of classes at the left; at the right all positions, or the first of each class."""
    every = pitch >= _TEXT
    beside: dict[str, Any] = {"xref": "paper", "xanchor": "left", "xshift": 5}
    notes = []
    if not every:
        head = {"yref": "y domain", "yanchor": "bottom", "yshift": 4, "align": "left"}
        small = {"size": 10, "color": GREY}
        notes.append(
            label("first rows of<br>each class:", 1, 1, **head, **(beside | {"font": small}))
        )
    for name, first, held in blocks:
        part = shown.loc[shown["service_class"] == name, "position_id"]
        lines = int(held * pitch / _TEXT)
        text = f"<b>{plain(name, 13)}</b>"
        if lines >= 2:
            text += f"<br>{counted(len(part), 'position', 'positions')}"
        left = {"xref": "paper", "xanchor": "right", "xshift": -6, "align": "right"}
        notes.append(label(text, 0, first - 0.5, yanchor="top", yshift=4, **left))
        for i, position in enumerate(part if every else part[: max(min(_NAMED, lines), 1)]):
            beside["font"] = {"size": 10, "color": INK if every or not i else GREY}
            if every:
                notes.append(label(plain(position, 15), 1, place[position], **beside))
            else:
                # a list from the first row down: rows are lower than their names
                where = first - 0.5 + i * _TEXT / pitch
                more = {"yanchor": "top", "yshift": 4}
                notes.append(label(plain(position, 15), 1, where, **beside, **more))
    return notes


def _key() -> dict[str, Any]:
    """What the marks are, above the rows."""
    text = (
        f'<span style="color:{SHADES[0]}">■</span> all below detection &nbsp; blank: not read<br>'
        f'▲ off the scale &nbsp; <span style="color:{OTHER}"><b>|</b></span> another seal'
    )
    where = {"xref": "paper", "yref": "y domain", "yanchor": "bottom", "yshift": 4}
    return label(text, 0, 1, xanchor="left", align="left", **where)


def _foot(found: PeriodLevels, shown: int) -> dict[str, Any]:
    """What a cell hides, and how much is not drawn."""
    told = [f"A cell is one {found.by}: a single high reading may not show in its middle."]
    if more := len(found.positions) - shown:
        told.append(f"… and {more:,} more positions, lower or not read in the last year.")
    if found.left_out:
        readings = counted(found.left_out, "reading", "readings")
        told.append(f"{readings} in doubt, in words or in another unit not drawn.")
    below = {"xref": "paper", "yref": "paper", "yanchor": "top", "yshift": -22, "align": "left"}
    return label("<br>".join(told), 0, 0, xanchor="left", **below)
