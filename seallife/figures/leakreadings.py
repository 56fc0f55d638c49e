"""What was read at each seal: readings of leakage over calendar time, one panel a seal position.

In: `Readings`, limits, `TimeToLimit`. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.figures.leaklimits import limit_lines, limit_table
from seallife.figures.leakrise import rise_end, rise_lines, rise_words
from seallife.figures.panels import counted, foot, grid, inside, only_words, place_of
from seallife.figures.style import GREY, INK, LEAD, draw, label, line, log_ticks, plain, points
from seallife.leakage.byperiod import seal_changes

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.leakage.forecast import TimeToLimit
    from seallife.leakage.limits import LimitsInForce
    from seallife.leakage.readings import Readings

__all__ = ["readings_figure"]

_MOST, _COLUMNS, _HEIGHT, _BETWEEN, _LINE = 12, 2, 150, 78, 16  # panels; px
_DRAWN = ("exact", "below", "above")


def readings_figure(
    readings: Readings,
    positions: Sequence[str],
    *,
    limits: LimitsInForce | pd.DataFrame | None = None,
    rising: TimeToLimit | None = None,
    since: str | pd.Timestamp | None = None,
) -> Figure:
    """Draw what was read at each position, with the changes of its seal.

    Parameters
    ----------
    readings : Readings
        A position read in two units is drawn in the one with more readings.
    positions : sequence of str
        Panels in this order: the first twelve; the others are counted in words.
    limits : LimitsInForce or pandas.DataFrame, optional
        The limits in force for the rows of ``readings.table``; or ``position_id``, ``kind``,
        ``limit`` in the unit of the readings.
    rising : TimeToLimit, optional
        Of the segments of ``readings``, in their ``day``: the level of each position's last segment
        as fitted, dotted after the last reading, and the dates between which it may be at the
        limit.
    since : str or Timestamp, optional
        First day drawn and counted.

    Raises
    ------
    InputError
        If ``since`` is no date.
    """
    asked = [positions] if isinstance(positions, str) else list(dict.fromkeys(positions))
    if not asked:
        return only_words("no seal position to draw")
    shown = asked[:_MOST]
    table = readings.table[readings.table["position_id"].isin(shown)]
    first = _first_day(since)
    if first is not None:
        table = table[table["date"] >= first]
    if not len(table):
        return only_words(f"no reading of leakage on record at {_named(shown)}")
    held = limit_table(limits, readings.table, shown)
    parts = {p: _of_unit(table[table["position_id"] == p]) for p in shown}
    rises = {p: _rise(rising, part) for p, part in parts.items()}
    ranges = _ranges(parts, held, rises)
    ends = _ends(table, rises, first)
    lines = _words(rises, len(asked) - len(shown), first)
    columns = _COLUMNS if len(shown) > 1 else 1
    room = _LINE if any(rise_words(rise) for rise in rises.values()) else 0
    spots, height, margin = grid(
        len(shown), columns, _HEIGHT, len(lines), _BETWEEN + room, beside=0.12
    )
    margin["t"] += room
    changes = seal_changes(readings.table)
    traces: list[dict[str, Any]] = []
    notes = [foot(lines)]
    layout: dict[str, Any] = {"margin": margin, "shapes": []}
    for i, ((k, x, y), (position, part)) in enumerate(zip(spots, parts.items(), strict=True)):
        place = place_of(k)
        unit = str(part["measured_in"].iloc[0]) if len(part) else ""
        span = ranges.get(unit, (0.0, 1.0))
        notes.append(_head(position, table, part, rises[position], place))
        drawn, told = limit_lines(held, position, part, ends, k)
        traces += _marks(part, k, span)
        traces += drawn
        notes += told
        if (rise := rises[position]) is not None:
            traces += rise_lines(rise, part, ends, k)
        days = changes.loc[changes["position_id"] == position, "date"]
        layout["shapes"] += [_upright(day, k) for day in days if ends[0] < day < ends[1]]
        if not len(part):
            notes.append(inside("no reading that can be drawn", place))
        layout[f"xaxis{k}"] = {
            "domain": x,
            "anchor": f"y{k}",
            "type": "date",
            "range": [_day(end) for end in ends],
            "nticks": 6,
            "tickangle": 0,
        }
        ticks = log_ticks(*span, least=2)
        layout[f"yaxis{k}"] = {
            "domain": y,
            "anchor": f"x{k}",
            "type": "log",
            "range": list(span),
            "tickvals": ticks,
            "ticktext": [f"{t:,.10g}" for t in ticks],
            "showticklabels": bool(len(part)),
        }
        if i % columns == 0 and unit:
            layout[f"yaxis{k}"]["title"] = {"text": f"{plain(unit)}, log scale"}
    alt = f"Readings of leakage over time at {_named(shown)}, with changes of seal and limits."
    return draw(traces, layout, notes=notes, height=height + room, alt=alt)


def _first_day(since: str | pd.Timestamp | None) -> pd.Timestamp | None:
    if since is None:
        return None
    day = pd.to_datetime(since, errors="coerce")
    if pd.isna(day):
        raise InputError(f"is {since!r}", where="since", hint="give a date such as 2024-01-01")
    return pd.Timestamp(day)


def _named(shown: Sequence[str]) -> str:
    names = [plain(p) for p in shown[:3]]
    return ", ".join(names) + (f" and {len(shown) - 3} more" if len(shown) > 3 else "")


def _of_unit(rows: pd.DataFrame) -> pd.DataFrame:
    """Readings of a position that have a place on a scale, in the unit with most of them."""
    rows = rows[rows["kind"].isin(_DRAWN) & (rows["high"] > 0)]
    units = rows["measured_in"].value_counts()
    return rows[rows["measured_in"] == units.index[0]] if len(units) else rows


def _rise(rising: TimeToLimit | None, part: pd.DataFrame) -> pd.Series | None:
    """What is foretold for the last segment of a position."""
    if rising is None or not len(part):
        return None
    segment = part.sort_values("date", kind="stable")["segment"].iloc[-1]
    rows = rising.table[rising.table["segment"] == segment]
    return rows.iloc[0] if len(rows) else None


def _bounds(part: pd.DataFrame) -> np.ndarray[Any, Any]:
    """Where the marks of readings stand: at the value, at the limit, at the end of the scale."""
    return np.where(np.isfinite(part["high"]), part["high"], part["low"]).astype(float)


def _ranges(
    parts: dict[str, pd.DataFrame], held: pd.DataFrame, rises: dict[str, pd.Series | None]
) -> dict[str, tuple[float, float]]:
    """One range of logs for all panels of one unit: readings, limits, and the limit of a rise."""
    seen: dict[str, list[float]] = {}
    for position, part in parts.items():
        if not len(part):
            continue
        sure = part[part["doubt"] == ""]
        values = _bounds(sure if len(sure) else part).tolist()
        values += held.loc[held["position_id"] == position, "limit"].tolist()
        rise = rises[position]
        if rise is not None and np.isfinite(rise["limit"]):
            values.append(float(rise["limit"]))
        seen.setdefault(str(part["measured_in"].iloc[0]), []).extend(v for v in values if v > 0)
    out = {}
    for unit, values in seen.items():
        low, high = np.log10(min(values)), np.log10(max(values))
        edge = 0.07 * max(high - low, 0.7)
        out[unit] = (float(low - edge), float(high + 2.5 * edge))
    return out


def _ends(
    table: pd.DataFrame, rises: dict[str, pd.Series | None], first: pd.Timestamp | None
) -> tuple[pd.Timestamp, pd.Timestamp]:
    """First and last day of all panels: room for a forecast, but not more than a third."""
    low = table["date"].min() if first is None else first
    high = table["date"].max()
    length = max(high - low, pd.Timedelta(days=60))
    ahead = [end for rise in rises.values() if (end := rise_end(rise)) is not None]
    most = min(max([high, *ahead]), high + length / 2)
    return low - length * 0.02, most + length * 0.04


def _marks(part: pd.DataFrame, k: str, span: tuple[float, float]) -> list[dict[str, Any]]:
    """Readings as marks of their kind, those in doubt as crosses between what they may be."""
    part = part.assign(at=_bounds(part))
    doubt = part["doubt"] != ""
    here = {"xaxis": f"x{k}", "yaxis": f"y{k}"}
    styles: tuple[tuple[str, pd.Series, dict[str, Any]], ...] = (
        ("read", ~doubt & (part["kind"] == "exact"),
         {"fill": LEAD, "size": 4, "width": 0}),
        ("below detection", ~doubt & (part["kind"] == "below"),
         {"symbol": "triangle-down", "colour": LEAD, "size": 7, "width": 1.2}),
        ("off the scale", ~doubt & (part["kind"] == "above"),
         {"symbol": "triangle-up", "colour": INK, "fill": INK, "size": 9, "width": 0}),
    )  # fmt: skip
    traces = []
    for name, rows, style in styles:
        traces.append(_points(part[rows], part.loc[rows, "at"], name, style) | here)
    twice = part[doubt]
    least = twice["low"].where(twice["low"] > 0, 10 ** span[0])
    x: list[str | None] = []
    y: list[float | None] = []
    for day, low, high in zip(twice["date"], least, twice["at"], strict=True):
        if high > low:
            x += [_day(day), _day(day), None]
            y += [low, min(high, 10 ** span[1]), None]
    traces.append(
        line(x, y, "either or", colour=GREY, dash="dot", width=1, hoverinfo="skip") | here
    )
    style = {"symbol": "x-thin", "colour": GREY, "size": 7, "width": 1.8}
    traces += [
        _points(twice.loc[at.index], at, "in doubt", style) | here
        for at in (least, twice["at"][twice["at"] > least])
    ]
    return [t for t in traces if len(t["x"])]


def _points(rows: pd.DataFrame, at: pd.Series, name: str, style: dict[str, Any]) -> dict[str, Any]:
    said = [plain(d, 60) for d in rows["doubt"].where(rows["doubt"] != "", name)]
    hover = "%{x|%d %b %Y}: %{y:,.4g}, %{customdata}<extra></extra>"
    days = rows["date"].dt.strftime("%Y-%m-%d").tolist()
    return points(days, at.round(6).tolist(), name, customdata=said, hovertemplate=hover, **style)


def _upright(day: pd.Timestamp, k: str) -> dict[str, Any]:
    """Thin line where another seal went in."""
    return {
        "type": "line",
        "layer": "below",
        "x0": _day(day),
        "x1": _day(day),
        "xref": f"x{k}",
        "y0": 0,
        "y1": 1,
        "yref": f"y{k} domain",
        "line": {"color": INK, "width": 1},
    }


def _head(
    position: str,
    table: pd.DataFrame,
    part: pd.DataFrame,
    rise: pd.Series | None,
    place: dict[str, str],
) -> dict[str, Any]:
    """Position, class, and what was read; what is due, where a rise or a leak is known."""
    rows = table[table["position_id"] == position]
    kind = f" {plain(rows['service_class'].iloc[-1])}" if len(rows) else ""
    below = int((part["kind"] == "below").sum())
    read = f"{counted(len(rows), 'reading', 'readings')}, {below:,} below detection"
    if len(part) < len(rows):
        read += f", {len(rows) - len(part):,} not drawn"
    lines = [f"<b>{plain(position)}</b>{kind}", read]
    if said := rise_words(rise):
        lines.append(f"<b>{said}</b>")
    corner = {"xanchor": "left", "yanchor": "bottom", "yshift": 2, "align": "left"}
    return label("<br>".join(lines), 0, 1, **corner, **place)


def _words(rises: dict[str, Any], more: int, first: pd.Timestamp | None) -> list[str]:
    """Lines below all panels."""
    told = [
        "● read &nbsp; ▽ below this &nbsp; ▲ off the scale &nbsp; × in doubt &nbsp; │ another seal"
    ]
    if any(r is not None for r in rises.values()):
        told.append(
            "line: fitted level, dotted where foretold; bar: dates of the level at the limit"
        )
        told.append("one reading over a limit is a leak at once, whatever the level")
    if first is not None:
        told.append(f"readings since {first:%d %b %Y}")
    if more > 0:
        told.append(f"… and {more:,} more positions")
    return told


def _day(day: pd.Timestamp) -> str:
    return f"{day:%Y-%m-%d}"
