"""The file of a site's corrections: single cells set by hand, never in the exports.

In: a fleet folder. Out: `Overrides`. Next: `seallife.intake.correct`.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from seallife.errors import InputError
from seallife.findings import join_findings, make_findings, no_findings
from seallife.intake.files import RawFile, read_cells

__all__ = ["OVERRIDES_FILE", "OVERRIDE_COLUMNS", "Overrides", "read_overrides"]

OVERRIDES_FILE = "overrides.csv"
OVERRIDE_COLUMNS = ("record_id", "column", "value", "why", "by", "date")
_NEEDED = OVERRIDE_COLUMNS[:4]


@dataclass(frozen=True)
class Overrides:
    """Corrections as written.

    Attributes
    ----------
    table : pandas.DataFrame
        ``row`` of the file and `OVERRIDE_COLUMNS`, all text; rows not filled in are left out.
    findings : pandas.DataFrame
        What is to be said of the file itself.
    file : RawFile or None
        None where the folder has no ``overrides.csv``.
    """

    table: pd.DataFrame
    findings: pd.DataFrame
    file: RawFile | None = None


def read_overrides(folder: Path | str) -> Overrides:
    """Which corrections does this fleet folder hold?

    Parameters
    ----------
    folder : path
        Fleet folder; ``overrides.csv`` in it has the columns `OVERRIDE_COLUMNS` (``by`` and
        ``date`` may be missing, further columns are not looked at).

    Returns
    -------
    Overrides

    Raises
    ------
    InputError
        The file cannot be read, or lacks a column.
    """
    path = Path(folder) / OVERRIDES_FILE
    if not path.exists():
        return Overrides(pd.DataFrame(columns=["row", *OVERRIDE_COLUMNS]), no_findings())
    raw = read_cells(path)
    cells = raw.cells.rename(columns=lambda c: c.casefold().replace(" ", "_"))
    for name in _NEEDED:
        if name not in cells:
            raise InputError(
                f"has no column '{name}'; it has: {', '.join(raw.cells.columns)}",
                where=OVERRIDES_FILE,
                hint=f"its columns are {', '.join(OVERRIDE_COLUMNS)}",
            )
    if not cells.columns.is_unique:
        raise InputError(
            "has two columns whose names differ only in capitals or blanks",
            where=OVERRIDES_FILE,
            hint="rename one of them",
        )
    cells = cells.reindex(columns=list(OVERRIDE_COLUMNS), fill_value="")
    cells["column"] = cells["column"].str.casefold()
    filled = (cells[["column", "value", "why"]] != "").any(axis=1)
    table = cells[filled].rename_axis("row").reset_index()
    return Overrides(table, _file_findings(raw, int((~filled).sum())), raw)


def _file_findings(raw: RawFile, blank: int) -> pd.DataFrame:
    """What is to be said of the file as a whole."""
    whole = [f"overrides:{raw.name}"]
    found = []
    if raw.guessed_encoding:
        found.append(
            make_findings(
                "encoding guessed",
                "doubt",
                whole,
                f"{raw.name} is not UTF-8 and was read as {raw.encoding}; save it as CSV UTF-8",
                value=raw.encoding,
                action="read as guessed",
            )
        )
    if blank:
        found.append(
            make_findings(
                "correction not filled in",
                "note",
                whole,
                f"rows of {raw.name} with nothing under column, value and why: {blank}",
                value=str(blank),
                action="left as they are",
            )
        )
    return join_findings(found)
