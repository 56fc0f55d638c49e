"""Which shape fits a group best, and which shapes fit nearly as well?

In: `PowerSums`. Out: shapes, their profile likelihood. Next: `seallife.life.surface`.

For a given shape b the best scale is known, scale^b = S(b) / r, so the likelihood of a group with
r failures has one unknown. With theta = log b and centred log ages x,

    profile(theta) = r log b + b sum(x of failures) - r log S(b) + r log r - r

Its top is found by a third-order Newton (Halley) step on all groups at once, inside a bracket.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats
from seallife.life.powersums import PowerSums

__all__ = ["SHAPE_RANGE", "Profile", "shape_bounds", "solve_profile"]

SHAPE_RANGE = (0.01, 100.0)
"""A shape outside is no finding about seals but a likelihood that grows without end."""

_STEPS = 60


@dataclass(frozen=True, eq=False)
class Profile:
    """Top of the profile likelihood of each group.

    Attributes
    ----------
    shape : ndarray, shape (g,)
        Best shape; NaN where there is none.
    log_sum, slope, bend : ndarray, shape (g,)
        log S(b) at that shape and its first and second derivative in b.
    last_step : ndarray, shape (g,)
        Last change of log shape, by a step of third order: a direct check of the answer.
    """

    shape: Floats
    log_sum: Floats
    slope: Floats
    bend: Floats
    last_step: Floats

    def take(self, keep: NDArray[np.bool_]) -> Profile:
        """Only the chosen groups."""
        columns = (self.shape, self.log_sum, self.slope, self.bend, self.last_step)
        return Profile(*(column[keep] for column in columns))

    def information(self, failures: Floats) -> Floats:
        """Curvature of the profile in log shape, shape (g,): 1 / variance of log shape."""
        return failures * (1 + self.shape**2 * self.bend)


def solve_profile(sums: PowerSums) -> Profile:
    """Find the shape of the highest likelihood in each group.

    Every group must have a failure, and one below its oldest age (else the likelihood has no
    top). Groups whose top lies outside `SHAPE_RANGE` return NaN.
    """
    low, high = np.log(SHAPE_RANGE)
    mean = sums.log_age_sum / sums.failures
    theta = np.clip(_first_guess(sums), -2.5, 3.5)

    def halley(part: PowerSums, rows: NDArray[np.intp], at: Floats) -> list[Floats]:
        b = np.exp(at)
        log_sum, s1, s2, s3 = _log_derivatives(part.sums(b, 3))
        score = b * (mean[rows] - s1)
        first = score - b**2 * s2
        second = first - 2 * b**2 * s2 - b**3 * s3
        value = 1 + score
        change = -2 * value * first / (2 * first**2 - value * second)
        return [value, change, log_sum, s1, s2, s3]

    def step(part: PowerSums, rows: NDArray[np.intp], at: Floats) -> tuple[Floats, Floats]:
        value, change = halley(part, rows, at)[:2]
        return value, change

    # a step of third order leaves the cube of its size, so one more after a small one is exact
    theta = _climb(sums, theta, step, low - 0.1, high + 0.1, 1e-2)
    with np.errstate(all="ignore"):
        _, change, log_sum, s1, s2, s3 = halley(sums, np.arange(len(theta)), theta)
    lost = ~(np.abs(change) < 1e-2) | (theta + change < low) | (theta + change > high)
    theta, change = np.where(lost, np.nan, theta), np.where(lost, np.nan, change)
    shape = np.exp(theta + change)
    d = np.exp(theta) * np.expm1(change)
    return Profile(
        shape,
        log_sum + d * (s1 + d / 2 * (s2 + d / 3 * s3)),
        s1 + d * (s2 + d / 2 * s3),
        s2 + d * s3,
        change,
    )


def shape_bounds(
    sums: PowerSums, profile: Profile, drop: float | Floats
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Log shapes at which the profile has fallen by ``drop`` from its top, below and above it.

    The signed root of the fall is nearly a straight line in log shape, so Newton needs two or
    three steps. Where all lives entered late the profile may stay high down to shape 0: the
    lower bound is then -inf.
    """
    r, mean = sums.failures, sums.log_age_sum / sums.failures
    fall = np.broadcast_to(np.asarray(drop, dtype=np.float64), r.shape)
    top = np.log(profile.shape) + profile.shape * mean - profile.log_sum
    centre = np.log(profile.shape)
    reach = np.sqrt(2 * fall / profile.information(r))

    def bound(side: float) -> Floats:
        def step(part: PowerSums, rows: NDArray[np.intp], at: Floats) -> tuple[Floats, Floats]:
            b = np.exp(at)
            log_sum, slope = _log_derivatives(part.sums(b, 1))
            lost = r[rows] * (top[rows] - (at + b * mean[rows] - log_sum))
            gain = r[rows] * (1 + b * (mean[rows] - slope))
            root = np.sqrt(2 * np.maximum(lost, 1e-300))
            # d(root)/d(theta) = -gain / root
            return fall[rows] - lost, (root - np.sqrt(2 * fall[rows])) * root / gain

        start = centre + side * reach
        limits = (centre - 40, centre) if side < 0 else (centre, centre + 40)
        return _climb(sums, start, step, *limits, 3e-5, rising=side < 0)

    lower, upper = bound(-1.0), bound(1.0)
    late = ~sums.from_new
    if late.any():
        window = np.where(late, sums.log_window_sum(), 1.0)
        open_below = late & (r * (top + np.log(window)) <= fall)
        lower = np.where(open_below, -np.inf, lower)
    return lower, upper


def _first_guess(sums: PowerSums) -> Floats:
    """Log shape from the spread of log failure ages.

    Their product is pi / sqrt(6) = 1.28 where all lives failed and near 1 where few did.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        guess = np.log((1 + 0.28 * sums.failed_share) / sums.log_age_spread)
    return np.where(np.isfinite(guess), guess, 0.0)


def _log_derivatives(s: Floats) -> list[Floats]:
    """Log S and its derivatives (cumulants) from S, S', S'', ..."""
    s1 = s[1] / s[0]
    out = [np.log(s[0]), s1]
    if len(s) > 2:
        s2 = s[2] / s[0]
        out.append(s2 - s1**2)
    if len(s) > 3:
        out.append(s[3] / s[0] - 3 * s1 * s2 + 2 * s1**3)
    return out


Step = Callable[[PowerSums, NDArray[np.intp], Floats], tuple[Floats, Floats]]


def _climb(
    sums: PowerSums,
    theta: Floats,
    step: Step,
    low: float | Floats,
    high: float | Floats,
    close: float,
    *,
    rising: bool = False,
) -> Floats:
    """Find the zero of a function of theta in each group by guarded steps, dropping finished ones.

    ``step`` returns value and proposed change. The value must be positive left of the zero, or
    right of it where ``rising``. A step that leaves the bracket is replaced by halving it.
    """
    theta = theta.copy()
    lo = np.array(np.broadcast_to(low, theta.shape), dtype=np.float64)
    hi = np.array(np.broadcast_to(high, theta.shape), dtype=np.float64)
    active = np.arange(len(theta))
    part = sums
    for _ in range(_STEPS):
        at = theta[active]
        with np.errstate(all="ignore"):
            value, change = step(part, active, at)
        left = (value < 0) if rising else (value > 0)
        lo[active] = np.where(left, at, lo[active])
        hi[active] = np.where(left, hi[active], at)
        # a step against the sign of the value, or a wild one, is no step
        wrong = ~np.isfinite(change) | ((change > 0) != left)
        new = at + np.clip(np.where(wrong, np.where(left, 1.0, -1.0), change), -1.5, 1.5)
        outside = (new < lo[active]) | (new > hi[active])
        theta[active] = np.where(outside, (lo[active] + hi[active]) / 2, new)
        done = (~wrong & ~outside & (np.abs(change) < close)) | (value == 0)
        done |= hi[active] - lo[active] < 1e-12
        if done.all():
            break
        # copying rows pays only if it spares most of them; finished groups do no harm meanwhile
        if done.mean() > 0.5:
            part = part.take(~done)
            active = active[~done]
    return theta
