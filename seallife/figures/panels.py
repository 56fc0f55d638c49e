"""What small panels share: their grid, a head, counts below, words inside, and the lines under all.

In: counts and places. Out: notes for `seallife.figures.style.draw`. Next: the figures by class.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy.typing as npt

from seallife.errors import InputError
from seallife.figures.style import GREY, INK, draw, label, panel_axes
from seallife.schema import DAYS_PER_YEAR, HOURS_PER_YEAR

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

__all__ = [
    "CLOCKS",
    "at_risk_row",
    "chosen",
    "counted",
    "foot",
    "grid",
    "head",
    "inside",
    "only_words",
    "place_of",
]

Spot = tuple[str, list[float], list[float]]

CLOCKS = {
    "h": (HOURS_PER_YEAR, "years of running (8,766 h)"),
    "d": (DAYS_PER_YEAR, "calendar years"),
}
"""Of the unit of ages: how many are a year, and what an axis in years counts."""

_ABOVE, _TO_FOOT, _LINE = 42, 44, 17


def chosen(names: Sequence[Any], groups: Sequence[Any] | None) -> list[int]:
    """Rows of the classes asked for; all where none are named.

    Raises
    ------
    InputError
        If a class is not there.
    """
    if groups is None:
        return list(range(len(names)))
    for name in groups:
        if name not in names:
            hint = f"known here: {', '.join(map(str, names[:12]))}"
            raise InputError(f"there is no class {name!r}", where="groups", hint=hint)
    return [names.index(name) for name in groups]


def grid(
    count: int,
    columns: int,
    height: int,
    lines: int,
    between: int = 80,
    beside: float = 0.06,
) -> tuple[list[Spot], int, dict[str, int]]:
    """Where do panels of a height stand, and how high is the figure?

    Parameters
    ----------
    count, columns : int
        Panels, and panels side by side.
    height : int
        Of each panel [px].
    lines : int
        Lines of text below all, see `foot`.
    between : int
        Room between two rows, for ticks and counts of one and the head of the next [px].
    beside : float
        Room between two columns, as a share of the width of all.

    Returns
    -------
    spots : list of (number, x domain, y domain)
        As from `seallife.figures.style.panel_axes`.
    height : int
        Of the figure [px].
    margin : dict

    Raises
    ------
    InputError
        If ``columns`` is below 1.
    """
    if columns < 1:
        raise InputError(f"is {columns!r}", where="columns", hint="give 1 or more")
    columns = min(columns, max(count, 1))
    rows = max(-(-count // columns), 1)
    inner = rows * height + (rows - 1) * between
    spots = panel_axes(count, columns, gap_x=beside, gap_y=between / inner) if count else []
    margin = {"l": 66, "r": 16, "t": _ABOVE, "b": _TO_FOOT + _LINE * lines}
    return spots, inner + margin["t"] + margin["b"], margin


def place_of(number: str) -> dict[str, str]:
    """Coordinates of a panel, 0 to 1 from its lower left corner; numbers as from `panel_axes`."""
    return {"xref": f"x{number} domain", "yref": f"y{number} domain"}


def counted(n: float, one: str, many: str) -> str:
    """Count with its noun.

    Examples
    --------
    >>> counted(1, "life", "lives"), counted(1200, "life", "lives")
    ('1 life', '1,200 lives')
    """
    return f"{n:,.0f} {one if n == 1 else many}"


def head(row: Any, name: str, place: dict[str, str]) -> dict[str, Any]:
    """Name of a panel above it, and how many lives and failures it rests on.

    Parameters
    ----------
    row : mapping
        With ``n`` and ``failures``.
    name : str
        Safe as text, see `seallife.figures.style.plain`.
    """
    lives = counted(float(row["n"]), "life", "lives")
    failures = counted(float(row["failures"]), "failure", "failures")
    corner = {"xanchor": "left", "yanchor": "bottom", "yshift": 2, "align": "left"}
    return label(f"<b>{name}</b><br>{lives}, {failures}", 0, 1, **corner, **place)


def inside(words: str, place: dict[str, str], x: float = 0.5, y: float = 0.5) -> dict[str, Any]:
    """Words in a panel where something is not drawn."""
    return label(words, x, y, font={"size": 11, "color": GREY}, **place)


def at_risk_row(
    shares: Sequence[float] | npt.NDArray[Any],
    numbers: Sequence[float] | npt.NDArray[Any],
    place: dict[str, str],
) -> list[dict[str, Any]]:
    """Row of counts below the ticks, which stand at these shares of the panel's width."""
    font = {"size": 11, "color": GREY}
    where = {"xanchor": "center", "yanchor": "top", "yshift": -20, "font": font}
    return [
        label(f"{number:,.0f}", share, 0, **where, **place)
        for share, number in zip(shares, numbers, strict=True)
    ]


def foot(lines: Sequence[str]) -> dict[str, Any]:
    """Lines below all panels: what the axis counts, and what the signs mean."""
    font = {"size": 12, "color": INK}
    where = {"xref": "paper", "yref": "paper", "yanchor": "top", "yshift": -42, "font": font}
    return label("<br>".join(lines), 0.5, 0, **where)


def only_words(words: str, *, height: int = 120) -> Figure:
    """Figure that says why there is nothing to draw."""
    none = {"visible": False}
    note = label(words, 0.5, 0.5, xref="paper", yref="paper")
    layout = {"xaxis": none, "yaxis": none, "margin": {"l": 8, "r": 8, "t": 8, "b": 8}}
    return draw([], layout, notes=[note], height=height, alt=words.replace("<br>", " "))
