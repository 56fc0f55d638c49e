"""How many repairs a position has had by a time, as a picture; and one group against another.

In: `MeanCumulative`, `MeanCumulativeDifference`. Out: figures. Next: `seallife.report`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from seallife.figures.style import (
    GREY,
    LEAD,
    OTHER,
    band,
    draw,
    label,
    line,
    panel_axes,
    plain,
)
from seallife.figures.timeaxis import TimeAxis
from seallife.schema import DAYS_PER_YEAR

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.history.recurrence import MeanCumulative
    from seallife.history.recurrence_difference import MeanCumulativeDifference

__all__ = ["difference_figure", "recurrence_figure"]

Floats = npt.NDArray[np.float64]

_LINES = ((LEAD, "solid"), (OTHER, "dash"), ("#009E73", "dot"), ("#7A4A9C", "dashdot"))
_TOGETHER = 4  # curves in one panel; more stand in panels of their own
_AT_RISK: dict[str, Any] = {"yanchor": "top", "font": {"size": 11, "color": GREY}}


def recurrence_figure(
    curves: MeanCumulative,
    *,
    dates: bool = False,
    divide_by: float = DAYS_PER_YEAR,
    unit: str = "age of the position, years",
    counts: str = "repairs",
    of: str = "position",
    columns: int = 3,
) -> Figure:
    """Draw the mean cumulative number of repairs by time, with its interval, by group.

    Up to four groups stand in one panel, named at the end of their lines; more stand in panels of
    their own on one scale. Below stand the positions watched at the times marked. Curves end where
    fewer than two positions are watched, and are broken where nobody was (the first such time).

    Parameters
    ----------
    curves : MeanCumulative
    dates : bool
        Times are days since 1970-01-01 and are shown as dates.
    divide_by, unit : float, str
        Else times are divided by it, and the axis is named so.
    counts, of : str
        What is counted, and on what: 'repairs' of a 'position'.
    columns : int
        Panels side by side.
    """
    axis = TimeAxis(dates, divide_by, unit)
    names = [plain(name) for name in curves.table["group"]]
    first = float(curves.table["first"].min())
    last = float(curves.table["last"].max())
    ticks = axis.ticks(first, last)
    # who is watched at the first tick entered there: look a little later
    seen = curves.at(np.clip(ticks, np.nextafter(first, np.inf), last))["at_risk"]
    at_risk = seen.to_numpy().reshape(len(names), len(ticks))
    together = len(names) <= _TOGETHER
    columns = 1 if together else columns
    spots = panel_axes(
        1 if together else len(names), columns, gap_x=0.05, gap_y=_gap(names, columns)
    )
    top = _top(curves)
    traces: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = []
    left, below = (118, 62 + 16 * len(names)) if together else (62, 76)
    layout: dict[str, Any] = {
        "margin": {"l": left, "r": 150 if together else 14, "t": 30, "b": below}
    }
    for i, name in enumerate(names):
        k, x, y = spots[0 if together else i]
        colour, dash = _LINES[i] if together else _LINES[0]
        here = {"xaxis": f"x{k}", "yaxis": f"y{k}"}
        drawn = _curve(curves, i, axis, name, colour, dash)
        traces += [trace | here for trace in drawn]
        notes += _names(curves, i, f"{of}s", name, k, colour, together)
        row = i if together else 0
        notes += _watched(
            ticks, at_risk[i], axis, k, 24 + 16 * row, name if together else "", colour
        )
        layout[f"xaxis{k}"] = {
            "domain": x,
            "anchor": f"y{k}",
            "range": axis.show(np.array([first, last])),
            "tickvals": axis.show(ticks),
            "ticktext": axis.words(ticks),
        }
        layout[f"yaxis{k}"] = {
            "domain": y,
            "anchor": f"x{k}",
            "range": [0, top],
            "nticks": 5,
            "showticklabels": together or i % columns == 0,
        }
        if together or i % columns == 0:
            layout[f"yaxis{k}"]["title"] = {"text": f"{counts} per {of}"}
    words = f"{axis.title}; grey figures: {of}s watched then"
    foot = {"xref": "paper", "yref": "paper", "yanchor": "top", "font": {"size": 13}}
    notes.append(label(words, 0.5, 0, yshift=-(28 + 16 * (len(names) if together else 1)), **foot))
    rows = -(-len(spots) // columns)
    return draw(traces, layout, notes=notes, height=390 if together else 110 + 180 * rows)


def difference_figure(
    difference: MeanCumulativeDifference,
    *,
    dates: bool = False,
    divide_by: float = DAYS_PER_YEAR,
    unit: str = "age of the position, years",
    counts: str = "repairs",
    of: str = "position",
) -> Figure:
    """Draw how many more repairs a position of the second group has had than one of the first.

    Steps and band are the difference and its interval, each time by itself; the line at 0 is that
    of no difference. Above stand the tests over the whole time and for the largest gap.

    Parameters
    ----------
    difference : MeanCumulativeDifference
    dates, divide_by, unit, counts, of
        See `recurrence_figure`.
    """
    axis = TimeAxis(dates, divide_by, unit)
    rows = difference.curve
    one, two = plain(difference.first), plain(difference.second)
    time = rows["time"].to_numpy(dtype=float)
    low, high, gap = (rows[c].to_numpy(dtype=float) for c in ("low", "high", "difference"))
    first, last = (float(time[0]), float(time[-1])) if len(time) else (0.0, axis.by)
    if first == last:
        last = first + axis.by
    ticks = axis.ticks(first, last)
    traces = [
        band(axis.band_at(time), low, high, "interval", step=True),
        line(
            axis.show(time), gap.round(4).tolist(), f"{two} less {one}", step=True,
            hovertemplate="%{x}: %{y:+.2f}<extra></extra>",
        ),
    ]  # fmt: skip
    notes = [
        label(
            _tests(difference, axis), 0, 1, xref="paper", yref="paper", xanchor="left",
            yanchor="bottom", font={"size": 12, "color": GREY},
        )
    ]  # fmt: skip
    for row, (name, column) in enumerate(((one, "at_risk_first"), (two, "at_risk_second"))):
        place = np.clip(np.searchsorted(time, ticks), 0, max(len(time) - 1, 0))
        counted = rows[column].to_numpy()[place] if len(time) else np.zeros(len(ticks), int)
        notes += _watched(ticks, counted, axis, "", 24 + 16 * row, name, GREY)
    known = np.concatenate([gap, _calm(low), _calm(high), [0.0]])
    bottom, top = float(known.min()), float(known.max())
    room = 0.06 * (top - bottom) if top > bottom else 1.0
    layout = {
        "xaxis": {
            "range": axis.show(np.array([first, last])),
            "tickvals": axis.show(ticks),
            "ticktext": axis.words(ticks),
            "title": {"text": f"{axis.title}; below: {of}s watched then", "standoff": 44},
        },
        "yaxis": {
            "range": [bottom - room, top + room],
            "title": {"text": f"{counts} per {of},<br>{two} less {one}"},
        },
        "margin": {"l": 118, "r": 16, "t": 30, "b": 96},
        "shapes": [
            {
                "type": "line", "xref": "paper", "x0": 0, "x1": 1, "y0": 0, "y1": 0,
                "line": {"color": GREY, "width": 1.5, "dash": "dash"},
            }
        ],
    }  # fmt: skip
    return draw(traces, layout, notes=notes, height=360)


def _tests(difference: MeanCumulativeDifference, axis: TimeAxis) -> str:
    """Both tests in a few words."""
    if not np.isfinite(difference.p):
        return "nothing to compare"
    words = f"over the whole time: p {difference.p:.2g}"
    if np.isfinite(difference.gap_p):
        at = axis.show(np.array([difference.gap_time]))[0]
        when = at if axis.dates else f"{at:.3g}"
        words += f"; largest gap, at {when}: p {difference.gap_p:.2g}"
    return words


def _gap(names: list[str], columns: int) -> float:
    return 0.46 / max(-(-len(names) // columns), 1)


def _calm(limits: Floats) -> Floats:
    """Limits without the widest tenth: one wild limit must not flatten the rest."""
    known = limits[np.isfinite(limits)]
    if not len(known):
        return known
    return np.asarray(known[np.abs(known) <= np.quantile(np.abs(known), 0.9)])


def _steps(curves: MeanCumulative, i: int) -> tuple[slice, int]:
    """Steps of one group, and how many of them rest on two positions or more."""
    run = slice(int(curves.offsets[i]), int(curves.offsets[i + 1]))
    enough = np.flatnonzero(curves.at_risk[run] >= 2)
    return run, int(enough[-1]) + 1 if len(enough) else run.stop - run.start


def _curve(
    curves: MeanCumulative, i: int, axis: TimeAxis, name: str, colour: str, dash: str
) -> list[dict[str, Any]]:
    """Band and steps of one group, from its first time watched to where it ends."""
    run, count = _steps(curves, i)
    row = curves.table.iloc[i]
    time = curves.time[run][:count]
    mean = curves.mean[run][:count]
    whole = count == run.stop - run.start
    stop = float(row["last"]) if whole else float(time[-1])
    at = np.concatenate([[float(row["first"])], time, [stop]])
    height = np.concatenate([[0.0], mean, mean[-1:] if len(mean) else [0.0]])
    low, high = (
        np.concatenate([column[run][:count], column[run][:count][-1:]])
        for column in (curves.low, curves.high)
    )
    hole = (float(row["unwatched_from"]), float(row["unwatched_to"]))
    hover = f"{name}, %{{x}}: %{{y:.2f}}<extra></extra>"
    traces = []
    if count:
        when, low, high = _broken(at[1:], hole, low, high)
        traces.append(
            band(axis.band_at(when), low, high, f"{name} interval", colour=colour, step=True)
        )
    at, height = _broken(at, hole, height)
    shown = [None if np.isnan(v) else round(float(v), 4) for v in height]
    traces.append(
        line(
            axis.show(at), shown, name, colour=colour, dash=dash, step=True, connectgaps=False,
            hovertemplate=hover,
        )
    )  # fmt: skip
    return traces


def _broken(at: Floats, hole: tuple[float, float], *columns: Floats) -> list[Floats]:
    """Times and columns with a blank where nobody was watched: no line across it."""
    place = int(np.searchsorted(at, hole[0], side="right")) if np.isfinite(hole[0]) else 0
    if not 0 < place < len(at):
        return [at, *columns]
    out = [np.insert(at, place, [hole[0], hole[0], hole[1]])]
    for column in columns:
        last = column[place - 1]
        out.append(np.insert(column, place, [last, np.nan, last]))
    return out


def _names(
    curves: MeanCumulative, i: int, of: str, name: str, k: str, colour: str, together: bool
) -> list[dict[str, Any]]:
    """Name of a curve with what it rests on: at its end, or above its panel."""
    row = curves.table.iloc[i]
    rest = f"{row['events']:,} at {row['units']:,} {of}"
    if not together:
        return [
            label(
                f"<b>{name}</b>  {rest}", 0, 1, xref=f"x{k} domain", yref=f"y{k} domain",
                xanchor="left", yanchor="bottom",
            )
        ]  # fmt: skip
    run, count = _steps(curves, i)
    height = float(curves.mean[run][count - 1]) if count else 0.0
    return [
        label(
            f"<b>{name}</b><br>{rest}", 1, height + _apart(curves, i), xref="paper",
            xanchor="left", xshift=6, align="left", font={"size": 12, "color": colour},
        )
    ]  # fmt: skip


def _apart(curves: MeanCumulative, i: int) -> float:
    """How far a name is moved up or down so that names do not stand on each other."""
    ends = []
    for j in range(len(curves)):
        run, count = _steps(curves, j)
        ends.append(float(curves.mean[run][count - 1]) if count else 0.0)
    room = 0.14 * _top(curves)
    order = np.argsort(ends, kind="stable")
    place = np.array(ends)[order]
    spread = place.copy()
    for j in range(1, len(spread)):
        spread[j] = max(spread[j], spread[j - 1] + room)
    spread -= max((spread - place).mean(), 0.0)
    spread += max(0.03 * _top(curves) - spread[0], 0.0)
    moved = np.empty(len(ends))
    moved[order] = spread
    return float(moved[i] - ends[i])


def _watched(
    ticks: Floats,
    counts: npt.NDArray[Any],
    axis: TimeAxis,
    k: str,
    down: int,
    name: str,
    colour: str,
) -> list[dict[str, Any]]:
    """Positions watched at each tick, below the axis."""
    notes = [
        label(f"{int(n):,}", x, 0, xref=f"x{k}", yref=f"y{k} domain", yshift=-down, **_AT_RISK)
        for x, n in zip(axis.show(ticks), counts, strict=True)
    ]
    if name:
        side = {**_AT_RISK, "font": {"size": 11, "color": colour}}
        notes.append(
            label(
                plain(name, 16), 0, 0, xref=f"x{k} domain", yref=f"y{k} domain", xanchor="right",
                xshift=-22, yshift=-down, **side,
            )
        )  # fmt: skip
    return notes


def _top(curves: MeanCumulative) -> float:
    """Top of the axis: all curves, and the limits that two positions or more bear."""
    most = 0.0
    for i in range(len(curves)):
        run, count = _steps(curves, i)
        if count:
            most = max(most, float(curves.mean[run][:count].max()))
            high = _calm(curves.high[run][:count])
            most = max(most, float(high.max(initial=0.0)) if len(high) else 0.0)
    return 1.06 * most if most > 0 else 1.0
