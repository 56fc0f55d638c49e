"""Does the failure rate rise with age, as a picture: counted by age, with the fitted law over it.

In: `WeibullHazards`, rates of `seallife.life.exposure_table`. Out: a figure. Next:
`seallife.report`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.errors import InputError
from seallife.figures.life import no_fit_words, round_up
from seallife.figures.panels import CLOCKS, chosen, counted, foot, grid, inside, place_of
from seallife.figures.style import GREY, INK, band, draw, label, line, log_ticks, plain, points

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.life.hazard import LawHazards, WeibullHazards

__all__ = ["hazard_figure"]

Floats = npt.NDArray[np.float64]

_DASHES = (("dash", "dashes"), ("dot", "dots"), ("dashdot", "dash-dots"), ("longdash", "long"))
_DECADES = 2.5  # of rates that the axis spans at most: wide limits tell nothing more


def hazard_figure(
    hazards: WeibullHazards,
    rates: pd.DataFrame,
    others: LawHazards | None = None,
    *,
    unit: str = "h",
    groups: Sequence[Any] | None = None,
    columns: int = 3,
) -> Figure:
    """Draw the failure rate of each class by age: one panel a class, all on one scale.

    A level stroke with a circle is the rate counted in a band of age, over the time lived in it,
    with its exact limits as an upright; a band without failures has only an upper limit, a
    triangle. The line with a band is the rate of the Weibull fit with its limits, no further than
    the oldest seal seen and, below five failures, not at all.

    Parameters
    ----------
    hazards : WeibullHazards
        From `seallife.life.weibull_hazard`, at enough ages for a smooth line.
    rates : pandas.DataFrame
        From `seallife.life.exposure_table` of the same lives, at the same level.
    others : LawHazards, optional
        Other laws, from `seallife.life.law_hazards`: thin lines without limits, to compare.
    unit : str
        Unit of the ages: 'h' and 'd' are drawn in years.
    groups : sequence, optional
        Classes to draw, in this order; all by default.
    columns : int
        Panels side by side.

    Raises
    ------
    InputError
        If a class is not in the result or has no rates, or ``columns`` is below 1.
    """
    year, clock = CLOCKS.get(unit, (1.0, plain(unit)))
    table = hazards.table
    rows = chosen(table["group"].tolist(), groups)
    words = no_fit_words(table)
    oldest = table["oldest_age"].to_numpy(dtype=float) / year
    counts = [_counted(rates, table["group"].iloc[i], year, oldest[i]) for i in rows]
    laws = [_law(hazards, i, year, oldest[i]) if not words[i] else None for i in rows]
    end = round_up(float(np.nanmax(oldest[[i for i in rows if not words[i]] or rows], initial=0)))
    edge = _edge(counts, laws)
    per = "year" if year != 1.0 else clock
    under = _legend(hazards, clock, per, others, any(law is not None for law in laws))
    high = 320 if len(rows) == 1 else 150
    spots, height, margin = grid(len(rows), columns, high, len(under), between=66)
    traces: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = [foot(under)]
    layout: dict[str, Any] = {"margin": margin}
    ticks, levels = np.linspace(0, end, 5), log_ticks(*edge)
    for i, seen, law, (k, x, y) in zip(rows, counts, laws, spots, strict=True):
        place, group = place_of(k), table["group"].iloc[i]
        name = plain(group)
        drawn = [*_law_traces(law, name, per), *_other_laws(others, group, year, oldest[i])]
        drawn += _rates(seen[seen["lower"] < end], name, edge, per)
        traces += [t | {"xaxis": f"x{k}", "yaxis": f"y{k}"} for t in drawn]
        notes.append(_head(seen, name, "y" if year != 1.0 else clock, place))
        if words[i]:
            why = _why(words[i], int(table["failures"].iloc[i]))
            corner = {"xanchor": "right", "yanchor": "bottom", "align": "right", "bgcolor": "white"}
            notes.append(inside(why, place, x=0.98, y=0.03) | corner)
        layout[f"xaxis{k}"] = {
            "domain": x,
            "anchor": f"y{k}",
            "range": [0, end],
            "tickvals": ticks.tolist(),
            "ticktext": [f"{t:,g}" for t in ticks],
        }
        layout[f"yaxis{k}"] = {
            "type": "log",
            "domain": y,
            "anchor": f"x{k}",
            "range": list(edge),
            "tickvals": levels,
            "ticktext": [f"{t:g}" for t in levels],
            "showticklabels": x[0] == 0,
            **({"title": {"text": f"per seal and {per}"}} if x[0] == 0 else {}),
        }
    return draw(traces, layout, notes=notes, height=height, alt=_alt(table, words, rows, per))


def _legend(
    hazards: WeibullHazards, clock: str, per: str, others: LawHazards | None, fitted: bool
) -> list[str]:
    """What the axes count and what the signs mean."""
    level = f"{100 * hazards.level:g} %"
    lines = [
        f"age in {clock}; upright: failures per seal and {per}, log scale",
        f"circles: counted in bands of age, exact limits at {level}; △ none failed: below this",
    ]
    if fitted:
        lines.append(f"line and band: Weibull fit with its interval at {level}, age by age")
    if others is not None:
        laws = dict.fromkeys(others.hazard["law"])
        said = ", ".join(f"{d} {n}" for n, (_, d) in zip(laws, _DASHES, strict=False))
        lines.append(f"to compare, without limits: {said}")
    return lines


def _counted(rates: pd.DataFrame, group: Any, year: float, oldest: float) -> pd.DataFrame:
    """Bands of one class in which time was lived, in years and per year."""
    seen = rates[rates["group"] == group]
    if not len(seen):
        raise InputError(f"has no class {group!r}", where="rates", hint="count the same lives")
    out: pd.DataFrame = seen[seen["exposure"] > 0].copy()
    out[["lower", "upper", "exposure"]] /= year
    out[["rate", "rate_low", "rate_high"]] *= year
    out["upper"] = np.minimum(out["upper"], oldest)
    return out


def _law(hazards: WeibullHazards, i: int, year: float, oldest: float) -> pd.DataFrame:
    """Rates of the fit of one class, inside the ages seen."""
    every = hazards.hazard
    out: pd.DataFrame = every[every["group"] == hazards.table["group"].iloc[i]].copy()
    out["age"] /= year
    out[["hazard", "low", "high"]] *= year
    inside_ages: pd.DataFrame = out[out["age"] <= oldest * (1 + 1e-9)]
    return inside_ages.sort_values("age")


def _edge(counts: list[pd.DataFrame], laws: list[pd.DataFrame | None]) -> tuple[float, float]:
    """Ends of the rate axis as powers of ten: all rates, and limits as far as there is room."""
    fitted = [law["hazard"] for law in laws if law is not None]
    some = [c.loc[c["failures"] > 0, "rate"] for c in counts]
    bounds = [c.loc[c["failures"] == 0, "rate_high"] for c in counts]
    for parts in ([*fitted, *some], bounds):
        known = np.concatenate([np.asarray(p, dtype=float) for p in parts] or [np.zeros(0)])
        known = np.log10(known[np.isfinite(known) & (known > 0)])
        if len(known):
            low, high = float(known.min()) - 0.3, float(known.max()) + 0.3
            return (max(low, high - _DECADES), high)
    return (-1.0, 1.0)


def _law_traces(law: pd.DataFrame | None, name: str, per: str) -> list[dict[str, Any]]:
    """Fitted line and its band."""
    if law is None:
        return []
    age, low, high, middle = (
        law[c].to_numpy(dtype=float) for c in ("age", "low", "high", "hazard")
    )
    told = f"{name}, Weibull: %{{y:.2g}} per {per} at %{{x:.3g}}<extra></extra>"
    return [
        band(age, low, high, f"{name} Weibull interval"),
        line(age.tolist(), middle.tolist(), f"{name} Weibull", hovertemplate=told),
    ]


def _other_laws(
    others: LawHazards | None, group: Any, year: float, oldest: float
) -> list[dict[str, Any]]:
    """Other laws of one class, inside the ages seen."""
    if others is None:
        return []
    out, every = [], others.hazard[others.hazard["group"] == group]
    for law, (dash, _) in zip(dict.fromkeys(others.hazard["law"]), _DASHES, strict=False):
        at = every[
            (every["law"] == law) & (every["age"] <= oldest * year) & every["hazard"].notna()
        ]
        at = at.sort_values("age")
        if len(at):
            x, y = (at["age"] / year).tolist(), (at["hazard"] * year).tolist()
            title = f"{plain(group)} {law}"
            out.append(line(x, y, title, colour=INK, dash=dash, width=1, hoverinfo="skip"))
    return out


def _pieces(first: Floats, second: Floats) -> list[float | None]:
    """Ends of strokes, each broken off from the next."""
    return [v for a, b in zip(first.tolist(), second.tolist(), strict=True) for v in (a, b, None)]


def _rates(
    seen: pd.DataFrame, name: str, edge: tuple[float, float], per: str
) -> list[dict[str, Any]]:
    """Counted rates with their limits."""
    left, right, low, high, rate = (
        seen[c].to_numpy(dtype=float) for c in ("lower", "upper", "rate_low", "rate_high", "rate")
    )
    some, middle = seen["failures"].to_numpy() > 0, (left + right) / 2
    told = np.array(
        [
            f"{name}, {a:.3g} to {b:.3g}: {counted(f, 'failure', 'failures')} in {e:,.3g}, "
            f"{r:.2g} per {per} ({lo:.2g}–{hi:.2g})"
            for a, b, f, e, r, lo, hi in zip(
                left, right, seen["failures"], seen["exposure"], rate, low, high, strict=True
            )
        ],
        dtype=object,
    )
    bottom = 10.0 ** (edge[0] - 1)  # a rate of 0 lies below any log axis
    uprights = _pieces(np.maximum(low, bottom), high)
    strokes = _pieces(left[some], right[some]), _pieces(rate[some], rate[some])
    style: dict[str, Any] = {"hovertemplate": "%{customdata}<extra></extra>", "colour": INK}
    return [
        line(_pieces(middle, middle), uprights, f"{name} limits", colour=GREY, width=1),
        line(*strokes, f"{name} bands", colour=INK, width=1.2, hoverinfo="skip"),
        points(
            middle[some].tolist(),
            rate[some].tolist(),
            f"{name} counted",
            size=5,
            width=1.2,
            customdata=told[some].tolist(),
            **style,
        ),
        points(
            middle[~some].tolist(),
            high[~some].tolist(),
            f"{name} none failed",
            symbol="triangle-up",
            size=7,
            width=1.2,
            customdata=told[~some].tolist(),
            **style,
        ),
    ]


def _head(seen: pd.DataFrame, name: str, unit: str, place: dict[str, str]) -> dict[str, Any]:
    """Name of a panel, failures and the time they came in."""
    failures = counted(float(seen["failures"].sum()), "failure", "failures")
    text = f"<b>{name}</b><br>{failures} in {seen['exposure'].sum():,.0f} {unit}"
    corner = {"xanchor": "left", "yanchor": "bottom", "yshift": 2, "align": "left"}
    return label(text, 0, 1, **corner, **place)


def _why(words: str, failures: int) -> str:
    """Why no law is drawn."""
    if failures == 0:
        return "no failure:<br>upper limits only"
    if failures == 1:
        return "one failure<br>tells no shape:<br>no line"
    few = f"{failures} failures:<br>too few for a line"
    return few if words == "few failures" else f"no line: {words}"


def _alt(table: pd.DataFrame, words: list[str], rows: list[int], per: str) -> str:
    """The figure in words."""
    said = []
    for i in rows:
        row = table.iloc[i]
        told = words[i] or f"fitted shape {row['shape']:.2f}"
        said.append(f"{row['group']}: {counted(row['failures'], 'failure', 'failures')}, {told}")
    return (
        f"Failure rate by age and class, per seal and {per}, counted in bands of age and fitted. "
        f"{'; '.join(said)}."
    )
