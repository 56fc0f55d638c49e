"""The count ledger: at each stage, what came in = what went on + what was set aside.

In: tables, findings, removals, lives. Out: one table. Next: `seallife.report`.
"""

from __future__ import annotations

import pandas as pd

from seallife.errors import SeallifeError
from seallife.events import Removals
from seallife.intake import Fleet
from seallife.lives import LifeTable

__all__ = ["build_ledger"]


def build_ledger(
    fleet: Fleet, findings: pd.DataFrame, removals: Removals, lives: LifeTable
) -> pd.DataFrame:
    """Where did every record go?

    Returns
    -------
    pandas.DataFrame
        stage, unit (what is counted), read, used, set_aside, note.

    Raises
    ------
    SeallifeError
        A stage does not add up: a fault of this package, never of the data.
    """
    gone = findings.loc[findings["set_aside"], "record_id"]
    rows: list[tuple[str, str, int, int, int, str]] = []
    for name, table in fleet.tables.items():
        ids = set(table["record_id"])
        whole = bool((gone == name).any())
        aside = len(ids) if whole else gone[gone.isin(ids)].nunique()
        note = "read, not analysed" if whole else ""
        rows.append((name, "records", len(table), len(table) - aside, aside, note))
    events = removals.table
    used = events["record_ids"].str.split().explode() if len(events) else events["record_ids"]
    for name in ("work_orders", "removals"):
        stage = next((r for r in rows if r[0] == name), None)
        in_events = used[used.str.startswith(f"{name}:")].nunique()
        joined = findings.loc[findings["check"] == "part of one removal", "record_id"]
        if stage is not None and stage[3] != in_events:
            raise SeallifeError(
                f"{name}: {stage[2]} records read, {in_events} in removals and {stage[4]} set "
                f"aside do not add up ({joined.nunique()} joined)"
            )
    closed = lives.table["removal_id"]
    closing = closed[closed != ""].nunique()
    rows.append(
        (
            "removals found",
            "removals",
            len(events),
            closing,
            len(events) - closing,
            "all count in MTBR; set aside here: end of pump not named, or no length of life",
        )
    )
    known = int(lives.table["age_known"].sum())
    rows.append(
        (
            "lives by age",
            "lives",
            len(lives.table),
            known,
            len(lives.table) - known,
            "set aside: installation date not known; their time at risk counts in MTBF",
        )
    )
    return pd.DataFrame(rows, columns=["stage", "unit", "read", "used", "set_aside", "note"])
