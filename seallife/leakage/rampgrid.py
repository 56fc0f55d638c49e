"""Since when and how fast does a level rise? The posterior on a grid, all segments at once.

In: `RampReadings`, noise. Out: `RampPosterior`. Next: `seallife.leakage.forecast`.

The log level is flat at a baseline, then rises in a straight line from a start that nobody saw.
Readings scatter about it with normal noise on the log scale; one below detection or above scale
counts with the chance that it falls there. Nodes are laid in start and in rise so far, not slope:
what the last readings say about the rise hardly depends on the start. At each node the baseline
has a normal law about its best value; without censored readings this is exact, with them it is
Laplace's approximation of a log-concave likelihood.

A first grid spans everything, each following one only what the one before left likely.

Source
------
Hinkley (1971), J. Am. Stat. Assoc. 66, 736-743 (two-phase regression); Tierney & Kadane (1986),
J. Am. Stat. Assoc. 81, 82-86 (Laplace). Both from memory.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from seallife.leakage.rampcensored import Censored
from seallife.leakage.rampreadings import RampReadings
from seallife.life.groups import Floats, Ints

__all__ = [
    "BASELINE_SD",
    "DOUBLING",
    "EARLIER",
    "LEAST_RISE",
    "RampPosterior",
    "batches",
    "ramp_posterior",
]

DOUBLING = (5.0, 3 * 365.25)
"""Doubling times held possible [d]."""
DOUBLING_MEDIAN, DOUBLING_SD = 25.0, 1.0
"""Of the doubling time before readings are seen [d], and of its logarithm: 2 in 3 rises double in
9 to 68 days, 19 in 20 in 5 days to half a year. Weak, and rather too fast than too slow: a limit
put too early costs a reading, one put too late costs more."""
EARLIER = 0.15
"""Share of starts that lie before the first reading, the rest anywhere up to the last."""
BASELINE_SD = 3.0
"""Of the log baseline about a segment's middle, before its readings are seen: a factor of 20."""
LEAST_RISE, _MOST_RISE = 0.1, 12.0
"""Rise so far, in log level, below which nothing could show; and above which no scale reaches."""

_PASSES = ((30, 14), (24, 16), (40, 28))  # nodes in start and rise
_KEPT = 1e-3  # of the highest share of a line of nodes: lines below bound the next grid
_NEWEST = 0.1  # youngest start, in mean gaps between readings
_INNER, _BEFORE = slice(None, -1), slice(-1, None)  # starts since the first reading, and before
_CELLS = 400_000  # censored readings times nodes held at once


@dataclass(frozen=True, eq=False)
class RampPosterior:
    """Ramps held possible for each segment, k of them.

    Attributes
    ----------
    weight : ndarray, shape (g, k)
        Share of each; sums to 1.
    start : ndarray, shape (g, k)
        [d] from the last reading, 0 or less.
    slope : ndarray, shape (g, k)
        Of log level [1/d].
    base, spread : ndarray, shape (g, k)
        Mean and standard deviation of the log baseline, counted from the segment's middle.
    evidence : ndarray, shape (g,)
        Log of how much likelier the readings are with a ramp than without.
    """

    weight: Floats
    start: Floats
    slope: Floats
    base: Floats
    spread: Floats
    evidence: Floats


def batches(readings: RampReadings) -> Iterator[Ints]:
    """So few segments at a time that their grids fit into a processor's cache."""
    most = _PASSES[-1][0] * _PASSES[-1][1]
    cost = np.cumsum(np.maximum(readings.groups.sum(~readings.exact), 8) * most)
    batch = (cost / _CELLS).astype(np.int64)
    for some in np.split(np.arange(len(batch)), np.flatnonzero(np.diff(batch)) + 1):
        if len(some):
            yield some


def ramp_posterior(readings: RampReadings, sigma: Floats) -> RampPosterior:
    """Since when and how fast does the level of each segment rise, if it does?

    Parameters
    ----------
    readings : RampReadings
        Each segment with two readings or more, not all on one day.
    sigma : ndarray, shape (g,)
        Standard deviation of log readings.

    Returns
    -------
    RampPosterior
    """
    g, span = len(readings.groups), readings.span
    gap = span / np.maximum(readings.groups.sizes - 1, 1)
    # log age of the start; log rise
    box = np.array(
        [
            np.log(_NEWEST * gap),
            np.log(span),
            *np.log([[LEAST_RISE], [_MOST_RISE]]) + np.zeros((2, g)),
        ]
    )
    flat = _peak(readings, sigma, np.zeros((g, 1)), np.zeros((g, 1, 1)))[0][:, 0, 0]
    for number, (starts, rises) in enumerate(_PASSES):
        age, age_share = _ages(box, span, starts)
        log_rise, step = _nodes(box[2], box[3], rises)
        slope = np.exp(log_rise)[:, None, :] / age[:, :, None]
        fastest, slowest = (np.log(2) / d for d in DOUBLING)
        allowed = (slope >= slowest) & (slope <= fastest)
        far = (np.log(np.log(2) / slope) - np.log(DOUBLING_MEDIAN)) / DOUBLING_SD
        density = -0.5 * far**2 - np.log(DOUBLING_SD * np.sqrt(2 * np.pi))
        prior = np.log(age_share)[:, :, None] + np.log(step)[:, None, None] + density
        # apart: the last would keep the early readings of all others from being one row
        sides = (_peak(readings, sigma, -age[:, c], slope[:, c]) for c in (_INNER, _BEFORE))
        height, base, spread = (np.concatenate(v, axis=1) for v in zip(*sides, strict=True))
        height = np.where(allowed, height + prior, -np.inf)
        top = height.max(axis=(1, 2))
        share = np.exp(height - np.where(np.isfinite(top), top, 0.0)[:, None, None])
        if number + 1 < len(_PASSES):
            box = _narrower(box, np.log(age), log_rise, share)
    total = share.sum(axis=(1, 2))
    with np.errstate(divide="ignore", invalid="ignore"):
        evidence = np.where(total > 0, np.log(total) + top - flat, -np.inf)
        weight = share / total[:, None, None]
    start = np.broadcast_to(-age[:, :, None], slope.shape)
    weight, start, slope, base, spread = (
        v.reshape(g, -1) for v in (weight, start, slope, base, spread)
    )
    return RampPosterior(weight, start, slope, base, spread, evidence)


def _ages(box: Floats, span: Floats, count: int) -> tuple[Floats, Floats]:
    """Ages of the start [d], oldest last, and the share of starts that each stands for.

    The last stands for all starts before the first reading, which no reading can tell apart.
    """
    low, high = np.exp(box[0]), np.exp(box[1])
    k = np.arange(count) / (count - 1)
    edge = low[:, None] * (high / low)[:, None] ** k
    inner = (edge[:, 1:] + edge[:, :-1]) / 2
    share = (1 - EARLIER) * np.diff(edge, axis=1) / span[:, None]
    before = np.full((len(span), 1), EARLIER)
    return np.hstack([inner, span[:, None]]), np.hstack([np.maximum(share, 1e-300), before])


def _nodes(low: Floats, high: Floats, count: int) -> tuple[Floats, Floats]:
    """Middles of so many equal cells between bounds, shape (g, count), and their width."""
    step = (high - low) / count
    return low[:, None] + step[:, None] * (np.arange(count) + 0.5), step


def _narrower(box: Floats, log_age: Floats, log_rise: Floats, share: Floats) -> Floats:
    """Bounds about the lines of nodes that hold more than a trace, one line wider each way."""
    out = box.copy()
    for row, nodes, axis in ((0, log_age[:, :-1], 2), (2, log_rise, 1)):
        line = share[:, :-1].sum(axis=2) if axis == 2 else share.sum(axis=1)
        kept = line > _KEPT * share.sum(axis=axis).max(axis=1, keepdims=True)
        some, n = kept.any(axis=1), nodes.shape[1]
        first = np.maximum(np.argmax(kept, axis=1) - 1, -1)
        last = np.minimum(n - np.argmax(kept[:, ::-1], axis=1), n)
        pick = np.arange(len(nodes))
        low = np.where(first >= 0, nodes[pick, np.maximum(first, 0)], box[row])
        high = np.where(last < n, nodes[pick, np.minimum(last, n - 1)], box[row + 1])
        out[row], out[row + 1] = np.where(some, low, box[row]), np.where(some, high, box[row + 1])
    return out


def _peak(
    readings: RampReadings, sigma: Floats, start: Floats, slope: Floats
) -> tuple[Floats, Floats, Floats]:
    """Log likelihood with the baseline summed out, and the law of the baseline.

    ``start`` is (g, s), ``slope`` (g, s, r); results are (g, s, r). The best baseline is found by
    Newton's steps, all nodes at once: the likelihood is log-concave in it.
    """
    exact = readings.exact
    codes = readings.groups.codes
    kept = readings.groups.keep(exact).offsets
    of, y = codes[exact], readings.low[exact]
    since = np.maximum(readings.time[exact][:, None] - start[of], 0.0)
    n, sy, syy, d, dd, dy = (
        segment_sum_columns(v, kept)
        for v in (
            np.ones((len(y), 1)),
            y[:, None],
            y[:, None] ** 2,
            since,
            since**2,
            since * y[:, None],
        )
    )
    variance = (sigma**2)[:, None, None]
    linear = sy[:, :, None] - slope * d[:, :, None]
    square = syy[:, :, None] - 2 * slope * dy[:, :, None] + slope**2 * dd[:, :, None]
    count = n[:, :, None]
    pull = 1 / BASELINE_SD**2
    precision = count / variance + pull
    constant = -count * np.log(np.sqrt(2 * np.pi * variance)) + 0.5 * np.log(pull)
    rest = Censored.of_nodes(readings, sigma, start, slope)
    base = linear / variance / precision
    if rest is None:
        height = constant - square / (2 * variance) + precision * base**2 / 2
        return height - 0.5 * np.log(precision), base, np.sqrt(1 / precision) + np.zeros_like(base)
    base, curve, height = rest.climb(base, linear / variance, precision)
    height = height + constant - square / (2 * variance) - 0.5 * np.log(curve)
    return height, base, np.sqrt(1 / curve)


def segment_sum_columns(values: Floats, offsets: Ints) -> Floats:
    """Sum of each run of rows, column by column, shape (g, columns)."""
    out = np.zeros((len(offsets) - 1, values.shape[1]))
    filled = offsets[1:] > offsets[:-1]
    if filled.any():
        out[filled] = np.add.reduceat(values, offsets[:-1][filled], axis=0)
    return out
