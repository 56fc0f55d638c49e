"""Which laws of life do the records allow? Many sets of them, to forecast with.

In: the life table, `Posterior` of the pooled Weibull laws. Out: `LawDraws`. Next:
`seallife.spares.ahead`.

A Weibull law for each class, drawn with those of the other classes, is the ground: it lends thin
classes what the others know, and goes on beyond the oldest seal. Where the ages at which seals
failed say otherwise (fitting faults, several causes), it is corrected: by a smooth curve over age
that all classes share, and in each class by what was counted in bands of age, with a spread between
classes that is found from the counts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.history.ageshape import likeness_of
from seallife.life.groups import Floats, Ints
from seallife.life.poolingdraws import Posterior
from seallife.life.usable import UsableLives
from seallife.spares.agefactors import draw_age_factors

__all__ = ["LawDraws", "draw_laws"]

_BANDS = 8
_PER_BAND = 10.0  # failures of the fleet in a band, at least
_STEP = 0.25  # of log age, in which the curve of the whole fleet is found
_YOUNGER, _OLDER = 26, 8  # such steps from the first age to the oldest life, and beyond it
_EVEN = 41  # knots at even distances, up to twice the oldest life
_ALIKE = 20.0  # a class is never taken to go with the fleet's bands better than to a fifth


@dataclass(frozen=True, eq=False)
class LawDraws:
    """Laws of life of each class that the records allow, as cumulative failure rates by age.

    Attributes
    ----------
    classes : Index of str, length c
    ages : ndarray, shape (a,)
        Knots, the first 0; rates are constant between them and beyond the last.
    cumulative : ndarray, shape (draws, c, a)
        Failures expected of a seal from new to each knot, were it repaired at once to the state
        it was in. One draw is one set of laws of all classes.
    unit : {'h', 'd'}
        Of the ages: run hours or calendar days.
    seed : int
    """

    classes: pd.Index
    ages: Floats
    cumulative: Floats
    unit: str
    seed: int

    @property
    def draws(self) -> int:
        """Number of sets of laws."""
        return len(self.cumulative)

    def at(self, place: Ints, age: Floats, draw: int | None = None) -> Floats:
        """Cumulative failure rate of seals at an age.

        Parameters
        ----------
        place : ndarray of int, shape (n,)
            Number of the class of each seal.
        age : ndarray, shape (n,) or (n, k)
        draw : int, optional
            One draw only.

        Returns
        -------
        ndarray, shape (draws, *age.shape), or of age.shape for one draw
        """
        at = np.clip(np.searchsorted(self.ages, age, side="right") - 1, 0, len(self.ages) - 2)
        share = (age - self.ages[at]) / (self.ages[at + 1] - self.ages[at])
        of = place if np.ndim(age) == 1 else place[:, None]
        table = self.cumulative if draw is None else self.cumulative[draw]
        low, high = table[..., of, at], table[..., of, at + 1]
        return np.asarray(low + (high - low) * share)

    def hazard_between(self, place: Ints, first: Floats, last: Floats) -> Floats:
        """Failures expected of a seal between two ages, shape (draws, n)."""
        return self.at(place, last) - self.at(place, first)


def draw_laws(
    lives: UsableLives, posterior: Posterior | None, classes: pd.Index, draws: int, seed: int = 1
) -> LawDraws:
    """Which laws of life of each class do the records allow?

    Parameters
    ----------
    lives : UsableLives
        All lives, with the labels of their classes.
    posterior : Posterior or None
        `PooledWeibull.posterior` of the same lives, its classes in the order of ``classes``.
    classes : Index
        Labels of the classes.
    draws : int
    seed : int

    Returns
    -------
    LawDraws

    Raises
    ------
    InputError
        No seal has failed: nothing says how long seals last.

    Notes
    -----
    Given the Weibull laws, what is common to all classes, such as fitting faults, is a curve of
    `seallife.spares.agefactors`. A band of a class in which n seals failed where E were due by both
    gets a factor that is gamma with shape a + n and rate a + E; a is the most likely under negative
    binomial counts, 20 at most: no more than a fifth off is never taken for granted. Then all ages
    of a class are scaled so that as many failures are due as under its Weibull law: the level and
    its doubt are those of the pooled laws, the factors say at which ages.

    Source
    ------
    Gelman et al. (2013), Bayesian Data Analysis, 3rd ed., chapter 5; Breslow & Day (1987),
    Statistical Methods in Cancer Research II, section 2.1 (failures over those due, by age).
    """
    if posterior is None:
        raise InputError(
            "hold no failure",
            where="the records",
            hint="without one no law of life can be drawn; give records of more years or sites",
        )
    rng = np.random.default_rng(seed)
    shape, scale = posterior.draws(draws, rng)
    use = ~lives.out
    place = classes.get_indexer(pd.Index(lives.label[use]))
    failed, age, entry = lives.failed[use], lives.middle[use], lives.entry[use]
    oldest = float(age.max())
    curve = oldest * np.exp(_STEP * np.arange(-_YOUNGER, _OLDER + 1))
    ages = np.unique(np.concatenate(([0.0], curve, oldest * np.linspace(0, 2, _EVEN))))
    c = len(classes)
    spent = _time_spent(place, entry, age, ages, c)
    with np.errstate(over="ignore"):
        weibull = (ages[None, None] / scale[..., None]) ** shape[..., None]
    steps = np.diff(np.minimum(weibull, 1e6), axis=2)
    # time spent in a cell, as a share of what one seal spends there, times its expected failures
    share = spent / np.diff(ages)
    whole = np.append(0.0, curve[:-1])
    count, due, cells = _by_band(whole, ages, steps * share, age[failed], place[failed])
    common = draw_age_factors(count.sum(axis=0), due.sum(axis=1), _STEP, rng)
    level = (steps * share).sum(axis=2)
    steps *= common[:, None, cells]
    edges = _edges(age[failed], curve)
    count, due, cells = _by_band(edges, ages, steps * share, age[failed], place[failed])
    middle = due.mean(axis=0)
    alike = min(likeness_of(count[middle > 0], middle[middle > 0]), _ALIKE)
    steps *= (rng.gamma(alike + count, size=due.shape) / (alike + due))[..., cells]
    # bands shape the course of the rate; how many fail in all is left to the pooled law
    banded = (steps * share).sum(axis=2)
    steps *= np.divide(level, banded, out=np.ones(banded.shape), where=banded > 0)[..., None]
    cumulative = np.concatenate((np.zeros((draws, c, 1)), np.cumsum(steps, axis=2)), axis=2)
    return LawDraws(classes, ages, cumulative, lives.unit, seed)


def _edges(failed: Floats, curve: Floats) -> Floats:
    """Lower edges of bands with about as many failures of the fleet each, among given ages."""
    bands = int(np.clip(len(failed) // _PER_BAND, 1, _BANDS))
    inner = np.quantile(failed, np.arange(1, bands) / bands)
    return np.unique(np.append(0.0, curve[np.searchsorted(curve, inner)]))


def _by_band(
    edges: Floats, ages: Floats, due: Floats, failed: Floats, place: Ints
) -> tuple[Floats, Floats, Ints]:
    """Failures counted, and due, by class and band, and the band of each cell of age.

    ``due`` are those of each cell, shape (draws, c, cells); ``failed`` ages at failure.
    """
    cells = np.searchsorted(edges, ages[:-1], side="right") - 1
    first = np.searchsorted(cells, np.arange(len(edges)))
    # a failure at the edge of a band belongs to the band it leaves
    at = np.maximum(np.searchsorted(edges, failed, side="left") - 1, 0)
    size = (due.shape[1], len(edges))
    count = np.bincount(place * len(edges) + at, minlength=size[0] * size[1]).reshape(size)
    return count.astype(np.float64), np.add.reduceat(due, first, axis=2), cells


def _time_spent(place: Ints, entry: Floats, age: Floats, ages: Floats, classes: int) -> Floats:
    """Time under observation by class and cell of age, shape (c, a - 1)."""
    out = np.zeros((classes, len(ages) - 1))
    for k in range(len(ages) - 1):  # one pass a cell keeps memory at one column of lives
        inside = np.clip(age, ages[k], ages[k + 1]) - np.clip(entry, ages[k], ages[k + 1])
        out[:, k] = np.bincount(place, inside, classes)
    return out
