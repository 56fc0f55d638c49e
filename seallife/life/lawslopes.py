"""How does the likelihood of a life change with the parameters of its law?

In: columns of parameters, log ages. Out: values with slopes and second derivatives. Next:
`seallife.life.lawsums`.

Where a derivative is known in closed form it is written out: those by log scale and spread cost no
more incomplete gamma functions than the value itself. Only the one parameter inside such a function
is moved by a small step.

Source
------
Own algebra; tests hold each against differences of the laws' values.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats
from seallife.life.laws import NEAR_ZERO, log_upper, noise_density, noise_survival

__all__ = ["SLOPES", "STEP", "Slopes"]

Slopes = tuple[Floats, list[Floats], list[list[Floats]]]
"""Values, shape (n,); slopes by each parameter; second derivatives, row i up to column i."""

STEP = 3e-4
"""By which a parameter is moved where no closed form is known: tops are right to about 1e-7."""

_LOG_ROOT_2PI = 0.5 * float(np.log(2 * np.pi))


def _lognormal_density(p: Sequence[Floats], x: Floats) -> Slopes:
    per_sigma = np.exp(-p[0])
    z = (x - p[1]) * per_sigma
    value = -0.5 * z**2 - p[0] - x - _LOG_ROOT_2PI
    return value, [z**2 - 1, z * per_sigma], [[-2 * z**2], [-2 * z * per_sigma, -(per_sigma**2)]]


def _lognormal_survival(p: Sequence[Floats], x: Floats) -> Slopes:
    from scipy.special import log_ndtr

    per_sigma = np.exp(-p[0])
    z = (x - p[1]) * per_sigma
    value = log_ndtr(-z)
    rate = np.exp(-0.5 * z**2 - _LOG_ROOT_2PI - value)
    by_zz = -rate * (rate - z)
    moved = by_zz * z - rate
    bends = [[moved * z], [moved * per_sigma, by_zz * per_sigma**2]]
    return value, [z * rate, per_sigma * rate], bends


def _gamma_density(p: Sequence[Floats], x: Floats) -> Slopes:
    from scipy.special import gammaln, psi, zeta

    shape, y = np.exp(p[0]), x - p[1]
    e = np.exp(y)
    by_shape = shape * (y - psi(shape))
    value = shape * y - e - gammaln(shape) - x
    bend = by_shape - shape**2 * zeta(2.0, shape)
    return value, [by_shape, e - shape], [[bend], [-shape, -e]]


def _gamma_survival(p: Sequence[Floats], x: Floats) -> Slopes:
    from scipy.special import gammaln

    y = x - p[1]
    e = np.exp(y)

    def at(log_shape: Floats) -> tuple[Floats, Floats]:
        """Log survival, and the failure rate by log age, which is its slope by log scale."""
        shape = np.exp(log_shape)
        value = log_upper(shape, e)
        return value, np.exp(shape * y - e - gammaln(shape) - value)

    (value, rate), low, high = at(p[0]), at(p[0] - STEP), at(p[0] + STEP)
    first, second = _differences(low[0], value, high[0])
    mixed = (high[1] - low[1]) / (2 * STEP)
    bend = rate * (e - np.exp(p[0]) - rate)
    return value, [first, rate], [[second], [mixed, bend]]


def _generalised_density(p: Sequence[Floats], x: Floats) -> Slopes:
    per_sigma = np.exp(-p[0])
    z = (x - p[1]) * per_sigma
    low, middle, high = _three(p[2], z, _noise_density)
    value, by_z, by_zz = middle
    by_q, by_qq, by_zq = _by_q(p[2], low, middle, high)
    slopes = [-z * by_z - 1, -per_sigma * by_z, by_q]
    bends = _by_law(z, per_sigma, by_z, by_zz, by_q, by_qq, by_zq)
    return value - p[0] - x, slopes, bends


def _generalised_survival(p: Sequence[Floats], x: Floats) -> Slopes:
    per_sigma = np.exp(-p[0])
    z = (x - p[1]) * per_sigma
    low, middle, high = _three(p[2], z, _noise_survival)
    value, by_z, by_zz = middle
    by_q, by_qq, by_zq = _by_q(p[2], low, middle, high)
    bends = _by_law(z, per_sigma, by_z, by_zz, by_q, by_qq, by_zq)
    return value, [-z * by_z, -per_sigma * by_z, by_q], bends


Noise = tuple[Floats, Floats, Floats]
"""Log density or log survival of the noise, and two derivatives by z."""


def _noise_density(q: Floats, z: Floats) -> Noise:
    e = np.exp(q * z)
    return noise_density(q, z), (1 - e) / q, -e


def _noise_survival(q: Floats, z: Floats) -> Noise:
    value = noise_survival(q, z)
    rate = np.exp(noise_density(q, z) - value)
    return value, -rate, -rate * ((1 - np.exp(q * z)) / q + rate)


def _three(
    q: Floats, z: Floats, noise: Callable[[Floats, Floats], Noise]
) -> tuple[Noise, Noise, Noise]:
    """Noise below, at and above q; near q = 0 the straight line between both sides."""
    near = np.abs(q) < NEAR_ZERO
    low = noise(np.where(near, -NEAR_ZERO, q - STEP), z)
    middle = noise(np.where(near, NEAR_ZERO, q), z)
    if not near.any():
        return low, middle, noise(q + STEP, z)
    high = noise(np.where(near, NEAR_ZERO, q + STEP), z)
    share = (q + NEAR_ZERO) / (2 * NEAR_ZERO)
    line = [
        np.where(near, share * h + (1 - share) * v, m)
        for v, m, h in zip(low, middle, high, strict=True)
    ]
    return low, (line[0], line[1], line[2]), high


def _by_q(q: Floats, low: Noise, middle: Noise, high: Noise) -> Noise:
    """Two derivatives of a noise by q, and that of its slope by z."""
    near = np.abs(q) < NEAR_ZERO
    step = np.where(near, NEAR_ZERO, STEP)
    first = (high[0] - low[0]) / (2 * step)
    second = np.where(near, 0.0, (high[0] - 2 * middle[0] + low[0]) / step**2)
    return first, second, (high[1] - low[1]) / (2 * step)


def _by_law(
    z: Floats,
    per_sigma: Floats,
    by_z: Floats,
    by_zz: Floats,
    by_q: Floats,
    by_qq: Floats,
    by_zq: Floats,
) -> list[list[Floats]]:
    """Second derivatives by log sigma, mu and q from those by z and q."""
    moved = by_zz * z + by_z
    return [
        [moved * z],
        [moved * per_sigma, by_zz * per_sigma**2],
        [-z * by_zq, -per_sigma * by_zq, by_qq],
    ]


def _early_density(p: Sequence[Floats], x: Floats) -> Slopes:
    e, y, h, shape = _parts(p, x)
    return _mixed(
        p[0],
        (-p[1] - e, e - 1, -e),
        (p[2] + y - x - h, 1 + y - y * h, shape * (h - 1)),
        (y - y * h - y**2 * h, shape * (h + y * h - 1), -(shape**2) * h),
    )


def _early_survival(p: Sequence[Floats], x: Floats) -> Slopes:
    e, y, h, shape = _parts(p, x)
    return _mixed(
        p[0],
        (-e, e, -e),
        (-h, -y * h, shape * h),
        (-y * h - y**2 * h, shape * (h + y * h), -(shape**2) * h),
    )


def _parts(p: Sequence[Floats], x: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Hazards of both parts, with that of the rest as an exponent, and its shape."""
    shape = np.exp(p[2])
    # so far out a life is ruled out by any figure: the cap keeps products of it numbers
    y = np.minimum(shape * (x - p[3]), 250.0)
    return np.exp(np.minimum(x - p[1], 250.0)), y, np.exp(y), shape


def _mixed(
    odds: Floats, early: Noise, rest: Noise, rest_bends: tuple[Floats, Floats, Floats]
) -> Slopes:
    """Two laws mixed: each life belongs to either with its posterior probability."""
    log_share, log_rest = -np.logaddexp(0.0, -odds), -np.logaddexp(0.0, odds)
    first, second = log_share + early[0], log_rest + rest[0]
    value = np.logaddexp(first, second)
    belongs, share = np.exp(first - value), np.exp(log_share)
    other = np.exp(second - value)
    both = belongs * other
    lean = [np.ones_like(odds), early[1], -rest[1], -rest[2]]
    slopes = [belongs - share, belongs * early[1], other * rest[1], other * rest[2]]
    bends = [[both * lean[i] * lean[j] for j in range(i + 1)] for i in range(4)]
    bends[0][0] -= share * np.exp(log_rest)
    bends[1][1] += belongs * early[2]
    for (i, j), bend in zip(((2, 2), (3, 2), (3, 3)), rest_bends, strict=True):
        bends[i][j] += other * bend
    return value, slopes, bends


def _differences(low: Floats, middle: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Two derivatives from values a step apart."""
    return (high - low) / (2 * STEP), (high - 2 * middle + low) / STEP**2


Function = Callable[[Sequence[NDArray[np.float64]], Floats], Slopes]

SLOPES: dict[str, tuple[Function, Function]] = {
    "lognormal": (_lognormal_density, _lognormal_survival),
    "gamma": (_gamma_density, _gamma_survival),
    "generalised gamma": (_generalised_density, _generalised_survival),
    "Weibull with early part": (_early_density, _early_survival),
}
"""Of the log density and the log survival, by the name of the law."""
