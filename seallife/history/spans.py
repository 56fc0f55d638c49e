"""Time at risk of seal lives as flat arrays that can be cut at dates.

In: the life table. Out: `Spans`. Next: `seallife.history.ageshape`, `seallife.history.unchanged`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.clocks import day_number
from seallife.errors import InputError, need_columns
from seallife.life.groups import Floats, Ints
from seallife.life.usable import UNITS, Clock
from seallife.schema import DAYS_PER_YEAR

__all__ = ["Spans", "spans_of"]

Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Spans:
    """Stretches of seal lives on record, one row each.

    Attributes
    ----------
    position, group, stratum : ndarray of int, shape (n,)
        Number of the position, of its service class, and of its class at its site.
    start, end : ndarray, shape (n,)
        Days since 1970 between which the stretch was on record.
    age : ndarray, shape (n,)
        Age of the seal at ``start`` on the age clock; NaN where not known.
    pace : ndarray, shape (n,)
        Units of the age clock lived in a day.
    failed : ndarray of bool, shape (n,)
        Whether the stretch ended with a failure.
    """

    position: Ints
    group: Ints
    stratum: Ints
    start: Floats
    end: Floats
    age: Floats
    pace: Floats
    failed: Flags

    def __len__(self) -> int:
        return len(self.position)

    @property
    def days(self) -> Floats:
        """Length of each stretch [d]."""
        return self.end - self.start

    @property
    def failures(self) -> int:
        """How many of the stretches ended with a failure."""
        return int(self.failed.sum())

    @property
    def years(self) -> float:
        """Time at risk [position-years]."""
        return float(self.days.sum()) / DAYS_PER_YEAR

    def rows(self, chosen: Flags) -> Spans:
        """Only the rows where ``chosen`` is true."""
        return Spans(*(getattr(self, name)[chosen] for name in self.__dataclass_fields__))

    def between(self, low: Floats, high: Floats) -> Spans:
        """What of each stretch lies between two days, given per position.

        A failure on the last day belongs to the stretch that ends with it.

        Parameters
        ----------
        low, high : ndarray, shape (positions,)
            Days since 1970; nothing is left where ``high`` is not above ``low``.
        """
        start = np.maximum(self.start, low[self.position])
        end = np.minimum(self.end, high[self.position])
        kept = end > start
        return Spans(
            self.position[kept],
            self.group[kept],
            self.stratum[kept],
            start[kept],
            end[kept],
            (self.age + (start - self.start) * self.pace)[kept],
            self.pace[kept],
            (self.failed & (end == self.end))[kept],
        )

    def within(self, low: float, high: float) -> Spans:
        """What of each stretch lies between two days."""
        count = int(self.position.max(initial=-1)) + 1
        return self.between(np.full(count, low), np.full(count, high))

    def joined(self, other: Spans) -> Spans:
        """Rows of both."""
        names = self.__dataclass_fields__
        return Spans(*(np.concatenate([getattr(self, n), getattr(other, n)]) for n in names))


def spans_of(
    lives: pd.DataFrame, positions: pd.Index, groups: pd.Index, strata: pd.Index, clock: Clock
) -> Spans:
    """When was each seal at risk, and how old was it?

    Parameters
    ----------
    lives : DataFrame, shape (n, ...)
        Columns of the life table.
    positions, groups, strata : Index
        Their numbers: position_id; service_class; "site / service_class".
    clock : {'run_h', 'calendar_d'}
        Clock of the ages.

    Raises
    ------
    InputError
        If a column is missing, ``clock`` is unknown, or run hours are asked for and not known.
    """
    if clock not in UNITS:
        raise InputError(f"is {clock!r}", where="clock", hint="use 'run_h' or 'calendar_d'")
    unit = UNITS[clock]
    needed = ["position_id", "site", "service_class", "entry", "exit", "end", "age_known"]
    needed += [f"entry_age_{unit}", "days", "hours"]
    need_columns(lives, needed, "lives")
    age, days, hours = (
        pd.to_numeric(lives[c]).to_numpy(dtype=np.float64, na_value=np.nan)
        for c in (f"entry_age_{unit}", "days", "hours")
    )
    pace = hours / days if clock == "run_h" else np.ones(len(lives))
    if not np.isfinite(pace).all():
        first = lives["position_id"].iloc[int(np.argmin(np.isfinite(pace)))]
        raise InputError(
            f"are not known for a life at {first!r}",
            where="hours",
            hint="use clock='calendar_d', or give the position a duty",
        )
    return Spans(
        positions.get_indexer(pd.Index(lives["position_id"])).astype(np.int64),
        groups.get_indexer(pd.Index(lives["service_class"])).astype(np.int64),
        strata.get_indexer(pd.Index(lives["site"] + " / " + lives["service_class"])).astype(
            np.int64
        ),
        day_number(lives["entry"]),
        day_number(lives["exit"]),
        np.where(lives["age_known"].to_numpy(dtype=bool), age, np.nan),
        pace,
        (lives["end"] == "failed").to_numpy(dtype=bool),
    )
