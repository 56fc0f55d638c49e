"""Do stores get the service that was promised them, if the forecast chooses their levels?

Fleets and futures are those of `demand_study`, which runs this too. From the forecast of each fleet
400 futures are made, and from these the smallest levels of its ten pools that give 95 % by three
measures, with seals bought (lead time 120 d, a quarter of it as spread) and with seals repaired
(45 d, a fifth of them beyond repair and bought). Then what really happens, in each of the fleet's
futures, is run through the same stores, which start with full shelves. Levels are whole numbers:
they promise more than was asked, and are held against what they promise.

Stores along what really happens are followed by seallife's own arithmetic of shortfalls, which
`tests/test_spares_stockpaths.py` holds against a simulation event by event; `by_events` here does
so for given levels.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
from storepaths import run_storerooms

from seallife.spares.ahead import FleetAhead
from seallife.spares.futures import simulate_demand
from seallife.spares.paths import DemandPaths
from seallife.spares.stocklevels import choose_levels

__all__ = ["ASKED", "MEASURES", "TABLE", "by_events", "one_fleet", "stores_of", "summary"]

TABLE = Path(__file__).parent / "stock_study.csv"
ASKED, RUNS, SPREAD = 0.95, 400, 0.25
MEASURES = {
    "months without shortage": "months_without_shortage",
    "fill rate": "fill_rate",
    "no shortage through the protection time": "no_shortage_protection",
}
STORES = ("bought", "repaired")


def stores_of(pools: pd.Index, store: str) -> pd.DataFrame:
    """Stores of one kind for each pool."""
    return pd.DataFrame(
        {
            "pool": pools,
            "on_hand": 0.0,
            "lead_time_d": 120.0,
            "repairable": store == "repaired",
            "repair_time_d": 45.0,
            "reject_share": 0.2,
            "unit_cost": 1_000.0,
        }
    )


def one_fleet(ahead: FleetAhead, came: DemandPaths) -> pd.DataFrame:
    """Levels chosen for one fleet, what they promised, and what they gave."""
    paths = simulate_demand(ahead, days=came.days, runs=RUNS)
    rows = []
    for store in STORES:
        stores = stores_of(paths.pools, store)
        true = choose_levels(came, stores, spread=SPREAD, seed=2).curve
        true = true.set_index(["pool", "stock"])
        for measure, column in MEASURES.items():
            table = choose_levels(
                paths, stores, share=ASKED, measure=measure, spread=SPREAD
            ).table.set_index("pool")
            at = pd.MultiIndex.from_arrays([table.index, table["stock"].astype(int)])
            # beyond the curve no future is ever short
            got = true[column].reindex(at).fillna(1.0).to_numpy()
            rows.append(
                pd.DataFrame(
                    {
                        "store": store,
                        "measure": measure,
                        "pool": table.index,
                        "stock": table["stock"].to_numpy(),
                        "promised": table[column].to_numpy(),
                        "got": got,
                        "needed": came.needed(np.full(len(table), came.days)).mean(axis=1),
                    }
                )
            )
    return pd.concat(rows, ignore_index=True)


def summary(fleets: pd.DataFrame) -> pd.DataFrame:
    """Service promised and got; the fill rate is that of all seals needed."""
    rows = []
    for key, part in fleets.groupby(["kind", "store", "measure"], sort=False):
        weight = part["needed"] if key[2] == "fill rate" else pd.Series(1.0, part.index)
        by = part["fleet"]
        total = weight.groupby(by).sum()
        promised, got = ((part[c] * weight).groupby(by).sum() for c in ("promised", "got"))
        gap = (got - promised * got.sum() / promised.sum()).std() * np.sqrt(len(total))
        rows.append(
            dict(zip(("kind", "store", "measure"), key, strict=True))
            | {
                "fleets": len(total),
                "asked": ASKED,
                "promised": promised.sum() / total.sum(),
                "got": got.sum() / total.sum(),
                "gap": (got.sum() - promised.sum()) / total.sum(),
                "gap_error": gap / total.sum(),
                "stock": part["stock"].mean(),
                "worst_tenth": part["got"].quantile(0.1),
            }
        )
    return pd.DataFrame(rows)


def by_events(came: DemandPaths, stock: pd.Series, store: str, seed: int = 5) -> pd.DataFrame:
    """What stores with these levels give by a simulation event by event, one row a pool."""
    stores = stores_of(came.pools, store).set_index("pool")
    level = stock.reindex(came.pools).to_numpy()
    stores = stores.assign(on_hand=level, on_order=0, stock_low=level - 1, stock_high=level)
    each = run_storerooms(came, stores.reset_index(), SPREAD, seed).groupby("pool")
    total = each[["needed", "found"]].sum()
    return pd.DataFrame(
        {
            "months_without_shortage": each["months"].mean(),
            "fill_rate": total["found"] / total["needed"],
        }
    )
