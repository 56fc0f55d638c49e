"""Leakage readings of monitored seals, and which seals gave a warning.

In: `TrueFleet`. Out: `leak_readings`, `ramped_lives`. Next: `write`, `orders`.

Only age-related failures can announce themselves: in `scenario.RAMP_SHARE` of them the reading
doubles every 20-40 days over the last 60-120 days.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.demo import scenario as sc
from seallife.demo.draws import Draws
from seallife.demo.simulate import TrueFleet, to_date

__all__ = ["LEAK_DEFECTS", "leak_readings", "ramped_lives"]

LEAK_DEFECTS = {"not detected as 0": 350, "pegged": 28, "unit error": 8}
_NOISE = 0.5


def _monitored(fleet: TrueFleet) -> NDArray[np.bool_]:
    """Positions on the survey."""
    return fleet.positions["service_class"].isin(sc.MONITORED_CLASSES).to_numpy()


def ramped_lives(fleet: TrueFleet) -> NDArray[np.bool_]:
    """Which seals leaked more and more before they failed, or will before they do?

    Returns
    -------
    array of bool, shape (n_lives,)
        In the order of ``fleet.lives``; of those in service at the end of the records the ones
        that will fail of age with a warning, if the records went on.
    """
    lives = fleet.lives
    chosen = Draws(fleet.seed, 8).uniform(len(lives)) <= sc.RAMP_SHARE
    to_come = (lives["ending"] == "in service") & np.isfinite(lives["aged_d"])
    age = ((lives["ending"] == "age") | to_come).to_numpy()
    return np.asarray(chosen & age & _monitored(fleet)[fleet.lives["position"]])


def leak_readings(fleet: TrueFleet) -> pd.DataFrame:
    """What did the monthly leak survey at Skarrow Point read, and what truly stood behind it?

    Returns
    -------
    DataFrame
        position_id, tag, seal_end, date, value [ppm], unit, method, background, flag; and the
        truth: true_ppm, ramp (the seal was on its way out), defect. Sorted by date and position.
    """
    draws, lives = Draws(fleet.seed, 10), fleet.lives
    ramped = ramped_lives(fleet)
    base = 15.0 * np.exp(0.8 * draws.normal(len(lives)))
    length = 60.0 + 60.0 * draws.uniform(len(lives))
    doubling = 20.0 + 20.0 * draws.uniform(len(lives))

    low, high = (sc.day_number(d) for d in sc.WINDOWS[sc.SKARROW])
    rounds = np.arange(low + 11, high, 30.4375)
    position = np.flatnonzero(_monitored(fleet))
    when = np.floor(rounds[None, :] + 6 * draws.uniform(position.size, rounds.size))
    keep = draws.uniform(position.size, rounds.size) > 0.08
    at, when = np.broadcast_to(position[:, None], when.shape)[keep], when[keep]

    # The life that runs on the day of each reading; a pump under repair is not read.
    key = lives["position"].to_numpy() * 1e5 + lives["start_d"].to_numpy()
    life = np.searchsorted(key, at * 1e5 + when, side="right") - 1
    safe = np.maximum(life, 0)
    runs = (lives["position"].to_numpy()[safe] == at) & (
        when < np.floor(lives["end_d"].to_numpy()[safe])
    )
    at, when, life = at[runs], when[runs], life[runs]

    ends = np.where(lives["ending"] == "in service", lives["aged_d"], lives["end_d"])
    to_end = ends[life] - when
    ramp = ramped[life] & (to_end < length[life])
    rise = np.where(ramp, (length[life] - to_end) / doubling[life], 0.0)
    true = base[life] * 2.0**rise
    background = np.round(0.5 + 2.5 * draws.uniform(at.size), 1)
    read = true * np.exp(_NOISE * draws.normal(at.size)) + background
    table = pd.DataFrame(
        {
            "at": at,
            "when": when,
            "value": read,
            "background": background,
            "true": true,
            "ramp": ramp,
        }
    )
    table["flag"], table["defect"] = "", ""
    table = pd.concat([table, _pegged(fleet, draws, position)], ignore_index=True)
    table = table.sort_values(["when", "at", "value"], kind="stable").reset_index(drop=True)
    return _finish(fleet, table, draws)


def _pegged(fleet: TrueFleet, draws: Draws, position: NDArray[np.int64]) -> pd.DataFrame:
    """Readings off the scale, taken on the day a seal let go."""
    lives = fleet.lives
    low = sc.day_number(sc.WINDOWS[sc.SKARROW][0])
    failed = lives["failed"] & lives["position"].isin(position) & (lives["end_d"] > low + 40)
    failed &= lives["ending"] == "random"
    chosen = lives.loc[draws.sample(lives.index[failed].tolist(), LEAK_DEFECTS["pegged"])]
    return pd.DataFrame(
        {
            "at": chosen["position"],
            "when": np.floor(chosen["end_d"]),
            "value": sc.SCALE_END_PPM,
            "background": 2.0,
            "true": sc.SCALE_END_PPM * 3,
            "ramp": False,
            "flag": "above scale",
            "defect": "pegged",
        }
    )


def _finish(fleet: TrueFleet, table: pd.DataFrame, draws: Draws) -> pd.DataFrame:
    """Apply detection limit and planted faults, and give the columns their names."""
    unseen = (table["value"] < sc.DETECTION_PPM) & (table["flag"] == "")
    table.loc[unseen, "value"] = sc.DETECTION_PPM
    table.loc[unseen, "flag"] = "below detection"
    zero = draws.sample(table.index[unseen].tolist(), LEAK_DEFECTS["not detected as 0"])
    table.loc[zero, "value"] = 0.0
    table.loc[zero, "flag"] = ""
    table.loc[zero, "defect"] = "not detected as 0"
    seen = table.index[(table["flag"] == "") & (table["defect"] == "")].tolist()
    wrong = draws.sample(seen, LEAK_DEFECTS["unit error"])
    table.loc[wrong, "defect"] = "unit error"
    places = fleet.positions.iloc[table["at"].to_numpy()].reset_index(drop=True)
    value = table["value"].to_numpy()
    return pd.DataFrame(
        {
            **{c: places[c] for c in ("position_id", "tag", "seal_end")},
            "date": to_date(table["when"]),
            "value": np.where(value < 100, np.round(value, 1), np.round(value)),
            "unit": np.where(table["defect"] == "unit error", "%", "ppm"),
            "method": "sniffer",
            "background": table["background"],
            "flag": table["flag"],
            "true_ppm": table["true"].round(1),
            "ramp": table["ramp"],
            "defect": table["defect"],
        }
    )
