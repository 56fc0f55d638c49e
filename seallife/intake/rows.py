"""Find rows of a table that are no records: totals, and units under the names.

In: `RawFile`. Out: the records alone, and what was left out. Next: `seallife.intake.typed`.
"""

from __future__ import annotations

import re
from dataclasses import replace

import pandas as pd

from seallife.findings import make_findings
from seallife.intake.files import RawFile
from seallife.intake.names import unit_name

__all__ = ["only_records"]

_TOTAL = re.compile(
    r"(?:grand |sub ?-?|overall )?totals?|(?:gesamt|zwischen)?summe|gesamt|insgesamt|somme"
    r"|total g[ée]n[ée]ral|suma|total general|soma|total geral|totale|totaal|count|anzahl|nombre",
    re.IGNORECASE,
)
_NUMBER = re.compile(r"[-+\d.,'’ €$£%]+")
_NONE = ("", "-", "--")


def only_records(raw: RawFile, table: str) -> tuple[RawFile, list[pd.DataFrame]]:
    """Which rows of a file are records?

    Parameters
    ----------
    raw : RawFile
    table : str
        Table that the file fills, for the names of records.

    Returns
    -------
    raw : RawFile
        Without rows of totals (one word such as "Total", all else numbers) and without a first
        row that holds units.
    findings : list of pandas.DataFrame
        One a row left out.
    """
    cells = raw.cells
    left_out = [
        ("row of totals", _totals(cells), "the row adds up others and is no record"),
        ("row of units", _units(cells), "the row under the names holds units and is no record"),
    ]
    findings = [
        make_findings(
            check,
            "note",
            [f"{table}:{raw.name}:{row}" for row in cells.index[rows]],
            message,
            action="not counted as a record",
        )
        for check, rows, message in left_out
    ]
    gone = left_out[0][1] | left_out[1][1]
    return (replace(raw, cells=cells[~gone]) if gone.any() else raw), findings


def _totals(cells: pd.DataFrame) -> pd.Series:
    """Rows of one word for a total and of numbers."""
    some = pd.Series(False, index=cells.index)
    for name in cells.columns:
        some |= cells[name].str.rstrip(" :").str.fullmatch(_TOTAL)
    # a column of words may say "total" of each meter reading: whole columns are looked at, not rows
    words = pd.Series(0, index=cells.index[some])
    for name in cells.columns:
        given = cells.loc[some, name]
        words += ~given.isin(_NONE) & ~given.str.fullmatch(_NUMBER)
    return cells.index.to_series().isin(words.index[words == 1])


def _units(cells: pd.DataFrame) -> pd.Series:
    """The first row, where it holds units and little else."""
    out = pd.Series(False, index=cells.index)
    if len(cells):
        filled = [v for v in cells.iloc[0] if v not in _NONE]
        units = [v for v in filled if unit_name(v)]
        out.iloc[0] = len(units) >= 2 and len(units) >= 0.6 * len(filled)
    return out
