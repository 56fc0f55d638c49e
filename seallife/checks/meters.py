"""Meters as a whole.

In: `Records`. Out: findings.
"""

from __future__ import annotations

import pandas as pd

from seallife.checks.records import Records
from seallife.findings import make_findings
from seallife.register import match_tags

__all__ = ["no_meter"]


def no_meter(records: Records) -> pd.DataFrame:
    """How many pumps of each site have no hour meter that was read?"""
    raw = records.fleet["run_hours"]
    read = set(match_tags(raw["tag"], raw["site"], records.register)["pump_key"])
    by = records.pumps.assign(none=~records.pumps["pump_key"].isin(read)).groupby("site")["none"]
    counts = by.agg(["sum", "size"]).reset_index()
    found = counts[counts["sum"] > 0]
    return make_findings(
        "no hour meter",
        "note",
        found["site"],
        [
            f"{n} of {size} pumps of {site} have no meter readings; their hours are from duty"
            for site, n, size in found.itertuples(index=False)
        ],
        column="reading",
        value=found["sum"],
        action="hours from duty, with a range",
    )
