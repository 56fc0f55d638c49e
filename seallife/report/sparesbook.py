"""The storeroom's workbook, and the sheets on spares of the plant summary.

In: `Study`. Out: tables by name; an XLSX file. Next: `seallife.report.tables`, command line.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

from seallife.report.fulltable import FullTable
from seallife.report.workbook import workbook_bytes

if TYPE_CHECKING:
    from seallife.scorecard import Scorecard
    from seallife.study import Study

__all__ = ["scorecard_tables", "spares_tables", "write_book"]


def spares_tables(study: Study) -> dict[str, FullTable]:
    """Sheets on spares, orders and outages; none where nothing can be forecast."""
    spares = study.spares
    if not spares.can_forecast:
        return {}
    out = {}
    if len(spares.items):
        out["storeroom"] = FullTable(
            "one row a stock item: need, what to order by when and why, levels, service, costs",
            spares.sheet,
        )
        out["stock-levels"] = FullTable(
            f"what each level of stock would give and cost, by item; {spares.levels.method}",
            spares.levels.curve,
        )
        out["budget"] = FullTable("seals and money by year ahead", spares.budget.table)
    demand = spares.demand
    out["demand"] = FullTable(
        f"seals needed by group and months ahead; {demand.method}, level {demand.level:g}",
        demand.table,
    )
    out["demand-months"] = FullTable(
        "expected seals needed by item and month ahead, by reason", demand.monthly("pool")
    )
    if spares.outage.table["days_to_outage"].notna().any():
        out["outage-list"] = FullTable(
            "seals in service: chance to fail before the outage, gain of renewing, verdict; never "
            "a reason to leave a leaking seal in",
            spares.outage.table,
        )
        out["outage-totals"] = FullTable(
            "failures expected before the coming outage and the one after, by class",
            spares.outage.totals,
        )
        out["outage-kit"] = FullTable("seals that must lie ready, by outage", spares.kit)
    out["renewal-by-age"] = FullTable(
        "whether renewing by age is worth it, by class", spares.replacement.table
    )
    return out


def scorecard_tables(card: Scorecard) -> dict[str, FullTable]:
    """Sheets of the scorecard."""
    return {
        "scorecard": FullTable(f"how forecasts came out; {card.method}", card.table),
        "forecasts": FullTable("each forecast and what happened", card.forecasts),
        "chances": FullTable("chances of seals against what happened, by band", card.bands),
        "origins": FullTable("days from which forecasts were made", card.origins),
    }


def write_book(
    study: Study, tables: dict[str, FullTable], path: Path, *, made: dt.date | None = None
) -> Path:
    """Write tables as a workbook with contents and cautions.

    Parameters
    ----------
    study : Study
    tables : dict
        Sheet name -> table.
    path : Path
        File; its folder is made if missing.
    made : date, optional
        Printed on the front sheet; today where None.
    """
    from seallife.report.write import write_whole

    day = dt.date.today() if made is None else made  # noqa: DTZ011  (the reader's own day is meant)
    content = workbook_bytes(study.settings.name, day, tables)
    return write_whole(path.parent, {"xlsx": (path.name, content)})["xlsx"]
