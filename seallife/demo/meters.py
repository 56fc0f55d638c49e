"""Hour meters: monthly readings of 60 % of the pumps, with what goes wrong with meters.

In: `TrueFleet`. Out: `meter_readings`. Next: `write`.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.demo import scenario as sc
from seallife.demo.draws import Draws
from seallife.demo.simulate import TrueFleet, to_date

__all__ = ["METER_DEFECTS", "METER_SHARE", "meter_readings"]

METER_SHARE = 0.60
METER_DEFECTS = {"rollover at 99,999": 6, "meter replaced": 9, "meter stuck": 11}
_ROLLOVER = 100_000.0
_PERIOD_PUMPS = 8

Floats = NDArray[np.float64]


def _running_days(starts: Floats, ends: Floats, when: Floats) -> Floats:
    """Days in service up to each date; a pump under repair does not count."""
    return np.asarray(np.clip(when[:, None] - starts, 0.0, ends - starts).sum(axis=1))


def meter_readings(fleet: TrueFleet) -> tuple[pd.DataFrame, dict[str, list[str]]]:
    """What do the hour meters of the pumps read?

    Returns
    -------
    readings : DataFrame
        tag, site, reading_date, reading [h], kind (cumulative or period), sorted by tag and date.
        The pump's own hours are those of its drive-end seal.
    defects : dict
        Defect -> tags that have it.
    """
    draws = Draws(fleet.seed, 13)
    places = fleet.positions[fleet.positions["seal_end"] == "DE"]
    metered = draws.sample(places.index.tolist(), round(METER_SHARE * len(places)))
    busy = (places["duty"] > 0.4) & np.isinf(places["retired_d"])
    eligible = [i for i in metered if busy[i]]
    counts = [*METER_DEFECTS.values(), _PERIOD_PUMPS]
    spoilt = draws.sample(eligible, sum(counts))
    cuts = np.cumsum(counts)[:-1]
    groups = [
        set(g.tolist())
        for g in np.split(np.array(spoilt)[np.argsort(draws.uniform(len(spoilt)))], cuts)
    ]
    rollover, replaced, stuck, period = groups

    lives = dict(list(fleet.lives.groupby("position")))
    parts = []
    for i in metered:
        place = fleet.positions.loc[i]
        low, high = (sc.day_number(d) for d in sc.WINDOWS[place["site"]])
        rounds = np.arange(low + draws.between(0, 27), min(high + 1.0, place["retired_d"]), 30.4375)
        when = np.floor(rounds + 3 * draws.uniform(rounds.size))
        when = when[
            (draws.uniform(rounds.size) > 0.04) & (when >= place["first_start_d"]) & (when <= high)
        ]
        mine = lives[i]
        hours = (
            24.0
            * place["duty"]
            * _running_days(mine["start_d"].to_numpy(), mine["end_d"].to_numpy(), when)
        )
        hours = np.maximum.accumulate(hours + 4.0 * draws.uniform(when.size))
        before = 9_000.0 * draws.one()
        at = draws.between(when.size // 4, 3 * when.size // 4)
        if i in rollover:
            before = _ROLLOVER - hours[at]
        reading = np.round(hours + before)
        if i in rollover:
            reading = np.mod(reading, _ROLLOVER)
        elif i in replaced:
            reading[at:] -= reading[at] - draws.between(0, 60)
        elif i in stuck:  # it goes on later from where it stopped
            until = at + draws.between(4, 10)
            lost = reading[min(until, when.size) - 1] - reading[at]
            reading[at:until] = reading[at]
            reading[until:] -= lost
        elif i in period:
            reading = np.diff(reading, prepend=reading[0] - np.round(730 * place["duty"]))
        parts.append(
            pd.DataFrame(
                {
                    "tag": place["tag"],
                    "site": place["site"],
                    "reading_date": to_date(when),
                    "reading": reading.astype(np.int64),
                    "kind": "period" if i in period else "cumulative",
                }
            )
        )
    tag = fleet.positions["tag"]
    named = {n: sorted(tag[list(g)]) for n, g in zip(METER_DEFECTS, groups, strict=False)}
    return pd.concat(parts, ignore_index=True), named
