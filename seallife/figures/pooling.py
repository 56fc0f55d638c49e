"""What each class gains from the others, as a picture: its own fit and the pooled one, joined.

In: `PooledWeibull`. Out: a figure. Next: `seallife.report`.
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
    draw,
    label,
    line,
    log_ticks,
    plain,
    points,
)

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.life.pooling import PooledWeibull

__all__ = ["pooling_figure"]

_WORDS = {"b10": "age by which 10 % have failed", "shape": "Weibull shape", "scale": "scale"}
_REACH = 4.0  # how far the axis may reach beyond the pooled intervals, as a factor
_GAP = 0.17
_INSIDE: dict[str, Any] = {
    "xref": "paper",
    "xanchor": "left",
    "xshift": 6,
    "font": {"size": 11, "color": GREY},
}


def pooling_figure(
    pooled: PooledWeibull, quantity: str = "b10", *, divide_by: float = 1.0, unit: str = ""
) -> Figure:
    """Draw each class's own figure and the pooled one, joined, and how much was borrowed.

    Above, an open diamond and a thin line: the class for itself, with its likelihood-ratio
    interval. Below, a filled circle and a thick line: pooled. The dotted line joins them. An own
    interval beyond the axis, or without an end, ends in an arrow; a class without a fit of its
    own says why.

    Parameters
    ----------
    pooled : PooledWeibull
    quantity : str
        'shape', 'scale' or a column of a share failed, such as 'b10', that both tables hold.
    divide_by : float
        Ages are divided by it: 8,766 turns hours into years. A shape has no unit.
    unit : str
        Name of the unit so reached, for the axis.

    Raises
    ------
    InputError
        If the tables have no such column, or ``divide_by`` is not above 0.
    """
    table, alone = pooled.table, pooled.alone
    if f"{quantity}_low" not in table or f"{quantity}_low" not in alone:
        hint = "use 'shape', 'scale' or a share failed that was fitted, such as 'b10'"
        raise InputError(f"is {quantity!r}", where="quantity", hint=hint)
    if not (np.isfinite(divide_by) and divide_by > 0):
        raise InputError(f"is {divide_by!r}", where="divide_by", hint="give a number above 0")
    by = 1.0 if quantity == "shape" else divide_by
    columns = [quantity, f"{quantity}_low", f"{quantity}_high"]
    ours, own = (t[columns].to_numpy(dtype=float) / by for t in (table, alone))
    names = [plain(g) for g in table["group"]]
    known = ours[np.isfinite(ours) & (ours > 0)]
    low, high = (known.min() / 1.25, known.max() * 1.25) if len(known) else (0.1, 10.0)
    seen = own[np.isfinite(own) & (own > 0)]
    if len(seen) and len(known):
        low = max(min(low, seen.min() / 1.1), low / _REACH)
        high = min(max(high, seen.max() * 1.1), high * _REACH)
    edge = (float(np.log10(low)), float(np.log10(high)))
    drawn = _Row(edge)
    for i in range(len(names)):
        told = "" if np.isfinite(own[i, 0]) else f"alone: {alone['status'].iloc[i]}"
        drawn.add(i, names[i], ours[i], own[i], told, unit if quantity != "shape" else "")
        if not np.isfinite(ours[i, 0]):
            words = f"pooled: {table['status'].iloc[i]}"
            drawn.notes.append(label(words, 0, i + _GAP, **_INSIDE))
    borrowed = "borrowed_shape" if quantity == "shape" else "borrowed_scale"
    notes = [*drawn.notes, *_columns(table, borrowed, pooled.level)]
    axis = _WORDS.get(quantity, f"age by which {quantity[1:]} % have failed")
    unit_words = f", {unit}" if unit and quantity != "shape" else ""
    layout = {
        "xaxis": {
            "type": "log",
            "range": list(edge),
            "title": {"text": f"{axis}{unit_words}, log scale"},
            "tickvals": log_ticks(*edge),
        },
        "yaxis": {
            "tickvals": list(range(len(names))),
            "ticktext": names,
            "range": [len(names) - 0.4, -0.6],
            "showgrid": False,
            "ticks": "",
        },
        "margin": {"l": 16, "r": 128, "t": 44, "b": 50},
    }
    traces = drawn.traces()
    if quantity == "shape" and edge[0] < 0 < edge[1]:
        ends = [-0.6, len(names) - 0.4]
        one = line([1.0, 1.0], ends, "shape 1", colour=INK, width=1, hoverinfo="skip")
        traces.insert(0, one)
    return draw(traces, layout, notes=notes, height=120 + 38 * len(names))


class _Row:
    """Marks and lines of all rows, gathered: few traces, whatever the number of classes."""

    def __init__(self, edge: tuple[float, float]) -> None:
        self.edge = edge
        self.notes: list[dict[str, Any]] = []
        self.lines: dict[str, tuple[list[Any], list[Any]]] = {
            k: ([], []) for k in ("alone", "pooled", "joined")
        }
        self.points: dict[str, list[tuple[float, float, str]]] = {"alone": [], "pooled": []}

    def add(self, i: int, name: str, ours: Any, own: Any, told: str, unit: str) -> None:
        """Add one class; its own figure above, the pooled one below."""
        least, most = 10 ** self.edge[0], 10 ** self.edge[1]
        places = []
        for kind, values, y in (("alone", own, i - _GAP), ("pooled", ours, i + _GAP)):
            middle, low, high = (float(v) for v in values)
            if np.isfinite(middle):
                start = low if np.isfinite(low) else least
                end = high if np.isfinite(high) else most
                self.lines[kind][0].extend([max(start, least), min(end, most), None])
                self.lines[kind][1].extend([y, y, None])
                for beyond, sign, at in (
                    (not high <= most, "▶", self.edge[1]),
                    (not low >= least, "◀", self.edge[0]),
                ):
                    if beyond:
                        self.notes.append(label(sign, at, y, font={"size": 10, "color": GREY}))
                limits = f"{_short(low)} to {_short(high)} {unit}".rstrip()
                if least <= middle <= most:
                    self.points[kind].append((middle, y, f"{name}, {kind}: {limits}"))
                    places.append((middle, y))
        if len(places) == 2:
            (x0, y0), (x1, y1) = places
            self.lines["joined"][0].extend([x0, x1, None])
            self.lines["joined"][1].extend([y0, y1, None])
        if told:
            self.notes.append(label(told, 0, i - _GAP, **_INSIDE))

    def traces(self) -> list[dict[str, Any]]:
        """Plotly traces: the joins below, the marks on top."""
        style: dict[str, dict[str, Any]] = {
            "alone": {"colour": OTHER, "width": 1.5},
            "pooled": {"colour": LEAD, "width": 4},
            "joined": {"colour": INK, "width": 1.2, "dash": "dot"},
        }
        out = [
            line(*self.lines[k], f"{k} interval" if k != "joined" else k, hoverinfo="skip", **s)
            for k, s in style.items()
        ]
        marks = (("alone", OTHER, "white", "diamond"), ("pooled", LEAD, LEAD, "circle"))
        for kind, colour, fill, symbol in marks:
            places = self.points[kind]
            out.append(
                points(
                    [p[0] for p in places],
                    [p[1] for p in places],
                    kind,
                    colour=colour,
                    fill=fill,
                    symbol=symbol,
                    customdata=[p[2] for p in places],
                    hovertemplate="%{x:.3g} (%{customdata})<extra></extra>",
                )
            )
        return out


def _short(value: float) -> str:
    """Three digits, or a word for a limit that is not there."""
    return f"{value:,.3g}" if np.isfinite(value) else "no limit"


def _columns(table: Any, borrowed: str, level: float) -> list[dict[str, Any]]:
    """Key above; failures and shares borrowed at the right."""
    beside = {"xref": "paper", "xanchor": "right"}
    above = {"yref": "paper", "yanchor": "bottom", "font": {"size": 12, "color": GREY}}
    what = "shape" if borrowed == "borrowed_shape" else "scale"
    key = f"◇ alone &nbsp; ● pooled; intervals at {100 * level:g} %"
    notes = [
        label(key, 0, 1, xref="paper", xanchor="left", **above),
        label("failures", 1, 1, xshift=56, **beside, **above),
        label(f"{what}<br>borrowed", 1, 1, xshift=122, align="right", **beside, **above),
    ]
    for i, (failures, share) in enumerate(zip(table["failures"], table[borrowed], strict=True)):
        notes.append(label(f"{failures:,}", 1, i, xshift=48, **beside))
        words = f"{share:.0%}".replace("%", " %") if np.isfinite(share) else "–"
        notes.append(label(words, 1, i, xshift=112, **beside))
    return notes
