"""How often does the number of seals needed lie where the forecast said?

``python tests/demand_study.py`` writes ``demand_study.csv`` beside it (about ten minutes);
`tests/test_spares_demand.py` repeats a part of it.

Each fleet has five classes of 40 positions, each class two stock pools of 20. A seal's life is the
least of three: a fitting fault (4 to 6 % of seals, shape 0.8), a chance one, and one that comes
with age (shape 1.6 to 3); duty differs by position; seals are renewed with other work once in 20
years. Records are kept for eight years, late entry and all, and hold what has ended by then.
'steady': nothing more. 'renewed': nine in ten seals, and all of the classes, were renewed in an
outage 60 days before today, and age dominates. 'unlike': each position has a factor of its own,
gamma with shape 3. The forecast is made from the records alone and held against what happens
next; so are last year's usage and the constant rate of the whole record.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import nbinom, poisson

from seallife.life.tablefits import pool_lives
from seallife.spares.ahead import FleetAhead
from seallife.spares.countlaws import count_quantiles
from seallife.spares.demand import forecast_demand
from seallife.spares.fleetahead import fleet_ahead

HERE = Path(__file__).parent
TABLE = HERE / "demand_study.csv"
KINDS, HORIZONS, LEVEL = ("steady", "renewed", "unlike"), (3, 12, 24), 0.90
NOW = pd.Timestamp("2026-01-01")
BEFORE, WINDOW, AHEAD = 12 * 365.25, 8 * 365.25, 1100.0
CLASSES, EACH = 5, 40


@dataclass(frozen=True)
class FixedDuty:
    """Run hours of positions that always run the same share of the day."""

    share: pd.Series

    def at(self, position, day):
        hours = self.share.reindex(position).to_numpy() * 24 * day
        return hours, hours


def simulate(kind: str, seed: int) -> dict[str, object]:
    """Lives on record, positions, duty, and the days on which seals are needed after today."""
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    n = CLASSES * EACH
    group = np.repeat(np.arange(CLASSES), EACH)
    duty = np.clip(rng.normal(0.6, 0.15, n), 0.15, 0.95)
    wear = np.exp(rng.normal(np.log(30_000), 0.35, CLASSES))
    shape = rng.uniform(2.8, 3.5, CLASSES) if kind == "renewed" else rng.uniform(1.6, 3, CLASSES)
    random = wear * rng.uniform(1.5, 3.5, CLASSES) * (4 if kind == "renewed" else 1)
    bad = rng.uniform(0.04, 0.06, CLASSES)
    factor = rng.gamma(3, 1 / 3, n) if kind == "unlike" else np.ones(n)
    begun, running, rows = np.full(n, -BEFORE - WINDOW), np.arange(n), []
    outage = -60.0 if kind == "renewed" else np.inf
    while len(running):
        g, m = group[running], len(running)
        ages = wear[g] * (rng.exponential(size=m) / factor[running]) ** (1 / shape[g])
        ages = np.minimum(ages, random[g] * rng.exponential(size=m) / factor[running])
        early = 1_200 * rng.weibull(0.8, m)
        ages = np.where(rng.random(m) < bad[g], np.minimum(ages, early), ages)
        start = begun[running]
        fails = start + ages / (24 * duty[running])
        pulled = start + rng.exponential(20 * 365.25, m)
        pulled = np.where(
            (start < outage) & (rng.random(m) < 0.9), np.minimum(pulled, outage), pulled
        )
        end = np.minimum(fails, pulled)
        rows.append(np.column_stack([running, start, end, fails <= pulled]))
        begun[running] = end
        running = running[end < AHEAD]
    life = pd.DataFrame(np.concatenate(rows), columns=["position", "start", "end", "failed"])
    return {"life": life, "group": group, "duty": duty}


def on_record(drawn: dict[str, object]) -> tuple[FleetAhead, pd.DataFrame]:
    """What the records of eight years say, and the seals needed after their end."""
    life, group, duty = drawn["life"], drawn["group"], drawn["duty"]
    names = np.array([f"P{i:03d}" for i in range(len(group))], dtype=object)
    position = life["position"].to_numpy(int)
    seen = (life["end"] > -WINDOW) & (life["start"] < 0)
    part = life[seen]
    at = position[seen]
    entry, end = np.maximum(part["start"], -WINDOW), np.minimum(part["end"], 0.0)
    ended = part["end"] < 0
    label = np.array([f"C{g}" for g in group], dtype=object)
    hours = 24 * duty[at]
    lives = pd.DataFrame(
        {
            "life_id": np.arange(len(part)).astype(str),
            "position_id": names[at],
            "tag": names[at],
            "site": "Site",
            "unit": "U",
            "service_class": label[at],
            "entry": NOW + pd.to_timedelta(entry.to_numpy(), unit="D"),
            "exit": NOW + pd.to_timedelta(np.where(ended, end, 0.0), unit="D"),
            "end": np.where(
                ended, np.where(part["failed"] > 0, "failed", "withdrawn"), "in service"
            ),
            "reason": np.where(part["end"] == -60.0, "planned in outage", "planned by age"),
            "age_known": True,
            "entry_age_h": (entry - part["start"]).to_numpy() * hours,
            "exit_age_h": (end - part["start"]).to_numpy() * hours,
            "hours": (end - entry).to_numpy() * hours,
            "days": (end - entry).to_numpy(),
        }
    )
    pools = np.array([f"{c}-{i % 2}" for i, c in enumerate(label)], dtype=object)
    positions = pd.DataFrame(
        {
            "position_id": names,
            "pool": pools,
            "criticality": "B",
            "commissioned": NOW - pd.Timedelta(days=9000),
            "retired": pd.NaT,
        }
    )
    outages = pd.DataFrame({"site": [], "unit": [], "start": [], "end": []})
    outages = outages.astype({"start": "datetime64[ns]", "end": "datetime64[ns]"})
    ahead = fleet_ahead(
        lives,
        positions,
        FixedDuty(pd.Series(duty, index=names)),
        outages,
        pool_lives(lives),
    )
    later = life["end"] > 0
    needed = pd.DataFrame(
        {
            "day": life.loc[later, "end"],
            "pool": pools[position[later]],
            "past": False,
        }
    )
    past = pd.DataFrame({"day": part.loc[ended, "end"], "pool": pools[at[ended]], "past": True})
    return ahead, pd.concat([needed, past], ignore_index=True)


def naive(past: pd.DataFrame, pools: list[str], days: float, most: int) -> dict[str, np.ndarray]:
    """Chances of counts by last year's usage, and by the rate of the whole record."""
    count = np.arange(most + 1)
    year = past[past["day"] > -365.25].groupby("pool").size().reindex(pools, fill_value=0)
    whole = past.groupby("pool").size().reindex(pools, fill_value=0)
    last = poisson.pmf(count, (year.to_numpy() + 0.5)[:, None] * days / 365.25)
    p = WINDOW / (WINDOW + days)
    return {"last year": last, "constant": nbinom.pmf(count, whole.to_numpy()[:, None] + 0.5, p)}


def one_fleet(kind: str, seed: int) -> pd.DataFrame:
    """Forecasts of one fleet against what happened: all seals, and each pool."""
    ahead, events = on_record(simulate(kind, seed))
    demand = forecast_demand(ahead, months=24, level=LEVEL)
    rng = np.random.default_rng(seed)
    past = events[events["past"]]
    rows = []
    for months in HORIZONS:
        days = float((NOW + pd.DateOffset(months=months) - NOW).days)
        came = events[~events["past"] & (events["day"] <= days)]
        for by in ("all", "pool"):
            groups, chance = demand.chances(months, by)
            old = past if by == "pool" else past.assign(pool="all")
            new = came if by == "pool" else came.assign(pool="all")
            seen = new.groupby("pool").size().reindex(groups, fill_value=0).to_numpy()
            at = np.minimum(seen, chance.shape[1] - 1)
            row = np.arange(len(groups))
            below = np.cumsum(chance, axis=1)[row, at] - chance[row, at]
            others = naive(old, list(groups), days, max(int(seen.max()), chance.shape[1] - 1))
            tail = (1 - LEVEL) / 2
            low, high = count_quantiles(chance, tail), count_quantiles(chance, 1 - tail)
            rows.append(
                pd.DataFrame(
                    {
                        "kind": kind,
                        "months": months,
                        "by": by,
                        "seen": seen,
                        "mean": chance @ np.arange(chance.shape[1]),
                        "inside": (seen >= low) & (seen <= high),
                        # where in the forecast the outcome lies: even from 0 to 1 if it is right
                        "place": below + rng.random(len(seen)) * chance[row, at],
                        "score": np.log(chance[row, at]),
                        **{k: np.log(v[row, seen]) for k, v in others.items()},
                    }
                )
            )
    return pd.concat(rows, ignore_index=True).assign(fleet=seed)


def summary(fleets: pd.DataFrame) -> pd.DataFrame:
    """Cover of the nominal 90 %, bias and gain over naive forecasts."""
    tail = (1 - LEVEL) / 2
    rows = []
    for key, part in fleets.groupby(["kind", "by", "months"], sort=False):
        gain = {k: part["score"] - part[k] for k in ("last year", "constant")}
        each = {k: v.groupby(part["fleet"]).mean() for k, v in gain.items()}
        rows.append(
            dict(zip(("kind", "by", "months"), key, strict=True))
            | {
                "fleets": part["fleet"].nunique(),
                "forecasts": len(part),
                "cover": 1 - (part["place"] < tail).mean() - (part["place"] > 1 - tail).mean(),
                "too_high": (part["place"] < tail).mean(),
                "too_low": (part["place"] > 1 - tail).mean(),
                "inside": part["inside"].mean(),
                "bias": part["mean"].sum() / part["seen"].sum(),
                "gain_last_year": gain["last year"].mean(),
                "better_than_last_year": (each["last year"] > 0).mean(),
                "gain_constant": gain["constant"].mean(),
                "better_than_constant": (each["constant"] > 0).mean(),
            }
        )
    return pd.DataFrame(rows)


def run(fleets: int, kinds: tuple[str, ...] = KINDS) -> pd.DataFrame:
    """The whole study."""
    return summary(pd.concat([one_fleet(k, s) for k in kinds for s in range(fleets)]))


if __name__ == "__main__":
    run(200).round(4).to_csv(TABLE, index=False)
