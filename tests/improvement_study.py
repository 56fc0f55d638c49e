"""How often is a project called improved, where it worked and where it did not?

``python tests/improvement_study.py`` writes ``improvement_study.csv`` beside it (some minutes);
`tests/test_improvement_study.py` repeats a part of it.

Each fleet has 420 positions of ten classes at one site, watched from 2016 to 2025; seals fail at
random or with age (run hours), some are renewed with other work or in outages, and the start of
seven in ten of the seals that run when the records begin is not known. The truth is the ratio of
failure rates at equal age that the project brought.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from seallife.changes import Changes
from seallife.classes import Classes
from seallife.events import Removals
from seallife.findings import no_findings
from seallife.history.improvement import Improvements, improvements_of
from seallife.lives import LifeTable
from seallife.observation import Observation

TABLE = Path(__file__).with_name("improvement_study.csv")
LEVEL, SITE = 0.90, "Site"
ORIGIN = pd.Timestamp("2005-01-01")


def day(date: str) -> float:
    """Days since the simulation begins."""
    return float((pd.Timestamp(date) - ORIGIN).days)


START, END = day("2016-01-01"), day("2026-01-01")
OUTAGES = [day(f"{year}-10-10") for year in (2009, 2014, 2019, 2024)]
LAWS = {  # positions; mean life to a random failure [h]; shape and scale [h] with age; duty
    "HC-HOT": (44, 90e3, 2.2, 34e3, 0.62),
    "HC-FLASH": (56, 55e3, 1.8, 40e3, 0.60),
    "HC-GEN": (72, 110e3, 2.5, 62e3, 0.58),
    "SOUR": (34, 60e3, 2.0, 38e3, 0.60),
    "CORR": (30, 50e3, 1.6, 26e3, 0.60),
    "CHEM": (40, 65e3, 2.0, 45e3, 0.55),
    "WATER": (52, 120e3, 2.5, 55e3, 0.60),
    "BFW/HOTW": (48, 70e3, 2.8, 40e3, 0.66),
    "SLURRY": (32, 40e3, 2.6, 14e3, 0.70),
    "OIL": (12, 6e6, 3.0, 260e3, 0.50),
}
BEFORE_RANDOM_H = 22e3
"""The demo's unit 400 before its change."""


@dataclass(frozen=True)
class Scenario:
    """One way in which a project may come about.

    ``chosen``: 'worst' ten by the failures of 2018-19, the worst 'section' of 24, or a 'unit' of
    24 of one class. ``ratio``: what the project brings. ``unlike``: gamma shape of how positions of
    a class differ. ``drift``: factor of all failure rates from the change on; ``apart``: standard
    deviation of its logarithm between classes. ``next_failure``: each position is changed when
    its seal fails next.
    """

    name: str
    chosen: str
    ratio: float
    reason: str
    service_class: str = "HC-FLASH"
    begins: tuple[str, str] = ("2022-04-01", "2022-06-30")
    renewed: bool = True
    unlike: float = np.inf
    drift: float = 1.0
    apart: float = 0.0
    next_failure: bool = False


_WORST = {
    "chosen": "worst",
    "ratio": 1.0,
    "reason": "ten worst positions by failures in 2018 and 2019",
    "begins": ("2020-02-10", "2020-02-10"),
    "renewed": False,
}
_ALL = "all pumps of the section"
SCENARIOS = (
    Scenario("ten worst, nothing done", **_WORST),
    Scenario("ten worst, unlike positions", **_WORST, unlike=2.0),
    Scenario("ten worst, reason not told", **{**_WORST, "reason": ""}),
    Scenario("ten worst, all seals renewed", **{**_WORST, "renewed": True}),
    Scenario("worst section, nothing done", "section", 1.0, _ALL, begins=("2020-01-02",) * 2),
    Scenario("unit of 24, nothing done", "unit", 1.0, _ALL),
    Scenario("unit of 24, unlike positions", "unit", 1.0, _ALL, unlike=2.0),
    Scenario("seals age steeply, short time after", "unit", 1.0, _ALL, "SLURRY",
             ("2024-04-01", "2024-06-30")),
    Scenario("all rates fall by a third", "unit", 1.0, _ALL, drift=0.67),
    Scenario("rates of classes drift apart", "unit", 1.0, _ALL, apart=0.2),
    Scenario("changed at the next failure", "unit", 1.0, _ALL, begins=("2019-01-01",) * 2,
             next_failure=True),
    Scenario("rate 0.4 times", "unit", 0.4, _ALL),
    Scenario("rate 0.4 times, unlike positions", "unit", 0.4, _ALL, unlike=4.0),
    Scenario("rate 0.4 times, reason not told", "unit", 0.4, ""),
    Scenario("rate 0.7 times", "unit", 0.7, _ALL),
    Scenario("rate doubled", "unit", 2.0, _ALL),
)  # fmt: skip


def fleet(scenario: Scenario, seed: int) -> dict[str, Any]:
    """One fleet with its project: the arguments of `improvements_of`."""
    rng = np.random.default_rng([seed, *scenario.name.encode()])
    name = np.repeat(list(LAWS), [law[0] for law in LAWS.values()])
    random_h, shape, scale, duty = np.repeat(
        np.array([law[1:] for law in LAWS.values()]), [law[0] for law in LAWS.values()], axis=0
    ).T
    count = len(name)
    law = {
        "shape": shape,
        "scale": scale,
        "random": random_h.copy(),
        "pace": 24 * np.clip(duty + 0.15 * rng.standard_normal(count), 0.15, 0.95),
        "factor": np.ones(count),
        "mass": np.isin(name, ["HC-HOT", "HC-GEN"]),
    }
    if np.isfinite(scenario.unlike):
        law["factor"] = rng.gamma(scenario.unlike, 1 / scenario.unlike, count)
    first, last = (day(d) for d in scenario.begins)
    apart = dict(zip(LAWS, rng.normal(0, scenario.apart, len(LAWS)), strict=True))
    law["drift"] = scenario.drift * np.exp([apart[c] for c in name])
    law["from"] = np.full(count, first)
    if scenario.chosen == "unit":
        project = np.flatnonzero(name == scenario.service_class)[:24]
        if scenario.service_class == "HC-FLASH":
            law["random"][project] = BEFORE_RANDOM_H
        begins = rng.uniform(first, last, len(project))
        if first == last:
            begins[:] = first
    else:
        begins = None
    until = np.full(count, END)
    if scenario.chosen == "unit" and not scenario.next_failure:
        until[project] = begins
    lives = _lives(rng, law, np.arange(count), np.zeros(count), until)
    if scenario.next_failure:
        lives, project, begins = _at_next_failure(lives, project, first)
    if begins is None:
        project = _worst(scenario, lives, name, rng)
        begins = np.full(len(project), first)
        if scenario.renewed:
            lives = _cut(lives, project, begins)
    if scenario.renewed:
        law["factor"][project] *= scenario.ratio
        more = _lives(rng, law, project, begins, np.full(count, END))
        lives = {k: np.concatenate([lives[k], more[k]]) for k in lives}
    return _tables(rng, scenario, lives, law, name, project, begins)


def _lives(
    rng: np.random.Generator,
    law: dict[str, np.ndarray],
    at: np.ndarray,
    start: np.ndarray,
    until: np.ndarray,
) -> dict[str, np.ndarray]:
    """Lives one after the other, from a new seal to the end of each position."""
    parts = []
    while at.size:
        fails = start + _hours(rng, law, at, start) / law["pace"][at]
        planned = start + rng.exponential(20 * 365.25, at.size)
        for k, outage in enumerate(OUTAGES):
            share = np.where(law["mass"][at] & (k == 2), 0.85, 0.12)
            hit = (start < outage) & (outage < planned) & (rng.random(at.size) < share)
            planned = np.where(hit, outage, planned)
        end = np.minimum(np.minimum(fails, planned), until[at])
        failed = (fails <= planned) & (fails < until[at])
        parts.append((at, start, end, failed, end < until[at]))
        back = end + 1 + 4 * rng.standard_exponential(at.size)
        goes_on = (end < until[at]) & (back < until[at])
        at, start = at[goes_on], back[goes_on]
    names = ("position", "start", "end", "failed", "removed")
    return {n: np.concatenate([p[k] for p in parts]) for k, n in enumerate(names)}


def _hours(
    rng: np.random.Generator, law: dict[str, np.ndarray], at: np.ndarray, start: np.ndarray
) -> np.ndarray:
    """Run hours to failure; all rates change by the factor ``drift`` on one day."""
    age = np.maximum(law["from"][at] - start, 0) * law["pace"][at]
    ages = []
    for scale, shape in ((law["random"][at], 1.0), (law["scale"][at], law["shape"][at])):
        due = rng.standard_exponential(at.size) / law["factor"][at]
        before = (age / scale) ** shape
        beyond = before + (due - before) / law["drift"][at]
        ages.append(scale * np.where(due < before, due, beyond) ** (1 / shape))
    return np.minimum(*ages)


def _worst(
    scenario: Scenario, lives: dict[str, np.ndarray], name: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """Positions that a site would choose by the failures of 2018 and 2019."""
    late = (
        lives["failed"] & (lives["end"] >= day("2018-01-01")) & (lives["end"] < day("2020-01-01"))
    )
    failures = np.bincount(lives["position"][late], minlength=len(name))
    if scenario.chosen == "worst":
        return np.sort(np.argsort(-failures - 0.01 * rng.random(len(name)))[:10])
    # sections of 24 of one class, compared with what their classes have on average
    class_mean = pd.Series(failures).groupby(name).transform("mean").to_numpy()
    sections = [
        np.flatnonzero(name == c)[k : k + 24]
        for c in LAWS
        for k in range(0, LAWS[c][0] - 23, 24)
        if c != "OIL" and LAWS[c][0] >= 40
    ]
    excess = [failures[s].sum() / class_mean[s].sum() for s in sections]
    return sections[int(np.argmax(excess))]


def _at_next_failure(
    lives: dict[str, np.ndarray], project: np.ndarray, first: float
) -> tuple[dict[str, np.ndarray], np.ndarray, np.ndarray]:
    """Positions changed when their seal fails next, and when; the others never are."""
    after = lives["failed"] & (lives["end"] >= first)
    begins = np.full(int(lives["position"].max()) + 1, np.inf)
    np.minimum.at(begins, lives["position"][after], lives["end"][after])
    done = project[np.isfinite(begins[project])]
    return _cut(lives, done, begins[done]), done, begins[done]


def _cut(lives: dict[str, np.ndarray], project: np.ndarray, begins: np.ndarray) -> dict[str, Any]:
    """End the lives of the project's positions with the change."""
    upto = np.full(int(lives["position"].max()) + 1, np.inf)
    upto[project] = begins
    upto = upto[lives["position"]]
    kept = lives["start"] < upto
    late = lives["end"] > upto
    out = lives | {
        "end": np.minimum(lives["end"], upto),
        "failed": lives["failed"] & ~late,
        "removed": lives["removed"] | late,
    }
    return {k: v[kept] for k, v in out.items()}


def _tables(
    rng: np.random.Generator,
    scenario: Scenario,
    lives: dict[str, np.ndarray],
    law: dict[str, np.ndarray],
    name: np.ndarray,
    project: np.ndarray,
    begins: np.ndarray,
) -> dict[str, Any]:
    """What the records show of it."""
    seen = lives["end"] > START
    at, start, end, failed, removed = (v[seen] for v in lives.values())
    entry = np.maximum(start, START)
    known = (start >= START) | (rng.random(len(start)) < 0.3)
    pace = law["pace"][at]
    ids = np.array([f"P-{i:03d}" for i in range(len(name))], dtype=object)

    def dates(days: np.ndarray) -> pd.Series:
        return pd.Series(ORIGIN + pd.to_timedelta(days, unit="D"))

    table = pd.DataFrame(
        {
            "position_id": ids[at],
            "site": SITE,
            "service_class": name[at].astype(object),
            "entry": dates(entry),
            "exit": dates(end),
            "end": np.select([failed, removed], ["failed", "withdrawn"], "in service"),
            "age_known": known,
            "entry_age_d": np.where(known, entry - start, np.nan),
            "entry_age_h": np.where(known, (entry - start) * pace, np.nan),
            "days": end - entry,
            "hours": (end - entry) * pace,
            "removal_id": [f"R{i}" if r else "" for i, r in enumerate(removed)],
        }
    )
    when = pd.Series(begins, index=ids[project])
    own = pd.Series(ids[at]).map(when).to_numpy()
    at_change = table[(end == own) & removed].set_index("position_id")["removal_id"]
    made = pd.DataFrame(
        {
            "position_id": ids[project],
            "date": dates(begins),
            "what": "seal" if scenario.renewed else "flush plan",
            "begins": dates(begins),
            "epoch": 2,
            "removal_id": at_change.reindex(ids[project]).fillna("").to_numpy(),
            "new_seal": scenario.renewed,
            "record_id": [f"changes:c.csv:{i + 2}" for i in range(len(project))],
        }
    )
    raw = made[["record_id"]].assign(project="Project", to_state="new", reason=scenario.reason)
    out = table[table["removal_id"] != ""]
    events = pd.DataFrame(
        {
            "removal_id": out["removal_id"],
            "position_id": out["position_id"],
            "end": out["exit"],
            "ended": out["end"],
        }
    )
    window = (ORIGIN + pd.Timedelta(days=START), ORIGIN + pd.Timedelta(days=END))
    stretches = pd.DataFrame(
        {"position_id": ids, "site": SITE, "start": window[0], "end": window[1]}
    )
    windows = pd.DataFrame({"site": [SITE], "start": [window[0]], "end": [window[1]]})
    lost = pd.DataFrame(
        {"site": pd.Series(dtype=object), "end": pd.Series(dtype="datetime64[ns]"), "reason": ""}
    )
    none = no_findings()
    return {
        "changes": Changes(made, none),
        "raw": raw,
        "lives": LifeTable(table, none, "failed"),
        "removals": Removals(events, none, pd.DataFrame(), lost),
        "watched": Observation(windows, stretches, none),
        "classes": Classes(
            pd.DataFrame({"position_id": ids, "service_class": name.astype(object)}),
            pd.DataFrame(),
            none,
        ),
    }


def judged(scenario: Scenario, seed: int, **how: Any) -> Improvements:
    """The verdict of one fleet."""
    return improvements_of(**fleet(scenario, seed), level=LEVEL, **how)


def study(scenario: Scenario, fleets: int, first: int = 0) -> dict[str, Any]:
    """Shares over so many fleets."""
    rows, views = [], []
    for seed in range(first, first + fleets):
        got = judged(scenario, seed)
        rows.append(got.table.iloc[0])
        views.append(got.views.set_index("view")["ratio"])
    table = pd.DataFrame(rows)
    ratios = pd.DataFrame(views)
    share = table["verdict"].value_counts(normalize=True)
    cover = (table["low"] <= scenario.ratio) & (table["high"] >= scenario.ratio)
    return {
        "scenario": scenario.name,
        "ratio": scenario.ratio,
        "fleets": fleets,
        "improved": share.get("improved", 0.0),
        "worse": share.get("worse", 0.0),
        "cannot_tell_yet": share.get("cannot tell yet", 0.0),
        "cover": cover.mean(),
        "too_low": (table["high"] < scenario.ratio).mean(),
        "too_high": (table["low"] > scenario.ratio).mean(),
        "median_ratio": table["ratio"].median(),
        **{f"median_{k}": v for k, v in zip(
            ("raw", "unchanged", "shrunk"),
            ratios[["before and after", "against unchanged positions",
                    "record shrunk to the class"]].median(), strict=True)},
        "left_out": (table["window"] == "left out").mean(),
        "failures_before": table["failures_before"].mean(),
        "failures_after": table["failures_after"].mean(),
    }  # fmt: skip


def main(fleets: int) -> None:
    """Write the table."""
    rows = [study(scenario, fleets) for scenario in SCENARIOS]
    pd.DataFrame(rows).round(4).to_csv(TABLE, index=False)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
