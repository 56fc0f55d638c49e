"""What does a forecast of seals needed cost for a company of 50,000 positions?

Run with ``pytest -m speed -n 0 -s tests/speed``. 50 classes, 500 stock pools, 36 months, with all
sets of laws that the records allow; then 100 futures of every seal.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from costs import QUIET_IMPORT_S, cost, reference

from seallife.spares.ahead import FleetAhead
from seallife.spares.lawdraws import LawDraws
from seallife.spares.positionfactors import PositionFactors

pytestmark = pytest.mark.speed

POSITIONS, CLASSES, POOLS, DRAWS = 50_000, 50, 500, 80
ALONE = "import os; os.environ['OPENBLAS_NUM_THREADS'] = '1'\n"
CODE = """
import sys; sys.path[:0] = {paths!r}
from bench_spares import company
ahead = company()
if {demand}:
    from seallife.spares.demand import forecast_demand
    forecast_demand(ahead, months=36)
if {futures}:
    from seallife.spares.futures import simulate_demand
    simulate_demand(ahead, days=1096, runs=100)
"""


def company() -> FleetAhead:
    """Seals of all ages; each class Weibull, its laws spread by a tenth; an outage in a year."""
    rng = np.random.default_rng(1)
    n = POSITIONS
    ages = np.append(0.0, np.geomspace(50.0, 4e5, 70))
    shape = rng.uniform(1, 2.5, CLASSES) * np.exp(rng.normal(0, 0.1, (DRAWS, CLASSES)))
    scale = rng.uniform(1e4, 5e4, CLASSES) * np.exp(rng.normal(0, 0.1, (DRAWS, CLASSES)))
    cumulative = (ages / scale[..., None]) ** shape[..., None]
    place = rng.integers(0, CLASSES, n)
    pool = rng.integers(0, POOLS, n)
    factors = PositionFactors(rng.poisson(1.0, n).astype(float), np.full(n, 1.0), 20.0, 0.01)
    seals = pd.DataFrame(
        {
            "site": np.array([f"S{k}" for k in range(50)], dtype=object)[rng.integers(0, 50, n)],
            "service_class": np.array([f"C{k:03d}" for k in range(CLASSES)], dtype=object)[place],
            "pool": np.array([f"M{k:04d}" for k in range(POOLS)], dtype=object)[pool],
            "factor": factors.mean,
        }
    )
    classes = pd.Index([f"C{k:03d}" for k in range(CLASSES)])
    return FleetAhead(
        seals,
        place,
        rng.uniform(0, 4e4, n),
        rng.uniform(4, 22, n),
        np.zeros(n),
        factors,
        np.inf,
        LawDraws(classes, ages, cumulative, "h", 1),
        np.full((DRAWS, CLASSES), 3e-5),
        np.full((DRAWS, CLASSES), 1 / (20 * 365)),
        np.full((n, 1), 400.0),
        np.full((n, 1), 0.12),
        pd.Timestamp("2026-01-01"),
    )


def _cost(*, demand: bool = False, futures: bool = False) -> tuple[float, float]:
    here = Path(__file__).parent
    paths = [str(here), str(here.parent)]
    return cost("-c", ALONE + CODE.format(paths=paths, demand=demand, futures=futures), repeat=1)


def test_demand_of_fifty_thousand_positions() -> None:
    """Processor time: on two processors well under 30 s pass."""
    without, _ = _cost()
    seconds, memory = _cost(demand=True)
    told = f"{seconds - without:.1f} s, {memory:.0f} MB"
    print(f"\ndemand of 50,000 positions, 36 months, 500 pools: {told}")
    assert (seconds - without) / reference() < 36.0 / QUIET_IMPORT_S
    assert memory < 1_500


def test_futures_of_fifty_thousand_positions() -> None:
    without, _ = _cost()
    seconds, memory = _cost(futures=True)
    print(f"\n100 futures of 50,000 positions: {seconds - without:.1f} s, {memory:.0f} MB")
    assert (seconds - without) / reference() < 15.0 / QUIET_IMPORT_S
    assert memory < 1_500
