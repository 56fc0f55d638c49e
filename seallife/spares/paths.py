"""Which seals will be needed from the store, and when, in each of many futures?

In: seals in service and the laws that their records allow. Out: `DemandPaths`. Next:
`seallife.spares.stockpaths`, `seallife.spares.advice`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.life.groups import Floats, Ints

__all__ = ["KINDS", "DemandPaths"]

KINDS = ("failed", "planned with other work", "planned in outage")
"""Why a seal is needed, by its number in `DemandPaths.kind`."""


@dataclass(frozen=True, eq=False)
class DemandPaths:
    """Seals needed, one row each, sorted by run, then day.

    Attributes
    ----------
    pools : Index, shape (p,)
        Names of the stock pools.
    runs : int
        Futures; each is one set of laws that the records allow and one outcome of chance.
    days : float
        How far ahead the futures reach.
    run, pool : ndarray of int, shape (m,)
        Future and pool of each seal needed.
    day : ndarray, shape (m,)
        Days from now, above 0, up to ``days``.
    kind : ndarray of int, shape (m,)
        Place in `KINDS`.
    seed : int

    Raises
    ------
    InputError
        Columns differ in length, a number lies outside its range, or rows are not in order.
    """

    pools: pd.Index[str]
    runs: int
    days: float
    run: Ints
    pool: Ints
    day: Floats
    kind: Ints
    seed: int

    def __post_init__(self) -> None:
        columns = (self.run, self.pool, self.day, self.kind)
        if len({len(column) for column in columns}) > 1:
            raise InputError("columns differ in length", where="paths")
        if not (self.runs >= 1 and self.days > 0):
            raise InputError(f"has {self.runs} futures over {self.days} d", where="paths")
        if not self.pools.is_unique:
            raise InputError("name a pool twice", where="paths.pools")
        for name, values, count in (
            ("run", self.run, self.runs),
            ("pool", self.pool, len(self.pools)),
            ("kind", self.kind, len(KINDS)),
        ):
            if len(values) and not (values.min() >= 0 and values.max() < count):
                raise InputError(f"not all within 0 to {count - 1}", where=f"paths.{name}")
        if not np.all((self.day > 0) & (self.day <= self.days)):
            raise InputError(f"not all above 0 and up to {self.days:g}", where="paths.day")
        step = np.diff(self.run)
        if np.any((step < 0) | ((step == 0) & (np.diff(self.day) < 0))):
            raise InputError("rows are not sorted by run, then day", where="paths")

    def needed(self, until: Floats, kinds: Sequence[int] = (0, 1, 2)) -> Ints:
        """How many seals of each pool does each future need by a day?

        Parameters
        ----------
        until : ndarray, shape (p,)
            Days from now of each pool; none are counted where it is NaN.
        kinds : sequence of int
            Which of `KINDS`.

        Returns
        -------
        ndarray of int, shape (p, runs)
        """
        rows = np.isin(self.kind, kinds) & (self.day <= until[self.pool])
        lane = self.pool[rows] * self.runs + self.run[rows]
        counts = np.bincount(lane, minlength=len(self.pools) * self.runs)
        return counts.reshape(len(self.pools), self.runs)

    def without(self, pool: str) -> DemandPaths:
        """The same without one pool."""
        if pool not in self.pools:
            return self
        gone = self.pools.get_loc(pool)
        rows = self.pool != gone
        number = self.pool[rows] - (self.pool[rows] > gone)
        return replace(
            self,
            pools=self.pools.drop(pool),
            run=self.run[rows],
            pool=number,
            day=self.day[rows],
            kind=self.kind[rows],
        )
