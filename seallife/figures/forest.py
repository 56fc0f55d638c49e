"""Lives and rates by class as a picture: one row a class, intervals on a log axis.

In: `LifeFits`, rows of MTBF. Out: figures. Next: `seallife.report`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from seallife.figures.life import axis_words, no_fit_words, unit_years
from seallife.figures.style import GREY, LEAD, OTHER, draw, label, line, log_ticks, plain

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.life.fits import LifeFits

__all__ = ["life_forest", "rate_forest"]


def life_forest(fits: LifeFits) -> Figure:
    """Draw the age by which 10 % and 50 % of the seals of each class have failed.

    Parameters
    ----------
    fits : LifeFits
        Rows without a fit say why instead.
    """
    year, unit = unit_years(fits), fits.unit
    rows = []
    for words, (_, row) in zip(no_fit_words(fits.table), fits.table.iterrows(), strict=True):
        marks: list[tuple[float, ...]] = []
        for stem in ("b10", "b50"):
            values = (float(row[f"{stem}{s}_{unit}"]) / year for s in ("", "_low", "_high"))
            marks.append((np.nan,) * 3 if words else tuple(values))
        told = f"no fit: {words}" if words else ""
        rows.append((plain(row[fits.by]), f"{int(row['failures']):,}", marks, told))
    return _forest(rows, ("10 % failed", "50 % failed"), f"age in {axis_words(fits)}, log scale")


def rate_forest(rows: pd.DataFrame) -> Figure:
    """Draw the MTBF of each group with its exact interval; an arrow where only a lower limit holds.

    Parameters
    ----------
    rows : pandas.DataFrame
        Rows of `MtbrHistory.overall`.
    """
    given = []
    for _, row in rows.iterrows():
        mark = tuple(float(row[f"mtbf_years{s}"]) for s in ("", "_low", "_high"))
        words = "" if mark[1] > 0 else "no time at risk"
        given.append((plain(row["group"]), f"{int(row['failures']):,}", [mark], words))
    return _forest(given, ("MTBF",), "calendar years per seal position, log scale")


_FOREST = ((LEAD, "circle"), (OTHER, "diamond"))

ForestRow = tuple[str, str, list[tuple[float, ...]], str]


def _forest(rows: Sequence[ForestRow], names: Sequence[str], axis: str) -> Figure:
    """Draw intervals row by row on a log axis; failures in a column at the right."""
    finite = [v for _, _, marks, _ in rows for m in marks for v in m if np.isfinite(v) and v > 0]
    low, high = (min(finite), max(finite)) if finite else (0.1, 10.0)
    edge = np.log10([low / 1.3, high * 1.3])
    several = len(names) > 1
    traces: list[dict[str, Any]] = []
    notes = []
    for j, (name, (colour, symbol)) in enumerate(zip(names, _FOREST, strict=False)):
        shift = (j - 0.5) * 0.28 if several else 0.0
        lines: tuple[list[float | None], list[float | None]] = ([], [])
        points: list[tuple[float, float, str]] = []
        for i, (group, _, marks, _) in enumerate(rows):
            value, least, most = marks[j]
            if np.isfinite(least) and least > 0:
                open_end = not np.isfinite(most)
                lines[0].extend([least, 10 ** edge[1] if open_end else most, None])
                lines[1].extend([i + shift, i + shift, None])
                if open_end:
                    notes.append(_more_than(least, i + shift, float(edge[1]), colour))
            if np.isfinite(value):
                points.append((value, i + shift, group))
        traces.append(line(*lines, f"{name} interval", colour=colour, width=3, hoverinfo="skip"))
        traces.append(
            {
                "type": "scatter",
                "mode": "markers",
                "x": [p[0] for p in points],
                "y": [p[1] for p in points],
                "name": name,
                "marker": {
                    "color": "white",
                    "symbol": symbol,
                    "size": 9,
                    "line": {"color": colour, "width": 2},
                },
                "customdata": [p[2] for p in points],
                "hovertemplate": f"%{{customdata}}, {name}: %{{x:.2f}} y<extra></extra>",
            }
        )
    for i, (_, failures, _, words) in enumerate(rows):
        notes.append(
            label(failures, 1, i, xref="paper", xanchor="left", xshift=8, font={"size": 12})
        )
        if words:
            notes.append(label(words, 0.5, i, xref="paper", font={"size": 12, "color": GREY}))
    top = {"yref": "paper", "yanchor": "bottom", "font": {"size": 12, "color": GREY}}
    notes.append(label("failures", 1, 1, xref="paper", xanchor="center", xshift=18, **top))
    if several:
        key = f"○ {names[0]} &nbsp; ◇ {names[1]}"
        notes.append(label(key, 0, 1, xref="paper", xanchor="left", **top))
    layout = {
        "xaxis": {
            "type": "log",
            "range": edge.tolist(),
            "title": {"text": axis},
            "tickvals": log_ticks(*edge),
        },
        "yaxis": {
            "tickvals": list(range(len(rows))),
            "ticktext": [r[0] for r in rows],
            "range": [len(rows) - 0.4, -0.6],
            "showgrid": False,
            "ticks": "",
        },
        "margin": {"l": 16, "r": 56, "t": 24, "b": 50},
    }
    return draw(traces, layout, notes=notes, height=100 + 30 * len(rows))


def _more_than(least: float, at: float, edge: float, colour: str) -> dict[str, Any]:
    """Arrow head at the right end of an interval without upper limit."""
    return label("▶", edge, at, xanchor="center", font={"size": 11, "color": colour})
