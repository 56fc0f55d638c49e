"""Words for a trend: improved, worse, no evidence, cannot tell yet; and a sentence.

In: trends and their limits. Out: words. Next: `seallife.history.positiontrend`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats

__all__ = ["could_undo", "trend_verdicts"]

_SEEN = float(np.log(2.0))  # a rate halved over the records should have shown


def trend_verdicts(
    table: Mapping[str, NDArray[Any]], low: Floats, high: Floats, level: float, per: float
) -> tuple[list[str], list[str]]:
    """Which word fits each trend, and which sentence?

    Parameters
    ----------
    table : mapping
        Columns of `seallife.history.positiontrend.PositionTrends`.
    low, high : ndarray, shape (g,)
        Limits of the log of ``ratio``.
    level : float
    per : float
        Units of exposure in a year.
    """
    verdicts, messages = [], []
    for i, n in enumerate(table["with_events"].tolist()):
        change = _percent(table["yearly"][i])
        between = f"{_percent(table['yearly_low'][i])} to {_percent(table['yearly_high'][i])}"
        told = f"The rate changed by {change} a year ({between}, {100 * level:g} % limits)"
        half = (high[i] - low[i]) / 2
        if high[i] < 0:
            verdict, words = "improved", f"{told}: it fell by more than chance explains."
        elif low[i] > 0:
            verdict, words = "worse", f"{told}: it rose by more than chance explains."
        elif half <= _SEEN:
            verdict, words = "no evidence", f"{told}: within what chance explains."
        else:
            verdict = "cannot tell yet"
            words = _not_yet(n, int(table["events"][i]), float(table["exposure"][i]) / per, half)
        verdicts.append(verdict)
        messages.append(words)
    return verdicts, messages


def _not_yet(positions: int, events: int, exposure: float, half: float) -> str:
    """Why nothing can be said yet, and what it would take."""
    if events == 0:
        return "No event was seen: there is no rate to compare."
    if positions == 1:
        return "All events come from one position: nothing tells how far chance carries them."
    if not np.isfinite(half):
        return (
            f"{events} events at {positions} positions: even a rate halved over the records would "
            "not show."
        )
    more = max(math.ceil(events * ((half / _SEEN) ** 2 - 1)), 1)
    years = exposure / events * more
    return (
        f"Even a rate halved over the records would not show yet; about {more:,} more "
        f"event{'s' * (more > 1)}, or {years:,.3g} more position-years like these, are needed."
    )


def _percent(factor: float) -> str:
    """Factor as a change in percent."""
    if not np.isfinite(factor) or factor > 11:
        return "no limit" if not np.isfinite(factor) else f"×{factor:.0f}"
    change = 100 * (factor - 1)
    return f"{change:+.0f} %".replace("-", "−").replace("+0 %", "0 %").replace("−0 %", "0 %")


def could_undo(scores: Floats, extra: Floats, most: int, level: float) -> str:
    """Could events that lack a place undo a trend? Why, or '' if not.

    Parameters
    ----------
    scores : ndarray, shape (n,)
        Scores of the positions with events, which lean one way.
    extra : ndarray, shape (k,)
        What each event without a place would add, NaN where its time is not known.
    most : int
        How many of them may belong here; those that lean most the other way are taken, each as a
        position of its own.
    level : float
    """
    from scipy.special import stdtrit

    side = np.sign(scores.sum())
    against = np.sort(np.where(np.isnan(extra), 0.5, -side * extra))[::-1][:most]
    against = against[against > 0]
    if not len(against):
        return ""
    all_scores = np.concatenate([side * scores, -against])
    n = len(all_scores)
    student = np.sqrt(n) * all_scores.mean() / all_scores.std(ddof=1)
    if student > stdtrit(n - 1, (1 + level) / 2):
        return ""
    many = len(against)
    return (
        f"{many} more that may be failures lack{'s' if many == 1 else ''} a pump or a date and "
        "could undo it."
    )
