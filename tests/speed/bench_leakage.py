"""What does everything that readings of leakage say cost, for 10,000 seals read 60 times each?

Run with ``pytest -m speed -n 0 -s tests/speed``. Placing the readings, trends, slopes by class,
alarms at four rates of false alarms with thresholds by simulation, forecasts, limits, the record of
the alarms and the failure rate in alarm. Processor time is counted.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from costs import QUIET_IMPORT_S, cost, reference

pytestmark = pytest.mark.speed

SEALS, TIMES = 10_000, 60
CODE = "import sys; sys.path[:0] = {paths!r}; from bench_leakage import analyse; analyse({seals})"
ORIGIN = pd.Timestamp("2016-01-01")


def analyse(seals: int) -> None:
    """Ask every answer of a fleet in which one seal in twenty rises before it fails."""
    from seallife.leakage.readings import Readings
    from seallife.leakanswers import LeakAnswers
    from seallife.lives import LifeTable
    from seallife.settings import Rules

    rng = np.random.default_rng(1)
    n = seals * TIMES
    life = np.repeat(np.arange(seals), TIMES)
    day = np.tile(np.arange(TIMES) * 30.4, seals) + np.floor(rng.uniform(0, 6, n))
    failed = rng.random(seals) < 0.3
    rises = failed & (rng.random(seals) < 0.2)
    end = np.where(failed, 60 * 30.4 + 15, 60 * 30.4 + 400)
    log = 2.7 + 0.8 * rng.standard_normal(seals)[life] + 0.5 * rng.standard_normal(n)
    log += np.where(rises[life], np.maximum(day - end[life] + 90, 0) / 30 * np.log(2), 0.0)
    value = np.exp(log)
    below = value < 5.0
    names = np.char.add("P-", np.arange(seals).astype(str)).astype(object)
    ids = np.char.add(names.astype(str), " 2016-01-01").astype(object)
    first = float((ORIGIN - pd.Timestamp("1970-01-01")).days)
    table = pd.DataFrame(
        {
            "record_id": np.arange(n).astype(str),
            "position_id": names[life],
            "site": "Site",
            "unit": "U1",
            "service_class": np.array(["A", "B"], dtype=object)[life % 2],
            "life_id": ids[life],
            "segment": life,
            "date": ORIGIN + pd.to_timedelta(day, unit="D"),
            "day": first + day,
            "method": "sniffer",
            "quantity": "concentration",
            "measured_in": "ppmv",
            "value": value,
            "low": np.where(below, 0.0, value),
            "high": np.where(below, 5.0, value),
            "kind": np.array(["exact", "below"], dtype=object)[below.astype(int)],
            "age_d": day,
            "age_h": day * 12,
            "to_end_d": end[life] - day,
            "at": "running",
            "doubt": "",
        }
    )
    lives = pd.DataFrame(
        {
            "life_id": ids,
            "position_id": names,
            "service_class": np.array(["A", "B"], dtype=object)[np.arange(seals) % 2],
            "start": ORIGIN,
            "entry": ORIGIN,
            "exit": ORIGIN + pd.to_timedelta(end, unit="D"),
            "end": np.where(failed, "failed", "in service"),
        }
    )
    empty = pd.DataFrame()
    limits = pd.DataFrame(
        {
            "record_id": ["limits:1", "limits:2"],
            **dict.fromkeys(("site", "plant_unit", "service_class", "position_id", "method"), ""),
            "limit": [1_000.0, 500.0],
            "unit": "ppm",
            "kind": ["legal", "house"],
            "valid_from": pd.NaT,
            "valid_to": pd.NaT,
            "citation": "permit",
        }
    )
    answers = LeakAnswers(
        Readings(table, empty, empty), LifeTable(lives, empty, "failed"), limits, Rules()
    )
    for name in ("trends", "slopes", "alarms", "exceedances", "forecast", "rising", "records"):
        getattr(answers, name)
    assert answers.hazard.table["ratio"].iloc[0] > 1


def test_ten_thousand_seals_read_sixty_times() -> None:
    """Held to 30 s on a quiet machine, and 1 GB (1,024 MiB; the readings themselves are 250)."""
    paths = [str(Path(__file__).parent), str(Path(__file__).parents[1])]
    spent, peak = cost("-c", CODE.format(paths=paths, seals=SEALS), repeat=1)
    unit = reference()
    print(f"\n{SEALS:,} x {TIMES}: {spent / unit:.1f} x imports ({spent:.1f} s), {peak:.0f} MB")
    assert spent / unit < 30 / QUIET_IMPORT_S
    assert peak < 1_024


if __name__ == "__main__":
    analyse(int(sys.argv[1]) if len(sys.argv) > 1 else SEALS)
