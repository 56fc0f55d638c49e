"""The likelihood of Weibull lives whose scale depends on factors.

In: ages, ends, entry ages, design. Out: value, derivatives and scores. Next:
`seallife.life.regression`.

With z = (log age - x'b) / sigma, each life adds d (z - log sigma - log age) - exp(z) + exp(z_e),
where d is 1 for a failure and z_e belongs to the age at which watching began. A factor multiplies
the life: x'b moves log age, so that exp(b) is a ratio of times. Each stratum has a scale and a
sigma of its own.

Source
------
Kalbfleisch & Prentice (2002), The Statistical Analysis of Failure Time Data, sections 2.2.4 and
3.6; Meeker & Escobar (1998), eq. 11.3 (late entry).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats, Ints
from seallife.life.newton import Top, climb

__all__ = ["WeibullLives", "fit_scale"]


@dataclass(frozen=True, eq=False)
class WeibullLives:
    """Lives with a design.

    Attributes
    ----------
    log_age, log_entry : ndarray, shape (n,)
        ``log_entry`` is -inf where watched from new.
    failed : ndarray of bool, shape (n,)
    x : ndarray, shape (n, p)
        Factors, without a column of ones.
    stratum : ndarray of int, shape (n,)
    strata : int

    Notes
    -----
    Parameters stand in this order: log sigma of each stratum, log scale of each stratum at x = 0,
    log time ratio of each column.
    """

    log_age: Floats
    log_entry: Floats
    failed: NDArray[np.bool_]
    x: Floats
    stratum: Ints
    strata: int

    @classmethod
    def of(
        cls,
        age: Floats,
        failed: NDArray[np.bool_],
        entry: Floats | None,
        x: Floats,
        stratum: Ints | None = None,
    ) -> WeibullLives:
        """Lives from ages; ``stratum`` numbers from 0 without a gap."""
        code = np.zeros(len(age), np.int64) if stratum is None else stratum
        with np.errstate(divide="ignore"):
            late = np.full(len(age), -np.inf) if entry is None else np.log(entry)
        return cls(np.log(age), late, failed, x, code, int(code.max()) + 1)

    def z(self, at: Floats) -> tuple[Floats, Floats, Floats]:
        """Standardised log age, log entry age, and sigma of each row."""
        q = self.strata
        sigma = np.exp(at[:q])[self.stratum]
        mu = at[q : 2 * q][self.stratum] + self.x @ at[2 * q :]
        return (self.log_age - mu) / sigma, (self.log_entry - mu) / sigma, sigma

    def hazards(self, at: Floats) -> tuple[Floats, Floats]:
        """Cumulative hazard at the end of each life and at its entry, shape (n,)."""
        z, late, _ = self.z(at)
        return np.exp(np.minimum(z, 700.0)), np.exp(np.minimum(late, 700.0))

    def rows(self, at: Floats, hazard: Floats | float = 1.0) -> tuple[Floats, ...]:
        """Value and derivatives by log sigma and mu of each row; hazards times ``hazard``."""
        z, late, sigma = self.z(at)
        end, begin = (hazard * np.exp(np.minimum(v, 700.0)) for v in (z, late))
        low = np.where(np.isfinite(late), late, 0.0)  # nothing at entry where watched from new
        d = self.failed.astype(np.float64)
        first, second = z * end - low * begin, z**2 * end - low**2 * begin
        lived = end - begin
        value = d * (z - np.log(sigma) - self.log_age) - lived
        by_tau = first - d * (1 + z)
        by_mu = (lived - d) / sigma
        tau2 = d * z - first - second
        cross = -(lived - d + first) / sigma
        mu2 = -lived / sigma**2
        return value, by_tau, by_mu, tau2, cross, mu2

    @cached_property
    def _own(self) -> Floats:
        """Column of ones for each stratum."""
        return np.eye(self.strata)[self.stratum]

    @cached_property
    def _moved(self) -> Floats:
        """What moves the log age of each row: its stratum's scale, and factors."""
        return np.hstack([self._own, self.x])

    def scores(self, at: Floats, hazard: Floats | float = 1.0) -> Floats:
        """Score of each row, shape (n, 2 q + p)."""
        _, by_tau, by_mu, *_ = self.rows(at, hazard)
        return np.hstack([by_tau[:, None] * self._own, by_mu[:, None] * self._moved])

    def __call__(self, at: Floats, hazard: Floats | float = 1.0) -> tuple[float, Floats, Floats]:
        """Log-likelihood, gradient and Hessian."""
        value, by_tau, by_mu, tau2, cross, mu2 = self.rows(at, hazard)
        moved = self._moved
        gradient = np.append(by_tau @ self._own, by_mu @ moved)
        top = np.diag(np.bincount(self.stratum, tau2, self.strata))
        side = (self._own * cross[:, None]).T @ moved
        low = (moved * mu2[:, None]).T @ moved
        return float(value.sum()), gradient, np.block([[top, side], [side.T, low]])

    def pieces(self, at: Floats) -> Callable[[Ints], Floats]:
        """What each row adds to the information: from rows to shape (rows, 2 q + p, 2 q + p)."""
        _, _, _, tau2, cross, mu2 = self.rows(at)
        q = self.strata

        def of(rows: Ints) -> Floats:
            own, moved = self._own[rows], self._moved[rows]
            size = q + moved.shape[1]
            out = np.empty((len(rows), size, size))
            out[:, :q, :q] = tau2[rows, None, None] * own[:, :, None] * own[:, None, :]
            out[:, :q, q:] = cross[rows, None, None] * own[:, :, None] * moved[:, None, :]
            out[:, q:, :q] = out[:, :q, q:].swapaxes(1, 2)
            out[:, q:, q:] = mu2[rows, None, None] * moved[:, :, None] * moved[:, None, :]
            return -out

        return of

    def without(self, columns: list[int]) -> WeibullLives:
        """Same lives with some columns of x left out."""
        kept = np.delete(self.x, columns, axis=1)
        return WeibullLives(
            self.log_age, self.log_entry, self.failed, kept, self.stratum, self.strata
        )


def fit_scale(lives: WeibullLives, start: Floats | None = None) -> Top:
    """Which law and which time ratios make these lives most likely?

    Parameters
    ----------
    lives : WeibullLives
        Each stratum with two failures or more.
    start : ndarray, shape (2 q + p,), optional
    """
    if start is None:
        q = lives.strata
        begin = np.zeros(2 * q + lives.x.shape[1])
        lived = np.exp(lives.log_age) - np.exp(lives.log_entry)
        died = np.bincount(lives.stratum, lives.failed, q)
        begin[q : 2 * q] = np.log(np.bincount(lives.stratum, lived, q) / np.maximum(died, 1))
        start = begin
    return climb(lives, start)
