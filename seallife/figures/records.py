"""What the records hold: from rows read to failures, and which positions were watched when.

In: `Removals`, `MtbrHistory`. Out: figures. Next: `seallife.report`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from seallife.figures.style import GREY, INK, LEAD, OTHER, draw, faint, label, line, plain
from seallife.schema import DAYS_PER_YEAR

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

__all__ = ["at_risk_figure", "waterfall_figure"]


def waterfall_figure(waterfall: pd.DataFrame) -> Figure:
    """Draw how rows read become removals and failures, and what leaves on the way.

    Losses of less than a hundredth of the first row that stand beside each other become one bar.

    Parameters
    ----------
    waterfall : pandas.DataFrame
        ``step``, ``kind`` ('total', 'loss', 'gain'), ``count``; see `seallife.events.Removals`.
    """
    steps = _without_trifles(waterfall)
    level, begins = 0, []
    for kind, number in zip(steps["kind"], steps["count"], strict=True):
        if kind == "total":
            level = number
            begins.append(0)
        elif kind == "loss":
            level -= number
            begins.append(level)
        else:
            begins.append(level)
            level += number
    sign = steps["kind"].map({"total": "", "loss": "−", "gain": "+"})
    texts = [f"{s}{n:,}" for s, n in zip(sign, steps["count"], strict=True)]
    total = (steps["kind"] == "total").to_numpy()
    plain_names = [plain(step, 40) for step in steps["step"]]
    names = [f"<b>{s}</b>" if t else s for s, t in zip(plain_names, total, strict=True)]
    bars = {
        "type": "bar",
        "orientation": "h",
        "y": list(range(len(steps))),
        "x": steps["count"].tolist(),
        "base": begins,
        "marker": {
            "color": [LEAD if t else faint(GREY, 0.55) for t in total],
            "pattern": {"shape": ["" if t else "/" for t in total], "fgcolor": GREY, "size": 5},
            "line": {"color": [LEAD if t else GREY for t in total], "width": 1},
        },
        "customdata": [[s, t] for s, t in zip(steps["step"], texts, strict=True)],
        "hovertemplate": "%{customdata[0]}: %{customdata[1]}<extra></extra>",
    }
    most = max([b + n for b, n in zip(begins, steps["count"], strict=True)], default=1)
    notes = [
        label(f"<b>{t}</b>" if bold else t, b + n, i, xanchor="left", xshift=4)
        for i, (t, bold, b, n) in enumerate(zip(texts, total, begins, steps["count"], strict=True))
    ]
    layout = {
        "xaxis": {
            "title": {"text": "records, then removals (count)"},
            "range": [0, max(most, 1) * 1.14],
            "rangemode": "tozero",
            "tickformat": ",d",
            "nticks": 5,
            "tickangle": 0,
        },
        "yaxis": {
            "tickvals": list(range(len(steps))),
            "ticktext": names,
            "range": [len(steps) - 0.4, -0.6],
            "showgrid": False,
            "ticks": "",
        },
        "bargap": 0.3,
        "margin": {"l": 16, "r": 12, "t": 8, "b": 48},
    }
    return draw([bars], layout, notes=notes, height=58 + 20 * len(steps))


def _without_trifles(waterfall: pd.DataFrame) -> pd.DataFrame:
    """Steps worth a bar of their own; losses too small for one are summed before each total."""
    most = waterfall["count"].max() if len(waterfall) else 0
    rows: list[tuple[str, str, int]] = []
    small: list[tuple[str, str, int]] = []
    for row in waterfall[["step", "kind", "count"]].itertuples(index=False, name=None):
        _, kind, number = row
        if kind == "total":
            rows += small if len(small) < 2 else [_summed(small)]
            small = []
        if kind == "loss" and 0 < number < _TRIFLE * most:
            small.append(row)
        elif kind == "total" or number > 0:
            rows.append(row)
    return pd.DataFrame(rows, columns=["step", "kind", "count"])


_TRIFLE = 0.01


def _summed(small: list[tuple[str, str, int]]) -> tuple[str, str, int]:
    """One bar for several small losses."""
    return f"{len(small)} smaller steps", "loss", sum(number for _, _, number in small)


def at_risk_figure(monthly: pd.DataFrame) -> Figure:
    """Draw how many seal positions were at risk and on record in each month, by site.

    Parameters
    ----------
    monthly : pandas.DataFrame
        See `seallife.history.mtbr.MtbrHistory`.
    """
    rows = monthly[monthly["by"] == "site"]
    traces, notes = [], []
    styles = [(LEAD, "solid"), (OTHER, "dash"), (INK, "dot"), (GREY, "dashdot")]
    for i, (site, part) in enumerate(rows.groupby("group", sort=True)):
        days = part["month"].dt.days_in_month
        positions = (part["exposure_years"] * DAYS_PER_YEAR / days).to_numpy()
        colour, dash = styles[i % len(styles)]
        months = part["month"].dt.strftime("%Y-%m-%d").tolist()
        hover = f"{plain(site)}, %{{x|%b %Y}}: %{{y:.0f}} positions at risk<extra></extra>"
        traces.append(
            line(
                months,
                positions.round(2).tolist(),
                plain(site),
                colour=colour,
                dash=dash,
                step=True,
                hovertemplate=hover,
            )
        )
        notes.append(
            label(
                plain(site),
                months[-1],
                float(positions[-1]),
                xanchor="right",
                yanchor="bottom",
                yshift=3,
                font={"size": 12, "color": colour},
            )
        )
    layout = {
        "xaxis": {"title": {"text": "month"}},
        "yaxis": {"title": {"text": "seal positions at risk"}, "rangemode": "tozero"},
    }
    return draw(traces, layout, notes=notes, height=260)
