"""Lives of positions that differ: some wear out their seals sooner than their factors tell.

In: `WeibullLives`, position of each life. Out: `SharedTop`. Next:
`seallife.life.renewal_effect`.

Each position multiplies the failure rate of all its seals by a hidden number, drawn once from a
gamma law with mean 1 and variance theta. With D failures and cumulative hazard A of a position,
its lives add

    log Gamma(k + D) - log Gamma(k) + k log k - (k + D) log(k + A),    k = 1 / theta

to the likelihood, beside the log hazards of the failures; A counts from entry, so that with late
entry the hidden numbers are those of the positions when watching began. A record that shows several
lives of one position shows more of them where they are short; given the hidden number their order
says nothing, so this likelihood can tell an effect of order from a position that was always bad.

Source
------
Klein & Moeschberger (1997), Survival Analysis, section 13.3; Clayton (1978), Biometrika 65,
141-151.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from seallife.life.aft import WeibullLives, fit_scale
from seallife.life.groups import Floats, Ints
from seallife.life.newton import climb

__all__ = ["SharedTop", "fit_shared"]

_STEEP = np.log(20.0)  # of a shape or its inverse: no law of lives
_LEAST, _MOST = np.log(1e-4), np.log(20.0)  # of theta; below the least positions do not differ


@dataclass(frozen=True, eq=False)
class SharedTop:
    """Where the likelihood with hidden differences of positions is highest.

    Attributes
    ----------
    place : ndarray, shape (k,)
        Parameters as in `WeibullLives`.
    covariance : ndarray, shape (k, k)
        Inverse information, the variance of the hidden numbers estimated too.
    theta : float
        Variance of the hidden numbers; 0 where positions do not differ.
    value : float
        Log-likelihood.
    found : bool
    """

    place: Floats
    covariance: Floats
    theta: float
    value: float
    found: bool


@dataclass(frozen=True, eq=False)
class _Shared:
    """Log-likelihood of lives by the parameters of their law and log theta."""

    lives: WeibullLives
    position: Ints

    def __call__(self, at: Floats) -> tuple[float, Floats]:
        """Value and gradient."""
        from scipy.special import gammaln, psi

        law, k = at[:-1], float(np.exp(-at[-1]))
        high, low = self.lives.hazards(law)
        count = int(self.position.max()) + 1
        lived = np.bincount(self.position, high - low, count)
        died = np.bincount(self.position, self.lives.failed, count)
        share = (k + died) / (k + lived)
        value, _, _ = self.lives(law, 0.0)  # the log hazards of the failures alone
        # k log k - (k + D) log(k + A), written so that a small theta loses no digits
        far = -k * np.log1p(lived / k) - died * np.log(k + lived)
        value += float(np.sum(gammaln(k + died) - gammaln(k) + far))
        by_law = self.lives.scores(law, share[self.position]).sum(axis=0)
        by_k = psi(k + died) - psi(k) - np.log1p(lived / k) + 1 - share
        return value, np.append(by_law, -k * float(np.sum(by_k)))


def fit_shared(lives: WeibullLives, position: Ints) -> SharedTop:
    """Which law holds for lives whose positions differ?

    Parameters
    ----------
    lives : WeibullLives
    position : ndarray of int, shape (n,)
        Numbers from 0 without a gap.
    """
    alone = fit_scale(lives)
    size = len(alone.place)
    none = np.linalg.inv(alone.information) if alone.found else np.full((size, size), np.nan)
    covariance = np.asarray(none, dtype=np.float64)
    best = SharedTop(alone.place, covariance, 0.0, alone.value, alone.found)
    if not alone.found or np.abs(alone.place[: lives.strata]).max() > _STEEP:
        return replace(best, found=False)
    shared = _Shared(lives, position)
    high, low = lives.hazards(alone.place)
    count = int(position.max()) + 1
    died = np.bincount(position, lives.failed, count)
    beyond = died - np.bincount(position, high - low, count)
    if float(np.sum(beyond**2 - died)) <= 0:  # slope of the likelihood at theta 0: it falls
        return best

    def likelihood(at: Floats) -> tuple[float, Floats, Floats]:
        if not _LEAST <= at[-1] <= _MOST:
            return -np.inf, np.zeros(size + 1), -np.eye(size + 1)
        value, gradient = shared(at)
        return value, gradient, -_bend(shared, at)

    for theta in (0.3, 0.03):
        top = climb(likelihood, np.append(alone.place, np.log(theta)))
        if top.found and top.value > best.value + 1e-9:
            inverse = np.asarray(np.linalg.inv(top.information), dtype=np.float64)
            variance = float(np.exp(top.place[-1]))
            best = SharedTop(top.place[:-1], inverse[:size, :size], variance, top.value, True)
            break
    return best


def _bend(shared: _Shared, at: Floats) -> Floats:
    """Negative second derivatives, from differences of the gradient."""
    step = 1e-4
    rows = [
        (shared(at - step * unit)[1] - shared(at + step * unit)[1]) / (2 * step)
        for unit in np.eye(len(at))
    ]
    both = np.array(rows)
    return np.asarray((both + both.T) / 2)
