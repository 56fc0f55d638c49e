"""How does each store go up and down along each future?

In: `DemandPaths`, `Restock`. Out: `Steps`. Next: `seallife.spares.shortfall`.

Nothing needs to be stepped through in time. When an order is placed depends only on how many
seals were lost before, so all orders are known at once, then all arrivals; the stock is their
running sum less the running sum of seals needed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats, Ints, running_sum, stable_order
from seallife.spares.paths import DemandPaths
from seallife.spares.restock import Restock, spread_times

__all__ = ["Steps", "store_steps"]


@dataclass(frozen=True, eq=False)
class Steps:
    """Seals needed and seals that arrive, by lane (pool, then run) and day.

    Attributes
    ----------
    day : ndarray, shape (n,)
    change : ndarray of int, shape (n,)
        1 for a seal needed; less by each that arrives.
    missing : ndarray of int, shape (n,)
        How many seals the store is then below its number at the start; nobody waits as long as
        this is no more than that number.
    offsets : ndarray of int, shape (p * runs + 1,)
        Steps of lane i are ``offsets[i]:offsets[i + 1]``.
    runs : int
    orders, ordered : ndarray, shape (p, runs)
        Orders placed up to the end, and seals in them.
    """

    day: Floats
    change: Ints
    missing: Ints
    offsets: Ints
    runs: int
    orders: Ints
    ordered: Ints

    @property
    def lane(self) -> Ints:
        """Lane of each step, shape (n,)."""
        return np.repeat(np.arange(len(self.offsets) - 1), np.diff(self.offsets))


def store_steps(
    paths: DemandPaths,
    restock: Restock,
    *,
    kinds: Sequence[int] = (0, 1, 2),
    seed: int = 1,
) -> Steps:
    """How does each store go up and down along each future?

    Parameters
    ----------
    paths : DemandPaths
        p pools.
    restock : Restock
        Of the same pools; those that are not known stay empty.
    kinds : sequence of int
        Which of `seallife.spares.paths.KINDS` the store must serve.
    seed : int

    Returns
    -------
    Steps

    Notes
    -----
    Orders may overtake one another. A seal beyond repair is found at the end of its repair time
    and then ordered. What is on the way at the start arrives at any time within the lead time.
    """
    rng = np.random.default_rng(seed)
    p, runs = len(paths.pools), paths.runs
    known = restock.known
    rows = stable_order(paths.pool, p)
    rows = rows[(np.isin(paths.kind, kinds) & known[paths.pool])[rows]]
    need = (paths.pool[rows] * runs + paths.run[rows], paths.day[rows])
    fixable = restock.repairable[paths.pool[rows]]
    rejected = rng.random(len(rows)) < restock.reject_share[paths.pool[rows]]
    back = need[1] + spread_times(restock.repair_time_d[paths.pool[rows]], restock.spread, rng)
    repaired = fixable & ~rejected
    lost = (need[0][~repaired], np.where(fixable, back, need[1])[~repaired])
    new, orders, ordered = _ordered(lost, restock, paths, rng)
    arrivals = [
        (need[0][repaired], back[repaired], np.ones(int(repaired.sum()), dtype=np.int64)),
        _on_the_way(restock, runs, rng),
        new,
    ]
    lane, day = (np.concatenate([*(a[i] for a in arrivals), need[i]]) for i in (0, 1))
    change = np.concatenate([*(-a[2] for a in arrivals), np.ones(len(rows), dtype=np.int64)])
    inside = day <= paths.days
    lane, day, change = lane[inside], day[inside], change[inside]
    order = _by_lane_and_day(lane, day, paths.days)  # stable: what arrives that day comes first
    offsets = np.concatenate(([0], np.cumsum(np.bincount(lane, minlength=p * runs))))
    change = change[order]
    missing = running_sum(change.astype(np.float64), offsets)
    return Steps(
        day[order], change, np.rint(missing).astype(np.int64), offsets, runs, orders, ordered
    )


def _ordered(
    lost: tuple[Ints, Floats], restock: Restock, paths: DemandPaths, rng: np.random.Generator
) -> tuple[tuple[Ints, Floats, Ints], Ints, Ints]:
    """New seals that arrive, by lane, day and number; orders and seals ordered, by lane."""
    p, runs = len(paths.pools), paths.runs
    lane, day = lost
    order = _by_lane_and_day(lane, day, paths.days + 0.0)
    lane, day = lane[order], day[order]
    size = np.bincount(lane, minlength=p * runs)
    place = np.arange(len(lane)) - np.repeat(np.cumsum(size) - size, size) + 1
    low = restock.known & (restock.position <= restock.reorder)
    lot = restock.up_to - restock.reorder
    spare = np.where(low, lot, restock.position - restock.reorder)  # losses before the first order
    pool = lane // runs
    late = place - spare[pool]
    placed = (late >= 0) & (late % lot[pool] == 0) & (day <= paths.days)
    first = np.repeat(low, runs)
    at_once = np.flatnonzero(first)
    all_lanes = np.concatenate((at_once, lane[placed]))
    when = np.concatenate((np.zeros(len(at_once)), day[placed]))
    number = np.concatenate(
        ((restock.up_to - restock.position)[at_once // runs], lot[pool[placed]])
    )
    takes = spread_times(restock.lead_time_d[all_lanes // runs], restock.spread, rng)
    orders = np.bincount(all_lanes, minlength=p * runs)
    ordered = np.bincount(all_lanes, number, p * runs).astype(np.int64)
    shape = (p, runs)
    return (all_lanes, when + takes, number), orders.reshape(shape), ordered.reshape(shape)


def _on_the_way(restock: Restock, runs: int, rng: np.random.Generator) -> tuple[Ints, Floats, Ints]:
    """Seals on the way at the start, by lane, day and number."""
    units = np.repeat(np.where(restock.known, restock.on_order, 0), runs)
    lane = np.repeat(np.arange(len(units)), units)
    pool = lane // runs
    evenly = rng.random(len(lane)) * restock.lead_time_d[pool]
    day = np.where(np.isnan(restock.arrives_d[pool]), evenly, restock.arrives_d[pool])
    return lane, day, np.ones(len(lane), dtype=np.int64)


def _by_lane_and_day(lane: Ints, day: Floats, days: float) -> NDArray[np.int64]:
    """Order by lane, then day; days after the end count as the end."""
    return np.argsort(lane * (days + 1) + np.minimum(day, days + 0.5), kind="stable")
