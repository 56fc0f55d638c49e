"""Which seals to renew in the outage, as a picture: gains in order, and the line where money ends.

In: `OutageList`. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from seallife.figures.panels import counted, only_words
from seallife.figures.rows import below, column, left_of, row_axis, spans, upright
from seallife.figures.style import GREY, INK, LEAD, PALE, draw, label, line, plain, points
from seallife.spares.outagewords import LEAK_FIRST, LIST_CAUTION, VERDICTS
from seallife.spares.replacement import NO_COST

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.spares.outage import OutageList

__all__ = ["outage_line_figure"]

_ABOVE, _BETWEEN, _ROW, _TEXT, _RIGHT = 48, 104, 22, 17, 214  # px
_AXIS = {True: 76, False: 60}  # px of ticks and title, of a panel of gains and of one of chances
_WRAP = 96  # characters of a line below
_MARKED = (LEAK_FIRST, "renew")
_FILLS = {LEAK_FIRST: INK, "renew": LEAD}
_CHANCES = (("left", "if left in", 0.0, LEAD, 3), ("renewed", "if renewed", 0.3, "white", 1.2))


class _Panel(NamedTuple):
    """Seals of one panel, each with ``at``, its row; what else stands in rows between them."""

    rows: pd.DataFrame
    more: list[tuple[int, str]]
    heads: list[tuple[float, str]]
    line: int | None
    slots: int


def outage_line_figure(outage: OutageList, most: int = 30, *, currency: str = "") -> Figure:
    """Draw seals in the order of the list, what renewing each gains, and the money line.

    Rows without a cost stand in a panel of their own, with the chance to fail if left in and if
    renewed. Where the list is longer than the page, the first of each group are drawn and the
    others are counted where they belong, so that the line is always seen.

    Parameters
    ----------
    outage : OutageList
    most : int
        Seals drawn.
    currency : str
        Of the costs, for the axis.
    """
    ranked = outage.table[outage.table["rank"].notna()].sort_values("rank", kind="stable")
    others = _others(outage.table)
    if not len(ranked):
        return only_words("<br>".join(["No seal can be put in order.", *others]))
    kept = _kept(ranked["verdict"], most)
    money = bool(ranked["gain"].notna().any())
    priced = (ranked["verdict"] != NO_COST) & money
    panels = [
        (_panel(ranked[mine], kept, mark=gains), gains)
        for mine, gains in ((priced, True), (~priced, False))
        if mine.any()
    ]
    names = [plain(name) for name in ranked["position_id"].astype(str)]
    left = left_of(names)
    foot = [*others, *wrap(LIST_CAUTION, _WRAP)]
    title = _AXIS[panels[-1][1]]
    under = title + _TEXT * len(foot)
    inner = _ROW * sum(p.slots for p, _ in panels) + _BETWEEN * (len(panels) - 1)
    notes: list[dict[str, Any]] = []
    traces: list[dict[str, Any]] = []
    layout: dict[str, Any] = {"margin": {"l": left, "r": _RIGHT, "t": _ABOVE, "b": under}}
    layout["shapes"] = []
    top = 0
    for number, (panel, gains) in zip(("", "2"), panels, strict=False):
        high = _ROW * panel.slots
        domain = [max(1 - (top + high) / inner, 0.0), 1 - top / inner]
        top += high + _BETWEEN
        drawn, said, axis = (
            _gains(panel, outage.level, currency, number)
            if gains
            else _chances(panel, outage.level, number)
        )
        place = {"xaxis": f"x{number}", "yaxis": f"y{number}"}
        traces += [t | place for t in drawn if len(t["x"])]
        notes += [*said, *_words(panel, number)]
        layout["shapes"] += _rules(panel, number)
        layout[f"xaxis{number}"] = {"anchor": f"y{number}", "nticks": 6} | axis
        layout[f"yaxis{number}"] = _rows_axis(panel, number) | {"domain": domain}
    notes += below(foot, shift=6 - title, left=8 - left)
    alt = _alt(outage, ranked, currency)
    return draw(traces, layout, notes=notes, height=inner + _ABOVE + under, alt=alt)


def _kept(verdicts: pd.Series[Any], most: int) -> dict[str, int]:
    """How many of each group are drawn: as many of each, what one does not need for the others."""
    sizes = verdicts.value_counts().sort_values(kind="stable")
    room, out = max(most, len(sizes)), {}
    for done, (word, size) in enumerate(sizes.items()):
        out[str(word)] = min(int(size), room // (len(sizes) - done))
        room -= out[str(word)]
    return out


def _panel(ranked: pd.DataFrame, kept: dict[str, int], *, mark: bool) -> _Panel:
    """Rows of a panel in order; ``mark``: with the money line."""
    parts, more, heads = [], [], []
    at, money = 0, None
    for verdict in VERDICTS:
        part = ranked[ranked["verdict"] == verdict]
        if mark and money is None and verdict not in _MARKED:
            money, at = at, at + 1
        if not len(part):
            continue
        shown = part.head(kept[verdict])
        rest = len(part) - len(shown)
        slots = len(shown) + bool(rest)
        count = counted(len(part), "seal", "seals")
        word = f"<b>{verdict}</b>{'<br>' if slots > 1 else ', '}{count}"
        heads.append((at + 0.5 * (slots > 1), word))
        parts.append(shown.assign(at=np.arange(at, at + len(shown))))
        at += slots
        if rest:
            act = ": act on these too" if verdict == LEAK_FIRST else ""
            more.append((at - 1, f"… and {rest:,} more{act}"))
    return _Panel(pd.concat(parts, ignore_index=True), more, heads, money, at)


Part = tuple[list[dict[str, Any]], list[dict[str, Any]], dict[str, Any]]


def _gains(panel: _Panel, level: float, currency: str, number: str) -> Part:
    """Gain of each seal with its interval."""
    rows = panel.rows
    gain, low, high = (rows[c].to_numpy(dtype=float) for c in ("gain", "gain_low", "gain_high"))
    at = rows["at"].to_numpy(dtype=float)
    unit = f" {currency}" if currency else ""
    said = [
        f"{_who(row)}: gain {row['gain']:,.0f}{plain(unit)} ({row['gain_low']:,.0f} to "
        f"{row['gain_high']:,.0f} at {level:.0%}), pays under {row['pays']:.0%} of the laws"
        for row in rows.to_dict(orient="records")
    ]
    known = np.isfinite(gain)
    hover = "%{customdata}<extra></extra>"
    traces = [line(*spans(low, high, at), "interval", width=3, hoverinfo="skip")]
    for verdict in rows["verdict"].unique():
        mine = np.flatnonzero(known & (rows["verdict"] == verdict).to_numpy())
        style: dict[str, Any] = {"symbol": "square" if verdict == LEAK_FIRST else "circle"}
        style |= {"customdata": [said[i] for i in mine], "hovertemplate": hover}
        fill = _FILLS.get(verdict, "white")
        traces.append(points(gain[mine].tolist(), at[mine].tolist(), verdict, fill=fill, **style))
    inside: dict[str, Any] = {
        "xref": f"x{number} domain",
        "yref": f"y{number}",
        "xanchor": "left",
        "xshift": 6,
    }
    inside |= {"font": {"size": 12, "color": GREY}, "bgcolor": "white"}
    notes = [
        label(f"no gain: {status}", 0, row, **inside)
        for row, status in zip(at[~known], rows.loc[~known, "status"], strict=True)
    ]
    ends = np.concatenate([low, high, [0.0]])
    ends = ends[np.isfinite(ends)]
    reach = 0.05 * max(float(np.ptp(ends)), 1e-9)
    money = f", {plain(currency)}" if currency else ", in the money of the costs given"
    axis = {
        "title": {
            "text": f"gain of renewing in the outage{money}<br>below 0: renewing costs more than "
            "it saves"
        },
        "range": [float(ends.min()) - reach, float(ends.max()) + reach],
        "tickformat": ",.4~g" if np.abs(ends).max() < 1_000 else ",.0f",
    }
    return traces, [_key(f"○ gain ━ interval at {level:.0%}", number), *notes], axis


def _chances(panel: _Panel, level: float, number: str) -> Part:
    """Chance to fail of each seal, if left in and if renewed."""
    rows = panel.rows
    traces = []
    edge = 0.05
    for stem, name, shift, fill, width in _CHANCES:
        columns = (f"chance_{stem}", f"chance_{stem}_low", f"chance_{stem}_high")
        middle, low, high = (rows[c].to_numpy(dtype=float) for c in columns)
        at = rows["at"].to_numpy(dtype=float) + shift - 0.15
        known = np.isfinite(middle)
        edge = max(edge, float(np.nanmax(high, initial=0.0)))
        said = [
            f"{_who(row)}, {name}: {row[columns[0]]:.0%} ({row[columns[1]]:.0%} to "
            f"{row[columns[2]]:.0%} at {level:.0%})"
            for row in rows[known].to_dict(orient="records")
        ]
        hover: dict[str, Any] = {"hovertemplate": "%{customdata}<extra></extra>"}
        traces += [
            line(*spans(low, high, at), f"interval {name}", width=width, hoverinfo="skip"),
            points(middle[known].tolist(), at[known].tolist(), name, fill=fill, size=8,
                   customdata=said, **hover),
        ]  # fmt: skip
    axis = {
        "title": {"text": "share expected to fail between this outage and the next"},
        "range": [0, min(1.08 * edge, 1.02)],
        "tickformat": ".0%",
    }
    key = f"● if left in &nbsp; ○ if renewed; intervals at {level:.0%}"
    return traces, [_key(key, number)], axis


def _key(text: str, number: str) -> dict[str, Any]:
    corner = {"xref": "paper", "yref": f"y{number} domain", "xanchor": "left", "yanchor": "bottom"}
    return label(text, 0, 1, yshift=4, font={"size": 12, "color": GREY}, **corner)


def _words(panel: _Panel, number: str) -> list[dict[str, Any]]:
    """Chances and groups at the right; what is not drawn; the name of the line."""
    texts = [""] * panel.slots
    for at, chance in zip(panel.rows["at"], panel.rows["chance_left"], strict=True):
        texts[at] = f"{chance:.0%}" if np.isfinite(chance) else "–"
    notes = column("fail by the<br>next if left", texts, 44, align="right", axis=number)
    beside = {"xref": "paper", "yref": f"y{number}", "xanchor": "left", "align": "left"}
    notes += [label(text, 1, at, xshift=58, **beside) for at, text in panel.heads]
    grey = {"font": {"size": 12, "color": GREY}, "bgcolor": "white"}
    notes += [label(text, 0, at, xshift=6, **grey, **beside) for at, text in panel.more]
    if panel.line is not None:
        middle = {"xref": "paper", "yref": f"y{number}", "bgcolor": "white"}
        leaks = bool((panel.rows["verdict"] == LEAK_FIRST).any())
        text = f"money line: above it {'seals leak, or ' * leaks}renewing pays"
        notes.append(label(f"<b>{text}</b>", 0.5, panel.line, **middle))
    return notes


def _rules(panel: _Panel, number: str) -> list[dict[str, Any]]:
    """Money line, place of no gain, thin lines between the groups."""
    across = {"type": "line", "xref": "paper", "yref": f"y{number}", "x0": 0, "x1": 1}
    shapes = []
    if panel.line is not None:
        at = panel.line
        shapes.append(across | {"y0": at, "y1": at, "line": {"color": INK, "width": 2.5}})
        shapes.append(upright(0, INK) | {"xref": f"x{number}", "yref": f"y{number} domain"})
    starts = panel.rows.groupby("verdict", sort=False)["at"].min().iloc[1:]
    thin = {"color": PALE, "width": 1.5}
    return shapes + [
        across | {"y0": at - 0.5, "y1": at - 0.5, "line": thin}
        for at in starts.tolist()
        if at - 1 != panel.line
    ]


def _rows_axis(panel: _Panel, number: str) -> dict[str, Any]:
    """Names of the seals drawn."""
    names = [plain(name) for name in panel.rows["position_id"].astype(str)]
    return row_axis(names) | {
        "tickvals": panel.rows["at"].tolist(),
        "range": [panel.slots - 0.5, -0.5],
        "anchor": f"x{number}",
    }


def _who(row: dict[Any, Any]) -> str:
    """Seal position, class and rank."""
    return f"{row['rank']:.0f}. {plain(row['position_id'])}, {plain(row['service_class'])}"


def _others(table: pd.DataFrame) -> list[str]:
    """Seals not in the order, with why."""
    rest = table.loc[table["rank"].isna(), "status"].value_counts()
    if not len(rest):
        return []
    told = ", ".join(f"{n:,} {status}" for status, n in rest.items())
    return [f"No figure, and not drawn: {told}."]


def _alt(outage: OutageList, ranked: pd.DataFrame, currency: str) -> str:
    """The figure in words."""
    groups = ranked["verdict"].value_counts(sort=False)
    told = ", ".join(f"{n:,} {word}" for word, n in groups.items())
    first = "; ".join(
        f"{row['position_id']} {row['gain']:,.0f} ({row['gain_low']:,.0f} to "
        f"{row['gain_high']:,.0f})"
        for row in ranked[ranked["gain"].notna()].head(5).to_dict(orient="records")
    )
    if not first:
        return f"Seals in order of the outage list, by chance to fail: {told}."
    return (
        f"Seals in order of the outage list: {told}. The money line stands below the first "
        f"{outage.line:,}. Gains{f', {currency}' if currency else ''}, first of the list: {first}."
    )
