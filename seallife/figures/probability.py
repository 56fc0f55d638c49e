"""Do the lives of each class lie on a Weibull line, as a picture: Weibull probability paper.

In: `LifeFits`, optionally lines through ranks. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.figures.life import axis_words, no_fit_words, unit_years
from seallife.figures.panels import at_risk_row, chosen, counted, foot, grid, head, inside, place_of
from seallife.figures.style import GREY, INK, band, draw, line, log_ticks, plain, points

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.life.fits import LifeFits
    from seallife.life.ranks import RankLine

__all__ = ["probability_figure"]

Floats = npt.NDArray[np.float64]

_FINE = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 0.9, 0.99, 0.999)
_COARSE = (0.001, 0.01, 0.1, 0.5, 0.9)
_BAND_AGES = 4  # ages from which a band is drawn; between fewer its bend would be made up
_CELLS = 80, 50  # of a panel: of failures in one of them only the first is drawn


def probability_figure(
    fits: LifeFits,
    ranks: Mapping[Any, RankLine] | None = None,
    *,
    groups: Sequence[Any] | None = None,
    columns: int = 3,
) -> Figure:
    """Draw the lives of each class on paper on which a Weibull law is a straight line.

    Circles are the failures at the middle of their Kaplan-Meier steps, which honour late entry;
    thin steps are the limits of Kaplan-Meier, age by age. The straight line is the Weibull fit, to
    the oldest seal seen, with its interval: a band where ``fits.survival`` holds four ages or more
    that the class has seen (ask `fit_lives` for ``survival_at=curves.band_ages()``), upright bars
    where fewer. Below five failures no line is drawn; without a failure only the upper bound of the
    share failed is. Below each panel stand the seals at risk at the ages marked.

    Parameters
    ----------
    fits : LifeFits
    ranks : mapping of class to RankLine, optional
        From `seallife.life.rank_line`, in the unit of the fits: drawn as thin dashes and named as a
        comparison only, for such a line knows nothing of late entry.
    groups : sequence, optional
        Classes to draw, in this order; all by default.
    columns : int
        Panels side by side.

    Raises
    ------
    InputError
        If a class is not in the fits, or ``columns`` is below 1.
    """
    names = fits.table[fits.by].tolist()
    rows = chosen(names, groups)
    paper = _Paper(fits, rows)
    alone = len(rows) == 1
    under = _legend(fits, paper, ranks)
    spots, height, margin = grid(len(rows), columns, 340 if alone else 165, len(under))
    traces: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = [foot(under)]
    layout: dict[str, Any] = {"margin": margin}
    for i, (k, x, y) in zip(rows, spots, strict=True):
        place, name = place_of(k), plain(names[i])
        drawn, said = paper.panel(i, name, None if ranks is None else ranks.get(names[i]))
        traces += [t | {"xaxis": f"x{k}", "yaxis": f"y{k}"} for t in drawn]
        notes.append(head(fits.table.iloc[i], name, place))
        if said:
            corner = {"xanchor": "right", "yanchor": "bottom", "align": "right"}
            notes.append(inside(said, place, x=0.98, y=0.03) | corner)
        notes += at_risk_row(paper.tick_places, paper.at_risk[i], place)
        layout |= paper.axes(k, x, y, _FINE if alone else _COARSE)
    return draw(traces, layout, notes=notes, height=height, alt=paper.alt())


def _legend(fits: LifeFits, paper: _Paper, ranks: Mapping[Any, RankLine] | None) -> list[str]:
    """What the axis counts and what the signs mean."""
    level = f"{100 * fits.level:g} %"
    lines = [
        f"age in {axis_words(fits)}, log scale; grey figures: seals at risk at that age",
        f"circles, thin steps: Kaplan-Meier with its limits at {level}, age by age",
    ]
    if any(not paper.words[i] for i in paper.rows):
        lines.append(f"straight line: Weibull fit with its interval at {level}, age by age")
        if ranks:
            lines.append("thin dashes: line through ranks, blind to late entry: a comparison only")
    return lines


def _height(share: Floats) -> Floats:
    """Where a share failed stands on the paper; NaN where it has no place there."""
    with np.errstate(divide="ignore", invalid="ignore"):
        height = np.log10(-np.log1p(-share))
    return np.where(np.isfinite(height), height, np.nan)


def _gaps(values: Floats) -> list[float | None]:
    """Values as plotly reads them: a line breaks where one is missing."""
    return [None if np.isnan(v) else float(v) for v in values]


class _Paper:
    """Points, limits and lines of all classes, on axes that all panels share."""

    def __init__(self, fits: LifeFits, rows: list[int]) -> None:
        self.fits, self.rows = fits, rows
        self.year = unit_years(fits)
        self.words = no_fit_words(fits.table)
        self.positions = fits.curves.plotting_positions()
        self.oldest = fits.table[f"oldest_age_{fits.unit}"].to_numpy(dtype=float) / self.year
        steps = [self._steps(i) for i in rows]
        failing = [i for i, s in zip(rows, steps, strict=True) if len(s)]
        end = float(np.nanmax(self.oldest[failing or rows], initial=0.0)) or 1.0
        ages = (
            np.concatenate([np.zeros(0), *(s["age"].to_numpy(dtype=float) for s in steps)])
            / self.year
        )
        first = float(ages.min(initial=end / 10))
        self.span = (float(np.log10(first / 1.4)), float(np.log10(end * 1.1)))
        heights = [_height(s["failed"].to_numpy(dtype=float)) for s in steps]
        seen = np.r_[*heights, *([] if failing else [_height(np.array([0.02, 0.9]))])]
        self.range = (
            float(np.nanmin(seen, initial=0)) - 0.45,
            float(np.nanmax(seen, initial=0)) + 0.35,
        )
        self.ticks = np.array(log_ticks(*self.span, least=3 if len(rows) == 1 else 2))
        self.tick_places = (np.log10(self.ticks) - self.span[0]) / (self.span[1] - self.span[0])
        at = fits.curves.at(self.ticks * self.year)["at_risk"].to_numpy()
        self.at_risk = at.reshape(len(fits.table), len(self.ticks))

    def _steps(self, i: int) -> pd.DataFrame:
        offsets = self.fits.curves.offsets
        return self.positions.iloc[int(offsets[i]) : int(offsets[i + 1])]

    def panel(self, i: int, name: str, ranks: RankLine | None) -> tuple[list[dict[str, Any]], str]:
        """Traces of one class and, where something is not drawn, a sentence."""
        steps, said = self._steps(i), []
        if not len(steps):
            return self._bound(i, name)
        traces = [*self._limits(steps, name, self.oldest[i]), self._circles(steps, name)]
        failures = int(self.fits.table["failures"].iloc[i])
        if not self.words[i]:
            interval, fit = self._law(i, name)
            traces = [interval, *traces, fit]
            if ranks is not None:
                traces.append(self._ranks(ranks, name))
        elif failures == 1:
            said.append("one failure<br>tells no shape:<br>no line")
        elif self.words[i] == "few failures":
            said.append(f"{failures} failures:<br>too few for a line")
        else:
            said.append(f"no line: {self.words[i]}")
        void = int(steps["failed"].isna().sum())
        if void:
            said.append(f"risk set<br>emptied: {void:,}<br>not drawn")
        return traces, "<br>".join(said)

    def _circles(self, steps: pd.DataFrame, name: str) -> dict[str, Any]:
        seen = steps[steps["failed"].notna()]
        x = seen["age"].to_numpy(dtype=float) / self.year
        y = _height(seen["failed"].to_numpy(dtype=float))
        across = (np.log10(x) - self.span[0]) / (self.span[1] - self.span[0]) * _CELLS[0]
        up = (y - self.range[0]) / (self.range[1] - self.range[0]) * _CELLS[1]
        keep = np.sort(np.unique(np.floor(across) * 1000 + np.floor(up), return_index=True)[1])
        if len(self.rows) == 1:
            keep = np.arange(len(x))
        told = seen[["failed", "low", "high", "at_risk"]].to_numpy(dtype=float)[keep]
        return points(
            x[keep].tolist(),
            y[keep].tolist(),
            f"{name} failures",
            colour=INK,
            fill="rgba(0,0,0,0)",
            size=5 if len(self.rows) > 1 else 7,
            width=1.1,
            customdata=[_gaps(row) for row in told],
            hovertemplate=(
                f"{name}: %{{customdata[0]:.1%}} (%{{customdata[1]:.1%}}–%{{customdata[2]:.1%}}) "
                "failed by %{x:.3g} y, %{customdata[3]:,.0f} at risk<extra></extra>"
            ),
        )

    def _limits(self, steps: pd.DataFrame, name: str, oldest: float) -> list[dict[str, Any]]:
        """Limits of Kaplan-Meier: each holds to the next failure, the last to the oldest seal."""
        age = steps["age"].to_numpy(dtype=float) / self.year
        x = np.stack([age, np.r_[age[1:], oldest]], axis=1).ravel().tolist()
        style: dict[str, Any] = {"colour": GREY, "width": 1, "hoverinfo": "skip"}
        out = []
        for side in ("low", "high"):
            height = np.repeat(_height(steps[side].to_numpy(dtype=float)), 2)
            out.append(line(x, _gaps(height), f"{name} {side} limit", **style))
        return out

    def _law(self, i: int, name: str) -> tuple[dict[str, Any], dict[str, Any]]:
        """Interval and fitted line, no further than the oldest seal seen."""
        fits, row, oldest = self.fits, self.fits.table.iloc[i], self.oldest[i]
        ends = np.array([10 ** self.span[0], oldest])
        log_scale = np.log10(float(row[f"scale_{fits.unit}"]) / self.year)
        height = float(row["shape"]) * (np.log10(ends) - log_scale)
        fit = line(ends.tolist(), height.tolist(), f"{name} Weibull", hoverinfo="skip")
        at = fits.survival[fits.survival[fits.by] == row[fits.by]].sort_values(f"age_{fits.unit}")
        at = at[at[f"age_{fits.unit}"] <= oldest * self.year * (1 + 1e-9)]
        age = at[f"age_{fits.unit}"].to_numpy(dtype=float) / self.year
        low, high = (_height(1 - at[f"weibull_{s}"].to_numpy(dtype=float)) for s in ("high", "low"))
        title = f"{name} Weibull interval"
        if len(age) >= _BAND_AGES:
            return band(age, low, high, title), fit
        x = np.repeat(age, 3).tolist()
        y = _gaps(np.stack([low, high, np.full(len(age), np.nan)], axis=1).ravel())
        return line(x, y, title, width=7, hoverinfo="skip") | {"opacity": 0.45}, fit

    def _ranks(self, ranks: RankLine, name: str) -> dict[str, Any]:
        age = ranks.table["age"].to_numpy(dtype=float)
        ends = np.array([age.min(), age.max()])
        height = (ranks.intercept + ranks.shape * np.log10(ends)).tolist()
        title = f"{name} line through ranks, a comparison only"
        x = (ends / self.year).tolist()
        return line(x, height, title, colour=INK, dash="dash", width=1, hoverinfo="skip")

    def _bound(self, i: int, name: str) -> tuple[list[dict[str, Any]], str]:
        """Without a failure: the share failed lies below a bound, as far as one can be given."""
        curves = self.fits.curves
        sets = slice(int(curves.risk_sets.offsets[i]), int(curves.risk_sets.offsets[i + 1]))
        start = 10 ** self.span[0] * self.year
        ages = np.unique(np.r_[start, np.maximum(curves.risk_sets.age[sets], start)])
        low = curves.running(ages)["low"].to_numpy().reshape(-1, len(ages))[i]
        height = _gaps(_height(1 - low))
        if all(h is None for h in height):
            # plotly draws no axes where no trace is
            return [line([None], [None], f"{name} bound")], "no failure, and no bound"
        bound = line((ages / self.year).tolist(), height, f"{name} upper bound", hoverinfo="skip")
        bound["line"]["shape"] = "vh"  # a bound holds up to its age
        return [bound], "no failure:<br>the share failed lies<br>below the line"

    def axes(
        self, k: str, x: list[float], y: list[float], shares: Sequence[float]
    ) -> dict[str, Any]:
        """Axes of one panel."""
        heights = _height(np.array(shares))
        shown = (heights >= self.range[0]) & (heights <= self.range[1])
        across = {
            "type": "log",
            "domain": x,
            "anchor": f"y{k}",
            "range": list(self.span),
            "tickvals": self.ticks.tolist(),
            "ticktext": [f"{t:g}" for t in self.ticks],
            "tickangle": 0,
        }
        up: dict[str, Any] = {
            "domain": y,
            "anchor": f"x{k}",
            "range": list(self.range),
            "tickvals": heights[shown].tolist(),
            "ticktext": [f"{100 * s:g} %" for s, keep in zip(shares, shown, strict=True) if keep],
            "showticklabels": x[0] == 0,
        }
        if x[0] == 0:
            up["title"] = {"text": "share failed"}
        return {f"xaxis{k}": across, f"yaxis{k}": up}

    def alt(self) -> str:
        """The figure in words."""
        fits, said = self.fits, []
        for i in self.rows:
            row = fits.table.iloc[i]
            of = f"{counted(row['failures'], 'failure', 'failures')} of {row['n']:,.0f}"
            law = f"shape {row['shape']:.2f} ({row['shape_low']:.2f} to {row['shape_high']:.2f})"
            said.append(f"{row[fits.by]}: {of}, {self.words[i] or law}")
        return f"Weibull probability plots by class, age in {axis_words(fits)}. {'; '.join(said)}."
