"""What figures of one row a thing share: bars from limit to limit, their axis, columns beside.

In: limits, names and words by row. Out: parts for `seallife.figures.style.draw`. Next:
`seallife.figures.demandyears`, `outageline`, `stockroom`, `bestage`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import unescape
from typing import Any

import numpy as np
import numpy.typing as npt

from seallife.figures.style import GREY, label

__all__ = [
    "HALF",
    "below",
    "column",
    "height_of",
    "known_names",
    "left_of",
    "row_axis",
    "short_count",
    "spans",
    "upright",
]

HALF = 0.4
"""Of a whole number: by so much ranges of counts reach further, so that one from 2 to 2 is seen."""


_ROW = 24  # px


def spans(
    low: npt.ArrayLike, high: npt.ArrayLike, at: npt.ArrayLike
) -> tuple[list[Any], list[Any]]:
    """Places of one trace that draws a bar from limit to limit in each row that has both.

    Examples
    --------
    >>> spans([1, 2], [3, float("nan")], [0, 1])
    ([1.0, 3.0, None], [0.0, 0.0, None])
    """
    ends = np.column_stack([np.asarray(v, dtype=float) for v in (low, high)])
    rows = np.asarray(at, dtype=float)
    x: list[Any] = []
    y: list[Any] = []
    for (a, b), row in zip(ends.tolist(), rows.tolist(), strict=True):
        if np.isfinite(a) and np.isfinite(b):
            x += [round(a, 6), round(b, 6), None]
            y += [row, row, None]
    return x, y


def row_axis(names: Sequence[str]) -> dict[str, Any]:
    """Axis of rows from the top down, with their names, safe as text, as ticks."""
    return {
        "tickvals": list(range(len(names))),
        "ticktext": list(names),
        "tickfont": {"size": 12},
        "range": [len(names) - 0.4, -0.6],
        "showgrid": False,
        "ticks": "",
    }


def left_of(names: Sequence[str]) -> int:
    """Margin that such names need [px]."""
    return 22 + round(6.9 * max((len(unescape(name)) for name in names), default=0))


def height_of(rows: int, above: int, under: int) -> int:
    """Height of a figure of so many rows between two margins [px]."""
    return above + under + _ROW * max(rows, 1) + 10


def column(
    head: str, texts: Sequence[str], shift: int, *, align: str = "left", axis: str = ""
) -> list[dict[str, Any]]:
    """One text a row at the right of the panel, ``shift`` px from it, and a head above.

    An empty text leaves its row blank; ``axis`` is the number of the panel.
    """
    place = {"xref": "paper", "xanchor": align, "xshift": shift, "align": align}
    above = {"yref": f"y{axis} domain", "yanchor": "bottom", "yshift": 2}
    notes = [label(t, 1, i, yref=f"y{axis}", **place) for i, t in enumerate(texts) if t]
    grey = {"size": 12, "color": GREY}
    return [label(head, 1, 1, font=grey, **place, **above), *notes] if head else notes


def below(lines: Sequence[str], shift: int = -46, left: int = 0) -> list[dict[str, Any]]:
    """Lines under the axis, ``left`` px from its left end."""
    where = {"xref": "paper", "yref": "paper", "xanchor": "left", "yanchor": "top"}
    text = "<br>".join(line for line in lines if line)
    return [label(text, 0, 0, yshift=shift, xshift=left, align="left", **where)] if text else []


def upright(x: float, colour: str, *, dash: str = "solid", width: float = 1) -> dict[str, Any]:
    """Line through all rows at one place of the axis, behind everything."""
    style = {"color": colour, "dash": dash, "width": width}
    return {"type": "line", "layer": "below", "x0": x, "x1": x, "y0": 0, "y1": 1,
            "yref": "paper", "line": style}  # fmt: skip


def known_names(names: Iterable[object]) -> str:
    """First of the names that there are, for a hint."""
    return ", ".join(map(str, list(dict.fromkeys(names))[:12]))


def short_count(value: float) -> str:
    """Mean number of seals in two or three digits.

    Examples
    --------
    >>> short_count(0.0512), short_count(4.93), short_count(1234.5)
    ('0.051', '4.9', '1,234')
    """
    return f"{value:,.0f}" if value >= 99.5 else f"{value:.1f}" if value >= 0.95 else f"{value:.2g}"
