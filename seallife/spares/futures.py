"""What may happen, seal by seal: futures to run a storeroom through.

In: `FleetAhead`. Out: `DemandPaths`. Next: `seallife.spares.stockpaths`.

The same laws as in `seallife.spares.demand`, but days are exact: each future takes one set of
laws and lets every seal fail, be renewed with other work or in an outage, and be followed.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.life.groups import Floats, Ints
from seallife.life.sidebyside import side_by_side
from seallife.spares.ahead import FleetAhead
from seallife.spares.paths import DemandPaths

__all__ = ["simulate_demand"]

_FAR = 1e12  # age by which every seal has failed, if at a very low rate
_LEAST = 1e-6  # no seal fails at the instant it is fitted, nor before by rounding


def simulate_demand(
    ahead: FleetAhead, *, days: float = 1096.0, runs: int = 500, seed: int = 1
) -> DemandPaths:
    """In which order and on which days may seals be needed?

    Parameters
    ----------
    ahead : FleetAhead
    days : float
        Horizon.
    runs : int
        Futures; they share out the sets of laws evenly.
    seed : int

    Returns
    -------
    DemandPaths

    Raises
    ------
    InputError
        ``days`` or ``runs`` not above 0.
    """
    for name, value in (("days", days), ("runs", runs)):
        if not value > 0:
            raise InputError(f"is {value}", where=name, hint="give a number above 0")
    pools = np.unique(ahead.seals["pool"].to_numpy(dtype=str))
    pool = np.searchsorted(pools, ahead.seals["pool"].to_numpy(dtype=str))
    draws = ahead.laws.draws
    law = np.arange(runs) * draws // runs if runs < draws else np.arange(runs) % draws

    def one(draw: int) -> tuple[Ints, Ints, Floats, Ints]:
        mine = np.flatnonzero(law == draw)
        return _futures(ahead, draw, mine, days, np.random.default_rng((seed, draw)))

    found = side_by_side(one, np.unique(law).tolist())
    run, seal, day, kind = (np.concatenate(part) for part in zip(*found, strict=True))
    order = np.lexsort((day, run))
    return DemandPaths(
        pd.Index(pools), runs, days, run[order], pool[seal[order]], day[order], kind[order], seed
    )


def _futures(
    ahead: FleetAhead, draw: int, runs: Ints, days: float, rng: np.random.Generator
) -> tuple[Ints, Ints, Floats, Ints]:
    """Run, seal, day and kind of each removal in the futures of one set of laws."""
    n = len(ahead)
    z = ahead.factor(draw)
    order = np.argsort(ahead.place, kind="stable")  # one look-up table a class
    seal, run = np.tile(order, len(runs)), np.repeat(runs, n)
    age, now = np.tile(ahead.age[order], len(runs)), np.tile(ahead.starts[order], len(runs))
    parts = []
    while len(seal):
        fails = now + _time_to_failure(ahead, draw, seal, age, z, rng)
        with np.errstate(divide="ignore"):
            other = now + rng.exponential(size=len(seal)) / ahead.planned[draw, ahead.place[seal]]
        day = np.minimum(fails, other)
        kind = (other < fails).astype(np.int64)
        for at, share in zip(ahead.outage_day.T, ahead.outage_share.T, strict=True):
            # the next outage in which it is renewed, if it lives to see it
            hit = (rng.random(len(seal)) < share[seal]) & (at[seal] > now) & (at[seal] < day)
            day, kind = np.where(hit, at[seal], day), np.where(hit, 2, kind)
        within = np.flatnonzero(day <= days)
        seal, run, now = seal[within], run[within], day[within]
        age = np.zeros(len(within))
        parts.append((run, seal, now, kind[within]))
    run, seal, day, kind = (np.concatenate(part) for part in zip(*parts, strict=True))
    return run, seal, day, kind


def _time_to_failure(
    ahead: FleetAhead, draw: int, seal: Ints, age: Floats, z: Floats, rng: np.random.Generator
) -> Floats:
    """Days until each seal fails if nothing renews it before."""
    laws, place = ahead.laws, ahead.place[seal]
    spent = rng.exponential(size=len(seal)) / z[seal]
    table = laws.cumulative[draw]
    slope = (table[:, -1] - table[:, -2]) / (laws.ages[-1] - laws.ages[-2])
    reached = np.where(np.isnan(age), 0.0, age)
    out = spent / np.maximum(ahead.unaged[draw, place], 1e-300)
    # the seals come sorted by class within each run: stable sorting keeps that cheap
    order = np.argsort(place, kind="stable")
    ends = np.searchsorted(place[order], np.arange(len(laws.classes) + 1))
    knots = np.append(laws.ages, _FAR)
    for c in range(len(laws.classes)):
        rows = order[ends[c] : ends[c + 1]]
        rows = rows[~np.isnan(age[rows])]
        if not len(rows):
            continue
        heights = np.append(table[c], table[c, -1] + slope[c] * (_FAR - laws.ages[-1]))
        due = np.interp(reached[rows], knots, heights) + spent[rows]
        out[rows] = np.where(due > heights[-1], np.inf, np.interp(due, heights, knots))
        out[rows] = np.maximum(out[rows] - reached[rows], _LEAST)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(ahead.pace[seal] > 0, out / ahead.pace[seal], np.inf)
