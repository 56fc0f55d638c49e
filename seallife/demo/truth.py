"""What an analysis should find, because here the truth is known.

In: `TrueFleet`. Out: life tables, totals, figures of the laws. Next: tests, `stories`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.demo import scenario as sc
from seallife.demo.draws import Draws
from seallife.demo.layout import positions_table
from seallife.demo.simulate import CAUSES, ENDINGS, TrueFleet, simulate_lives, to_date

__all__ = [
    "draw_class_lives",
    "law_figures",
    "single_weibull_limit",
    "stacked_lives",
    "true_life_table",
    "weibull_limit",
    "window_totals",
]

Floats = NDArray[np.float64]


def _window(site: NDArray[np.object_], whole: bool) -> Floats:
    """Day number from which each site's records tell something."""
    starts = {s: sc.day_number(w[0]) for s, w in sc.WINDOWS.items()}
    if whole:
        starts = dict.fromkeys(starts, min(starts.values()))
    return np.array([starts[s] for s in site], dtype=float)


def _seen(
    position: NDArray[np.int64],
    lives: dict[str, NDArray[Any]],
    sites: NDArray[np.object_],
    whole: bool,
) -> tuple[NDArray[np.bool_], Floats]:
    """Lives with any time inside the records, and the day from which each was watched."""
    low = _window(sites[position], whole)
    return lives["end_d"] > low, np.maximum(lives["start_d"], low)


def true_life_table(
    fleet: TrueFleet, *, whole_window: bool = False, cut_gap: bool = False
) -> pd.DataFrame:
    """Which true lives do the records cover, and from which age on?

    Parameters
    ----------
    fleet : TrueFleet
        From `simulate_fleet`.
    whole_window : bool
        True takes 2016-2025 at both sites, as if Merrowfen had recorded from the start.
    cut_gap : bool
        True cuts Merrowfen's lives at its record gap: a life that runs into the gap ends as
        ``lost`` on its first day; what still runs after the gap enters late (life_id with ``/2``).

    Returns
    -------
    DataFrame
        life_id, position_id, site, unit, service_class, entry_age_h, exit_age_h [run h],
        entry_age_d, exit_age_d [d], end (failed, withdrawn, in service, lost), age_known, cause,
        start, end_date, sorted by position and start.
    """
    places, lives = fleet.positions, {str(c): fleet.lives[c].to_numpy() for c in fleet.lives}
    at = lives["position"]
    seen, entry = _seen(at, lives, places["site"].to_numpy(), whole_window)
    end = np.where(lives["failed"], "failed", "withdrawn").astype(object)
    end[lives["ending"] == "in service"] = "in service"
    frame = pd.DataFrame(
        {
            "position": at,
            "life_id": places["position_id"].to_numpy()[at]
            + np.array([f"#{n}" for n in lives["number"]], dtype=object),
            "start_d": lives["start_d"],
            "entry_d": entry,
            "exit_d": lives["end_d"],
            "end": end,
            "cause": lives["ending"],
        }
    )[seen]
    if cut_gap:
        frame = _cut_gap(frame, places)
    places = places.iloc[frame["position"].to_numpy()].reset_index(drop=True)
    frame = frame.reset_index(drop=True)
    hours = 24.0 * places["duty"]
    return pd.DataFrame(
        {
            "life_id": frame["life_id"],
            **{c: places[c] for c in ("position_id", "site", "unit", "service_class")},
            "entry_age_h": (frame["entry_d"] - frame["start_d"]) * hours,
            "exit_age_h": (frame["exit_d"] - frame["start_d"]) * hours,
            "entry_age_d": frame["entry_d"] - frame["start_d"],
            "exit_age_d": frame["exit_d"] - frame["start_d"],
            "end": frame["end"],
            "age_known": True,
            "cause": frame["cause"],
            "start": to_date(frame["start_d"]),
            "end_date": to_date(frame["exit_d"]),
        }
    )


def _cut_gap(frame: pd.DataFrame, places: pd.DataFrame) -> pd.DataFrame:
    """Take the record gap out; every life at risk when it begins is cut, whatever came after."""
    low, high = sc.day_number(sc.GAP[0]), sc.day_number(sc.GAP[1]) + 1.0
    there = (places["site"] == sc.MERROWFEN).to_numpy()[frame["position"]]
    before = frame["entry_d"] < low
    into = there & before & (frame["exit_d"] >= low)
    after = there & (frame["exit_d"] > high)
    first = frame[into].assign(exit_d=float(low), end="lost", cause="records gap")
    second = frame[after & (frame["entry_d"] < high)]
    second = second.assign(
        entry_d=high, life_id=second["life_id"] + np.where(into[second.index], "/2", "")
    )
    untouched = frame[~there | (before & ~into) | (frame["entry_d"] >= high)]
    parts = pd.concat([untouched, first, second])
    return parts.sort_values(["position", "entry_d"], kind="stable")


def stacked_lives(
    replicates: int, seed: int = sc.DEFAULT_SEED, *, stories: bool = False
) -> dict[str, NDArray[Any]]:
    """What do the records of many such fleets show, with the truth of each life known?

    Parameters
    ----------
    replicates : int
        Number of whole fleets; 100 take about half a second.

    Returns
    -------
    dict of arrays
        replicate, service_class, entry_age_h, exit_age_h, failed: one entry per life seen in the
        record windows of `scenario.WINDOWS`.
    """
    table = positions_table()
    places, lives = simulate_lives(seed, stories, replicates)
    at = lives["position"]
    seen, entry = _seen(at, lives, places["site"].to_numpy(), whole=False)
    hours = 24.0 * places["duty"].to_numpy()[at]
    return {
        "replicate": (at // len(table))[seen],
        "service_class": table["service_class"].to_numpy()[at % len(table)][seen],
        "entry_age_h": ((entry - lives["start_d"]) * hours)[seen],
        "exit_age_h": lives["hours"][seen],
        "failed": (lives["ending"] < len(CAUSES))[seen],
    }


def single_weibull_limit(
    service_class: str, *, replicates: int = 200, seed: int = sc.DEFAULT_SEED
) -> tuple[float, float]:
    """Which shape and scale [h] would a single Weibull tend to under this fleet's censoring?

    The law of a class is a mixture of three causes, so that no Weibull is true; an interval for
    the shape is to be judged against this limit, found from the stacked lives of many clean
    fleets.

    Returns
    -------
    shape, scale_h : float
    """
    lives = stacked_lives(replicates, seed)
    mine = lives["service_class"] == service_class
    return weibull_limit(*(lives[c][mine] for c in ("entry_age_h", "exit_age_h", "failed")))


def weibull_limit(entry_age: Floats, age: Floats, failed: NDArray[np.bool_]) -> tuple[float, float]:
    """Which Weibull is nearest to these lives: shape and scale, in the unit of the ages?

    Parameters
    ----------
    entry_age, age : array, shape (n,)
        Ages at which each life came under watch and left it.
    failed : array of bool, shape (n,)

    Source
    ------
    White (1982), maximum likelihood in a wrong model: the limit is the nearest member. The
    likelihood honours late entry; the scale is eliminated from it.
    """
    from scipy.optimize import brentq

    unit = age.mean()
    entry, age = entry_age / unit, age / unit
    log_age, log_entry = np.log(age), np.log(np.where(entry > 0, entry, 1.0))
    failures, log_failed = failed.sum(), log_age[failed].mean()

    def slope(shape: float) -> float:
        up, down = age**shape, np.where(entry > 0, entry**shape, 0.0)
        weighted = (up * log_age - down * log_entry).sum() / (up - down).sum()
        return float(1.0 / shape + log_failed - weighted)

    shape = float(brentq(slope, 0.05, 20.0))
    scale = (np.sum(age**shape - entry**shape) / failures) ** (1.0 / shape)
    return shape, float(scale * unit)


def draw_class_lives(service_class: str, draws: int, seed: int = sc.DEFAULT_SEED) -> Floats:
    """How long do seals of a class last [run h] if nothing planned ends them?"""
    law, stream = sc.CLASSES[service_class], Draws(seed, 9)
    unit = stream.exponential(3, draws)
    infant = sc.INFANT_SCALE_H * unit[0] ** (1 / sc.INFANT_SHAPE)
    infant = np.where(stream.uniform(draws) <= law.defective, infant, np.inf)
    age = law.scale_h * unit[2] ** (1 / law.shape)
    return np.asarray(np.minimum(np.minimum(infant, law.random_h * unit[1]), age))


def law_figures() -> pd.DataFrame:
    """What is the exact mean, B10 and survival of each class?

    Returns
    -------
    DataFrame
        service_class, mean_h, b10_h, survival_8760, survival_25000; by the trapezium rule on the
        survival curve, without random numbers.
    """
    ages = np.concatenate([np.linspace(0.0, 400e3, 80_001), np.geomspace(400.1e3, 2e7, 4_000)])
    rows = []
    for name, law in sc.CLASSES.items():
        infant = np.exp(-((ages / sc.INFANT_SCALE_H) ** sc.INFANT_SHAPE))
        survival = (1 - law.defective + law.defective * infant) * np.exp(
            -ages / law.random_h - (ages / law.scale_h) ** law.shape
        )
        rows.append(
            {
                "service_class": name,
                "mean_h": float(np.sum((survival[1:] + survival[:-1]) / 2 * np.diff(ages))),
                "b10_h": float(np.interp(-0.9, -survival, ages)),
                "survival_8760": float(np.interp(8_760, ages, survival)),
                "survival_25000": float(np.interp(25_000, ages, survival)),
            }
        )
    return pd.DataFrame(rows)


def window_totals(seeds: range, *, stories: bool = True) -> pd.DataFrame:
    """How many lives of each ending does each replicate show, 2016-2025 at both sites?

    Returns
    -------
    DataFrame
        One row a seed: lives, failures, left_truncated, one column an ending and one a class
        (``failures HC-HOT`` ...).
    """
    table, rows = positions_table(), []
    low = _window(np.array([sc.SKARROW], dtype=object), whole=True)[0]
    classes = table["service_class"].to_numpy()
    sites = table["site"].to_numpy()
    for seed in seeds:
        _, lives = simulate_lives(seed, stories, 1)
        seen = lives["end_d"] > low
        ending, at = lives["ending"][seen], lives["position"][seen]
        failed = ending < len(CAUSES)
        row = {"seed": seed, "lives": int(seen.sum()), "failures": int(failed.sum())}
        row["left_truncated"] = int((lives["start_d"][seen] < low).sum())
        row |= {e: int((ending == i).sum()) for i, e in enumerate(ENDINGS)}
        row |= {f"failures {s}": int((sites[at[failed]] == s).sum()) for s in sc.WINDOWS}
        row |= {f"failures {c}": int((classes[at[failed]] == c).sum()) for c in sc.CLASSES}
        rows.append(row)
    return pd.DataFrame(rows)
