"""How often do seals of a class fail at each age? Rates by age band, positions being unlike.

In: `Spans`. Out: `AgeShape`. Next: `seallife.history.unchanged`.

Only the course of the rate with age is used downstream; its height cancels. Positions of a class
differ, and the bad ones show more young seals: without a hidden factor for each position the rate
would seem to fall with age, and a project that renews every seal would seem to help.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from seallife.history.spans import Spans
from seallife.life.groups import Floats, Ints

__all__ = ["AgeShape", "age_shape", "likeness_of"]

_BANDS, _PER_BAND = 6, 10  # at most so many bands, each with so many failures
_LIKENESS = np.geomspace(0.5, 200.0, 40)  # gamma shape of the hidden factors; the last is no spread
_ROUNDS = 25


@dataclass(frozen=True, eq=False)
class AgeShape:
    """Failure rates by class and age, piecewise constant.

    Attributes
    ----------
    edges : ndarray, shape (g, k)
        Lower edge of each age band, from 0; infinite where a class has fewer bands.
    rate : ndarray, shape (g, k)
        Failures per unit of the age clock in each band, for a position with factor 1.
    unknown : ndarray, shape (g,)
        The same while the age of a seal is not known: a band of its own.
    likeness : float
        Shape of the gamma law of the positions' factors; infinite where they do not differ.
    """

    edges: Floats
    rate: Floats
    unknown: Floats
    likeness: float

    def at(self, group: Ints, age: Floats) -> Floats:
        """Rate at an age; ``group`` matches the last axis of ``age``, NaN is an unknown age."""
        out = np.broadcast_to(self.unknown[group], age.shape).copy()
        for k in range(self.edges.shape[1]):
            np.copyto(out, self.rate[group, k], where=age >= self.edges[group, k])
        return out

    def expected(self, spans: Spans) -> Floats:
        """Failures expected in each stretch at these rates, shape (n,)."""
        lived = spans.days * spans.pace
        known = np.isfinite(spans.age)
        age = np.where(known, spans.age, 0.0)
        tops = np.column_stack([self.edges[:, 1:], np.full(len(self.edges), np.inf)])
        out = np.zeros(len(spans))
        for k in range(self.edges.shape[1]):
            low, high = self.edges[spans.group, k], tops[spans.group, k]
            inside = np.minimum(age + lived, high) - np.maximum(age, low)
            out += np.where(inside > 0, inside, 0.0) * self.rate[spans.group, k]
        return np.where(known, out, lived * self.unknown[spans.group])


def age_shape(spans: Spans, groups: int) -> AgeShape:
    """How does the failure rate of each class go with age, positions being unlike?

    Parameters
    ----------
    spans : Spans
        Stretches of positions as they were before any change.
    groups : int
        Number of classes.

    Source
    ------
    Breslow & Day (1987), Statistical Methods in Cancer Research II, section 2.1 (failures over
    time lived, by age); Clayton (1978), Biometrika 65, 141-151 (gamma factors of positions, here
    by alternating rates and factors).
    """
    edges = _edges(spans, groups)
    cell, lived, failed = _by_band(spans, edges)
    rate = _rates(lived, failed, np.ones(len(cell)), cell, groups)
    likeness = np.inf
    for _ in range(_ROUNDS):
        due = (lived * rate[cell]).sum(axis=1)
        had = failed.sum(axis=1)
        before, likeness = likeness, likeness_of(had[due > 0], due[due > 0])
        if np.isinf(likeness):
            rate = _rates(lived, failed, np.ones(len(cell)), cell, groups)
            break
        factor = (had + likeness) / (due + likeness)
        was, rate = rate, _rates(lived, failed, factor, cell, groups)
        if likeness == before and np.allclose(rate, was, rtol=1e-3, atol=0):
            break
    return AgeShape(edges, rate[:, :-1], rate[:, -1], likeness)


def _edges(spans: Spans, groups: int) -> Floats:
    """Bands with about as many failures each, by class."""
    out = np.full((groups, _BANDS), np.inf)
    out[:, 0] = 0.0
    ended = spans.rows(spans.failed & np.isfinite(spans.age))
    age = ended.age + ended.days * ended.pace
    for g in np.unique(ended.group):
        mine = age[ended.group == g]
        count = int(np.clip(len(mine) // _PER_BAND, 1, _BANDS))
        inner = np.unique(np.quantile(mine, np.arange(1, count) / count))
        inner = inner[inner > 0]
        out[g, 1 : 1 + len(inner)] = inner
    return out


def _by_band(spans: Spans, edges: Floats) -> tuple[Ints, Floats, Floats]:
    """Class of each position met, with time lived and failures by band; unknown ages last."""
    # a position belongs to one class, so its number alone would do; two classes would make two
    pair = spans.position * len(edges) + spans.group
    names, row = np.unique(pair, return_inverse=True)
    known = np.isfinite(spans.age)
    age = np.where(known, spans.age, 0.0)
    end = age + spans.days * spans.pace
    low = edges[spans.group]
    high = np.column_stack([low[:, 1:], np.full(len(low), np.inf)])
    with np.errstate(invalid="ignore"):
        inside = np.minimum(end[:, None], high) - np.maximum(age[:, None], low)
    inside = np.where((inside > 0) & known[:, None], inside, 0.0)
    lived = np.zeros((len(names), edges.shape[1] + 1))
    np.add.at(lived, row, np.column_stack([inside, np.where(known, 0.0, end)]))
    # a failure at the edge of a band belongs to the band it leaves
    band = np.where(known, np.maximum((end[:, None] > low).sum(axis=1) - 1, 0), edges.shape[1])
    failed = np.zeros_like(lived)
    np.add.at(failed, (row[spans.failed], band[spans.failed]), 1.0)
    return (names % len(edges)).astype(np.int64), lived, failed


def _rates(lived: Floats, failed: Floats, factor: Floats, cell: Ints, groups: int) -> Floats:
    """Rates by class and band; half a failure at the class's rate steadies empty bands."""
    time, count = np.zeros((2, groups, lived.shape[1]))
    np.add.at(time, cell, lived * factor[:, None])
    np.add.at(count, cell, failed)
    whole = time.sum(axis=1)
    mean = np.maximum(count.sum(axis=1), 0.5) / np.where(whole > 0, whole, 1.0)
    return np.asarray((count + 0.5) / (time + 0.5 / mean[:, None]))


def likeness_of(had: Floats, due: Floats) -> float:
    """How alike are positions in their failure rates?

    Parameters
    ----------
    had, due : ndarray, shape (n,)
        Failures of each position, and those due at the rate of its class.

    Returns
    -------
    float
        Most likely shape of the gamma law, mean 1, of their factors; infinite where the counts
        scatter no more than chance lets them.
    """
    from scipy.special import gammaln

    if not len(had):
        return np.inf
    k = _LIKENESS[:, None]
    tops = gammaln(k + had) - gammaln(k) + k * np.log(k) - (k + had) * np.log(k + due)
    best = int(np.argmax(tops.sum(axis=1)))
    return float(_LIKENESS[best]) if best < len(_LIKENESS) - 1 else np.inf
