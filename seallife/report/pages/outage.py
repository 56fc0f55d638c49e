"""Outage and renewal by age: which seals to renew, what must lie ready, and where age tells.

In: `Study`. Out: blocks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from seallife.figures.outageline import outage_line_figure
from seallife.report.exhibit import Block, Exhibit, Text
from seallife.report.format import count
from seallife.report.outagetables import kit_list, outage_rows, renewal_by_age
from seallife.spares.outagewords import LIST_CAUTION

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["build"]

_NO_COSTS = (
    "What a planned renewal and a failure cost was not given: without it seals are ranked by "
    "criticality and chance, and nothing is said to pay. Give planned_renewal and failure_extra "
    "under [costs] in fleet.toml."
)


def build(study: Study) -> tuple[Block, ...]:
    """Which seals to renew in the coming outages, and is renewal by age worth it?"""
    if not study.spares.can_forecast:
        return (Text("No seal has failed on record: there is nothing to go by."),)
    found = study.spares.outage
    table = found.table
    asked = table["days_to_outage"].notna()
    if not asked.any():
        blocks: list[Block] = [
            Text("No outage ahead is on record.", strong=True),
            Text(
                "With coming outages in the table outages (site, unit, start) this page says which "
                "seals to renew in each, and what to have ready."
            ),
        ]
        return (*blocks, renewal_by_age(study))
    marked = int(table["verdict"].isin(["renew"]).sum())
    leaks = int(table["verdict"].eq("act on the leak").sum())
    doubt = int(table["verdict"].eq("cannot tell yet").sum())
    strong = (
        f"Of {count(int(asked.sum()), 'seal')} with an outage ahead, renewing pays for {marked:,}; "
        f"of {doubt:,} it cannot be told yet."
    )
    if leaks:
        strong += f" {count(leaks, 'seal leaks', 'seals leak')}: act on that, not on this list."
    costs = study.settings.costs
    blocks = [Text(strong, strong=True), Text(LIST_CAUTION)]
    if costs.planned_renewal is None or costs.failure_extra is None:
        blocks.append(Text(_NO_COSTS))
    blocks.append(outage_rows(study))
    if np.isfinite(table["gain"]).any():
        blocks.append(
            Exhibit(
                "money-line",
                "Where the money line runs",
                "Expected gain of renewing each seal in its outage, with limits over all laws that "
                "the records allow; seals above the line are worth renewing under nearly all of "
                "them.",
                table,
                outage_line_figure(found, currency=costs.currency),
                alt="Gain of renewing each seal, in order, with the line above which it pays.",
                rests_on=("lives",),
            )
        )
    kit = kit_list(study)
    return (*blocks, *([kit] if kit is not None else []), renewal_by_age(study))
