"""At which age is it cheapest to renew a seal that still runs?

In: a law and two costs. Out: `BestAge`. Next: `seallife.spares.replacement`.

A seal is renewed at the planned cost when it reaches an age, or at the cost of a failure if it
fails before; cost over time in the long run is the mean cost of a seal over the mean time it is in.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.life.groups import Floats
from seallife.spares.cumulative import Law, cumulative_rate, running_time

__all__ = ["BestAge", "cost_rate", "replacement_age", "replacement_age_of"]

_NONE_LEFT = 36.0
"""Cumulative failure rate that no seal outlives to speak of."""

_NEVER = 1e-9
"""Saving that is none."""


@dataclass(frozen=True, eq=False)
class BestAge:
    """Age at which to renew a seal, element by element.

    Attributes
    ----------
    age : ndarray
        Infinite where waiting for the failure costs no more.
    cost_rate : ndarray
        Cost over time with that age.
    run_to_failure : ndarray
        Cost over time without planned renewals.
    """

    age: Floats
    cost_rate: Floats
    run_to_failure: Floats

    @property
    def saving(self) -> Floats:
        """Share of the cost of running to failure that is saved."""
        return np.asarray(1 - self.cost_rate / self.run_to_failure)


def replacement_age(
    shape: ArrayLike, scale: ArrayLike, planned_cost: ArrayLike, failure_cost: ArrayLike
) -> BestAge:
    """At which age is it cheapest to renew seals whose lives follow Weibull laws?

    Parameters
    ----------
    shape, scale : array_like
        Weibull laws.
    planned_cost, failure_cost : array_like
        Of a renewal and of a failure with all that it brings. The four are broadcast.

    Returns
    -------
    BestAge

    Raises
    ------
    InputError
        A figure is not above 0.

    Notes
    -----
    A shape of 1 or below, or a failure that costs no more than a renewal, gives no such age: nor
    does an age that no seal reaches.

    Source
    ------
    Barlow & Proschan (1965), Mathematical Theory of Reliability, ch. 4.

    Examples
    --------
    >>> best = replacement_age(2.0, 1.0, 1.0, 5.0)
    >>> round(float(best.age), 4), round(float(best.saving), 3)
    (0.5107, 0.276)
    """
    from scipy.special import gamma, gammainc

    given = {"shape": shape, "scale": scale}
    given |= {"planned_cost": planned_cost, "failure_cost": failure_cost}
    b, eta, planned, failure = np.broadcast_arrays(
        *(_above_0(value, name) for name, value in given.items())
    )
    mean = gamma(1 + 1 / b)

    def worth(log_z: Floats) -> Floats:
        """Gain of the next moment's waiting over its cost: it rises with age."""
        z = np.exp(log_z)
        run = mean * gammainc(1 / b, z)
        return np.asarray(b * np.exp(log_z * (1 - 1 / b)) * run + np.expm1(-z))

    dear = failure > planned
    target = planned / np.where(dear, failure - planned, 1.0)
    last = np.full(b.shape, np.log(_NONE_LEFT))
    some = dear & (b > 1) & (worth(last) > target)
    low, high = np.full(b.shape, -700.0), last
    for _ in range(64):
        middle = (low + high) / 2
        over = worth(middle) > target
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    z = np.exp(high)
    cost = planned * np.exp(-z) - failure * np.expm1(-z)
    never = failure / (eta * mean)
    rate = cost / (eta * mean * gammainc(1 / b, z))
    age = np.where(some, eta * np.exp(high / b), np.inf)
    return BestAge(age, np.where(some, rate, never), never)


def replacement_age_of(law: Law, planned_cost: float, failure_cost: float) -> BestAge:
    """At which age is it cheapest to renew seals of any law?

    Parameters
    ----------
    law : callable or (ages, cumulative)
        Cumulative failure rate; see `seallife.spares.cumulative.cumulative_rate`.
    planned_cost, failure_cost : float
        Of a renewal and of a failure.

    Returns
    -------
    BestAge
        Of single figures.

    Raises
    ------
    InputError
        A cost is not above 0, no law, or a law by which seals never fail.

    Notes
    -----
    Where the rate is constant between knots the best age is a knot: between two of them cost over
    time only falls or only rises. A function is searched at 400 ages and then, about the best, by
    a polynomial through the cost.

    Source
    ------
    As for `replacement_age`.
    """
    planned, failure = (
        _above_0(planned_cost, "planned_cost"),
        _above_0(failure_cost, "failure_cost"),
    )
    last = _last_age(cumulative_rate(law))
    never = float(cost_rate(law, np.array([last]), planned, failure)[0])
    if callable(law):
        ages = last * np.linspace(0, 1, 401)[1:] ** 2
    else:
        ages = np.asarray(law[0], dtype=np.float64)[1:]
    rates = cost_rate(law, ages, planned, failure)
    best = int(np.argmin(rates))
    age, rate = float(ages[best]), float(rates[best])
    if callable(law) and 0 < best < len(ages) - 1:
        age = _lowest(lambda x: cost_rate(law, x, planned, failure), *ages[[best - 1, best + 1]])
        rate = float(cost_rate(law, np.array([age]), planned, failure)[0])
    if failure <= planned or rate >= never * (1 - _NEVER):
        age, rate = np.inf, never
    return BestAge(*(np.asarray(v) for v in (age, rate, never)))


def cost_rate(
    law: Law, ages: ArrayLike, planned_cost: ArrayLike, failure_cost: ArrayLike
) -> Floats:
    """What does a position cost over time if its seals are renewed at an age?

    Parameters
    ----------
    law : callable or (ages, cumulative)
        As for `replacement_age_of`.
    ages : array_like, shape (k,)
        Ages of renewal, above 0.
    planned_cost, failure_cost : float
        Of a renewal and of a failure.

    Returns
    -------
    ndarray, shape (k,)
        Cost per unit of time.

    Raises
    ------
    InputError
        As for `replacement_age_of`, or an age is not above 0.
    """
    planned, failure = (
        _above_0(planned_cost, "planned_cost"),
        _above_0(failure_cost, "failure_cost"),
    )
    at, cumulative = np.atleast_1d(_above_0(ages, "ages")), cumulative_rate(law)
    if callable(law):
        nodes, weights = np.polynomial.legendre.leggauss(8)
        edges = np.linspace(0, 1, 201) ** 3  # closest where young seals fail fast
        x = (edges[:-1, None] + np.diff(edges)[:, None] * (nodes + 1) / 2).ravel()
        w = (np.diff(edges)[:, None] * weights / 2).ravel()
        run = at * (np.exp(-cumulative(at[:, None] * x)) @ w)
    else:
        knots = np.union1d(np.asarray(law[0], dtype=np.float64), at)
        run = running_time(knots, cumulative(knots))[np.searchsorted(knots, at)]
    failed = -np.expm1(-cumulative(at))
    return np.asarray((planned * (1 - failed) + failure * failed) / run)


def _last_age(cumulative: Callable[[Floats], Floats]) -> float:
    """Age that no seal outlives to speak of."""
    ages: Floats = np.exp2(np.arange(-60.0, 120.0))
    with np.errstate(over="ignore"):
        reached = np.flatnonzero(cumulative(ages) >= _NONE_LEFT)
    if not len(reached) or reached[0] == 0:
        raise InputError("is none by which seals fail in the end", where="law")
    low, high = ages[reached[0] - 1], ages[reached[0]]
    for _ in range(60):
        middle = (low + high) / 2
        over = cumulative(np.array([middle]))[0] >= _NONE_LEFT
        low, high = (low, middle) if over else (middle, high)
    return float(high)


def _lowest(cost: Callable[[Floats], Floats], low: float, high: float) -> float:
    """Age of the lowest cost between two ages: where the slope of a polynomial is 0."""
    from numpy.polynomial import Chebyshev

    curve = Chebyshev.interpolate(cost, 16, domain=[low, high])
    roots = curve.deriv().roots()
    real = roots[np.abs(roots.imag) < 1e-9].real
    within = np.append(real[(real > low) & (real < high)], [low, high])
    return float(within[np.argmin(curve(within))])


def _above_0(value: ArrayLike, name: str) -> Floats:
    """Figures above 0, or a refusal."""
    out = np.asarray(value, dtype=np.float64)
    if not np.all(np.isfinite(out) & (out > 0)):
        raise InputError("is not above 0", where=name, hint="give figures above 0")
    return out
