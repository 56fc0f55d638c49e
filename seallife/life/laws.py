"""The laws a life may follow, each as its log density and its log survival.

In: parameters and log ages. Out: likelihoods of lives. Next: `seallife.life.lawtops`.

Parameters stand on scales without limits. With the two functions every law has the same likelihood:
the density for a failure, the survival for a life withdrawn, over the survival at late entry.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from seallife.life.groups import Floats
from seallife.life.lifedata import LifeData

__all__ = [
    "LAWS",
    "NEAR_ZERO",
    "Law",
    "log_likelihood",
    "log_lower",
    "log_upper",
    "noise_density",
    "noise_survival",
    "row_likelihood",
]

Function = Callable[[Sequence[Floats], Floats], Floats]
"""Columns of parameters and log ages, each shape (n,), to a figure of each row."""

NEAR_ZERO = 2e-3
"""Of the generalised gamma's q, below which its formula loses digits."""
_LOG_SHAPE = (-3.0, 4.0)
_LOG_2PI = float(np.log(2 * np.pi))


@dataclass(frozen=True)
class Law:
    """One law of lives.

    Attributes
    ----------
    name : str
    parameters : tuple of str
    log_density, log_survival : callable
        From columns of parameters, each shape (n,), and log ages, shape (n,). The density is that
        of the age, not of its log.
    low, high : tuple of float
        Box of the parameters, ages being counted in units of the group's typical age.
    starts : callable
        From a Weibull fit's log shape and log scale, each shape (g,), to starts, each shape (g, p).
    """

    name: str
    parameters: tuple[str, ...]
    log_density: Function
    log_survival: Function
    low: tuple[float, ...]
    high: tuple[float, ...]
    starts: Callable[[Floats, Floats], list[Floats]]

    @property
    def ages(self) -> tuple[bool, ...]:
        """Which parameters are logs of ages and move with the unit."""
        return tuple(name in _AGES for name in self.parameters)


_AGES = {"log_mean", "log_scale", "log_median", "mu", "log_early_mean"}


def _exponential_density(p: Sequence[Floats], x: Floats) -> Floats:
    return -p[0] - np.exp(x - p[0])


def _exponential_survival(p: Sequence[Floats], x: Floats) -> Floats:
    return -np.exp(x - p[0])


def _weibull_density(p: Sequence[Floats], x: Floats) -> Floats:
    z = np.exp(p[0]) * (x - p[1])
    return p[0] + z - x - np.exp(z)


def _weibull_survival(p: Sequence[Floats], x: Floats) -> Floats:
    return -np.exp(np.exp(p[0]) * (x - p[1]))


def _lognormal_density(p: Sequence[Floats], x: Floats) -> Floats:
    z = (x - p[1]) * np.exp(-p[0])
    return -0.5 * z**2 - p[0] - x - 0.5 * _LOG_2PI


def _lognormal_survival(p: Sequence[Floats], x: Floats) -> Floats:
    from scipy.special import log_ndtr

    return np.asarray(log_ndtr((p[1] - x) * np.exp(-p[0])))


def _gamma_density(p: Sequence[Floats], x: Floats) -> Floats:
    from scipy.special import gammaln

    shape = np.exp(p[0])
    return np.asarray(shape * (x - p[1]) - np.exp(x - p[1]) - gammaln(shape) - x)


def _gamma_survival(p: Sequence[Floats], x: Floats) -> Floats:
    return log_upper(np.exp(p[0]), np.exp(x - p[1]))


def _generalised_density(p: Sequence[Floats], x: Floats) -> Floats:
    """Log sigma, mu, q: Weibull at q = 1, lognormal at 0, gamma at q = sigma."""
    return _generalised(p, x, noise_density) - p[0] - x


def _generalised_survival(p: Sequence[Floats], x: Floats) -> Floats:
    return _generalised(p, x, noise_survival)


def _generalised(
    p: Sequence[Floats], x: Floats, noise: Callable[[Floats, Floats], Floats]
) -> Floats:
    q, z = p[2], (x - p[1]) * np.exp(-p[0])
    # near q = 0 the formula loses its digits: a straight line between both sides is exact there
    near = np.abs(q) < NEAR_ZERO
    out = noise(np.where(near, NEAR_ZERO, q), z)
    if near.any():
        rows = np.flatnonzero(near)
        other = noise(np.full(len(rows), -NEAR_ZERO), z[rows])
        share = (q[rows] + NEAR_ZERO) / (2 * NEAR_ZERO)
        out[rows] = share * out[rows] + (1 - share) * other
    return out


def noise_density(q: Floats, z: Floats) -> Floats:
    """Log density of the generalised gamma's noise, q not near 0."""
    from scipy.special import gammaln

    shape, y = q**-2.0, q * z
    top = np.log(np.abs(q)) + shape * (np.log(shape) - 1) - gammaln(shape)
    return np.asarray(top + shape * (y - np.expm1(y)))


def noise_survival(q: Floats, z: Floats) -> Floats:
    """Log survival of the generalised gamma's noise, q not near 0."""
    shape = q**-2.0
    x = shape * np.exp(q * z)
    out, above = np.empty_like(x), q > 0
    out[above] = log_upper(shape[above], x[above])
    out[~above] = log_lower(shape[~above], x[~above])
    return out


def log_upper(shape: Floats, x: Floats) -> Floats:
    """Log of the upper tail of a gamma law, by its first terms where it underflows."""
    from scipy.special import gammainc, gammaincc, gammaln

    # the lower tail is quicker, and as exact while the upper is no small rest of it
    below = gammainc(shape, np.where(x < shape + 1, x, 0.0))
    rest = np.flatnonzero(~((x < shape + 1) & (below < 0.99)))
    out = np.log1p(-np.minimum(below, 0.99))
    if len(rest):
        k, v = shape[rest], x[rest]
        share = gammaincc(k, v)
        out[rest] = np.log(np.where(share > 1e-290, share, 1.0))
        far = np.flatnonzero(~(share > 1e-290))
        if len(far):
            # so far out a life is ruled out by any figure: the cap keeps it a number
            k, v = k[far], np.minimum(v[far], 1e8)
            with np.errstate(invalid="ignore", divide="ignore"):
                tail = k * np.log(v) - v - gammaln(k) - np.log(np.maximum(v - k + 1, 1.0))
            out[rest[far]] = tail
    return np.asarray(out)


def log_lower(shape: Floats, x: Floats) -> Floats:
    """Log of the lower tail of a gamma law, by its first terms where it underflows."""
    from scipy.special import gammainc, gammaln

    share = gammainc(shape, x)
    out = np.log(np.where(share > 1e-290, share, 1.0))
    far = np.flatnonzero(~(share > 1e-290))
    if len(far):
        k, v = shape[far], np.maximum(x[far], 1e-300)
        with np.errstate(invalid="ignore", divide="ignore"):
            rest = np.log1p(-np.minimum(v / (k + 1), 0.999))
            out[far] = k * np.log(v) - v - gammaln(k + 1) - rest
    return np.asarray(out)


def _early_density(p: Sequence[Floats], x: Floats) -> Floats:
    """Log odds of an early life, log mean of early lives, log shape and log scale of the rest."""
    return np.logaddexp(
        _exponential_density(p[1:2], x) - np.logaddexp(0.0, -p[0]),
        _weibull_density(p[2:4], x) - np.logaddexp(0.0, p[0]),
    )


def _early_survival(p: Sequence[Floats], x: Floats) -> Floats:
    return np.logaddexp(
        _exponential_survival(p[1:2], x) - np.logaddexp(0.0, -p[0]),
        _weibull_survival(p[2:4], x) - np.logaddexp(0.0, p[0]),
    )


def _stack(*columns: Floats | float) -> Floats:
    size = max(np.size(c) for c in columns)
    return np.stack([np.broadcast_to(np.asarray(c, dtype=np.float64), size) for c in columns], 1)


def _early_starts(log_shape: Floats, mu: Floats) -> list[Floats]:
    """Three guesses of how early: about the ages by which 0.5, 2 and 8 % fail."""
    ages = [mu + np.log(s) / np.exp(log_shape) for s in (0.005, 0.02, 0.08)]
    return [_stack(-3.0, age, log_shape + 0.2, mu) for age in ages]


_WIDE = (-12.0, 12.0)
LAWS = {
    law.name: law
    for law in (
        Law(
            "exponential",
            ("log_mean",),
            _exponential_density,
            _exponential_survival,
            _WIDE[:1],
            _WIDE[1:],
            lambda b, mu: [_stack(mu)],
        ),
        Law(
            "Weibull",
            ("log_shape", "log_scale"),
            _weibull_density,
            _weibull_survival,
            (_LOG_SHAPE[0], _WIDE[0]),
            (_LOG_SHAPE[1], _WIDE[1]),
            lambda b, mu: [_stack(b, mu)],
        ),
        Law(
            "lognormal",
            ("log_sigma", "log_median"),
            _lognormal_density,
            _lognormal_survival,
            (-4.0, _WIDE[0]),
            (4.0, _WIDE[1]),
            lambda b, mu: [_stack(0.2 - b, mu - 0.4 * np.exp(-b))],
        ),
        Law(
            "gamma",
            ("log_shape", "log_scale"),
            _gamma_density,
            _gamma_survival,
            (_LOG_SHAPE[0], _WIDE[0]),
            (6.0, _WIDE[1]),
            lambda b, mu: [_stack(1.3 * b, mu - 1.3 * b)],
        ),
        Law(
            "generalised gamma",
            ("log_sigma", "mu", "q"),
            _generalised_density,
            _generalised_survival,
            (-4.0, _WIDE[0], -3.0),
            (3.0, _WIDE[1], 5.0),
            lambda b, mu: [
                _stack(-b, mu, 1.0),
                _stack(0.2 - b, mu - 0.4 * np.exp(-b), 0.1),
                _stack(-0.5 - b, mu + 0.2, 2.0),
            ],
        ),
        Law(
            "Weibull with early part",
            ("log_odds_early", "log_early_mean", "log_shape", "log_scale"),
            _early_density,
            _early_survival,
            (-9.0, _WIDE[0], _LOG_SHAPE[0], _WIDE[0]),
            (0.0, _WIDE[1], _LOG_SHAPE[1], _WIDE[1]),
            _early_starts,
        ),
    )
}
"""All laws by name, the simplest first."""


def row_likelihood(law: Law, columns: Sequence[Floats], data: LifeData) -> Floats:
    """Log-likelihood of each life, shape (n,), without its weight; parameters row by row."""
    log_age, out = np.log(data.age), np.empty(len(data.age))
    with np.errstate(over="ignore", invalid="ignore"):
        for rows, function in ((data.failed, law.log_density), (~data.failed, law.log_survival)):
            out[rows] = function([c[rows] for c in columns], log_age[rows])
        if data.entry is not None:
            late = np.flatnonzero(data.entry > 0)
            out[late] -= law.log_survival([c[late] for c in columns], np.log(data.entry[late]))
    return out


def log_likelihood(law: Law, at: Floats, data: LifeData) -> Floats:
    """Log-likelihood of each group, shape (g,), at parameters of shape (g, p)."""
    rows = row_likelihood(law, [data.groups.spread(c) for c in at.T], data)
    return data.groups.sum(rows if data.weight is None else rows * data.weight)
