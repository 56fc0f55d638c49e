"""Fleets whose laws are known: eight years of records, and several ways in which they may go on.

Each fleet has five classes of 40 positions, each class two stock pools of 20. A seal's life is the
least of three: a fitting fault (4 to 6 % of seals, shape 0.8), a chance one, and one that comes
with age (shape 1.6 to 3); duty differs by position; seals are renewed with other work once in 20
years. Twelve years pass before the records begin, so that they enter late; records of eight years
hold what has ended by then. 'steady': nothing more. 'renewed': nine in ten seals, and all of the
classes, were renewed in an outage 60 days before today, and age dominates. 'unlike': each position
has a factor of its own, gamma with shape 3, on what is not a fitting fault.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from seallife.life.groups import Floats, Ints
from seallife.life.tablefits import pool_lives
from seallife.spares.ahead import FleetAhead
from seallife.spares.fleetahead import fleet_ahead
from seallife.spares.lawdraws import LawDraws
from seallife.spares.paths import DemandPaths
from seallife.spares.positionfactors import PositionFactors

__all__ = [
    "KINDS",
    "NOW",
    "OUTAGE",
    "WINDOW",
    "FixedDuty",
    "TrueFleet",
    "draw_fleet",
    "from_records",
    "tables",
]

KINDS = ("steady", "renewed", "unlike")
NOW = pd.Timestamp("2026-01-01")
BEFORE, WINDOW, AHEAD = 12 * 365.25, 8 * 365.25, 1096.0
CLASSES, EACH = 5, 40
OUTAGE, RENEWED = -60.0, 0.9
EARLY_H, EARLY_SHAPE = 1_200.0, 0.8
PLANNED_D = 20 * 365.25


@dataclass(frozen=True)
class FixedDuty:
    """Run hours of positions that always run the same share of the day."""

    share: pd.Series

    def hours_a_day(self, position, now):
        return np.nan_to_num(self.share.reindex(position).to_numpy() * 24)


@dataclass(frozen=True, eq=False)
class TrueFleet:
    """A fleet, its laws, and the lives of its seals until today.

    ``wear``, ``shape``, ``random`` and ``bad`` are those of the class of each position; ``life``
    has ``position``, ``start``, ``end`` (infinite: in service) in days from today and ``failed``.
    """

    group: Ints
    duty: Floats
    wear: Floats
    shape: Floats
    random: Floats
    bad: Floats
    factor: Floats
    life: pd.DataFrame

    def cumulative(self, age: Floats) -> Floats:
        """True cumulative failure rate of a seal at each position, shape (n, k)."""
        wear, random, bad, shape, factor = (
            v[:, None] for v in (self.wear, self.random, self.bad, self.shape, self.factor)
        )
        early = np.exp(-((age / EARLY_H) ** EARLY_SHAPE))
        return factor * ((age / wear) ** shape + age / random) - np.log(1 - bad + bad * early)

    def fails_at(self, position: Ints, reached: Floats, rng: np.random.Generator) -> Floats:
        """Age at failure of seals that have reached an age [h]."""
        i, m = position, len(position)
        spent = (reached / self.wear[i]) ** self.shape[i]
        spent = spent + rng.exponential(size=m) / self.factor[i]
        age = self.wear[i] * spent ** (1 / self.shape[i])
        chance = reached + self.random[i] * rng.exponential(size=m) / self.factor[i]
        sound = (reached / EARLY_H) ** EARLY_SHAPE
        bad = self.bad[i] * np.exp(-sound)
        early = EARLY_H * (sound + rng.exponential(size=m)) ** (1 / EARLY_SHAPE)
        faulty = rng.random(m) < bad / (1 - self.bad[i] + bad)
        return np.minimum(np.minimum(age, chance), np.where(faulty, early, np.inf))

    @property
    def pools(self) -> np.ndarray:
        """Stock pool of each position."""
        return np.array([f"C{g}-{i % 2}" for i, g in enumerate(self.group)], dtype=object)

    @property
    def running(self) -> pd.DataFrame:
        """Lives of the seals in service, by position."""
        return self.life[np.isinf(self.life["end"])].sort_values("position")

    def futures(self, count: int, seed: int, days: float = AHEAD) -> DemandPaths:
        """What may happen next, each run one way of it."""
        rng = np.random.default_rng([seed, 99])
        n = len(self.group)
        lane = np.arange(n * count)
        start = np.tile(self.running["start"].to_numpy(), count)
        lane, _, end, failed = _go_on(self, lane, start, np.zeros(len(lane)), days, rng)
        out = end <= days
        lane, end, failed = lane[out], end[out], failed[out]
        order = np.lexsort((end, lane // n))
        lane, end, failed = lane[order], end[order], failed[order]
        names, pool = np.unique(self.pools, return_inverse=True)
        return DemandPaths(
            pd.Index(names), count, days, lane // n, pool[lane % n], end, 1 - failed, seed
        )

    def oracle(self) -> FleetAhead:
        """The fleet as one would see it who knows the laws and factor of each position."""
        n = len(self.group)
        ages = np.unique(np.append(np.geomspace(20, 6e5, 300), np.arange(0, 2e5, 1000.0)))
        laws = LawDraws(
            pd.Index(np.arange(n).astype(str)), ages, self.cumulative(ages)[None], "h", 1
        )
        label = np.array([f"C{g}" for g in self.group], dtype=object)
        seals = pd.DataFrame(
            {
                "life_id": np.arange(n).astype(str),
                "site": "Site",
                "service_class": label,
                "pool": self.pools,
                "factor": 1.0,
            }
        )
        nothing = np.zeros(n)
        return FleetAhead(
            seals,
            np.arange(n),
            -self.running["start"].to_numpy() * 24 * self.duty,
            24 * self.duty,
            nothing,
            PositionFactors(nothing, nothing, np.inf, 0.0),
            np.inf,
            laws,
            np.ones((1, n)),
            np.full((1, n), 1 / PLANNED_D),
            np.full((n, 1), np.inf),
            np.zeros((n, 1)),
            NOW,
        )


def draw_fleet(kind: str, seed: int) -> TrueFleet:
    """Laws of a fleet, and the lives of its seals from long ago until today."""
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    n, renewed = CLASSES * EACH, kind == "renewed"
    group = np.repeat(np.arange(CLASSES), EACH)
    duty = np.clip(rng.normal(0.6, 0.15, n), 0.15, 0.95)
    wear = np.exp(rng.normal(np.log(30_000), 0.35, CLASSES))
    shape = rng.uniform(2.8, 3.5, CLASSES) if renewed else rng.uniform(1.6, 3, CLASSES)
    random = wear * rng.uniform(1.5, 3.5, CLASSES) * (4 if renewed else 1)
    bad = rng.uniform(0.04, 0.06, CLASSES)
    factor = rng.gamma(3, 1 / 3, n) if kind == "unlike" else np.ones(n)
    laws = (wear[group], shape[group], random[group], bad[group], factor)
    new = TrueFleet(group, duty, *laws, pd.DataFrame())
    begun = np.full(n, -BEFORE - WINDOW)
    position, start, end, failed = _go_on(
        new, np.arange(n), begun, begun, 0.0, rng, OUTAGE if renewed else np.inf
    )
    life = pd.DataFrame({"position": position, "start": start, "end": end, "failed": failed})
    life.loc[life["end"] > 0, "end"] = np.inf
    return TrueFleet(group, duty, *laws, life)


def _go_on(
    fleet: TrueFleet,
    lane: Ints,
    start: Floats,
    now: Floats,
    until: float,
    rng: np.random.Generator,
    outage: float = np.inf,
) -> tuple[np.ndarray, ...]:
    """Lives that end one after another until a day: lane, start, end (beyond it: last) , failed."""
    parts = []
    n = len(fleet.group)
    while len(lane):
        position, m = lane % n, len(lane)
        pace = 24 * fleet.duty[position]
        fails = start + fleet.fails_at(position, (now - start) * pace, rng) / pace
        pulled = now + rng.exponential(PLANNED_D, m)
        hit = (now < outage) & (rng.random(m) < RENEWED)
        pulled = np.where(hit, np.minimum(pulled, outage), pulled)
        end = np.minimum(fails, pulled)
        parts.append((lane, start, end, (fails <= pulled).astype(np.int64)))
        more = end <= until
        lane, start, now = lane[more], end[more], end[more]
    return tuple(np.concatenate(part) for part in zip(*parts, strict=True))


def tables(fleet: TrueFleet) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Lives and positions as the records of eight years have them."""
    names = np.array([f"P{i:03d}" for i in range(len(fleet.group))], dtype=object)
    label = np.array([f"C{g}" for g in fleet.group], dtype=object)
    part = fleet.life[fleet.life["end"] > -WINDOW]
    at = part["position"].to_numpy()
    hours = 24 * fleet.duty[at]
    start, end = part["start"].to_numpy(), np.minimum(part["end"].to_numpy(), 0.0)
    entry, ended = np.maximum(start, -WINDOW), np.isfinite(part["end"].to_numpy())
    lives = pd.DataFrame(
        {
            "life_id": np.arange(len(part)).astype(str),
            "position_id": names[at],
            "tag": names[at],
            "site": "Site",
            "unit": "U",
            "service_class": label[at],
            "entry": NOW + pd.to_timedelta(entry, unit="D"),
            "exit": NOW + pd.to_timedelta(end, unit="D"),
            "end": np.where(
                ended, np.where(part["failed"] > 0, "failed", "withdrawn"), "in service"
            ),
            "reason": np.where(end == OUTAGE, "planned in outage", "planned by age"),
            "age_known": True,
            "entry_age_h": (entry - start) * hours,
            "exit_age_h": (end - start) * hours,
            "hours": (end - entry) * hours,
            "days": end - entry,
        }
    )
    positions = pd.DataFrame(
        {
            "position_id": names,
            "pool": fleet.pools,
            "criticality": "B",
            "commissioned": NOW - pd.Timedelta(days=9000),
            "retired": pd.NaT,
        }
    )
    return lives, positions


def from_records(fleet: TrueFleet) -> FleetAhead:
    """The fleet as its records of eight years show it."""
    lives, positions = tables(fleet)
    outages = pd.DataFrame({"site": [], "unit": [], "start": [], "end": []})
    outages = outages.astype({"start": "datetime64[ns]", "end": "datetime64[ns]"})
    duty = FixedDuty(pd.Series(fleet.duty, index=positions["position_id"]))
    return fleet_ahead(lives, positions, duty, outages, pool_lives(lives))
