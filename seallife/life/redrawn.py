"""The lives of one group drawn again and again, and what a Weibull likelihood needs of each set.

In: ages and ends of one group. Out: `Draws`. Next: `seallife.life.calibration`.

The random numbers do not depend on the law, so one set of them serves every law drawn from. At a
given shape b the likelihood needs S(b) = sum of (t^b - e^b): entries are the same in all drawings,
ages of withdrawal come from a short list, so both are powers of a few numbers counted; only ages of
failure are raised to a power one by one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats, Groups, Ints, segment_max, segment_min, segment_sum
from seallife.life.lifedata import LifeData
from seallife.life.sidebyside import product

__all__ = ["Draws", "Ended", "draw_group"]

_ROWS = 300_000  # lives drawn at once
_LONGEST = 700.0  # log of the largest number, nearly
_CELLS = 8  # of the guide to the ages of withdrawal, for each of them


def draw_group(
    age: Floats, failed: NDArray[np.bool_], entry: Floats, resamples: int, seed: int
) -> Iterator[Draws]:
    """Draw the lives of a group, some hundred thousand lives at a time.

    A life keeps its entry age and, where it did not fail, the age to which it was watched; a failed
    one is watched to an age drawn from the Kaplan-Meier curve of being watched, above its own. The
    draws depend on the seed and on the lives, whatever their order.
    """
    order = np.lexsort((failed, age, entry))
    age, failed, entry = age[order], failed[order], entry[order]
    ends, count = np.unique(age[~failed], return_counts=True)
    # those who failed at an age were no longer there to be lost at it
    at_risk = np.searchsorted(np.sort(entry), ends) - np.searchsorted(np.sort(age), ends)
    at_risk -= np.searchsorted(np.sort(age[failed]), ends, side="right")
    at_risk += np.searchsorted(np.sort(age[failed]), ends)
    still = np.cumprod(1 - count / np.maximum(at_risk, count))
    place = np.searchsorted(ends, age[failed], side="right")
    left = np.append(1.0, still)[place]
    random = np.random.default_rng([seed, len(age), int(failed.sum())])
    kept, gone = np.flatnonzero(~failed), np.flatnonzero(failed)
    columns = np.concatenate([kept, gone])
    most = max(1, _ROWS // max(len(age), 1))
    for start in range(0, resamples, most):
        times = min(resamples - start, most)
        unit = _spread_out(random, (times, len(age)))[:, columns]
        share = random.random((times, len(gone))) * left
        until = np.maximum(_last_above(still, share), place)
        yield Draws(age[columns], entry[columns], len(kept), ends, unit, until)


def _spread_out(random: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """Unit exponential draws, those of each life spread evenly over its law (Latin hypercube)."""
    strata = np.repeat(np.arange(shape[0], dtype=np.float64)[:, None], shape[1], axis=1)
    random.permuted(strata, axis=0, out=strata)
    strata += random.random(shape)
    strata /= -shape[0]
    np.log1p(strata, out=strata)
    return np.negative(strata, out=strata)


def _last_above(falling: Floats, share: Floats) -> Ints:
    """How many of the falling numbers are above each share; shares lie between 0 and 1."""
    cells = _CELLS * len(falling) + 1
    # where a cell of the guide holds many numbers, a search is as quick
    least = np.searchsorted(-falling, -(np.arange(1, cells + 1) / cells), side="right")
    most = np.searchsorted(-falling, -(np.arange(cells) / cells))
    if int((most - least).max()) > 3:
        return np.searchsorted(-falling, -share)
    padded, out = np.append(falling, -1.0), least[(share * cells).astype(np.int64)]
    for _ in range(int((most - least).max())):
        out += padded[out] > share
    return out


class Ended(NamedTuple):
    """What each drawing comes to under one law.

    ``failed`` tells who failed, shape (times, n); ``x`` are the log ages of failure less ``centre``
    row by row, those of drawing i being ``x[offsets[i]:offsets[i + 1]]``.
    """

    sigma: float
    mu: float
    centre: float
    failed: NDArray[np.bool_]
    x: Floats
    offsets: Ints

    @property
    def failures(self) -> Floats:
        """Failures of each drawing."""
        return np.diff(self.offsets).astype(np.float64)

    @property
    def log_age_sum(self) -> Floats:
        """Sum of their log ages less the centre."""
        return segment_sum(self.x, self.offsets)

    @property
    def distinct(self) -> NDArray[np.bool_]:
        """Whether two failures came at different ages, so that the likelihood has a top."""
        return segment_max(self.x, self.offsets) > segment_min(self.x, self.offsets)


@dataclass(frozen=True, eq=False)
class Draws:
    """Random numbers of some drawings of one group.

    Attributes
    ----------
    age, entry : ndarray, shape (n,)
        Of the lives as they were, those that did not fail first.
    withdrawn : int
        How many did not fail.
    ends : ndarray, shape (m,)
        Ages at which watching ended, rising.
    unit : ndarray, shape (times, n)
        Unit exponential numbers: the hazard that each life survives.
    until : ndarray of int, shape (times, n - withdrawn)
        Place among ``ends`` to which the failed ones are watched; m for ever.
    """

    age: Floats
    entry: Floats
    withdrawn: int
    ends: Floats
    unit: Floats
    until: Ints

    @cached_property
    def centre(self) -> float:
        """Log of the oldest age."""
        return float(np.log(self.age.max(initial=0.0))) if len(self.age) else 0.0

    def under(self, sigma: float, mu: float) -> Ended:
        """Who fails under a law, and when."""
        lived = _hazard(self.entry, sigma, mu)
        limit = np.empty(self.unit.shape)
        k = self.withdrawn
        limit[:, :k] = (_hazard(self.age, sigma, mu) - lived)[:k]
        np.take(np.append(_hazard(self.ends, sigma, mu), np.inf), self.until, out=limit[:, k:])
        limit[:, k:] -= lived[k:]
        failed = self.unit <= limit
        np.add(self.unit, lived, out=limit)
        x = limit.ravel()[np.flatnonzero(failed)]
        np.log(x, out=x)
        x *= sigma
        x += mu - self.centre
        offsets = np.concatenate([[0], np.cumsum(np.count_nonzero(failed, axis=1))])
        return Ended(sigma, mu, self.centre, failed, x, offsets)

    def sums(self, ended: Ended, shapes: Floats) -> Floats:
        """S(b) of every drawing at every shape b, shape (times, shapes), ages over the centre's."""
        out = np.empty((len(self.unit), len(shapes)))
        z, every = np.empty_like(ended.x), bool((ended.failures > 0).all())
        for j, b in enumerate(shapes):
            np.multiply(ended.x, b, out=z)
            np.exp(z, out=z)
            add = np.add.reduceat(z, ended.offsets[:-1]) if every else segment_sum(z, ended.offsets)
            out[:, j] = add
        k, kept = self.withdrawn, ~ended.failed
        with np.errstate(divide="ignore"):
            at_age, at_end, at_entry = (
                np.exp((np.log(v) - ended.centre)[:, None] * shapes)
                for v in (self.age[:k], self.ends, self.entry)
            )
        out += product(kept[:, :k].astype(np.float64), at_age)
        # nobody is withdrawn at no age
        width = len(self.ends) + 1
        seen: NDArray[Any] = np.bincount(
            self._end_of_row.ravel(), kept[:, k:].ravel().astype(np.float64), len(out) * width
        )
        out += product(seen.reshape(len(out), width)[:, :-1].astype(np.float64), at_end)
        out -= at_entry.sum(axis=0)
        return out

    @cached_property
    def _end_of_row(self) -> Ints:
        """Number of each end within its drawing."""
        return self.until + (np.arange(len(self.until)) * (len(self.ends) + 1))[:, None]

    def lives(self, ended: Ended, rows: NDArray[np.intp]) -> LifeData:
        """Some of the drawings as lives, each a group of its own."""
        k, n = self.withdrawn, len(self.age)
        lived = _hazard(self.entry, ended.sigma, ended.mu)
        with np.errstate(divide="ignore"):
            log_life = ended.mu + ended.sigma * np.log(lived + self.unit[rows])
        end = np.broadcast_to(self.age, log_life.shape).copy()
        end[:, k:] = np.append(self.ends, np.inf)[self.until[rows]]
        failed = ended.failed[rows]
        age = np.where(failed, np.exp(np.minimum(log_life, _LONGEST)), end)
        # rounding may put a life that fails at once onto its entry
        age = np.maximum(age, np.nextafter(self.entry, np.inf))
        groups = Groups(np.arange(len(rows)), np.arange(len(rows) + 1) * n)
        entry = np.tile(self.entry, len(rows)) if self.entry.any() else None
        return LifeData(groups, age.ravel(), failed.ravel(), entry)


def _hazard(age: Floats, sigma: float, mu: float) -> Floats:
    """Hazard up to each age."""
    with np.errstate(divide="ignore"):
        return np.exp(np.minimum((np.log(age) - mu) / sigma, _LONGEST))
