"""How many failures does a position expect in a stretch of time, and how regularly do they come?

In: shapes of the laws of life. Out: `CountCurves`. Next: `seallife.history.positions`.

Where seals age, failures come more regularly than at random, and a count lies nearer to its mean
than a Poisson count; where they fail young, further off. A seal renewed for another reason starts
a stretch as new; of a seal in place when the records begin only its class is taken, as its age
itself tells of the position.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats

__all__ = ["CountCurves", "count_curves"]

_STEPS = 240
_REACH = 12.0  # mean lives, beyond which counts grow straight on
_AGES = 120


@dataclass(frozen=True, eq=False)
class CountCurves:
    """Mean and variance of the number of failures in a stretch, by law.

    Attributes
    ----------
    reach : ndarray, shape (c,)
        Longest stretch on the curves, in mean lives.
    mean, variance : ndarray, shape (2, c, steps + 1)
        Of a stretch that begins with a seal in service (0) or a new one (1).
    tail : ndarray, shape (c,)
        Rise of the variance per mean life beyond ``reach``: the squared coefficient of variation.
    """

    reach: Floats
    mean: Floats
    variance: Floats
    tail: Floats

    def at(
        self, law: NDArray[np.int64], length: Floats, new: NDArray[np.bool_]
    ) -> tuple[Floats, Floats]:
        """Mean and variance of the failures in each stretch.

        Parameters
        ----------
        law : ndarray of int, shape (n,)
        length : ndarray, shape (n,)
            In mean lives.
        new : ndarray of bool, shape (n,)
            Whether the stretch begins with a new seal.
        """
        steps = self.mean.shape[2] - 1
        place = np.clip(length / self.reach[law], 0, 1) * steps
        left = np.minimum(place.astype(np.int64), steps - 1)
        part, kind = place - left, new.astype(np.int64)
        beyond = np.maximum(length - self.reach[law], 0.0)
        out = []
        for curve, rise in ((self.mean, 1.0), (self.variance, self.tail[law])):
            low, high = curve[kind, law, left], curve[kind, law, left + 1]
            out.append(low + part * (high - low) + beyond * rise)
        return out[0], out[1]


def count_curves(shape: Floats, withdrawn: Floats, longest: Floats) -> CountCurves:
    """How do mean and variance of the number of failures grow with the length of a stretch?

    Parameters
    ----------
    shape : ndarray, shape (c,)
        Weibull shape of each law of life; 0.4 to 6 are told apart.
    withdrawn : ndarray, shape (c,)
        Healthy seals withdrawn per mean life: they make the seals in service younger.
    longest : ndarray, shape (c,)
        Longest stretch asked for, in mean lives.

    Source
    ------
    Cox (1962), Renewal Theory, chapters 4 and 5: the renewal equation and the variance of counts.
    """
    from scipy.special import gamma

    # laws that differ in the third digit share a curve: many classes cost as much as few
    rounded = np.column_stack(
        [
            np.round(np.clip(shape, 0.4, 6) / 0.02) * 0.02,
            np.round(np.clip(withdrawn, 0, 5) / 0.05) * 0.05,
            np.minimum(2.0 ** np.ceil(np.log2(np.maximum(longest, 0.25))), _REACH),
        ]
    )
    distinct, which = np.unique(rounded, axis=0, return_inverse=True)
    shape, withdrawn, reach = distinct.T
    times = np.linspace(0, 1, _STEPS + 1) * reach[:, None]
    scale, power = 1 / gamma(1 + 1 / shape)[:, None], shape[:, None]

    def hazard(t: Floats) -> Floats:
        return np.asarray((t / scale) ** power)

    fails = -np.diff(np.exp(-hazard(times)), axis=1)
    new = _renewals(fails)
    age = (np.arange(_AGES) + 0.5) * (6.0 / _AGES) * np.maximum(1.0, scale)
    weight = np.exp(-hazard(age) - withdrawn[:, None] * age)
    weight /= weight.sum(axis=1, keepdims=True)
    first = np.zeros_like(times)
    for j in range(_STEPS + 1):
        first[:, j] = (weight * -np.expm1(hazard(age) - hazard(age + times[:, j, None]))).sum(1)
    in_place = first + _convolved(np.diff(first, axis=1), new)
    means = np.stack([in_place, new])
    # of each pair of failures the later one comes after a renewal by the earlier
    pairs = np.stack([_convolved(np.diff(m, axis=1), new) for m in means])
    variance = np.maximum(means + 2 * pairs - means**2, 0.0)
    tail = gamma(1 + 2 / shape) / gamma(1 + 1 / shape) ** 2 - 1
    which = np.asarray(which).ravel()
    return CountCurves(reach[which], means[:, which], variance[:, which], tail[which])


def _renewals(fails: Floats) -> Floats:
    """Expected failures from new at each step: M(t) = F(t) + integral of M(t - x) dF(x)."""
    steps = fails.shape[1]
    out = np.zeros((len(fails), steps + 1))
    for j in range(1, steps + 1):
        middle = (out[:, : j - 1] + out[:, 1:j]) / 2
        earlier = (fails[:, 1:j] * (1 + middle[:, ::-1])).sum(axis=1)
        own = fails[:, 0]
        out[:, j] = (earlier + own * (1 + out[:, j - 1] / 2)) / (1 - own / 2)
    return out


def _convolved(steps: Floats, curve: Floats) -> Floats:
    """Integral of curve(t - x) over the steps of x up to each t."""
    n = steps.shape[1]
    middle = (curve[:, 1:] + curve[:, :-1]) / 2
    size = 2 * n
    wave = np.fft.rfft(steps, size) * np.fft.rfft(middle, size)
    return np.pad(np.fft.irfft(wave, size)[:, :n], ((0, 0), (1, 0)))
