"""The invented fleet: two sites, ten years of messy records, and the truth behind them.

In: a seed. Out: `TrueFleet` (the truth), `write_demo` (a fleet folder with the truth beside it).
Next: `seallife.intake`.

Reading order: `scenario` (numbers), `layout` (pumps), `simulate` (true lives), `truth` and
`stories` (what an analysis should find); then `register`, `orders`, `meters`, `leaks`, `stores`
(records as they truly are), `defects` (what goes wrong with them) and `write` (files).
"""

from __future__ import annotations

from seallife.demo.scenario import CLASSES, DEFAULT_SEED
from seallife.demo.simulate import TrueFleet, simulate_fleet
from seallife.demo.stories import evidence
from seallife.demo.truth import (
    law_figures,
    single_weibull_limit,
    stacked_lives,
    true_life_table,
    window_totals,
)
from seallife.demo.write import DemoTables, demo_tables, write_demo

__all__ = [
    "CLASSES",
    "DEFAULT_SEED",
    "DemoTables",
    "TrueFleet",
    "demo_tables",
    "evidence",
    "law_figures",
    "simulate_fleet",
    "single_weibull_limit",
    "stacked_lives",
    "true_life_table",
    "window_totals",
    "write_demo",
]
