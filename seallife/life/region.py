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
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
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
    low, high : ndarray, shape (g, q)
        NaN for a group with a rim point that is NaN: its region is open.
    settled : ndarray of bool, shape (g,)
        Whether every search ended at an extreme. Where not, the values of the best rim points
        stand, which a rim of more points would better.
    """
    tau, mu, found = _best_points(rim, quantities)
    sign = np.resize([-1.0, 1.0], 2 * len(quantities))
    size_tau, size_mu = steps[0][:, None], steps[1][:, None]
    settled = np.zeros(tau.shape, bool)
    with np.errstate(all="ignore"):
        for _ in range(25):
            value, lt, lm, ltt, ltm, lmm = _scaled(surface(tau, mu), size_tau, size_mu)
            _, gt, gm, gtt, gtm, gmm = _scaled(_columns(quantities, tau, mu), size_tau, size_mu)
            norm = np.hypot(lt, lm)
            nt, nm = lt / norm, lm / norm  # along the gradient; (-nm, nt) runs along the rim
            push = (gt * nt + gm * nm) / norm
            wtt, wtm, wmm = gtt - push * ltt, gtm - push * ltm, gmm - push * lmm
            along = nm * nm * wtt - 2 * nt * nm * wtm + nt * nt * wmm
            mixed = nt * nm * (wmm - wtt) + (nt * nt - nm * nm) * wtm
            out = np.clip((height[:, None] - value) / norm, -0.5, 0.5)
            # a Newton step where the rim bends the right way, else a step the same way round
            slide = sign * (nt * gm - nm * gt + out * mixed) / np.abs(along)
            slide = np.clip(slide, -0.5, 0.5)
            settled = (sign * along < 0) & (np.hypot(out, slide) < 1e-5)
            tau = tau + size_tau * (out * nt - slide * nm)
            mu = mu + size_mu * (out * nm + slide * nt)
            # that step was of second order, so what is left is the square of a small one
            if bool((settled | np.isnan(value)).all()):
                break
        polished = _columns(quantities, tau, mu)[0]
    # the polished value may only lie a little beyond the best of the points it came from
    span = np.abs(found[:, 1::2] - found[:, ::2]).repeat(2, axis=1)
    near = settled & (np.abs(polished - found) < 0.1 * span)
    best = np.where(near, polished, found)
    done: NDArray[np.bool_] = np.asarray(near.all(axis=1))
    return best[:, ::2], best[:, 1::2], done


def trace(
    surface: Surface,
    top: tuple[Floats, Floats, Floats],
    steps: tuple[Floats, Floats],
    drop: float,
    points: int = 24,
) -> tuple[Floats, Floats]:
    """Find points of the rim of a likelihood that is only known row by row.

    First the least and greatest log sigma along the ridge of best mu, then for some log sigmas
    between them the two mu on the rim: this follows a region however long and bent it is.

    Parameters
    ----------
    surface : Surface
    top : tuple of ndarray, shape (g,)
        log sigma, mu and log-likelihood at the top.
    steps : tuple of ndarray, shape (g,)
        Standard errors of log sigma and mu: the size of a first step.
    drop : float
        Distance of the rim below the top.
    points : int
        Number of log sigmas.

    Returns
    -------
    log_sigma, mu : ndarray, shape (g, 2 * points)
        NaN for a group whose region has no end on some side.
    """
    tau, mu, value = (x[:, None] for x in top)
    step_tau, step_mu = (x[:, None] for x in steps)
    side = np.array([-1.0, 1.0])
    guess = np.hstack([mu, mu])

    def along_ridge(rho: Floats) -> tuple[Floats, Floats]:
        at = tau + side * step_tau * rho
        guess[:], here, slope, _ = _ridge(surface, at, guess, step_mu)
        return value - here, -slope * side * step_tau

    start = np.full(guess.shape, np.sqrt(2 * drop))
    reach = _walk(along_ridge, start, np.full(guess.shape, drop))
    low, high = (tau + side * step_tau * reach).T
    place = np.cos(np.pi * (np.arange(points) + 0.5) / points)
    at = (low + high)[:, None] / 2 + (high - low)[:, None] / 2 * place
    # a straight ridge between its ends is where the search for the bent one starts
    share = (1 + place) / 2
    first = guess[:, :1] * (1 - share) + guess[:, 1:] * share
    ridge, peak, _, curve = _ridge(surface, at, first, step_mu)
    at, ridge = np.hstack([at, at]), np.hstack([ridge, ridge])
    depth = np.maximum(np.hstack([peak, peak]) - value + drop, 0.0)
    with np.errstate(all="ignore"):
        size = 1 / np.sqrt(-np.hstack([curve, curve]))
    size = np.where(np.isfinite(size), size, step_mu) * np.repeat([-1.0, 1.0], points)
    best = np.hstack([peak, peak])

    def across(rho: Floats) -> tuple[Floats, Floats]:
        here, _, slope = surface(at, ridge + size * rho)[:3]
        return best - here, -slope * size

    return at, ridge + size * _walk(across, np.sqrt(2 * depth), depth)


def _ridge(
    surface: Surface, tau: Floats, mu: Floats, size: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Best mu for each log sigma, with value, slope in log sigma and curvature in mu there."""
    mu = mu.copy()
    for _ in range(60):
        value, slope, lm, _, _, lmm = surface(tau, mu)
        with np.errstate(all="ignore"):
            change = np.where(lmm < 0, -lm / lmm, np.sign(lm) * size)
        change = np.nan_to_num(np.clip(change, -20 * size, 20 * size))
        if bool((np.abs(change) <= 1e-9 * np.maximum(np.abs(mu), size)).all()):
            break
        mu += change
    return mu, value, slope, lmm


def _walk(fall: Callable[[Floats], tuple[Floats, Floats]], start: Floats, depth: Floats) -> Floats:
    """How far out a fall from a top reaches a depth; NaN where it never does.

    The root of the fall is nearly straight, so Newton on it is quick; a bracket keeps it safe.
    """
    rho, target = start.copy(), np.sqrt(2 * depth)
    lo, hi = np.zeros_like(rho), np.full_like(rho, np.inf)
    miss = np.zeros_like(rho)
    for _ in range(60):
        with np.errstate(all="ignore"):
            lost, slope = fall(rho)
            root = np.sqrt(np.maximum(2 * lost, 0.0))
            miss = np.nan_to_num(root - target, nan=np.inf)
            new = rho - miss * root / slope
        lo, hi = np.where(miss < 0, rho, lo), np.where(miss < 0, hi, rho)
        # rounding of the fall itself: nothing nearer can be told
        if bool((np.abs(miss) < 1e-7).all()):
            break
        far = np.where(np.isfinite(hi), (lo + hi) / 2, 2 * rho)
        good = np.isfinite(new) & (new > lo) & (new < np.minimum(hi, 4 * rho))
        rho = np.where(np.abs(miss) < 1e-7, rho, np.minimum(np.where(good, new, far), 1e3))
    return np.where(np.abs(miss) < 1e-4, rho, np.nan)


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
