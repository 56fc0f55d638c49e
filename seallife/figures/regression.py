"""What drives seal life, as a picture: one ratio a row, on a log axis about 1.

In: `FactorEffects`, or its table. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from seallife.figures.style import (
    GREY,
    INK,
    LEAD,
    OTHER,
    draw,
    label,
    line,
    log_ticks,
    plain,
    points,
)

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.life.effects import FactorEffects

__all__ = ["time_ratio_figure"]

_ENDS = {
    "time ratio": ("shorter life", "longer life", "life over that of the reference, log scale"),
    "hazard ratio": ("lower rate", "higher rate", "failure rate over the reference's, log scale"),
}
_WIDEST = 8.0  # times; an interval that goes further ends in an arrow
_LONGEST = 46  # characters of a row's name
_LINE = 28  # of them in one line


def time_ratio_figure(effects: FactorEffects) -> Figure:
    """Draw by which ratio each factor makes lives longer or shorter, with its interval.

    A full mark: the interval leaves out 1; an open one: it does not. An interval that rests on few
    failures or few positions is dashed; a row without a ratio says why in words.

    Parameters
    ----------
    effects : FactorEffects
        Of `fit_weibull_factors` or `fit_cox_factors`.
    """
    shorter, longer, axis = _ENDS[effects.kind]
    table = effects.table
    values = table[["ratio", "low", "high"]].to_numpy(dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        far = np.log10(values)
    reach = float(np.nanmax(np.abs(far))) if np.isfinite(far).any() else 0.0
    # an interval may end in an arrow, but its ratio is always seen
    middle = float(np.nanmax(np.abs(far[:, 0]))) if np.isfinite(far[:, 0]).any() else 0.0
    widest = max(float(np.log10(_WIDEST)), middle + 0.2)
    edge = float(np.clip(reach + 0.06, np.log10(1.5), widest))
    count = len(table)
    names = [_wrapped(t) for t in table["term"]]
    traces: list[dict[str, Any]] = [
        line([1.0, 1.0], [-0.6, count - 0.4], "no effect", colour=INK, width=1, hoverinfo="skip")
    ]
    notes: list[dict[str, Any]] = []
    for i, row in enumerate(table.to_dict("records")):
        right = {"xref": "paper", "xanchor": "right", "font": {"size": 12, "color": INK}}
        notes.append(label(f"{int(row['failures']):,}", 1, i, xshift=44, **right))
        if not np.isfinite(row["ratio"]):
            words = {"xref": "paper", "bgcolor": "white", "font": {"size": 12, "color": GREY}}
            notes.append(label(f"no ratio: {plain(row['status'])}", 0.5, i, **words))
            continue
        told = f"{_short(row['ratio'])} ({_short(row['low'])}–{_short(row['high'])})"
        notes.append(label(told, 1, i, xshift=168, **right))
        clear = bool(row["low"] > 1 or row["high"] < 1)
        colour = OTHER if row["ratio"] < 1 else LEAD
        if effects.kind != "time ratio":
            colour = LEAD if row["ratio"] < 1 else OTHER
        low, high = (float(np.clip(np.log10(row[k]), -edge, edge)) for k in ("low", "high"))
        dash = "solid" if row["status"] == "ok" else "dot"
        span = [10**low, 10**high]
        traces.append(
            line(span, [i, i], "interval", colour=colour, width=3, dash=dash, hoverinfo="skip")
        )
        for limit, at, head, to in (("low", -edge, "◀", "left"), ("high", edge, "▶", "right")):
            if abs(np.log10(row[limit])) > edge:
                arrow = {"xanchor": to, "font": {"size": 11, "color": colour}}
                notes.append(label(head, at, i, **arrow))
        traces.append(
            points(
                [row["ratio"]],
                [i],
                plain(row["term"], _LONGEST),
                colour=colour,
                fill=colour if clear else "white",
                hovertemplate=f"{plain(row['says'], 200)}<extra></extra>",
            )
        )
    notes += _heads(shorter, longer, effects.level)
    layout = {
        "xaxis": {
            "type": "log",
            "range": [-edge, edge],
            "title": {"text": axis},
            "tickvals": _ticks(edge),
            "tickangle": 0,
        },
        "yaxis": {
            "tickvals": list(range(count)),
            "ticktext": names,
            "range": [count - 0.4, -0.6],
            "tickfont": {"size": 12},
            "showgrid": False,
            "ticks": "",
        },
        "margin": {"l": 16, "r": 178, "t": 46, "b": 50},
    }
    deep = 40 if any("<br>" in name for name in names) else 30
    return draw(traces, layout, notes=notes, height=96 + deep * max(count, 1))


def _wrapped(term: object) -> str:
    """Name of a row, in two lines where one would leave no room for the picture."""
    words = plain(term, _LONGEST).split(" ")
    if len(" ".join(words)) <= _LINE:
        return " ".join(words)
    lengths = np.cumsum([len(w) + 1 for w in words])
    cut = int(np.argmin(np.abs(lengths[:-1] - lengths[-1] / 2))) + 1 if len(words) > 1 else 1
    return f"{' '.join(words[:cut])}<br>{' '.join(words[cut:])}".removesuffix("<br>")


def _short(ratio: float) -> str:
    """Ratio as a column holds it: two decimals, fewer from 10 on."""
    return f"{ratio:.2f}" if ratio < 10 else f"{ratio:.3g}" if ratio < 1000 else "> 999"


def _heads(shorter: str, longer: str, level: float) -> list[dict[str, Any]]:
    """Words over the figure: which way is which, and what the columns hold."""
    top = {"yref": "paper", "yanchor": "bottom", "font": {"size": 12, "color": GREY}}
    side = {"xref": "paper", "xanchor": "right", **top}
    return [
        label(f"◀ {shorter}", 0, 1, xref="paper", xanchor="left", **top),
        label(f"{longer} ▶", 1, 1, xref="paper", xanchor="right", xshift=-4, **top),
        label("failures", 1, 1, xshift=54, yshift=16, **side),
        label(f"ratio ({100 * level:g} %)", 1, 1, xshift=170, **side),
    ]


def _ticks(edge: float) -> list[float]:
    """Ticks about 1 that a reader knows, also where the axis is short."""
    if edge < np.log10(2.2):
        return [
            v for v in (0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.1, 1.25, 1.5, 2) if abs(np.log10(v)) < edge
        ]
    both = log_ticks(0.0, edge)
    return sorted({1 / v for v in both} | set(both))
