"""Leakage told in words: an order of five, and no amount.

In: a column of words. Out: `WordReadings`. Next: reports on leakage.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

import pandas as pd

__all__ = ["WORD_SCALE", "WordReadings", "read_words"]

WORD_SCALE = ("none", "stain", "weep", "drip", "stream")
"""What is seen at a gland, from least to most. A step is no fixed amount: never average codes."""


@dataclass(frozen=True, eq=False)
class WordReadings:
    """Words as an order.

    Attributes
    ----------
    codes : Series of Int64, shape (n,)
        Place in `WORD_SCALE`, 0 for none; missing where the cell was empty or not understood.
    unknown : Series of int
        Words that were not understood, with how often each was met, most often first.
    """

    codes: pd.Series[Any]
    unknown: pd.Series[Any]


def read_words(series: pd.Series[Any]) -> WordReadings:
    """How much leakage do these words tell, in order?

    Parameters
    ----------
    series : Series of str, shape (n,)
        Cells in English, German, French, Spanish, Portuguese, Italian or Dutch. A whole cell must
        be a known word: "no longer dripping" is handed back, not guessed at.

    Returns
    -------
    WordReadings

    Notes
    -----
    An empty cell is missing, not "none". Some readers of files take the word "None" for an empty
    cell: read the column as text.

    Examples
    --------
    >>> got = read_words(pd.Series(["dry", "Tropft", "suintement", "5 dpm"]))
    >>> got.codes.tolist(), got.unknown.index.tolist()
    ([0, 3, 2, <NA>], ['5 dpm'])
    """
    cells = ["" if pd.isna(v) else str(v).strip() for v in series.tolist()]
    known = _words()
    code = {cell: known.get(_plain(cell)) for cell in set(cells)}
    codes = pd.Series([code[c] for c in cells], index=series.index, dtype="Int64", name=series.name)
    unknown = pd.Series([c for c in cells if c and code[c] is None], dtype=object)
    return WordReadings(codes, unknown.value_counts())


@lru_cache(maxsize=1)
def _words() -> dict[str, int]:
    with (files("seallife.leakage") / "words.toml").open("rb") as file:
        lists = tomllib.load(file)
    return {_plain(word): i for i, name in enumerate(WORD_SCALE) for word in lists[name]}


def _plain(word: str) -> str:
    """Without case, accents, blanks at the ends and full stops."""
    text = unicodedata.normalize("NFKD", word.casefold())
    text = "".join(c for c in text if not unicodedata.combining(c))
    return re.sub(r"\s+", " ", text).strip(" .!")
