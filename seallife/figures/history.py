"""Are we getting better, as a picture: rolling MTBR and MTBF, months against expectation.

In: `MtbrHistory`, expected counts. Out: figures. Next: `seallife.report`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from seallife.figures.style import (
    GREY,
    INK,
    LEAD,
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

__all__ = ["every_month", "monthly_figure", "rolling_figure", "rolling_panels"]

Span = tuple[pd.Timestamp, pd.Timestamp]

_MEASURES = (("mtbf", "MTBF", LEAD, "solid"), ("mtbr", "MTBR", OTHER, "dash"))


def rolling_figure(rolling: pd.DataFrame, outages: Sequence[Span] = ()) -> Figure:
    """Draw MTBF and MTBR over the twelve months that end with each month, with their intervals.

    Parameters
    ----------
    rolling : pandas.DataFrame
        Rows of one group of `MtbrHistory.rolling`.
    outages : sequence of (start, end)
        Marked as strips behind the lines.
    """
    traces: list[dict[str, Any]] = []
    notes = []
    top = _top(rolling, ("mtbf", "mtbr"))
    for key, name, colour, dash in _MEASURES:
        traces += _measure(rolling, key, name, colour, dash, top)
        known = rolling[np.isfinite(rolling[f"{key}_years"])]
        if len(known):
            notes.append(
                label(
                    f"<b>{name}</b>",
                    known["month"].iloc[-1].strftime("%Y-%m-%d"),
                    float(known[f"{key}_years"].iloc[-1]),
                    xanchor="left",
                    xshift=5,
                    # MTBF is never below MTBR: pushed apart where the two lines meet.
                    yshift=7 if key == "mtbf" else -7,
                    font={"size": 12, "color": colour},
                )
            )
    if not np.isfinite(rolling["mtbf_years"]).any():
        words = "no failure: only a lower limit, the value lies anywhere in the band or above"
        middle = {"xref": "paper", "yref": "paper", "font": {"size": 12, "color": GREY}}
        notes.append(label(words, 0.5, 0.2, **middle))
    layout = {
        "xaxis": {"title": {"text": "twelve months ending in"}, "range": _ends(rolling)},
        "yaxis": {"title": {"text": "calendar years per seal position"}, "range": [0, top]},
        "margin": {"l": 56, "r": 56, "t": 16, "b": 52},
        "shapes": _strips(outages),
    }
    return draw(traces, layout, notes=notes, height=330)


def rolling_panels(rolling: pd.DataFrame, outages: Sequence[Span] = ()) -> Figure:
    """Draw the rolling MTBF of several groups, one small panel each, on one scale.

    Parameters
    ----------
    rolling : pandas.DataFrame
        Rows of some groups of `MtbrHistory.rolling`.
    outages : sequence of (start, end)
        Marked as strips behind the lines.
    """
    groups = sorted(rolling["group"].unique())
    columns = 1 if len(groups) == 1 else 2
    top = _top(rolling, ("mtbf",))
    traces: list[dict[str, Any]] = []
    notes = []
    layout: dict[str, Any] = {"margin": {"l": 56, "r": 12, "t": 26, "b": 52}, "shapes": []}
    rows = -(-len(groups) // columns)
    spots = panel_axes(len(groups), columns, gap_x=0.06, gap_y=0.3 / rows)
    for i, (group, (k, x, y)) in enumerate(zip(groups, spots, strict=True)):
        part = rolling[rolling["group"] == group]
        here = {"xaxis": f"x{k}", "yaxis": f"y{k}"}
        traces += [t | here for t in _measure(part, "mtbf", plain(group), LEAD, "solid", top)]
        layout[f"xaxis{k}"] = {
            "domain": x,
            "anchor": f"y{k}",
            "range": _ends(rolling),
            "nticks": 6,
        }
        layout[f"yaxis{k}"] = {"domain": y, "anchor": f"x{k}", "range": [0, top], "nticks": 5}
        if i % columns == 0:
            layout[f"yaxis{k}"]["title"] = {"text": "MTBF (years)"}
        if i >= len(groups) - columns:
            layout[f"xaxis{k}"]["title"] = {"text": "twelve months ending in"}
        notes.append(
            label(
                f"<b>{plain(group)}</b>",
                0,
                1,
                xref=f"x{k} domain",
                yref=f"y{k} domain",
                xanchor="left",
                yanchor="bottom",
            )
        )
        layout["shapes"] += _strips(outages, k)
    return draw(traces, layout, notes=notes, height=60 + 210 * rows)


def monthly_figure(expected: pd.DataFrame, outages: Sequence[Span] = ()) -> Figure:
    """Draw the failures of each month against those that exposure and average rate would bring.

    Parameters
    ----------
    expected : pandas.DataFrame
        ``month``, ``failures``, ``expected``, ``low``, ``high``, ``outside``; see
        `seallife.history.expected_counts`.
    outages : sequence of (start, end)
        Marked as strips behind the points.
    """
    months = expected["month"].dt.strftime("%Y-%m-%d")
    out = expected["outside"].to_numpy(dtype=bool)
    low, high = (expected[c].to_numpy(dtype=float) for c in ("low", "high"))
    hover = "%{x|%b %Y}: %{y} failures<extra></extra>"
    most = max(expected["failures"].max(), high.max(initial=0.0))
    traces: list[dict[str, Any]] = [
        # Half a count wider, so that counts on a limit stand inside the band.
        band(expected["month"].to_numpy(), np.maximum(low - 0.5, 0), high + 0.5, "expected range",
             colour=GREY, step=True),
        line(months.tolist(), expected["expected"].round(4).tolist(), "expected", colour=GREY,
             dash="dash", width=1.5, step=True,
             hovertemplate="%{x|%b %Y}: %{y:.1f} failures expected<extra></extra>"),
    ]  # fmt: skip
    for chosen, name, marker in (
        (~out, "inside", {"symbol": "circle", "size": 6, "color": LEAD}),
        (out, "outside", {"symbol": "diamond-open", "size": 10, "color": OTHER,
                          "line": {"width": 2.5}}),
    ):  # fmt: skip
        traces.append(
            {
                "type": "scatter",
                "mode": "markers",
                "x": months[chosen].tolist(),
                "y": expected.loc[chosen, "failures"].tolist(),
                "name": name,
                "marker": marker,
                "hovertemplate": hover,
            }
        )
    notes = [
        label(
            "● inside &nbsp; ◇ outside &nbsp; ▒ the range expected",
            0,
            1,
            xref="paper",
            yref="paper",
            xanchor="left",
            yanchor="bottom",
            font={"size": 12, "color": GREY},
        )
    ]
    layout = {
        "xaxis": {"title": {"text": "month"}, "range": _ends(expected)},
        "yaxis": {
            "title": {"text": "seal failures in the month"},
            "range": [-0.6, 1.08 * float(max(most, 1.0)) + 0.6],
        },
        "margin": {"l": 56, "r": 12, "t": 30, "b": 52},
        "shapes": _strips(outages),
    }
    return draw(traces, layout, notes=notes, height=310)


def _measure(
    rows: pd.DataFrame, key: str, name: str, colour: str, dash: str, top: float
) -> list[dict[str, Any]]:
    """Band and line of one measure; an endless upper limit runs off the top of the axis."""
    rows = every_month(rows)
    value, low, high = (
        rows[f"{key}_years{s}"].to_numpy(dtype=float) for s in ("", "_low", "_high")
    )
    high = np.where(np.isinf(high), 10 * top, high)
    shown = [None if np.isnan(v) else round(float(v), 4) for v in value]
    count = rows["failures" if key == "mtbf" else "removals"].fillna(0).astype(int)
    hover = f"{name}, year to %{{x|%b %Y}}: %{{y:.1f}} y, %{{customdata}}<extra></extra>"
    return [
        band(rows["month"].to_numpy(), low, high, f"{name} interval", colour=colour),
        line(
            rows["month"].dt.strftime("%Y-%m-%d").tolist(),
            shown,
            name,
            colour=colour,
            dash=dash,
            connectgaps=False,
            customdata=[f"{n} {'failures' if key == 'mtbf' else 'removals'}" for n in count],
            hovertemplate=hover,
        ),
    ]


def every_month(rows: pd.DataFrame) -> pd.DataFrame:
    """Rows with a blank one for each month missing between: no line across a gap in the records."""
    months = pd.date_range(rows["month"].min(), rows["month"].max(), freq="MS", name="month")
    return rows.set_index("month").reindex(months).reset_index()


def _ends(rows: pd.DataFrame) -> list[str]:
    """First and last month: an outage outside must not stretch the axis."""
    edge = pd.Timedelta(days=20)
    ends = (rows["month"].min() - edge, rows["month"].max() + edge)
    return [day.strftime("%Y-%m-%d") for day in ends]


def _top(rows: pd.DataFrame, keys: Sequence[str]) -> float:
    """Top of the axis: room for most of the intervals, not for the one that runs off."""
    values = np.concatenate([rows[f"{k}_years"].to_numpy(dtype=float) for k in keys])
    limits = np.concatenate([rows[f"{k}_years_high"].to_numpy(dtype=float) for k in keys])
    lows = np.concatenate([rows[f"{k}_years_low"].to_numpy(dtype=float) for k in keys])
    known, ends = values[np.isfinite(values)], limits[np.isfinite(limits)]
    tallest = max(known.max(initial=0.0), np.nanmax(lows, initial=0.0))
    if len(ends):
        tallest = max(tallest, float(np.quantile(ends, 0.9)))
    if tallest <= 0:
        return 1.0
    # Only lower limits: room above them, since nothing bounds the value.
    return float(tallest) * (1.08 if len(known) else 2.0)


def _strips(outages: Sequence[Span], panel: str = "") -> list[dict[str, Any]]:
    """Return grey strips behind the lines."""
    return [
        {
            "type": "rect",
            "layer": "below",
            "x0": start.strftime("%Y-%m-%d"),
            "x1": end.strftime("%Y-%m-%d"),
            "xref": f"x{panel}",
            "yref": f"y{panel} domain",
            "y0": 0,
            "y1": 1,
            "fillcolor": faint(INK, 0.12),
            "line": {"width": 0},
        }
        for start, end in outages
    ]
