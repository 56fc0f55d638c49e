"""How many failures would each position have had at the law of its class, and how regularly?

In: the life table. Out: `PositionCounts`. Next: `seallife.history.standoutlives`.

A position is watched in stretches: from the seal in place when the records begin, or from a new
seal fitted for another reason than failure, to the end of records or the next such renewal. Within
a stretch seal follows seal. How regularly failures come follows from how lives are spread, after
each position's ages are stretched by its own ratio: else a class of unlike positions would look
like one whose seals fail at random.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.history.countcurves import count_curves
from seallife.history.reference import Codes, summed
from seallife.life.groups import Floats
from seallife.life.usable import UsableLives
from seallife.life.weibull import fit_weibull

__all__ = ["PositionCounts", "position_counts"]

_LEAST = 10  # failures of a class, below which its seals are taken to fail at random
_SHAPES = (0.5, 5.0)


@dataclass(frozen=True, eq=False)
class PositionCounts:
    """Stretches of each position, and the lives from which the law of its class is found.

    Attributes
    ----------
    place : ndarray of int, shape (s,)
        Place (a position in a class) of each stretch.
    group : ndarray of int, shape (p,)
        Class of each place.
    length : ndarray, shape (s,)
        Time at risk in each stretch.
    new : ndarray of bool, shape (s,)
        Whether it begins with a new seal.
    life_place : ndarray of int, shape (n,)
    age, entry, weight : ndarray, shape (n,)
        Lives; one of unknown age weighs 0.
    failed : ndarray of bool, shape (n,)
    withdrawn : ndarray, shape (g,)
        Healthy seals withdrawn in each class.
    """

    place: Codes
    group: Codes
    length: Floats
    new: NDArray[np.bool_]
    life_place: Codes
    age: Floats
    entry: Floats
    weight: Floats
    failed: NDArray[np.bool_]
    withdrawn: Floats

    def sizes(self, ratio: Floats) -> tuple[Floats, Floats]:
        """Mean and variance of the failures of each place at the law of its class.

        Parameters
        ----------
        ratio : ndarray, shape (p,)
            Ratio of each place's rate to that of its class, as far as known.
        """
        from scipy.special import gamma

        g, p = len(self.withdrawn), len(self.group)
        stretched = ratio[self.life_place]
        fit = fit_weibull(
            # a life that weighs nothing keeps the place of a class that has none
            np.concatenate((self.age * stretched, np.ones(g))),
            np.concatenate((self.failed, np.zeros(g, bool))),
            group=np.concatenate((self.group[self.life_place], np.arange(g))),
            entry_age=np.concatenate((self.entry * stretched, np.zeros(g))),
            weight=np.concatenate((self.weight, np.zeros(g))),
            fractions=(),
            intervals=False,
        ).table
        shape, scale = (fit[c].to_numpy(dtype=np.float64) for c in ("shape", "scale"))
        own = self.length * ratio[self.place]
        exposure = summed(self.group[self.place], own, g)
        failures = fit["failures"].to_numpy(dtype=np.float64)
        known = np.isfinite(shape) & (failures >= _LEAST)
        shape = np.where(known, np.clip(shape, *_SHAPES), 1.0)
        mean = np.where(known, scale * gamma(1 + 1 / shape), exposure / np.maximum(failures, 1.0))
        mean = np.where(mean > 0, mean, 1.0)
        withdrawn = self.withdrawn * mean / np.where(exposure > 0, exposure, 1.0)
        law = self.group[self.place]
        lives = self.length / mean[law]
        longest = np.zeros(g)
        np.maximum.at(longest, law, lives)
        expected, variance = count_curves(shape, withdrawn, longest).at(law, lives, self.new)
        return summed(self.place, expected, p), summed(self.place, variance, p)


def position_counts(
    lives: pd.DataFrame, use: UsableLives, place: Codes, group: Codes, groups: int
) -> PositionCounts:
    """Cut the record of each position into stretches.

    Parameters
    ----------
    lives : DataFrame
        ``position_id``, ``entry``, ``end``, ``hours`` or ``days`` of the life table.
    use : UsableLives
        The same lives on the clock asked for.
    place : ndarray of int, shape (n,)
        Place of each life.
    group : ndarray of int, shape (p,)
        Class of each place.
    groups : int
    """
    order = np.lexsort((lives["entry"].to_numpy(), place))
    end = lives["end"].to_numpy(dtype=object)[order]
    at = place[order]
    fresh = ~use.out[order] & (use.entry[order] <= 0)
    follows = np.zeros(len(order), dtype=bool)
    follows[1:] = (at[1:] == at[:-1]) & (end[:-1] == "failed") & fresh[1:]
    number = np.cumsum(~follows) - 1
    length = lives["hours" if use.unit == "h" else "days"].to_numpy(dtype=np.float64)[order]
    length = np.where(np.isfinite(length), np.maximum(length, 0.0), 0.0)
    healthy = (lives["end"] == "withdrawn").to_numpy(dtype=np.float64)
    return PositionCounts(
        at[~follows],
        group,
        summed(number, length, int(np.count_nonzero(~follows))),
        fresh[~follows],
        place,
        use.middle,
        use.entry,
        use.weight,
        use.failed,
        summed(group[place], healthy, groups),
    )
