"""How many are at risk at each age?

In: `LifeData`. Out: `RiskSets`. Next: `seallife.life.nonparametric`.

One sort of the ages of each group, then running sums: a life counts from its entry to its end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats, Ints, order_within, running_sum
from seallife.life.lifedata import LifeData

__all__ = ["Pile", "RiskSets", "risk_sets"]


@dataclass(frozen=True, eq=False)
class RiskSets:
    """How many are at risk at each age at which a life enters or ends, by group.

    Attributes
    ----------
    offsets : ndarray of int, shape (g + 1,)
        Ages of group i are ``offsets[i]:offsets[i + 1]``.
    age : ndarray, shape (k,)
        Distinct ages of each group, rising.
    at_risk : ndarray, shape (k,)
        Lives entered before that age and not ended before it.
    failures : ndarray, shape (k,)
        Failures at that age.
    """

    offsets: Ints
    age: Floats
    at_risk: Floats
    failures: Floats


def risk_sets(data: LifeData) -> RiskSets:
    """Count the lives at risk at every age of every group."""
    groups = data.groups
    age, failed, worth = data.age, data.failed, data.weight
    offsets, enters = groups.offsets, None
    from_new = data.count()
    if data.entry is not None:
        # ages of entry take their place behind the ages at the end, group by group
        late = np.flatnonzero(data.entry > 0)
        entered = np.searchsorted(late, offsets)
        from_new = from_new - data.count(data.entry > 0)
        ends_at = np.arange(len(age)) + np.repeat(entered[:-1], groups.sizes)
        enters_at = np.arange(len(late)) + np.repeat(offsets[1:], np.diff(entered))
        offsets = offsets + entered

        def merge(at_end: NDArray[Any], at_entry: NDArray[Any] | bool) -> NDArray[Any]:
            out = np.empty(len(data.age) + len(late), dtype=at_end.dtype)
            out[ends_at], out[enters_at] = at_end, at_entry
            return out

        enters = merge(np.zeros(len(age), bool), True)
        worth = None if worth is None else merge(worth, worth[late])
        failed, age = merge(failed, False), merge(data.age, data.entry[late])
    order = order_within(age, offsets)
    age, died = age[order], failed[order].astype(np.float64)
    change = -np.ones(len(age)) if enters is None else np.where(enters[order], 1.0, -1.0)
    if worth is not None:
        worth = worth[order]
        died, change = died * worth, change * worth
    new = np.ones(len(age), bool)
    new[1:] = age[1:] != age[:-1]
    new[offsets[:-1][np.diff(offsets) > 0]] = True
    before = running_sum(change, offsets) - change
    failures = died
    if not new.all():
        # equal ages are one step, with those at risk before the first of them
        begin = np.flatnonzero(new)
        offsets = np.searchsorted(begin, offsets)
        age, before, failures = age[begin], before[begin], np.add.reduceat(died, begin)
    at_risk = np.repeat(from_new, np.diff(offsets)) + before
    if worth is not None:
        # fractions of lives leave rounding where nobody is at risk
        rounding = 1e-15 * groups.sizes * data.count()
        at_risk = np.where(at_risk > np.repeat(rounding, np.diff(offsets)), at_risk, 0.0)
    return RiskSets(offsets, age, at_risk, failures)


class Pile:
    """Columns that grow block by block, in memory set aside once.

    Blocks can then reuse the cache: kept in a list until the end they would each need new memory.
    """

    def __init__(self, columns: int, capacity: int) -> None:
        self._columns = [np.empty(capacity) for _ in range(columns)]
        self._sizes: list[Ints] = []
        self._used = 0

    def add(self, offsets: Ints, columns: Sequence[Floats]) -> None:
        """Lay the runs of a block behind those laid before."""
        end = self._used + int(offsets[-1])
        for column, part in zip(self._columns, columns, strict=True):
            column[self._used : end] = part
        self._sizes.append(np.diff(offsets))
        self._used = end

    def offsets(self) -> Ints:
        """Offsets of all runs."""
        return np.concatenate(([0], np.cumsum(np.concatenate(self._sizes)))).astype(np.int64)

    def columns(self) -> list[Floats]:
        """All columns, as long as they have become."""
        return [column[: self._used] for column in self._columns]
