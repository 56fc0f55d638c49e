"""By how much are likelihood-ratio limits of few failures too tight, and on which side?

In: `LifeData`, parameters. Out: signed roots of resamples. Next: `seallife.life.weibullfit`.

With psi the true value of a quantity, the signed root of the likelihood ratio

    r(psi) = sign(estimate - psi) sqrt(2 (top - best likelihood with that psi))

is close to a standard normal variable, but with few failures it has quantiles of its own. They are
found by drawing lives from a law that the data do not contradict, watched as the real ones were:
each keeps its entry age and, where it did not fail, the age to which it was watched; a failed one
is watched to an age drawn from the Kaplan-Meier curve of being watched, above its own.

Source
------
Davison & Hinkley (1997), Bootstrap Methods and their Application, algorithm 3.1 (resampling of
censored lives given the pattern of censoring). DiCiccio & Young (2008), Biometrika 95, 747-758:
signed roots resampled at the constrained estimate. Both from memory.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats, Groups, Ints
from seallife.life.lifedata import LifeData, unbounded
from seallife.life.lines import Lines, best_on
from seallife.life.powersums import power_sums
from seallife.life.profile import solve_profile
from seallife.life.surface import WeibullSurface, ridge_height

__all__ = ["WIDEST", "root_quantiles", "signed_roots"]

WIDEST = float(np.log(1e4))
"""Log shapes beyond are not tabulated: no fit lies there."""

_ROWS = 300_000  # lives drawn at once
_LEAST = 50  # resamples with a fit; fewer tell nothing
_NODES, _MOST_NODES = 8, 128  # of the tabulated likelihood
_EXACT = 1e-8  # of the table: roots of small falls need half as many digits
_REACH = 2.5  # standard errors of log shape that the table spans


def signed_roots(
    data: LifeData,
    tau: Floats,
    mu: Floats,
    lines: Lines,
    resamples: int,
    seed: int,
    *,
    shape: bool = False,
) -> Floats:
    """How do the signed roots of each group scatter, were these parameters the truth?

    Parameters
    ----------
    data : LifeData
        Exact ages, each row one life.
    tau, mu : ndarray, shape (g,)
        Log sigma and log scale from which lives are drawn.
    lines : Lines
        Quantities of each group.
    resamples, seed : int
        The draws of a group depend on the seed and on its own lives, whatever their order.
    shape : bool
        Whether that of log sigma goes before them.

    Returns
    -------
    ndarray, shape (g, resamples, q)
        NaN for a resample that cannot be fitted.
    """
    out = np.full((len(mu), resamples, int(shape) + lines.width), np.nan)
    done = np.zeros(len(mu), np.int64)
    for drawn, of in _drawn(data, tau, mu, resamples, seed):
        roots = _roots(drawn, tau[of], mu[of], lines.take(of), shape)
        groups, first, count = np.unique(of, return_index=True, return_counts=True)
        for g, at, n in zip(groups, first, count, strict=True):
            out[g, done[g] : done[g] + n] = roots[at : at + n]
            done[g] += n
    return out


def root_quantiles(roots: Floats, share: float) -> Floats:
    """Quantiles of the signed roots, shape (g, q); NaN where too few resamples have a fit.

    The k-th of B is taken as the k / (B + 1) quantile, so that a root of the same law lies below
    it with just that probability.
    """
    count = np.isfinite(roots).sum(axis=1)
    place = np.clip(share * (count + 1) - 1, 0, np.maximum(count - 1, 0))
    ordered = np.sort(roots, axis=1)  # NaN last
    low = np.floor(place).astype(np.int64)
    high = np.minimum(low + 1, np.maximum(count - 1, 0))
    at_low, at_high = (
        np.take_along_axis(ordered, k[:, None, :], axis=1)[:, 0] for k in (low, high)
    )
    between: Floats = at_low + (place - low) * (at_high - at_low)
    return np.where(count >= _LEAST, between, np.nan)


def _drawn(
    data: LifeData, tau: Floats, mu: Floats, resamples: int, seed: int
) -> Iterator[tuple[LifeData, Ints]]:
    """Draw each group again and again; groups of lives with the number of the group they are of."""
    parts: list[tuple[Floats, NDArray[np.bool_], Floats, int]] = []
    of: list[Ints] = []
    held = 0
    for g, (first, last) in enumerate(
        zip(data.groups.offsets[:-1], data.groups.offsets[1:], strict=True)
    ):
        n = int(last - first)
        entry = np.zeros(n) if data.entry is None else data.entry[first:last]
        group = _Group.of(data.age[first:last], data.failed[first:last], entry)
        random = np.random.default_rng([seed, n, int(group.failed.sum())])
        for start in range(0, resamples, max(1, _ROWS // max(n, 1))):
            times = min(resamples - start, max(1, _ROWS // max(n, 1)))
            age, failed = group.draw(random, times, float(np.exp(tau[g])), mu[g])
            parts.append((age, failed, np.tile(group.entry, times), n))
            of.append(np.full(times, g))
            held += n * times
            if held >= _ROWS:
                yield _joined(parts, of)
                parts, of, held = [], [], 0
    if parts:
        yield _joined(parts, of)


def _joined(
    parts: list[tuple[Floats, NDArray[np.bool_], Floats, int]], of: list[Ints]
) -> tuple[LifeData, Ints]:
    age, failed, entry = (np.concatenate([p[k] for p in parts]) for k in range(3))
    sizes = np.concatenate([np.full(len(o), p[3]) for p, o in zip(parts, of, strict=True)])
    offsets = np.concatenate([[0], np.cumsum(sizes)])
    groups = Groups(np.arange(len(sizes)), offsets)
    return LifeData(groups, age, failed, entry if entry.any() else None), np.concatenate(of)


@dataclass(frozen=True, eq=False)
class _Group:
    """The lives of one group in an order of their own, and how long they were watched."""

    failed: NDArray[np.bool_]
    age: Floats
    entry: Floats
    ends: Floats  # ages at which watching ended, sorted
    still: Floats  # share still watched after each

    @classmethod
    def of(cls, age: Floats, failed: NDArray[np.bool_], entry: Floats) -> _Group:
        order = np.lexsort((failed, age, entry))
        age, failed, entry = age[order], failed[order], entry[order]
        ends, count = np.unique(age[~failed], return_counts=True)
        # those who failed at an age were no longer there to be lost at it
        at_risk = np.searchsorted(np.sort(entry), ends) - np.searchsorted(np.sort(age), ends)
        at_risk -= np.searchsorted(np.sort(age[failed]), ends, side="right")
        at_risk += np.searchsorted(np.sort(age[failed]), ends)
        still = np.cumprod(1 - count / np.maximum(at_risk, count))
        return cls(failed, age, entry, ends, still)

    def draw(
        self, random: np.random.Generator, times: int, sigma: float, mu: float
    ) -> tuple[Floats, NDArray[np.bool_]]:
        """Ages and ends of so many drawings, one after the other."""
        shape = (times, len(self.age))
        with np.errstate(divide="ignore"):
            lived = np.exp(np.minimum((np.log(self.entry) - mu) / sigma, 700.0))
            log_life = mu + sigma * np.log(lived + _spread_out(random, shape))
        # of a flat law a life may be longer than any number, and is withdrawn first or all but
        life = np.exp(np.minimum(log_life, 700.0))
        until = np.broadcast_to(self.age, shape).copy()
        until[:, self.failed] = self._watched_until(random, times)
        failed = life <= until
        age = np.where(failed, life, until)
        # rounding may put a life that fails at once onto its entry
        age = np.maximum(age, np.nextafter(self.entry, np.inf))
        return age.ravel(), failed.ravel()

    def _watched_until(self, random: np.random.Generator, times: int) -> Floats:
        """To which age the failed would have been watched; for ever where nothing says less."""
        age = self.age[self.failed]
        place = np.searchsorted(self.ends, age, side="right")
        left = np.append(1.0, self.still)[place]
        share = random.random((times, len(age))) * left
        found = np.maximum(np.searchsorted(-self.still, -share), place)
        until: Floats = np.append(self.ends, np.inf)[found]
        return until


def _spread_out(random: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """Unit exponential draws, those of each life spread evenly over its law (Latin hypercube)."""
    strata = np.repeat(np.arange(shape[0], dtype=np.float64)[:, None], shape[1], axis=1)
    random.permuted(strata, axis=0, out=strata)
    share = (strata + random.random(shape)) / shape[0]
    draws: Floats = -np.log1p(-share)
    return draws


def _roots(drawn: LifeData, tau: Floats, mu: Floats, lines: Lines, shape: bool) -> Floats:
    """Signed roots of each drawing, shape (g, q); NaN where it cannot be fitted."""
    out = np.full((len(tau), int(shape) + lines.width), np.nan)
    usable = (drawn.count(drawn.failed) >= 2) & ~unbounded(drawn)
    sums = power_sums(drawn.take(usable))
    profile = solve_profile(sums)
    with np.errstate(all="ignore"):
        error = 1 / np.sqrt(profile.information(sums.failures))
    found = np.isfinite(profile.shape) & np.isfinite(error)
    rows = np.flatnonzero(usable)[found]
    if not len(rows):
        return out
    sums, profile, error = sums.take(found), profile.take(found), error[found]
    tau, mu, lines = tau[rows], mu[rows] - sums.centre, lines.take(rows).about(sums.centre)
    best = -np.log(profile.shape)
    best_mu = (profile.log_sum - np.log(sums.failures)) / profile.shape
    top = ridge_height(sums.failures, sums.log_age_sum, -best, profile.log_sum)
    # where all entered late a likelihood may stay high towards shape 0, whose sums underflow
    low = np.maximum(np.minimum(best - _REACH * error, tau - 0.5 * error), -WIDEST)
    high = np.minimum(np.maximum(best + _REACH * error, tau + 0.5 * error), WIDEST)
    target = lines.values(tau, mu)
    away = lines.values(best, best_mu) - target
    todo, nodes = np.ones(len(rows), bool), _NODES
    while todo.any():
        surface = WeibullSurface.build(sums.take(todo), -high[todo], -low[todo], nodes)
        good = surface.resolved(_EXACT) | (nodes >= _MOST_NODES)
        k, surface = np.flatnonzero(todo)[good], surface.take(good)
        if len(k):
            height = best_on(surface, lines.take(k), target[k], best[k], (low[k], high[k]))[2]
            side = away[k]
            if shape:
                height = np.hstack([surface.ridge(tau[k])[:, None], height])
                side = np.hstack([(best - tau)[k, None], side])
            fall = np.maximum(top[k, None] - height, 0.0)
            out[rows[k]] = np.sign(side) * np.sqrt(2 * fall)
        todo[k] = False
        nodes *= 2
    return out
