"""The likelihood of any life whose log age is mu + sigma * noise, with every kind of record.

In: `LifeData`. Out: `LocationScale`, a `Surface` on the rows themselves, and its top. Next:
`seallife.life.lognormal`, and `seallife.life.weibull` for groups with interval ends.

With z = (log age - mu) / sigma and cumulative hazard H(z), each life adds

    exact failure      log h(z) - log sigma - H(z)
    still good         -H(z)
    failed in (a, t]   -H(z_a) + log(1 - exp(-(H(z_t) - H(z_a))))
    late entry at e    +H(z_e)

Source
------
Meeker & Escobar (1998), Statistical Methods for Reliability Data, sections 4.3 and 11.5.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats, Ints, segment_max, segment_sum
from seallife.life.lifedata import LifeData
from seallife.life.region import Derivatives

__all__ = ["LocationScale", "Top", "normal_noise", "weibull_noise"]

Hazard: TypeAlias = Callable[[Floats], tuple[Floats, Floats, Floats, Floats, Floats, Floats]]
"""z -> H, H', H'' and log h, (log h)', (log h)''."""


def weibull_noise(z: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats]:
    """Cumulative hazard of the smallest extreme value: exp(z)."""
    e = np.exp(np.minimum(z, 700.0))
    return e, e, e, z, np.ones_like(z), np.zeros_like(z)


def normal_noise(z: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats]:
    """Cumulative hazard of the normal; from the log of the tail, so it holds at any age."""
    from scipy.special import log_ndtr

    log_tail = log_ndtr(-z)
    log_density = -(z**2) / 2 - np.log(2 * np.pi) / 2
    h = np.exp(log_density - log_tail)
    slope = h * (h - z)
    # log h = log density + H
    return -log_tail, h, slope, log_density - log_tail, h - z, slope - 1


_OUTSIDE = 1.0  # log sigmas beyond its limits from which no climb returns


@dataclass(frozen=True, eq=False)
class _Part:
    """Rows of one kind, gathered by group."""

    x: Floats
    weight: Floats
    offsets: Ints

    def sum(self, values: Floats) -> Floats:
        return segment_sum(values * self.weight, self.offsets)

    def z(self, tau: Floats, mu: Floats) -> tuple[Floats, Floats]:
        """Standardised log ages of these rows, and 1 / sigma on each."""
        sizes = np.diff(self.offsets)
        per_sigma = np.repeat(np.exp(-tau), sizes)
        return (self.x - np.repeat(mu, sizes)) * per_sigma, per_sigma


@dataclass(frozen=True, eq=False)
class Top:
    """Where the likelihood of each group is highest.

    Attributes
    ----------
    log_sigma, mu, value : ndarray, shape (g,)
        Parameters (mu from the log of the oldest age) and log-likelihood there.
    covariance : tuple of ndarray, shape (g,)
        Variance of log sigma, covariance, variance of mu.
    found : ndarray of bool, shape (g,)
        Whether the climb ended at a top.
    """

    log_sigma: Floats
    mu: Floats
    value: Floats
    covariance: tuple[Floats, Floats, Floats]
    found: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class LocationScale:
    """Log-likelihood of the groups of some lives, without the constant -sum(log age)."""

    hazard: Hazard
    failed: _Part
    watched: _Part
    late: _Part
    interval: _Part
    interval_low: _Part
    centre: Floats

    @classmethod
    def of(cls, data: LifeData, hazard: Hazard) -> LocationScale:
        """Sort the rows of some lives by what they add to the likelihood."""
        groups, interval = data.groups, data.interval
        weight = np.ones(len(data.age)) if data.weight is None else data.weight
        log_age = np.log(data.age)
        centre = segment_max(log_age, groups.offsets)
        centre = np.where(np.isfinite(centre), centre, 0.0)
        shift = groups.spread(centre)

        def part(age: Floats, rows: NDArray[np.bool_]) -> _Part:
            before = np.concatenate(([0], np.cumsum(rows)))
            return _Part(np.log(age[rows]) - shift[rows], weight[rows], before[groups.offsets])

        low = np.full(len(data.age), 0.0) if data.low is None else np.nan_to_num(data.low)
        entry = np.zeros(len(data.age)) if data.entry is None else data.entry
        until = part(data.age, interval)
        with np.errstate(divide="ignore"):
            start = np.log(low[interval]) - shift[interval]
        # an interval from age 0 begins where nothing has failed: a very low log age says the same
        start = np.maximum(start, -1e6)
        return cls(
            hazard,
            part(data.age, data.failed & ~interval),
            part(np.where(interval, low, data.age), ~interval | (low > 0)),
            part(entry, entry > 0),
            until,
            _Part(start, until.weight, until.offsets),
            centre,
        )

    def __call__(self, log_sigma: Floats, mu: Floats) -> Derivatives:
        """Value, gradient and Hessian at (log sigma, mu), each of shape (g, p)."""
        columns = [
            self._one(np.ascontiguousarray(t), np.ascontiguousarray(m))
            for t, m in zip(log_sigma.T, mu.T, strict=True)
        ]
        stacked = [np.stack(c, axis=1) for c in zip(*columns, strict=True)]
        return stacked[0], stacked[1], stacked[2], stacked[3], stacked[4], stacked[5]

    def _one(self, tau: Floats, mu: Floats) -> list[Floats]:
        """One pass over the rows at one pair of parameters per group."""
        total = [np.zeros(len(tau)) for _ in range(6)]

        def add(part: _Part, z: Floats, s: Floats, f: tuple[Floats, Floats, Floats]) -> None:
            value, first, second = f
            terms = (
                value,
                -z * first,
                -s * first,
                z * (z * second + first),
                s * (z * second + first),
                s**2 * second,
            )
            for k, term in enumerate(terms):
                total[k] += part.sum(term)

        z, s = self.failed.z(tau, mu)
        _, _, _, log_h, d1, d2 = self.hazard(z)
        add(self.failed, z, s, (log_h, d1, d2))
        count = self.failed.sum(np.ones(len(z)))
        total[0] -= count * tau
        total[1] -= count
        z, s = self.watched.z(tau, mu)
        cumulative, d1, d2 = self.hazard(z)[:3]
        add(self.watched, z, s, (-cumulative, -d1, -d2))
        z, s = self.late.z(tau, mu)
        add(self.late, z, s, self.hazard(z)[:3])
        if len(self.interval.x):
            for k, term in enumerate(self._interval_terms(tau, mu)):
                total[k] += self.interval.sum(term)
        return total

    def _interval_terms(self, tau: Floats, mu: Floats) -> tuple[Floats, ...]:
        """Value and derivatives of log(1 - exp(-(H(z_t) - H(z_a)))) on each interval row."""
        z, s = self.interval.z(tau, mu)
        a, _ = self.interval_low.z(tau, mu)
        ht, ht1, ht2 = self.hazard(z)[:3]
        ha, ha1, ha2 = self.hazard(a)[:3]
        gap = np.maximum(ht - ha, 1e-300)
        # of log(1 - exp(-gap)): 1 / expm1(gap), then minus itself times one plus itself
        first = 1 / np.expm1(np.minimum(gap, 700.0))
        second = -first * (1 + first)
        by_tau = -(z * ht1 - a * ha1)
        by_mu = -s * (ht1 - ha1)
        tau2 = z * (z * ht2 + ht1) - a * (a * ha2 + ha1)
        cross = s * ((z * ht2 + ht1) - (a * ha2 + ha1))
        mu2 = s**2 * (ht2 - ha2)
        return (
            np.log(-np.expm1(-gap)),
            first * by_tau,
            first * by_mu,
            first * tau2 + second * by_tau**2,
            first * cross + second * by_tau * by_mu,
            first * mu2 + second * by_mu**2,
        )

    def climb(self, tau: Floats, mu: Floats, limits: tuple[float, float]) -> Top:
        """Climb from a start to the top of each group by damped Newton steps.

        A group whose log sigma leaves ``limits`` has no top there and is not ``found``.
        """
        tau, mu = tau.copy(), mu.copy()
        now = self._one(tau, mu)
        damp = np.full(len(tau), 1e-3)
        small = np.zeros(len(tau), bool)
        for _ in range(100):
            with np.errstate(all="ignore"):
                _, gt, gm, htt, htm, hmm = now
                a, c = -htt + damp * np.abs(htt), -hmm + damp * np.abs(hmm)
                det = a * c - htm**2
                step_tau = np.clip((c * gt + htm * gm) / det, -1.0, 1.0)
                step_mu = np.clip((htm * gt + a * gm) / det, -2.0, 2.0)
                uphill = (a > 0) & (det > 0) & np.isfinite(step_tau) & np.isfinite(step_mu)
                step_tau, step_mu = np.where(uphill, step_tau, 0), np.where(uphill, step_mu, 0)
                new = self._one(tau + step_tau, mu + step_mu)
                better = uphill & (new[0] >= now[0] - 1e-9 * np.abs(now[0]))
            tau, mu = np.where(better, tau + step_tau, tau), np.where(better, mu + step_mu, mu)
            now = [np.where(better, n, o) for n, o in zip(new, now, strict=True)]
            damp = np.clip(np.where(better, damp / 10, np.maximum(damp, 1e-3) * 10), 0.0, 1e8)
            damp = np.where(damp < 1e-9, 0.0, damp)
            small = better & (np.abs(step_tau) < 1e-10) & (np.abs(step_mu) < 1e-10)
            # a step may lead out over a top just inside, and the next one back
            gone = (tau < limits[0] - _OUTSIDE) | (tau > limits[1] + _OUTSIDE)
            if bool((small | gone).all()):
                break
        _, gt, gm, htt, htm, hmm = now
        det = htt * hmm - htm**2
        # a change this small in log-likelihood is rounding, whatever the last step was
        with np.errstate(all="ignore"):
            left = -(hmm * gt**2 - 2 * htm * gt * gm + htt * gm**2) / det
        found = (small | (np.abs(left) < 1e-9)) & (det > 0) & (htt < 0)
        found &= (tau > limits[0]) & (tau < limits[1])
        with np.errstate(all="ignore"):
            covariance = (-hmm / det, htm / det, -htt / det)
        return Top(tau, mu, now[0], covariance, found)
