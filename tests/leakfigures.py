"""Readings of leakage that tests of figures share."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from seallife.leakage.readings import Readings

NONE: list[dict[str, Any]] = []
_TYPES = {
    "position_id": object, "service_class": object, "life_id": object, "segment": np.int64,
    "date": "datetime64[ns]", "day": float, "quantity": object, "measured_in": object,
    "low": float, "high": float, "kind": object, "to_end_d": float, "doubt": object,
}  # fmt: skip


def reading(
    position: str,
    date: str,
    low: float,
    high: float | None = None,
    *,
    life: str = "L",
    group: str = "HC",
    segment: int = 0,
    to_end: float = 1_000.0,
    kind: str = "",
    quantity: str = "concentration",
    measured_in: str = "ppmv",
    doubt: str = "",
) -> dict[str, Any]:
    """One reading; exact where it has one bound."""
    high = low if high is None else high
    found = "above" if np.isinf(high) else "below" if low == 0 else "exact"
    return {
        "position_id": position, "service_class": group, "life_id": life, "segment": segment,
        "date": pd.Timestamp(date), "day": float((pd.Timestamp(date) - pd.Timestamp(0)).days),
        "quantity": quantity, "measured_in": measured_in, "low": low, "high": high,
        "kind": kind or found, "to_end_d": to_end, "doubt": doubt,
    }  # fmt: skip


def read(rows: list[dict[str, Any]]) -> Readings:
    """Readings of these rows."""
    table = pd.DataFrame(rows, columns=list(_TYPES)).astype(_TYPES)
    return Readings(table, pd.DataFrame(), pd.DataFrame())


def words(figure: Any) -> str:
    """All that is written in a figure."""
    return " | ".join(a.text for a in figure.layout.annotations)
