"""Lives and rates by class as a picture: one row a class, intervals on a log axis.

In: `LifeFits`, rows of MTBF. Out: figures. Next: `seallife.report`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.figures.life import axis_words, no_fit_words, unit_years
from seallife.figures.style import GREY, LEAD, OTHER, draw, label, line, log_ticks, plain, points

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.life.fits import LifeFits

__all__ = ["interval_marks", "life_forest", "rate_forest"]

Floats = npt.NDArray[np.float64]


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
    notes: list[dict[str, Any]] = []
    for j, (name, (colour, symbol)) in enumerate(zip(names, _FOREST, strict=False)):
        shift = (j - 0.5) * 0.28 if several else 0.0
        values = np.array([marks[j] for _, _, marks, _ in rows], dtype=float).reshape(-1, 3)
        drawn, heads = interval_marks(
            values,
            np.arange(len(rows), dtype=float) + shift,
            [group for group, *_ in rows],
            name,
            colour=colour,
            symbol=symbol,
            edge=float(edge[1]),
        )
        traces, notes = traces + drawn, notes + heads
    for i, (_, failures, _, words) in enumerate(rows):
        notes.append(
            label(failures, 1, i, xref="paper", xanchor="right", xshift=48, font={"size": 12})
        )
        if words:
            notes.append(label(words, 0.5, i, xref="paper", font={"size": 12, "color": GREY}))
    top = {"yref": "paper", "yanchor": "bottom", "font": {"size": 12, "color": GREY}}
    notes.append(label("failures", 1, 1, xref="paper", xanchor="right", xshift=52, **top))
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


def interval_marks(
    values: Floats,
    at: Floats,
    groups: Sequence[str],
    name: str,
    *,
    edge: float,
    colour: str = LEAD,
    symbol: str = "circle",
    dash: str = "solid",
    size: float = 9,
    log: bool = True,
    told: str = "%{x:.2f} y",
    axes: tuple[str, str] = ("x", "y"),
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Draw one interval with its mark in each row.

    Parameters
    ----------
    values : ndarray, shape (n, 3)
        Value and limits of each row. Without a value there is no mark, without a lower limit
        nothing; an upper limit that is not finite ends in an arrow at the edge.
    at : ndarray, shape (n,)
        Heights of the rows.
    groups : sequence of str
        Names of the rows, for who points at them.
    name : str
        What is drawn.
    edge : float
        Right end of the axis; on a log axis its power of ten.
    told : str
        How a value is said.
    axes : tuple of str
        Of the panel.

    Returns
    -------
    traces, notes : list of dict
    """
    x, y = axes
    value, low, high = values.T
    known = np.isfinite(low) & ((low > 0) | (not log))
    free = known & ~np.isfinite(high)
    end = np.where(free, 10**edge if log else edge, high)
    spans: tuple[list[float | None], list[float | None]] = ([], [])
    for i in np.flatnonzero(known).tolist():
        spans[0].extend([float(low[i]), float(end[i]), None])
        spans[1].extend([float(at[i]), float(at[i]), None])
    seen = np.flatnonzero(np.isfinite(value)).tolist()
    arrow = {"xref": x, "yref": y, "xanchor": "center", "font": {"size": 11, "color": colour}}
    place = {"xaxis": x, "yaxis": y}
    return [
        line(*spans, f"{name} interval", colour=colour, width=3, dash=dash, hoverinfo="skip")
        | place,
        points(
            value[seen].tolist(),
            at[seen].tolist(),
            name,
            colour=colour,
            symbol=symbol,
            size=size,
            customdata=[groups[i] for i in seen],
            hovertemplate=f"%{{customdata}}, {name}: {told}<extra></extra>",
        )
        | place,
    ], [label("▶", edge, float(at[i]), **arrow) for i in np.flatnonzero(free).tolist()]
