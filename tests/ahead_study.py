"""How often do shares running ahead, counts of failures and restricted means lie where said?

``python tests/ahead_study.py`` writes ``ahead_study.csv`` beside it (about two minutes);
`tests/test_life_ahead.py` and `tests/test_life_restricted.py` repeat a part of it.

Each fleet is one class of 20 positions or more that ran for three times the scale before records
began, so that a position's first life enters late. Failed seals are renewed at once; others are
withdrawn with other work, one in four scales. Records are kept for as long as gives about the
wanted number of failures. The seals in service at their end are asked how many run on for a tenth
or four tenths of the scale; what then happens is drawn from the same law. A fleet of which no seal
stays within the ages seen has no answer and does not count.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy.integrate import quad

from seallife.life.ahead import share_running
from seallife.life.restricted import restricted_means

HERE = Path(__file__).parent
TABLE = HERE / "ahead_study.csv"
FAILURES, SHAPES, STRETCHES = (10, 20, 50, 100), (0.8, 1.4, 3.0), (0.1, 0.4)
SCALE, LEVEL = 1_000.0, 0.90
BEFORE, WITHDRAWN, HORIZON = 3 * SCALE, 4 * SCALE, SCALE


def draw(failures: int, shape: float, fleets: int, seed: int) -> dict[str, dict[str, np.ndarray]]:
    """Lives on record of so many fleets, and the seals in service at the end."""
    rng = np.random.default_rng([seed, failures, int(10 * shape)])
    positions = max(20, failures // 2)
    window = 1.25 * SCALE * failures / positions
    group = np.repeat(np.arange(fleets), positions)
    begun, now = np.full(len(group), -BEFORE), np.zeros(len(group))
    running = np.arange(len(group))
    lives: list[tuple[np.ndarray, ...]] = []
    while len(running):
        life = SCALE * rng.weibull(shape, len(running))
        until = WITHDRAWN * rng.standard_exponential(len(running))
        start = begun[running]
        end = start + np.minimum(life, until)
        stays, seen = end > window, end > 0
        age, entry = np.minimum(end, window) - start, np.maximum(-start, 0.0)
        lives.append(tuple(c[seen] for c in (group[running], entry, age, (life <= until) & ~stays)))
        now[running[stays]] = (window - start)[stays]
        begun[running] = end
        running = running[~stays]
    columns = (np.concatenate(c) for c in zip(*lives, strict=True))
    names = ("group", "entry_age", "age", "failed")
    return {
        "lives": dict(zip(names, columns, strict=True)),
        "seals": {"now_group": group, "now": now},
    }


def log_survival(age: np.ndarray | float, shape: float) -> np.ndarray:
    """True law."""
    return -((np.asarray(age) / SCALE) ** shape)


def ahead_cell(
    failures: int, shape: float, stretch: float, fleets: int, seed: int = 1
) -> pd.DataFrame:
    """Share running and count of failures: how often right, too high, too low."""
    drawn = draw(failures, shape, fleets, seed)
    seals = drawn["seals"]
    ahead = np.full(len(seals["now"]), stretch * SCALE)
    result = share_running(**drawn["lives"], **seals, ahead=ahead, level=LEVEL)
    used = ~result.seals["beyond"].to_numpy()
    chance = np.exp(log_survival(seals["now"] + ahead, shape) - log_survival(seals["now"], shape))
    fails = np.random.default_rng([seed, 7]).random(len(chance)) > chance
    asked, true, count = (
        np.bincount(seals["now_group"][used], None if w is None else w[used], fleets)
        for w in (None, chance, fails)
    )
    some = asked > 0
    table, true, count = result.table[some], true[some] / asked[some], count[some]
    rows = [
        _row("share running", table, true, "share_running"),
        _row("failures ahead", table, count, "predicted_failures"),
    ]
    out = pd.DataFrame(rows)
    out["bias"] = [(table["share_running"] - true).mean(), np.nan]
    return out.assign(
        failures=failures,
        shape=shape,
        stretch=stretch,
        fleets=int(some.sum()),
        asked=asked[some].mean(),
        beyond=1 - used.mean(),
        seen=table["failures_seen"].median(),
    )


def restricted_cell(failures: int, shape: float, fleets: int, seed: int = 1) -> pd.DataFrame:
    """Restricted mean, and its difference to a class of shape 1.4 and 20 failures."""
    sides = []
    for law, wanted, start in ((shape, failures, seed), (1.4, 20, seed + 1_000)):
        lives = draw(wanted, law, fleets, start)["lives"]
        sides.append((restricted_means(**lives, horizon=HORIZON, level=LEVEL), _true_mean(law)))
    (one, true), (two, other) = sides
    kept = [~m.table["status"].isin(["few at risk", "beyond ages seen"]) for m in (one, two)]
    both = np.flatnonzero(kept[0] & kept[1])
    pairs = [
        replace(one, table=pd.concat([one.table.iloc[[i]], two.table.iloc[[i]]])).differences()
        for i in both
    ]
    rows = [
        _row("restricted mean", one.table[kept[0]], true, ""),
        _row("difference", pd.concat(pairs), true - other, ""),
    ]
    out = pd.DataFrame(rows)
    out["bias"] = [(one.table.loc[kept[0], "mean"] / true - 1).mean(), np.nan]
    return out.assign(
        failures=failures,
        shape=shape,
        fleets=[int(kept[0].sum()), len(both)],
        seen=one.table.loc[kept[0], "failures_seen"].median(),
    )


def _true_mean(shape: float) -> float:
    return float(quad(lambda x: float(np.exp(log_survival(x, shape))), 0, HORIZON)[0])


def _row(quantity: str, table: pd.DataFrame, true: Any, stem: str) -> dict[str, Any]:
    """Share of intervals that are right, too high, too low."""
    low, high = (f"{stem}_{side}" if stem else side for side in ("low", "high"))
    above, below = (table[low] > true).mean(), (table[high] < true).mean()
    return {
        "quantity": quantity,
        "cover": 1 - above - below,
        "too_high": above,
        "too_low": below,
    }


def main() -> None:
    """Write the table."""
    parts = [ahead_cell(*cell, 4_000) for cell in product(FAILURES, SHAPES, STRETCHES)]
    parts += [restricted_cell(*cell, 2_000) for cell in product(FAILURES, SHAPES)]
    table = pd.concat(parts, ignore_index=True)
    order = ["quantity", "failures", "shape", "stretch", "fleets", "cover", "too_high", "too_low"]
    table[[*order, "bias", "asked", "beyond", "seen"]].round(4).to_csv(TABLE, index=False)


if __name__ == "__main__":
    main()
