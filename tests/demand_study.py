"""How often does the number of seals needed lie where the forecast said?

``python tests/demand_study.py`` writes ``demand_study.csv`` and ``stock_study.csv`` beside it
(about half an hour); `tests/test_spares_study.py` holds them to bounds and repeats a part.

The fleets are those of `truefleets`. The forecast is made from eight years of records alone and
held against what happens next, in several ways that each fleet may go on; so are last year's usage
and the constant rate of the whole record, and an oracle that knows the true laws, the factor of
each position and all ages: no forecast can beat it but by luck.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
from truefleets import KINDS, NOW, WINDOW, TrueFleet, draw_fleet, from_records

from seallife.scoring import constant_rate, last_years_usage, score_counts
from seallife.spares.ahead import FleetAhead
from seallife.spares.demand import forecast_demand
from seallife.spares.paths import DemandPaths

__all__ = ["HORIZONS", "TABLE", "one_fleet", "run", "summary"]

HERE = Path(__file__).parent
TABLE = HERE / "demand_study.csv"
HORIZONS, LEVEL = (3, 12, 24), 0.90
FUTURES = 5
OTHERS = ("last_year", "constant", "oracle")


def one_fleet(fleet: TrueFleet, ahead: FleetAhead, came: DemandPaths) -> pd.DataFrame:
    """Forecasts of one fleet against what happened: all seals, and each pool, in each future."""
    demand = forecast_demand(ahead, months=max(HORIZONS), level=LEVEL)
    oracle = forecast_demand(fleet.oracle(), months=max(HORIZONS), level=LEVEL)
    past = fleet.life[(fleet.life["end"] > -WINDOW) & (fleet.life["end"] <= 0)]
    pool = came.pools.get_indexer(fleet.pools[past["position"]])
    last = past["end"].to_numpy() > -365.25
    usage = np.stack([np.bincount(pool[rows], minlength=len(came.pools)) for rows in (last, ...)])
    parts = []
    for months in HORIZONS:
        days = float((NOW + pd.DateOffset(months=months) - NOW).days)
        needed = came.needed(np.full(len(came.pools), days))
        for by in ("all", "pool"):
            seen, used = needed, usage
            if by == "all":
                seen, used = seen.sum(axis=0, keepdims=True), used.sum(axis=1, keepdims=True)
            chance = demand.chances(months, by)[1]
            knows = _folded(oracle.chances(months, by)[1], chance.shape[1])
            k = chance.shape[1]
            rivals = (
                last_years_usage(used[0], months, k),
                constant_rate(used[1], WINDOW, days, k),
                knows,
            )
            flat, times = seen.ravel(), came.runs
            scores = score_counts(flat, np.repeat(chance, times, axis=0), level=LEVEL).each
            rows = np.repeat(np.arange(len(seen)), times)
            cell = np.minimum(flat, k - 1)
            parts.append(
                scores[
                    ["observed", "expected", "under", "upto", "low", "high", "log_score"]
                ].assign(
                    months=months,
                    by=by,
                    future=np.tile(np.arange(times), len(seen)),
                    due=(knows @ np.arange(k))[rows],
                    **{
                        name: -np.log(np.maximum(other[rows, cell], 1e-300))
                        for name, other in zip(OTHERS, rivals, strict=True)
                    },
                )
            )
    return pd.concat(parts, ignore_index=True)


def _folded(chance: np.ndarray, cells: int) -> np.ndarray:
    """Chances of so many counts, the last standing for more as well."""
    out = np.zeros((len(chance), cells))
    k = min(cells, chance.shape[1])
    out[:, :k] = chance[:, :k]
    out[:, -1] += chance[:, k:].sum(axis=1)
    return out


def summary(fleets: pd.DataFrame) -> pd.DataFrame:
    """Cover of the nominal 90 %, bias and gain over other forecasts."""
    tails = np.array([(1 - LEVEL) / 2, (1 + LEVEL) / 2])
    rows = []
    for key, part in fleets.groupby(["kind", "by", "months"], sort=False):
        under, upto = part["under"].to_numpy(), part["upto"].to_numpy()
        # share of a count's chance that lies below each tail: what a randomised range would do
        width = np.maximum(upto - under, 1e-300)
        split = np.clip((tails - under[:, None]) / width[:, None], 0, 1)
        each = part.assign(inside=split[:, 1] - split[:, 0]).groupby("fleet")
        fleet = each["inside"].mean()
        due, expected, observed = (each[c].sum() for c in ("due", "expected", "observed"))
        row = dict(zip(("kind", "by", "months"), key, strict=True))
        row |= {
            "fleets": len(fleet),
            "forecasts": len(part),
            "cover": fleet.mean(),
            "cover_error": fleet.std() / np.sqrt(len(fleet)),
            "too_high": split[:, 0].mean(),
            "too_low": 1 - split[:, 1].mean(),
            "whole_cover": part["observed"].between(part["low"], part["high"]).mean(),
            "bias": expected.sum() / observed.sum() - 1,
            # against the mean that the true laws give: the same without the luck of the futures
            "bias_of_mean": expected.sum() / due.sum() - 1,
            "bias_error": (expected - due * expected.sum() / due.sum()).std()
            * np.sqrt(len(due))
            / due.sum(),
        }
        first = part[part["future"] == 0]
        for name in ("last_year", "constant"):
            for who in ("log_score", "oracle"):
                gain = part[name] - part[who]
                once = (first[name] - first[who]).groupby(first["fleet"]).mean()
                label = f"{'oracle_' if who == 'oracle' else ''}{{}}_{name}"
                row[label.format("gain")] = gain.mean()
                row[label.format("better_once")] = (once > 0).mean()
                row[label.format("better")] = (gain.groupby(part["fleet"]).mean() > 0).mean()
        rows.append(row)
    return pd.DataFrame(rows)


def run(fleets: int, kinds: tuple[str, ...] = KINDS, first: int = 0) -> tuple[pd.DataFrame, ...]:
    """Both studies: of demand, and of stock chosen by it."""
    import stock_study

    demand, stock = [], []
    for kind in kinds:
        for seed in range(first, first + fleets):
            fleet = draw_fleet(kind, seed)
            ahead, came = from_records(fleet), fleet.futures(FUTURES, seed)
            name = {"kind": kind, "fleet": seed}
            demand.append(one_fleet(fleet, ahead, came).assign(**name))
            stock.append(stock_study.one_fleet(ahead, came).assign(**name))
    return summary(pd.concat(demand)), stock_study.summary(pd.concat(stock))


if __name__ == "__main__":
    import stock_study

    for table, path in zip(run(200), (TABLE, stock_study.TABLE), strict=True):
        table.round(4).to_csv(path, index=False)
