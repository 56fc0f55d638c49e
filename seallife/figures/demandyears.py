"""How many seals each group will need, as a picture: one row a group, most need on top.

In: `Demand`. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.figures.panels import only_words
from seallife.figures.rows import (
    HALF,
    below,
    column,
    height_of,
    known_names,
    row_axis,
    short_count,
    spans,
)
from seallife.figures.style import GREY, INK, LEAD, draw, faint, label, line, plain, points

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.spares.demand import Demand

__all__ = ["demand_years_figure"]


def demand_years_figure(
    demand: Demand, by: str = "pool", *, months: int | None = None, most: int = 25
) -> Figure:
    """Draw the seals that each group will need within some months, those that need most on top.

    Parameters
    ----------
    demand : Demand
    by : {'site', 'service_class', 'pool', 'all'}
    months : int, optional
        One of the horizons of its table; 12 where it has that, else the shortest.
    most : int
        Rows drawn; the others are counted in words.

    Raises
    ------
    InputError
        If there is no such grouping or horizon.
    """
    table = demand.table[demand.table["by"] == by]
    known = sorted(set(table["months"]))
    if not known:
        raise InputError(
            f"is {by!r}", where="by", hint=f"known here: {known_names(demand.table['by'])}"
        )
    if months is None:
        months = 12 if 12 in known else known[0]
    if months not in known:
        raise InputError(
            f"are {months!r}", where="months", hint=f"known here: {known_names(known)}"
        )
    table = table[table["months"] == months].sort_values(
        ["need", "group"], ascending=[False, True], kind="stable"
    )
    rows = table.head(max(most, 1)).reset_index(drop=True)
    rest = table.iloc[len(rows) :]
    if not (table["need"] > 0).any():
        return only_words(f"No seal is expected to be needed in {months} months.")
    at = np.arange(len(rows), dtype=float)
    names = [plain(g, 26) for g in rows["group"]]
    need, low, high = (rows[c].to_numpy(dtype=float) for c in ("need", "low", "high"))
    steady = rows["constant_rate"].to_numpy(dtype=float)
    said = [
        f"{short_count(n)} needed, {a:.0f} to {b:.0f} at {demand.level:.0%}; "
        f"{short_count(c)} at the constant rate"
        for n, a, b, c in zip(need, low, high, steady, strict=True)
    ]
    hover: dict[str, Any] = {
        "customdata": [f"{name}: {words}" for name, words in zip(names, said, strict=True)],
        "hovertemplate": "%{customdata}<extra></extra>",
    }
    bars = spans(np.maximum(low - HALF, 0), high + HALF, at)
    traces = [
        line(*bars, "range", width=9, colour=faint(LEAD, 0.35), hoverinfo="skip"),
        points(steady.round(4).tolist(), at.tolist(), "constant rate", colour=INK,
               symbol="line-ns", size=13, width=1.8, hoverinfo="skip"),
        points(need.round(4).tolist(), at.tolist(), "needed", fill=LEAD, size=9, **hover),
    ]  # fmt: skip
    key = (
        f"● needed on average &nbsp; ▬ range of the count at {demand.level:.0%} &nbsp; "
        "│ at the constant rate"
    )
    corner = {"xref": "paper", "yref": "paper", "xanchor": "left", "yanchor": "bottom"}
    notes = [
        label(key, 0, 1, yshift=2, font={"size": 12, "color": GREY}, **corner),
        *column("positions", [f"{n:,}" for n in rows["positions"]], 60, align="right"),
        *below([_rest(rest)]),
    ]
    edge = 1.06 * max(float((high + HALF).max()), float(steady.max()), float(need.max()))
    under = 50 + 22 * bool(len(rest))
    layout = {
        "xaxis": {
            "title": {"text": f"seals needed in {months} months"},
            "range": [-0.015 * edge, edge],
        },
        "yaxis": row_axis(names),
        "margin": {"l": 16, "r": 76, "t": 28, "b": under},
    }
    told = "; ".join(f"{g}: {w}" for g, w in zip(rows["group"].head(10), said, strict=False))
    alt = f"Seals needed in {months} months by {by.replace('_', ' ')}: {told}."
    height = height_of(len(rows), 28, under)
    return draw(traces, layout, notes=notes, height=height, alt=alt)


def _rest(rest: pd.DataFrame) -> str:
    if rest.empty:
        return ""
    return f"… and {len(rest):,} more, which need {short_count(float(rest['need'].sum()))} together"
