"""What every result of this package can do: be read, be stored, be shown.

In: a tidy table and what it rests on. Out: `TableResult`.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from html import escape
from typing import Any

import numpy as np
import pandas as pd

from seallife.errors import InputError

__all__ = ["TableResult", "worded_status"]


@dataclass(frozen=True, eq=False)
class TableResult:
    """A tidy table with one row per group, and what it rests on.

    Attributes
    ----------
    table : DataFrame
        One row per group, each with a ``status`` and, where there is something to say, a
        ``message``.
    level : float
        Confidence level of all intervals.
    method : str
        How the figures were found.
    source : str
        Where the method is described.
    """

    table: pd.DataFrame
    level: float
    method: str
    source: str

    def __getitem__(self, label: Any) -> pd.Series[Any]:
        key = self.table.columns[0]
        rows = self.table.index[self.table[key] == label]
        if not len(rows):
            known = ", ".join(map(str, self.table[key].tolist()[:12]))
            raise InputError(f"there is no {key} {label!r}", hint=f"known here: {known}")
        row: pd.Series[Any] = self.table.loc[rows[0]]
        return row

    def __len__(self) -> int:
        return len(self.table)

    def summary(self) -> str:
        """Result as plain text: method and level, the table, a sentence per marked row."""
        key = self.table.columns[0]
        shown = self.table.drop(columns=["message"], errors="ignore")
        lines = [f"{self.method}; level {self.level:g}", shown.to_string(index=False)]
        if "message" in self.table:
            noted = self.table[self.table["message"] != ""]
            pairs = zip(noted[key].tolist(), noted["message"].tolist(), strict=True)
            lines += [f"{label}: {message}" for label, message in pairs]
        return "\n".join(lines)

    def to_dict(self) -> dict[str, Any]:
        """Result as plain Python values; tables become lists of rows, NaN becomes None."""
        out: dict[str, Any] = {}
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, pd.DataFrame):
                rows = value.to_dict(orient="records")
                out[field.name] = [{k: _blank(v) for k, v in row.items()} for row in rows]
            elif isinstance(value, (str, float, int, bool, type(None))):
                out[field.name] = _blank(value)
        return out

    def _repr_html_(self) -> str:
        caption = f"{self.method}; level {self.level:g}"
        return f"<p>{escape(caption)}</p>{self.table.to_html(index=False, na_rep='–')}"


def worded_status(
    n: int, cases: list[tuple[np.ndarray[Any, np.dtype[np.bool_]], str, str]]
) -> tuple[list[str], list[str]]:
    """Status and message of each group: the first case that holds, else ``ok``.

    Parameters
    ----------
    n : int
        Number of groups.
    cases : list of (rows, status, message)
        In order of weight.
    """
    status, message = np.full(n, "ok", dtype=object), np.full(n, "", dtype=object)
    for rows, word, sentence in reversed(cases):
        status[rows], message[rows] = word, sentence
    return status.tolist(), message.tolist()


def _blank(value: Any) -> Any:
    """None in place of NaN, which JSON does not know."""
    return None if isinstance(value, float) and np.isnan(value) else value
