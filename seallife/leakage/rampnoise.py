"""Which segments may rise at all, and how far do readings scatter?

In: `RampReadings`. Out: evidence by least squares, noise. Next: `seallife.leakage.rampgrid`.

A cheap look at every segment: censored readings are put at what a flat level lets expect of them,
and a straight rise from each of a few starts is fitted. What this gains over a flat level is more
than the posterior could find, which pays for not knowing start and slope; a segment that gains
next to nothing needs no grid.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri

from seallife.leakage.rampcensored import interval_terms
from seallife.leakage.rampgrid import BASELINE_SD
from seallife.leakage.rampreadings import RampReadings
from seallife.life.groups import Floats, segment_sum

__all__ = ["SIGMA", "SIGMA_RANGE", "Look", "look", "pooled_sigma"]

SIGMA = 0.5
"""Standard deviation of log readings where little is known: a factor of 2 either way in 5 of 6
(common practice for portable analysers)."""
SIGMA_RANGE = (0.1, 1.5)
"""Estimates are held within: no method repeats better than to a tenth."""

_WORTH = 10.0  # readings that SIGMA counts for
_ROUNDS = 6
_WILD = 2.5  # noise beyond which a reading is drawn in
_MOST = 2_000  # segments, evenly picked: more would not move the figure
_STARTS = 16
_RISES = 3.0  # gain above which residuals are those of the rise
_SHARES = np.array([0.65, 0.75, 0.85, 0.92])  # quantiles above most non-detects, below the wild


@dataclass(frozen=True, eq=False)
class Look:
    """Flat level and best rise of each segment by least squares.

    Attributes
    ----------
    gain : ndarray, shape (g,)
        By how much a rise raises the log likelihood, 0 where it does not.
    fitted : ndarray, shape (n,)
        Log level of each row, with the rise where it gains much.
    spent : ndarray, shape (g,)
        Figures fitted to each segment.
    """

    gain: Floats
    fitted: Floats
    spent: Floats


def look(readings: RampReadings, sigma: Floats) -> Look:
    """Is there anything like a rise?

    Parameters
    ----------
    readings : RampReadings
    sigma : ndarray, shape (g,)

    Returns
    -------
    Look
    """
    groups = readings.groups
    level, value = _flat(readings, sigma)
    span = np.maximum(readings.span, 1e-9)
    least = 0.5 * span / np.maximum(groups.sizes - 1, 1)
    k = np.arange(_STARTS) / (_STARTS - 1)
    start = -(least[:, None] * (span / least)[:, None] ** k)
    n = np.maximum(groups.sizes, 1)
    middle = groups.sum(value) / n
    away = value - groups.spread(middle)
    gain, slope, best, mean = (np.zeros(len(groups)) for _ in range(4))
    # one start at a time: all at once would fill the memory with what is used once
    for begun in start.T:
        since = np.maximum(readings.time - groups.spread(begun), 0.0)
        total = groups.sum(since)
        square = groups.sum(since**2) - total**2 / n
        product = np.maximum(groups.sum(since * away), 0.0)
        rate = product / np.where(square > 0, square, np.inf)
        here = rate * product / (2 * sigma**2)
        more = here > gain
        for kept, new in ((gain, here), (slope, rate), (best, begun), (mean, total / n)):
            kept[more] = new[more]
    rises = gain > _RISES
    line = np.maximum(readings.time - groups.spread(best), 0.0) - groups.spread(mean)
    ramp = groups.spread(middle) + line * groups.spread(slope)
    fitted = np.where(groups.spread(rises), ramp, groups.spread(level))
    return Look(gain, fitted, np.where(rises, 3.0, 1.0))


def pooled_sigma(readings: RampReadings) -> float:
    """How far do readings of one level scatter, over all segments?

    Parameters
    ----------
    readings : RampReadings

    Returns
    -------
    float
        Standard deviation of log readings. From upper quantiles of what readings lie off their
        level, those below detection entering as such (Kaplan-Meier, turned about), so that
        neither these nor a wild reading in ten move it far. Held to `SIGMA` as by ten readings.
    """
    if len(readings.groups) > _MOST:
        some = np.linspace(0, len(readings.groups) - 1, _MOST).astype(np.int64)
        readings = readings.take(some)
    groups = readings.groups
    sigma = SIGMA
    # one below detection tells about half as much of the level as one that was read
    free = np.maximum(groups.sum(np.where(readings.exact, 1.0, 0.5)), 1.0)
    near = readings
    for _ in range(_ROUNDS):
        seen = look(near, np.full(len(groups), sigma))
        # a wild reading draws the level of its segment to itself, and the rest then seem close by
        reach = np.where(readings.exact, _WILD * sigma, np.inf)
        low, high = (
            np.clip(v, seen.fitted - reach, seen.fitted + reach)
            for v in (readings.low, readings.high)
        )
        near = replace(readings, low=low, high=high)
        left = free - seen.spent
        rows = groups.spread(left) > 0
        if not rows.any():
            return SIGMA
        wider = groups.spread(np.sqrt(free / np.maximum(left, 1.0)))
        upper = np.where(np.isfinite(readings.high), readings.high, readings.low)
        off = ((upper - seen.fitted) * wider)[rows]
        # above scale lies above every quantile asked for, wherever it is
        known = (readings.exact | np.isinf(readings.high))[rows]
        found = _from_quantiles(off, known)
        worth = float(known.sum()) / 2
        if np.isfinite(found):
            sigma = float(np.sqrt((worth * found**2 + _WORTH * SIGMA**2) / (worth + _WORTH)))
        sigma = min(max(sigma, SIGMA_RANGE[0]), SIGMA_RANGE[1])
    return sigma


def _from_quantiles(off: Floats, known: np.ndarray) -> float:
    """Standard deviation from upper quantiles; rows not known lie anywhere below."""
    # from the top down: at a tie a known one first, as the others lie at or below it
    order = np.lexsort((~known, -off))
    off, known = off[order], known[order]
    rank = np.arange(len(off), 0, -1)
    below = np.cumprod(np.where(known, 1 - 1 / rank, 1.0))  # share below each value
    off, below = off[known], below[known]
    ratios = [
        off[np.argmax(below <= share)] / float(ndtri(share))
        for share in _SHARES
        if (below <= share).any()
    ]
    return float(np.mean(ratios)) if ratios else float("nan")


def _flat(readings: RampReadings, sigma: Floats) -> tuple[Floats, Floats]:
    """Best flat log level of each segment, and each reading, a censored one as it lets expect."""
    groups, rest = readings.groups, ~readings.exact
    kept, s = groups.keep(rest).offsets, groups.spread(sigma)
    n = groups.sizes - np.diff(kept)
    exact = np.where(rest, 0.0, readings.low)
    precision = n / sigma**2 + 1 / BASELINE_SD**2
    level = groups.sum(exact) / sigma**2 / precision
    low, high, noise = readings.low[rest], readings.high[rest], s[rest]
    codes = groups.codes[rest]
    for _ in range(8):
        _, slope, bend = interval_terms(level[codes], low, high, noise)
        force = groups.sum(exact) / sigma**2 - precision * level + segment_sum(slope, kept)
        step = force / (precision + segment_sum(bend, kept))
        level = level + np.clip(step, -2 * sigma, 2 * sigma)
    value = exact.copy()
    if rest.any():
        _, slope, _ = interval_terms(level[codes], low, high, noise)
        value[rest] = level[codes] + slope * noise**2
    return level, value
