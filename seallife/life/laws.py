"""The laws a life may follow, each as one pair of functions: log density and log survival.

In: parameters and ages. Out: likelihoods and fits of all groups. Next: `seallife.life.early`,
`seallife.life.choose`.

Parameters stand on scales without limits. With the pair every law has the same likelihood: the
density for a failure, the survival for a life withdrawn, over the survival at late entry.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seallife.life.climb import Peak, climb
from seallife.life.groups import Floats
from seallife.life.lifedata import LifeData

__all__ = ["LAWS", "Law", "fit_law", "log_likelihood", "row_likelihood"]

Pair = tuple[Floats, Floats]
_LOG_SHAPE = (-3.0, 4.0)
_NEAR_ZERO = 2e-3


@dataclass(frozen=True)
class Law:
    """One law of lives.

    Attributes
    ----------
    name : str
    parameters : tuple of str
    pair : callable
        From columns of parameters, each shape (n,), and ages, shape (n,), to log density and log
        survival.
    low, high : tuple of float
        Box of the parameters, ages being counted in units of the group's typical age.
    starts : callable
        From a Weibull fit's log shape and log scale, each shape (g,), to starts, each shape (g, p).
    """

    name: str
    parameters: tuple[str, ...]
    pair: Callable[[Sequence[Floats], Floats], Pair]
    low: tuple[float, ...]
    high: tuple[float, ...]
    starts: Callable[[Floats, Floats], list[Floats]]


def _exponential(p: Sequence[Floats], age: Floats) -> Pair:
    hazard = age * np.exp(-p[0])
    return -p[0] - hazard, -hazard


def _weibull(p: Sequence[Floats], age: Floats) -> Pair:
    log_age = np.log(age)
    z = np.exp(p[0]) * (log_age - p[1])
    hazard = np.exp(z)
    return p[0] + z - log_age - hazard, -hazard


def _lognormal(p: Sequence[Floats], age: Floats) -> Pair:
    from scipy.special import log_ndtr

    log_age = np.log(age)
    z = (log_age - p[1]) * np.exp(-p[0])
    return -0.5 * z**2 - p[0] - log_age - 0.5 * np.log(2 * np.pi), log_ndtr(-z)


def _gamma(p: Sequence[Floats], age: Floats) -> Pair:
    from scipy.special import gammaincc, gammaln

    shape, log_age = np.exp(p[0]), np.log(age)
    x = np.exp(log_age - p[1])
    log_density = shape * (log_age - p[1]) - x - gammaln(shape) - log_age
    return log_density, _log_tail(gammaincc(shape, x), shape, x)


def _generalised_gamma(p: Sequence[Floats], age: Floats) -> Pair:
    """Log sigma, mu, q: Weibull at q = 1, lognormal at 0, gamma at q = sigma."""
    q = p[2]
    # near q = 0 the formula loses its digits: a straight line between both sides is exact there
    near = np.abs(q) < _NEAR_ZERO
    f, s = _one_gamma(p[0], p[1], np.where(near, _NEAR_ZERO, q), age)
    if near.any():
        rows = np.flatnonzero(near)
        other = _one_gamma(p[0][rows], p[1][rows], np.full(len(rows), -_NEAR_ZERO), age[rows])
        share = (q[rows] + _NEAR_ZERO) / (2 * _NEAR_ZERO)
        f[rows] = share * f[rows] + (1 - share) * other[0]
        s[rows] = share * s[rows] + (1 - share) * other[1]
    return f, s


def _one_gamma(log_sigma: Floats, mu: Floats, q: Floats, age: Floats) -> Pair:
    from scipy.special import gammainc, gammaincc, gammaln

    log_age = np.log(age)
    z = (log_age - mu) * np.exp(-log_sigma)
    shape = q**-2
    x = shape * np.exp(q * z)
    log_density = (
        np.log(np.abs(q)) + shape * np.log(shape) - gammaln(shape) + shape * q * z - x
    ) - (log_sigma + log_age)
    above = q > 0
    survival = np.empty_like(x)
    survival[above] = gammaincc(shape[above], x[above])
    survival[~above] = gammainc(shape[~above], x[~above])
    return log_density, _log_tail(survival, shape, np.where(above, x, np.nan))


def _log_tail(survival: Floats, shape: Floats, x: Floats) -> Floats:
    """Log of a gamma survival, by the first term of its tail where it underflows."""
    from scipy.special import gammaln

    with np.errstate(divide="ignore", invalid="ignore"):
        tail = (shape - 1) * np.log(x) - x - gammaln(shape)
        return np.where(survival > 1e-290, np.log(survival), np.fmax(tail, -1e6))


def _early_part(p: Sequence[Floats], age: Floats) -> Pair:
    """Log odds of an early life, log mean of early lives, log shape and log scale of the rest."""
    early, rest = _exponential(p[1:2], age), _weibull(p[2:4], age)
    log_share, log_rest = -np.logaddexp(0.0, -p[0]), -np.logaddexp(0.0, p[0])
    density = np.logaddexp(log_share + early[0], log_rest + rest[0])
    return density, np.logaddexp(log_share + early[1], log_rest + rest[1])


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
            _exponential,
            _WIDE[:1],
            _WIDE[1:],
            lambda b, mu: [_stack(mu)],
        ),
        Law(
            "Weibull",
            ("log_shape", "log_scale"),
            _weibull,
            (_LOG_SHAPE[0], _WIDE[0]),
            (_LOG_SHAPE[1], _WIDE[1]),
            lambda b, mu: [_stack(b, mu)],
        ),
        Law(
            "lognormal",
            ("log_sigma", "log_median"),
            _lognormal,
            (-4.0, _WIDE[0]),
            (4.0, _WIDE[1]),
            lambda b, mu: [_stack(0.2 - b, mu - 0.4 * np.exp(-b))],
        ),
        Law(
            "gamma",
            ("log_shape", "log_scale"),
            _gamma,
            (_LOG_SHAPE[0], _WIDE[0]),
            (6.0, _WIDE[1]),
            lambda b, mu: [_stack(1.3 * b, mu - 1.3 * b)],
        ),
        Law(
            "generalised gamma",
            ("log_sigma", "mu", "q"),
            _generalised_gamma,
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
            _early_part,
            (-9.0, _WIDE[0], _LOG_SHAPE[0], _WIDE[0]),
            (0.0, _WIDE[1], _LOG_SHAPE[1], _WIDE[1]),
            _early_starts,
        ),
    )
}
"""All laws by name, the simplest first."""


def row_likelihood(law: Law, columns: Sequence[Floats], data: LifeData) -> Floats:
    """Log-likelihood of each life, shape (n,), without its weight; parameters row by row."""
    density, survival = law.pair(columns, data.age)
    out = np.where(data.failed, density, survival)
    if data.entry is not None:
        late = np.flatnonzero(data.entry > 0)
        out[late] -= law.pair([c[late] for c in columns], data.entry[late])[1]
    return out


def log_likelihood(law: Law, at: Floats, data: LifeData) -> Floats:
    """Log-likelihood of each group, shape (g,), at parameters of shape (g, p)."""
    rows = row_likelihood(law, [data.groups.spread(c) for c in at.T], data)
    return data.groups.sum(rows if data.weight is None else rows * data.weight)


def fit_law(
    law: Law,
    data: LifeData,
    log_shape: Floats,
    log_scale: Floats,
    *,
    low: Floats | None = None,
    high: Floats | None = None,
    starts: list[Floats] | None = None,
) -> Peak:
    """Best parameters of a law in every group, from a Weibull fit's.

    Parameters
    ----------
    law : Law
    data : LifeData
        Lives with exact ages.
    log_shape, log_scale : ndarray, shape (g,)
        Of a Weibull fit, or any fair guess.
    low, high : ndarray, shape (g, p), optional
        Box, where the law's own, which lies about ``log_scale``, is not meant.
    starts : list of ndarray, shape (g, p), optional
        Where to start, if not at the law's own starts.
    """
    ages = np.array([name in _AGES for name in law.parameters])
    walls = [np.asarray(w) + np.where(ages, log_scale[:, None], 0.0) for w in (law.low, law.high)]
    walls = [own if given is None else given for own, given in zip(walls, (low, high), strict=True)]

    def of(keep: NDArray[np.bool_]) -> Callable[[Floats], Floats]:
        part = data.take(keep)
        return lambda at: log_likelihood(law, at, part)

    best: Peak | None = None
    for start in law.starts(log_shape, log_scale) if starts is None else starts:
        peak = climb(of, start, walls[0], walls[1])
        best = peak if best is None else best.better(peak)
    assert best is not None
    return best


_AGES = {"log_mean", "log_scale", "log_median", "mu", "log_early_mean"}
