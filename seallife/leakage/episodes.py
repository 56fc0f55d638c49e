"""When does an alarm begin and end, and which threshold keeps false ones to the rate stated?

In: `Forecasts`. Out: `Episodes`, the threshold. Next: `seallife.leakage.alarms`.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from seallife.leakage.forecasts import Forecasts, Noise, forecasts
from seallife.leakage.noise import draw_quiet
from seallife.leakage.sequences import Sequences
from seallife.life.groups import Floats

__all__ = ["MONTH_DAYS", "Episodes", "episodes", "find_threshold", "watched_months"]

MONTH_DAYS = 30.4375
CALM = 2
"""Readings in a row not above the warning line, and without evidence, that end an alarm."""
_MOST_READINGS, _LEAST_READINGS = 250_000, 100_000

Flags = NDArray[np.bool_]


class Episodes(NamedTuple):
    """State at each reading, step by step, all of shape (m,).

    ``begins``: an alarm begins here; ``open``: an alarm is on; ``confirmed``: by this reading or
    an earlier one of the same alarm; ``warned``: above the warning line; ``level`` and
    ``variance`` of the seal before the rise, as held while the alarm is on.
    """

    begins: Flags
    open: Flags
    confirmed: Flags
    warned: Flags
    level: Floats
    variance: Floats


def watched_months(data: Sequences, baseline: int) -> float:
    """How many position-months were watched: time before each reading that could alarm?"""
    can = data.step >= baseline
    return float(data.gap[can].sum() / MONTH_DAYS)


def episodes(
    data: Sequences,
    low: Floats,
    again: Floats,
    seen: Forecasts,
    noise: Noise,
    baseline: int,
    threshold: float,
    line: float,
) -> Episodes:
    """Where does each alarm begin, and until when does it last?

    Parameters
    ----------
    data : Sequences
    low : ndarray, shape (m,)
        Log of the lower bound: a reading is above a line only where it is so for certain.
    again : ndarray, shape (m,)
        The same of the highest re-read of each reading; -inf where it was not repeated.
    seen : Forecasts
    noise : Noise
    baseline : int
        Readings needed before the first that can alarm.
    threshold : float
        Score from which an alarm begins.
    line : float
        Warning line, in standard deviations above the seal's level.
    """
    m, seals = len(low), len(data.order)
    begins, on, sure, above = (np.zeros(m, bool) for _ in range(4))
    level, variance = seen.level.copy(), seen.variance.copy()
    state, confirmed = np.zeros(seals, bool), np.zeros(seals, bool)
    calm, warned = np.zeros(seals, np.int8), np.zeros((2, seals), bool)
    kept, kept_v = np.zeros(seals), np.zeros(seals)
    for number, at in enumerate(data.slices()):
        k = at.stop - at.start
        state, confirmed, calm, warned = state[:k], confirmed[:k], calm[:k], warned[:, :k]
        new = ~state & (seen.score[at] > threshold) & (number >= baseline)
        # what the seal leaked before the rise is held until the alarm ends
        kept, kept_v = (
            np.where(state, old[:k], now[at])
            for old, now in ((kept, seen.level), (kept_v, seen.variance))
        )
        limit = kept + line * np.sqrt(kept_v + noise.sigma**2)
        high = low[at] > limit
        state = state | new
        twice = high.astype(np.int8) + warned[0] + warned[1] >= 2
        confirmed = state & (confirmed | twice | (high & (again[at] > limit)))
        quiet = state & ~new & ~high & (seen.score[at] <= threshold)
        calm = np.where(quiet, calm + 1, 0).astype(np.int8)
        state = state & (calm < CALM)
        begins[at], on[at], sure[at], above[at] = new, state, confirmed & state, high
        level[at], variance[at] = kept, kept_v
        warned = np.stack([high, warned[0]])
    return Episodes(begins, on, sure, above, level, variance)


def find_threshold(
    data: Sequences,
    seen: Forecasts,
    noise: Noise,
    doubling: tuple[float, ...],
    baseline: int,
    line: float,
    rate: float,
    resamples: int,
    rng: np.random.Generator,
) -> tuple[float, float]:
    """Which threshold gives the stated rate of false alarms, and which rate did it give?

    Fleets of the same design in which nothing rises are drawn and watched in the same way.

    Returns
    -------
    threshold, rate : float
        The rate is alarms per 100 position-months; NaN where nothing can be watched.
    """
    able = data.sizes > baseline
    if not able.any():
        return np.inf, np.nan
    steps = seen.steps
    if len(data.row) > _MOST_READINGS:
        drawn = rng.permutation(len(able))
        keep = np.zeros(len(able), bool)
        keep[drawn[: np.searchsorted(np.cumsum(data.sizes[drawn]), _LEAST_READINGS) + 1]] = True
        rows = keep[data.seal]
        steps = type(steps)(*(column[rows] for column in steps))
        data = data.part(keep)
    copies = int(np.clip(-(-_LEAST_READINGS // len(data.row)), 1, resamples))
    worlds = []
    for _ in range(copies):
        low, high = draw_quiet(data, steps, noise, rng)
        worlds.append((low, forecasts(data, low, high, noise, doubling)))
    months = watched_months(data, baseline) * copies / 100
    none = np.full(len(data.row), -np.inf)

    def alarms(threshold: float) -> int:
        return sum(
            int(episodes(data, w[0], none, w[1], noise, baseline, threshold, line).begins.sum())
            for w in worlds
        )

    scores = np.concatenate([w[1].score[data.step >= baseline] for w in worlds])
    inside, outside = float(scores.min()), float(scores.max())
    # an alarm that is on hides others, so a very low threshold may give fewer: start from the top
    wanted = rate * months
    quantile = 1 - min(3 * wanted / len(scores), 0.9)
    inside = float(np.quantile(scores, quantile))
    if alarms(inside) < wanted:
        inside = float(np.quantile(scores, 0.1))
    for _ in range(14):
        middle = 0.5 * (inside + outside)
        inside, outside = (middle, outside) if alarms(middle) > wanted else (inside, middle)
    return outside, alarms(outside) / months
