"""How long do the seals of each service class last?

In: the life table. Out: `LifeFits`. Next: spares, benchmark, figures, report.

The bridge between the table of lives and the array functions: it chooses a clock, leaves out and
names the lives whose age is not known, and puts units into the column names.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.errors import InputError
from seallife.life.curves import SurvivalCurves
from seallife.life.mixture import MixtureVerdicts, hides_mixture
from seallife.life.nonparametric import kaplan_meier
from seallife.life.result import TableResult
from seallife.life.weibull import WeibullFits, fit_weibull
from seallife.schema import ENDS

__all__ = ["Clock", "LifeFits", "fit_lives", "mixtures_of"]

Clock = Literal["run_h", "calendar_d"]

_AGES = ("exposure", "oldest_age", "scale", "mean", "sd")
_UNITS = {"run_h": "h", "calendar_d": "d"}


@dataclass(frozen=True, eq=False)
class LifeFits(TableResult):
    """Weibull fits and survival curves of all classes of a life table.

    Attributes
    ----------
    table : DataFrame
        One row per class of the input, whatever its status. Ages carry their unit: ``scale_h``,
        ``b10_low_h``, ``exposure_h`` on the run-hour clock, ``_d`` on the calendar clock.
    survival : DataFrame
        Share still running at the ages asked for: class, ``age_h``, ``survival``, ``low``,
        ``high`` by Kaplan-Meier, which assumes no law and holds where causes are mixed; NaN
        beyond the oldest age seen. ``at_risk`` is the number of lives it rests on there.
        ``weibull``, ``weibull_low``, ``weibull_high`` are the same from the fit, to compare.
    curves : SurvivalCurves
        Kaplan-Meier curves of the same lives; a failure known only to an interval counts at its
        middle.
    excluded_ids : DataFrame
        ``life_id``, class and ``reason`` of each life left out.
    by : str
        Column of the class.
    clock : {'run_h', 'calendar_d'}
        Clock of all ages.
    lives, used : int
        Lives read and lives used; the difference is in ``excluded_ids``.
    """

    survival: pd.DataFrame
    curves: SurvivalCurves
    excluded_ids: pd.DataFrame
    by: str
    clock: str
    lives: int
    used: int

    @property
    def unit(self) -> str:
        """Unit of all ages: 'h' or 'd'."""
        return _UNITS[self.clock]


def fit_lives(
    lives: pd.DataFrame,
    by: str = "service_class",
    clock: Clock = "run_h",
    *,
    level: float = 0.90,
    survival_at: Sequence[float] | NDArray[Any] = (),
    fractions: Sequence[float] = (0.10, 0.50),
    fixed_shape: float | None = None,
    resamples: int = 400,
    seed: int = 1,
) -> LifeFits:
    """How long do the seals of each class last, on one clock?

    Parameters
    ----------
    lives : DataFrame
        One row per seal life with ``life_id``, ``end``, ``age_known``, the class column, and
        ``entry_age_h``, ``exit_age_h`` (or ``_d``); ``exit_low_h`` where the end is known only to
        an interval.
    by : str
        Column that holds the class; a missing class is shown as ``unknown``.
    clock : {'run_h', 'calendar_d'}
        Run hours or calendar days.
    level : float
        Two-sided confidence level.
    survival_at : sequence of float
        Ages at which the share still running is wanted, in the unit of the clock.
    fractions : sequence of float
        Shares failed whose ages are wanted.
    fixed_shape : float, optional
        Take the shape as known; an interval end then counts at its middle.
    resamples, seed : int
        Resamples with which the intervals of few failures are calibrated; 0 for none.

    Returns
    -------
    LifeFits

    Raises
    ------
    InputError
        If a column is missing or ``end`` holds an unknown word.
    """
    use = _usable(lives, by, clock)
    unit, out, low = use.unit, use.out, use.low
    fixed = fixed_shape is not None
    fits = fit_weibull(
        use.middle if fixed else use.age,
        use.failed,
        age_low=None if fixed else low,
        fixed_shape=fixed_shape,
        level=level,
        survival_at=survival_at,
        fractions=fractions,
        resamples=resamples,
        seed=seed,
        **use.grouped,
    )
    curves = kaplan_meier(use.middle, use.failed, level=level, **use.grouped)
    table = _with_units(fits.table, by, unit)
    counts = pd.Series(use.label[out], dtype=object).value_counts()
    excluded = [int(counts.get(name, 0)) for name in table[by]]
    table.insert(table.columns.tolist().index("entered_late") + 1, "excluded", excluded)
    survival = _survival(fits, curves).rename(columns={"group": by, "age": f"age_{unit}"})
    excluded_ids = pd.DataFrame(
        {"life_id": lives["life_id"].to_numpy()[out], by: use.label[out], "reason": use.reason[out]}
    )
    return LifeFits(
        table,
        level,
        f"{fits.method}, {'run hours' if unit == 'h' else 'calendar days'}",
        fits.source,
        survival,
        curves,
        excluded_ids,
        by,
        clock,
        len(lives),
        int((~out).sum()),
    )


def mixtures_of(
    lives: pd.DataFrame,
    by: str = "service_class",
    clock: Clock = "run_h",
    *,
    level: float = 0.90,
) -> MixtureVerdicts:
    """In which classes does one Weibull hide an early-failing part?

    Parameters
    ----------
    lives, by, clock, level
        As for `fit_lives`; a failure known only to an interval counts at its middle.
    """
    use = _usable(lives, by, clock)
    return hides_mixture(use.middle, use.failed, level=level, **use.grouped)


class _Usable(NamedTuple):
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
    def grouped(self) -> dict[str, Any]:
        """What every estimator asks of lives beside their ages and ends."""
        return {"group": self.label, "entry_age": self.entry, "weight": self.weight}


def _usable(lives: pd.DataFrame, by: str, clock: str) -> _Usable:
    """Check a life table and take from it what can be fitted."""
    if clock not in _UNITS:
        raise InputError(f"is {clock!r}", where="clock", hint="use 'run_h' or 'calendar_d'")
    unit = _UNITS[clock]
    _require(lives, ["life_id", "end", "age_known", by, f"entry_age_{unit}", f"exit_age_{unit}"])
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
    return _Usable(unit, label, age, middle, low, entry, failed & ~out, weight, out, reason)


def _survival(fits: WeibullFits, curves: SurvivalCurves) -> pd.DataFrame:
    """Kaplan-Meier and Weibull side by side."""
    law = fits.survival.rename(
        columns={"survival": "weibull", "low": "weibull_low", "high": "weibull_high"}
    )
    seen = curves.running(law["age"].drop_duplicates().to_numpy(dtype=float))
    order = ["group", "age", "survival", "low", "high", "at_risk"]
    return seen[order].merge(law, on=["group", "age"], how="left")


def _require(lives: pd.DataFrame, names: list[str]) -> None:
    """Refuse a table without a column it needs."""
    missing = [name for name in names if name not in lives]
    if missing:
        raise InputError(
            f"has no column {', '.join(missing)}", where="lives", hint="build it with build_lives"
        )


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


def _with_units(table: pd.DataFrame, by: str, unit: str) -> pd.DataFrame:
    """Table with the class column named, and the unit on every age."""

    def name(column: str) -> str:
        stem = column.removesuffix("_low").removesuffix("_high")
        quantile = stem[:1] == "b" and stem[1:].replace(".", "").isdigit()
        if stem in _AGES or quantile or column == "scale_if_one_failed":
            return f"{column}_{unit}"
        return column

    return table.rename(columns={"group": by, **{c: name(c) for c in table.columns[1:]}})
