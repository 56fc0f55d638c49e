"""A table and one line on what it holds.

In: nothing. Out: `FullTable`. Next: `seallife.report.tables`, `seallife.report.workbook`.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

__all__ = ["BEHIND", "MOST_ROWS", "FullTable", "sidecar_name"]

BEHIND = ("lives", "removals", "findings", "positions")
"""Tables that are always written beside the pages, for captions to point at."""

MOST_ROWS = 5_000
"""Longer tables are left out of the workbook, which would take minutes and open slowly."""


@dataclass(frozen=True, eq=False)
class FullTable:
    """A table and one line on what it holds."""

    meaning: str
    table: pd.DataFrame


def sidecar_name(key: str) -> str:
    """Name of the CSV file that holds a full table; exhibits have names of their own."""
    return key if key in BEHIND else f"all-{key}"
