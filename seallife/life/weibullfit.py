"""How is a Weibull law fitted to many groups at once?

In: `LifeData`. Out: `Estimates`. Next: `seallife.life.weibull`.

Two ways to one result: through power sums where all ages are exact, on the rows where some
failures are known only to an interval. Tests hold them against each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seallife.life.estimates import Estimates, likelihood_intervals
from seallife.life.groups import Floats
from seallife.life.lifedata import LifeData
from seallife.life.locationscale import LocationScale, weibull_noise
from seallife.life.powersums import power_sums
from seallife.life.profile import SHAPE_RANGE, shape_bounds, solve_profile
from seallife.life.quantities import log_sigma_itself, log_weibull_mean, quantile, standard_age
from seallife.life.region import Quantity, extremes
from seallife.life.surface import WeibullSurface

__all__ = ["Asked", "fit_exact", "fit_rows"]


@dataclass(frozen=True, eq=False)
class Asked:
    """What is wanted of each fit beside shape, scale and mean."""

    shares: Floats
    log_ages: Floats

    def quantities(self, centre: Floats) -> list[Quantity]:
        """Functions to bound, on log ages from ``centre``."""
        noise = np.log(-np.log1p(-self.shares))
        return [
            quantile(0.0),
            log_weibull_mean,
            *(quantile(float(k)) for k in noise),
            *(standard_age(age - centre) for age in self.log_ages),
        ]


def fit_exact(data: LifeData, asked: Asked, drop: float | None) -> Estimates:
    """Fit groups whose ages are all exact, through their power sums."""
    sums = power_sums(data)
    profile = solve_profile(sums)
    r, b = sums.failures, profile.shape
    mu = (profile.log_sum - np.log(r)) / b
    information = profile.information(r)
    # of log sigma = -log shape and mu; the slope of the ridge of best scales is log_sum's slope
    lean = profile.slope - mu
    variance = (1 / information, -lean / information, lean**2 / information + 1 / (r * b**2))
    value = r * np.log(b) + b * (sums.log_age_sum - r * mu) - r
    out = Estimates.empty(len(b), 3 + len(asked.shares) + len(asked.log_ages))
    out.log_sigma[:], out.mu[:] = -np.log(b), mu + sums.centre
    out.loglik[:] = value - sums.log_age_sum - r * sums.centre
    out.covariance[:] = np.stack(variance, axis=1)
    out.found[:] = np.isfinite(b)
    out.at_edge[:] = ~out.found
    if drop is None or not out.found.any():
        return out
    fitted = out.found.copy()
    part = sums.take(fitted)
    lower, upper = shape_bounds(part, profile.take(fitted), drop)
    rows = np.flatnonzero(fitted)
    out.low[rows, 0], out.high[rows, 0] = -upper, -lower
    closed = np.isfinite(lower) & np.isfinite(upper)
    rows, part, lower, upper = rows[closed], part.take(closed), lower[closed], upper[closed]
    steps = (np.sqrt(variance[0]), np.sqrt(variance[2]))
    # wide regions need more terms; 256 of them resolve any region seen
    nodes = 12
    while len(rows):
        surface = WeibullSurface.build(part, lower, upper, nodes)
        good = surface.resolved() | (nodes >= 256)
        at = rows[good]
        if len(at):
            _bound_exact(out, at, surface.take(good), part.centre[good], asked, value, drop, steps)
        rows, part, lower, upper = rows[~good], part.take(~good), lower[~good], upper[~good]
        nodes *= 2
    return out


def _bound_exact(
    out: Estimates,
    at: NDArray[np.intp],
    surface: WeibullSurface,
    centre: Floats,
    asked: Asked,
    value: Floats,
    drop: float,
    steps: tuple[Floats, Floats],
) -> None:
    """Intervals of all quantities but the shape, from the tabulated likelihood."""
    todo = np.ones(len(at), bool)
    ages = np.arange(out.low.shape[1] - 1) < 2 + len(asked.shares)
    for points in (24, 192, 1536):
        rows, part, c = at[todo], surface.take(todo), centre[todo]
        rim = part.contour(value[rows], np.full(len(rows), drop), points)
        size = (steps[0][rows], steps[1][rows])
        low, high, settled = extremes(part, rim, asked.quantities(c), value[rows] - drop, size)
        shift = c[:, None] * ages
        out.low[rows, 1:], out.high[rows, 1:] = low + shift, high + shift
        # a long bent region may need a closer start
        todo[todo] = ~settled
        if not todo.any():
            break


def fit_rows(data: LifeData, asked: Asked, drop: float | None) -> Estimates:
    """Fit groups with interval ends by climbing on their rows."""
    surface = LocationScale.of(data, weibull_noise)
    start = np.full(len(data.groups), 0.0)
    limits = (-np.log(SHAPE_RANGE[1]), -np.log(SHAPE_RANGE[0]))
    top = surface.climb(start, start, limits)
    quantities = [log_sigma_itself, *asked.quantities(surface.centre)]
    return likelihood_intervals(surface, top, quantities, 3 + len(asked.shares), drop)
