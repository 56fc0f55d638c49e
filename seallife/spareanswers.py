"""Seals needed, stock, what to renew and when; each answer found when it is first asked for.

In: lives, register, run hours, outages, stores, `LifeAnswers`, `LeakAnswers`, settings. Out:
`SpareAnswers`. Next: `seallife.study`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from seallife.clocks import RunClock
from seallife.leakanswers import LeakAnswers
from seallife.life.groups import Floats
from seallife.lifeanswers import LifeAnswers
from seallife.lives import LifeTable
from seallife.outages import outage_spacing
from seallife.schema import DAYS_PER_YEAR, HOURS_PER_DAY
from seallife.sections import Costs, cost_at
from seallife.settings import Settings
from seallife.spares.advice import OrderAdvice, order_advice
from seallife.spares.ahead import FleetAhead
from seallife.spares.budget import Budget, yearly_budget
from seallife.spares.confirmed import NO_ITEM
from seallife.spares.demand import Demand, forecast_demand, month_edges
from seallife.spares.fleetahead import fleet_ahead
from seallife.spares.futures import simulate_demand
from seallife.spares.kit import outage_kit
from seallife.spares.outage import OutageList, outage_list
from seallife.spares.paths import DemandPaths
from seallife.spares.pools import Pools, read_pools
from seallife.spares.replacement import Replacement, replacement_ages
from seallife.spares.sheet import storeroom_sheet
from seallife.spares.shelf import ShelfLife, shelf_life
from seallife.spares.stocklevels import LevelChoices, choose_levels
from seallife.spares.stockpaths import StoresAhead, stores_ahead

__all__ = ["MONTHS_AHEAD", "SpareAnswers"]

MONTHS_AHEAD = 36
"""How far ahead seals needed are foretold."""

_RUNS = (200, 1_000)
_SEALS_RUN = 10_000_000  # seals times futures
_DUTY = 0.5  # share of time run that turns a period of days into run hours
_READ_D = 365  # a seal not read for so long is not read
_MEASURE = {
    "no shortage": "months without shortage",
    "fill rate": "fill rate",
}


@dataclass(frozen=True, eq=False)
class SpareAnswers:
    """How many spares, what to renew in the outage, whether to renew by age.

    Attributes
    ----------
    lives : LifeTable
    positions : DataFrame
        The register with ``service_class``.
    run_clock : RunClock
    outages, stores : DataFrame
        As read.
    life : LifeAnswers
    leakage : callable
        Of nothing to `LeakAnswers`: asked for the outage list only.
    settings : Settings
    """

    lives: LifeTable
    positions: pd.DataFrame
    run_clock: RunClock
    outages: pd.DataFrame
    stores: pd.DataFrame
    life: LifeAnswers
    leakage: Callable[[], LeakAnswers]
    settings: Settings

    @cached_property
    def ahead(self) -> FleetAhead:
        """Seals in service and to come, with the laws that the records allow."""
        return fleet_ahead(
            self.lives.table,
            self.positions,
            self.run_clock,
            self.outages,
            self.life.pooled,
            self.life.clock,
        )

    @property
    def can_forecast(self) -> bool:
        """Whether anything has failed and anything is in service."""
        ends = self.lives.table["end"]
        return bool((ends == "in service").any()) and self.life.pooled.posterior is not None

    @cached_property
    def demand(self) -> Demand:
        """Seals needed by pool and month."""
        return forecast_demand(self.ahead, months=MONTHS_AHEAD, level=self._level)

    @cached_property
    def paths(self) -> DemandPaths:
        """Simulated futures."""
        runs = int(np.clip(_SEALS_RUN // max(len(self.ahead), 1), *_RUNS))
        days = float(month_edges(self.ahead.now, MONTHS_AHEAD)[-1])
        return simulate_demand(self.ahead, days=days, runs=runs)

    @cached_property
    def pools(self) -> Pools:
        """Stock items, the positions on each, what is not known of them."""
        now = pd.Timestamp(self.lives.table["exit"].max()) if len(self.lives.table) else None
        return read_pools(
            self.stores, self.positions, self._costs, now=now or pd.Timestamp("2100-01-01")
        )

    @cached_property
    def items(self) -> pd.DataFrame:
        """Stock items of `pools`; levels that contradict each other are left out."""
        table = self.pools.table
        # without a stock list the register's names are no stock
        table = table[(table["pool"] != NO_ITEM) & bool(len(self.stores))].reset_index(drop=True)
        swapped = table["stock_low"] > table["stock_high"]
        table[["stock_low", "stock_high"]] = table[["stock_low", "stock_high"]].mask(swapped)
        return table.assign(arrives_d=(table["on_order_due"] - self.ahead.now).dt.days)

    @cached_property
    def advice(self) -> OrderAdvice:
        """What to order now, what by when and why."""
        costs = self._costs
        return order_advice(
            self._pool_paths,
            self.items,
            share=costs.service,
            spread=costs.lead_time_cv,
            reject_share=costs.reject_share,
            level=0.80,
        )

    @cached_property
    def storeroom(self) -> StoresAhead:
        """What the stores will be able to give if they go on as today."""
        costs = self._costs
        return stores_ahead(
            self._pool_paths,
            self.items,
            spread=costs.lead_time_cv,
            reject_share=costs.reject_share,
            level=self._level,
        )

    @cached_property
    def levels(self) -> LevelChoices:
        """Smallest stock of each item that gives the service asked, and what levels cost."""
        costs = self._costs
        return choose_levels(
            self._pool_paths,
            self.items,
            share=costs.service,
            measure=_MEASURE[costs.service_measure],
            holding_share=costs.holding_share,
            shortage_cost_per_day=self.items["shortage_per_day"].to_numpy(np.float64),
            spread=costs.lead_time_cv,
            reject_share=costs.reject_share,
        )

    @cached_property
    def shelf(self) -> ShelfLife:
        """What has lain, or will have lain, too long."""
        return shelf_life(self.items, self.ahead.now, paths=self._pool_paths)

    @cached_property
    def budget(self) -> Budget:
        """What seals will cost, year by year."""
        costs = self._costs
        return yearly_budget(
            self._pool_paths,
            self.items,
            repair_share=np.nan if costs.repair_share is None else costs.repair_share,
            reject_share=costs.reject_share,
            level=self._level,
        )

    @cached_property
    def replacement(self) -> Replacement:
        """Whether renewing by age is worth it, by class."""
        shapes = self.life.pooled.table.rename(columns={"group": "service_class"})
        planned, failure = self._costs_of_seals(self.ahead.seals)
        by = self.ahead.laws.classes[self.ahead.place]
        early = float(self.settings.rules.early_days)
        return replacement_ages(
            self.ahead.laws,
            shapes,
            planned_cost=_mean_by(planned, by),
            failure_cost=_mean_by(failure, by),
            early_age=early * (HOURS_PER_DAY * _DUTY if self.ahead.laws.unit == "h" else 1.0),
            level=self._level,
        )

    @cached_property
    def outage(self) -> OutageList:
        """Which seals to renew in the coming outages."""
        seals = self.ahead.seals
        seals = seals[seals["life_id"] != ""].reset_index(drop=True)
        planned, failure = self._costs_of_seals(seals)
        return outage_list(
            seals.assign(leak_state=self._leak_states(seals["life_id"])),
            self.ahead.laws,
            planned_cost=planned,
            failure_cost=failure,
            spacing=outage_spacing(self.outages, self.ahead.now),
            not_by_age=self.replacement.not_by_age,
            level=self._level,
        )

    @cached_property
    def kit(self) -> pd.DataFrame:
        """Seals that must lie ready when an outage begins."""
        pool_of = self.ahead.seals.drop_duplicates("position_id").set_index("position_id")["pool"]
        return outage_kit(
            self.outage.table,
            pool_of,
            self.items,
            self.ahead.now,
            spread=self._costs.lead_time_cv,
        )

    @cached_property
    def sheet(self) -> pd.DataFrame:
        """One line a stock item: what it needs, what to order by when, and why."""
        return storeroom_sheet(
            self.items,
            self.advice,
            self.levels,
            self.storeroom,
            self.shelf,
            self.demand,
            self.last_year,
            self.ahead.now,
        )

    @cached_property
    def last_year(self) -> pd.Series:
        """Seals needed in the last 365 days, by pool: what a planner would go by."""
        lives = self.lives.table
        gone = lives["end"].isin(["failed", "withdrawn"])
        gone &= lives["exit"] > self.ahead.now - pd.Timedelta(days=DAYS_PER_YEAR)
        pool = lives.loc[gone, "position_id"].map(self.positions.set_index("position_id")["pool"])
        return pool.fillna(NO_ITEM).replace("", NO_ITEM).value_counts()

    @cached_property
    def _pool_paths(self) -> DemandPaths:
        """Futures of the positions that live on a stock item."""
        return self.paths.without(NO_ITEM)

    def _costs_of_seals(self, seals: pd.DataFrame) -> tuple[Floats, Floats]:
        """Cost of a planned renewal and of a failure at each position, NaN where not known."""
        costs = self._costs
        price = seals["pool"].map(self.items.set_index("pool")["unit_cost"]).to_numpy(np.float64)
        work = np.nan if costs.planned_renewal is None else costs.planned_renewal
        members = self.pools.members.set_index("position_id")["criticality"]
        rank = seals["position_id"].map(members).fillna("").astype(str)
        each = {word: cost_at(costs.failure_extra, word) for word in rank.unique()}
        extra = rank.map(each).to_numpy(np.float64)
        planned = price + work
        return planned, planned + extra

    def _leak_states(self, life_id: pd.Series) -> Floats:
        """Whether each seal in service stands in alarm, is quiet, or is not read."""
        leakage = self.leakage()
        read = leakage.readings.table
        recent = read[read["date"] > self.ahead.now - pd.Timedelta(days=_READ_D)]
        state = np.where(life_id.isin(recent["life_id"]), "none", "not read").astype(object)
        if leakage.any:
            rising = leakage.rising
            hot = rising["state"].eq("rising, confirmed") | rising["over"].ne("")
            state[life_id.isin(rising.loc[hot, "life_id"]).to_numpy()] = "in alarm"
        return state

    @property
    def _costs(self) -> Costs:
        return self.settings.costs

    @property
    def _level(self) -> float:
        return self.settings.rules.level


def _mean_by(values: Floats, by: pd.Index) -> dict[str, float]:
    """Mean of each class; seals whose cost is not known do not count."""
    means = pd.Series(values).groupby(by.to_numpy()).mean()
    return {str(name): float(mean) for name, mean in means.items()}
