"""What a person may set by hand in a record, and how it is written.

In: a text and the column it is meant for. Out: a typed value. Next: `seallife.intake.typed`,
`seallife.intake.overrides`.
"""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from seallife.schema import REASONS, TABLES, Column

__all__ = ["HAND_SET", "hand_value", "in_range", "overridable", "wanted_value"]

HAND_SET: dict[str, dict[str, Column]] = {
    "work_orders": {
        "kind": Column(
            "set_kind",
            "code",
            "whether a seal came out, whatever the text says",
            choices=("removal", "not a removal"),
        ),
        "reason": Column(
            "set_reason",
            "code",
            "why the seal came out, whatever the text says",
            choices=tuple(REASONS),
        ),
        "position_id": Column("set_position", "text", "position whose seal came out"),
    }
}
"""What a person may say of a record that no export says: table -> word -> column that holds it.

The columns are there after reading, empty.
"""


_DATE = re.compile(r"\d{4}-\d{2}-\d{2}(?:[ T]\d{2}:\d{2}(?::\d{2})?)?")
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:e[+-]?\d{1,3})?", re.IGNORECASE)


def overridable(table: str) -> dict[str, Column]:
    """Which words may stand under ``column`` for a record of this table?

    Examples
    --------
    >>> overridable("work_orders")["kind"].choices
    ('removal', 'not a removal')
    """
    return {c.name: c for c in TABLES[table].columns} | HAND_SET.get(table, {})


def hand_value(text: str, column: Column) -> object:
    """Which value does this text give a column, in our words and units?

    Nothing is guessed: numbers have a decimal point and no thousands sign, dates stand as
    2024-01-31, codes are of our own list. An empty text means that the value is missing.

    Returns
    -------
    object
        None where the text is of the wrong kind.

    Examples
    --------
    >>> hand_value("2024-02-29", TABLES["positions"]["commissioned"])
    Timestamp('2024-02-29 00:00:00')
    >>> hand_value("nde", TABLES["positions"]["seal_end"])
    'NDE'
    >>> hand_value("1,500", TABLES["positions"]["temp_c"]) is None
    True
    """
    if not text:
        return {"number": np.nan, "date": pd.NaT}.get(column.kind, "")
    if column.kind == "number":
        value = float(text) if _NUMBER.fullmatch(text) else np.inf
        return value if np.isfinite(value) else None
    if column.kind == "date":
        return _date(text)
    if column.choices:
        return {c.casefold(): c for c in column.choices}.get(text.casefold())
    return text


def _date(text: str) -> pd.Timestamp | None:
    if not _DATE.fullmatch(text):
        return None
    try:
        day = pd.Timestamp(text)
    except ValueError:
        return None
    return day if 1800 <= day.year <= 2261 else None


def in_range(value: object, column: Column) -> bool:
    """Does this value lie where values of the column are expected? A missing one does."""
    low = -np.inf if column.low is None else column.low
    high = np.inf if column.high is None else column.high
    return not isinstance(value, float) or np.isnan(value) or low <= value <= high


def wanted_value(column: Column) -> str:
    """How is a value of this column to be written?"""
    if column.kind == "number":
        unit = f" in {column.unit}" if column.unit not in {"", "1", "see unit"} else ""
        return f"write a number{unit} with a decimal point and no thousands sign"
    if column.kind == "date":
        return "write a date as 2024-01-31"
    return f"write one of: {', '.join(column.choices)}"
