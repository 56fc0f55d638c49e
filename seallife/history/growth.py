"""Is the failure rate going down? One verdict a group, each position against itself.

In: `Removals`, `LifeTable`, groups of positions. Out: `Growth`. Next: `seallife.figures.growth`,
`seallife.report`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from seallife.clocks import day_number
from seallife.errors import InputError
from seallife.events import Removals
from seallife.history.growthdata import Clock, GrowthData, growth_data
from seallife.history.positionchange import PositionChanges, changes_of
from seallife.history.positiontrend import PositionTrends, trends_of
from seallife.history.powerlaw import PowerLaw, power_law
from seallife.history.trendtests import TrendTests, trend_tests
from seallife.history.watch import FleetExposure, Watch, fleet_exposure
from seallife.life.groups import Floats
from seallife.life.lifedata import check_level
from seallife.life.result import TableResult
from seallife.lives import LifeTable
from seallife.register import Register
from seallife.schema import DAYS_PER_YEAR

__all__ = ["Growth", "growth_of_groups"]

_BY = ("all", "site", "unit", "service_class")
_MANY = 0.2  # share of new positions from which their ageing is worth a word
_METHOD = "trend of the failure rate within positions, given their counts; t limits by positions"
_SOURCE = (
    "Lawless, Cigsar & Cook (2012), Technometrics 54, 147-158; Crow (1975), AMSAA TR-138; Ascher & "
    "Feingold (1984), Repairable Systems Reliability"
)


@dataclass(frozen=True, eq=False)
class Growth(TableResult):
    """Trends of all groups.

    Attributes
    ----------
    table : DataFrame
        Per group: ``group``, ``by``, ``positions``, ``new`` (those of them that were new
        when their time at risk began), ``with_failures``, ``failures``,
        ``exposure_years``, ``first`` and ``last`` (days watched);
        ``yearly`` (factor by which the rate changes in a year), ``ratio`` (rate at the last day
        over that at the first), both with ``_low`` and ``_high``, ``p``, ``verdict`` and
        ``message``: see `seallife.history.positiontrend.PositionTrends`;
        ``lewis_robinson_p``, ``reversals_p``: tests of the gaps of each position, hold at renewal;
        ``laplace_p``, ``mil_hdbk_p``: tests on the group's pooled exposure, hold at random events
        and a steady mix of positions only;
        ``shape`` with limits, ``fit_p``: power law on pooled exposure, likewise;
        ``changed``, ``change`` (day) with limits, ``change_ratio``, ``change_p``,
        ``change_message``: see `seallife.history.positionchange.PositionChanges`;
        ``left_out`` (failures on a day at which nothing of the position was at risk), ``status``.
    trends : PositionTrends
    tests : TrendTests
        On pooled exposure.
    law : PowerLaw
        On pooled exposure, in years.
    changes : PositionChanges
    watch : Watch
        Positions and failures of each group, in days; groups in the order of ``table``.
    exposure : FleetExposure
        Pooled exposure of each group, in days.
    clock : {'calendar', 'run'}
        Whether exposure is time in place or time run, in years of 8,766 h.
    unknown_as : str
        How removals of unknown reason were counted.
    by_chance : float
        How many groups may be expected to get 'improved' or 'worse' if nothing changed anywhere.
    """

    trends: PositionTrends
    tests: TrendTests
    law: PowerLaw
    changes: PositionChanges
    watch: Watch
    exposure: FleetExposure
    clock: Clock
    unknown_as: str
    by_chance: float

    def failures(self, group: str) -> pd.DataFrame:
        """Pooled exposure at each failure of a group: ``day``, ``exposure_years``, ``number``."""
        g = self._number(group)
        run = slice(self.watch.group_events[g], self.watch.group_events[g + 1])
        day = np.sort(self.watch.time[run])
        spent = self.exposure.at(day, np.full(len(day), g)) / DAYS_PER_YEAR
        return pd.DataFrame(
            {"day": _dates(day), "exposure_years": spent, "number": np.arange(1, len(day) + 1)}
        )

    def exposure_at(self, group: str, days: pd.Series) -> Floats:
        """Pooled exposure [years] that a group had gathered by each day."""
        g = self._number(group)
        when = day_number(pd.to_datetime(days))
        return self.exposure.at(when, np.full(len(when), g)) / DAYS_PER_YEAR

    def _number(self, group: str) -> int:
        self[group]  # says which groups there are
        return int(np.flatnonzero(self.table["group"] == group)[0])


def growth_of_groups(
    removals: Removals,
    lives: LifeTable,
    register: Register,
    service_class: pd.Series,
    *,
    by: Sequence[str] = _BY,
    level: float = 0.90,
    clock: Clock = "calendar",
    resamples: int = 999,
    seed: int = 1,
) -> Growth:
    """Is the failure rate of each group going down or up, beyond chance?

    Parameters
    ----------
    removals, lives, register
        As `seallife.history.mtbr.mtbr_history` takes them; time at risk is that of the lives, and
        removals of unknown reason count as they do in ``lives``.
    service_class : pandas.Series
        Position -> class.
    by : sequence of {'all', 'site', 'unit', 'service_class'}
        Ways of grouping.
    level : float
        Two-sided level of all limits, and of the verdicts.
    clock : {'calendar', 'run'}
        Whether exposure counts time in place, or time run: then pumps that ran less and failed
        less have not improved.
    resamples, seed : int

    Returns
    -------
    Growth

    Raises
    ------
    InputError
        Another word in ``by`` or ``clock``, or a level that cannot be used.

    Notes
    -----
    The verdict rests on `seallife.history.positiontrend.trend_by_position`, which holds at renewal,
    with positions that differ and come and go. The other tests stand beside it for those who look
    for them by name; where each does not hold is said at `seallife.history.trendtests.trend_tests`.
    One group in ten in which nothing changed gets a verdict of change at level 0.90:
    ``by_chance`` says how many of those in the table.

    Positions that were new when their records began (``new``) have seals that age together, and a
    rate that moves with it; where they are a fifth of a group or more (common practice, no source)
    the message of a change says so. A rate counted in calendar years falls too where pumps run
    less; with ``clock='run'`` it does not. A mass renewal makes seals young, and the rate low, for
    a while.
    """
    check_level(level)
    strange = [word for word in by if word not in _BY]
    if strange or not by:
        raise InputError(
            f"is {strange[0]!r}" if strange else "is empty",
            where="by",
            hint=f"use {', '.join(_BY)}",
        )
    if clock not in ("calendar", "run"):
        raise InputError(f"is {clock!r}", where="clock", hint="use 'calendar' or 'run'")
    data = growth_data(
        removals, lives, register, service_class, by, clock, resamples=resamples, seed=seed
    )
    watch = data.watch
    trends = trends_of(watch, level=level, per=DAYS_PER_YEAR, unplaced=data.unplaced)
    changes = changes_of(watch, level=level, resamples=resamples, seed=seed)
    exposure = fleet_exposure(watch)
    number = np.arange(len(watch))
    owner = watch.group_of_unit[watch.unit_of_event]
    whole = exposure.total() / DAYS_PER_YEAR
    spent = np.clip(exposure.at(watch.time, owner) / DAYS_PER_YEAR, 1e-9, whole[owner])
    # of the tests of gaps only those by position are kept: few resamples do here
    tests = trend_tests(
        spent, whole, unit=owner, end_unit=number, group=number, resamples=99, seed=seed
    )
    law = power_law(spent, whole, unit=owner, end_unit=number, group=number, level=level, seed=seed)
    table = _table(data, trends, tests, law, changes)
    told = int((table["with_failures"] > 1).sum())
    return Growth(
        table,
        level,
        _METHOD,
        _SOURCE,
        trends,
        tests,
        law,
        changes,
        watch,
        exposure,
        clock,
        lives.unknown_as,
        (1 - level) * told,
    )


def _table(
    data: GrowthData,
    trends: PositionTrends,
    tests: TrendTests,
    law: PowerLaw,
    changes: PositionChanges,
) -> pd.DataFrame:
    """One row a group, from all tables."""
    t, c = trends.table, changes.table
    rows = data.names[["group", "by"]].assign(
        positions=t["positions"],
        new=data.new,
        with_failures=t["with_events"],
        failures=t["events"],
        exposure_years=t["exposure"] / DAYS_PER_YEAR,
        first=_dates(t["first"]),
        last=_dates(t["last"] - 1),
    )
    columns = [f"{c}{s}" for c in ("yearly", "ratio") for s in ("", "_low", "_high")]
    rows[[*columns, "p", "verdict", "message"]] = t[[*columns, "p", "verdict", "message"]]
    for name in ("lewis_robinson_p", "reversals_p"):
        rows[name] = data.gaps[name]
    rows[["laplace_p", "mil_hdbk_p"]] = tests.table[["laplace_p", "mil_hdbk_p"]]
    shapes = ["shape", "shape_low", "shape_high", "fit_p"]
    rows[shapes] = law.table[shapes]
    rows["message"] = _with_age(rows)
    rows["changed"] = c["changed"].astype(bool)
    for name in ("change", "change_low", "change_high"):
        rows[name] = _dates(c[name])
    return rows.assign(
        change_ratio=c["ratio"],
        change_p=c["p"],
        change_message=c["message"],
        left_out=data.left_out,
        status=t["status"],
    )


def _with_age(rows: pd.DataFrame) -> list[str]:
    """Messages, with a caution where seals that age together may look like a trend."""
    out = rows["message"].tolist()
    told = rows["verdict"].isin(["improved", "worse"]) & (rows["new"] >= _MANY * rows["positions"])
    for i in np.flatnonzero(told):
        row = rows.iloc[i]
        out[i] += (
            f" {row['new']} of {row['positions']} positions were new when their records began: "
            "their first seals age together, which looks the same."
        )
        if np.isfinite(row["lewis_robinson_p"]):
            p = f"p {row['lewis_robinson_p']:.2g}"
            out[i] += f" The gaps between failures of one position do not mind that ({p})."
    return out


def _dates(days: pd.Series | Floats) -> pd.Series:
    """Days since 1970-01-01 as dates; NaT for NaN."""
    return pd.to_datetime(pd.Series(np.floor(np.asarray(days, dtype=float))), unit="D")
