"""Which classes last, and which do not, at one look: a few figures of each class side by side.

In: `LifeFits`. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from seallife.errors import InputError
from seallife.figures.forest import interval_marks
from seallife.figures.life import no_fit_words, unit_years
from seallife.figures.style import GREY, INK, LEAD, OTHER, draw, label, line, log_ticks, plain

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.life.fits import LifeFits

__all__ = ["class_figure"]

Floats = npt.NDArray[np.float64]

_GAP = 0.055
_ROW = 30  # px


def class_figure(
    fits: LifeFits, bounds: LifeFits | None = None, *, ages: Sequence[float] = (1.0, 3.0)
) -> Figure:
    """Draw of each class the share still running at some ages, B10 and shape, with their limits.

    One row a class, that of the shortest B10 first; classes without one last. The shares are
    Kaplan-Meier's; B10 and shape are those of the Weibull fit, of five failures and more. Without a
    failure there is a bound: an arrow leads from it to where the truth may lie.

    Parameters
    ----------
    fits : LifeFits
    bounds : LifeFits, optional
        Of the same lives with a ``fixed_shape``: of a class without a fit it says B10, dotted,
        under that shape, or without a failure its lower bound.
    ages : sequence of float
        In years of the clock.

    Raises
    ------
    InputError
        If an age is not above 0, or ``bounds`` are of other classes or another clock.
    """
    years = np.asarray(ages, dtype=float)
    if years.ndim != 1 or not len(years) or not np.all(np.isfinite(years) & (years > 0)):
        raise InputError(f"is {ages!r}", where="ages", hint="give years above 0, such as (1, 3)")
    if bounds is not None and (
        bounds.clock != fits.clock
        or bounds.table[bounds.by].tolist() != fits.table[fits.by].tolist()
    ):
        hint = "fit the same table by the same class and clock with fixed_shape"
        raise InputError("are of other classes or another clock", where="bounds", hint=hint)
    rows = _Rows(fits, bounds, years)
    count = len(years) + 2
    width = (1 - _GAP * (count - 1)) / count
    traces: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = []
    layout: dict[str, Any] = {"margin": {"l": 16, "r": 58, "t": 44, "b": 84}}
    for j, column in enumerate(rows.columns()):
        k = "" if j == 0 else str(j + 1)
        drawn, said = column.drawn(rows, k)
        traces, notes = traces + drawn, notes + said
        left = j * (width + _GAP)
        layout[f"xaxis{k}"] = {"domain": [left, left + width], "anchor": f"y{k}", **column.axis}
        layout[f"yaxis{k}"] = {
            "anchor": f"x{k}",
            "range": [len(rows.names) - 0.4, -0.6],
            "tickvals": list(range(len(rows.names))),
            "ticktext": rows.names,
            "showticklabels": j == 0,
            "ticks": "",
        }
    notes += [*rows.failures(), _foot(fits, bounds)]
    height = 128 + _ROW * max(len(rows.names), 1)
    return draw(traces, layout, notes=notes, height=height, alt=rows.alt())


def _foot(fits: LifeFits, bounds: LifeFits | None) -> dict[str, Any]:
    """Level and signs, below all columns."""
    text = f"bars: {100 * fits.level:g} % intervals; ▶ none failed: the truth lies to the right"
    if bounds is not None and len(bounds.table):
        shapes = bounds.table["shape"].dropna()
        if len(shapes):
            text += f"<br>dotted: if the shape is {shapes.iloc[0]:g}"
    where = {"xref": "paper", "yref": "paper", "yanchor": "top", "yshift": -50}
    return label(text, 0.5, 0, **where)


class _Column:
    """One small forest: head, values by row, axis, and words where there is nothing to draw."""

    def __init__(
        self,
        head: str,
        values: Floats,
        axis: dict[str, Any],
        words: list[str],
        *,
        log: bool,
        told: str,
        colour: str = LEAD,
        symbol: str = "circle",
        dotted: npt.NDArray[np.bool_] | None = None,
        line_at: float | None = None,
    ) -> None:
        self.head, self.values, self.axis, self.words = head, values, axis, words
        self.log, self.told, self.colour, self.symbol = log, told, colour, symbol
        self.dotted = np.zeros(len(values), bool) if dotted is None else dotted
        self.line_at = line_at

    def drawn(self, rows: _Rows, k: str) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
        """Traces and notes of the column."""
        axes, place = (f"x{k}", f"y{k}"), {"xref": f"x{k} domain", "yref": f"y{k}"}
        traces: list[dict[str, Any]] = []
        if self.line_at is not None:
            ends = [-0.6, len(rows.names) - 0.4]
            middle = line([self.line_at] * 2, ends, "1", colour=INK, width=1, hoverinfo="skip")
            traces.append(middle | {"xaxis": axes[0], "yaxis": axes[1]})
        notes = [
            label(
                self.head,
                0,
                1,
                xref=f"x{k} domain",
                yref="paper",
                xanchor="left",
                yanchor="bottom",
                align="left",
            )
        ]
        for dotted, dash in ((False, "solid"), (True, "dot")):
            here = np.flatnonzero(self.dotted == dotted)
            if dotted and not len(here):
                continue
            marks, heads = interval_marks(
                self.values[here],
                here.astype(float),
                [rows.names[i] for i in here],
                self.head.replace("<br>", " ") + (" under a shape taken" if dotted else ""),
                edge=float(self.axis["range"][1]),
                colour=self.colour,
                symbol=self.symbol,
                dash=dash,
                log=self.log,
                told=self.told,
                size=7,
                axes=axes,
            )
            traces, notes = traces + marks, notes + heads
        grey = {"font": {"size": 11, "color": GREY}, "bgcolor": "white", **place}
        notes += [label(w, 0.5, i, **grey) for i, w in enumerate(self.words) if w]
        return traces, notes


class _Rows:
    """Values of all classes in the order drawn."""

    def __init__(self, fits: LifeFits, bounds: LifeFits | None, years: Floats) -> None:
        self.fits, self.years, self.unit = fits, years, fits.unit
        year = unit_years(fits)
        words = no_fit_words(fits.table)
        fitted = np.array([not w for w in words], dtype=bool)
        b10, shape = self._three(fits, f"b10{{}}_{fits.unit}") / year, self._three(fits, "shape{}")
        b10[~fitted], shape[~fitted] = np.nan, np.nan
        self.assumed = np.zeros(len(words), bool)
        taken = np.full(len(words), np.nan)
        if bounds is not None:
            under = self._three(bounds, f"b10{{}}_{bounds.unit}") / year
            self.assumed = ~fitted & np.isfinite(under[:, 1])
            b10[self.assumed] = under[self.assumed]
            taken[self.assumed] = bounds.table["shape"].to_numpy(dtype=float)[self.assumed]
        seen = fits.curves.running(years * year)
        emptied = (fits.curves.table["status"] == "risk set emptied").to_numpy()
        shares = seen[["survival", "low", "high"]].to_numpy().reshape(len(words), len(years), 3)
        shares = shares.copy()
        gone = shares[:, :, 0] == 0
        self.share_words = np.where(np.isnan(shares[:, :, 0]), "not seen", "").astype(object)
        self.share_words[gone] = "none left"
        self.share_words[gone & emptied[:, None]] = "cannot tell"
        shares[gone] = np.nan
        bound = shares[:, :, 0] == 1
        shares[bound] = np.stack(
            [np.full(bound.sum(), np.nan), shares[bound][:, 1], np.full(bound.sum(), np.inf)], 1
        )
        # first by B10, then by its bound, then what has neither
        key = np.where(np.isfinite(b10[:, 0]), b10[:, 0], np.inf)
        order = np.lexsort((np.nan_to_num(b10[:, 1], nan=np.inf), key))
        self.names = [plain(v) for v in fits.table[fits.by].to_numpy(dtype=object)[order]]
        self.b10, self.shape, self.shares = b10[order], shape[order], shares[order]
        self.assumed, self.share_words = self.assumed[order], self.share_words[order]
        self.words = [words[i] for i in order]
        self.taken = taken[order]
        self.counts = fits.table["failures"].to_numpy()[order]

    @staticmethod
    def _three(fits: LifeFits, name: str) -> Floats:
        columns = [name.format(side) for side in ("", "_low", "_high")]
        return np.asarray(fits.table[columns].to_numpy(dtype=float))

    def columns(self) -> list[_Column]:
        """Shares by age, B10, shape."""
        out = []
        share_axis = {
            "range": [0, 1.03],
            "tickvals": [0, 0.5, 1],
            "ticktext": ["0", "50", "100"],
            "title": {"text": "% of seals"},
        }
        for j, age in enumerate(self.years):
            at = f"{age:g} run y" if self.unit == "h" else f"{age:g} y"
            head, words = f"<b>running</b><br>at {at}", self.share_words[:, j].tolist()
            out.append(
                _Column(head, self.shares[:, j], share_axis, words, log=False, told="%{x:.0%}")
            )
        years = "run years" if self.unit == "h" else "calendar years"
        none = [
            "" if np.isfinite(b) else w for b, w in zip(self.b10[:, 1], self.words, strict=True)
        ]
        said = [
            f"taken as {t:g}" if np.isfinite(t) else w
            for t, w in zip(self.taken, self.words, strict=True)
        ]
        out.append(
            _Column(
                "<b>B10</b><br>10 % failed",
                self.b10,
                _log_axis(self.b10, f"{years}, log"),
                none,
                log=True,
                told="%{x:.2f} y",
                dotted=self.assumed,
            )
        )
        out.append(
            _Column(
                "<b>shape</b><br>of the Weibull",
                self.shape,
                _log_axis(np.append(self.shape, 1.0), "no unit, log"),
                said,
                log=True,
                told="%{x:.2f}",
                colour=OTHER,
                symbol="diamond",
                line_at=1.0,
            )
        )
        return out

    def failures(self) -> list[dict[str, Any]]:
        """Failures of each class, at the right."""
        side = {"xref": "paper", "xanchor": "right", "font": {"size": 12, "color": INK}}
        notes = [label(f"{n:,.0f}", 1, i, xshift=46, **side) for i, n in enumerate(self.counts)]
        grey = {**side, "yref": "paper", "yanchor": "bottom", "font": {"size": 12, "color": GREY}}
        return [*notes, label("failures", 1, 1, xshift=54, **grey)]

    def alt(self) -> str:
        """The figure in words."""
        said = []
        for i, name in enumerate(self.names):
            value, low, high = self.b10[i]
            told = f"B10 {value:.2f} ({low:.2f} to {high:.2f}) years"
            if not np.isfinite(value):
                told = f"B10 above {low:.2f} years" if np.isfinite(low) else self.words[i]
            said.append(f"{name}: {self.counts[i]:,.0f} failures, {told}")
        return f"Classes compared, the shortest B10 first. {'; '.join(said)}."


def _log_axis(values: Floats, title: str) -> dict[str, Any]:
    """Log axis that holds all values."""
    known = values[np.isfinite(values) & (values > 0)]
    low, high = (known.min() / 1.2, known.max() * 1.2) if len(known) else (0.1, 10.0)
    edge = float(np.log10(low)), float(np.log10(high))
    ticks = log_ticks(*edge, least=2)
    return {
        "type": "log",
        "range": list(edge),
        "tickvals": ticks,
        "ticktext": [f"{t:g}" for t in ticks],
        "title": {"text": title},
    }
