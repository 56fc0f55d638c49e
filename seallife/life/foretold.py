"""How many of a group will fail, if each has its own chance and the chances are only estimated?

In: chances of running on and how far they may be off. Out: `Counts`. Next: `seallife.life.ahead`.

Two things make the count uncertain: chance, as each seal fails or not, and the estimate. The count
is spread over what the estimate allows, its hazard being taken longer or shorter for all seals of a
class alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from seallife.life.groups import Floats, Ints

__all__ = ["Counts", "spread_counts"]

_NODES = 64
"""Equally likely values of the hazard over which the count is spread."""


@dataclass(frozen=True, eq=False)
class Counts:
    """How the number of failures of each class is distributed.

    Attributes
    ----------
    seals : ndarray, shape (g,)
        Seals of each class.
    mean, square : ndarray, shape (g, q)
        Sum of the chances to fail and of their squares, for each of the equally likely hazards.
    """

    seals: Floats
    mean: Floats
    square: Floats

    def limits(self, level: float) -> tuple[Floats, Floats]:
        """Between which counts will the failures of each class lie?

        Returns
        -------
        low, high : ndarray, shape (g,)
            Whole numbers; fewer than ``low`` and more than ``high`` have each a probability of
            (1 - level) / 2 at most.
        """
        low, high = (self._smallest(share) for share in ((1 - level) / 2, (1 + level) / 2))
        return low, high

    def sum_limits(self, classes: Ints, level: float) -> tuple[float, float]:
        """Between which counts will the failures of several classes together lie?

        Parameters
        ----------
        classes : ndarray of int
            Numbers of the classes.
        """
        chance = np.ones(1)
        for g in classes.tolist():
            counts = np.arange(self.seals[g] + 1)
            total = self._cumulative(counts[:, None], self.mean[g], self.square[g])
            chance = np.convolve(chance, np.diff(total, prepend=0.0))
        reached = np.cumsum(chance)
        sides = np.searchsorted(reached, [(1 - level) / 2, (1 + level) / 2])
        low, high = np.minimum(sides, len(reached) - 1).astype(float).tolist()
        return low, high

    def _smallest(self, share: float) -> Floats:
        """Smallest count whose cumulative probability comes up to a share."""
        low, high = np.zeros(len(self.seals)), self.seals.copy()
        while np.any(low < high):
            middle = np.floor((low + high) / 2)
            enough = self._cumulative(middle[:, None], self.mean, self.square) >= share
            low = np.where(enough, low, np.minimum(middle + 1, high))
            high = np.where(enough, middle, high)
        return low

    @staticmethod
    def _cumulative(count: Floats, mean: Floats, square: Floats) -> Floats:
        """Probability of a count or fewer, over all values of the hazard (the last axis)."""
        from scipy.special import betainc

        some = mean > 0
        chance = np.where(some, square / np.where(some, mean, 1.0), 0.0)
        tries = np.where(some, mean / np.where(some, chance, 1.0), 0.0)
        inside = some & (count < tries)
        tail = betainc(np.where(inside, tries - count, 1.0), count + 1, 1 - chance)
        whole: Floats = np.where(inside, tail, 1.0).mean(axis=-1)
        return whole


def spread_counts(
    log_share: Floats, group: Ints, classes: int, spread: Floats, none: Floats
) -> Counts:
    """How is the number of failures of each class distributed?

    Parameters
    ----------
    log_share : ndarray, shape (m,)
        Log of the chance of each seal to run on.
    group : ndarray of int, shape (m,)
        Its class.
    classes : int
        Number of classes.
    spread : ndarray, shape (g,)
        Standard error of the log of the hazard of each class.
    none : ndarray, shape (g,)
        Where no failure was seen: mean hazard allowed per unit of -log of a probability; NaN
        elsewhere.

    Returns
    -------
    Counts

    Notes
    -----
    A sum of unequal chances is taken as a binomial of the same mean and variance, its number of
    tries being no whole number.

    Source
    ------
    Ehm (1991), Statistics & Probability Letters 11, 7-16, for the binomial in place of the sum.
    """
    from scipy.special import ndtri

    seals = np.bincount(group, minlength=classes).astype(np.float64)
    share = (np.arange(_NODES) + 0.5) / _NODES
    mean, square = np.zeros((2, _NODES, classes))
    some = np.isnan(none)
    wide = np.where(some, spread, 0.0)
    for i, z in enumerate(ndtri(share)):
        chance = -np.expm1(log_share * np.exp(z * wide)[group])
        mean[i] = np.bincount(group, chance, classes)
        square[i] = np.bincount(group, chance**2, classes)
    chance = -np.expm1(np.log1p(-share)[:, None] * np.where(some, 0.0, none))
    return Counts(
        seals,
        np.where(some, mean, seals * chance).T,
        np.where(some, square, seals * chance**2).T,
    )
