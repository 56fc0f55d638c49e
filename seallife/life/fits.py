"""How long do the seals of each service class last?

In: the life table. Out: `LifeFits`. Next: spares, benchmark, figures, report.

The bridge between the table of lives and the array functions: it names the lives left out and puts
units into the column names. `seallife.life.tablefits` bridges to the other models.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.life.curves import SurvivalCurves
from seallife.life.hazard import WeibullHazards, hazards_of
from seallife.life.nonparametric import kaplan_meier
from seallife.life.result import TableResult
from seallife.life.usable import UNITS, Clock, usable_lives
from seallife.life.weibull import WeibullFits, fit_weibull

__all__ = ["LifeFits", "fit_lives"]

_AGES_OF_RATES = 12
_AGES = ("exposure", "oldest_age", "scale", "mean", "sd")


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
    hazards : WeibullHazards
        Failure rates by the fit at 12 ages from a week to the oldest life, where asked for.
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
    hazards: WeibullHazards
    curves: SurvivalCurves
    excluded_ids: pd.DataFrame
    by: str
    clock: str
    lives: int
    used: int

    @property
    def unit(self) -> str:
        """Unit of all ages: 'h' or 'd'."""
        return UNITS[self.clock]


def fit_lives(
    lives: pd.DataFrame,
    by: str = "service_class",
    clock: Clock = "run_h",
    *,
    level: float = 0.90,
    survival_at: Sequence[float] | NDArray[Any] = (),
    hazards: bool = False,
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
    hazards : bool
        Whether failure rates are wanted; not used with a fixed shape.
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
    use = usable_lives(lives, by, clock)
    unit, out, low = use.unit, use.out, use.low
    fixed = fixed_shape is not None
    ages = np.geomspace(min(use.year / 50, use.oldest), use.oldest, _AGES_OF_RATES)
    fits = fit_weibull(
        use.middle if fixed else use.age,
        use.failed,
        age_low=None if fixed else low,
        fixed_shape=fixed_shape,
        level=level,
        survival_at=survival_at,
        hazard_at=ages if hazards else (),
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
        hazards_of(fits),
        curves,
        excluded_ids,
        by,
        clock,
        len(lives),
        int((~out).sum()),
    )


def _survival(fits: WeibullFits, curves: SurvivalCurves) -> pd.DataFrame:
    """Kaplan-Meier and Weibull side by side."""
    law = fits.survival.rename(
        columns={"survival": "weibull", "low": "weibull_low", "high": "weibull_high"}
    )
    seen = curves.running(law["age"].drop_duplicates().to_numpy(dtype=float))
    order = ["group", "age", "survival", "low", "high", "at_risk"]
    return seen[order].merge(law, on=["group", "age"], how="left")


def _with_units(table: pd.DataFrame, by: str, unit: str) -> pd.DataFrame:
    """Table with the class column named, and the unit on every age."""

    def name(column: str) -> str:
        stem = column.removesuffix("_low").removesuffix("_high")
        quantile = stem[:1] == "b" and stem[1:].replace(".", "").isdigit()
        if stem in _AGES or quantile or column == "scale_if_one_failed":
            return f"{column}_{unit}"
        return column

    return table.rename(columns={"group": by, **{c: name(c) for c in table.columns[1:]}})
