"""What would the seals of each unit have had at the rates of the rest of their class, age by age?

In: lives with ages and ends. Out: `Reference`. Next: `seallife.history.standouts`.

At each age at which a seal of the class failed, the failures of the others are divided by the
others then at risk; summed over the ages that the seals of a unit reached, this is what the unit
would have had. Observed less expected then has mean 0 and the variance of a Poisson count whatever
the law of life, for each stretch is judged by what came before it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seallife.history.reference import Cells, Codes, Compared, Reference, gathered, summed
from seallife.life.groups import Floats

__all__ = ["by_age"]

_CELLS = 20_000_000
"""Units times ages of one class that are looked at; beyond, neighbouring ages count as one."""
_BLOCK = 2_000_000


@dataclass(frozen=True, eq=False)
class _Ages:
    """Lives of one class: places of entry and exit among its ages with a failure."""

    unit: Codes
    first: Codes
    last: Codes
    failed: NDArray[np.bool_]
    ages: int
    units: int
    beyond: Floats

    def at_risk(self, low: int, high: int) -> Floats:
        """Lives at risk per unit and age, shape (units, ages), of units ``low`` to ``high``."""
        rows = np.flatnonzero((self.unit >= low) & (self.unit < high))
        out = np.zeros((high - low, self.ages + 1))
        np.add.at(out, (self.unit[rows] - low, self.first[rows]), 1.0)
        np.add.at(out, (self.unit[rows] - low, self.last[rows]), -1.0)
        return np.cumsum(out, axis=1)[:, :-1]

    def failures(self, low: int, high: int) -> Floats:
        """Failures per unit and age."""
        rows = np.flatnonzero((self.unit >= low) & (self.unit < high) & self.failed)
        out = np.zeros((high - low, self.ages))
        np.add.at(out, (self.unit[rows] - low, self.last[rows] - 1), 1.0)
        return out


def by_age(
    cells: Cells, cell: Codes, age: Floats, failed: NDArray[np.bool_], entry: Floats
) -> Reference:
    """Rest of the class at the ages that the seals of each unit reached.

    Parameters
    ----------
    cells : Cells
        ``size`` is time at risk: it serves where no seal of the class failed at the ages reached,
        or no other was at risk there.
    cell : ndarray of int, shape (n,)
        Cell of each life.
    age, entry : ndarray, shape (n,)
    failed : ndarray of bool, shape (n,)
    """
    m = len(cells.unit)
    own = np.argsort(cells.group, kind="stable")
    place = np.empty(m, dtype=np.int64)
    starts = np.searchsorted(cells.group[own], np.arange(cells.groups + 1))
    place[own] = np.arange(m) - starts[cells.group[own]]
    of = cells.group[cell]
    order = np.argsort(of, kind="stable")
    bounds = np.searchsorted(of[order], np.arange(cells.groups + 1))
    classes = []
    for c in range(cells.groups):
        rows = order[bounds[c] : bounds[c + 1]]
        units = int(starts[c + 1] - starts[c])
        classes.append(_ages(place[cell[rows]], age[rows], failed[rows], entry[rows], units))

    def reference(ratio: Floats) -> Compared:
        expected, doubt, part = np.zeros((3, m))
        own_size = cells.size * ratio[cells.unit]
        sums = (cells.size > 0, own_size, own_size**2, cells.failures)
        rest = [summed(cells.group, v, cells.groups)[cells.group] - v for v in sums]
        good = (cells.size > 0) & (rest[0] > 0)
        with np.errstate(divide="ignore", invalid="ignore"):
            by_size = np.where(good, cells.size / rest[1], 0.0)
            few = np.where(good, rest[2] / rest[1] ** 2, 0.0)
            rate = np.where(good, rest[3] / rest[1], 0.0)
        for c, lives in enumerate(classes):
            here = own[starts[c] : starts[c + 1]]
            expected[here], doubt[here], part[here] = _against_rest(lives, ratio[cells.unit[here]])
            old = lives.beyond * rate[here]
            expected[here] += old
            doubt[here] += np.where(rest[3][here] > 0, old**2 / np.maximum(rest[3][here], 1), 0.0)
        known = good & (expected > 0) & (doubt > 0)
        with np.errstate(divide="ignore", invalid="ignore"):
            behind = np.where(known, expected**2 / doubt, 0.0)
            # where only the unit's own seals failed, the others at risk at those ages still tell
            odds = np.where(known, expected / behind, np.where(part > 0, part, by_size))
        return gathered(cells, good, odds, behind, np.ones(m), few)

    return reference


def _ages(unit: Codes, age: Floats, failed: NDArray[np.bool_], entry: Floats, units: int) -> _Ages:
    """Places of entries and exits; time that a unit alone was watched beyond all others."""
    ages = np.unique(age[failed])
    most = max(_CELLS // max(units, 1), 50)
    if len(ages) > most:
        # each failure counts at the lowest age of its run: the seals at risk are those of then
        ages = ages[np.linspace(0, len(ages) - 1, most).astype(np.int64)]
    first = np.searchsorted(ages, entry, side="right")
    last = np.searchsorted(ages, age, side="right")
    # an entry within a run of ages still leaves the failure itself at risk
    first = np.where(failed, np.minimum(first, last - 1), first)
    oldest = np.zeros(units)
    np.maximum.at(oldest, unit, age)
    top = np.sort(oldest)[::-1][:2]
    rest = np.where(oldest == top[0], top[-1] if len(top) > 1 else 0.0, top[0])
    if np.count_nonzero(oldest == top[0]) > 1:
        rest = np.full(units, top[0])
    over = np.maximum(age - np.maximum(entry, rest[unit]), 0.0)
    beyond = summed(unit, over, units)
    return _Ages(unit, first, last, failed, len(ages), units, beyond)


def _against_rest(lives: _Ages, ratio: Floats) -> tuple[Floats, Floats, Floats]:
    """Expected failures of each unit by the others' rates, and the variance of that sum.

    Third: seals of the unit at risk for each other one, mean over the ages with a failure.
    """
    n, ages = lives.units, lives.ages
    expected, doubt, part = np.zeros((3, n))
    if not ages:
        return expected, doubt, part
    step = max(_BLOCK // (ages + 1), 1)
    blocks = [(low, min(low + step, n)) for low in range(0, n, step)]
    risk, failures = np.zeros((2, ages))
    for low, high in blocks:
        risk += ratio[low:high] @ lives.at_risk(low, high)
        failures += lives.failures(low, high).sum(axis=0)
    for low, high in blocks:
        count = lives.at_risk(low, high)
        rest = risk - ratio[low:high, None] * count
        others = failures - lives.failures(low, high)
        # a trace of rounding is left where nobody else is at risk
        seen = (rest > 1e-9 * risk) & (others > 0)
        with np.errstate(divide="ignore", invalid="ignore"):
            rate = np.where(seen, others / rest, 0.0)
            expected[low:high] = (count * rate).sum(axis=1)
            doubt[low:high] = (count**2 * np.where(seen, rate / rest, 0.0)).sum(axis=1)
            both = (rest > 1e-9 * risk) & (count > 0)
            odds = np.where(both, count / rest, 0.0).sum(axis=1)
            part[low:high] = odds / np.maximum(both.sum(axis=1), 1)
    return expected, doubt, part
