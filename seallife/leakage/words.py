"""How much leaks, told in words: an order of five steps, and no more than an order.

In: words. Out: steps. Next: `seallife.leakage.readings`.
"""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

__all__ = ["WORD_SCALE", "read_words"]

WORD_SCALE = ("none", "stain", "weep", "drip", "stream")
"""From nothing to a running leak. Steps are in order; nothing is said of their size."""

_STEPS: dict[str, str] = {
    "none": "none|no leak|dry|ok|nil|keine|trocken|dicht|aucune|sec|n[eé]ant|sin fuga|seco|ninguna"
    "|sem vazamento|nenhum|nessuna|asciutto|geen|droog",
    "stain": "stain|trace|damp|moist|fleck|feucht|spuren?|tache|humide|mancha|h[uú]medo|[uú]mido"
    "|macchia|umido|vlek|vochtig",
    "weep": "weep|seep|sweat|schwitz|sicker|suint|rezuma|transpira|trasuda|zweet",
    "drip": "drip|drop|tropf|goutte|gote|gota|pinga|gocciola|goccia|druppel|lekt",
    "stream": "stream|jet|spray|running|gush|strahl|l[aä]uft|jet|coule|chorro|jorro|getto|straal",
}


def read_words(words: pd.Series) -> pd.Series:
    """Which step of the scale is meant?

    Parameters
    ----------
    words : pandas.Series of str

    Returns
    -------
    pandas.Series of float
        0 to 4 along `WORD_SCALE`; the highest step that is named. NaN where none is.

    Examples
    --------
    >>> read_words(pd.Series(["Weeping slightly", "trocken", "tropft, 5/min", "?", ""])).tolist()
    [2.0, 0.0, 3.0, nan, nan]
    """
    codes, shown = pd.factorize(words.astype(str))
    steps = np.array([_step(w.casefold()) for w in shown])
    return pd.Series(steps[codes] if len(codes) else np.zeros(0), index=words.index)


def _step(word: str) -> float:
    named = [i for i, name in enumerate(WORD_SCALE) if re.search(rf"\b(?:{_STEPS[name]})", word)]
    return float(named[-1]) if named else float("nan")
