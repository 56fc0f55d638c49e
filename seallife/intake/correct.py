"""Put a site's corrections into its tables, and say of each what became of it.

In: typed tables, `Overrides`. Out: `Corrected`. Next: `seallife.intake.read`.

A correction is used whole or not at all, and either way there is a finding about it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import pandas as pd

from seallife.errors import did_you_mean
from seallife.findings import join_findings, make_findings
from seallife.intake.byhand import hand_value, in_range, overridable, wanted_value
from seallife.intake.overrides import OVERRIDE_COLUMNS, OVERRIDES_FILE, Overrides
from seallife.intake.typed import value_range
from seallife.schema import Column

__all__ = ["Corrected", "apply_overrides", "no_overrides", "settle"]


@dataclass(frozen=True)
class Corrected:
    """Tables after correction.

    Attributes
    ----------
    tables : dict of str to pandas.DataFrame
        Those without a correction are the very same objects.
    findings : pandas.DataFrame
        One for each correction used, and one for each that could not be.
    table : pandas.DataFrame
        One row a correction in file order: row, `OVERRIDE_COLUMNS`, ``old_value``, ``used``
        (bool), ``message`` (the finding's sentence).
    """

    tables: dict[str, pd.DataFrame]
    findings: pd.DataFrame
    table: pd.DataFrame


class _Line(NamedTuple):
    """One row of the file."""

    row: int
    record_id: str
    column: str
    value: str
    why: str
    by: str
    date: str


@dataclass(frozen=True)
class _Cell:
    """One cell, what a correction puts there, and how it is shown."""

    table: str
    at: int
    column: Column
    old: Any
    value: Any
    shown: str

    @property
    def confirms(self) -> bool:
        """Is the value the one that stands there?"""
        return bool(self.old == self.value or (pd.isna(self.old) and pd.isna(self.value)))


def no_overrides() -> pd.DataFrame:
    """Return a table of corrections without rows."""
    names = ("row", *OVERRIDE_COLUMNS, "old_value", "used", "message")
    table = pd.DataFrame({name: pd.Series(dtype=object) for name in names})
    return table.astype({"row": int, "used": bool})


def apply_overrides(tables: Mapping[str, pd.DataFrame], overrides: Overrides) -> Corrected:
    """What do the tables say after the corrections?

    The order of corrections does not matter: a cell that is corrected twice is left as it is.

    Parameters
    ----------
    tables : mapping of str to pandas.DataFrame
        Typed tables; not changed.
    overrides : Overrides
        From `read_overrides`.

    Returns
    -------
    Corrected
    """
    rows = overrides.table
    if rows.empty:
        return Corrected(dict(tables), overrides.findings, no_overrides())
    lines = [_Line(*r) for r in rows[list(_Line._fields)].itertuples(index=False, name=None)]
    long = set(overrides.file.long_rows) if overrides.file else set()
    same: dict[tuple[str, str], list[int]] = {}
    for r in lines:
        same.setdefault((r.record_id, r.column), []).append(r.row)
    lookups = _Lookups(tables)
    used: list[tuple[_Line, _Cell]] = []
    faults: list[tuple[_Line, str]] = []
    for r in lines:
        shared = same[(r.record_id, r.column)]
        cell = _cell(r, lookups)
        if len(shared) > 1:
            cell = f"rows {', '.join(map(str, shared))} set the same cell; keep one of them"
        if r.row in long:
            cell = "the row has more cells than the header; put texts with a separator in quotes"
        if isinstance(cell, str):
            faults.append((r, cell))
        else:
            used.append((r, cell))
    corrected = _say_used(used)
    failed = _say_not_used(faults)
    said = pd.concat(
        [
            corrected.assign(row=[r.row for r, _ in used], used=True, old_value=corrected["value"]),
            failed.assign(row=[r.row for r, _ in faults], used=False, old_value=""),
        ]
    ).set_index("row")[["old_value", "used", "message"]]
    findings = [overrides.findings, corrected, _one_a_cell(failed), _out_of_range(used)]
    return Corrected(_with(tables, used), join_findings(findings), rows.join(said, on="row"))


def _with(
    tables: Mapping[str, pd.DataFrame], used: Sequence[tuple[_Line, _Cell]]
) -> dict[str, pd.DataFrame]:
    """Put the values into copies of the tables concerned."""
    out = dict(tables)
    for name in {cell.table for _, cell in used}:
        out[name] = tables[name].copy()
    for _, cell in used:
        frame = out[cell.table]
        frame.loc[frame.index[cell.at], cell.column.name] = cell.value
    return out


def settle(findings: pd.DataFrame, corrections: pd.DataFrame) -> pd.DataFrame:
    """Which findings of reading still stand, now that cells were corrected?

    What was found in a cell that a person has since set is kept, as a note.

    Parameters
    ----------
    findings : pandas.DataFrame
        Of reading.
    corrections : pandas.DataFrame
        ``table`` of `Corrected`.
    """
    used = corrections[corrections["used"]]
    if used.empty:
        return findings
    cells = pd.MultiIndex.from_frame(used[["record_id", "column"]])
    done = pd.MultiIndex.from_frame(findings[["record_id", "column"]]).isin(cells)
    return findings.assign(
        severity=findings["severity"].mask(done, "note"),
        action=findings["action"].mask(done, findings["action"] + "; since corrected by hand"),
    )


class _Lookups:
    """Row number of each record, one index a table, built when first asked for."""

    def __init__(self, tables: Mapping[str, pd.DataFrame]) -> None:
        self.tables = tables
        self._index: dict[str, pd.Index] = {}

    def find(self, record_id: str) -> tuple[str, int] | None:
        """Table and row number of a record; None where it was not read."""
        table = record_id.split(":")[0]
        if table not in self.tables:
            return None
        if table not in self._index:
            self._index[table] = pd.Index(self.tables[table]["record_id"])
        at = int(self._index[table].get_indexer(pd.Index([record_id]))[0])
        return None if at < 0 else (table, at)


def _cell(r: _Line, lookups: _Lookups) -> _Cell | str:
    """Find the cell a correction means and read its value; a sentence where that fails."""
    place = lookups.find(r.record_id)
    if place is None:
        return f"no record '{r.record_id}' was read; copy the record_id from the findings"
    table, at = place
    columns = overridable(table)
    if r.column not in columns:
        near = did_you_mean(r.column, columns)
        near = near or f"; it has {', '.join(columns)}"
        return f"'{r.column}' is no column of {table}{near}"
    if not r.why:
        return "the correction does not say why; fill in the column why"
    column = columns[r.column]
    value = hand_value(r.value, column)
    if value is None:
        return f"'{r.value}' is no value of {r.column}; {wanted_value(column)}"
    old = lookups.tables[table][column.name].iloc[at]
    return _Cell(table, at, column, old, value, value if isinstance(value, str) else r.value)


def _say_not_used(faults: Sequence[tuple[_Line, str]]) -> pd.DataFrame:
    found = make_findings(
        "correction not used",
        "ask",
        [f"overrides:{OVERRIDES_FILE}:{r.row}" for r, _ in faults],
        [sentence for _, sentence in faults],
        value=[r.value for r, _ in faults],
        action="cell left as it was",
    )
    return found.assign(column=[r.column for r, _ in faults])


def _one_a_cell(failed: pd.DataFrame) -> pd.DataFrame:
    """A cell that is set twice is one fault: its rows bear the same sentence."""
    return failed[~(failed["message"].str.startswith("rows ") & failed["message"].duplicated())]


def _say_used(used: Sequence[tuple[_Line, _Cell]]) -> pd.DataFrame:
    """Say from what to what, why, and by whom."""
    found = make_findings(
        "corrected by hand",
        "note",
        [r.record_id for r, _ in used],
        [""] * len(used),
        value=[cell.old for _, cell in used],
    )
    messages = []
    for (r, cell), old in zip(used, found["value"], strict=True):
        who = ", ".join(part for part in (r.by, r.date) if part)
        change = f"was {_quoted(old)}, set to {_quoted(cell.shown)}"
        if cell.confirms:
            change = f"confirmed as {_quoted(old)}"
        messages.append(f"{r.column} {change} by hand: {r.why}{f' ({who})' if who else ''}")
    return found.assign(
        column=[r.column for r, _ in used],
        action=[f"set to {_quoted(cell.shown)}" for _, cell in used],
        message=messages,
    )


def _quoted(text: str) -> str:
    return f"'{text}'" if text else "empty"


def _out_of_range(used: Sequence[tuple[_Line, _Cell]]) -> pd.DataFrame:
    """A value set by hand is looked at like any other, unless it confirms what was there."""
    return join_findings(
        make_findings(
            "value out of range",
            "doubt",
            [r.record_id],
            "'{value}', set by hand, is hardly possible; look at the value and its unit",
            column=r.column,
            value=cell.shown,
            threshold=value_range(cell.column),
            action="kept as set",
        )
        for r, cell in used
        if not cell.confirms and not in_range(cell.value, cell.column)
    )
