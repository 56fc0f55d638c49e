"""Did forecasts of earlier years come true, as pictures: ranges and what came, chances and shares.

In: `Scorecard`. Out: figures. Next: `seallife.report`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.figures.panels import foot, grid, only_words, place_of
from seallife.figures.rows import HALF, known_names
from seallife.figures.style import (
    GREY,
    LEAD,
    OTHER,
    draw,
    faint,
    label,
    line,
    plain,
    points,
)

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.scorecard import Scorecard

__all__ = ["calibration_figure", "scorecard_figure"]

_EVENTS = {"failures": "seals that failed", "seals needed": "seals needed"}
_SIGNS: dict[str, dict[str, Any]] = {
    "inside": {"symbol": "circle", "fill": LEAD, "size": 9},
    "outside": {"symbol": "diamond", "fill": "white", "colour": OTHER, "size": 11, "width": 2.4},
    "not judged": {"symbol": "x-thin", "colour": GREY, "size": 8, "width": 1.8},
}
_BANDS: dict[str, dict[str, Any]] = {
    "ok": {"symbol": "circle", "size": 9},
    "too low": {"symbol": "triangle-up", "size": 12, "fill": OTHER, "colour": OTHER},
    "too high": {"symbol": "triangle-down", "size": 12, "fill": OTHER, "colour": OTHER},
}


def scorecard_figure(
    card: Scorecard,
    by: str = "all",
    kind: str = "failures",
    months: int = 12,
    *,
    most: int = 12,
) -> Figure:
    """Draw what was foretold on each earlier day, and what then happened.

    Parameters
    ----------
    card : Scorecard
    by : {'all', 'site', 'service_class', 'pool'}
        One panel a group, those of most events first.
    kind : {'failures', 'seals needed'}
    months : int
        Horizon.
    most : int
        Panels drawn; the others are counted in words.

    Raises
    ------
    InputError
        If there are no such forecasts.
    """
    rows = _asked(card, by, kind, months)
    groups = rows.groupby("group")["observed"].sum().sort_values(ascending=False, kind="stable")
    drawn = groups.index[: max(most, 1)].tolist()
    columns = 1 if len(drawn) == 1 else 3 if len(drawn) > 4 else 2
    ticks, spell = _ticks(rows["origin"], columns)
    lines = [f"forecast made at the end of that {spell}, for {months} months"]
    lines.append(_key(rows, card.level))
    if len(groups) > len(drawn):
        lines.append(f"… and {len(groups) - len(drawn):,} more, with fewer events")
    tall = 240 if len(drawn) == 1 else 150
    spots, height, margin = grid(len(drawn), columns, tall, len(lines), between=64)
    traces: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = [foot(lines)]
    layout: dict[str, Any] = {"margin": margin}
    for i, (group, (number, x, y)) in enumerate(zip(drawn, spots, strict=True)):
        part = rows[rows["group"] == group].sort_values("origin")
        place = {"xaxis": f"x{number}", "yaxis": f"y{number}"}
        traces += [t | place for t in _forecasts(part, card.level) if len(t["x"])]
        layout[f"xaxis{number}"] = {"domain": x, "anchor": f"y{number}", "type": "date"} | ticks
        top = 1.1 * float(max((part["high"] + HALF).max(), part["observed"].max()))
        layout[f"yaxis{number}"] = {
            "domain": y,
            "anchor": f"x{number}",
            "range": [-0.02 * top, top],
            "nticks": 5,
            **({"dtick": 1} if top < 4 else {}),
        }
        if i % columns == 0:
            title = f"{_EVENTS.get(kind, kind)} in {months} months" if tall > 200 else kind
            layout[f"yaxis{number}"]["title"] = {"text": title}
        corner = {"xanchor": "left", "yanchor": "bottom", "yshift": 3, "align": "left"}
        name = "all seals" if by == "all" else plain(group)
        notes.append(label(f"<b>{name}</b>{_held(part)}", 0, 1, **corner, **place_of(number)))
    scores = card.table[
        (card.table["kind"] == kind) & (card.table["by"] == by) & (card.table["months"] == months)
    ]
    said = " ".join(scores["message"].astype(str))
    whose = "of the fleet" if by == "all" else f"by {by.replace('_', ' ')}"
    alt = f"Forecasts of {kind} in {months} months {whose}, as made in earlier years. {said}"
    return draw(traces, layout, notes=notes, height=height, alt=alt)


def _asked(card: Scorecard, by: str, kind: str, months: int) -> pd.DataFrame:
    """Forecasts asked for."""
    rows = card.forecasts
    for column, value in (("kind", kind), ("by", by), ("months", months)):
        known = rows[column].unique().tolist()
        rows = rows[rows[column] == value]
        if rows.empty:
            hint = f"known here: {known_names(known)}"
            raise InputError(f"is {value!r}", where=column, hint=hint)
    return rows


def _ticks(origins: pd.Series[Any], columns: int) -> tuple[dict[str, Any], str]:
    """Axis of the days of forecasts, and whether its ticks name a 'day' or a 'year'."""
    days = pd.DatetimeIndex(np.sort(origins.unique()))
    gap = (days[-1] - days[0]) / max(len(days) - 1, 1) or pd.Timedelta(days=365)
    step = -(-len(days) // (8 if columns == 1 else 4))
    shown = days[::step]
    spell = "year" if ((days.month == 12) & (days.day == 31)).all() else "day"
    axis = {
        "tickvals": [f"{day:%Y-%m-%d}" for day in shown],
        "ticktext": [
            f"{day:%Y}" if spell == "year" else f"{day.day} {day:%b<br>%Y}" for day in shown
        ],
        "tickangle": 0,
        "range": [f"{days[0] - 0.6 * gap:%Y-%m-%d}", f"{days[-1] + 0.6 * gap:%Y-%m-%d}"],
        "showgrid": False,
        "tickfont": {"size": 12 if columns == 1 else 11},
    }
    return axis, spell


def _forecasts(part: pd.DataFrame, level: float) -> list[dict[str, Any]]:
    """Ranges, what was expected, and what came."""
    day = part["origin"].dt.strftime("%Y-%m-%d")
    low, high, seen = (part[c].to_numpy(dtype=float) for c in ("low", "high", "observed"))
    judged = (part["status"] == "ok").to_numpy()
    held = (seen >= low) & (seen <= high)
    traces = []
    for name, mine, colour in (
        ("range", judged, faint(LEAD, 0.35)),
        ("range, not judged", ~judged, faint(GREY, 0.2)),
    ):
        x: list[Any] = []
        y: list[Any] = []
        for i in np.flatnonzero(mine):
            x += [day.iloc[i], day.iloc[i], None]
            y += [max(float(low[i]) - HALF, 0.0), float(high[i]) + HALF, None]
        traces.append(line(x, y, name, width=12, colour=colour, hoverinfo="skip"))
    expected = part["expected"].round(3).tolist()
    traces.append(points(day.tolist(), expected, "expected", symbol="line-ew", size=6, width=2.2,
                         hoverinfo="skip"))  # fmt: skip
    for name, mine in (
        ("inside", judged & held),
        ("outside", judged & ~held),
        ("not judged", ~judged),
    ):
        told = [
            f"made {row['origin'].day} {row['origin']:%b %Y}: {row['expected']:.1f} foretold "
            f"({row['low']:.0f} to "
            f"{row['high']:.0f} at {level:.0%}), {row['observed']:.0f} came"
            + (f"; not judged: {row['status']}" if name == "not judged" else "")
            for row in part[mine].to_dict(orient="records")
        ]
        style = _SIGNS[name] | {"customdata": told, "hovertemplate": "%{customdata}<extra></extra>"}
        traces.append(points(day[mine].tolist(), seen[mine].tolist(), name, **style))
    return traces


def _held(part: pd.DataFrame) -> str:
    """How many ranges of a group held what came."""
    ok = part[part["status"] == "ok"]
    held = int(((ok["observed"] >= ok["low"]) & (ok["observed"] <= ok["high"])).sum())
    return f": {held} of {len(ok)} held" if len(ok) else ": none judged"


def _key(rows: pd.DataFrame, level: float) -> str:
    """What the signs mean."""
    signs = [f"▬ range foretold at {level:.0%}", f'<span style="color:{LEAD}">━</span> expected',
             f'<span style="color:{LEAD}">●</span> came, inside',
             f'<span style="color:{OTHER}">◇</span> came, outside']  # fmt: skip
    if (rows["status"] != "ok").any():
        signs.append("× not judged")
    return " &nbsp; ".join(signs)


def calibration_figure(card: Scorecard, months: int = 12) -> Figure:
    """Draw the share of seals that failed against the chance they were given, by bands.

    Parameters
    ----------
    card : Scorecard
    months : int
        Horizon.

    Raises
    ------
    InputError
        If no seal was asked so far ahead, but some were at other horizons.
    """
    if card.bands.empty:
        return only_words("No chances of single seals were given.")
    rows = card.bands[card.bands["months"] == months].sort_values("chance", ignore_index=True)
    if rows.empty:
        hint = f"known here: {known_names(sorted(card.bands['months'].unique()))}"
        raise InputError(f"is {months!r}", where="months", hint=hint)
    chance, share, low, high = (
        rows[c].to_numpy(dtype=float) for c in ("chance", "share", "share_low", "share_high")
    )
    edge = min(1.02, 1.08 * float(max(chance.max(), high.max())))
    x: list[Any] = []
    y: list[Any] = []
    for at, a, b in zip(chance.tolist(), low.tolist(), high.tolist(), strict=True):
        x += [at, at, None]
        y += [a, b, None]
    traces = [
        line([0, edge], [0, edge], "as foretold", colour=GREY, dash="dash", width=1.5,
             hoverinfo="skip"),
        line(x, y, "interval", width=2, hoverinfo="skip"),
    ]  # fmt: skip
    for status, signs in _BANDS.items():
        mine = np.flatnonzero((rows["status"] == status).to_numpy())
        told = [
            f"chances of {rows['band'][i]}: {chance[i]:.1%} given, {share[i]:.1%} failed "
            f"({low[i]:.1%} to {high[i]:.1%} at {card.level:.0%})"
            for i in mine
        ]
        style = signs | {"customdata": told, "hovertemplate": "%{customdata}<extra></extra>"}
        at_y = share[mine].round(5).tolist()
        traces.append(points(chance[mine].round(5).tolist(), at_y, status, **style))
    above = {"xref": "paper", "yref": "paper", "xanchor": "left", "yanchor": "bottom"}
    key = f"○ share that failed, interval at {card.level:.0%}"
    if (rows["status"] != "ok").any():
        key += f' &nbsp; <span style="color:{OTHER}">▲</span> more failed than foretold'
        key += f' &nbsp; <span style="color:{OTHER}">▼</span> fewer'
    notes = [
        label(key, 0, 1, yshift=6, font={"size": 12, "color": GREY}, **above),
        label("as foretold", 0.7 * edge, 0.7 * edge, xanchor="left", yanchor="top", xshift=6,
              font={"size": 12, "color": GREY}),
        *_counts(rows),
    ]  # fmt: skip
    sentences = card.chances.loc[card.chances["months"] == months, "message"].astype(str)
    within = {"range": [-0.015 * edge, edge], "tickformat": ".0%", "nticks": 6}
    layout = {
        "xaxis": {"title": {"text": f"chance given to fail within {months} months"}} | within,
        "yaxis": {"title": {"text": "share that failed"}} | within,
        "margin": {"l": 66, "r": 252, "t": 34, "b": 52},
    }
    alt = f"Chances given within {months} months against what happened. {' '.join(sentences)}"
    return draw([t for t in traces if len(t["x"])], layout, notes=notes, height=400, alt=alt)


def _counts(rows: pd.DataFrame) -> list[dict[str, Any]]:
    """Each band at the right, the highest on top: how many failed, of how many, and foretold."""
    step = 20
    place = {"xref": "paper", "yref": "paper", "yanchor": "top"}
    columns = (
        ("chance", 92, rows["band"].astype(str)),
        ("failed", 146, rows["happened"].map("{:,.0f}".format)),
        ("foretold", 202, rows["expected"].map("{:,.1f}".format)),
        ("of", 244, rows["asked"].map("{:,.0f}".format)),
    )
    ill = {"too low": "▲ ", "too high": "▼ "}
    marks = [ill.get(s, "") for s in rows["status"]]
    notes = []
    for head, shift, texts in columns:
        at = place | {"xanchor": "right", "xshift": shift}
        notes.append(label(head, 1, 1, font={"size": 12, "color": GREY}, **at))
        for k, (text, mark) in enumerate(zip(texts[::-1], marks[::-1], strict=True)):
            shown = f"{mark}{text}" if head == "failed" else text
            notes.append(label(shown, 1, 1, yshift=-step * (k + 1), **at))
    return notes
