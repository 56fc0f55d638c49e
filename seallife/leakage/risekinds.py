"""Did leakage step up, ramp up, or drift ever since the seal was new?

In: `Sequences`, filter steps, the reading up to which to look. Out: a word per segment. Next:
`seallife.leakage.alarms`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seallife.leakage.forecasts import Steps, onset_gains
from seallife.leakage.sequences import Sequences
from seallife.life.groups import Floats, Ints

__all__ = ["KINDS", "kinds_of_rise"]

KINDS = ("ramp", "step", "drift")
_MOST_BACK = 24
"""Readings over which a change is looked for."""


def kinds_of_rise(data: Sequences, steps: Steps, last: Ints, clear: float) -> NDArray[np.object_]:
    """Which law of rise do the readings favour?

    Parameters
    ----------
    data : Sequences
    steps : Steps
    last : ndarray of int, shape (r,)
        Reading (step-wise number) up to which to look, one a segment.
    clear : float
        Log likelihood by which one law must lead both others.

    Returns
    -------
    ndarray of object, shape (r,)
        'ramp' (level, then a steady rise of the log), 'step' (level, then a higher one), 'drift'
        (a steady rise from the first reading) or 'cannot tell'.

    Notes
    -----
    Each law is fitted by greatest likelihood over its size and, for ramp and step, over the
    reading after which it began, among the last 24. Drift has no onset to choose and is given 1
    for that (Akaike). Two readings on a rise fit a step and a ramp alike: 'cannot tell' is the
    usual answer early in an alarm.
    """
    r = len(last)
    if not r:
        return np.empty(0, dtype=object)
    seal, count = data.seal[last], data.step[last] + 1
    best = np.full((3, r), 0.0)
    for back in range(1, min(_MOST_BACK, int(count.max()) - 1) + 1):
        some = np.flatnonzero(count > back)
        first = count[some] - 1 - back
        for law in (0, 1):
            fit = _fit(data, steps, seal[some], first, count[some], law == 0)
            best[law, some] = np.maximum(best[law, some], fit)
    best[2] = 1.0 + _fit(data, steps, seal, np.zeros(r, np.int64), count, True)
    order = np.argsort(best, axis=0)
    at = np.arange(r)
    lead = best[order[2], at] - best[order[1], at]
    words = np.array(KINDS, dtype=object)[order[2]]
    return np.where(lead >= clear, words, "cannot tell")


def _fit(
    data: Sequences, steps: Steps, seal: Ints, first: Ints, count: Ints, slope: bool
) -> Floats:
    """Log likelihood won by a rise after reading ``first``, a line or a step."""
    k = len(seal)
    start = data.time[data.steps[first] + seal]
    d_level, d_error, score, info = (np.zeros(k) for _ in range(4))
    for ahead in range(1, int((count - first).max())):
        on = np.flatnonzero(first + ahead < count)
        at = data.steps[first[on] + ahead] + seal[on]
        shape = data.time[at] - start[on] if slope else np.ones(len(on))
        d_level[on], d_error[on], add, more = onset_gains(
            d_level[on], d_error[on], shape, steps, at
        )
        score[on] += add
        info[on] += more
    return np.where((score > 0) & (info > 0), 0.5 * score**2 / np.maximum(info, 1e-300), 0.0)
