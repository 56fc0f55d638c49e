"""What was noticed about the records, and what was done: one table of findings.

In: record ids with a fault. Out: rows of the findings table. Next: every module that reads,
checks or builds adds to it.

A finding never changes a record. ``set_aside`` says that the record ends here: it is in no
result, and the finding's sentence says why.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import Literal

import numpy as np
import pandas as pd

__all__ = [
    "FINDING_COLUMNS",
    "SEVERITIES",
    "Severity",
    "join_findings",
    "make_findings",
    "no_findings",
    "set_aside_findings",
]

Severity = Literal["note", "doubt", "ask"]

SEVERITIES: dict[str, str] = {
    "note": "said for the record",
    "doubt": "used, with care",
    "ask": "a person must decide or mend the record",
}

FINDING_COLUMNS = (
    "record_id",
    "check",
    "severity",
    "column",
    "value",
    "threshold",
    "action",
    "set_aside",
    "message",
)


def no_findings() -> pd.DataFrame:
    """Return an empty findings table."""
    return _empty().copy()


@lru_cache(maxsize=1)
def _empty() -> pd.DataFrame:
    """Build the empty table once: most columns of most files give no finding."""
    empty = pd.DataFrame({c: pd.Series(dtype=object) for c in FINDING_COLUMNS})
    return empty.astype({"set_aside": bool})


def make_findings(
    check: str,
    severity: Severity,
    record_id: Iterable[str],
    message: str | Sequence[str],
    *,
    column: str = "",
    value: Iterable[object] | str = "",
    threshold: str = "",
    action: str = "",
    set_aside: bool = False,
) -> pd.DataFrame:
    """Which records show this fault, and what was done with them?

    Parameters
    ----------
    check : str
        Short name of the check, in plain words.
    severity : {'note', 'doubt', 'ask'}
        See `SEVERITIES`.
    record_id : iterable of str
        ``table:file:row`` of each record concerned; a table, file or site name where the
        finding is about more than one record.
    message : str or sequence of str
        The sentence; one for all or one a record. ``{value}`` is filled in.
    column, value, threshold : str
        Where, what was found, and against what it was held.
    action : str
        What was done.
    set_aside : bool
        True where the record is used no further.

    Returns
    -------
    pandas.DataFrame
        Columns `FINDING_COLUMNS`.
    """
    ids = list(record_id)
    if not ids:
        return no_findings()
    values = [value] * len(ids) if isinstance(value, str) else [_as_text(v) for v in value]
    if isinstance(message, str):
        messages = [message.replace("{value}", v) for v in values]
    else:
        messages = list(message)
    return pd.DataFrame(
        {
            "record_id": ids,
            "check": check,
            "severity": severity,
            "column": column,
            "value": values,
            "threshold": threshold,
            "action": action,
            "set_aside": set_aside,
            "message": messages,
        }
    )


def set_aside_findings(
    check: str, severity: Severity, gone: pd.DataFrame, message: str, column: str = ""
) -> pd.DataFrame:
    """Findings of records that are used no further.

    Parameters
    ----------
    check, severity, message, column
        As for `make_findings`; the value is that of ``column``, where one is named.
    gone : pandas.DataFrame
        Rows set aside, with record_id.
    """
    return make_findings(
        check,
        severity,
        gone["record_id"],
        message,
        column=column,
        value=gone[column] if column else "",
        action="set aside",
        set_aside=True,
    )


def join_findings(parts: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """Put findings tables together in the order given."""
    kept = [p for p in parts if len(p)]
    return pd.concat(kept, ignore_index=True) if kept else no_findings()


def _as_text(value: object) -> str:
    """Show a value as a reader would write it: no nan, no midnight, no binary fraction."""
    if isinstance(value, str):
        return value
    if value is None or value is pd.NA or value is pd.NaT:
        return ""
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d}" if value == value.normalize() else f"{value:%Y-%m-%d %H:%M}"
    if isinstance(value, float):
        return "" if np.isnan(value) else f"{value:.10g}"
    return str(value)
