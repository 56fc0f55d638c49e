"""How long seals last, as a picture: survival by class.

In: `LifeFits`. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.figures.style import (
    GREY,
    INK,
    band,
    draw,
    label,
    line,
    panel_axes,
    plain,
)
from seallife.schema import DAYS_PER_YEAR, HOURS_PER_YEAR

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.life.fits import LifeFits

__all__ = ["axis_words", "no_fit_words", "round_up", "survival_figure", "thinned", "unit_years"]

Floats = npt.NDArray[np.float64]

_POINTS = 60  # along a fitted line


def unit_years(fits: LifeFits) -> float:
    """How many units of the fits' clock are one year?"""
    return HOURS_PER_YEAR if fits.unit == "h" else DAYS_PER_YEAR


def no_fit_words(table: pd.DataFrame) -> list[str]:
    """Which words stand in the place of each fit, '' where the fit is worth showing?

    A law through fewer than five failures can put its limits anywhere, up to lives of a million
    years; such a class is told in words.

    Parameters
    ----------
    table : pandas.DataFrame
        Table of `LifeFits`.
    """
    from seallife.life.weibull import FEW_FAILURES

    enough = table["failures"].to_numpy(dtype=float) >= FEW_FAILURES
    known = np.isfinite(table["shape"].to_numpy(dtype=float))
    fitted = table["status"].isin(["ok", "interval open"]).to_numpy(dtype=bool)
    words = np.where(fitted, "few failures", table["status"].to_numpy(dtype=object))
    return ["" if ok else str(w) for ok, w in zip(enough & known & fitted, words, strict=True)]


def axis_words(fits: LifeFits) -> str:
    """What the age axis counts."""
    return "years of running (8,766 h)" if fits.unit == "h" else "calendar years"


def survival_figure(fits: LifeFits, columns: int = 3) -> Figure:
    """Draw the share still running by age: one panel a class, all on one scale.

    Steps and band are Kaplan-Meier with its interval and assume no law; the dashed line is the
    Weibull fit, drawn no further than the oldest seal seen. Below each panel stand the seals at
    risk at the ages marked.

    Parameters
    ----------
    fits : LifeFits
    columns : int
        Panels side by side.
    """
    year = unit_years(fits)
    table, curves = fits.table, fits.curves
    classes = [plain(name) for name in table[fits.by]]
    columns = min(columns, max(len(classes), 1))
    rows = -(-len(classes) // columns)
    oldest = table[f"oldest_age_{fits.unit}"].to_numpy(dtype=float) / year
    words = no_fit_words(table)
    holds = np.array([not w for w in words], dtype=bool)
    # A class without failures may hold one very old seal; the others would shrink beside it.
    reach = oldest[holds] if holds.any() else oldest
    end = round_up(float(np.nanmax(reach, initial=0.0)))
    ticks = np.linspace(0, end, 5)
    at_risk = curves.at(ticks * year)["at_risk"].to_numpy().reshape(len(classes), len(ticks))
    spots = panel_axes(len(classes), columns, gap_x=0.06, gap_y=0.42 / max(rows, 1))
    traces: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = []
    layout: dict[str, Any] = {"margin": {"l": 66, "r": 14, "t": 42, "b": 74}}
    for i, (name, (k, x, y)) in enumerate(zip(classes, spots, strict=True)):
        here = {"xaxis": f"x{k}", "yaxis": f"y{k}"}
        row = table.iloc[i]
        steps = slice(int(curves.offsets[i]), int(curves.offsets[i + 1]))
        traces += [t | here for t in _curve(curves, steps, name, oldest[i], year, at_risk[i][1])]
        if holds[i]:
            traces += [t | here for t in _law(row, fits.unit, name, oldest[i], year)]
        layout[f"xaxis{k}"] = {
            "domain": x,
            "anchor": f"y{k}",
            "range": [0, end],
            "tickvals": ticks.tolist(),
            "ticktext": [f"{t:g}" for t in ticks],
        }
        layout[f"yaxis{k}"] = {
            "domain": y,
            "anchor": f"x{k}",
            "range": [0, 1.02],
            "tickvals": [0, 0.5, 1],
            "ticktext": ["0", "50 %", "100 %"],
            "showticklabels": i % columns == 0,
        }
        if i % columns == 0:
            layout[f"yaxis{k}"]["title"] = {"text": "still running"}
        notes += _panel_notes(row, name, words[i], k, ticks, at_risk[i])
    notes.append(
        label(
            f"{axis_words(fits)}; grey figures: seals at risk at that age",
            0.5,
            0,
            xref="paper",
            yref="paper",
            yanchor="top",
            yshift=-44,
            font={"size": 13, "color": INK},
        )
    )
    return draw(traces, layout, notes=notes, height=100 + 185 * rows)


_FEW_AT_RISK = 5


def _curve(
    curves: Any, steps: slice, name: str, oldest: float, year: float, watched: float
) -> list[dict[str, Any]]:
    """Kaplan-Meier steps from age 0 to the oldest age, and the band of their limits.

    ``watched`` is how many were at risk at the first age marked: what a class without failures
    rests on.
    """
    if not np.isfinite(oldest) or oldest <= 0:
        # plotly draws no axes where no trace is
        return [line([None], [None], f"{name} Kaplan-Meier")]
    age = np.r_[0.0, curves.age[steps] / year, oldest]
    risk = np.r_[np.nan, curves.at_risk[steps], np.nan]
    # Before the first failure the curve has no limits of its own, but that none of n failed has.
    n = risk[1] if len(risk) > 2 else watched
    least = ((1 - curves.level) / 2) ** (1 / n) if n >= 1 else np.nan
    values = {}
    for key, first in (("survival", 1.0), ("low", least), ("high", 1.0)):
        inner = getattr(curves, key)[steps]
        values[key] = np.r_[first, inner, inner[-1] if len(inner) else first]
    # A curve of many hundred steps is drawn with as many as an eye can tell.
    keep = thinned(len(age))
    age, risk, share = age[keep], risk[keep], values["survival"][keep]
    words = np.array(["" if np.isnan(r) else f", {r:,.0f} seals at risk" for r in risk])
    hours = f" ({HOURS_PER_YEAR:,.0f} h a year)" if year == HOURS_PER_YEAR else ""

    def steps_of(x: Floats, y: Floats, said: Any, title: str, **style: Any) -> dict[str, Any]:
        return line(
            x.round(4).tolist(),
            y.round(5).tolist(),
            title,
            step=True,
            customdata=said.tolist(),
            hovertemplate=(
                f"{name}: %{{y:.0%}} still running at %{{x:.2f}} y{hours}%{{customdata}}"
                "<extra></extra>"
            ),
            **style,
        )

    # Where few are at risk one failure is a cliff: up to there the line is solid, then dotted.
    few = np.flatnonzero(risk < _FEW_AT_RISK)
    cut = int(few[0]) if len(few) else len(age)
    level = np.r_[share[:cut], share[cut - 1 : cut]][: len(age[: cut + 1])]
    drawn = [
        band(age, values["low"][keep], values["high"][keep], f"{name} interval", step=True),
        steps_of(age[: cut + 1], level, words[: cut + 1], f"{name} Kaplan-Meier"),
    ]
    if cut < len(age):
        title = f"{name} Kaplan-Meier, few at risk"
        drawn.append(steps_of(age[cut:], share[cut:], words[cut:], title, dash="dot", width=1.2))
    return drawn


def thinned(n: int, most: int = 250) -> npt.NDArray[np.int64]:
    """Places of the steps drawn: all, or evenly chosen with both ends."""
    return np.unique(np.linspace(0, n - 1, min(n, most)).round().astype(np.int64))


def _law(row: Any, unit: str, name: str, oldest: float, year: float) -> list[dict[str, Any]]:
    """Weibull line to the oldest seal seen; none where nothing was fitted."""
    shape, scale = float(row["shape"]), float(row[f"scale_{unit}"]) / year
    if not (np.isfinite(shape) and np.isfinite(scale) and oldest > 0):
        return []
    age = np.linspace(0, oldest, _POINTS)
    share = np.exp(-((age / scale) ** shape))
    return [
        line(
            age.round(4).tolist(),
            share.round(5).tolist(),
            f"{name} Weibull",
            colour=INK,
            dash="dash",
            width=1.5,
            hovertemplate=f"{name}, Weibull: %{{y:.0%}} at %{{x:.2f}} y<extra></extra>",
        )
    ]


def _panel_notes(
    row: Any, name: str, words: str, k: str, ticks: Floats, at_risk: Floats
) -> list[dict[str, Any]]:
    """Name and counts above a panel, words inside where nothing is fitted, at-risk row below."""
    place = {"xref": f"x{k} domain", "yref": f"y{k} domain"}
    n, failures = int(row["n"]), int(row["failures"])
    plural = "failure" if failures == 1 else "failures"
    lives = "life" if n == 1 else "lives"
    notes = [
        label(
            f"<b>{name}</b><br>{n:,} {lives}, {failures:,} {plural}",
            0,
            1,
            xanchor="left",
            yanchor="bottom",
            yshift=2,
            align="left",
            **place,
        )
    ]
    if words:
        notes.append(
            label(
                f"no fit: {words}",
                0.5,
                0.5,
                font={"size": 12, "color": GREY},
                **place,
            )
        )
    for tick, number in zip(ticks[1:], at_risk[1:], strict=True):
        notes.append(
            label(
                f"{number:,.0f}",
                tick / ticks[-1],
                0,
                xanchor="center",
                yanchor="top",
                yshift=-20,
                font={"size": 11, "color": GREY},
                **place,
            )
        )
    return notes


def round_up(years: float) -> float:
    """End of the age axis: four even steps that end on round numbers."""
    if years <= 0:
        return 1.0
    unit = 10.0 ** np.floor(np.log10(years))
    steps = np.array([0.4, 0.8, 1, 1.2, 1.6, 2, 2.4, 3.2, 4, 6, 8, 10, 12]) * unit
    return float(steps[steps >= years * (1 - 1e-9)][0])
