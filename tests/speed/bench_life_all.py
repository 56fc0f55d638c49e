"""What does every life model of thousands of classes cost, asked of one table of lives?

Run with ``pytest -m speed -n 0 -s tests/speed``. Weibull laws and failure rates with intervals
calibrated by 400 resamples, survival curves, thin classes pooled, incidence and laws by cause,
early parts, the choice among six laws with its fit tests, restricted means: 500 classes of about
200 lives each, a tenth of a company of 5,000. Processor time is counted, on however many
processors it was spent.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from costs import DEMO, QUIET_IMPORT_S, cost, reference

pytestmark = pytest.mark.speed

SIZES = (125, 250, 500)
AGES_H = (8_760.0, 25_000.0)
# threads of the library of matrices that only wait for each other are not to be counted
ALONE = "import os; os.environ['OPENBLAS_NUM_THREADS'] = '1'\n"
CODE = "import sys; sys.path[:0] = {paths!r}; from bench_life_all import every; every({classes})"
DEMO_CODE = """
from seallife.intake.read import read_fleet
from seallife.study import run_study
life = run_study(read_fleet({demo!r})).life
if {models}:
    for name in ("fits", "fits_other", "rates", "pooled", "mixtures", "laws", "damage",
                 "damage_fits", "restricted", "drivers", "renewals"):
        getattr(life, name)
"""


def lives(classes: int, mean: int = 200) -> pd.DataFrame:
    """Lives in an order of their own, classes of unlike size, a third first seen at some age."""
    rng = np.random.default_rng(1)
    size = np.maximum(5, rng.gamma(4.0, mean / 4.0, classes)).astype(int)
    group = rng.permutation(np.repeat(np.arange(classes), size))
    n = len(group)
    shape, scale, watched = (
        rng.uniform(low, high, classes)[group] for low, high in ((0.8, 3), (1e4, 5e4), (0.2, 2))
    )
    entry = np.where(rng.random(n) < 0.3, scale * rng.random(n), 0.0)
    age = scale * ((entry / scale) ** shape + rng.exponential(size=n)) ** (1 / shape)
    end = entry + scale * watched * rng.uniform(0.05, 1.5, n)
    return pd.DataFrame(
        {
            "life_id": np.arange(n).astype(str),
            "service_class": np.array([f"C{k:05d}" for k in range(classes)], dtype=object)[group],
            "entry_age_h": entry,
            "exit_age_h": np.minimum(age, end),
            "exit_low_h": np.nan,
            "end": np.where(age <= end, "failed", rng.choice(["withdrawn", "in service"], n)),
            "age_known": True,
            "damage": rng.choice(["faces", "secondary seals", "metal parts", "unknown"], n),
        }
    )


def every(classes: int) -> dict[str, tuple[float, float]]:
    """Ask every model, all answers kept; wall and processor seconds of each."""
    from seallife.life import tablefits
    from seallife.life.fits import fit_lives
    from seallife.life.restricted import restricted_means_of_lives

    table, kept, spent = lives(classes), [], {}
    models = {
        "fits, rates and curves": lambda: fit_lives(
            table, survival_at=AGES_H, hazards=True, resamples=400
        ),
        "counted rates": lambda: tablefits.rates_of_lives(table),
        "pooled": lambda: tablefits.pool_lives(table, survival_at=AGES_H),
        "mixtures": lambda: tablefits.mixtures_of_lives(table),
        "laws": lambda: tablefits.laws_of_lives(table),
        "incidence": lambda: tablefits.incidence_of_lives(table, "damage"),
        "causes": lambda: tablefits.cause_fits_of_lives(table, "damage"),
        "restricted": lambda: restricted_means_of_lives(table),
    }
    for name, ask in models.items():
        wall, processor = time.perf_counter(), time.process_time()
        kept.append(ask())
        spent[name] = time.perf_counter() - wall, time.process_time() - processor
    return spent


def test_all_models_of_a_tenth_of_five_thousand_classes() -> None:
    """Cost grows with the number of lives, no faster."""
    here = Path(__file__).parent
    paths = [str(here), str(here.parent)]
    sizes = {k: cost("-c", ALONE + CODE.format(paths=paths, classes=k), repeat=1) for k in SIZES}
    told = "; ".join(f"{k} classes {s:.1f} s, {m:.0f} MB" for k, (s, m) in sizes.items())
    print(f"\nall life models: {told}; {sizes[500][0] / reference():.1f} x imports")
    seconds, memory = sizes[500]
    assert seconds / reference() < 40.0 / QUIET_IMPORT_S  # threads that meet cost a third more
    # so far about 130 MB are the libraries, and a tenth of what is left grows tenfold
    assert memory < 400
    first, second = sizes[250][0] - sizes[125][0], sizes[500][0] - sizes[250][0]
    assert second / first < 2.6  # twice the lives more


def test_all_models_of_the_demo() -> None:
    demo = str(DEMO)
    without, _ = cost("-c", ALONE + DEMO_CODE.format(demo=demo, models=False), repeat=2)
    whole, _ = cost("-c", ALONE + DEMO_CODE.format(demo=demo, models=True), repeat=2)
    print(f"\nall life models of the demo {whole - without:.1f} s")
    assert (whole - without) / reference() < 3.0 / QUIET_IMPORT_S


if __name__ == "__main__":  # seconds of each model at a size, as 5000
    json.dump(every(int(sys.argv[1])), sys.stdout, indent=1)
