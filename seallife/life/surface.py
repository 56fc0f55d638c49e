"""How good is any shape and scale of a group, once its data are summed?

In: `PowerSums` and a range of shapes. Out: `WeibullSurface`. Next: `seallife.life.weibullfit`.

The likelihood region of a group is a small patch of shapes. Over it log S(b) is so smooth that a
dozen values hold all its digits: after that, intervals are arithmetic on a few numbers per group.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats
from seallife.life.powersums import PowerSums
from seallife.life.region import Derivatives
from seallife.life.sidebyside import product

__all__ = ["WeibullSurface", "chebyshev_places", "ridge_height"]

_STEPS = 20
_SHORT = 40  # terms


@dataclass(frozen=True, eq=False)
class WeibullSurface:
    """Log-likelihood of exact Weibull lives over log sigma = -log shape and centred log scale.

    log S(b) of each group is held as a Chebyshev series in log shape over the likelihood region,
    so a value anywhere costs nothing that grows with the data.
    """

    failures: Floats
    log_age_sum: Floats
    middle: Floats
    half: Floats
    series: Floats  # (g, k)

    @classmethod
    def build(cls, sums: PowerSums, lower: Floats, upper: Floats, nodes: int) -> WeibullSurface:
        """Tabulate log S(b) of each group at Chebyshev nodes between two log shapes."""
        # a rim, as the search for an extreme may step just over the edge
        middle, half = (lower + upper) / 2, (upper - lower) / 2 * 1.02
        values = np.empty((len(middle), nodes))
        # a sum that underflows has no log: its series is none, and says so
        with np.errstate(divide="ignore", invalid="ignore"):
            for j, place in enumerate(chebyshev_places(nodes)):
                values[:, j] = np.log(sums.sums(np.exp(middle + half * place))[0])
            series = product(values, _basis(nodes).T)
        return cls(sums.failures, sums.log_age_sum, middle, half, series)

    @classmethod
    def of_values(
        cls, failures: Floats, log_age_sum: Floats, values: Floats, middle: Floats, half: Floats
    ) -> WeibullSurface:
        """From log S(b), shape (g, nodes), at Chebyshev nodes ``half`` about the middle."""
        return cls(failures, log_age_sum, middle, half, product(values, _basis(values.shape[1]).T))

    @classmethod
    def stack(cls, parts: Sequence[WeibullSurface]) -> WeibullSurface:
        """Groups of several surfaces, one after the other; a shorter series ends in zeros."""
        r, total, middle, half = (
            np.concatenate([getattr(part, c) for part in parts])
            for c in ("failures", "log_age_sum", "middle", "half")
        )
        series = np.zeros((len(r), max(part.series.shape[1] for part in parts)))
        for part, end in zip(parts, np.cumsum([len(p.half) for p in parts]), strict=True):
            rows, terms = part.series.shape
            series[end - rows : end, :terms] = part.series
        return cls(r, total, middle, half, series)

    def resolved(self, share: float = 1e-11) -> NDArray[np.bool_]:
        """Whether the series of each group has died out: its last terms are rounding."""
        tail = np.abs(self.series[:, -2:]).max(axis=1)
        died: NDArray[np.bool_] = tail < share * np.maximum(np.abs(self.series).max(axis=1), 1.0)
        return died

    def take(self, keep: NDArray[np.bool_] | NDArray[np.intp]) -> WeibullSurface:
        """Only the chosen groups."""
        return WeibullSurface(
            self.failures[keep],
            self.log_age_sum[keep],
            self.middle[keep],
            self.half[keep],
            self.series[keep],
        )

    def contour(self, top: Floats, drop: Floats, points: int) -> tuple[Floats, Floats]:
        """Points of the curve on which the likelihood lies ``drop`` below ``top``.

        For a shape between its bounds the scale has two values there. With v = S(b) / (r scale^b)
        they solve v - log v - 1 = (profile - top + drop) / r: exact, with no search over data.

        Returns
        -------
        log_sigma, log_scale : ndarray, shape (g, 2 * points)
        """
        place = np.cos(np.pi * (np.arange(points) + 0.5) / points)
        r = self.failures[:, None]
        theta = self.middle[:, None] + (self.half / 1.02)[:, None] * place
        k = np.arange(self.series.shape[1])
        log_sum = self.series @ np.cos(np.outer(k, np.arccos(place / 1.02)))
        b = np.exp(theta)
        profile = ridge_height(r, self.log_age_sum[:, None], theta, log_sum)
        depth = np.maximum(profile - (top - drop)[:, None], 0.0) / r
        base = log_sum - np.log(r)
        ends = [(base - _log_ratio(depth, side)) / b for side in (-1.0, 1.0)]
        return -np.hstack([theta, theta]), np.hstack(ends)

    def tops(
        self, start: Floats, span: tuple[Floats, Floats]
    ) -> tuple[Floats, Floats, NDArray[np.bool_]]:
        """Log sigma of the highest likelihood of each group, its standard error, and if it is one.

        Newton steps within the span; a top outside of it is none.
        """
        r, x = self.failures, start
        with np.errstate(all="ignore"):
            for _ in range(_STEPS):
                b = np.exp(-x)
                _, d1, d2 = (c[:, 0] for c in self._log_sums(-x[:, None]))
                gain = r * (1 - d1) + b * self.log_age_sum
                fall = r * d2 - b * self.log_age_sum
                step = np.where(fall > 0, -gain / fall, -np.sign(gain) * 0.3)
                new = np.clip(x + np.clip(step, -1.0, 1.0), *span)
                moved = np.abs(new - x)
                x = new
                if not (moved > 1e-7).any():
                    break
            # the curvature a last step of some 1e-8 before the top
            error = 1 / np.sqrt(r * (1 + d2 - d1))
        return x, error, (moved < 1e-7) & (np.abs(step) < 1e-7)

    def ridge(self, log_sigma: Floats) -> Floats:
        """Log-likelihood at the best scale for one shape of each group, shape (g,)."""
        log_sum = self._log_sum(-log_sigma)
        return ridge_height(self.failures, self.log_age_sum, -log_sigma, log_sum)

    def best_scale(self, log_sigma: Floats) -> Floats:
        """Best log scale for one shape of each group, shape (g,)."""
        best: Floats = (self._log_sum(-log_sigma) - np.log(self.failures)) * np.exp(log_sigma)
        return best

    def _log_sum(self, theta: Floats) -> Floats:
        """Log S(b) at one log shape of each group, shape (g,)."""
        return self._log_sums(theta[:, None])[0][:, 0]

    def _log_sums(self, theta: Floats) -> tuple[Floats, Floats, Floats]:
        """Log S(b) and two derivatives at log shapes of shape (g, p)."""
        half = self.half[:, None]
        u = (theta - self.middle[:, None]) / half
        powers = self._powers
        value, first, second = _series(self.series, u) if powers is None else _horner(powers, u)
        return value, first / half, second / half**2

    @cached_property
    def _powers(self) -> Floats | None:
        """The series in powers, shape (k, g), where it is too short for that to lose digits."""
        terms = self.series.shape[1]
        return (
            None
            if terms > _SHORT
            else np.ascontiguousarray(product(self.series, _in_powers(terms).T).T)
        )

    def __call__(self, log_sigma: Floats, log_scale: Floats) -> Derivatives:
        """Value, gradient and Hessian, each of the shape of the arguments, (g, p)."""
        theta = -log_sigma
        b = np.exp(theta)
        phi, d1, d2 = self._log_sums(theta)
        r, m = self.failures[:, None], self.log_age_sum[:, None]
        expected = np.exp(phi - b * log_scale)
        bend = d1 - b * log_scale
        value = r * theta + b * (m - r * log_scale) - expected
        by_theta = r + b * (m - r * log_scale) - expected * bend
        by_scale = b * (expected - r)
        theta2 = by_theta - r - expected * (d2 - d1 + bend**2)
        cross = by_scale + b * expected * bend
        return value, -by_theta, by_scale, theta2, -cross, -(b**2) * expected


def chebyshev_places(nodes: int) -> Floats:
    """Chebyshev nodes between -1 and 1."""
    return np.asarray(np.cos(np.pi * (np.arange(nodes) + 0.5) / nodes))


@cache
def _basis(nodes: int) -> Floats:
    """Chebyshev series from values at the nodes, shape (terms, nodes)."""
    angle = np.pi * (np.arange(nodes) + 0.5) / nodes
    basis: Floats = np.cos(np.outer(np.arange(nodes), angle)) * (2 / nodes)
    basis[0] /= 2
    return basis


def ridge_height(r: Floats, log_age_sum: Floats, theta: Floats, log_sum: Floats) -> Floats:
    """Log-likelihood at the best scale, from log shape and log S at it."""
    height: Floats = r * (theta + np.log(r) - log_sum - 1) + np.exp(theta) * log_age_sum
    return height


def _log_ratio(depth: Floats, side: float) -> Floats:
    """Solve exp(y) - y - 1 = depth for y of the given sign (the two branches of Lambert's W)."""
    root = np.sqrt(2 * depth)
    y = np.where(
        depth < 1,
        side * root - depth / 3,
        np.log1p(depth + np.log1p(depth)) if side > 0 else -1 - depth,
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        for _ in range(6):
            slope = np.expm1(y)
            change = (slope - y - depth) / slope
            y = np.where(np.isfinite(change), y - change, y)
    return y


def _series(c: Floats, u: Floats) -> tuple[Floats, Floats, Floats]:
    """Chebyshev series of each row and its first two derivatives at u (Clenshaw's recurrence)."""
    zero = np.zeros_like(u)
    b1, b2, d1, d2, e1, e2 = (zero,) * 6
    for k in range(c.shape[1] - 1, 0, -1):
        b1, b2, d1, d2, e1, e2 = (
            2 * u * b1 - b2 + c[:, k, None],
            b1,
            2 * u * d1 - d2 + 2 * b1,
            d1,
            2 * u * e1 - e2 + 4 * d1,
            e1,
        )
    return u * b1 - b2 + c[:, 0, None], u * d1 - d2 + b1, u * e1 - e2 + 2 * d1


def _horner(a: Floats, u: Floats) -> tuple[Floats, Floats, Floats]:
    """Polynomial of each row, coefficients of shape (k, g), and its first two derivatives at u."""
    value, first, second = np.zeros((3, *u.shape))
    for row in a[::-1, :, None]:
        second *= u
        second += first
        first *= u
        first += value
        value *= u
        value += row
    second *= 2
    return value, first, second


@cache
def _in_powers(terms: int) -> Floats:
    """Chebyshev polynomials in powers, one a column."""
    out = np.zeros((terms, terms))
    out[0, 0] = 1.0
    if terms > 1:
        out[1, 1] = 1.0
    for k in range(2, terms):
        out[1:, k] = 2 * out[:-1, k - 1]
        out[:, k] -= out[:, k - 2]
    return out
