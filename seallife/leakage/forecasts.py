"""What would each reading have been forecast to be, and how much does it speak for a rise?

In: `Sequences` and the fleet's noise. Out: `Forecasts`. Next: `seallife.leakage.episodes`.

Log leakage = level of the seal + noise. The level comes from the fleet's spread of levels and is
learnt from the seal's own readings; the noise is correlated from one reading to the next. A
Kalman filter gives the law of each reading from the earlier ones: its standardised error is
exactly standard normal while nothing changes. A reading known only to lie between bounds counts
with what is expected of it there, and moves the level as much as that tells (moments matched).
"""

from __future__ import annotations

from collections import deque
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from seallife.leakage.sequences import Sequences
from seallife.life.groups import Floats, Ints

__all__ = ["Forecasts", "Noise", "Steps", "correlations", "follow", "forecasts", "onset_gains"]

WINDOW_DAYS, MOST_ONSETS = 150.0, 12
"""How far back a rise may have begun, and at how many readings at most."""


class Noise(NamedTuple):
    """The fleet's law of quiet readings, on the log scale.

    ``centre`` and ``spread`` (standard deviation) of the seals' levels, ``sigma`` of single
    readings about their level, ``phi`` the correlation of readings at the usual gap.
    """

    centre: float
    spread: float
    sigma: float
    phi: float


class Steps(NamedTuple):
    """What the filter did at each reading, step by step, all of shape (m,).

    Expected standardised error ``z`` and the part of a full reading it is worth ``worth`` (1 for
    an exact one), log likelihood, ``sd`` of the forecast, gains on level and noise, correlation
    with the reading before, and ``level`` with its variance after the reading.
    """

    z: Floats
    worth: Floats
    loglik: Floats
    sd: Floats
    gain_level: Floats
    gain_noise: Floats
    phi: Floats
    level: Floats
    variance: Floats


class Forecasts(NamedTuple):
    """Evidence at each reading, step by step, all of shape (m,).

    ``score`` is the log of the likelihood of a rise over that of none, averaged over onsets and
    speeds; ``level`` and ``variance`` are those of the seal before the likeliest onset, ``onset``
    the number of readings since.
    """

    steps: Steps
    score: Floats
    level: Floats
    variance: Floats
    onset: Ints


def correlations(data: Sequences, noise: Noise) -> Floats:
    """Correlation of each reading's noise with the one before, shape (m,).

    It fades with time; gaps below half the usual one count as half: what two readings of one week
    share is not known.
    """
    if noise.phi <= 0:
        return np.zeros(len(data.row))
    return np.asarray(noise.phi ** np.maximum(data.gap / data.usual, 0.5))


def follow(data: Sequences, low: Floats, high: Floats, noise: Noise) -> Steps:
    """Run the filter over all segments.

    Parameters
    ----------
    data : Sequences
        Times and order.
    low, high : ndarray, shape (m,)
        Log bounds of the readings, those of ``data`` or drawn ones.
    """
    m, seals = len(low), len(data.order)
    out = Steps._make(np.empty((len(Steps._fields), m)))
    phi = correlations(data, noise)
    level, error = np.full(seals, noise.centre), np.zeros(seals)
    v_level = np.full(seals, noise.spread**2)
    v_both, v_error = np.zeros(seals), np.full(seals, noise.sigma**2)
    exact = low == high
    for at in data.slices():
        k, f = at.stop - at.start, phi[at]
        error, v_both = error[:k] * f, v_both[:k] * f
        v_error = f * f * v_error[:k] + noise.sigma**2 * (1 - f * f)
        level, v_level = level[:k], v_level[:k]
        sd = np.sqrt(np.maximum(v_level + 2 * v_both + v_error, 1e-12))
        mean = level + error
        z = (low[at] - mean) / sd
        worth, loglik = np.ones(k), -0.5 * z * z - np.log(sd)
        some = np.flatnonzero(~exact[at])
        if len(some):
            upper = (high[at][some] - mean[some]) / sd[some]
            z[some], worth[some], loglik[some] = _between(z[some], upper)
        gain_level, gain_noise = (v_level + v_both) / sd, (v_both + v_error) / sd
        level, error = level + gain_level * z, error + gain_noise * z
        v_level = v_level - worth * gain_level**2
        v_both = v_both - worth * gain_level * gain_noise
        v_error = v_error - worth * gain_noise**2
        for column, value in zip(
            out,
            (z, worth, loglik, sd, gain_level, gain_noise, f, level, v_level),
            strict=True,
        ):
            column[at] = value
    return out


def _between(low: Floats, high: Floats) -> tuple[Floats, Floats, Floats]:
    """Mean of a standard normal between bounds, 1 - its variance there, log of its share.

    Both tails are turned to the left one, where logs of shares keep their figures.
    """
    from scipy.special import log_ndtr

    turned = low > 0
    a, b = np.where(turned, -high, low), np.where(turned, -low, high)
    upper, lower = log_ndtr(b), log_ndtr(a)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = upper + np.log1p(-np.exp(np.minimum(lower - upper, 0.0)))
        thin = ~np.isfinite(share) | (b - a < 1e-6)
        height = [np.where(np.isinf(x), 0.0, np.exp(-0.5 * x * x - share)) for x in (a, b)]
        reach = [np.where(np.isinf(x), 0.0, x) for x in (a, b)]
    density = [h / np.sqrt(2 * np.pi) for h in height]
    mean = density[0] - density[1]
    worth = mean * mean - reach[0] * density[0] + reach[1] * density[1]
    middle = 0.5 * (np.where(np.isinf(a), b, a) + np.where(np.isinf(b), a, b))
    mean = np.where(thin, middle, np.clip(mean, a, b))
    worth = np.where(thin, 1.0, np.clip(worth, 0.0, 1.0))
    share = np.where(thin, -0.5 * middle * middle, share)
    return np.where(turned, -mean, mean), worth, share


def onset_gains(
    d_level: Floats, d_error: Floats, shape: Floats, steps: Steps, at: slice | Ints
) -> tuple[Floats, Floats, Floats, Floats]:
    """One step of a rise of known shape through the filter.

    The filter takes part of a rise for a change of level; what is left of it in the forecast
    error is what can be seen.

    Parameters
    ----------
    d_level, d_error : ndarray, shape (..., k)
        What the filter has taken of the rise so far.
    shape : ndarray, shape (..., k)
        The rise at this reading, for a rise of unit size.

    Returns
    -------
    d_level, d_error, score, information : ndarray, shape (..., k)
        Score and information of the size of the rise that this reading adds.
    """
    d_error = d_error * steps.phi[at]
    seen = (shape - d_level - d_error) / steps.sd[at]
    kept = seen * steps.worth[at]
    return (
        d_level + steps.gain_level[at] * kept,
        d_error + steps.gain_noise[at] * kept,
        seen * steps.z[at],
        seen * kept,
    )


def forecasts(
    data: Sequences, low: Floats, high: Floats, noise: Noise, doubling: tuple[float, ...]
) -> Forecasts:
    """How much do the readings up to each one speak for a rise that has begun?

    Parameters
    ----------
    data, low, high, noise
        As for `follow`.
    doubling : tuple of float
        Days in which leakage may double while it rises.
    """
    steps = follow(data, low, high, noise)
    m, seals = len(low), len(data.order)
    speeds = np.log(2.0) / np.asarray(doubling)
    score, onset = np.full(m, -np.inf), np.zeros(m, np.int64)
    level, variance = np.full(m, noise.centre), np.full(m, noise.spread**2)
    width = max(2, min(MOST_ONSETS, int(WINDOW_DAYS / max(data.usual, 1.0))))
    # one row for each onset still open, the latest first: what the filter took, score, information
    held: NDArray[np.float64] = np.zeros((4, 0, seals))
    start = np.zeros((0, seals))
    before: deque[tuple[Floats, Floats]] = deque(maxlen=width)
    for number, at in enumerate(data.slices()):
        k = at.stop - at.start
        held, start = held[:, :, :k], start[:, :k]
        if number:
            rise = data.time[at] - start
            d_level, d_error, add, info = onset_gains(held[0], held[1], rise, steps, at)
            held = np.stack([d_level, d_error, held[2] + add, held[3] + info])
            ratio = speeds[:, None, None] * held[2] - 0.5 * speeds[:, None, None] ** 2 * held[3]
            ratio = np.where(rise <= WINDOW_DAYS, ratio, -np.inf)
            ratio[:, 0] = speeds[:, None] * held[2, 0] - 0.5 * speeds[:, None] ** 2 * held[3, 0]
            top = ratio.max(axis=(0, 1))
            mean = np.exp(ratio - top).sum(axis=(0, 1)) / (len(speeds) * width)
            score[at] = top + np.log(mean)
            best = ratio.max(axis=0).argmax(axis=0)
            onset[at] = best + 1
            known = [np.stack([old[i][:k] for old in before]) for i in (0, 1)]
            level[at], variance[at] = (v[best, np.arange(k)] for v in known)
        before.appendleft((steps.level[at], steps.variance[at]))
        held = np.concatenate([np.zeros((4, 1, k)), held[:, : width - 1]], axis=1)
        start = np.concatenate([data.time[at][None, :], start[: width - 1]])
    return Forecasts(steps, score, level, variance, onset)
