"""One look for all figures: quiet grid, direct labels, safe for colour-blind eyes and grey print.

In: plain traces and layout. Out: a plotly Figure. Next: the other modules of this folder.

Our template travels inside each figure; plotly's own defaults are never changed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

__all__ = [
    "GREY",
    "INK",
    "LEAD",
    "OTHER",
    "PALE",
    "band",
    "draw",
    "faint",
    "label",
    "line",
    "log_ticks",
    "panel_axes",
    "plain",
    "points",
]

INK, GREY, PALE = "#222222", "#666666", "#e4e4e4"
LEAD, OTHER = "#0072B2", "#D55E00"
"""Blue and vermilion differ for every kind of colour vision; dash and marker tell them in grey."""

FONT = "system-ui, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, 'Liberation Sans', sans-serif"

_AXIS = {
    "showgrid": True,
    "gridcolor": PALE,
    "gridwidth": 1,
    "zeroline": False,
    "showline": True,
    "linecolor": GREY,
    "ticks": "outside",
    "ticklen": 4,
    "tickcolor": GREY,
    "title": {"standoff": 8, "font": {"size": 13}},
    "automargin": True,
}
_TEMPLATE: dict[str, Any] = {
    "layout": {
        "font": {"family": FONT, "size": 13, "color": INK},
        "paper_bgcolor": "white",
        "plot_bgcolor": "white",
        "colorway": [LEAD, OTHER, "#009E73", "#CC79A7", "#56B4E9", "#E69F00"],
        "xaxis": _AXIS,
        "yaxis": _AXIS,
        "showlegend": False,
        "hovermode": "closest",
        "hoverlabel": {"font": {"family": FONT}},
        "margin": {"l": 64, "r": 16, "t": 16, "b": 56},
    }
}

Floats = npt.NDArray[np.float64]


def draw(
    traces: Iterable[Mapping[str, Any]],
    layout: Mapping[str, Any],
    *,
    notes: Sequence[Mapping[str, Any]] = (),
    height: int = 340,
    alt: str = "",
) -> Figure:
    """Put traces and layout into a figure that carries our template.

    Parameters
    ----------
    traces : iterable of mapping
        Plotly traces as plain values.
    layout : mapping
        Axes and what else differs from the template.
    notes : sequence of mapping
        Annotations, see `label`.
    height : int
        [px]; the width is the page's.
    alt : str
        The figure in words, for who cannot see it: travels as ``layout.meta["alt"]``.
    """
    from plotly.graph_objects import Figure

    whole = {"template": _TEMPLATE, "height": height, "annotations": list(notes), **layout}
    if alt:
        whole["meta"] = {"alt": alt}
    return Figure(data=list(traces), layout=whole)


def faint(colour: str, share: float = 0.18) -> str:
    """Return a colour thinned for a band."""
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red},{green},{blue},{share:g})"


def line(
    x: Sequence[Any] | npt.NDArray[Any],
    y: Sequence[Any] | npt.NDArray[Any],
    name: str,
    *,
    colour: str = LEAD,
    dash: str = "solid",
    width: float = 2,
    step: bool = False,
    **more: Any,
) -> dict[str, Any]:
    """Return a line; ``step`` keeps each value to the next."""
    style: dict[str, Any] = {"color": colour, "dash": dash, "width": width}
    if step:
        style["shape"] = "hv"
    return {"type": "scatter", "mode": "lines", "x": x, "y": y, "name": name, "line": style, **more}


def band(
    x: Sequence[Any] | npt.NDArray[Any],
    low: Floats,
    high: Floats,
    name: str,
    *,
    colour: str = LEAD,
    step: bool = False,
    **more: Any,
) -> dict[str, Any]:
    """Return an interval as one filled outline; broken where a limit is missing."""
    at, lower, upper = np.asarray(x), np.asarray(low, float), np.asarray(high, float)
    known = np.isfinite(lower) & np.isfinite(upper)
    edges = np.flatnonzero(np.diff(np.r_[False, known, False].astype(int)))
    xs: list[Any] = []
    ys: list[float | None] = []
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        part, down, up = at[a:b], lower[a:b], upper[a:b]
        if step and b < len(at):
            # the last level known holds to the place where the next is missing
            part, down, up = at[a : b + 1], np.r_[down, down[-1]], np.r_[up, up[-1]]
        if step and len(part) > 1:
            part, down, up = (_stairs(v, i) for i, v in enumerate((part, down, up)))
        if xs:
            xs.append(None)
            ys.append(None)
        if part.dtype.kind == "f":
            part = part.round(4)
        xs += [*part.tolist(), *part[::-1].tolist()]
        ys += [*up.round(5).tolist(), *down[::-1].round(5).tolist()]
    if at.dtype.kind == "M":
        xs = [
            None if v is None else str(np.datetime64(v, "ns").astype("datetime64[D]")) for v in xs
        ]
    return {
        "type": "scatter",
        "mode": "lines",
        "x": xs,
        "y": ys,
        "name": name,
        "fill": "toself",
        "fillcolor": faint(colour),
        "line": {"width": 0, "color": faint(colour, 0)},
        "hoverinfo": "skip",
        **more,
    }


def points(
    x: Sequence[Any] | npt.NDArray[Any],
    y: Sequence[Any] | npt.NDArray[Any],
    name: str,
    *,
    colour: str = LEAD,
    fill: str = "white",
    symbol: str = "circle",
    size: float = 9,
    width: float = 2,
    **more: Any,
) -> dict[str, Any]:
    """Return marks with a rim; ``fill`` is what is inside it."""
    rim = {"color": colour, "width": width}
    marker = {"color": fill, "symbol": symbol, "size": size, "line": rim}
    return {
        "type": "scatter",
        "mode": "markers",
        "x": x,
        "y": y,
        "name": name,
        "marker": marker,
    } | more


def _stairs(values: npt.NDArray[Any], which: int) -> npt.NDArray[Any]:
    """Turn points into the corners of stairs: ages move first, levels follow."""
    doubled = np.repeat(values, 2)
    return doubled[1:] if which == 0 else doubled[:-1]


def label(text: str, x: Any, y: Any, **more: Any) -> dict[str, Any]:
    """Return a text without arrow; ``xref``, ``yref``, ``font`` and so on as given."""
    return {
        "text": text,
        "x": x,
        "y": y,
        "showarrow": False,
        "font": {"size": 12, "color": INK},
        **more,
    }


_STEPS = (
    (1,),
    (1, 2, 5),
    (1, 1.5, 2, 3, 5, 7),
    (1, 1.2, 1.4, 1.7, 2, 2.5, 3, 4, 5, 6, 8),
    (1, 1.1, 1.2, 1.3, 1.4, 1.6, 1.8, 2, 2.2, 2.5, 3, 3.5, 4, 5, 6, 7, 8, 9),
    tuple(k / 10 for k in range(10, 100)),
)
"""Numbers of a decade that may be ticks, coarse to fine."""


def log_ticks(low: float, high: float, least: int = 3) -> list[float]:
    """Where do ticks stand on a log axis that runs between two powers of ten?

    As few as a reader knows, but ``least`` of them where the axis holds so many at all.

    Examples
    --------
    >>> log_ticks(0, 1)
    [1.0, 2.0, 5.0, 10.0]
    """
    decades = range(int(np.floor(low)), int(np.ceil(high)) + 1)
    ticks: list[float] = []
    for steps in _STEPS[int(high - low < 3 and least > 2) :]:
        # a short axis between 1 and 2 would else carry one number, or none
        ticks = [m * 10.0**d for d in decades for m in steps]
        ticks = [t for t in ticks if low <= np.log10(t) <= high]
        if len(ticks) >= least:
            break
    return ticks


def plain(text: object, longest: int = 22) -> str:
    """Name from the records as text: plotly reads a little HTML, and a name must not be any.

    A name of more than ``longest`` characters, too long for a small panel, is cut.

    Examples
    --------
    >>> plain("HC <b>HOT</b>")
    'HC &lt;b&gt;HOT&lt;/b&gt;'
    """
    name = str(text)
    return escape(name if len(name) <= longest else f"{name[: longest - 1]}…", quote=False)


def panel_axes(
    count: int, columns: int, *, gap_x: float = 0.07, gap_y: float = 0.1
) -> list[tuple[str, list[float], list[float]]]:
    """Where do small panels stand?

    Returns
    -------
    list of (number, x domain, y domain)
        Row by row from the top; the number is '' for the first panel, as plotly counts axes.
    """
    rows = -(-count // columns)
    width = (1 - gap_x * (columns - 1)) / columns
    height = (1 - gap_y * (rows - 1)) / rows
    out = []
    for i in range(count):
        row, column = divmod(i, columns)
        left, top = column * (width + gap_x), 1 - row * (height + gap_y)
        out.append(
            ("" if i == 0 else str(i + 1), [left, left + width], [max(top - height, 0.0), top])
        )
    return out
