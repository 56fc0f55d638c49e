"""What a page is made of: text, lists, and exhibits with their numbers beside them.

In: nothing. Out: the blocks. Next: `seallife.report.pages`, `seallife.report.html`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["Block", "Exhibit", "Page", "PageSpec", "Points", "Text"]


@dataclass(frozen=True)
class Text:
    """A paragraph; ``strong`` for the one sentence that must not be missed."""

    text: str
    strong: bool = False


@dataclass(frozen=True)
class Points:
    """A list under a heading."""

    heading: str
    items: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Exhibit:
    """A figure or table with everything needed to judge it.

    Attributes
    ----------
    name : str
        Name of its sidecar file, lower case, without ending.
    title : str
        What it shows, as a reader would ask for it.
    caption : str
        Counts, level, clock, method and the definition of what is shown.
    table : pandas.DataFrame
        Its numbers in full: what the sidecar holds.
    figure : plotly Figure, optional
    shown : pandas.DataFrame, optional
        A table of text to be read on the page; the first column names the row.
    alt : str
        The figure in words, for who cannot see it.
    rests_on : tuple of str
        Full tables (``lives``, ``removals``, ``findings``) whose records are behind it.
    """

    name: str
    title: str
    caption: str
    table: pd.DataFrame
    figure: Any = None
    shown: pd.DataFrame | None = None
    alt: str = ""
    rests_on: tuple[str, ...] = ()


Block = Text | Points | Exhibit


@dataclass(frozen=True)
class PageSpec:
    """A page to be built: later pages join the report by one more of these."""

    name: str
    title: str
    build: Callable[[Study], tuple[Block, ...]]


@dataclass(frozen=True, eq=False)
class Page:
    """A page built."""

    name: str
    title: str
    blocks: tuple[Block, ...]

    @property
    def exhibits(self) -> tuple[Exhibit, ...]:
        """Exhibits in the order shown."""
        return tuple(b for b in self.blocks if isinstance(b, Exhibit))
