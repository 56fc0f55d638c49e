"""When were the seals fitted that failed early, as a picture: share by quarter, one panel a site.

In: `EarlyStretches`. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from seallife.figures.style import GREY, LEAD, OTHER, draw, faint, label, line, panel_axes, plain

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.history.early import EarlyStretches

__all__ = ["early_figure"]

_MOST = 12  # panels; sites with most installations
_HALF_QUARTER = pd.Timedelta(days=45)


def early_figure(stretches: EarlyStretches) -> Figure:
    """Draw the share of installations that failed early by quarter in which they were fitted.

    Points carry exact limits; a dashed line is the share of all quarters of the site. A stretch
    that crowds by more than chance is shaded and named; no other stretch is marked. Of more than
    twelve sites those with most installations are drawn.

    Parameters
    ----------
    stretches : EarlyStretches
    """
    quarters = stretches.quarters
    most = quarters.groupby("site")["installs"].sum().sort_values(ascending=False, kind="stable")
    sites = sorted(most.index[:_MOST])
    traces: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = []
    layout: dict[str, Any] = {"margin": {"l": 60, "r": 12, "t": 30, "b": 52}, "shapes": []}
    spots = panel_axes(max(len(sites), 1), 1, gap_y=0.3 / max(len(sites), 1))
    span = [quarters["quarter"].min(), quarters["quarter"].max() + 2 * _HALF_QUARTER]
    for site, (k, x, y) in zip(sites, spots, strict=False):
        part = quarters[quarters["site"] == site]
        whole = float(part["early"].sum() / part["installs"].sum())
        here = {"xaxis": f"x{k}", "yaxis": f"y{k}"}
        at = (part["quarter"] + _HALF_QUARTER).dt.strftime("%Y-%m-%d").tolist()
        share = part["early_share"].to_numpy(dtype=float)
        traces.append(_points(part, at, share) | here)
        ends = [d.strftime("%Y-%m-%d") for d in span]
        traces.append(
            line(ends, [whole, whole], "all quarters", colour=GREY, dash="dash", width=1.5) | here
        )
        layout[f"xaxis{k}"] = {"domain": x, "anchor": f"y{k}", "range": ends, "type": "date"}
        layout[f"yaxis{k}"] = {
            "domain": y,
            "anchor": f"x{k}",
            "range": [0, _top(part)],
            "tickformat": ".0%",
            "nticks": 5,
            "title": {"text": "failed early"},
        }
        told = stretches.table.set_index("site").loc[site]
        name = f"<b>{plain(site)}</b>  {told['early']:,} of {told['installs']:,} failed early"
        notes.append(
            label(name, 0, 1, xref=f"x{k} domain", yref=f"y{k} domain", xanchor="left",
                  yanchor="bottom")
        )  # fmt: skip
        if told["verdict"] == "more than chance":
            shape, note = _stretch(told, k)
            layout["shapes"].append(shape)
            notes.append(note)
    if sites:
        layout[f"xaxis{spots[-1][0]}"]["title"] = {"text": "quarter in which the seal was fitted"}
    return draw(traces, layout, notes=notes, height=70 + 190 * max(len(sites), 1))


def _points(part: pd.DataFrame, at: list[str], share: np.ndarray[Any, Any]) -> dict[str, Any]:
    """Points with their limits."""
    up = part["early_share_high"].to_numpy(dtype=float) - share
    down = share - part["early_share_low"].to_numpy(dtype=float)
    return {
        "type": "scatter",
        "mode": "markers",
        "x": at,
        "y": share.tolist(),
        "name": "share failed early",
        "marker": {"color": LEAD, "size": 7},
        "error_y": {
            "type": "data",
            "symmetric": False,
            "array": up.tolist(),
            "arrayminus": down.tolist(),
            "color": faint(LEAD, 0.55),
            "width": 0,
            "thickness": 2,
        },
        "customdata": part[["early", "installs"]].to_numpy().tolist(),
        "hovertemplate": "quarter of %{x|%b %Y}: %{customdata[0]} of %{customdata[1]}"
        "<extra></extra>",
    }


def _top(part: pd.DataFrame) -> float:
    """Top of the axis: all points, and the limits of quarters that tell something."""
    told = part[part["installs"] >= part["installs"].median()]
    most = max(part["early_share"].max(), told["early_share_high"].max())
    return min(1.0, 1.15 * float(most) + 0.02)


def _stretch(told: pd.Series[Any], panel: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """Shade of a stretch, and its words."""
    first, last = told["first"], told["last"] + pd.offsets.MonthEnd(0)
    shape = {
        "type": "rect",
        "xref": f"x{panel}",
        "yref": f"y{panel} domain",
        "x0": first.strftime("%Y-%m-%d"),
        "x1": last.strftime("%Y-%m-%d"),
        "y0": 0,
        "y1": 1,
        "fillcolor": faint(OTHER, 0.16),
        "line": {"width": 0},
        "layer": "below",
    }
    words = (
        f"{first:%b %Y} to {last:%b %Y}: {told['early_in']:.0f} early, "
        f"{told['expected_in']:.1f} expected"
    )
    note = label(
        words, first.strftime("%Y-%m-%d"), 1, xref=f"x{panel}", yref=f"y{panel} domain",
        xanchor="left", yanchor="top", font={"size": 12, "color": OTHER},
    )  # fmt: skip
    return shape, note
