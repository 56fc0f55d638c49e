"""A table of lives as arrays: one clock, and the lives that cannot be used set apart.

In: the life table. Out: `UsableLives`. Next: `seallife.life.fits`, `seallife.life.tablefits`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.errors import InputError, need_columns
from seallife.schema import DAYS_PER_YEAR, ENDS, HOURS_PER_YEAR

__all__ = ["CLOCKS", "UNITS", "Clock", "UsableLives", "usable_lives"]

Clock = Literal["run_h", "calendar_d"]

UNITS = {"run_h": "h", "calendar_d": "d"}

CLOCKS: Mapping[str, Clock] = {"run hours": "run_h", "calendar": "calendar_d"}
"""Clock of the settings -> clock of the ages."""


class UsableLives(NamedTuple):
    """Lives as arrays; one left out keeps its class with a weight of 0."""

    unit: str
    label: NDArray[Any]
    age: NDArray[np.float64]
    middle: NDArray[np.float64]
    low: NDArray[np.float64]
    entry: NDArray[np.float64]
    failed: NDArray[np.bool_]
    weight: NDArray[np.float64]
    out: NDArray[np.bool_]
    reason: NDArray[Any]

    @property
    def year(self) -> float:
        """A year on the clock."""
        return HOURS_PER_YEAR if self.unit == "h" else DAYS_PER_YEAR

    @property
    def oldest(self) -> float:
        """Oldest age, a week where there is none."""
        return float(self.age[~self.out].max(initial=self.year / 50))

    @property
    def grouped(self) -> dict[str, Any]:
        """What every estimator asks of lives beside their ages and ends."""
        return {"group": self.label, "entry_age": self.entry, "weight": self.weight}


def usable_lives(lives: pd.DataFrame, by: str, clock: str) -> UsableLives:
    """Check a life table and take from it what can be fitted."""
    if clock not in UNITS:
        raise InputError(f"is {clock!r}", where="clock", hint="use 'run_h' or 'calendar_d'")
    unit = UNITS[clock]
    need_columns(
        lives,
        ["life_id", "end", "age_known", by, f"entry_age_{unit}", f"exit_age_{unit}"],
        "lives",
        "build it with build_lives",
    )
    ends = lives["end"].to_numpy(dtype=object)
    strange = ~np.isin(ends.astype(str), ENDS)
    if strange.any():
        first = int(np.argmax(strange))
        raise InputError(
            f"is {ends[first]!r} at life {lives['life_id'].iloc[first]!r}",
            where="end",
            hint=f"use one of {', '.join(ENDS)}",
        )
    label = lives[by].astype(object).where(lives[by].notna(), "unknown").to_numpy(dtype=object)
    failed = ends == "failed"
    entry, age = (_ages(lives, f"{name}_age_{unit}") for name in ("entry", "exit"))
    low = np.full(len(age), np.nan)
    if f"exit_low_{unit}" in lives:
        # a seal seen at work at its entry had not failed before
        low = np.fmax(_ages(lives, f"exit_low_{unit}"), entry)
        low = np.where(failed & (_ages(lives, f"exit_low_{unit}") < age), low, np.nan)
    reason = _reasons(lives["age_known"].to_numpy(dtype=bool, na_value=False), entry, age, unit)
    out = reason != ""
    # a life left out keeps its class in the table with a weight of 0
    age, entry = np.where(out, 1.0, age), np.where(out, 0.0, entry)
    low = np.where(out, np.nan, low)
    middle = np.where(np.isnan(low), age, (low + age) / 2)
    weight = np.where(out, 0.0, 1.0)
    return UsableLives(unit, label, age, middle, low, entry, failed & ~out, weight, out, reason)


def _ages(lives: pd.DataFrame, name: str) -> NDArray[np.float64]:
    """Ages of a column as floats, NaN where missing."""
    return pd.to_numeric(lives[name]).to_numpy(dtype=np.float64, na_value=np.nan)


def _reasons(
    known: NDArray[np.bool_], entry: NDArray[np.float64], age: NDArray[np.float64], unit: str
) -> NDArray[Any]:
    """Why a life cannot be used, or nothing."""
    what = "run hours" if unit == "h" else "calendar ages"
    reason = np.full(len(age), "", dtype=object)
    with np.errstate(invalid="ignore"):
        reason[~(age > entry)] = f"no {what} lived under observation"
        reason[entry < 0] = f"{what} at entry below 0"
    reason[~(np.isfinite(age) & np.isfinite(entry))] = f"{what} not known"
    reason[~known] = "age not known"
    return reason
