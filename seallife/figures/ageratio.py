"""Failures over those expected at the seals' ages, as a picture: rolling twelve months.

In: rolling rows of `MtbrHistory`. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from seallife.figures.history import every_month
from seallife.figures.style import GREY, LEAD, band, draw, label, line, panel_axes, plain

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

__all__ = ["age_ratio_figure"]

_WIDEST = 4.0
_MOST = 12  # panels


def age_ratio_figure(rolling: pd.DataFrame) -> Figure:
    """Draw how often seals failed against what their classes and ages let one expect.

    One panel a group, all on one scale that doubles in even steps; 1 is the whole record. Bands
    are limits; a point outside the axis is drawn at its edge. Of more than twelve groups the first
    are drawn.

    Parameters
    ----------
    rolling : pandas.DataFrame
        Rows of some groups of `MtbrHistory.rolling`.
    """
    rows = rolling[np.isfinite(rolling["age_ratio"])]
    groups = rows["group"].drop_duplicates().tolist()[:_MOST]
    columns = min(max(len(groups), 1), 2)
    deep = -(-max(len(groups), 1) // columns)
    spots = panel_axes(max(len(groups), 1), columns, gap_x=0.06, gap_y=0.36 / deep)
    edge = _edge(rows)
    span = [rolling["month"].min(), rolling["month"].max()] if len(rolling) else []
    traces: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = []
    layout: dict[str, Any] = {"margin": {"l": 62, "r": 12, "t": 28, "b": 52}, "shapes": []}
    for i, (group, (k, x, y)) in enumerate(zip(groups, spots, strict=False)):
        part = every_month(rows[rows["group"] == group])
        here = {"xaxis": f"x{k}", "yaxis": f"y{k}"}
        low, value, high = (
            np.clip(part[f"age_ratio{end}"].to_numpy(dtype=float), 1 / edge, edge)
            for end in ("_low", "", "_high")
        )
        months = part["month"].dt.strftime("%Y-%m-%d").tolist()
        traces.append(band(part["month"].to_numpy(), low, high, "limits", colour=LEAD) | here)
        traces.append(
            line(months, value.tolist(), "failures over expected", colour=LEAD, width=2.5,
                 hovertemplate="%{x|%b %Y}: %{y:.2f} times expected<extra></extra>") | here
        )  # fmt: skip
        ends = [d.strftime("%Y-%m-%d") for d in span]
        traces.append(
            line(ends, [1.0, 1.0], "as expected", colour=GREY, dash="dash", width=1.5) | here
        )
        layout[f"xaxis{k}"] = {"domain": x, "anchor": f"y{k}", "range": ends, "nticks": 6}
        layout[f"yaxis{k}"] = {
            "domain": y,
            "anchor": f"x{k}",
            "type": "log",
            "range": [-np.log10(edge), np.log10(edge)],
            "tickvals": [t for t in (0.25, 0.5, 0.75, 1, 1.5, 2, 4) if 1 / edge <= t <= edge],
        }
        if i % columns == 0:
            layout[f"yaxis{k}"]["title"] = {"text": "failures over expected"}
        if i >= len(groups) - columns:
            layout[f"xaxis{k}"]["title"] = {"text": "twelve months ending in"}
        name = "whole fleet" if group == "all" else plain(group)
        notes.append(
            label(f"<b>{name}</b>", 0, 1, xref=f"x{k} domain", yref=f"y{k} domain",
                  xanchor="left", yanchor="bottom")
        )  # fmt: skip
    if groups:
        notes.append(
            label("▲ more than expected", 1, 1, xref="paper", yref="paper", xanchor="right",
                  yanchor="bottom", font={"size": 12, "color": GREY})
        )  # fmt: skip
    return draw(traces, layout, notes=notes, height=70 + 200 * deep)


def _edge(rows: pd.DataFrame) -> float:
    """End of the axis: 2, or what most limits need, up to 4."""
    if rows.empty:
        return 2.0
    inside = np.r_[
        rows["age_ratio_high"].quantile(0.9),
        1 / max(float(rows["age_ratio_low"].quantile(0.1)), 1e-3),
    ]
    return float(np.clip(inside.max() * 1.05, 2.0, _WIDEST))
