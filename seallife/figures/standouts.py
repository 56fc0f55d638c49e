"""Units that stand out from their class: counts against expectation, funnel, shrunk ratios.

In: `StandOuts`. Out: figures. Next: `seallife.report`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from seallife.errors import InputError
from seallife.figures.style import (
    GREY,
    INK,
    LEAD,
    OTHER,
    band,
    draw,
    label,
    line,
    log_ticks,
    plain,
)

if TYPE_CHECKING:
    import pandas as pd
    from plotly.graph_objects import Figure

    from seallife.history.standoutresult import StandOuts

__all__ = ["exceedance_figure", "funnel_figure", "standout_forest"]

_NAMED = 8  # labels beyond which a picture is all letters
_HEIGHT, _LINE = 420, 16  # pixels
_LEAST = 0.05  # expected failures, below which nothing is drawn: no count there tells of a unit


def exceedance_figure(result: StandOuts) -> Figure:
    """Draw observed against expected failures of each unit, and who stands out how surely.

    Parameters
    ----------
    result : StandOuts
        Units listed are filled and named, with the probability that their ratio is above (or below)
        the ratio that matters.
    """
    shown = _shown(result)
    limits = result.funnel[result.funnel["expected"] >= _LEAST]
    expected = limits["expected"].to_numpy(dtype=float)
    counts = {c: limits[c].to_numpy(dtype=float) * expected for c in limits.columns[1:]}
    observed = shown["observed"].to_numpy(dtype=float)
    top = max(float(observed.max(initial=3.0)) * 1.15, 4.0)
    axis = {"title": {"text": "failures observed"}, "range": [-0.02 * top, top]}
    middle = line(expected, expected, "as expected", colour=GREY, dash="dash", width=1.5)
    return _scatter(result, shown, "observed", counts, middle, axis)


def funnel_figure(result: StandOuts) -> Figure:
    """Draw the ratio of observed to expected failures against what is expected.

    Parameters
    ----------
    result : StandOuts
        The bands hold a unit looked at alone in 90 % and 99.8 % of cases if only chance is at work;
        of many units a few lie outside by chance.
    """
    shown = _shown(result)
    limits = result.funnel[result.funnel["expected"] >= _LEAST]
    expected = limits["expected"].to_numpy(dtype=float)
    ratios = {c: limits[c].to_numpy(dtype=float) for c in limits.columns[1:]}
    named = shown[shown["verdict"].isin(_LISTED)]
    ratio = shown["ratio"].to_numpy(dtype=float)
    most = np.r_[np.nanquantile(ratio, 0.99) if len(ratio) else 1.0, named["ratio"]]
    top = max(float(np.nanmax(most)) * 1.15, 3.0)
    axis = {"title": {"text": "observed / expected"}, "range": [-0.02 * top, top]}
    middle = line(expected, np.ones(len(expected)), "1", colour=GREY, dash="dash", width=1.5)
    return _scatter(result, shown, "ratio", ratios, middle, axis)


_LISTED = ("worse than its class", "better than its class")


def _shown(result: StandOuts) -> pd.DataFrame:
    """Units that were compared and expect enough for a picture."""
    table = result.table
    shown = table[table["p"].notna() & (table["expected"] >= _LEAST)]
    if not len(shown):
        raise InputError(
            "no unit expects failures", where="result", hint="there is nothing to draw"
        )
    return shown


def _scatter(
    result: StandOuts,
    shown: pd.DataFrame,
    height: str,
    limits: dict[str, Any],
    middle: dict[str, Any],
    axis: dict[str, Any],
) -> Figure:
    """Points over bands of chance; those listed filled and named."""
    grid = np.asarray(middle["x"], dtype=float)
    traces = [
        band(grid, limits["far_low"], limits["far_high"], "99.8 % of units by chance", colour=GREY),
        band(grid, limits["low"], limits["high"], "90 % of units by chance", colour=GREY),
        middle,
    ]
    worse, better = (shown["verdict"] == v for v in _LISTED)
    for name, rows, symbol, colour, size in (
        ("not listed", shown[~worse & ~better], "circle-open", GREY, 6),
        (_LISTED[1], shown[better], "triangle-down", LEAD, 10),
        (_LISTED[0], shown[worse], "circle", OTHER, 10),
    ):
        traces.append(_points(result, rows, height, name, symbol, colour, size))
    listed = shown[worse | better]
    top = float(axis["range"][1])
    low, high = np.log10(grid[[0, -1]])
    notes = _names(result, listed.head(_NAMED), height, top, (float(low), float(high)))
    corner = {"xref": "paper", "yref": "paper", "yanchor": "bottom", "font": {"size": 12}}
    told = [
        "○ not listed &nbsp; ● worse &nbsp; ▼ better",
        f"{len(shown):,} units; bands: chance (90, 99.8 %)",
    ]
    if len(listed):
        told.append(f"name, probability beyond {result.ratio:g} times")
    notes.append(label("<br>".join(told), 0, 1, xanchor="left", align="left", **corner))
    layout = {
        "xaxis": {
            "type": "log",
            "title": {"text": "failures expected, log scale"},
            "range": [float(low) - 0.03, float(high) + 0.2],
            "tickvals": log_ticks(low, high + 0.2),
        },
        "yaxis": axis,
        "margin": {"l": 56, "r": 16, "t": 64, "b": 50},
    }
    return draw(traces, layout, notes=notes, height=_HEIGHT)


def _points(
    result: StandOuts,
    rows: pd.DataFrame,
    height: str,
    name: str,
    symbol: str,
    colour: str,
    size: int,
) -> dict[str, Any]:
    """Markers with what is known of each unit."""
    by = result.by
    told = [
        f"{plain(n)}: {o:,} observed, {e:.2f} expected, ratio {s:.1f} ({lo:.1f} to {hi:.1f})"
        for n, o, e, s, lo, hi in zip(
            rows[by],
            rows["observed"],
            rows["expected"],
            rows["ratio_shrunk"],
            rows["ratio_low"],
            rows["ratio_high"],
            strict=True,
        )
    ]
    return {
        "type": "scatter",
        "mode": "markers",
        "x": rows["expected"].tolist(),
        "y": rows[height].tolist(),
        "name": name,
        "marker": {"symbol": symbol, "color": colour, "size": size, "line": {"width": 1.2}},
        "customdata": told,
        "hovertemplate": "%{customdata}<extra></extra>",
    }


def _names(
    result: StandOuts, rows: pd.DataFrame, height: str, top: float, span: tuple[float, float]
) -> list[dict[str, Any]]:
    """Write the name of each point listed beside it.

    Names of points that meet stand above each other, and where there is no place for one it is
    left to the table.
    """
    notes: list[dict[str, Any]] = []
    taken: list[tuple[float, float]] = []
    apart = 0.35 * max(span[1] - span[0], 0.3)
    step = _LINE * top / (_HEIGHT - 114)  # a line of text in units of the axis
    for _, row in rows.iterrows():
        x, y = float(np.log10(row["expected"])), float(row[height])
        places = (y, y + step, y - step)
        free = [
            at
            for at in places
            if 0 <= at <= top - step / 2
            and not any(abs(at - o) < 0.99 * step and abs(x - b) < apart for b, o in taken)
        ]
        if not free:
            continue  # a name far from its point would be read as that of another
        at = free[0]
        taken.append((x, at))
        sure = row["prob_above"] if row["verdict"] == _LISTED[0] else row["prob_below"]
        text = f"<b>{plain(row[result.by], 18)}</b> {100 * sure:.0f} %"
        right = x > (span[0] + span[1]) / 2
        notes.append(
            label(
                text,
                x,
                y,
                xanchor="right" if right else "left",
                xshift=-8 if right else 8,
                yshift=round((at - y) / step * _LINE),
            )
        )
    return notes


def standout_forest(result: StandOuts) -> Figure:
    """Draw the ratios of those listed: as counted, and drawn towards 1 as far as chance demands.

    Parameters
    ----------
    result : StandOuts
    """
    rows = result.listed
    if not len(rows):
        raise InputError("no unit is listed", where="result", hint="say so in words")
    columns = ["ratio_shrunk", "ratio_low", "ratio_high"]
    shrunk = rows[columns].to_numpy(dtype=float)
    raw = rows["ratio"].to_numpy(dtype=float)
    known = np.isfinite(raw) & (raw > 0)
    seen = np.r_[shrunk.ravel(), raw[known], 1.0]
    low, high = np.log10(max(seen.min(), 0.005) / 1.2), np.log10(min(seen.max(), 100) * 1.2)
    names = [plain(n) for n in rows[result.by]]
    bars: tuple[list[float | None], list[float | None]] = ([], [])
    joins: tuple[list[float | None], list[float | None]] = ([], [])
    for i, (middle, least, most) in enumerate(shrunk.tolist()):
        bars[0].extend([least, most, None])
        bars[1].extend([i, i, None])
        if known[i]:
            joins[0].extend([middle, raw[i], None])
            joins[1].extend([i, i - 0.22, None])
    level = f"{100 * result.level:g} %"
    traces = [
        line([1, 1], [-0.6, len(rows) - 0.4], "as its class", colour=GREY, dash="dash", width=1.5),
        line(*bars, f"interval at {level}", colour=LEAD, width=4, hoverinfo="skip"),
        line(*joins, "joined", colour=INK, dash="dot", width=1.2, hoverinfo="skip"),
        _marks(
            raw[known], np.flatnonzero(known) - 0.22, names, "as counted", OTHER, "diamond-open"
        ),
        _marks(shrunk[:, 0], np.arange(len(rows)), names, "shrunk", LEAD, "circle"),
    ]
    layout = {
        "xaxis": {
            "type": "log",
            "range": [float(low), float(high)],
            "title": {"text": "times the rate of its class, log scale"},
            "tickvals": log_ticks(low, high),
        },
        "yaxis": {
            "tickvals": list(range(len(rows))),
            "ticktext": names,
            "range": [len(rows) - 0.4, -0.6],
            "showgrid": False,
            "ticks": "",
        },
        "margin": {"l": 16, "r": 124, "t": 48, "b": 50},
    }
    key = f"◇ as counted<br>● shrunk, {level}"
    return draw(traces, layout, notes=_columns(rows, key), height=120 + 34 * len(rows))


def _marks(x: Any, y: Any, names: list[str], name: str, colour: str, symbol: str) -> dict[str, Any]:
    rows = np.rint(np.asarray(y, dtype=float) + 0.1).astype(int)
    return {
        "type": "scatter",
        "mode": "markers",
        "x": np.asarray(x).tolist(),
        "y": np.asarray(y).tolist(),
        "name": name,
        "marker": {"symbol": symbol, "color": colour, "size": 9, "line": {"width": 2}},
        "customdata": [names[i] for i in rows],
        "hovertemplate": f"%{{customdata}}, {name}: %{{x:.2f}}<extra></extra>",
    }


def _columns(rows: pd.DataFrame, key: str) -> list[dict[str, Any]]:
    """Key above; counts seen, expected and to come at the right."""
    beside = {"xref": "paper", "xanchor": "right"}
    above = {"yref": "paper", "yanchor": "bottom", "font": {"size": 12, "color": GREY}}
    notes = [label(key, 0, 1, xref="paper", xanchor="left", align="left", **above)]
    places = (("failed<br>of class", 62), ("<br>again", 112))
    for head, shift in places:
        notes.append(label(head, 1, 1, xshift=shift, align="right", **beside, **above))
    told = zip(rows["observed"], rows["expected"], rows["again_expected"], strict=True)
    for i, (seen, expected, again) in enumerate(told):
        texts = (f"{seen:,} / {expected:,.1f}", f"{again:,.1f}")
        for text, (_, shift) in zip(texts, places, strict=True):
            notes.append(label(text, 1, i, xshift=shift, **beside))
    return notes
