"""What each stock level of a pool would give, and what it costs in a year, as a picture.

In: `LevelChoices`. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.errors import InputError
from seallife.figures.panels import only_words
from seallife.figures.rows import below, known_names
from seallife.figures.style import GREY, INK, LEAD, OTHER, draw, label, line, plain, points

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.spares.stocklevels import LevelChoices

__all__ = ["stock_curve_figure"]

_SERVICES = {
    "months without shortage": "months_without_shortage",
    "no shortage through the protection time": "no_shortage_protection",
    "no shortage through the horizon": "no_shortage_horizon",
    "fill rate": "fill_rate",
}
"""Measure of service -> its column."""
_CORNER = {"xref": "paper", "yref": "paper", "xanchor": "left", "yanchor": "bottom"}

Marks = tuple[list[dict[str, Any]], list[dict[str, Any]]]
Floats = npt.NDArray[np.float64]


def stock_curve_figure(levels: LevelChoices, pool: str, *, currency: str = "") -> Figure:
    """Draw what each stock level of a pool gives, and what it costs in a year where that is known.

    Parameters
    ----------
    levels : LevelChoices
    pool : str
    currency : str
        Of the prices, for the axis.

    Raises
    ------
    InputError
        If there is no such pool.
    """
    mine = levels.table[levels.table["pool"] == pool]
    if mine.empty:
        hint = f"known here: {known_names(levels.table['pool'])}"
        raise InputError(f"there is no {pool!r}", where="pool", hint=hint)
    row = mine.iloc[0]
    curve = levels.curve[levels.curve["pool"] == pool].sort_values("stock")
    if curve.empty:
        return only_words(f"{plain(pool)}: {plain(row['message'], 200)}")
    money = bool(curve["cost_per_year"].notna().any())
    stock = curve["stock"].to_numpy(dtype=float)
    share = curve[_SERVICES[row["measure"]]].to_numpy(dtype=float)
    traces, notes = _service(stock, share, row)
    layout: dict[str, Any] = {
        "margin": {"l": 66, "r": 92 if money else 30, "t": 62, "b": 66 if money else 84},
        "shapes": [],
    }
    panels = ("", "2") if money else ("",)
    for number, domain in zip(panels, ([0, 0.4 if money else 0.8], [0.58, 1]), strict=False):
        layout[f"xaxis{number}"] = {
            "title": {"text": "stock level (order up to), seals"},
            "domain": domain,
            "anchor": f"y{number}",
            "range": [stock.min() - 0.5, stock.max() + 0.5],
            **({"dtick": 1} if np.ptp(stock) < 10 else {"nticks": 6}),
        }
    layout["yaxis"] = {
        "title": {"text": str(row["measure"]).replace(" through ", " through<br>")},
        "range": [0, 1.06],
        "tickformat": ".0%",
    }
    if money:
        most = _most(curve)
        drawn, said = _costs(stock, curve, row, most)
        traces, notes = traces + drawn, notes + said
        text = f"cost a year{f', {plain(currency)}' if currency else ''}"
        layout["yaxis2"] = {
            "title": {"text": text},
            "anchor": "x2",
            "range": [-0.02 * most, most],
            "tickformat": ",.4~g" if most < 10 else ",.0f",
        }
    else:
        notes += below([f"No yearly cost: {plain(row['message'], 90)}"], shift=-52, left=-56)
    notes.append(_head(row, levels.runs))
    alt = (
        f"Pool {pool}: {row['measure']} at each stock level from {stock[0]:.0f} to "
        f"{stock[-1]:.0f}; {row['stock']:.0f} is the smallest for {row['share']:.0%}"
        + (f"; {row['cheapest']:.0f} costs least in a year." if money else ".")
    )
    return draw(traces, layout, notes=notes, height=330, alt=alt)


def _head(row: pd.Series[Any], runs: int) -> dict[str, Any]:
    """Name of the pool, and which level is which."""
    said = [f"● {row['stock']:.0f}: smallest for the service asked"]
    if np.isfinite(row["cheapest"]):
        said.append(f"◇ {row['cheapest']:.0f}: costs least")
    if np.isfinite(row["stock_now"]):
        said.append(f"┊ {row['stock_now']:.0f}: in use")
    text = f"<b>{plain(row['pool'])}</b>, {runs:,} futures<br>{' &nbsp; '.join(said)}"
    return label(text, 0, 1, yshift=12, xshift=-56, align="left", **_CORNER)


def _service(stock: Floats, share: Floats, row: pd.Series[Any]) -> Marks:
    """Share of service at each level, and the share asked."""
    asked = float(row["share"])
    ends = [stock.min() - 0.5, stock.max() + 0.5]
    hover = "%{x:.0f} seals: %{y:.1%}<extra></extra>"
    traces = [
        line(ends, [asked, asked], "asked", colour=GREY, dash="dash", width=1.5, hoverinfo="skip"),
        *_in_use(row, [0, 1.06], ""),
        line(stock.tolist(), share.round(5).tolist(), "service", width=1.5, hoverinfo="skip"),
        points(stock.tolist(), share.round(5).tolist(), "levels", size=7, hovertemplate=hover),
        *_marked(stock, share, row, ""),
    ]
    corner = {"xanchor": "right", "yanchor": "top", "font": {"size": 12, "color": GREY}}
    return traces, [label(f"{asked:.0%} asked", ends[1], asked, yshift=-2, **corner)]


def _most(curve: pd.DataFrame) -> float:
    """Top of the axis of costs: the lowest cost must not vanish below that of an empty store."""
    total, holding = curve["cost_per_year"], curve["holding_per_year"]
    enough = max(4 * float(total.min()), 1.5 * float(holding.max()))
    most = float(total.max())
    return 1.06 * (min(most, enough) if enough > 0 else most) or 1.0


def _costs(stock: Floats, curve: pd.DataFrame, row: pd.Series[Any], most: float) -> Marks:
    """Cost of each level, and what it is made of."""
    total, holding, short = (
        curve[c].to_numpy(dtype=float)
        for c in ("cost_per_year", "holding_per_year", "shortage_per_year")
    )
    place = {"xaxis": "x2", "yaxis": "y2"}
    hover = "%{x:.0f} seals: %{y:,.0f} a year<extra></extra>"
    parts = (("on the shelf", holding, OTHER, "dash"), ("waiting", short, GREY, "dot"))
    traces = [
        line(stock.tolist(), part.round(2).tolist(), name, colour=colour, dash=dash, width=1.5,
             hovertemplate=f"{name}: {hover}")
        for name, part, colour, dash in parts
    ]  # fmt: skip
    traces += [
        *_in_use(row, [0, most], "2"),
        line(stock.tolist(), total.round(2).tolist(), "cost", width=1.5, hoverinfo="skip"),
        points(stock.tolist(), total.round(2).tolist(), "costs", size=7, hovertemplate=hover),
        *_marked(stock, total, row, "2"),
    ]
    at: dict[str, Any] = {"xref": "x2", "yref": "y2", "xanchor": "left", "xshift": 14}
    notes = [
        label(name, stock[-1], float(part[-1]), font={"size": 12, "color": colour}, **at)
        for name, part, colour, _ in parts
    ]
    high = {"xref": "x2", "yref": "y2 domain", "yanchor": "top", "font": {"size": 11}}
    notes += [label("▲", x, 1, **high) for x in stock[total > most].tolist()]
    return [t | place for t in traces], notes


def _in_use(row: pd.Series[Any], ends: list[float], number: str) -> list[dict[str, Any]]:
    """Upright line at the level in use."""
    now = float(row["stock_now"])
    if not np.isfinite(now):
        return []
    style: dict[str, Any] = {"colour": INK, "dash": "dot", "width": 1.5, "hoverinfo": "skip"}
    return [line([now, now], ends, f"in use{number}", **style)]


def _marked(
    stock: Floats, values: Floats, row: pd.Series[Any], number: str
) -> list[dict[str, Any]]:
    """Level chosen, and the cheapest."""
    out = []
    for column_, name, symbol, size, fill in (
        ("cheapest", "cheapest", "diamond", 15, "white"),
        ("stock", "chosen", "circle", 9, LEAD),
    ):
        at = np.flatnonzero(stock == row[column_])
        if len(at):
            x, y = stock[at].tolist(), values[at].round(5).tolist()
            style: dict[str, Any] = {"symbol": symbol, "size": size, "fill": fill}
            style |= {"colour": INK if name == "cheapest" else LEAD, "hoverinfo": "skip"}
            out.append(points(x, y, f"{name}{number}", **style))
    return out
