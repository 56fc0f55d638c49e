"""How long seals last, as a picture: survival by class.

In: `LifeFits`. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.figures.panels import CLOCKS, at_risk_row, foot, grid, head, inside, place_of
from seallife.figures.style import INK, band, draw, line, plain
from seallife.schema import HOURS_PER_YEAR

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.life.curves import SurvivalCurves
    from seallife.life.fits import LifeFits

__all__ = ["axis_words", "no_fit_words", "round_up", "survival_figure", "thinned", "unit_years"]

Floats = npt.NDArray[np.float64]

_POINTS = 60  # along a fitted line


def unit_years(fits: LifeFits) -> float:
    """How many units of the fits' clock are one year?"""
    return CLOCKS[fits.unit][0]


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
    return CLOCKS[fits.unit][1]


def survival_figure(fits: LifeFits, columns: int = 3) -> Figure:
    """Draw the share still running by age: one panel a class, all on one scale.

    Steps and band are Kaplan-Meier with its interval and assume no law, dotted where fewer than
    five are at risk; before the first failure the band is a lower bound. The dashed line is the
    Weibull fit, drawn no further than the oldest seal seen. Where a risk set emptied while older
    seals still ran, the steps end. Below each panel stand the seals at risk at the ages marked.

    Parameters
    ----------
    fits : LifeFits
    columns : int
        Panels side by side.

    Raises
    ------
    InputError
        If ``columns`` is below 1.
    """
    year = unit_years(fits)
    table, curves = fits.table, fits.curves
    oldest = table[f"oldest_age_{fits.unit}"].to_numpy(dtype=float) / year
    words = no_fit_words(table)
    holds = np.array([not w for w in words], dtype=bool)
    # A class without failures may hold one very old seal; the others would shrink beside it.
    reach = oldest[holds] if holds.any() else oldest
    end = round_up(float(np.nanmax(reach, initial=0.0)))
    ticks = np.linspace(0, end, 5)
    at_risk = curves.at(ticks * year)["at_risk"].to_numpy().reshape(len(table), len(ticks))
    under = _legend(fits, bool(holds.any()))
    spots, height, margin = grid(len(table), columns, 125, len(under))
    traces: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = [foot(under)]
    layout: dict[str, Any] = {"margin": margin}
    for i, (k, x, y) in enumerate(spots):
        row, place = table.iloc[i], place_of(k)
        name = plain(row[fits.by])
        drawn = _curve(curves, i, name, oldest[i], year)
        if holds[i]:
            drawn += _law(row, fits.unit, name, oldest[i], year)
        traces += [t | {"xaxis": f"x{k}", "yaxis": f"y{k}"} for t in drawn]
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
            "showticklabels": x[0] == 0,
        }
        if x[0] == 0:
            layout[f"yaxis{k}"]["title"] = {"text": "still running"}
        notes.append(head(row, name, place))
        notes += at_risk_row(ticks[1:] / end, at_risk[i][1:], place)
        if words[i]:
            notes.append(inside(f"no fit: {words[i]}", place))
        if _emptied(curves, i):
            corner = {"xanchor": "right", "yanchor": "top", "align": "right"}
            notes.append(inside("risk set emptied:<br>steps end", place, 0.98, 0.98) | corner)
    return draw(traces, layout, notes=notes, height=height)


_FEW_AT_RISK = 5


def _legend(fits: LifeFits, fitted: bool) -> list[str]:
    """What the axis counts and what the signs mean."""
    steps = f"steps, band: Kaplan-Meier and its {100 * fits.level:g} % interval"
    return [
        f"age in {axis_words(fits)}; grey figures: seals at risk at that age",
        f"{steps}; dotted: fewer than {_FEW_AT_RISK} at risk",
        *(["dashed: Weibull fit, to the oldest seal seen"] if fitted else []),
    ]


def _emptied(curves: SurvivalCurves, i: int) -> bool:
    return bool(curves.table["status"].iloc[i] == "risk set emptied")


def _curve(
    curves: SurvivalCurves, i: int, name: str, oldest: float, year: float
) -> list[dict[str, Any]]:
    """Kaplan-Meier steps from age 0 to the oldest age, and the band of their limits."""
    if not np.isfinite(oldest) or oldest <= 0:
        # plotly draws no axes where no trace is
        return [line([None], [None], f"{name} Kaplan-Meier")]
    age, risk, values = _steps(curves, i, oldest * year)
    age = age / year
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
            customdata=list(said),
            hovertemplate=(
                f"{name}: %{{y:.0%}} still running at %{{x:.2f}} y{hours}%{{customdata}}"
                "<extra></extra>"
            ),
            **style,
        )

    drawn = [band(age, values["low"][keep], values["high"][keep], f"{name} interval", step=True)]
    # Where few are at risk one failure is a cliff, and what follows rests on it: from there dotted.
    few = _few_from(curves, i) / year
    cut = int(np.searchsorted(age, few, side="right"))
    at, level = np.r_[age[:cut], min(few, age[-1])], np.r_[share[:cut], share[cut - 1]]
    if few > 0:
        drawn.append(steps_of(at, level, [*words[:cut], ""], f"{name} Kaplan-Meier"))
    if few < age[-1]:
        title = f"{name} Kaplan-Meier, few at risk"
        x, y = np.r_[few, age[cut:]], np.r_[share[cut - 1], share[cut:]]
        said = ["", *words[cut:]]
        drawn.append(steps_of(x, y, said, title, dash="dot", width=1.2))
    return drawn


def _few_from(curves: SurvivalCurves, i: int) -> float:
    """Age from which fewer than five are at risk, for the first time."""
    sets = curves.risk_sets
    events = slice(int(sets.offsets[i]), int(sets.offsets[i + 1]))
    # those at risk at an event were so since the event before
    since = np.r_[0.0, sets.age[events], np.inf]
    few = np.flatnonzero(np.r_[sets.at_risk[events], 0.0] < _FEW_AT_RISK)
    return float(since[few[0]])


def _steps(
    curves: SurvivalCurves, i: int, oldest: float
) -> tuple[Floats, Floats, dict[str, Floats]]:
    """Ages from 0, lives at risk, survival and limits from each age to the next."""
    steps = slice(int(curves.offsets[i]), int(curves.offsets[i + 1]))
    inner = {k: getattr(curves, k)[steps] for k in ("age", "at_risk", "survival", "low", "high")}
    if not len(inner["age"]):
        # none failed: the bound at an age holds from the event before
        sets = curves.risk_sets
        events = slice(int(sets.offsets[i]), int(sets.offsets[i + 1]))
        keep = thinned(events.stop - events.start)
        age, risk = np.r_[0.0, sets.age[events][keep]], sets.at_risk[events][keep]
        low = _bound(curves, i, age[1:])
        ones = np.ones(len(age))
        values = {"survival": ones, "low": np.r_[low, low[-1]], "high": ones}
        return age, np.r_[risk, risk[-1]], values
    if _emptied(curves, i):
        # the step down to nothing is the last that says anything
        last = int(np.flatnonzero(inner["survival"] == 0)[0]) + 1
        inner = {k: v[:last] for k, v in inner.items()}
        oldest = float(inner["age"][-1])
    start = _bound(curves, i, np.nextafter(inner["age"][:1], 0))[0]
    firsts = {"survival": 1.0, "low": start, "high": 1.0}
    values = {k: np.r_[v, inner[k], inner[k][-1]] for k, v in firsts.items()}
    return (
        np.r_[0.0, inner["age"], oldest],
        np.r_[np.nan, inner["at_risk"], np.nan],
        values,
    )


def _bound(curves: SurvivalCurves, i: int, ages: Floats) -> Floats:
    """Lower limit of one class at ages before its first failure."""
    low: Floats = curves.running(ages)["low"].to_numpy().reshape(-1, len(ages))[i]
    return low


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


def round_up(years: float) -> float:
    """End of the age axis: four even steps that end on round numbers."""
    if years <= 0:
        return 1.0
    unit = 10.0 ** np.floor(np.log10(years))
    steps = np.array([0.4, 0.8, 1, 1.2, 1.6, 2, 2.4, 3.2, 4, 6, 8, 10, 12]) * unit
    return float(steps[steps >= years * (1 - 1e-9)][0])
