"""What is asked of a fitted life: an age by which a share has failed, a mean, a survival.

In: parameters (log sigma, mu). Out: functions with derivatives for `seallife.life.region`.

Every quantity is written on a scale without limits (log of an age; log of the cumulative hazard
for a Weibull survival), so that an interval on it can never leave its range.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from seallife.errors import InputError
from seallife.life.groups import Floats
from seallife.life.region import Derivatives, Quantity

__all__ = [
    "check_ages",
    "check_shares",
    "log_hazard",
    "log_lognormal_mean",
    "log_sigma_itself",
    "log_weibull_mean",
    "quantile",
    "standard_age",
]


def log_sigma_itself(tau: Floats, mu: Floats) -> Derivatives:
    """Log sigma, minus the log shape of a Weibull life."""
    zero = np.zeros_like(mu)
    return tau, np.ones_like(tau), zero, zero, zero, zero


def quantile(noise: float) -> Quantity:
    """Log age at a quantile of the noise: mu + sigma * noise."""

    def log_age(tau: Floats, mu: Floats) -> Derivatives:
        part = noise * np.exp(tau)
        zero = np.zeros_like(part)
        return mu + part, part, np.ones_like(part), part, zero, zero

    return log_age


def standard_age(log_age: Floats) -> Quantity:
    """(log age - mu) / sigma at one log age per group, shape (g,): survival falls as it grows."""

    def standard(tau: Floats, mu: Floats) -> Derivatives:
        shape = np.exp(-tau)
        z = (log_age[:, None] - mu) * shape
        return z, -z, -shape, z, shape, np.zeros_like(z)

    return standard


def log_hazard(log_age: Floats) -> Quantity:
    """Log failure rate times age of a Weibull life at one log age per group, shape (g,)."""
    standard = standard_age(log_age)

    def rate(tau: Floats, mu: Floats) -> Derivatives:
        z, first, by_mu, second, mixed, zero = standard(tau, mu)
        return z - tau, first - 1, by_mu, second, mixed, zero

    return rate


def log_weibull_mean(tau: Floats, mu: Floats) -> Derivatives:
    """Log mean of a Weibull life: mu + log Gamma(1 + sigma)."""
    from scipy.special import digamma, gammaln

    sigma = np.exp(tau)
    first = sigma * digamma(1 + sigma)
    zero, one = np.zeros_like(sigma), np.ones_like(sigma)
    # trigamma(1 + sigma) to 1 in 5,000: it only steers the search, and scipy's takes most of it
    y = 2 + sigma
    trigamma = 1 / (1 + sigma) ** 2 + 1 / y + 1 / (2 * y**2) + 1 / (6 * y**3) - 1 / (30 * y**5)
    second = first + sigma**2 * trigamma
    return mu + gammaln(1 + sigma), first, one, second, zero, zero


def log_lognormal_mean(tau: Floats, mu: Floats) -> Derivatives:
    """Log mean of a lognormal life: mu + sigma^2 / 2."""
    variance = np.exp(2 * tau)
    zero, one = np.zeros_like(variance), np.ones_like(variance)
    return mu + variance / 2, variance, one, 2 * variance, zero, zero


def check_shares(fractions: Sequence[float]) -> Floats:
    """Shares failed, refused outside 0 to 1."""
    shares = np.asarray(fractions, dtype=np.float64)
    if shares.ndim != 1 or not np.all((shares > 0) & (shares < 1)):
        raise InputError(
            f"is {fractions!r}", where="fractions", hint="give shares between 0 and 1, such as 0.10"
        )
    return shares


def check_ages(survival_at: Sequence[float] | NDArray[Any]) -> Floats:
    """Ages at which survival is wanted, refused unless above 0."""
    ages = np.asarray(survival_at, dtype=np.float64)
    if ages.ndim != 1 or not np.all((ages > 0) & np.isfinite(ages)):
        raise InputError(
            f"is {survival_at!r}", where="survival_at", hint="give a list of ages above 0"
        )
    return ages
