"""Did the change work, as a picture: rates before and after, and the ratio by each way of looking.

In: `Improvements`. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from seallife.figures.style import (
    GREY,
    INK,
    LEAD,
    OTHER,
    draw,
    label,
    line,
    log_ticks,
    plain,
)

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.history.improvement import Improvements

__all__ = ["improvement_figure"]

_PERIODS = {"before": "before", "chosen by": "left out", "after": "after"}
_GROUPS = (
    ("changed", LEAD, "circle", "solid", -0.09),
    ("unchanged", OTHER, "diamond", "dash", 0.09),
)
_SHORT_NAME = 18  # characters that need no second line
_LEFT, _RIGHT = 0.30, 0.62  # domains of the two panels of a project
_WIDEST = 12.0  # ratio beyond which an interval runs off the axis
_HEIGHT, _NAME, _FOOT = 190, 74, 52  # of a project's panels, of its name, of the last axis [px]


def improvement_figure(improvements: Improvements) -> Figure:
    """Draw per project the failure rates before and after, and the ratio by each way of looking.

    Left: failures per position-year of changed and unchanged positions with exact limits; an open
    mark is the time whose failures chose the positions. Right: the rate after over that before,
    from raw counts down to the row that the verdict rests on.

    Parameters
    ----------
    improvements : Improvements
    """
    table = improvements.table
    count = max(len(table), 1)
    whole = count * (_HEIGHT + _NAME) + _FOOT
    edge = _edge(improvements.views)
    traces: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = []
    layout: dict[str, Any] = {"margin": {"l": 60, "r": 112, "t": 4, "b": 4}, "shapes": []}
    for i, (_, row) in enumerate(table.iterrows()):
        top = 1 - (i * (_HEIGHT + _NAME) + _NAME) / whole
        y = [top - _HEIGHT / whole, top]
        last = i == count - 1
        for side, k in enumerate(("" if not i else str(2 * i + 1), str(2 * i + 2))):
            rows = improvements.views if side else improvements.rates
            rows = rows[rows["project"] == row["project"]]
            make = _forest if side else _rates
            drawn, told, axes = make(rows, k, edge, last)
            traces += [t | {"xaxis": f"x{k}", "yaxis": f"y{k}"} for t in drawn]
            notes += told
            axes["x"] |= {"domain": [_RIGHT, 1.0] if side else [0.0, _LEFT], "anchor": f"y{k}"}
            axes["y"] |= {"domain": y, "anchor": f"x{k}"}
            layout[f"xaxis{k}"], layout[f"yaxis{k}"] = axes["x"], axes["y"]
            if side:
                layout["shapes"].append(_line_at_one(k))
        notes.append(_name(row, y[1]))
    if not len(table):
        notes.append(label("no change on record", 0.5, 0.5, xref="paper", yref="paper"))
        layout |= {"xaxis": {"visible": False}, "yaxis": {"visible": False}}
    return draw(traces, layout, notes=notes, height=whole)


Drawn = tuple[list[dict[str, Any]], list[dict[str, Any]], dict[str, dict[str, Any]]]


def _two_lines(name: str) -> str:
    """Name of a view, broken near its middle: the panels stand side by side."""
    words = name.split(" ")
    if len(name) < _SHORT_NAME:
        return name
    cut = min(range(1, len(words)), key=lambda k: abs(2 * len(" ".join(words[:k])) - len(name)))
    return " ".join(words[:cut]) + "<br>" + " ".join(words[cut:])


def _rates(rows: pd.DataFrame, k: str, edge: tuple[float, float], last: bool) -> Drawn:
    """Failures per position-year of changed and unchanged positions."""
    at = [p for p in _PERIODS if (rows["period"] == p).any()]
    traces: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = []
    for group, colour, symbol, dash, shift in _GROUPS:
        part = rows[rows["group"] == group].set_index("period")
        part = part.reindex([p for p in at if p in part.index])
        x = [at.index(p) + shift for p in part.index]
        rate = part["rate"].to_numpy(dtype=float)
        ends = [p != "chosen by" for p in part.index]
        traces.append(
            line(
                [v for v, end in zip(x, ends, strict=True) if end],
                rate[ends].tolist(),
                f"{group}, before to after",
                colour=colour,
                dash=dash,
                width=1.5,
                hoverinfo="skip",
            )
        )
        open_ = ["white" if not end else colour for end in ends]
        traces.append(
            {
                "type": "scatter",
                "mode": "markers",
                "x": x,
                "y": rate.tolist(),
                "name": group,
                "marker": {
                    "symbol": symbol,
                    "size": 8,
                    "color": open_,
                    "line": {"color": colour, "width": 2},
                },
                "error_y": {
                    "type": "data",
                    "symmetric": False,
                    "array": (part["high"].to_numpy(dtype=float) - rate).tolist(),
                    "arrayminus": (rate - part["low"].to_numpy(dtype=float)).tolist(),
                    "color": colour,
                    "thickness": 1.5,
                    "width": 3,
                },
                "customdata": [f"{n:,.0f} failures" for n in part["failures"]],
                "hovertemplate": f"{group}: %{{y:.2f}} a year, %{{customdata}}<extra></extra>",
            }
        )
        if len(x):
            word = f"{'●' if symbol == 'circle' else '◆'} {group}"
            spot = {"xref": f"x{k} domain", "yref": f"y{k} domain", "xanchor": "left"}
            place = 0.0 if group == "changed" else 0.52
            font = {"size": 12, "color": colour}
            notes.append(label(word, place, 1.0, yanchor="bottom", **spot, font=font))
    top = float(np.nanmax(rows["high"].to_numpy(dtype=float), initial=0.0)) or 1.0
    return (
        traces,
        notes,
        {
            "x": {
                "tickvals": list(range(len(at))),
                "ticktext": [_PERIODS[p] for p in at],
                "range": [-0.5, max(len(at), 1) - 0.5],
                "showgrid": False,
            },
            "y": {
                "range": [0, 1.06 * top],
                "nticks": 5,
                "title": {"text": "failures per<br>position-year"},
            },
        },
    )


def _forest(rows: pd.DataFrame, k: str, edge: tuple[float, float], last: bool) -> Drawn:
    """Ratios by way of looking; the one that the verdict rests on is filled."""
    low_end, high_end = edge
    names = rows["view"].tolist()
    traces: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = []
    for y, row in enumerate(rows.to_dict("records")):
        ratio, low, high = (float(row[c]) for c in ("ratio", "low", "high"))
        colour = LEAD if row["used"] else GREY
        if low > 0 or np.isfinite(high):
            ends = [max(low, low_end), min(high, high_end)]
            traces.append(
                line(ends, [y, y], f"{row['view']} interval", colour=colour, hoverinfo="skip",
                     width=3.5 if row["used"] else 2)
            )  # fmt: skip
            for beyond, end, arrow in (
                (low < low_end, low_end, "◀"),
                (high > high_end, high_end, "▶"),
            ):
                if beyond:
                    where = {"xref": f"x{k}", "yref": f"y{k}"}
                    notes.append(
                        label(arrow, float(np.log10(end)), y, font=_small(colour), **where)
                    )
        spot = {"xref": f"x{k} domain", "yref": f"y{k}", "xanchor": "left", "xshift": 6}
        notes.append(label(_limits(ratio, low, high), 1.0, y, font=_small(colour), **spot))
        if np.isfinite(ratio) and ratio > 0:
            traces.append(
                {
                    "type": "scatter",
                    "mode": "markers",
                    "x": [min(max(ratio, low_end), high_end)],
                    "y": [y],
                    "name": str(row["view"]),
                    "marker": {
                        "symbol": "circle",
                        "size": 9,
                        "color": colour if row["used"] else "white",
                        "line": {"color": colour, "width": 2},
                    },
                    "hovertemplate": f"{row['view']}: {ratio:.2f}<extra></extra>",
                }
            )
    used = rows["used"].tolist()
    x: dict[str, Any] = {
        "type": "log",
        "range": np.log10(edge).tolist(),
        "tickvals": log_ticks(*np.log10(edge)),
    }
    if last:
        x["title"] = {"text": "failure rate after / before, log scale"}
    return (
        traces,
        notes,
        {
            "x": x,
            "y": {
                "tickvals": list(range(len(names))),
                "ticktext": [
                    f"<b>{_two_lines(n)}</b>" if u else _two_lines(n)
                    for n, u in zip(names, used, strict=True)
                ],
                "range": [max(len(names), 1) - 0.4, -0.6],
                "showgrid": False,
                "ticks": "",
            },
        },
    )


def _limits(ratio: float, low: float, high: float) -> str:
    """Ratio and its limits in words; what no count bounds is left open."""
    if low <= 0 and not np.isfinite(high):
        return "no comparison"
    value = f"{ratio:.2f}" if np.isfinite(ratio) else "–"
    if not np.isfinite(high):
        return f"{value} ({low:.2f} or more)"
    return f"{value} ({low:.2f}–{high:.2f})"


def _small(colour: str) -> dict[str, Any]:
    return {"size": 12, "color": colour}


def _name(row: pd.Series[Any], y: float) -> dict[str, Any]:
    """Project, verdict and raw counts above its panels."""
    words = (
        f"<b>{plain(row['project'], 44)}: {row['verdict']}</b>  {row['positions']} "
        f"position{'' if row['positions'] == 1 else 's'}, "
        f"{row['failures_before']} failures before, {row['failures_after']} after"
    )
    return label(
        words, 0, y, xref="paper", yref="paper", xanchor="left", yanchor="bottom", yshift=20
    )


def _line_at_one(k: str) -> dict[str, Any]:
    """No change."""
    return {
        "type": "line",
        "layer": "below",
        "xref": f"x{k}",
        "yref": f"y{k} domain",
        "x0": 1,
        "x1": 1,
        "y0": 0,
        "y1": 1,
        "line": {"color": INK, "width": 1.5, "dash": "dot"},
    }


def _edge(views: pd.DataFrame) -> tuple[float, float]:
    """Ends of the axis of ratios, one for all projects: room for most intervals."""
    values = views[["ratio", "low", "high"]].to_numpy(dtype=float)
    known = values[np.isfinite(values) & (values > 0)]
    reach = float(np.exp(np.abs(np.log(known)).max(initial=np.log(2.0)))) * 1.15
    reach = min(reach, _WIDEST)
    return 1 / reach, reach
