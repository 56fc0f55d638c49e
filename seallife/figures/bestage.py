"""Whether renewing by age is worth it, as a picture: what it would save, class by class.

In: `Replacement`. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from seallife.figures.forest import interval_marks
from seallife.figures.panels import only_words
from seallife.figures.rows import column, height_of, left_of, row_axis, upright
from seallife.figures.style import GREY, INK, draw, label, plain

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.spares.replacement import Replacement

__all__ = ["replacement_figure"]

_SAVING = ["saving", "saving_low", "saving_high"]
_ABOVE, _UNDER, _RIGHT = 48, 56, 250  # px
_REACH = 1.0  # a saving of more than all is none; a loss beyond that is cut


def replacement_figure(replacement: Replacement) -> Figure:
    """Draw the share of cost that renewal by age saves in each class, and the verdict.

    Parameters
    ----------
    replacement : Replacement
        Classes without a saving say why instead.
    """
    table = replacement.table.sort_values(
        ["saving", "service_class"], ascending=[False, True], na_position="last", kind="stable"
    ).reset_index(drop=True)
    if table.empty:
        return only_words("No class to renew by age.")
    names = [plain(name) for name in table["service_class"]]
    at = np.arange(len(table), dtype=float)
    table[_SAVING] = table[_SAVING].round(4) + 0.0  # no "-0%"
    values = table[_SAVING].to_numpy(dtype=float)
    told = [
        f"{name}: {row['verdict']}, at {_age(row['age'], replacement.unit)}"
        for name, row in zip(names, table.to_dict(orient="records"), strict=True)
    ]
    known = values[np.isfinite(values)]
    low = max(float(known.min(initial=0.0)), -_REACH)
    high = float(known.max(initial=2 * replacement.least_saving))
    edge = (low - 0.04 * (high - low), high + 0.04 * (high - low))
    values[:, 1] = np.maximum(values[:, 1], np.where(np.isfinite(values[:, 1]), edge[0], np.nan))
    traces, notes = interval_marks(
        values, at, told, "saves", edge=edge[1], log=False, told="%{x:.0%}"
    )
    quiet = {"xref": "paper", "xanchor": "left", "xshift": 8, "bgcolor": "white"}
    quiet |= {"font": {"size": 12, "color": GREY}}
    notes += [
        label(_why_not(row), 0, i, **quiet)
        for i, row in enumerate(table.to_dict(orient="records"))
        if not np.isfinite(row["saving"])
    ]
    ages = [_age(a, replacement.unit) if np.isfinite(s) else "" for a, s in
            zip(table["age"], table["saving"], strict=True)]  # fmt: skip
    worth = f"{replacement.least_saving:.0%} worth having"
    above = {"yref": "paper", "yanchor": "bottom", "font": {"size": 12, "color": GREY}}
    notes += [
        *column("if renewed at", ages, 92, align="right"),
        *column("", [f"<b>{verdict}</b>" for verdict in table["verdict"]], 104),
        label(worth, replacement.least_saving, 1, xanchor="left", xshift=-4, yshift=2, **above),
    ]
    layout = {
        "xaxis": {
            "title": {"text": f"saved of the cost of running to failure, {_level(replacement)}"},
            "range": list(edge),
            "tickformat": ".0%",
            "nticks": 6,
        },
        "yaxis": row_axis(names),
        "margin": {"l": left_of(names), "r": _RIGHT, "t": _ABOVE, "b": _UNDER},
        "shapes": [
            upright(0, INK),
            upright(replacement.least_saving, GREY, dash="dash", width=1.5),
        ],
    }
    said = "; ".join(
        f"{row['service_class']}: {row['verdict']}"
        + (
            f", saves {row['saving']:.0%} ({row['saving_low']:.0%} to {row['saving_high']:.0%})"
            if np.isfinite(row["saving"])
            else ""
        )
        for row in table.to_dict(orient="records")
    )
    alt = f"What renewal by age saves of the cost of running to failure, by class. {said}."
    height = height_of(len(table), _ABOVE, _UNDER)
    return draw([t for t in traces if len(t["x"])], layout, notes=notes, height=height, alt=alt)


def _level(replacement: Replacement) -> str:
    return f"interval at {replacement.level:.0%}"


def _age(age: float, unit: str) -> str:
    """Age with its unit."""
    return f"{age:,.0f} {unit}" if np.isfinite(age) else "no age"


def _why_not(row: dict[Any, Any]) -> str:
    """Why there is no saving to draw."""
    if not np.isfinite(row["shape_low"]):
        return "shape not known"
    if not row["shape_low"] > 1:
        return (
            f"not known to grow with age: shape {row['shape_low']:.2f} to {row['shape_high']:.2f}"
        )
    if np.isfinite(row["ratio_needed"]):
        low, high = (row[f"ratio_needed_{end}"] for end in ("low", "high"))
        limits = f"{low:.1f} to {high:.1f}" if np.isfinite(high) else f"{low:.1f} or more"
        return f"pays if a failure costs {row['ratio_needed']:.1f} renewals ({limits})"
    return "no ratio of costs would do"
