"""When do the ramps held possible reach a limit?

In: `RampPosterior`, limits. Out: quantiles. Next: `seallife.leakage.forecast`.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from seallife.leakage.rampgrid import RampPosterior
from seallife.life.groups import Floats

__all__ = ["quantiles", "ramp_figures"]

_SLICES = ndtri((np.arange(7) + 0.5) / 7)  # a normal law as seven points of equal weight
_TRACE = 1e-5  # nodes with less are left out
_ROOM = 250  # segments sorted at once


def ramp_figures(
    posterior: RampPosterior, ahead: Floats, limit: Floats, level: float
) -> dict[str, Floats]:
    """When is each limit reached, and how does the level stand now?

    Parameters
    ----------
    posterior : RampPosterior
    ahead : ndarray, shape (g,)
        Date of forecast [d] from the last reading.
    limit : ndarray, shape (g,)
        Log level, counted from the segment's middle; NaN where there is none.
    level : float
        Share of the intervals.

    Returns
    -------
    dict of ndarray, shape (g,)
        base, now (log levels, medians); doubling, doubling_low, doubling_high [d]; days, days_low,
        days_high [d from the date of forecast], less than 0 where it lies before.
    """
    shares = np.array([0.5, (1 - level) / 2, (1 + level) / 2])
    parts: list[list[Floats]] = []
    for at in range(0, len(limit), _ROOM):
        cut = slice(at, at + _ROOM)
        weight, start, slope, base, spread = (
            v[cut]
            for v in (
                posterior.weight,
                posterior.start,
                posterior.slope,
                posterior.base,
                posterior.spread,
            )
        )
        now = ahead[cut, None]
        none = np.zeros_like(spread)
        days = start + (limit[cut, None] - base) / slope - now
        parts.append(
            [
                quantiles(weight, base, spread, shares[:1]),
                quantiles(weight, base + slope * np.maximum(now - start, 0), spread, shares[:1]),
                quantiles(weight, np.log(2) / slope, none, shares),
                quantiles(weight, days, spread / slope, shares),
            ]
        )
    joined = [np.concatenate(v) for v in zip(*parts, strict=True)] if parts else []
    if not joined:
        joined = [np.zeros((0, k)) for k in (1, 1, 3, 3)]
    doubling = ("doubling", "doubling_low", "doubling_high")
    names = ("base", "now", *doubling, "days", "days_low", "days_high")
    return dict(zip(names, np.hstack(joined).T, strict=True))


def quantiles(weight: Floats, mean: Floats, spread: Floats, shares: Floats) -> Floats:
    """Quantiles of mixtures of normal laws, shape (g, shares).

    All of ``weight``, ``mean`` and ``spread`` are (g, k). A law is taken as seven points; the
    quantile lies between the middles of the shares of neighbours. NaN where a mean is missing.
    """
    g = len(weight)
    # most nodes hold nothing: the fullest are enough, and as many for each
    most = int((weight > _TRACE).sum(axis=1).max()) if g else 0
    if most < weight.shape[1]:
        fullest = np.argpartition(-weight, most, axis=1)[:, :most]
        weight, mean, spread = (np.take_along_axis(v, fullest, 1) for v in (weight, mean, spread))
    if not spread.any():
        points, mass = mean, weight
    else:
        points = (mean[:, :, None] + spread[:, :, None] * _SLICES).reshape(g, -1)
        mass = np.repeat(weight / len(_SLICES), len(_SLICES), axis=1)
    order = np.argsort(points, axis=1)
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
