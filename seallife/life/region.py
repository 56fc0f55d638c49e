"""How low and how high may a quantity be, over all lives the data do not contradict?

In: a log-likelihood of two parameters and its top. Out: the least and the greatest value of any
function over the region where the likelihood ratio stays within its chi-square limit. Next:
`seallife.life.weibull`, `seallife.life.lognormal`.

Both models are written on the log of age: log t = mu + sigma * noise. The two parameters are
(log sigma, mu); for a Weibull life sigma = 1 / shape and mu = log scale. All quantities of use
move one way with mu, so their extremes lie on the rim of the region.

Source
------
Cox & Hinkley (1974), Theoretical Statistics, section 9.3: likelihood-ratio regions. Venzon &
Moolgavkar (1988), Applied Statistics 37, 87-94: extremes by Newton steps on the rim.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats

__all__ = ["Derivatives", "Quantity", "Surface", "extremes", "likelihood_drop", "trace"]

Derivatives: TypeAlias = tuple[Floats, Floats, Floats, Floats, Floats, Floats]
"""Value, by log sigma, by mu, twice by log sigma, by both, twice by mu."""

Quantity: TypeAlias = Callable[[Floats, Floats], Derivatives]
"""A function of (log sigma, mu) with its derivatives, on arrays of shape (g, p)."""


class Surface(Protocol):
    """A log-likelihood per group at any (log sigma, mu), each of shape (g, p)."""

    def __call__(self, log_sigma: Floats, mu: Floats, /) -> Derivatives:
        """Value, gradient and Hessian."""
        ...


def likelihood_drop(level: float) -> float:
    """How far below its top the log-likelihood may lie for an interval of this level (1 df)."""
    from scipy.special import gammaincinv

    return float(gammaincinv(0.5, level))


def extremes(
    surface: Surface,
    rim: tuple[Floats, Floats],
    quantities: Sequence[Quantity],
    height: Floats,
    steps: tuple[Floats, Floats],
) -> list[tuple[Floats, Floats]]:
    """Least and greatest value of each quantity on the rim of the region.

    Parameters
    ----------
    surface : Surface
        Log-likelihood of the groups.
    rim : tuple of ndarray, shape (g, m)
        (log sigma, mu) of points on the rim, close enough together to start from.
    quantities : sequence of Quantity
        What to bound.
    height : ndarray, shape (g,)
        Log-likelihood on the rim.
    steps : tuple of ndarray, shape (g,)
        Natural size of a change in each parameter: its standard error.

    Returns
    -------
    list of (low, high), each of shape (g,)
        NaN for a group with a rim point that is NaN: its region is open.
    """
    tau, mu, found = _best_points(rim, quantities)
    sign = np.resize([-1.0, 1.0], 2 * len(quantities))
    size_tau, size_mu = steps[0][:, None], steps[1][:, None]
    settled = np.zeros(tau.shape, bool)
    with np.errstate(all="ignore"):
        for _ in range(8):
            value, lt, lm, ltt, ltm, lmm = _scaled(surface(tau, mu), size_tau, size_mu)
            _, gt, gm, gtt, gtm, gmm = _scaled(_columns(quantities, tau, mu), size_tau, size_mu)
            norm = np.hypot(lt, lm)
            nt, nm = lt / norm, lm / norm  # along the gradient; (-nm, nt) runs along the rim
            push = (gt * nt + gm * nm) / norm
            wtt, wtm, wmm = gtt - push * ltt, gtm - push * ltm, gmm - push * lmm
            along = nm * nm * wtt - 2 * nt * nm * wtm + nt * nt * wmm
            mixed = nt * nm * (wmm - wtt) + (nt * nt - nm * nm) * wtm
            out = np.clip((height[:, None] - value) / norm, -0.5, 0.5)
            slide = -(nt * gm - nm * gt + out * mixed) / along
            slide = np.clip(np.where(sign * along < 0, slide, 0.0), -0.5, 0.5)
            settled = (sign * along < 0) & (np.hypot(out, slide) < 1e-5)
            tau = tau + size_tau * (out * nt - slide * nm)
            mu = mu + size_mu * (out * nm + slide * nt)
        polished = _columns(quantities, tau, mu)[0]
    # the polished value may only lie a little beyond the best of the points it came from
    span = np.abs(found[:, 1::2] - found[:, ::2]).repeat(2, axis=1)
    near = settled & (np.abs(polished - found) < 0.1 * span)
    best = np.where(near, polished, found)
    return [(best[:, 2 * i], best[:, 2 * i + 1]) for i in range(len(quantities))]


def trace(
    surface: Surface,
    centre: tuple[Floats, Floats],
    root: tuple[Floats, Floats, Floats],
    height: Floats,
    drop: float,
    points: int = 32,
) -> tuple[Floats, Floats]:
    """Find points of the rim along rays from the top of the likelihood.

    Parameters
    ----------
    surface : Surface
    centre : tuple of ndarray, shape (g,)
        (log sigma, mu) at the top.
    root : tuple of ndarray, shape (g,)
        Lower Cholesky factor (a, b, c) of the covariance [[a, 0], [b, c]] at the top.
    height : ndarray, shape (g,)
        Log-likelihood on the rim.
    drop : float
        Its distance from the top.
    points : int
        Number of rays.

    Returns
    -------
    log_sigma, mu : ndarray, shape (g, points)
        NaN on a ray that never comes down to the rim.
    """
    angle = 2 * np.pi * np.arange(points) / points
    a, b, c = (x[:, None] for x in root)
    dir_tau, dir_mu = a * np.cos(angle), b * np.cos(angle) + c * np.sin(angle)
    start_tau, start_mu = centre[0][:, None], centre[1][:, None]
    target = np.sqrt(2 * drop)
    rho = np.full(dir_tau.shape, target)
    lo, hi = np.zeros_like(rho), np.full_like(rho, np.inf)
    miss = np.full_like(rho, np.inf)
    for _ in range(40):
        with np.errstate(all="ignore"):
            value, lt, lm = surface(start_tau + rho * dir_tau, start_mu + rho * dir_mu)[:3]
            fall = np.sqrt(np.maximum(2 * (height[:, None] + drop - value), 0.0))
            miss = fall - target
            slope = -(lt * dir_tau + lm * dir_mu) / fall
            new = rho - miss / slope
        inside = miss < 0
        lo, hi = np.where(inside, rho, lo), np.where(inside, hi, rho)
        far = np.where(np.isfinite(hi), (lo + hi) / 2, 2 * rho)
        new = np.where(np.isfinite(new) & (new > lo) & (new < np.minimum(hi, 4 * rho)), new, far)
        if bool((np.abs(miss) < 1e-10).all()):
            break
        rho = np.where(np.abs(miss) < 1e-10, rho, np.minimum(new, 1e4))
    rho = np.where(np.abs(miss) < 1e-6, rho, np.nan)
    return start_tau + rho * dir_tau, start_mu + rho * dir_mu


def _best_points(
    rim: tuple[Floats, Floats], quantities: Sequence[Quantity]
) -> tuple[Floats, Floats, Floats]:
    """Rim points with the least and the greatest value of each quantity, (g, 2q) columns."""
    tau, mu = rim
    rows = np.arange(len(tau))
    places: list[NDArray[np.intp]] = []
    values: list[Floats] = []
    for quantity in quantities:
        value = quantity(tau, mu)[0]
        for place in (np.argmin(value, axis=1), np.argmax(value, axis=1)):
            places.append(place)
            values.append(value[rows, place])
    at = np.stack(places, axis=1)
    return tau[rows[:, None], at], mu[rows[:, None], at], np.stack(values, axis=1)


def _columns(quantities: Sequence[Quantity], tau: Floats, mu: Floats) -> Derivatives:
    """Each quantity on its own two columns."""
    parts = [
        quantity(tau[:, 2 * i : 2 * i + 2], mu[:, 2 * i : 2 * i + 2])
        for i, quantity in enumerate(quantities)
    ]
    value, gt, gm, gtt, gtm, gmm = (np.hstack(column) for column in zip(*parts, strict=True))
    return value, gt, gm, gtt, gtm, gmm


def _scaled(d: Derivatives, size_tau: Floats, size_mu: Floats) -> Derivatives:
    """Derivatives in units of the standard errors."""
    value, gt, gm, gtt, gtm, gmm = d
    return (
        value,
        gt * size_tau,
        gm * size_mu,
        gtt * size_tau**2,
        gtm * size_tau * size_mu,
        gmm * size_mu**2,
    )
