"""How often do nominal 90 % intervals hold the truth?

``python tests/coverage_study.py`` writes ``coverage_study.csv`` beside it (an hour or two);
`tests/test_coverage.py` repeats a part of it.

Each cell draws fleets of one class from a Weibull law, watched in one of four ways:

- complete: all lives are watched from new to failure;
- random censoring: half are withdrawn at ages of the same law, as by other jobs;
- late entry: half are first seen at an age between 0 and the scale, and all fail;
- stopped early: watching ends at the age by which half have failed.

A fleet with fewer than two failures has no fit and is drawn again. Failures are the expected
number; survival is that at the age by which 20 % fail.
"""

from __future__ import annotations

import sys
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd

from seallife.life import fit_weibull

HERE = Path(__file__).parent
TABLE = HERE / "coverage_study.csv"
PEERS = HERE / "coverage_peers.csv"
FAILURES, SHAPES = (5, 10, 20, 50), (0.8, 1.4, 3.0)
PATTERNS = ("complete", "random censoring", "late entry", "stopped early")
QUANTITIES = ("shape", "scale", "b10", "b50", "mean", "survival")
SCALE, LEVEL = 1_000.0, 0.90
BATCH = 20


def draw(
    failures: int, pattern: str, shape: float, fleets: int, seed: int
) -> dict[str, np.ndarray]:
    """Lives of so many fleets; arguments of `fit_weibull`."""
    rng = np.random.default_rng([seed, failures, PATTERNS.index(pattern), int(10 * shape)])
    n = failures if pattern in {"complete", "late entry"} else 2 * failures
    parts = []
    have = 0
    while have < fleets:
        many = fleets - have + 50
        entry = np.zeros((many, n))
        if pattern == "late entry":
            entry[:, : n // 2] = SCALE * rng.random((many, n // 2))
        lived = (entry / SCALE) ** shape + rng.standard_exponential((many, n))
        life = SCALE * lived ** (1 / shape)
        until = np.full((many, n), np.inf)
        if pattern == "random censoring":
            until = SCALE * rng.standard_exponential((many, n)) ** (1 / shape)
        elif pattern == "stopped early":
            until[:] = SCALE * np.log(2) ** (1 / shape)
        failed = life <= until
        keep = failed.sum(axis=1) >= 2
        keep &= np.where(failed, life, np.inf).min(axis=1) < np.minimum(life, until).max(axis=1)
        parts.append((np.minimum(life, until)[keep], failed[keep], entry[keep]))
        have += int(keep.sum())
    age, ended, entry = (np.concatenate([p[k] for p in parts])[:fleets] for k in range(3))
    group = np.repeat(np.arange(fleets), n)
    return {"age": age.ravel(), "failed": ended.ravel(), "entry_age": entry.ravel(), "group": group}


def truth(shape: float) -> dict[str, float]:
    """True values of all quantities."""
    from math import gamma

    def quantile(share: float) -> float:
        return float(SCALE * (-np.log1p(-share)) ** (1 / shape))

    return {
        "shape": shape,
        "scale": SCALE,
        "b10": quantile(0.10),
        "b50": quantile(0.50),
        "mean": SCALE * gamma(1 + 1 / shape),
        "survival": 0.8,
        "survival_age": quantile(0.20),
    }


def cell(
    failures: int, pattern: str, shape: float, fleets: int, resamples: int, seed: int = 1
) -> pd.DataFrame:
    """One cell: a row a quantity with the share of intervals that are right, too high, too low.

    Every few fleets have a seed of their own, as the resamples of one seed lean one way together.
    """
    true = truth(shape)
    lives = draw(failures, pattern, shape, fleets, seed)
    tables, survivals = [], []
    for part in range(0, fleets, BATCH):
        mine = (lives["group"] >= part) & (lives["group"] < part + BATCH)
        fits = fit_weibull(
            **{name: values[mine] for name, values in lives.items()},
            level=LEVEL,
            survival_at=[true["survival_age"]],
            resamples=resamples,
            seed=part,
        )
        tables.append(fits.table)
        survivals.append(fits.survival.rename(columns={"low": "survival_low"}))
    table = pd.concat(tables, ignore_index=True)
    survival = pd.concat(survivals, ignore_index=True)
    table["survival_low"], table["survival_high"] = survival["survival_low"], survival["high"]
    rows = []
    for name in QUANTITIES:
        # A limit that does not exist holds on its side.
        above = table[f"{name}_low"].fillna(-np.inf) > true[name]
        below = table[f"{name}_high"].fillna(np.inf) < true[name]
        rows.append((name, 1 - above.mean() - below.mean(), above.mean(), below.mean()))
    out = pd.DataFrame(rows, columns=["quantity", "cover", "too_high", "too_low"])
    out["shape_bias"] = table["shape"].median() / shape - 1
    corrected = table.get("shape_corrected", table["shape"])
    out["corrected_bias"] = corrected.median() / shape - 1
    return out.assign(failures=failures, pattern=pattern, true_shape=shape, fleets=fleets)


def readme_lines() -> list[str]:
    """Return the table of README.md: coverage of B10 in percent, ours and the peers'."""
    ours = pd.read_csv(TABLE)
    peers = pd.read_csv(PEERS)
    mine = ours[ours["method"] == "calibrated"]
    worst = mine.groupby(["failures", "pattern", "quantity"])["cover"].mean()
    both = pd.concat([ours, peers])
    b10 = both[both["quantity"] == "b10"]
    b10 = b10.groupby(["failures", "pattern", "method"])["cover"].mean()
    lines = []
    for failures, pattern in product(FAILURES, PATTERNS):
        cells = [str(failures), pattern]
        for method in ("calibrated", "likelihood ratio", "lifelines", "reliability"):
            share = b10.get((failures, pattern, method))
            cells.append("–" if share is None else f"{share:.0%}")
        low, high = worst[failures, pattern].min(), worst[failures, pattern].max()
        cells.append(f"{low:.0%} to {high:.0%}")
        lines.append("| " + " | ".join(cells) + " |")
    return lines


FIRST = ["method", "failures", "pattern", "true_shape", "quantity", "cover", "too_high", "too_low"]


def main() -> None:
    """Run all cells and write them."""
    fleets = int(sys.argv[1]) if len(sys.argv) > 1 else 2_000
    parts: list[pd.DataFrame] = []
    for failures, pattern, shape in product(FAILURES, PATTERNS, SHAPES):
        for method, resamples in (("likelihood ratio", 0), ("calibrated", 400)):
            got = cell(failures, pattern, shape, fleets, resamples)
            parts.append(got.assign(method=method))
        table = pd.concat(parts, ignore_index=True)
        table = table[FIRST + [c for c in table.columns if c not in FIRST]]
        table.round(4).to_csv(TABLE, index=False)
        sys.stdout.write(f"{failures} {pattern} {shape}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
