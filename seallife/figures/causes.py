"""What seals fail from, as a picture: cumulative incidence by cause, one panel a class.

In: `Incidence`. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from seallife.figures.life import round_up, thinned
from seallife.figures.panels import CLOCKS, at_risk_row, foot, grid, head, inside, place_of
from seallife.figures.style import GREY, LEAD, OTHER, band, draw, label, line, plain

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.life.causecurves import Incidence

__all__ = ["incidence_figure"]

Floats = npt.NDArray[np.float64]

# Dash and name tell the causes apart in grey, colour beside them.
_STYLES = ((LEAD, "solid"), (OTHER, "dash"), ("#006B4F", "dot"), ("#7A4B94", "dashdot"))
_FEW_AT_RISK = 5
_ENOUGH = 5  # failures of a class that may stretch the age axis
_LONGEST = 18  # characters of a cause beside its line
_WIDE = 600  # px of a page for which names and panels are laid out


def incidence_figure(incidence: Incidence, *, unit: str = "h", columns: int = 2) -> Figure:
    """Draw the share failed from each cause by age: one panel a class, all on one scale.

    Steps and bands are the cumulative incidence with its interval and assume no law; at each age
    the lines of a panel add up to the share failed. A line is thin where fewer than five seals are
    at risk. Each line is named at its end with its failures; below each panel stand the seals at
    risk at the ages marked. Of more than four causes the four with most failures are drawn, and the
    others named.

    Parameters
    ----------
    incidence : Incidence
    unit : str
        Unit of its ages: 'h' and 'd' are drawn in years; any other word is put on the axis as it
        is.
    columns : int
        Panels side by side.

    Raises
    ------
    InputError
        If ``columns`` is below 1.
    """
    year, clock = CLOCKS.get(unit, (1.0, plain(unit)))
    table = incidence.table
    columns = min(columns, max(len(table), 1))
    oldest = table["oldest_age"].to_numpy(dtype=float) / year
    # A class of few failures may hold one very old seal; the others would shrink beside it.
    some = table["failures"].to_numpy() >= _ENOUGH
    end = round_up(float(np.nanmax(oldest[some] if some.any() else oldest, initial=0.0)))
    ticks = np.linspace(0, end, 5)
    at_risk = _at_risk(incidence, ticks * year)
    drawn, left_out = _chosen(incidence)
    curves = [_curve(incidence, i, oldest[i], year) for i in range(len(table))]
    top = _top(curves, drawn)
    under = _legend(incidence, clock, left_out)
    right = _room(incidence, drawn)
    beside = min((right + 16) / (_WIDE - 66 - right), 0.5)
    spots, height, margin = grid(len(table), columns, 130, len(under), beside=beside)
    traces: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = [foot(under)]
    signs: list[dict[str, Any]] = []
    layout: dict[str, Any] = {"margin": margin | {"r": right}}
    for i, (k, x, y) in enumerate(spots):
        here = {"xaxis": f"x{k}", "yaxis": f"y{k}"}
        name = plain(table["group"].iloc[i])
        traces += [t | here for t in _traces(incidence, curves[i], drawn, name, clock)]
        layout[f"xaxis{k}"] = {
            "domain": x,
            "anchor": f"y{k}",
            "range": [0, end],
            "tickvals": ticks.tolist(),
            "ticktext": [f"{t:g}" if year != 1.0 else f"{t:,.0f}" for t in ticks],
        }
        layout[f"yaxis{k}"] = {
            "domain": y,
            "anchor": f"x{k}",
            "range": [0, top * 1.02],
            "tickvals": [0, top / 2, top],
            "ticktext": ["0", f"{100 * top / 2:g} %", f"{100 * top:g} %"],
            "showticklabels": x[0] == 0,
        }
        if x[0] == 0:
            layout[f"yaxis{k}"]["title"] = {"text": "failed from"}
        place = place_of(k)
        notes += _head(table.iloc[i], name, place)
        words, samples = _ends(incidence, i, curves[i], drawn, top, place)
        notes, signs = notes + words, signs + samples
        notes += at_risk_row(ticks[1:] / end, at_risk[i][1:], place)
    layout["shapes"] = signs
    return draw(traces, layout, notes=notes, height=height)


def _at_risk(incidence: Incidence, ages: Floats) -> Floats:
    """Seals at risk in each group at each age marked, shape (groups, ages)."""
    sets = incidence.risk_sets
    out = np.zeros((len(incidence.table), len(ages)))
    for i in range(len(out)):
        part = slice(int(sets.offsets[i]), int(sets.offsets[i + 1]))
        place = np.searchsorted(sets.age[part], ages)
        out[i] = np.append(sets.at_risk[part], 0.0)[place]
    return out


def _chosen(incidence: Incidence) -> tuple[list[int], list[str]]:
    """Causes drawn, most failures first, and the others with their failures in words."""
    count = incidence.events.sum(axis=0)
    order = np.argsort(-count, kind="stable").tolist()
    most = len(_STYLES)
    rest = [f"{plain(incidence.causes[k])} ({count[k]:,.0f})" for k in order[most:]]
    return order[:most], rest


def _curve(incidence: Incidence, i: int, oldest: float, year: float) -> dict[str, Floats]:
    """Steps of one group from age 0 to the oldest seal seen, all causes."""
    part = slice(int(incidence.offsets[i]), int(incidence.offsets[i + 1]))
    inner = {name: getattr(incidence, name)[part] for name in ("incidence", "low", "high")}
    flat = np.zeros((1, len(incidence.causes)))
    start = {"incidence": flat, "low": flat, "high": flat}
    if not np.isfinite(oldest):
        return {"age": np.zeros(0), "at_risk": np.zeros(0), **{k: v[:0] for k, v in start.items()}}
    out = {
        "age": np.r_[0.0, incidence.age[part] / year, oldest],
        "at_risk": np.r_[np.inf, incidence.at_risk[part], np.nan],
    }
    for name, values in inner.items():
        last = values[-1:] if len(values) else flat
        out[name] = np.concatenate([start[name], values, last])
    keep = thinned(len(out["age"]))
    return {name: values[keep] for name, values in out.items()}


def _top(parts: list[dict[str, Floats]], drawn: list[int]) -> float:
    """Top of the share axis: the first round share above all lines and their limits."""
    highest = 0.0
    for part in parts:
        seen = [k for k in drawn if part["incidence"][-1:, k].sum() > 0]
        reach = np.fmax(part["incidence"], part["high"])[:, seen]
        highest = max(highest, float(reach.max(initial=0.0)))
    shares = np.array([0.1, 0.2, 0.4, 0.6, 0.8, 1.0])
    return float(shares[shares >= min(highest, 1.0)][0])


def _traces(
    incidence: Incidence, part: dict[str, Floats], drawn: list[int], name: str, clock: str
) -> list[dict[str, Any]]:
    """Bands below, lines above them, one of each a cause."""
    age, risk = part["age"], part["at_risk"]
    if not len(age) or not drawn:
        # plotly draws no axes where no trace is
        return [line([None], [None], f"{name}")]
    bands, lines = [], []
    few = np.flatnonzero(risk < _FEW_AT_RISK)
    cut = int(few[0]) if len(few) else len(age)
    for (colour, dash), k in zip(_STYLES, drawn, strict=False):
        cause = plain(incidence.causes[k])
        share = part["incidence"][:, k]
        title = f"{name}, {cause}"
        if share[-1] == 0:
            continue
        limits = part["low"][:, k], part["high"][:, k]
        bands.append(band(age, *limits, f"{title} interval", colour=colour, step=True))
        said = f"{title}: %{{y:.1%}} by %{{x:.4g}} {clock}<extra></extra>"
        style: dict[str, Any] = {
            "colour": colour,
            "dash": dash,
            "step": True,
            "hovertemplate": said,
        }
        solid = np.r_[share[:cut], share[cut - 1 : cut]][: len(age[: cut + 1])]
        x, y = age.round(4), share.round(5)
        lines.append(line(x[: cut + 1].tolist(), solid.round(5).tolist(), title, **style))
        if cut < len(age):
            thin = {**style, "width": 1.0}
            ends = np.r_[x[cut], x[cut:]], np.r_[y[cut - 1], y[cut:]]
            rest, level = (e.tolist() for e in ends)
            lines.append(line(rest, level, f"{title}, few at risk", **thin))
    if not lines:
        lines.append(line([0.0, float(age[-1])], [0.0, 0.0], f"{name}, no failure", colour=GREY))
    return [*bands, *lines]


def _head(row: Any, name: str, place: dict[str, str]) -> list[dict[str, Any]]:
    """Name and counts above a panel, words in it where there is nothing to see."""
    status = str(row["status"])
    marked = f"{name}: {status}" if status == "risk set emptied" else name
    notes = [head(row, marked, place)]
    if status in ("no lives", "no failures"):
        notes.append(inside(status, place))
    return notes


def _ends(
    incidence: Incidence,
    i: int,
    part: dict[str, Floats],
    drawn: list[int],
    top: float,
    place: dict[str, str],
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Name and dash of each cause at the height its line ends, moved apart where these are close.

    The dash is drawn again beside the name: in grey it is what tells the lines apart.
    """
    steps = slice(int(incidence.offsets[i]), int(incidence.offsets[i + 1]))
    count = incidence.events[steps].sum(axis=0)
    ends = [
        (float(part["incidence"][-1, k]), colour, dash, k)
        for (colour, dash), k in zip(_STYLES, drawn, strict=False)
        if count[k] > 0
    ]
    ends.sort()
    room, lowest = 0.13, 0.03
    notes, height = [], lowest - room
    wanted = []
    for share, *_ in ends:
        height = max(share / (top * 1.02), height + room)
        wanted.append(height)
    # what was pushed over the top comes back down, the others below it with it
    above = 1.0
    for j in range(len(wanted) - 1, -1, -1):
        wanted[j] = min(wanted[j], above)
        above = wanted[j] - room
    samples = []
    for (_, colour, dash, k), y in zip(ends, wanted, strict=True):
        text = f"{plain(incidence.causes[k], _LONGEST)} ({count[k]:,.0f})"
        font = {"size": 11, "color": colour}
        corner = {"xanchor": "left", "yanchor": "middle", "xshift": 34}
        notes.append(label(text, 1, y, font=font, **corner, **place))
        stroke = {"color": colour, "dash": dash, "width": 2}
        pixels = {"xsizemode": "pixel", "xanchor": 1, "x0": 4, "x1": 31}
        samples.append({"type": "line", "y0": y, "y1": y, "line": stroke, **pixels})
    return notes, [sample | place for sample in samples]


def _room(incidence: Incidence, drawn: list[int]) -> int:
    """Room for the names beside a panel [px]."""
    longest = max((len(plain(incidence.causes[k], _LONGEST)) for k in drawn), default=0)
    return 38 + round(5.8 * (longest + 5))


def _legend(incidence: Incidence, clock: str, left_out: list[str]) -> list[str]:
    """Clock, level and what the signs mean, below all panels."""
    level = f"{100 * incidence.level:g} %"
    lines = [
        f"age in {clock}; grey figures: seals at risk at that age",
        f"bands: {level} interval; in brackets: failures; thin: fewer than {_FEW_AT_RISK} at risk",
    ]
    if (incidence.table["status"] == "risk set emptied").any():
        lines.append("risk set emptied: once all at risk had failed, the lines are wrong")
    if left_out:
        lines.append(f"not drawn: {', '.join(left_out)}")
    return lines
