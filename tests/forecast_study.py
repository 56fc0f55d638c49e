"""How often does a rising level reach its limit within the days foretold?

``python tests/forecast_study.py`` writes ``forecast_study.csv`` beside it (about ten minutes);
`tests/test_leakage_forecast.py` repeats a part of it.

Each segment is flat for 6 to 20 readings, then doubles in equal times from a day that falls
anywhere between two readings. Readings are 7, 14 or 31 days apart, a fifth early or late; three in
ten of the flat level are below detection; noise is lognormal; 3 to 8 readings fall into the rise;
the limit is 3 to 30 times the baseline. The date of forecast is the last reading. A segment with a
reading over its limit is not forecast; the rest is asked, whatever the true level. An interval is
right where it holds the true time; one that begins at nought holds any time gone by.

Other laws: a rise from the first reading on; one along a straight line, not doubling; noise with
wild readings (one in twenty, three times as far); noise alike from one reading to the next
(correlation 0.3 over a fortnight); noise found from 40 segments of which 30 are
flat; and segments that do not rise at all.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from seallife.leakage.forecast import NEAR, WIDEST, TimeToLimit, time_to_limit

HERE = Path(__file__).parent
TABLE = HERE / "forecast_study.csv"
LEVEL = 0.90
UNSEEN = 0.30  # share of readings of the flat level below detection


@dataclass(frozen=True)
class Cell:
    """What is varied; a pair is drawn from evenly, on the log scale but for noise."""

    name: str
    doubling: tuple[float, float] = (10.0, 90.0)
    sigma: tuple[float, float] = (0.3, 0.7)
    gaps: tuple[int, ...] = (7, 14, 31)
    rising: tuple[int, int] = (3, 8)
    limit: tuple[float, float] = (3.0, 30.0)
    flat: tuple[int, int] = (6, 20)
    law: str = "doubling"  # or "straight", "none"
    wild: float = 0.0
    alike: float = 0.0  # correlation of noise over a fortnight
    found: bool = False  # noise is found from the readings, not given


CELLS = (
    Cell("all"),
    Cell("doubling 10-20 d", doubling=(10, 20)),
    Cell("doubling 20-40 d", doubling=(20, 40)),
    Cell("doubling 40-90 d", doubling=(40, 90)),
    Cell("noise 0.3-0.4", sigma=(0.3, 0.4)),
    Cell("noise 0.6-0.7", sigma=(0.6, 0.7)),
    Cell("every 7 d", gaps=(7,)),
    Cell("every 14 d", gaps=(14,)),
    Cell("every 31 d", gaps=(31,)),
    Cell("3-4 readings in the rise", rising=(3, 4)),
    Cell("5-6 readings in the rise", rising=(5, 6)),
    Cell("7-8 readings in the rise", rising=(7, 8)),
    Cell("limit 3-6 times", limit=(3, 6)),
    Cell("limit 12-30 times", limit=(12, 30)),
    Cell("demo fleet", doubling=(20, 40), sigma=(0.5, 0.5), gaps=(31,), limit=(30, 60)),
    Cell("noise found", found=True),
    Cell("wild readings", wild=0.05, found=True),
    Cell("noise alike", alike=0.3),
    Cell("from the first reading", flat=(0, 0), rising=(6, 14)),
    Cell("straight line", law="straight"),
    Cell("no rise", law="none"),
)


@dataclass(frozen=True, eq=False)
class Drawn:
    """Readings, and what is true."""

    readings: dict[str, np.ndarray]
    limit: np.ndarray
    sigma: np.ndarray
    days: np.ndarray  # from the last reading to the limit


def draw(cell: Cell, segments: int, seed: int = 1) -> Drawn:
    """So many segments of a cell."""
    rng = np.random.default_rng([seed, *cell.name.encode()])
    m = segments
    law = np.full(m, cell.law, dtype=object)
    if cell.found:
        law[np.arange(m) % 4 != 0] = "none"
    gap = rng.choice(cell.gaps, m)
    before = rng.integers(cell.flat[0], cell.flat[1] + 1, m)
    within = rng.integers(cell.rising[0], cell.rising[1] + 1, m)
    n = before + within
    of = np.repeat(np.arange(m), n)
    number = np.arange(len(of)) - np.repeat(np.cumsum(n) - n, n)
    time = gap[of] * (number + rng.uniform(-0.2, 0.2, len(of)))
    first = np.cumsum(n) - n + before
    # a rise from the first reading on began before there were any
    last_flat = np.where(before > 0, time[np.maximum(first - 1, 0)], time[first] - gap)
    start = last_flat + rng.random(m) * (time[first] - last_flat)
    doubling, ratio = (_log_uniform(rng, pair, m) for pair in (cell.doubling, cell.limit))
    sigma = np.full(m, rng.uniform(*cell.sigma)) if cell.found else rng.uniform(*cell.sigma, m)
    base = _log_uniform(rng, (2.0, 50.0), m)
    ran = np.maximum(time - start[of], 0.0) / doubling[of]
    rise = {
        "doubling": np.log(2) * ran,
        "straight": np.log1p(ran),
        "none": np.zeros(len(of)),
    }
    lift = np.select([law[of] == k for k in rise], list(rise.values()))
    noise = _alike(rng.standard_normal(len(of)), time, number, cell.alike)
    noise = noise * np.where(rng.random(len(of)) < cell.wild, 3.0, 1.0)
    value = base[of] * np.exp(lift + sigma[of] * noise)
    detection = base * np.exp(sigma * -0.5244)  # the 30 % point of the flat level
    unseen = value < detection[of]
    takes = np.select([law == "doubling", law == "straight"], [np.log2(ratio), ratio - 1], np.inf)
    return Drawn(
        {
            "time": time,
            "low": np.where(unseen, 0.0, value),
            "high": np.where(unseen, detection[of], value),
            "segment": of,
        },
        base * ratio,
        sigma,
        start + doubling * takes - time[np.cumsum(n) - 1],
    )


def forecast(cell: Cell, drawn: Drawn) -> TimeToLimit:
    """Foretold, with noise given or found."""
    sigma = None if cell.found else drawn.sigma
    return time_to_limit(
        **drawn.readings, limit=drawn.limit, sigma=sigma, level=LEVEL, widest=np.inf
    )


def study(cell: Cell, segments: int, seed: int = 1) -> dict[str, Any]:
    """How often intervals of a cell are right, how wide, and how often nothing is said.

    Once for the forecasts that are given, and once for all rises, however wide the interval.
    """
    if cell.found:
        parts = [(d, forecast(cell, d)) for d in _fleets(cell, segments, seed)]
        drawn_days = np.concatenate([d.days for d, _ in parts])
        table = pd.concat([f.table for _, f in parts], ignore_index=True)
        found = np.mean([f.table["sigma"].iloc[0] / d.sigma[0] for d, f in parts])
    else:
        drawn = draw(cell, segments, seed)
        drawn_days, table, found = drawn.days, forecast(cell, drawn).table, 1.0
    rises = np.isfinite(drawn_days) | (cell.law == "none")
    table, days = table[rises].reset_index(drop=True), drawn_days[rises]
    asked = ~table["status"].isin(["over the limit now", "was over the limit"])
    rising = table["status"] == "ok"
    near = np.maximum(table["days_low"], NEAR)
    told = rising & (table["days_high"] <= WIDEST * near)
    if cell.law == "none":  # there is no time to hold: what is foretold is wrong
        days = np.full(len(days), np.nan)
    early, late = table["days_low"] > np.maximum(days, 0), table["days_high"] < days
    row: dict[str, Any] = {
        "cell": cell.name,
        "segments": len(table),
        "over": 1 - asked.mean(),
        "not_rising": (table["status"] == "not rising")[asked].mean(),
        "may_be_over": (table["status"] == "may be over the limit")[asked].mean(),
        "too_wide": (rising & ~told)[asked].mean(),
        "foretold": int(told.sum()),
    }
    for rows, end in ((told, ""), (rising, "_any_width")):
        row["cover" + end] = _share(~(early | late), rows & np.isfinite(days))
        row["before_earliest" + end] = _share(early, rows & np.isfinite(days))
        row["after_latest" + end] = _share(late, rows & np.isfinite(days))
    return row | {
        "rising": int(rising.sum()),
        "median_days": pd.Series(days)[told].median(),
        "median_width": (table["days_high"] - table["days_low"])[told].median(),
        "median_too_late": (table["days"] - np.maximum(days, 0))[told].median(),
        "noise_found": found,
    }


def _share(what: pd.Series, rows: pd.Series) -> float:
    """Share of some rows for which it holds."""
    return float(what[rows].mean()) if rows.any() else float("nan")


def _fleets(cell: Cell, segments: int, seed: int) -> list[Drawn]:
    """Fleets of 40 segments, each with a noise of its own."""
    return [draw(cell, 40, 1000 * seed + k) for k in range(segments // 40)]


def _alike(noise: np.ndarray, time: np.ndarray, number: np.ndarray, fortnight: float) -> np.ndarray:
    """Noise of each segment drawn on to that of the reading before."""
    if not fortnight:
        return noise
    out = noise.copy()
    for k in range(1, int(number.max()) + 1):
        rows = np.flatnonzero(number == k)
        share = fortnight ** ((time[rows] - time[rows - 1]) / 14.0)
        out[rows] = share * out[rows - 1] + np.sqrt(1 - share**2) * noise[rows]
    return out


def _log_uniform(rng: np.random.Generator, pair: tuple[float, float], n: int) -> np.ndarray:
    return np.exp(rng.uniform(*np.log(pair), n))


def main() -> None:
    """Write the table."""
    rows = [study(cell, 10_000) for cell in CELLS]
    pd.DataFrame(rows).round(4).to_csv(TABLE, index=False)


if __name__ == "__main__":
    main()
