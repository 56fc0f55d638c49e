"""The partial likelihood of lives whose failure rate depends on factors, with late entry.

In: ages, ends, entry ages, design. Out: value, derivatives, scores, baseline. Next:
`seallife.life.regression`.

A life is at risk at age t if entry < t <= age, in its own stratum; ties by Efron. Sums over risk
sets are differences of two running sums, one over ages at the end and one over ages at entry, so
that a pass costs one sort and no loop over ages.

Source
------
Cox (1972), JRSS B 34, 187-220; Efron (1977), JASA 72, 557-565; Breslow (1974), Biometrics 30,
89-99 (baseline); Klein & Moeschberger (1997), Survival Analysis, sections 8.4 and 9.4 (late entry).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats, Ints, binned
from seallife.life.newton import Top, climb

__all__ = ["RatedLives", "fit_rate"]


@dataclass(frozen=True, eq=False)
class RatedLives:
    """Lives with a design.

    Attributes
    ----------
    age, entry : ndarray, shape (n,)
        ``entry`` is 0 where watched from new.
    failed : ndarray of bool, shape (n,)
    x : ndarray, shape (n, p)
        Factors.
    stratum : ndarray of int, shape (n,)
    """

    age: Floats
    entry: Floats
    failed: NDArray[np.bool_]
    x: Floats
    stratum: Ints

    @cached_property
    def steps(self) -> tuple[Ints, Floats, Ints]:
        """Stratum and age of each step (an age with a failure), and the step of each failure."""
        pairs = np.stack([self.stratum[self.failed].astype(float), self.age[self.failed]], axis=1)
        found, where = np.unique(pairs, axis=0, return_inverse=True)
        return found[:, 0].astype(np.int64), found[:, 1], where.ravel()

    @cached_property
    def slots(self) -> tuple[Ints, Floats]:
        """Step and Efron share of each failure: shares 0, 1/m, ..., (m - 1)/m of a tie of m."""
        count = np.bincount(self.steps[2], minlength=len(self.steps[0]))
        step = np.repeat(np.arange(len(count)), count)
        first = np.concatenate(([0], np.cumsum(count)))[:-1]
        return step, (np.arange(len(step)) - first[step]) / count[step]

    @cached_property
    def places(self) -> tuple[Ints, Ints]:
        """How many steps of its own and all earlier strata lie at or below entry and age."""
        at, age, _ = self.steps
        key = np.lexsort((age, at))
        rank = np.searchsorted(at[key], np.arange(int(self.stratum.max()) + 2))
        out = np.zeros((2, len(self.age)), np.int64)
        for s in range(int(self.stratum.max()) + 1):
            rows, own = self.stratum == s, age[rank[s] : rank[s + 1]]
            for i, values in enumerate((self.entry, self.age)):
                out[i, rows] = rank[s] + np.searchsorted(own, values[rows], side="right")
        return out[0], out[1]

    @cached_property
    def _wide(self) -> Floats:
        return np.column_stack([np.ones(len(self.x)), self.x])

    def at_risk(self, values: Floats) -> Floats:
        """Sum of values over the lives at risk at each step, shape (steps, ...)."""
        low, high = self.places
        count = len(self.steps[0]) + 1
        change = binned(values, low, count) - binned(values, high, count)
        return np.asarray(np.cumsum(change, axis=0)[:-1])

    def _since(self, per_step: Floats) -> Floats:
        """Sum of a figure of the steps over the time each life was at risk."""
        low, high = self.places
        running = np.concatenate([np.zeros((1, *per_step.shape[1:])), np.cumsum(per_step, axis=0)])
        return np.asarray(running[high] - running[low])

    def parts(self, at: Floats) -> tuple[Floats, Floats, Floats]:
        """Weights, and for each slot the sum of weights and the mean of x over those at risk."""
        w = np.exp(np.clip(self.x @ at, -500, 500))
        step, share = self.slots
        # weights and weighted factors side by side: one pass for both
        both = w[:, None] * self._wide
        died = binned(both[self.failed], self.steps[2], len(self.steps[0]))
        left = self.at_risk(both)[step] - share[:, None] * died[step]
        return w, left[:, 0], left[:, 1:] / left[:, :1]

    def __call__(self, at: Floats) -> tuple[float, Floats, Floats]:
        """Log partial likelihood, gradient and Hessian."""
        w, whole, mean = self.parts(at)
        value = float((self.x @ at)[self.failed].sum() - np.log(whole).sum())
        gradient = self.x[self.failed].sum(axis=0) - mean.sum(axis=0)
        return value, gradient, -self._information(w, whole, mean, np.ones(len(whole)))

    def _information(self, w: Floats, whole: Floats, mean: Floats, weight: Floats) -> Floats:
        """Sum over the slots of weight times the variance of x over those at risk."""
        step, share = self.slots
        count = len(self.steps[0])
        passed = self._since(np.bincount(step, weight / whole, count).astype(np.float64))
        tied = np.bincount(step, weight * share / whole, count)
        passed[self.failed] -= tied[self.steps[2]]
        return np.asarray(
            (self.x * (w * passed)[:, None]).T @ self.x - (mean * weight[:, None]).T @ mean
        )

    def scores(self, at: Floats, weight: Floats | None = None) -> Floats:
        """Score of each life, shape (n, p); with ``weight`` per step, of x times that weight."""
        w, whole, mean = self.parts(at)
        step, share = self.slots
        count = len(self.steps[0])
        g = np.ones(count) if weight is None else weight
        per = g[step] / whole
        died = np.bincount(step, minlength=count)

        def by_step(values: Floats) -> Floats:
            return binned(values, step, count)

        rate, pull = self._since(by_step(per)), self._since(by_step(per[:, None] * mean))
        out = -w[:, None] * (self.x * rate[:, None] - pull)
        own = self.steps[2]
        x, wf = self.x[self.failed], w[self.failed][:, None]
        centre = by_step(mean)[own] / died[own][:, None]
        tied = by_step(per * share)[own][:, None] * x - by_step((per * share)[:, None] * mean)[own]
        out[self.failed] += g[own][:, None] * (x - centre) + wf * tied
        return np.asarray(out)

    def pieces(self, at: Floats) -> Callable[[Ints], Floats]:
        """What each life adds to the information: from rows to shape (rows, p, p)."""
        w, whole, mean = self.parts(at)
        step, count = self.slots[0], len(self.steps[0])
        pull = self._since(binned(mean / whole[:, None], step, count))
        square = binned(np.einsum("ni,nj->nij", mean, mean) / whole[:, None, None], step, count)
        before = np.concatenate([np.zeros((1, *square.shape[1:])), np.cumsum(square, axis=0)])
        rate = self._since(np.bincount(step, 1 / whole, count).astype(np.float64))
        low, high = self.places

        def of(rows: Ints) -> Floats:
            x = self.x[rows]
            cross = np.einsum("ni,nj->nij", x, pull[rows])
            out = np.einsum("n,ni,nj->nij", rate[rows], x, x)
            out += before[high[rows]] - before[low[rows]]
            return np.asarray(w[rows, None, None] * (out - cross - cross.swapaxes(1, 2)))

        return of

    def trend_information(self, at: Floats, weight: Floats) -> tuple[Floats, Floats]:
        """Information between x and x times a weight per step, and of the latter."""
        w, whole, mean = self.parts(at)
        g = weight[self.slots[0]]
        return (
            self._information(w, whole, mean, g),
            self._information(w, whole, mean, g**2),
        )

    def baseline(self, at: Floats) -> tuple[Ints, Floats, Floats, Floats]:
        """Stratum, age, lives at risk and rise of the cumulative hazard (Breslow) of each step."""
        stratum, age, where = self.steps
        w = np.exp(np.clip(self.x @ at, -500, 500))
        died = np.bincount(where, minlength=len(age))
        return stratum, age, self.at_risk(np.ones(len(w))), died / self.at_risk(w)

    def expected(self, at: Floats) -> Floats:
        """Cumulative hazard that each life was under while watched, shape (n,)."""
        rise = self.baseline(at)[3]
        return np.asarray(np.exp(np.clip(self.x @ at, -500, 500)) * self._since(rise))

    def without(self, columns: list[int]) -> RatedLives:
        """Same lives with some columns of x left out."""
        kept = np.delete(self.x, columns, axis=1)
        return RatedLives(self.age, self.entry, self.failed, kept, self.stratum)


def fit_rate(lives: RatedLives, start: Floats | None = None) -> Top:
    """Which ratios of failure rates make the order of the failures most likely?"""
    return climb(lives, np.zeros(lives.x.shape[1]) if start is None else start)
