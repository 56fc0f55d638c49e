"""When do the ramps held possible reach a limit?

In: `RampReadings`, noise, limits. Out: quantiles. Next: `seallife.leakage.forecast`.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from seallife.leakage.rampgrid import batches, ramp_posterior
from seallife.leakage.rampreadings import RampReadings
from seallife.life.groups import Floats

__all__ = ["quantiles", "ramp_figures"]

_SLICES = ndtri((np.arange(7) + 0.5) / 7)  # a normal law as seven points of equal weight
_TRACE = 1e-5  # nodes with less are left out
_FIGURES = (
    "evidence",
    "base",
    "now",
    *("doubling", "doubling_low", "doubling_high"),
    *("days", "days_low", "days_high"),
)


def ramp_figures(
    readings: RampReadings, sigma: Floats, limit: Floats, level: float
) -> dict[str, Floats]:
    """When is each limit reached, and how does the level stand now?

    Parameters
    ----------
    readings : RampReadings
        Each segment with two readings or more, not all on one day.
    sigma : ndarray, shape (g,)
        Standard deviation of log readings.
    limit : ndarray, shape (g,)
        Log level, counted from the segment's middle; NaN where there is none.
    level : float
        Share of the intervals.

    Returns
    -------
    dict of ndarray, shape (g,)
        evidence (log of how much likelier the readings are with a ramp than without); base, now
        (log levels, medians); doubling, doubling_low, doubling_high [d]; days, days_low, days_high
        [d from the date of forecast], less than 0 where it lies before.
    """
    shares = np.array([0.5, (1 - level) / 2, (1 + level) / 2])
    out = np.empty((len(limit), len(_FIGURES)))
    for some in batches(readings):
        ramp = ramp_posterior(readings.take(some), sigma[some])
        now = (readings.now - readings.last)[some, None]
        at_now = ramp.base + ramp.slope * np.maximum(now - ramp.start, 0.0)
        days = ramp.start + (limit[some, None] - ramp.base) / ramp.slope - now
        none = np.zeros_like(ramp.spread)
        parts = (
            ramp.evidence[:, None],
            quantiles(ramp.weight, ramp.base, ramp.spread, shares[:1]),
            quantiles(ramp.weight, at_now, ramp.spread, shares[:1]),
            quantiles(ramp.weight, np.log(2) / ramp.slope, none, shares),
            quantiles(ramp.weight, days, ramp.spread / ramp.slope, shares),
        )
        out[some] = np.hstack(parts)
    return dict(zip(_FIGURES, out.T, strict=True))


def quantiles(weight: Floats, mean: Floats, spread: Floats, shares: Floats) -> Floats:
    """Quantiles of mixtures of normal laws, shape (g, shares).

    All of ``weight``, ``mean`` and ``spread`` are (g, k). A law is taken as seven points; the
    quantile lies between the middles of the shares of neighbours. NaN where a mean is missing.
    """
    g = len(weight)
    weight = np.where(weight > _TRACE, weight, 0.0)
    # most nodes hold nothing: the fullest are enough, and as many for each
    most = int((weight > 0).sum(axis=1).max()) if g else 0
    if most < weight.shape[1]:
        fullest = np.argpartition(-weight, most, axis=1)[:, :most]
        weight, mean, spread = (np.take_along_axis(v, fullest, 1) for v in (weight, mean, spread))
    if not spread.any():
        points, mass = mean, weight
    else:
        points = (mean[:, :, None] + spread[:, :, None] * _SLICES).reshape(g, -1)
        mass = np.repeat(weight / len(_SLICES), len(_SLICES), axis=1)
    # what holds nothing lies at the end, so that it parts no neighbours
    points = np.where(mass > 0, points, points.max(axis=1, keepdims=True))
    order = np.argsort(points, axis=1, kind="stable")
    points, mass = (np.take_along_axis(v, order, 1) for v in (points, mass))
    share = np.cumsum(mass, axis=1) - mass / 2
    share /= mass.sum(axis=1, keepdims=True)
    out = np.empty((g, len(shares)))
    row = np.arange(g)
    for k, wanted in enumerate(shares.tolist()):
        above = np.clip((share < wanted).sum(axis=1), 1, share.shape[1] - 1)
        one, two = share[row, above - 1], share[row, above]
        part = np.clip((wanted - one) / np.maximum(two - one, 1e-300), 0, 1)
        out[:, k] = points[row, above - 1] * (1 - part) + points[row, above] * part
    return out
