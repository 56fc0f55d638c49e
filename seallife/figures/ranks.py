"""Weibull probability plot: points of the failures, a line through them, the fitted law beside it.

In: `RankLine`, optionally a fit. Out: a figure. For the eye, never for a figure that is relied on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from seallife.figures.style import GREY, INK, LEAD, OTHER, draw, label, line, log_ticks, plain

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.life.ranks import RankLine

__all__ = ["probability_figure"]

_SHARES = (0.001, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 0.8, 0.9, 0.99)


def probability_figure(
    ranks: RankLine, name: str, unit: str, law: tuple[float, float] | None = None
) -> Figure:
    """Draw the failures of one group on paper on which a Weibull law is a straight line.

    Parameters
    ----------
    ranks : RankLine
        From `seallife.life.ranks.rank_line`.
    name : str
        What the points are.
    unit : str
        Unit of the ages.
    law : tuple of float, optional
        Shape and scale of a fit, drawn dashed; only this one is to be relied on.
    """
    table = ranks.table
    age = table["age"].to_numpy(dtype=float)
    height = table["log10_hazard"].to_numpy(dtype=float)
    words = plain(name)
    traces: list[dict[str, Any]] = [
        {
            "type": "scatter",
            "mode": "markers",
            "x": age.tolist(),
            "y": height.tolist(),
            "name": words,
            "marker": {"symbol": "circle-open", "size": 7, "color": LEAD, "line": {"width": 2}},
            "customdata": table["failed"].tolist(),
            "hovertemplate": f"{words}: %{{customdata:.1%}} failed by %{{x:.4g}} {unit}"
            "<extra></extra>",
        }
    ]
    ends = np.array([age.min() / 1.3, age.max() * 1.3])
    on_line = ranks.intercept + ranks.shape * np.log10(ends)
    traces.append(line(ends.tolist(), on_line.tolist(), "line through the ranks", colour=GREY))
    told = [f"{words}: {len(age):,} failures", "grey: line through the ranks"]
    if law is not None:
        shape, scale = law
        fitted = shape * np.log10(ends / scale)
        traces.append(line(ends.tolist(), fitted.tolist(), "fit", colour=OTHER, dash="dash"))
        told.append("dashed: fit")
    corner = {"xref": "paper", "yref": "paper", "xanchor": "left", "yanchor": "top"}
    note = label("<br>".join(told), 0.02, 0.98, align="left", bgcolor="white", **corner)
    hazards = np.log10(-np.log1p(-np.array(_SHARES)))
    low, high = min(height.min(), on_line.min()) - 0.1, max(height.max(), on_line.max()) + 0.1
    shown = (hazards >= low) & (hazards <= high)
    layout = {
        "xaxis": {
            "type": "log",
            "title": {"text": f"age ({unit}), log scale"},
            "tickvals": log_ticks(*np.log10(ends)),
            "tickformat": ",",
        },
        "yaxis": {
            "title": {"text": "share failed, Weibull scale"},
            "tickvals": hazards[shown].tolist(),
            "ticktext": [f"{100 * s:g} %" for s, keep in zip(_SHARES, shown, strict=True) if keep],
            "range": [float(low), float(high)],
        },
        "font": {"color": INK},
    }
    return draw(traces, layout, notes=[note], height=380)
