"""Whether things get better, each question answered when it is first asked.

In: all that was read and built of a fleet. Out: `TrendAnswers`. Next: `seallife.study`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from seallife.clocks import RunClock
from seallife.events import Removals
from seallife.history.agerates import AgeRates, age_rates
from seallife.history.causeshares import cause_shares, failures_with_cost
from seallife.history.early import EarlyStretches, early_stretches
from seallife.history.mtbr import MtbrHistory
from seallife.history.signals import ChartSignals, chart_signals
from seallife.history.target import TargetForecast, forecast_target
from seallife.intake import Fleet
from seallife.lives import LifeTable
from seallife.settings import Rules

__all__ = ["TrendAnswers"]


@dataclass(frozen=True, eq=False)
class TrendAnswers:
    """Are things getting better, where not, and did changes work; computed when asked for.

    Attributes
    ----------
    fleet, removals, lives, clock, history
        What was read and built.
    """

    fleet: Fleet
    removals: Removals
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

    @cached_property
    def causes(self) -> pd.DataFrame:
        """What was found wrong with the seals that failed: failures, hours out and cost."""
        failures = failures_with_cost(
            self.removals.table, self.fleet["work_orders"], "damage", self.lives.unknown_as
        )
        return cause_shares(failures, self._rules.level)

    @property
    def _rules(self) -> Rules:
        return self.fleet.settings.rules
