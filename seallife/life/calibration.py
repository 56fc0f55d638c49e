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

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from seallife.life.commontops import REACH, WIDEST, common_tops
from seallife.life.groups import Floats, Groups
from seallife.life.lifedata import LifeData, unbounded
from seallife.life.lines import Lines, best_on
from seallife.life.powersums import power_sums
from seallife.life.profile import solve_profile
from seallife.life.redrawn import Draws, Ended, draw_group
from seallife.life.sidebyside import side_by_side
from seallife.life.surface import WeibullSurface, ridge_height

__all__ = ["Truth", "root_quantiles", "roots_under", "signed_roots"]

_LEAST = 50  # resamples with a fit; fewer tell nothing
_NODES, _MOST_NODES = 8, 128  # of the tabulated likelihood
_EXACT = 1e-8  # of the table: roots of small falls need half as many digits
_ROWS = 300_000  # lives held at once
_GROUPS = 32  # done one after the other
_TOPS = 1_600  # drawings whose tops are found side by side, few enough to stay in the cache


@dataclass(frozen=True, eq=False)
class Truth:
    """Laws from which lives are drawn, and the quantities whose roots are wanted.

    Attributes
    ----------
    tau, mu : ndarray, shape (g,)
        Log sigma and log scale; NaN where no lives are to be drawn.
    lines : Lines
        Quantities of each group.
    shape : bool
        Whether that of log sigma goes before them.
    """

    tau: Floats
    mu: Floats
    lines: Lines
    shape: bool = False

    @property
    def width(self) -> int:
        """Number of roots."""
        return int(self.shape) + self.lines.width


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
    tau, mu, lines, shape
        As of `Truth`.
    resamples, seed : int
        The draws of a group depend on the seed and on its own lives, whatever their order.

    Returns
    -------
    ndarray, shape (g, resamples, q)
        NaN for a resample that cannot be fitted.
    """
    return roots_under(data, [Truth(tau, mu, lines, shape)], resamples, seed)[0]


def roots_under(data: LifeData, truths: Sequence[Truth], resamples: int, seed: int) -> list[Floats]:
    """Signed roots under several truths, all of them drawn with the same random numbers."""
    groups = len(data.groups)
    out = [np.full((groups, resamples, truth.width), np.nan) for truth in truths]

    def some(first: int) -> None:
        apart = [_Apart(truth, roots) for truth, roots in zip(truths, out, strict=True)]
        held: list[_Set] = []
        for g in range(first, min(first + _GROUPS, groups)):
            for one in _sets(data, g, truths, (resamples, seed)):
                held.append(one)
                if sum(len(v.draws.unit) for v in held) >= _TOPS:
                    _solve(held, truths, out, apart)
                    held = []
        _solve(held, truths, out, apart)
        for rest in apart:
            rest.settle()

    side_by_side(some, range(0, groups, _GROUPS))
    return out


class _Set(NamedTuple):
    """Drawings of group ``g`` under truth ``k``, the first of them number ``first``."""

    k: int
    g: int
    first: int
    draws: Draws
    ended: Ended


def _sets(
    data: LifeData, g: int, truths: Sequence[Truth], drawing: tuple[int, int]
) -> Iterator[_Set]:
    """Draw the lives of one group under all truths that it has."""
    known = [k for k, t in enumerate(truths) if np.isfinite(t.tau[g]) and np.isfinite(t.mu[g])]
    if not known:
        return
    part = slice(*data.groups.offsets[g : g + 2])
    age, failed = data.age[part], data.failed[part]
    entry = np.zeros(len(age)) if data.entry is None else data.entry[part]
    first = 0
    for draws in draw_group(age, failed, entry, *drawing):
        for k in known:
            ended = draws.under(float(np.exp(truths[k].tau[g])), float(truths[k].mu[g]))
            yield _Set(k, g, first, draws, ended)
        first += len(draws.unit)


def _solve(
    sets: Sequence[_Set], truths: Sequence[Truth], out: list[Floats], apart: list[_Apart]
) -> None:
    """Find the roots of some sets side by side."""
    if not sets:
        return
    tops = common_tops([(one.draws, one.ended) for one in sets])
    for like in _alike([truths[one.k] for one in sets]):
        mine = [sets[i] for i in like]
        some = tops.take(tops.of(like))
        place = np.searchsorted(like, some.number)
        lines = Lines.stack([truths[one.k].lines.take(np.array([one.g])) for one in mine])
        tau, mu, centre = (
            np.array(column)[place]
            for column in zip(
                *((truths[v.k].tau[v.g], truths[v.k].mu[v.g], v.draws.centre) for v in mine),
                strict=True,
            )
        )
        shape = truths[mine[0].k].shape
        fallen = some.fallen(tau, mu - centre, lines.take(place).about(centre), shape)
        for i, one in enumerate(mine):
            own = place == i
            out[one.k][one.g, one.first + some.row[own]] = fallen[own]
    for one, rows in zip(sets, tops.apart, strict=True):
        apart[one.k].add(one.g, one.first, one.draws, one.ended, rows)


def _alike(truths: Sequence[Truth]) -> list[list[int]]:
    """Which of the truths ask for quantities of the same kind."""
    kinds: dict[tuple[bool, bool, int, int], list[int]] = {}
    for i, t in enumerate(truths):
        lines = t.lines
        kind = (t.shape, lines.mean, lines.noise.shape[1], lines.width)
        kinds.setdefault(kind, []).append(i)
    return list(kinds.values())


class _Apart:
    """Drawings for which the common table does not do, gathered and then done on their own."""

    def __init__(self, truth: Truth, roots: Floats) -> None:
        self._truth, self._roots = truth, roots
        self._parts: list[tuple[LifeData, NDArray[np.intp], int]] = []
        self._held = 0

    def add(self, g: int, done: int, draws: Draws, ended: Ended, rows: NDArray[np.intp]) -> None:
        """Take in some drawings of a group."""
        if len(rows):
            self._parts.append((draws.lives(ended, rows), done + rows, g))
            self._held += len(rows) * len(draws.age)
            if self._held >= _ROWS:
                self.settle()

    def settle(self) -> None:
        """Find their roots."""
        if not self._parts:
            return
        lives = [part[0] for part in self._parts]
        sizes = np.concatenate([one.groups.sizes for one in lives])
        entry = np.concatenate(
            [np.zeros(len(v.age)) if v.entry is None else v.entry for v in lives]
        )
        groups = Groups(np.arange(len(sizes)), np.concatenate([[0], np.cumsum(sizes)]))
        age, failed = (np.concatenate([getattr(v, c) for v in lives]) for c in ("age", "failed"))
        data = LifeData(groups, age, failed, entry if entry.any() else None)
        row = np.concatenate([part[1] for part in self._parts])
        of = np.concatenate([np.full(len(part[1]), part[2]) for part in self._parts])
        t = self._truth
        self._roots[of, row] = _roots(data, t.tau[of], t.mu[of], t.lines.take(of), t.shape)
        self._parts, self._held = [], 0


def root_quantiles(roots: Floats, shares: Sequence[float]) -> list[Floats]:
    """Quantiles of the signed roots, each (g, q); NaN where too few resamples have a fit.

    The k-th of B is taken as the k / (B + 1) quantile, so that a root of the same law lies below
    it with just that probability.
    """
    count = np.isfinite(roots).sum(axis=1)
    last = np.maximum(count - 1, 0)
    ordered = np.sort(roots, axis=1)  # NaN last
    out = []
    for share in shares:
        place = np.clip(share * (count + 1) - 1, 0, last)
        low = np.floor(place).astype(np.int64)
        at_low, at_high = (
            np.take_along_axis(ordered, k[:, None, :], axis=1)[:, 0]
            for k in (low, np.minimum(low + 1, last))
        )
        with np.errstate(invalid="ignore"):
            between = at_low + (place - low) * (at_high - at_low)
        out.append(np.where(count >= _LEAST, between, np.nan))
    return out


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
    low = np.maximum(np.minimum(best - REACH * error, tau - 0.5 * error), -WIDEST)
    high = np.minimum(np.maximum(best + REACH * error, tau + 0.5 * error), WIDEST)
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
