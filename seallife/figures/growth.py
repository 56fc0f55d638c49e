"""Is the failure rate going down, as a picture: failures against exposure, and a line of no change.

In: `Growth`. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.figures.style import (
    GREY,
    INK,
    OTHER,
    band,
    draw,
    faint,
    label,
    line,
    panel_axes,
    plain,
)

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.history.growth import Growth

__all__ = ["growth_figure"]

_POINTS = 60  # along a curve
_MOST = 12  # panels in one figure


def growth_figure(growth: Growth, groups: Sequence[str], *, columns: int = 2) -> Figure:
    """Draw cumulative failures against the exposure gathered: one panel a group.

    Steps are the failures. The dashed straight line is a rate that never changed: steps that bulge
    above it mean that failures became fewer, steps that sag below it more. The blue curve is the
    power law through the same end, its band all those whose shape lies within its limits. A change
    that stands out of chance is a strip over its interval, with a line at the best date. Years
    stand along the top.

    Parameters
    ----------
    growth : Growth
    groups : sequence of str
        Names in ``growth.table``, at most 12.
    columns : int
        Panels side by side.

    Raises
    ------
    InputError
        A name that is not there, none, or more than fit.
    """
    if not 1 <= len(groups) <= _MOST:
        hint = f"give 1 to {_MOST} names"
        raise InputError(f"holds {len(groups)} names", where="groups", hint=hint)
    columns = min(columns, len(groups))
    rows = -(-len(groups) // columns)
    spots = panel_axes(len(groups), columns, gap_x=0.1, gap_y=0.34 / rows)
    traces: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = []
    layout: dict[str, Any] = {"margin": {"l": 56, "r": 16, "t": 62, "b": 52}, "shapes": []}
    years = "years run" if growth.clock == "run" else "years"
    for i, (group, (k, x, y)) in enumerate(zip(groups, spots, strict=True)):
        row = growth[group]
        here = {"xaxis": f"x{k}", "yaxis": f"y{k}"}
        total, n = float(row["exposure_years"]), int(row["failures"])
        traces += [trace | here for trace in _curves(growth, group, row)]
        notes += _heading(row, k)
        ticks, marks = _years(growth, group, row, k)
        notes += ticks
        layout["shapes"] += marks
        if row["changed"]:
            shapes, words = _change(growth, group, row, k)
            layout["shapes"] += shapes
            notes += words
        layout[f"xaxis{k}"] = {"domain": x, "anchor": f"y{k}", "range": [0, total], "nticks": 6}
        layout[f"yaxis{k}"] = {
            "domain": y,
            "anchor": f"x{k}",
            "range": [0, 1.05 * max(n, 1)],
            "nticks": 5,
        }
        if i % columns == 0:
            layout[f"yaxis{k}"]["title"] = {"text": "failures"}
        if i >= len(groups) - columns:
            layout[f"xaxis{k}"]["title"] = {"text": f"exposure, position-{years}"}
    return draw(traces, layout, notes=notes, height=110 + 250 * rows)


def _curves(growth: Growth, group: str, row: pd.Series[Any]) -> list[dict[str, Any]]:
    """Straight line, power law with band, and the steps on top."""
    total, n = float(row["exposure_years"]), int(row["failures"])
    failures = growth.failures(group)
    spent = failures["exposure_years"].to_numpy(dtype=float)
    share = np.linspace(0, 1, _POINTS) ** 2  # closer together where a steep start bends
    traces = []
    if np.isfinite(row["shape_low"]) and n > 1:
        # A larger shape runs lower everywhere but at the ends.
        low, high = (n * share ** float(row[c]) for c in ("shape_high", "shape_low"))
        traces.append(band(total * share, low, high, "power law interval"))
        middle = n * share ** float(row["shape"])
        traces.append(
            line(
                (total * share).round(3).tolist(), middle.round(3).tolist(), "power law",
                hoverinfo="skip",
            )
        )  # fmt: skip
    traces.append(
        line([0, total], [0, n], "no change", colour=GREY, dash="dash", width=1.5, hoverinfo="skip")
    )
    days = failures["day"].dt.strftime("%Y-%m-%d").tolist()
    traces.append(
        line(
            np.concatenate([[0.0], spent, [total]]).round(3).tolist(),
            [0, *failures["number"].tolist(), n],
            "failures",
            colour=INK,
            width=1.6,
            step=True,
            customdata=["", *days, ""],
            hovertemplate="failure %{y}, %{customdata}: after %{x:.1f} position-years"
            "<extra></extra>",
        )
    )
    return traces


def _heading(row: pd.Series[Any], k: str) -> list[dict[str, Any]]:
    """Name, counts and verdict above the panel."""
    words = f"<b>{plain(row['group'], 30)}</b>  {row['failures']:,} failures: {row['verdict']}"
    place = {"xref": f"x{k} domain", "yref": f"y{k} domain", "xanchor": "left", "yanchor": "bottom"}
    notes = [label(words, 0, 1, yshift=16, **place)]
    if not row["failures"]:
        middle = {"xref": f"x{k} domain", "yref": f"y{k} domain"}
        notes.append(label("no failure", 0.5, 0.5, **middle, font={"size": 12, "color": GREY}))
    return notes


def _years(
    growth: Growth, group: str, row: pd.Series[Any], k: str
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Begin of each year along the top, where exposure had come to by then."""
    span = pd.Series(pd.date_range(row["first"], row["last"], freq="YS"))
    if not len(span):
        return [], []
    step = max(-(-len(span) // 6), 1)
    span = span.iloc[::step].reset_index(drop=True)
    at = growth.exposure_at(group, span)
    notes = [
        label(
            f"{day:%Y}", round(float(x), 3), 1, xref=f"x{k}", yref=f"y{k} domain",
            yanchor="bottom", font={"size": 11, "color": GREY},
        )
        for day, x in zip(span, at, strict=True)
    ]  # fmt: skip
    marks = [
        {
            "type": "line", "xref": f"x{k}", "yref": f"y{k} domain", "x0": float(x), "x1": float(x),
            "y0": 0.985, "y1": 1, "line": {"color": GREY, "width": 1},
        }
        for x in at
    ]  # fmt: skip
    return notes, marks


def _change(
    growth: Growth, group: str, row: pd.Series[Any], k: str
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Strip over the interval of the change, a line at its best date, and the date."""
    best = float(growth.exposure_at(group, pd.Series([row["change"]]))[0])
    base = {"xref": f"x{k}", "yref": f"y{k} domain", "y0": 0, "y1": 1}
    shapes: list[dict[str, Any]] = [
        {
            **base, "type": "line", "x0": best, "x1": best,
            "line": {"color": OTHER, "width": 2, "dash": "dot"},
        }
    ]  # fmt: skip
    words = f"{row['change']:%b %Y}"
    if pd.notna(row["change_low"]):
        ends = growth.exposure_at(group, pd.Series([row["change_low"], row["change_high"]]))
        shapes.append(
            {
                **base, "type": "rect", "x0": float(ends[0]), "x1": float(ends[1]),
                "fillcolor": faint(OTHER, 0.14), "line": {"width": 0}, "layer": "below",
            }
        )  # fmt: skip
        words += f"<br>({row['change_low']:%b %Y} to {row['change_high']:%b %Y})"
    left = best < 0.6 * float(row["exposure_years"])  # steps rise: it is empty below, to the right
    note = label(
        words, best, 0.03, xref=f"x{k}", yref=f"y{k} domain", yanchor="bottom",
        xanchor="left" if left else "right", xshift=4 if left else -4,
        align="left" if left else "right", font={"size": 12, "color": OTHER},
    )  # fmt: skip
    return shapes, [note]
