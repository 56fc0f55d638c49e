"""Futures and stores for tests, and a storeroom that simpy runs event by event."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import pandas as pd
import simpy

from seallife.spares.paths import DemandPaths
from seallife.spares.shortfall import MONTH_D


def paths_of(
    lane: np.ndarray, day: np.ndarray, pools: int, runs: int, days: float, kind: int = 0
) -> DemandPaths:
    """Futures from lane numbers (pool, then run) and days."""
    run, pool = lane % runs, lane // runs
    order = np.lexsort((day, run))
    return DemandPaths(
        pd.Index([f"item {i}" for i in range(pools)]),
        runs,
        days,
        run[order],
        pool[order],
        day[order],
        np.full(len(order), kind),
        0,
    )


def steady_paths(
    rates: list[float], runs: int, days: float = 36 * MONTH_D, seed: int = 1
) -> DemandPaths:
    """Poisson demand at so many a year."""
    rng = np.random.default_rng(seed)
    n = rng.poisson(np.repeat(np.array(rates) * days / 365.25, runs))
    lane = np.repeat(np.arange(len(n)), n)
    return paths_of(lane, days * (1 - rng.random(len(lane))), len(rates), runs, days)


def renewed_paths(
    shape: float, scale_y: float, positions: int, runs: int, years: float, seed: int = 1
) -> DemandPaths:
    """One pool whose seals were all renewed today; what fails is followed by a new seal."""
    rng = np.random.default_rng(seed)
    days = years * 365.25
    lane = np.repeat(np.arange(runs), positions)
    age = np.zeros(len(lane))
    lanes, when = [], []
    while len(lane):
        age = age + 365.25 * scale_y * rng.weibull(shape, len(age))
        lane, age = lane[age <= days], age[age <= days]
        lanes.append(lane)
        when.append(age)
    return paths_of(np.concatenate(lanes), np.concatenate(when), 1, runs, days)


@dataclass
class Storeroom:
    """One store in one future."""

    env: simpy.Environment
    shelf: int
    reorder: int
    up_to: int
    lead: Callable[[], float]
    repair: Callable[[], float] | None
    rejects: Callable[[], bool]
    waiting: int = 0
    needed: int = 0
    found: int = 0
    bought: int = 0
    spells: list[tuple[float, int, int]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.position = self.shelf
        self.note()

    def note(self) -> None:
        self.spells.append((self.env.now, self.waiting, self.shelf))

    def receive(self, number: int) -> None:
        for _ in range(number):
            if self.waiting:
                self.waiting -= 1
            else:
                self.shelf += 1
        self.note()

    def coming(self, number: int, takes: float) -> Iterator[simpy.Event]:
        yield self.env.timeout(takes)
        self.receive(number)

    def review(self) -> None:
        if self.position <= self.reorder:
            number = self.up_to - self.position
            self.position += number
            self.bought += number
            self.env.process(self.coming(number, self.lead()))

    def in_shop(self) -> Iterator[simpy.Event]:
        yield self.env.timeout(self.repair())
        if self.rejects():
            self.position -= 1
            self.review()
        else:
            self.receive(1)

    def demand(self, days: np.ndarray) -> Iterator[simpy.Event]:
        for day in days:
            yield self.env.timeout(day - self.env.now)
            self.needed += 1
            if self.shelf:
                self.shelf -= 1
                self.found += 1
            else:
                self.waiting += 1
            self.note()
            if self.repair:
                self.env.process(self.in_shop())
            else:
                self.position -= 1
                self.review()


def run_storerooms(
    paths: DemandPaths, stores: pd.DataFrame, spread: float, seed: int = 5
) -> pd.DataFrame:
    """Each future of each store run by simpy: share of months without shortage, and the rest."""
    rng = np.random.default_rng(seed)
    months = round(paths.days / MONTH_D)
    rows = []
    for row in stores.itertuples():
        number = paths.pools.get_loc(row.pool)
        for run in range(paths.runs):
            mine = paths.day[(paths.pool == number) & (paths.run == run)]
            rows.append((row.pool, *_one(mine, row, paths.days, months, spread, rng)))
    columns = [
        "pool",
        "no_shortage",
        "months",
        "needed",
        "found",
        "backorders",
        "on_shelf",
        "bought",
        "clear",
    ]
    return pd.DataFrame(rows, columns=columns)


def _one(
    days: np.ndarray,
    row: object,
    horizon: float,
    months: int,
    spread: float,
    rng: np.random.Generator,
) -> tuple[object, ...]:
    sigma = np.sqrt(np.log1p(spread**2))

    def time(mean: float) -> Callable[[], float]:
        return lambda: mean * float(np.exp(sigma * rng.standard_normal() - sigma**2 / 2))

    env = simpy.Environment()
    room = Storeroom(
        env,
        int(row.on_hand),
        int(row.stock_low),
        int(row.stock_high),
        time(row.lead_time_d),
        time(row.repair_time_d) if row.repairable else None,
        lambda: rng.random() < row.reject_share,
    )
    for _ in range(int(row.on_order)):
        room.position += 1
        env.process(room.coming(1, rng.uniform(0, row.lead_time_d)))
    room.review()
    env.process(room.demand(days))
    env.run(until=horizon + 1e-9)
    start, waiting, shelf = np.array(room.spells).T
    end = np.append(start[1:], horizon)
    edges = np.linspace(0, horizon, months + 1)
    clear = [not np.any(waiting[(end > a) & (start <= b)] > 0) for a, b in pairwise(edges)]
    waited, on_shelf = (float((n * (end - start)).sum() / horizon) for n in (waiting, shelf))
    figures = (room.needed, room.found, waited, on_shelf, room.bought)
    return (not waiting.any(), np.mean(clear), *figures, clear)
