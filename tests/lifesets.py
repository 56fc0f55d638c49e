"""Lives of classes of every kind, many failures to none, for tests of figures."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd

from seallife.life.fits import LifeFits, fit_lives

HOSTILE = "<img src=x>"
SIZES = {
    "MANY": (90, 1.0),
    HOSTILE: (30, 0.8),
    "FEW": (12, 0.25),
    "ONE": (5, 0.2),
    "NONE": (9, 0.0),
}


@cache
def lives() -> pd.DataFrame:
    """Run hours and days of lives by class: a third enter late, the share that may fail is set."""
    rng = np.random.default_rng(8)
    parts = []
    for name, (n, share) in SIZES.items():
        entry = np.where(rng.random(n) < 0.3, rng.uniform(0, 6_000, n), 0.0)
        life = entry + 20_000 * rng.weibull(1.4, n)
        watched = entry + rng.uniform(4_000, 40_000, n)
        failed = (life < watched) & (rng.random(n) < share)
        if name in ("FEW", "ONE"):
            failed = np.arange(n) < {"FEW": 3, "ONE": 1}[name]
        age = np.where(failed, life, np.minimum(life, watched))
        parts.append(
            pd.DataFrame(
                {
                    "service_class": name,
                    "entry_age_h": entry,
                    "exit_age_h": age,
                    "entry_age_d": entry / 20,
                    "exit_age_d": age / 20,
                    "end": np.where(failed, "failed", "in service"),
                    "age_known": True,
                }
            )
        )
    # one life watched from new fails before the others are watched at all
    emptied = pd.DataFrame(
        {
            "service_class": "EMPTIED",
            "entry_age_h": [0.0, 0.0, *[9_000.0] * 8],
            "exit_age_h": [2_000.0, 5_000.0, *np.linspace(10_000, 24_000, 8)],
            "entry_age_d": [0.0, 0.0, *[450.0] * 8],
            "exit_age_d": [100.0, 250.0, *np.linspace(500, 1_200, 8)],
            "end": "failed",
            "age_known": True,
        }
    )
    table = pd.concat([*parts, emptied], ignore_index=True)
    return table.assign(life_id=[f"L{i}" for i in range(len(table))])


@cache
def fits(clock: str = "run_h", band: bool = True) -> LifeFits:
    """Fits of all classes, with survival along the fitted lines where bands are wanted."""
    first = fit_lives(lives(), clock=clock, resamples=0)  # type: ignore[arg-type]
    ages = first.curves.band_ages(12) if band else [8_766.0, 20_000.0]
    return fit_lives(lives(), clock=clock, resamples=0, survival_at=ages)  # type: ignore[arg-type]


def arrays() -> tuple[pd.Series, pd.Series, dict[str, pd.Series]]:
    """The same lives as arrays on the run-hour clock: age, failed, and what goes with them."""
    t = lives()
    more = {"group": t["service_class"], "entry_age": t["entry_age_h"]}
    return t["exit_age_h"], t["end"] == "failed", more
