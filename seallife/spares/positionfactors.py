"""Does a position fail more often than its class, and by how much will it go on to?

In: failures of each position, and those due by the laws of its class. Out: `PositionFactors`.
Next: `seallife.spares.ahead`.

Most positions differ from their class by little, if at all; a few stand apart (a bent pipe, a
duty that nobody wrote down). Two gamma laws say that: one around 1, and one for those that stand
apart. How narrow the first is and how many stand apart is found from the counts of the fleet.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from seallife.life.groups import Floats

__all__ = ["PositionFactors", "position_factors"]

_ALIKE = np.append(np.geomspace(1.0, 100.0, 16), np.inf)  # gamma shape of the many
_APART = np.array([0.0, 0.003, 0.01, 0.02, 0.05, 0.1])  # share of the few
_SHAPE, _MEAN = 2.0, 3.0  # of the few: a third to seven times as often as their class


@dataclass(frozen=True, eq=False)
class PositionFactors:
    """How often positions fail against their class.

    Attributes
    ----------
    had, due : ndarray, shape (n,)
        Failures on record and those due by the laws of the class.
    alike : float
        Shape of the gamma law of the many, mean 1; infinite where they do not differ.
    apart : float
        Share of positions that stand apart.
    """

    had: Floats
    due: Floats
    alike: float
    apart: float

    @cached_property
    def chance_apart(self) -> Floats:
        """How likely each position is one of those that stand apart, shape (n,)."""
        many = _many(self.had, self.due, self.alike)
        odds = np.exp(_few(self.had, self.due) - many) * self.apart / (1 - self.apart)
        return np.asarray(odds / (1 + odds))

    @property
    def mean(self) -> Floats:
        """Expected factor of each position, shape (n,)."""
        apart = self.chance_apart
        many = np.ones(len(self.had))
        if np.isfinite(self.alike):
            many = (self.alike + self.had) / (self.alike + self.due)
        few = (_SHAPE + self.had) / (_SHAPE / _MEAN + self.due)
        return np.asarray(apart * few + (1 - apart) * many)

    def draw(self, rng: np.random.Generator) -> Floats:
        """Factors that the records allow, one set of them, shape (n,)."""
        apart = rng.random(len(self.had)) < self.chance_apart
        shape = np.where(apart, _SHAPE, self.alike if np.isfinite(self.alike) else 1.0)
        rate = np.where(apart, _SHAPE / _MEAN, shape)
        drawn = rng.gamma(shape + self.had) / (rate + self.due)
        return np.where(apart | np.isfinite(self.alike), drawn, 1.0)


def position_factors(had: Floats, due: Floats) -> PositionFactors:
    """How much do positions differ from their classes, as far as their counts tell?

    Parameters
    ----------
    had, due : ndarray, shape (n,)
        Failures of each position on record, and those due by the laws of its class at the ages
        that its seals reached.

    Returns
    -------
    PositionFactors

    Source
    ------
    Negative binomial counts, most likely of a net of laws (empirical Bayes): Hauer (1997),
    Observational Before-After Studies in Road Safety, chapter 11; that the few fail three times
    as often on average is common practice, no source.
    """
    use = due > 0
    few = _few(had[use], due[use])
    best, law = -np.inf, (np.inf, 0.0)
    for alike in _ALIKE[::-1].tolist():
        many = _many(had[use], due[use], alike)
        for apart in _APART.tolist():
            with np.errstate(divide="ignore"):
                both = np.logaddexp(np.log(apart) + few, np.log1p(-apart) + many)
            # a law that says more must earn it: no spread unless the counts ask for it
            if both.sum() > best + 1e-9:
                best, law = float(both.sum()), (alike, apart)
    return PositionFactors(had, due, *law)


def _few(had: Floats, due: Floats) -> Floats:
    """Log chance of each count if the position stands apart, but for what is common to all laws."""
    return _counted(had, due, _SHAPE, _SHAPE / _MEAN)


def _many(had: Floats, due: Floats, alike: float) -> Floats:
    """The same if it is one of the many."""
    return _counted(had, due, alike, alike) if np.isfinite(alike) else -due


def _counted(had: Floats, due: Floats, shape: float, rate: float) -> Floats:
    """Negative binomial counts of a gamma law."""
    from scipy.special import gammaln

    tail = gammaln(shape + had) - gammaln(shape) + shape * np.log(rate)
    return np.asarray(tail - (shape + had) * np.log(rate + due))
