"""What is to be done about a seal whose leakage rises: the rule, in one place.

In: status and earliest time. Out: next steps, ranks. Next: `seallife.leakage.forecast`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from seallife.life.groups import Floats

__all__ = ["EVERY", "PLAN_WITHIN", "READ_WITHIN", "next_steps", "rank_rising", "steps_in_alarm"]

READ_WITHIN = 7.0
"""Days within which a reading in doubt is taken again (common practice)."""
PLAN_WITHIN = 60.0
"""Days to the earliest time from which a renewal is planned, for want of the site's own."""
EVERY = (28, 14, 7)
"""Days between readings of a seal under watch."""

_OVER, _WAS_OVER = "over the limit now", "was over the limit"
_DOUBT = "may be over the limit"
_ROUND, _READ_ON, _SET_LIMIT = "keep to the round", "read on", "set a limit"
_AGAIN = f"re-read within {READ_WITHIN:g} days"
_RISING = ("ok", "too wide to say")


def next_steps(
    status: ArrayLike,
    days_low: ArrayLike,
    confirmed: ArrayLike,
    *,
    plan_within: float = PLAN_WITHIN,
) -> NDArray[np.object_]:
    """What is the next step for each segment?

    Parameters
    ----------
    status : array_like of str, shape (g,)
        As in the table of `seallife.leakage.forecast.time_to_limit`.
    days_low : array_like, shape (g,)
        Earliest time at which the level may be at the limit [d from the date of forecast].
    confirmed : array_like of bool, shape (g,)
        Two of the last three readings lie clearly above the baseline.
    plan_within : float
        Days that it takes to prepare a renewal, with what the site wants in hand.

    Returns
    -------
    ndarray of str, shape (g,)

    Notes
    -----
    The first that holds:

    1. The last reading is over the limit: *act now: over the limit*. An earlier one was, and no
       repair is on record: *was over the limit: close it by the site's rule*.
    2. The level may be over the limit: *re-read at once*.
    3. The rise is not confirmed: *re-read within 7 days*.
    4. The earliest time is within ``plan_within``: *plan the renewal*, and within 7 days *plan the
       renewal, re-read within 7 days*.
    5. The level rises: *watch: read every n days*, n the largest of 28, 14, 7 that leaves four
       readings before the earliest time.
    6. No limit is known, or too few readings, or no rise: *set a limit*, *read on*, *keep to the
       round*.

    No rule ever says to wait: a step is the least that is due, and the site's rules go before it.
    """
    word = np.asarray(status, dtype=object)
    low = np.asarray(days_low, dtype=np.float64)
    sure = np.asarray(confirmed, dtype=bool)
    rising = np.isin(word, _RISING)
    with np.errstate(invalid="ignore"):
        every = [rising & (low >= 4 * n) for n in EVERY]
        near, soon = rising & (low <= READ_WITHIN), rising & (low <= plan_within)
    cases = [
        (word == _OVER, "act now: over the limit"),
        (word == _WAS_OVER, "was over the limit: close it by the site's rule"),
        (word == _DOUBT, "re-read at once"),
        (rising & ~sure, _AGAIN),
        (near, f"plan the renewal, {_AGAIN}"),
        (soon, "plan the renewal"),
        *((rows, f"watch: read every {n} days") for rows, n in zip(every, EVERY, strict=True)),
        (rising, f"watch: read every {EVERY[-1]} days"),
        (word == "no limit", _SET_LIMIT),
        (word == "few readings", _READ_ON),
    ]
    out = np.full(word.shape, _ROUND, dtype=object)
    for rows, step in reversed(cases):
        out[rows] = step
    return out


def steps_in_alarm(
    step: ArrayLike, alarm: ArrayLike, confirmed: ArrayLike, legal: ArrayLike
) -> NDArray[np.object_]:
    """What is the next step where an alarm, or a legal limit, asks for more than the forecast?

    Parameters
    ----------
    step : array_like of str, shape (g,)
        Of `next_steps`.
    alarm, confirmed : array_like of bool, shape (g,)
        The seal is in alarm; the alarm is confirmed.
    legal : array_like of bool, shape (g,)
        The last reading is over a legal limit.

    Returns
    -------
    ndarray of str, shape (g,)
        Over a legal limit: *act now*. In alarm where no time can be foretold: another reading, soon
        while it is not confirmed. Else the step as it was.
    """
    word = np.asarray(step, dtype=object)
    idle = np.isin(word, (_ROUND, _READ_ON, _SET_LIMIT))
    rows = [np.asarray(v, dtype=bool) for v in (legal, confirmed, alarm)]
    cases = [rows[0], idle & rows[1], idle & rows[2]]
    steps = ["act now: over a legal limit", f"watch: read every {EVERY[1]} days", _AGAIN]
    return np.asarray(np.select(cases, [np.array(s, dtype=object) for s in steps], word))


def rank_rising(status: ArrayLike, days_low: ArrayLike) -> Floats:
    """Which segment comes first?

    Parameters
    ----------
    status : array_like of str, shape (g,)
    days_low : array_like, shape (g,)
        [d]

    Returns
    -------
    ndarray, shape (g,)
        From 1: readings over the limit, then those that were, then those that may be, then rises
        by their earliest time; ties in the order given. NaN where nothing rises.
    """
    word = np.asarray(status, dtype=object)
    low = np.asarray(days_low, dtype=np.float64)
    order = {s: k for k, s in enumerate((_OVER, _WAS_OVER, _DOUBT))} | dict.fromkeys(_RISING, 3)
    weight = np.array([order.get(s, 4) for s in word.tolist()], dtype=np.int64)
    earliest = np.where(weight == 3, low, 0.0)
    place = np.lexsort((earliest, weight))
    rank = np.empty(len(word))
    rank[place] = np.arange(1, len(word) + 1)
    return np.where(weight < 4, rank, np.nan)
