"""Do two mean cumulative numbers part anywhere by more than chance lets them?

In: `Watch` of two groups. Out: time, p. Next: `seallife.history.recurrence_difference`.
"""

from __future__ import annotations

from zlib import crc32

import numpy as np

from seallife.history.watch import Watch
from seallife.life.groups import Floats

__all__ = ["largest_gap"]


def largest_gap(
    watch: Watch, when: Floats, at_risk: tuple[Floats, Floats], resamples: int, seed: int
) -> tuple[float, float]:
    """When is the weighted difference largest, and how often is one as large by chance?

    The difference is that of the rises of both curves, each weighed by n1 n2 / (n1 + n2), summed up
    to each time. Were both groups alike, each unit's part in it would be its events less those of
    all units while it was watched; chance is that these parts have either sign.

    Parameters
    ----------
    watch : Watch
        Two groups.
    when : ndarray, shape (k,)
        Times with events at which both were watched, rising.
    at_risk : two ndarray, shape (k,)
        Units of each group watched then.
    resamples, seed : int
        Turnings of signs, of all of a unit's part at once.

    Returns
    -------
    time, p : float
        NaN where there is nothing to compare.

    Source
    ------
    Lin, Wei & Ying (1993), Biometrika 80, 557-572 (largest of a process, signs by unit); weights as
    in Cook, Lawless & Nadeau (1996), Biometrics 52, 557-571.
    """
    if not len(when) or min(np.diff(watch.units)) < 2:
        return np.nan, np.nan
    own = _events(watch, when)
    counts = [own[watch.units[g] : watch.units[g + 1]].sum(axis=0) for g in (0, 1)]
    one, two = at_risk
    weight = one * two / (one + two)
    height = np.abs(np.cumsum(weight * (counts[1] / two - counts[0] / one)))
    mean = (counts[0] + counts[1]) / (one + two)
    parts = np.empty_like(own)
    for g in (0, 1):
        run = slice(watch.units[g], watch.units[g + 1])
        units = run.stop - run.start
        share = weight / at_risk[g]
        lost = _while_watched(watch, g, when, np.cumsum(share * mean))
        # a unit is part of the mean it is held against, which makes its part too small
        parts[run] = (np.cumsum(share * own[run], axis=1) - lost) * np.sqrt(units / (units - 1))
    stream = crc32(np.ascontiguousarray(np.sort(watch.time)).tobytes())
    signs = np.random.default_rng([seed, stream]).integers(0, 2, (resamples, len(parts))) * 2.0 - 1
    drawn = np.abs(signs @ parts).max(axis=1)
    p = (1 + int((drawn >= height.max() - 1e-9).sum())) / (1 + resamples)
    return float(when[np.argmax(height)]), p


def _events(watch: Watch, when: Floats) -> Floats:
    """Events of each unit at each of the times, shape (units, times)."""
    out = np.zeros((len(watch.unit), len(when)))
    place = np.minimum(np.searchsorted(when, watch.time), len(when) - 1)
    counted = when[place] == watch.time
    np.add.at(out, (watch.unit_of_event[counted], place[counted]), 1.0)
    return out


def _while_watched(watch: Watch, g: int, when: Floats, total: Floats) -> Floats:
    """What of a running total came while each unit of a group was watched, shape (units, times)."""
    run = slice(watch.group_stretches[g], watch.group_stretches[g + 1])
    sums = np.append(0.0, total)
    begin = np.searchsorted(when, watch.start[run], side="right")
    stop = np.searchsorted(when, watch.end[run], side="right")
    now = np.arange(1, len(when) + 1)
    came = sums[np.clip(now[None, :], begin[:, None], stop[:, None])] - sums[begin][:, None]
    out = np.zeros((watch.units[g + 1] - watch.units[g], len(when)))
    np.add.at(out, watch.unit_of_stretch[run] - watch.units[g], came)
    return out
