"""Whether things get better, each question answered when it is first asked.

In: all that was read and built of a fleet. Out: `TrendAnswers`. Next: `seallife.study`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from seallife.changes import Changes
from seallife.classes import Classes
from seallife.clocks import RunClock
from seallife.events import Removals
from seallife.history.agerates import AgeRates, age_rates
from seallife.history.causeshares import cause_shares, failures_with_cost
from seallife.history.early import EarlyStretches, early_stretches
from seallife.history.growth import Growth, growth_of_groups
from seallife.history.improvement import Improvements, improvements_of
from seallife.history.mtbr import MtbrHistory
from seallife.history.recurrence import MeanCumulative
from seallife.history.recurrence_groups import mean_cumulative_of_groups
from seallife.history.signals import ChartSignals, chart_signals
from seallife.history.standoutlives import standouts_of
from seallife.history.standouts import StandOuts
from seallife.history.target import TargetForecast, forecast_target
from seallife.history.windows import windowed
from seallife.intake import Fleet
from seallife.life.usable import CLOCKS
from seallife.lives import LifeTable
from seallife.observation import Observation
from seallife.register import Register
from seallife.settings import Rules

__all__ = ["TrendAnswers"]

_RESAMPLES = 199
_GROUPED = ("position_id", "pair_group", "unit", "pump_type", "seal_type", "lot", "crew")


@dataclass(frozen=True, eq=False)
class TrendAnswers:
    """Are things getting better, where not, and did changes work; computed when asked for.

    Attributes
    ----------
    fleet, register, classes, watched, removals, changes, lives, clock, history
        What was read and built.
    """

    fleet: Fleet
    register: Register
    classes: Classes
    watched: Observation
    removals: Removals
    changes: Changes
    lives: LifeTable
    clock: RunClock
    history: MtbrHistory

    @cached_property
    def age_rates(self) -> AgeRates:
        """How often seals fail by class and age."""
        return age_rates(self.lives.table)

    @cached_property
    def target(self) -> TargetForecast:
        """Where MTBF and MTBR will stand at a date ahead, and whether the target will be met."""
        rules = self._rules
        return forecast_target(
            self.lives.table,
            self.clock,
            self.age_rates,
            self.history.monthly,
            until=None if rules.target_date is None else pd.Timestamp(rules.target_date),
            target_mtbf_years=rules.target_mtbf_years,
            target_mtbr_years=rules.target_mtbr_years,
            level=rules.level,
        )

    @cached_property
    def early(self) -> EarlyStretches:
        """Whether seals were fitted worse at some time, by site."""
        return early_stretches(self.lives, self._rules.early_days, self._rules.level)

    @cached_property
    def signals(self) -> Mapping[str, ChartSignals]:
        """What the months show beyond chance at the seals' ages: whole fleet, then each site."""
        monthly = self.history.monthly
        rows = monthly[monthly["by"].isin(["all", "site"])]
        return {
            str(group): chart_signals(part, self._rules.level)
            for group, part in rows.groupby("group", sort=False)
        }

    def windows(self, months: int, *, apart: bool = False) -> pd.DataFrame:
        """MTBR and MTBF over windows of so many months, none across a change of the records."""
        history = self.history
        return windowed(
            history.monthly,
            months,
            apart=apart,
            breaks=history.breaks,
            level=history.level,
        )

    @cached_property
    def growth(self) -> Growth:
        """Whether the failure rate goes down or up over the whole record."""
        return growth_of_groups(
            self.removals,
            self.lives,
            self.register,
            self._service_class,
            by=("all", "site", "service_class"),
            level=self._rules.level,
            resamples=_RESAMPLES,
        )

    @cached_property
    def recurrence(self) -> MeanCumulative:
        """How many failures a position has had by each date, by class."""
        return mean_cumulative_of_groups(
            self.removals,
            self.lives,
            self.register,
            self._service_class,
            by="service_class",
            level=self._rules.level,
        )

    @cached_property
    def causes(self) -> pd.DataFrame:
        """What was found wrong with the seals that failed: failures, hours out and cost."""
        failures = failures_with_cost(
            self.removals.table, self.fleet["work_orders"], "damage", self.lives.unknown_as
        )
        return cause_shares(failures, self._rules.level)

    @cached_property
    def standouts(self) -> Mapping[str, StandOuts]:
        """What fails more or less often than its class explains: positions, pairs, units, ..."""
        return {
            by: standouts_of(
                self.lives.table,
                self.register.table,
                self.removals.table,
                by=by,
                clock=CLOCKS[self._rules.clock],
                early_days=self._rules.early_days,
                level=self._rules.level,
            )
            for by in _GROUPED
            if by == "position_id" or self._labels(by) > 1
        }

    @cached_property
    def improvements(self) -> Improvements:
        """Whether each change of positions worked."""
        return improvements_of(
            self.changes,
            self.fleet["changes"],
            self.lives,
            self.removals,
            self.watched,
            self.classes,
            clock=CLOCKS[self._rules.clock],
            level=self._rules.level,
        )

    def _labels(self, by: str) -> int:
        """How many groups the records tell apart."""
        table = self.lives.table if by in self.lives.table else self.register.table
        told = table[by].astype(object)
        return int(told[told.notna() & (told != "")].nunique())

    @property
    def _service_class(self) -> pd.Series:
        return self.classes.table.set_index("position_id")["service_class"]

    @property
    def _rules(self) -> Rules:
        return self.fleet.settings.rules
