"""How often does the list of positions that stand out err, and what does it find?

``python tests/standouts_study.py`` writes ``standouts_study.csv`` beside it (some hours; by
counts 200 fleets a cell, by ages and by exposure 50);
`tests/test_standouts.py` repeats a part of it.

Each fleet has 420 positions in ten classes with mean lives of 1.6 to 9 years, watched for ten years
and again for ten; seals run from long before, so that those in place at the start are of all ages;
one in twenty years each is withdrawn healthy. Positions differ in one of these ways:

- alike: all have the rate of their class;
- apart: eight have 3 to 5 times the failures of their class, all others its rate;
- spread: ratios follow a gamma law of variance 0.3.

Lives follow a Weibull law of the shape named, or fail young ('early part': 6 % of installations
live for an exponential 0.15 years, the others by shape 2), or in clumps: after a seal that failed
young, 30 % or 60 % of the next do so too, whatever the position.
"""

from __future__ import annotations

import sys
from math import gamma
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from seallife.history.standoutlives import standouts_of

HERE = Path(__file__).parent
TABLE = HERE / "standouts_study.csv"
POSITIONS, CLASSES, YEARS = 420, 10, 10.0
DAYS = 365.25
KINDS = ("shape 0.8", "shape 1", "shape 1.4", "shape 2.5", "early part")
CLUMPS = ("clumps 0.3", "clumps 0.6")
WAYS = ("alike", "apart", "spread")


class DrawnFleet(NamedTuple):
    """Lives of the first ten years, true ratios of failures, failures of the next ten years."""

    lives: pd.DataFrame
    ratio: np.ndarray
    later: np.ndarray


def ratios(way: str, rng: np.random.Generator, positions: int = POSITIONS) -> np.ndarray:
    """True ratio of failures of each position to a usual one of its class."""
    ratio = np.ones(positions)
    if way == "apart":
        ratio[rng.permutation(positions)[:8]] = rng.uniform(3, 5, 8)
    elif way == "spread":
        ratio = rng.gamma(1 / 0.3, 0.3, positions)
    return ratio


def draw_fleet(
    kind: str, way: str, rng: np.random.Generator, positions: int = POSITIONS
) -> DrawnFleet:
    """One fleet."""
    group = np.sort(rng.integers(0, CLASSES, positions))
    mean = np.exp(rng.uniform(np.log(1.6), np.log(9.0), CLASSES))
    ratio = ratios(way, rng, positions)
    shape = float(kind.split()[1]) if kind.startswith("shape") else 2.0
    stay = float(kind.split()[1]) if kind.startswith("clumps") else 0.06
    young_share = 0.0 if kind.startswith("shape") else 0.06
    scale = mean / gamma(1 + 1 / shape)
    at = -rng.uniform(20, 30, positions)
    alive, young = np.arange(positions), np.zeros(positions, bool)
    parts = []
    while len(alive):
        u = alive
        life = scale[group[u]] * rng.weibull(shape, len(u))
        soon = rng.random(len(u)) < np.where(young[u], stay, young_share)
        life = np.where(soon, np.minimum(life, 0.15 * rng.standard_exponential(len(u))), life)
        life /= ratio[u]
        out = rng.exponential(20.0, len(u))
        end = at[u] + np.minimum(life, out)
        parts.append(np.column_stack([u, at[u], end, life <= out]))
        young[u] = soon & (life <= out)
        at[u] = end
        alive = u[end < 2 * YEARS]
    rows = np.concatenate(parts)
    unit, start, end, failed = rows[:, 0].astype(int), rows[:, 1], rows[:, 2], rows[:, 3] > 0
    later = np.bincount(unit, failed & (end > YEARS) & (end <= 2 * YEARS), positions)
    keep = (end > 0) & (start < YEARS)
    unit, start, end, failed = (v[keep] for v in (unit, start, end, failed))
    running = end > YEARS
    stop = np.minimum(end, YEARS)
    first = np.maximum(start, 0.0)
    day = pd.Timestamp("2016-01-01")
    lives = pd.DataFrame(
        {
            "life_id": [f"L{i}" for i in range(len(unit))],
            "position_id": [f"P{i:05d}" for i in unit],
            "service_class": [f"class {i}" for i in group[unit]],
            "entry": day + pd.to_timedelta(first * DAYS, unit="D"),
            "exit": day + pd.to_timedelta(stop * DAYS, unit="D"),
            "end": np.where(running, "in service", np.where(failed, "failed", "withdrawn")),
            "age_known": True,
            "days": (stop - first) * DAYS,
            "hours": (stop - first) * DAYS * 24,
            "entry_age_d": (first - start) * DAYS,
            "exit_age_d": (stop - start) * DAYS,
            "entry_age_h": (first - start) * DAYS * 24,
            "exit_age_h": (stop - start) * DAYS * 24,
        }
    )
    return DrawnFleet(lives.sample(frac=1.0, random_state=1), ratio, later)


def measure(fleet: DrawnFleet, basis: str) -> dict[str, float]:
    """What the list of one fleet got right and wrong; counts, to be summed over fleets."""
    got = standouts_of(fleet.lives, basis=basis)
    table = got.table.sort_values("position_id").reset_index(drop=True)
    truth = fleet.ratio
    worse = (table["verdict"] == "worse than its class").to_numpy()
    better = (table["verdict"] == "better than its class").to_numpy()
    wrong = (worse & (truth <= 1)) | (better & (truth >= 1))
    little = (worse & (truth < 1.25)) | (better & (truth > 0.8))
    listed = worse | better
    bad = truth >= 3
    held = ((table["ratio_low"] <= truth) & (truth <= table["ratio_high"])).to_numpy()
    early = (table["status"] == "early failures").to_numpy()
    return {
        "any_listed": float(listed.any()),
        "worse": float(worse.sum()),
        "better": float(better.sum()),
        "false_share": wrong.sum() / max(listed.sum(), 1),
        "near_one_share": little.sum() / max(listed.sum(), 1),
        "early": float(early.sum()),
        "false_beside_early": (wrong & ~early).sum() / max((listed & ~early).sum(), 1),
        "bad": float(bad.sum()),
        "bad_found": float((worse & bad).sum()),
        "held": held.mean(),
        "held_listed": float(held[listed].sum()),
        "failed": float(table.loc[worse, "observed"].sum()),
        "foretold": float(table.loc[worse, "again_expected"].sum()),
        "later": float(fleet.later[worse].sum()),
        "later_held": float(
            ((table["again_low"] <= fleet.later) & (fleet.later <= table["again_high"]))[
                worse
            ].sum()
        ),
        "sd": float(got.spread["sd"].iloc[0]),
        "dispersion": float(table["dispersion"].mean()),
    }


def cell(kind: str, way: str, basis: str, fleets: int, seed: int = 1) -> dict[str, object]:
    """Average over fleets."""
    rng = np.random.default_rng([seed, (*KINDS, *CLUMPS).index(kind), WAYS.index(way)])
    rows = pd.DataFrame([measure(draw_fleet(kind, way, rng), basis) for _ in range(fleets)])
    total = rows.sum()
    listed = total["worse"] + total["better"]

    def share(part: float, whole: float) -> float:
        return round(part / whole, 3) if whole else np.nan

    return {
        "lives": kind,
        "positions": way,
        "basis": basis,
        "fleets": fleets,
        "fleets_with_a_list": round(rows["any_listed"].mean(), 3),
        "listed_worse": round(rows["worse"].mean(), 2),
        "listed_better": round(rows["better"].mean(), 2),
        "false_share": round(rows["false_share"].mean(), 4),
        "near_one_share": round(rows["near_one_share"].mean(), 4),
        "early_alone": round(rows["early"].mean(), 2),
        "false_share_beside_early": round(rows["false_beside_early"].mean(), 4),
        "found_of_3_to_5": share(total["bad_found"], total["bad"]),
        "ratio_held": round(rows["held"].mean(), 3),
        "ratio_held_of_listed": share(total["held_listed"], listed),
        "failed": share(total["failed"], total["worse"]),
        "foretold": share(total["foretold"], total["worse"]),
        "came": share(total["later"], total["worse"]),
        "count_held": share(total["later_held"], total["worse"]),
        "sd": round(rows["sd"].mean(), 3),
        "dispersion": round(rows["dispersion"].mean(), 3),
    }


def jobs(fleets: int) -> list[tuple[str, str, str, int]]:
    """Lives, positions, basis and number of fleets of each row of the table."""
    main_rows = [(k, w, "counts", fleets) for w in WAYS for k in KINDS]
    main_rows += [(k, "alike", "counts", fleets) for k in CLUMPS]
    few = max(fleets // 4, 1)
    other = [(k, w) for w in WAYS for k in ("shape 0.8", "shape 1.4", "shape 2.5")]
    other.append(("clumps 0.6", "alike"))
    return main_rows + [(k, w, b, few) for b in ("ages", "exposure") for k, w in other]


def main(fleets: int) -> None:
    """Write the table, row by row."""
    rows = []
    for job in jobs(fleets):
        rows.append(cell(*job))
        pd.DataFrame(rows).to_csv(TABLE, index=False)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
