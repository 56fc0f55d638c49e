"""What goes with longer lives within classes, and whether a renewed seal is as good as new.

In: `Study`. Out: blocks. Next: `seallife.report.pages`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from seallife.figures.regression import time_ratio_figure
from seallife.report.exhibit import Block, Exhibit, Points
from seallife.report.format import CANNOT_TELL, count, interval, level_text

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["as_good_as_new", "conditions"]

_NO_CAUSE = (
    "Positions were not given their conditions by lot: what goes with a longer life need not be "
    "its cause, and what shows nothing may still matter. Before a change is paid for on these "
    "figures, find out how it would work."
)


def conditions(study: Study) -> tuple[Block, ...]:
    """What goes with longer lives within classes."""
    drivers = study.life.drivers
    table, model = drivers.table, drivers.lives
    blocks: list[Block] = []
    if table.empty or model.status != "ok":
        why = model.message or "No factor is known for enough lives."
        return (Points("What goes with longer lives", (why,)),)
    stands = table[table["verdict"].isin(["longer", "shorter"])]
    points = [
        f"{r['term']}: lives {interval(r['time_ratio'], r['time_ratio_low'], r['time_ratio_high'])}"
        f" times as long; {r['verdict']} beyond chance."
        for r in stands.to_dict("records")
    ] or [f"None of {len(table)} comparisons within classes stands out beyond chance."]
    points += [
        f"Doubt about the {r['model']}s: {str(r['message']).split(': failures by')[0]}"
        f" (p = {r['p']:.2g})."
        for r in drivers.doubts.to_dict("records")
        if r["message"]
    ]
    unused = drivers.factors.table
    unused = unused[(unused["status"] != "ok") & (unused["message"] != "")]
    points += [f"Not looked at, {r['words']}: {r['message']}" for r in unused.to_dict("records")]
    points.append(_NO_CAUSE)
    blocks.append(Points("What goes with longer lives of seals of one class", tuple(points)))
    blocks.append(
        Exhibit(
            "drivers",
            "How much longer seals live by each condition",
            f"{count(model.n, 'life', 'lives')}, {count(model.failures, 'failure')}, "
            f"{count(model.clusters, 'position')}; {model.missing:,} left out for a missing value. "
            "Ratio of lives within service classes with the other conditions alike; above 1 is "
            f"longer. Method: {drivers.method}. Level {level_text(drivers.level)}, each term by "
            f"itself; of {len(table)} terms about {(1 - drivers.level) * len(table):.0f} would "
            "lie off 1 by chance alone, so the list above asks for more.",
            table,
            time_ratio_figure(model),
            alt="; ".join(model.table["says"].astype(str)) + ".",
            rests_on=("lives",),
        )
    )
    return tuple(blocks)


def as_good_as_new(study: Study) -> Exhibit:
    """Is a renewed seal as good as new?"""
    effect = study.life.renewals
    table = effect.table
    shown = pd.DataFrame(
        {
            "Compared": table["comparison"].astype(str),
            "Failures": [
                f"{n:,} ({k:,} of renewed)"
                for n, k in zip(table["failures"], table["failures_renewed"], strict=True)
            ],
            "Ratio of lives": _ratios(table, ("ratio", "low", "high")),
            "Ratio of failure rates": _ratios(table, ("rate", "rate_low", "rate_high")),
            "Verdict": table["verdict"].astype(str),
            "Why": table["message"].astype(str),
        }
    )
    return Exhibit(
        "as-good-as-new",
        "Is a renewed seal as good as new?",
        "Within service classes, positions allowed to differ. A difference is called one only "
        "where lives and failure rates both show it. That a renewed seal is as good as new is "
        f"never proven. Method: {effect.method}. Level {level_text(effect.level)}.",
        table,
        shown=shown,
        rests_on=("lives",),
    )


def _ratios(table: pd.DataFrame, names: tuple[str, str, str]) -> list[str]:
    three = zip(*(table[name] for name in names), strict=True)
    return [interval(v, a, b, decimals=2) if np.isfinite(v) else CANNOT_TELL for v, a, b in three]
