"""What alarms on leakage are worth here: failures foretold in time against false alarms.

In: `AlarmRecord` at several stated rates of false alarms. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.figures.panels import counted, only_words
from seallife.figures.style import GREY, INK, LEAD, draw, label, line, points

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.leakage.foretell import AlarmRecord

__all__ = ["alarm_record_figure"]

_TOP, _HEIGHT, _BETWEEN, _STRIP, _BOTTOM = 40, 290, 112, 64, 50  # px


def alarm_record_figure(
    records: Mapping[float, AlarmRecord], *, chosen: float | None = None
) -> Figure:
    """Draw failures foretold in time against false alarms, at each stated rate, and the leads.

    Parameters
    ----------
    records : mapping
        Stated rate of false alarms per 100 position-months -> record of the alarms at that rate, of
        one set of readings; the row 'all' of each is drawn.
    chosen : float, optional
        Stated rate drawn stronger, and whose times from alarm to failure stand below; the only one
        where there is one record.

    Raises
    ------
    InputError
        If no record stands at the chosen rate.
    """
    if chosen is not None and chosen not in records:
        known = ", ".join(f"{rate:g}" for rate in sorted(records))
        raise InputError(f"is {chosen!r}", where="chosen", hint=f"known here: {known or 'none'}")
    if len(records) == 1:
        chosen = next(iter(records))
    rates = sorted(records)
    if not rates:
        return only_words("no record of alarms")
    rows = pd.DataFrame([records[rate]["all"] for rate in rates], index=rates)
    drawn = rows.dropna(subset=["false_per_100", "in_time_share"])
    if not len(drawn):
        return only_words(str(rows["message"].iloc[0]))
    told = _leads(records[chosen]) if chosen is not None else None
    inner = _HEIGHT + (_BETWEEN + _STRIP if told else 0)
    traces, notes = _shares(drawn, chosen)
    layout: dict[str, Any] = {
        "margin": {"l": 66, "r": 24, "t": _TOP, "b": _BOTTOM},
        "xaxis": {
            "title": {"text": "false alarms per 100 position-months, as counted"},
            "range": [-0.015 * _edge(drawn), _edge(drawn)],
            "anchor": "y",
        },
        "yaxis": {
            "title": {"text": "failures foretold in time"},
            "range": [0, _height(drawn)],
            "tickformat": ".0%",
            "nticks": 6,
            "domain": [1 - _HEIGHT / inner, 1],
        },
    }
    if told:
        traces += told[0]
        notes += told[1]
        layout |= told[2]
        layout["yaxis2"]["domain"] = [0, _STRIP / inner]
    alt = (
        "Share of failures foretold in time against false alarms, at each stated rate: "
        + "; ".join(
            f"stated {rate:g}: {row['in_time_share']:.0%} at {row['false_per_100']:.2g} false"
            for rate, row in drawn.iterrows()
        )
    )
    return draw(traces, layout, notes=notes, height=inner + _TOP + _BOTTOM, alt=alt)


def _edge(rows: pd.DataFrame) -> float:
    """End of the axis: room for the points and most of their limits."""
    most = float(rows["false_per_100"].max())
    high = rows["false_per_100_high"].astype(float)
    return float(1.08 * max(min(high.max(), 2 * most) if most > 0 else high.max(), most, 0.1))


def _height(rows: pd.DataFrame) -> float:
    """Top of the axis: half of the failures at least, so that a low share looks low."""
    most = rows["in_time_share_high"].astype(float).max()
    return float(min(1.02, max(0.5, 1.15 * most)))


def _shares(
    rows: pd.DataFrame, chosen: float | None
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Foretold in time, with limits both ways, and what chance would foretell."""
    columns = ("false_per_100", "in_time_share", "time_in_alarm")
    x, y, chance = (rows[c].astype(float).round(5).tolist() for c in columns)
    strong = [rate == chosen for rate in rows.index]
    counts = [
        f"stated {rate:g}: {row['in_time']} of {row['foretold'] + row['silent']} failures read "
        f"before foretold in time; {counted(row['false'], 'false alarm', 'false alarms')} in "
        f"{row['months']:,.0f} position-months"
        for rate, row in rows.iterrows()
    ]
    thin = {"symbol": "x-thin", "size": 6, "line": {"width": 1.3, "color": GREY}}
    traces = [
        line(x, chance, "foretold by chance", colour=GREY, dash="dot", width=1.5,
             mode="lines+markers", marker=thin,
             hovertemplate="by chance: %{y:.1%}<extra></extra>"),
        *_limits(rows, strong),
        line(x, y, "foretold in time", width=1.5, hoverinfo="skip"),
    ]  # fmt: skip
    for name, keep, style in (
        ("stated rates", False, {"size": 8}),
        ("chosen rate", True, {"size": 12, "fill": LEAD}),
    ):
        at = [i for i, s in enumerate(strong) if s == keep]
        if at:
            traces.append(
                points(
                    [x[i] for i in at],
                    [y[i] for i in at],
                    name,
                    customdata=[counts[i] for i in at],
                    hovertemplate="%{customdata}<extra></extra>",
                    **style,
                )
            )
    left = {"xanchor": "right", "yanchor": "bottom", "xshift": -5, "yshift": 4}
    right = {"xanchor": "left", "yanchor": "top", "xshift": 7, "yshift": -3}
    edge = 0.15 * _edge(rows)
    notes = [
        label(
            f"<b>stated {rate:g}</b>" if s else f"{rate:g}", a, b, **(left if a > edge else right)
        )
        for rate, s, a, b in zip(rows.index, strong, x, y, strict=True)
    ]
    last = {"xanchor": "right", "yanchor": "bottom", "yshift": 3}
    quiet = {"font": {"size": 12, "color": GREY}}
    notes.append(label("foretold by chance", x[-1], chance[-1], **last, **quiet))
    corner = {"xref": "paper", "yref": "paper", "xanchor": "left", "yanchor": "bottom"}
    key = "of failures read shortly before, with limits; numbers: stated rate of false alarms"
    notes.append(label(key, 0, 1, yshift=6, **corner))
    return traces, notes


def _limits(rows: pd.DataFrame, strong: list[bool]) -> list[dict[str, Any]]:
    """Limits of each point as a cross of thin lines."""
    traces = []
    for keep, width in ((False, 1.0), (True, 2.5)):
        x: list[float | None] = []
        y: list[float | None] = []
        for (_, row), s in zip(rows.iterrows(), strong, strict=True):
            if s == keep:
                across, up = row["false_per_100"], row["in_time_share"]
                x += [
                    row["false_per_100_low"],
                    row["false_per_100_high"],
                    None,
                    across,
                    across,
                    None,
                ]
                y += [up, up, None, row["in_time_share_low"], row["in_time_share_high"], None]
        if x:
            name = "limits of the chosen rate" if keep else "limits"
            traces.append(line(x, y, name, width=width, opacity=0.6, hoverinfo="skip"))
    return traces


def _leads(
    record: AlarmRecord,
) -> tuple[list[dict[str, Any]], list[dict[str, Any]], dict[str, Any]]:
    """Times from alarm to failure, one dot each, and the lead that is needed."""
    row = record["all"]
    days = np.sort(record.failures["lead_d"].dropna().to_numpy(dtype=float))
    # dots beside each other are drawn apart: heights mean nothing
    height = (np.arange(len(days)) * 0.618) % 1.0
    need = record.lead_d
    at: dict[str, Any] = {"xaxis": "x2", "yaxis": "y2"}
    hover = "alarm %{x:.0f} d before the failure<extra></extra>"
    traces = []
    for name, keep, fill in (
        ("in time", days >= need, LEAD),
        ("too late", days < need, "white"),
    ):
        style: dict[str, Any] = {"fill": fill, "size": 8, "width": 1.3, "hovertemplate": hover}
        x, y = days[keep].round(2).tolist(), height[keep].round(3).tolist()
        traces.append(points(x, y, name, **style, **at))
    needed: dict[str, Any] = {"colour": INK, "dash": "dash", "width": 1.5, "hoverinfo": "skip"} | at
    traces.append(line([need, need], [-0.3, 1.3], "lead needed", **needed))
    late = int(row["foretold"]) - int(row["in_time"])
    failed = counted(row["failures"], "failure", "failures")
    told = (
        f"<b>Leads of the chosen rate</b>: of {failed}, ● {row['in_time']} foretold in time, "
        f"○ {late} too late,<br>{row['silent']} showed nothing before, {row['not_read']} not read "
        f"shortly before"
    )
    place = {"xref": "x2 domain", "yref": "y2 domain"}
    corner = {"xanchor": "left", "yanchor": "bottom", "align": "left", "yshift": 20}
    notes = [label(told, 0, 1, **corner, **place)]
    beside = {"xref": "x2", "yref": "y2 domain", "xanchor": "left", "yanchor": "bottom"}
    notes.append(label(f"{need:g} d needed to act", need, 1, xshift=-2, **beside))
    if not len(days):
        words = "no failure was foretold"
        notes.append(label(words, 0.5, 0.5, font={"size": 12, "color": GREY}, **place))
    end = max(float(days[-1]) if len(days) else 0.0, 2 * need, 1.0)
    layout = {
        "xaxis2": {
            "title": {"text": "days from alarm to failure"},
            "range": [-0.02 * end, 1.05 * end],
            "anchor": "y2",
        },
        "yaxis2": {
            "range": [-0.3, 1.3],
            "showgrid": False,
            "showticklabels": False,
            "ticks": "",
            "anchor": "x2",
        },
    }
    return traces, notes, layout
