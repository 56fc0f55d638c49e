"""Which laws of life do the records allow? Many sets of them, to forecast with.

In: the life table, `Posterior` of the pooled Weibull laws. Out: `LawDraws`. Next:
`seallife.spares.ahead`.

A Weibull law for each class, drawn with those of the other classes, is the ground: it lends thin
classes what the others know, and goes on beyond the oldest seal. Where the ages at which seals of
a class failed say otherwise (fitting faults, several causes), bands of age are corrected by what
was counted in them, first over the whole fleet, then in each class: gamma factors, the more narrow
the more failures a band holds, with a spread between classes that is found from the counts.
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

__all__ = ["LawDraws", "draw_laws"]

_BANDS = 8
_PER_BAND = 5.0  # failures of the fleet in a band, at least
_STEPS = 24  # knots from the youngest age to the oldest, and as many in between as there are bands
_BEYOND = 8.0  # oldest knot over the oldest life
_SHARED = 1.0  # failures' worth of the Weibull laws put into each band of the whole fleet
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
    Given the Weibull laws, a band of age in which n seals of the fleet failed where E were due gets
    a factor that is gamma with shape 1 + n and rate 1 + E: what is common to all classes, such as
    fitting faults. Each class's band gets one more, gamma with shape a + n and rate a + E, its due
    failures times the common factor. Then all bands of a class are scaled so that as many failures
    are due as under its Weibull law: the level and its doubt are those of the pooled laws, the
    bands say at which ages. a is the most likely under negative binomial counts, 20 at most: no
    more than a fifth off is never taken for granted.

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
    edges = _edges(age[failed])
    ages = _knots(edges, float(age.max()))
    c = len(classes)
    spent = _time_spent(place, entry, age, ages, c)
    with np.errstate(over="ignore"):
        weibull = (ages[None, None] / scale[..., None]) ** shape[..., None]
    weibull = np.minimum(weibull, 1e6)
    steps = np.diff(weibull, axis=2)
    # time spent in a cell, as a share of what one seal spends there, times its expected failures
    due_cells = steps * (spent / np.diff(ages))
    band = np.searchsorted(edges, ages[:-1], side="right") - 1
    first = np.searchsorted(band, np.arange(len(edges)))
    due = np.add.reduceat(due_cells, first, axis=2)
    at = np.searchsorted(edges, age[failed], side="left") - 1
    cell = place[failed] * len(edges) + np.maximum(at, 0)
    count = np.bincount(cell, minlength=c * len(edges)).reshape(c, -1).astype(np.float64)
    weibull_due = due.copy()
    shared = count.sum(axis=0)
    shared = rng.gamma(_SHARED + shared, size=(draws, len(edges))) / (_SHARED + due.sum(axis=1))
    due *= shared[:, None]
    middle = due.mean(axis=0)
    alike = min(likeness_of(count[middle > 0], middle[middle > 0]), _ALIKE)
    factor = rng.gamma(alike + count, size=due.shape) / (alike + due) * shared[:, None]
    # bands shape the course of the rate; how many fail in all is left to the pooled law
    banded = (weibull_due * factor).sum(axis=2)
    level = np.divide(weibull_due.sum(axis=2), banded, out=np.ones(banded.shape), where=banded > 0)
    factor *= level[..., None]
    steps = steps * factor[..., band]
    cumulative = np.concatenate((np.zeros((draws, c, 1)), np.cumsum(steps, axis=2)), axis=2)
    return LawDraws(classes, ages, cumulative, lives.unit, seed)


def _edges(ages: Floats) -> Floats:
    """Lower edges of bands with about as many failures of the fleet each, the youngest less."""
    bands = int(np.clip(len(ages) // _PER_BAND, 1, _BANDS))
    shares = np.arange(1, bands) / bands
    shares = np.unique(np.append(shares, 0.5 / bands)) if bands > 1 else shares
    inner = np.quantile(ages, shares)
    return np.unique(np.append(0.0, inner[inner > 0]))


def _knots(edges: Floats, oldest: float) -> Floats:
    """Ages between which rates are taken as constant: close enough for any course of a rate."""
    young = edges[1] / 8 if len(edges) > 1 else oldest / 64
    return np.unique(
        np.concatenate(
            (
                edges,
                np.geomspace(young, oldest, _STEPS),
                oldest * np.linspace(0, 1, _STEPS),
                oldest * np.geomspace(1.1, _BEYOND, 12),
            )
        )
    )


def _time_spent(place: Ints, entry: Floats, age: Floats, ages: Floats, classes: int) -> Floats:
    """Time under observation by class and cell of age, shape (c, a - 1)."""
    out = np.zeros((classes, len(ages) - 1))
    for k in range(len(ages) - 1):  # one pass a cell keeps memory at one column of lives
        inside = np.clip(age, ages[k], ages[k + 1]) - np.clip(entry, ages[k], ages[k + 1])
        out[:, k] = np.bincount(place, inside, classes)
    return out
