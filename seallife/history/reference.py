"""What would each unit have had at the rate of the rest of its class?

In: failures and size of each unit in each class. Out: `Compared`. Next: `seallife.history.spread`.

A unit is held against the others of its class, never against itself. Units of other ratios count
by their ratio, so that a bad one does not make its neighbours look good.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from seallife.life.groups import Floats

__all__ = [
    "Cells",
    "Compared",
    "Reference",
    "by_size",
    "gathered",
    "known_expectation",
    "summed",
    "tail_probabilities",
    "two_sided",
]

Codes = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Compared:
    """Units against the rest of their class.

    Attributes
    ----------
    observed : ndarray, shape (n,)
        Failures in classes in which there is something to compare with.
    expected : ndarray, shape (n,)
        Failures at the rate of the rest; NaN where there is no rest.
    behind : ndarray, shape (n,)
        Poisson failures that tell as much of that rate as the rest does.
    odds : ndarray, shape (n,)
        Expected failures, in units of their dispersion, per failure behind them.
    dispersion : ndarray, shape (n,)
        Variance over mean of the count, did the unit fail as the others.
    others : ndarray, shape (n,)
        Effective number of other units.
    """

    observed: Floats
    expected: Floats
    behind: Floats
    odds: Floats
    dispersion: Floats
    others: Floats

    @property
    def usable(self) -> NDArray[np.bool_]:
        """Units for which there is something to compare with."""
        return np.isfinite(self.expected) & (self.odds > 0) & np.isfinite(self.odds)


Reference = Callable[[Floats], Compared]
"""From the ratio of each unit, as far as known, to what each unit is held against."""


@dataclass(frozen=True, eq=False)
class Cells:
    """What each unit had in each class.

    Attributes
    ----------
    unit, group : ndarray of int, shape (m,)
        Unit and class of each cell.
    failures : ndarray, shape (m,)
    size : ndarray, shape (m,)
        Time at risk, or failures expected at any common rate of the class.
    dispersion : ndarray, shape (m,)
        Variance over mean of the failures.
    units, groups : int
    """

    unit: Codes
    group: Codes
    failures: Floats
    size: Floats
    dispersion: Floats
    units: int
    groups: int


def summed(codes: Codes, values: ArrayLike, count: int) -> Floats:
    """Sum of the values of each code."""
    return np.bincount(codes, np.asarray(values, dtype=np.float64), count).astype(np.float64)


def by_size(cells: Cells) -> Reference:
    """Rest of the class by size: failures of the others over their size times their ratio."""

    def reference(ratio: Floats) -> Compared:
        sized = cells.size > 0
        own = np.where(sized, cells.size * ratio[cells.unit], 0.0)
        spread = np.where(sized, cells.size * cells.dispersion, 0.0)
        sums = (sized, own, own**2, np.where(sized, cells.failures, 0.0), spread, cells.size)
        rest = [summed(cells.group, v, cells.groups)[cells.group] - v for v in sums]
        good = sized & (rest[0] > 0)
        with np.errstate(divide="ignore", invalid="ignore"):
            odds = np.where(good, cells.size / rest[1], 0.0)
            few = np.where(good, rest[2] / rest[1] ** 2, 0.0)
            dispersion = np.where(good, rest[4] / rest[5], 1.0)
        return gathered(cells, good, odds, rest[3] / dispersion, dispersion, few)

    return reference


def gathered(
    cells: Cells,
    good: NDArray[np.bool_],
    odds: Floats,
    behind: Floats,
    dispersion: Floats,
    few: Floats,
) -> Compared:
    """Add the cells of each unit.

    Parameters
    ----------
    cells : Cells
    good : ndarray of bool, shape (m,)
        Cells with something to compare with.
    odds, behind, dispersion : ndarray, shape (m,)
        Failures expected per failure of the rest, failures of the rest on the scale on which
        variance and mean are equal, and what one such failure counts.
    few : ndarray, shape (m,)
        One over the effective number of other units.
    """

    def add(values: Floats) -> Floats:
        return summed(cells.unit, np.where(good, values, 0.0), cells.units)

    mean = odds * behind * dispersion
    # half a failure more: where the rest has none yet, it still says that its rate is not high
    half = odds * (behind + 0.5) * dispersion
    with np.errstate(divide="ignore", invalid="ignore"):
        known = add(mean) > 0
        knowledge = add(mean) ** 2 / add(mean**2 / np.maximum(behind, 1e-12))
        worth = add(half) ** 2 / add(half**2 / (behind + 0.5))
        spread = add(half * cells.dispersion) / add(half)
        others = add(half) ** 2 / add(half**2 * few)
        relative = add(half) / spread / worth
    some = add(np.ones(len(good))) > 0
    blank = [
        np.where(some, v, np.nan)
        for v in (add(mean), np.where(known, knowledge, 0.0), relative, spread, others)
    ]
    return Compared(add(cells.failures), *blank)


def tail_probabilities(
    observed: Floats, behind: Floats, odds: Floats, dispersion: Floats
) -> tuple[Floats, Floats]:
    """Probability of as many failures or more, and of as few or fewer, at the rate of the rest.

    Given the failures of a unit and of its rest together, those of the unit are binomial; this
    allows for the rest being known from so many failures only. Counts are put on the scale on which
    variance and mean are equal, half a count to either side kept as it is.
    """
    from scipy.special import betainc

    share = odds / (1 + odds)
    up_at = (observed - 0.5) / dispersion + 0.5
    down_at = np.maximum((observed + 0.5) / dispersion - 0.5, 0.0)
    up = np.where(observed > 0, betainc(np.maximum(up_at, 1e-9), behind + 1, share), 1.0)
    low = 1 - betainc(down_at + 1, np.maximum(behind, 1e-9), share)
    return up, np.where(behind > 0, low, 1.0)


def two_sided(compared: Compared) -> Floats:
    """Probability of a count at least as rare as the one seen, in either direction.

    To the tail that the count lies in comes as much of the other tail as is no more probable: of
    few expected failures none at all is no rare thing, and adds nothing. NaN where not compared.
    """
    rest = (compared.behind, compared.odds, compared.dispersion)
    seen = np.where(compared.usable, compared.observed, 0.0)
    up, down = tail_probabilities(seen, *rest)
    many = up <= down
    own = np.where(many, up, down)
    far = np.ceil(10 * (seen + np.nan_to_num(compared.expected)) + 100)
    # the last count below, or the first above, that is no more probable than the one seen
    low = np.where(many, -1.0, seen)
    high = np.where(many, seen, far)
    while (high - low > 1).any():
        middle = np.floor((low + high) / 2)
        tail = np.where(many, *tail_probabilities(middle, *rest)[::-1])
        inner = tail <= own
        rising = many == inner
        low, high = np.where(rising, middle, low), np.where(rising, high, middle)
    other = np.where(
        many,
        np.where(low >= 0, tail_probabilities(np.maximum(low, 0.0), *rest)[1], 0.0),
        tail_probabilities(high, *rest)[0],
    )
    return np.where(compared.usable, np.minimum(own + other, 1.0), np.nan)


def known_expectation(cells: Cells, expected: Floats, behind: Floats | None) -> Reference:
    """Expected failures as given, whatever the ratios of the others.

    ``behind`` None: the failures of the other units of the class stand behind them.
    """

    def reference(ratio: Floats) -> Compared:
        del ratio
        sized = cells.size > 0
        sums = (sized, cells.size, cells.size**2, cells.failures)
        rest = [summed(cells.group, v, cells.groups)[cells.group] - v for v in sums]
        base = rest[3] if behind is None else behind
        good = sized & ((rest[0] > 0) | (behind is not None))
        with np.errstate(divide="ignore", invalid="ignore"):
            by_size = np.where(rest[0] > 0, cells.size / rest[1], 1.0)
            known = (expected > 0) & (base > 0)
            odds = np.where(known, expected / base, by_size)
            few = np.where(rest[0] > 0, rest[2] / rest[1] ** 2, 0.0)
        worth = np.where(known, base, 0.0) / cells.dispersion
        return gathered(cells, good, odds, worth, cells.dispersion, few)

    return reference
