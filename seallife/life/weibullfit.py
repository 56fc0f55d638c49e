"""How is a Weibull law fitted to many groups at once?

In: `LifeData`. Out: `Estimates`. Next: `seallife.life.weibull`.

Two ways to one result: through power sums where all ages are exact, on the rows where some
failures are known only to an interval. Tests hold them against each other.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from seallife.life.calibration import Truth, root_quantiles, roots_under, signed_roots
from seallife.life.commontops import WIDEST
from seallife.life.estimates import Estimates, likelihood_intervals
from seallife.life.groups import Floats, Groups, Ints
from seallife.life.lifedata import LifeData
from seallife.life.lines import Lines, best_on
from seallife.life.locationscale import LocationScale, weibull_noise
from seallife.life.powersums import power_sums
from seallife.life.profile import SHAPE_RANGE, shape_bounds, solve_profile
from seallife.life.quantities import (
    log_hazard,
    log_sigma_itself,
    log_weibull_mean,
    quantile,
    standard_age,
)
from seallife.life.region import Quantity, extremes, likelihood_drop
from seallife.life.surface import WeibullSurface

__all__ = ["Asked", "calibrate", "fit_exact", "fit_rows"]

_NODES = np.array([0.55, 1.0, 1.7])  # of signed roots, in units of the normal limit
_FEW = 30  # failures, below which signed roots are resampled at each limit
_REACH, _TABLE = 5.0, 48  # standard errors of log shape and nodes of the table for that


@dataclass(frozen=True, eq=False)
class Asked:
    """What is wanted of each fit beside shape, scale and mean.

    Ages by which ``shares`` have failed, the survival at ``log_ages`` and the failure rate at
    ``rate_log_ages``.
    """

    shares: Floats
    log_ages: Floats
    rate_log_ages: Floats = field(default_factory=lambda: np.zeros(0))

    @property
    def plain(self) -> int:
        """Number of quantities with log sigma, but without the failure rates at their end."""
        return 3 + len(self.shares) + len(self.log_ages)

    @property
    def width(self) -> int:
        """Number of all quantities."""
        return self.plain + len(self.rate_log_ages)

    def quantities(self, centre: Floats) -> list[Quantity]:
        """Functions to bound, on log ages from ``centre``."""
        noise = np.log(-np.log1p(-self.shares))
        return [
            quantile(0.0),
            log_weibull_mean,
            *(quantile(float(k)) for k in noise),
            *(standard_age(age - centre) for age in self.log_ages),
            *(log_hazard(age - centre) for age in self.rate_log_ages),
        ]

    def lines(self, point: Floats) -> Lines:
        """The same but log sigma as lines, the log mean first, from their values at a fit."""
        noise = np.append(0.0, np.log(-np.log1p(-self.shares)))
        ages = point[:, 3 + len(self.shares) : self.plain]
        rates = np.tile(self.rate_log_ages, (len(point), 1)) if len(self.rate_log_ages) else None
        return Lines(np.hstack([np.tile(noise, (len(point), 1)), ages]), True, rates)

    def at(self, fit: Estimates) -> Floats:
        """Log sigma and all that is wanted, at a fit, shape (g, q)."""
        tau, mu = fit.log_sigma[:, None], fit.mu[:, None]
        return np.hstack([tau, *(q(tau, mu)[0] for q in self.quantities(np.zeros(len(mu))))])


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
    out = Estimates.empty(len(b), asked.width)
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


def calibrate(
    data: LifeData, found: Estimates, asked: Asked, level: float, resamples: int, seed: int
) -> tuple[Floats, Ints]:
    """Move the limits of a fit to where resampled signed roots say that they cover.

    Between limits of several levels a quantity is a smooth function of its signed root, which is
    interpolated; so a calibrated limit needs no search of its own. Interval ends count at their
    middle here, and only the stretch of each limit is taken over.

    Parameters
    ----------
    found : Estimates
        Its limits are changed.

    Returns
    -------
    log_sigma : ndarray, shape (g,)
        Of which the fitted one would be typical: the bias of few failures taken off.
    used : ndarray of int, shape (g,)
        Resamples that could be fitted; limits stay where they were too few.
    """
    lives = _single_exact_lives(data)
    z = float(np.sqrt(2 * likelihood_drop(level)))
    # of exact lives the fit at the level itself is there already
    same = data.low is None and data.weight is None
    fits = [
        found.take(np.arange(len(found.mu)))
        if same and share == 1.0
        else fit_exact(lives, asked, (share * z) ** 2 / 2)
        for share in _NODES
    ]
    one = fits[1]
    point, centre = asked.at(one), asked.at(found)
    lines = asked.lines(point)
    roots = signed_roots(lives, one.log_sigma, one.mu, lines, resamples, seed, shape=True)
    # columns as asked: log sigma, mu, log mean, ...; survival runs against its standard age
    roots = roots[:, :, [0, 2, 1, *range(3, roots.shape[2])]]
    roots[:, :, 3 + len(asked.shares) : asked.plain] *= -1.0
    upper, lower, middle = root_quantiles(roots, ((1 + level) / 2, (1 - level) / 2, 0.5))
    few = lives.count(lives.failed) < _FEW
    # measured of rates: drawn at their limits 85 to 91 % cover with 10 failures, without 88 to 92
    if few.any() and asked.plain > 3:
        part = one.take(np.flatnonzero(few))
        at_limits = _at_limits(lives.take(few), part, asked, level, resamples, seed)
        for rough, fine in zip((upper, lower), at_limits, strict=True):
            rough[few, : asked.plain] = np.where(np.isfinite(fine), fine, rough[few, : asked.plain])
    # the quantity at signed roots -z3 ... z3: a lower limit lies where the root is positive
    nodes = z * np.concatenate([-_NODES[::-1], [0.0], _NODES])
    values = np.stack([*(f.high for f in fits[::-1]), point, *(f.low for f in fits)], axis=-1)
    low, high = _between(nodes, values, upper), _between(nodes, values, lower)
    with np.errstate(all="ignore"):
        for limit, moved, plain in ((found.low, low, one.low), (found.high, high, one.high)):
            stretch = (moved - point) / (plain - point)
            good = np.isfinite(stretch) & (stretch > 0)
            limit[good] = (centre + (limit - centre) * stretch)[good]
    shift = _between(nodes, values[:, :1], middle[:, :1])[:, 0] - one.log_sigma
    return found.log_sigma + shift, np.isfinite(roots).all(axis=2).sum(axis=1)


def _at_limits(
    data: LifeData, fit: Estimates, asked: Asked, level: float, resamples: int, seed: int
) -> tuple[Floats, Floats]:
    """Quantiles of the signed root of all but rates were their own limits the truth, shape (g, q).

    The law drawn from is the likeliest with that limit: with few failures the roots scatter
    otherwise there than at the estimate.
    """
    sums = power_sums(data)
    tau, error, c = fit.log_sigma, np.sqrt(fit.covariance[:, 0]), sums.centre
    span = np.clip((tau - _REACH * error, tau + _REACH * error), -WIDEST, WIDEST)
    surface = WeibullSurface.build(sums, -span[1], -span[0], _TABLE)
    noise, none = asked.lines(asked.at(fit)).noise, np.zeros((len(c), 0))
    truths, shares, signs = [], [], []
    for limits, share in ((fit.low, (1 + level) / 2), (fit.high, (1 - level) / 2)):
        for q in range(asked.plain):
            target, sign = limits[:, q] - c, 1.0
            lines = Lines(none, mean=q == 2)
            if q == 0:
                t = np.where(np.isfinite(limits[:, 0]), limits[:, 0], np.nan)
                m = surface.best_scale(t)
            else:
                if q == 1 or 2 < q < 3 + len(asked.shares):
                    lines = Lines(noise[:, [q - 2 if q > 2 else 0]])
                elif q > 2:  # survival runs against its standard age
                    lines, sign = Lines(limits[:, [q]]), -1.0
                    target = asked.log_ages[q - 3 - len(asked.shares)] - c
                t, m = (
                    v[:, 0]
                    for v in best_on(surface, lines, target[:, None], tau, (span[0], span[1]))[:2]
                )
            truths.append(Truth(t, m + c, lines, shape=q == 0))
            shares.append(share)
            signs.append(sign)
    roots = roots_under(data, truths, resamples, seed)
    found = [
        root_quantiles(s * r, [k])[0][:, 0] for r, s, k in zip(roots, signs, shares, strict=True)
    ]
    half = len(found) // 2
    return np.stack(found[:half], axis=1), np.stack(found[half:], axis=1)


def _single_exact_lives(data: LifeData) -> LifeData:
    """Each row one life that ends at an exact age."""
    age = data.age
    if data.low is not None:
        age = np.where(data.interval, (np.nan_to_num(data.low) + age) / 2, age)
    if data.weight is None:
        return LifeData(data.groups, age, data.failed, data.entry)
    times = np.rint(data.weight).astype(np.int64)
    rows = np.repeat(np.arange(len(age)), times)
    offsets = np.concatenate([[0], np.cumsum(data.groups.sum(times).astype(np.int64))])
    groups = Groups(data.groups.labels, offsets)
    entry = None if data.entry is None else data.entry[rows]
    return LifeData(groups, age[rows], data.failed[rows], entry)


def _between(nodes: Floats, values: Floats, at: Floats) -> Floats:
    """Interpolate values at the nodes, shape (g, q, k), at one place each, shape (g, q).

    Where an outer node has no value, as its region is open, the inner ones serve.
    """
    out = np.full(at.shape, np.nan)
    middle = len(nodes) // 2
    for reach in range(1, middle + 1):
        k = np.arange(middle - reach, middle + reach + 1)
        part = np.zeros(at.shape)
        for i in k:
            others = k[k != i]
            # a root so large that its powers overflow has no limit in reach
            with np.errstate(invalid="ignore", over="ignore"):
                weight = np.prod([(at - nodes[j]) / (nodes[i] - nodes[j]) for j in others], axis=0)
                part += weight * values[..., i]
        out = np.where(np.isfinite(part), part, out)
    return out


def fit_rows(data: LifeData, asked: Asked, drop: float | None) -> Estimates:
    """Fit groups with interval ends by climbing on their rows."""
    surface = LocationScale.of(data, weibull_noise)
    start = np.full(len(data.groups), 0.0)
    limits = (-np.log(SHAPE_RANGE[1]), -np.log(SHAPE_RANGE[0]))
    top = surface.climb(start, start, limits)
    quantities = [log_sigma_itself, *asked.quantities(surface.centre)]
    return likelihood_intervals(surface, top, quantities, 3 + len(asked.shares), drop)
