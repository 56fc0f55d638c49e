"""Read a fleet folder: every file through ``fleet.toml`` into typed tables, nothing dropped.

In: a fleet folder. Out: `Fleet`. Next: `seallife.checks`.
"""

from __future__ import annotations

import glob
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from seallife.errors import InputError
from seallife.findings import join_findings, make_findings
from seallife.intake.dates import parse_dates
from seallife.intake.files import RawFile, read_cells
from seallife.intake.numbers import convert_units, parse_numbers
from seallife.schema import TABLES, Column, Table
from seallife.settings import SETTINGS_FILE, Settings, Source, load_settings

__all__ = ["Fleet", "read_fleet"]


@dataclass(frozen=True)
class Fleet:
    """A fleet folder as read.

    Attributes
    ----------
    folder : Path
        Where it was read.
    settings : Settings
        What ``fleet.toml`` says.
    tables : mapping of str to pandas.DataFrame
        Every table of the schema that has rows, all its columns in our names and units, and
        ``record_id`` (``table:file:row``, the row as a spreadsheet shows it).
    findings : pandas.DataFrame
        What could not be read, see `seallife.findings`.
    inputs : pandas.DataFrame
        One row a file: table, file, rows, encoding, sha256.
    """

    folder: Path
    settings: Settings
    tables: Mapping[str, pd.DataFrame]
    findings: pd.DataFrame
    inputs: pd.DataFrame

    def __getitem__(self, table: str) -> pd.DataFrame:
        """Return a table; an empty one with all columns where the site has none."""
        found = self.tables.get(table)
        return empty_table(TABLES[table]) if found is None else found


def read_fleet(folder: Path | str, settings: Settings | None = None) -> Fleet:
    """Which records does this fleet folder hold?

    Parameters
    ----------
    folder : path
        Fleet folder with ``fleet.toml``.
    settings : Settings, optional
        Used instead of the folder's own.

    Returns
    -------
    Fleet

    Raises
    ------
    SettingsError
        ``fleet.toml`` is missing or wrong.
    InputError
        A file is missing, empty or unreadable, lacks a column it was said to have, or holds
        dates that can be read two ways; the sentence says where and what to do.
    """
    folder = Path(folder)
    settings = load_settings(folder) if settings is None else settings
    parts: dict[str, list[pd.DataFrame]] = {}
    findings: list[pd.DataFrame] = []
    inputs: list[dict[str, object]] = []
    for source in settings.sources:
        table = TABLES[source.table]
        for path in _paths(folder, source):
            raw = read_cells(
                path,
                encoding=source.encoding,
                separator=source.separator,
                sheet=source.sheet,
                header_row=source.header_row,
            )
            frame, found = _typed(raw, table, source, settings)
            parts.setdefault(table.name, []).append(frame)
            findings.extend(found)
            inputs.append(
                {
                    "table": table.name,
                    "file": raw.name,
                    "rows": len(frame),
                    "encoding": raw.encoding,
                    "sha256": raw.sha256,
                }
            )
    _require_minimum(parts)
    tables = {name: pd.concat(frames, ignore_index=True) for name, frames in parts.items()}
    _refuse_repeated_ids(tables)
    return Fleet(folder, settings, tables, join_findings(findings), pd.DataFrame(inputs))


def empty_table(table: Table) -> pd.DataFrame:
    """Return a table without rows but with all its columns."""
    columns: dict[str, pd.Series] = {"record_id": pd.Series(dtype=object)}
    for c in table.columns:
        columns[c.name] = pd.Series(dtype=_DTYPES[c.kind])
    return pd.DataFrame(columns)


_DTYPES: dict[str, Any] = {
    "text": object,
    "code": object,
    "number": float,
    "date": "datetime64[ns]",
}


def _paths(folder: Path, source: Source) -> Iterator[Path]:
    """Expand glob patterns in name order; a pattern without a file is an error."""
    for pattern in source.files:
        if Path(pattern).is_absolute() or ".." in Path(pattern).parts:
            raise InputError(
                f"'{pattern}' points outside the fleet folder",
                where=SETTINGS_FILE,
                hint="copy the file into the folder and name it without a path",
            )
        names = sorted(glob.glob(pattern, root_dir=folder))
        if not names:
            raise InputError(
                f"no file '{pattern}' for table {source.table}",
                where=str(folder),
                hint="put the file there or mend its name in fleet.toml",
            )
        yield from (folder / n for n in names)


def _require_minimum(parts: Mapping[str, list[pd.DataFrame]]) -> None:
    """A register and some record of removals are the least a study can live on."""
    if "positions" not in parts:
        raise InputError(
            "names no file for the table positions",
            where=SETTINGS_FILE,
            hint="add a [[sources]] with table = 'positions'",
        )
    if "work_orders" not in parts and "removals" not in parts:
        raise InputError(
            "names no file for work_orders or removals",
            where=SETTINGS_FILE,
            hint="add a [[sources]] with table = 'work_orders' (or 'removals')",
        )
    if not sum(map(len, parts["positions"])):
        raise InputError("the register holds no positions", where="positions")


def _refuse_repeated_ids(tables: Mapping[str, pd.DataFrame]) -> None:
    """The same file read twice would count each record twice."""
    for name, frame in tables.items():
        twice = frame["record_id"].duplicated()
        if twice.any():
            file = frame.loc[twice, "record_id"].iloc[0].split(":")[1]
            raise InputError(
                f"'{file}' is read more than once for {name}",
                where=SETTINGS_FILE,
                hint="name it in one [[sources]] only, and give files different names",
            )


def _typed(
    raw: RawFile, table: Table, source: Source, settings: Settings
) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    """Name, parse and convert the columns of one file; say what could not be read."""
    theirs = _their_names(raw, table, source)
    ids = pd.Series(
        [f"{table.name}:{raw.name}:{row}" for row in raw.cells.index],
        index=raw.cells.index,
        dtype=object,
    )
    out: dict[str, pd.Series] = {"record_id": ids}
    findings = _file_findings(raw, table)
    for column in table.columns:
        where = f"{raw.name}, column '{theirs.get(column.name, column.name)}'"
        if column.name in theirs:
            text = raw.cells[theirs[column.name]]
        else:
            constant = source.constants.get(column.name, "")
            text = pd.Series(constant, index=raw.cells.index, dtype=object)
        values, found = _parsed(text, column, source, settings, ids, where)
        out[column.name] = values
        findings.extend(found)
    return pd.DataFrame(out).reset_index(drop=True), findings


def _their_names(raw: RawFile, table: Table, source: Source) -> dict[str, str]:
    """Our column -> the file's; a column that was promised must be there."""
    present = list(raw.cells.columns)
    names = {c: c for c in table.names if c in present}
    for ours, theirs in source.columns.items():
        if theirs not in present:
            raise InputError(
                f"has no column '{theirs}' (for {ours}); it has: {', '.join(present)}",
                where=raw.name,
                hint="mend the name under columns in fleet.toml",
            )
        names[ours] = theirs
    for c in table.columns:
        if c.need == "required" and c.name not in names and c.name not in source.constants:
            raise InputError(
                f"has no column for '{c.name}' ({c.meaning}); it has: {', '.join(present)}",
                where=raw.name,
                hint=f"say which one it is under columns in fleet.toml: {c.name} = '...'",
            )
    return names


def _file_findings(raw: RawFile, table: Table) -> list[pd.DataFrame]:
    """What is to be said of the file as a whole."""
    found = []
    whole = [f"{table.name}:{raw.name}"]
    if raw.guessed_encoding:
        found.append(
            make_findings(
                "encoding guessed",
                "doubt",
                whole,
                f"{raw.name} is not UTF-8 and was read as {raw.encoding}; look at accented "
                "letters, and name the encoding in fleet.toml",
                value=raw.encoding,
                action="read as guessed",
            )
        )
    if raw.ragged_rows:
        found.append(
            make_findings(
                "row too long",
                "ask",
                [f"{table.name}:{raw.name}:{r}" for r in raw.ragged_rows],
                "the row has more cells than the header; a separator inside a text without "
                "quotes is the usual cause, so its last columns may have shifted",
                action="cells beyond the header joined to the last",
            )
        )
    if raw.empty_rows:
        found.append(
            make_findings(
                "empty rows",
                "note",
                whole,
                f"{raw.name} holds {raw.empty_rows} wholly empty rows",
                value=str(raw.empty_rows),
                action="not counted as records",
            )
        )
    if raw.cells.empty:
        found.append(
            make_findings(
                "empty table", "ask", whole, f"{raw.name} has a header but no records", action=""
            )
        )
    return found


def _parsed(
    text: pd.Series,
    column: Column,
    source: Source,
    settings: Settings,
    ids: pd.Series,
    where: str,
) -> tuple[pd.Series, list[pd.DataFrame]]:
    """Turn one column of text into its kind."""
    if column.kind == "date":
        return _parsed_dates(text, column, source, ids, where)
    if column.kind == "number":
        return _parsed_numbers(text, column, source, ids, where)
    if column.kind == "code":
        return _parsed_codes(text, column, settings, ids)
    return text, []


def _parsed_dates(
    text: pd.Series, column: Column, source: Source, ids: pd.Series, where: str
) -> tuple[pd.Series, list[pd.DataFrame]]:
    got = parse_dates(text, source.date_order, where=where)
    found = [
        make_findings(
            "no such date",
            "ask",
            ids[got.unreadable],
            f"'{{value}}' in {where} is no date; mend it in the source",
            column=column.name,
            value=text[got.unreadable],
            action="date left empty",
        ),
        make_findings(
            "filler date",
            "note",
            ids[got.filler],
            "'{value}' stands for no date",
            column=column.name,
            value=text[got.filler],
            action="date left empty",
        ),
    ]
    return got.dates, found


def _parsed_numbers(
    text: pd.Series, column: Column, source: Source, ids: pd.Series, where: str
) -> tuple[pd.Series, list[pd.DataFrame]]:
    values, bad = parse_numbers(text, source.decimal)
    unit = source.units.get(column.name, "")
    if unit:
        values = convert_units(values, unit, column.unit, where=where)
    low = values < (column.low if column.low is not None else float("-inf"))
    high = values > (column.high if column.high is not None else float("inf"))
    found = [
        make_findings(
            "no number",
            "ask",
            ids[bad],
            f"'{{value}}' in {where} is no number; mend it in the source",
            column=column.name,
            value=text[bad],
            action="value left empty",
        ),
        make_findings(
            "value out of range",
            "doubt",
            ids[low | high],
            f"{{value}} in {where} is outside what a pump can have; look at the unit",
            column=column.name,
            value=text[low | high],
            threshold=f"{column.low} to {column.high} {column.unit}",
            action="kept as written",
        ),
    ]
    return values, found


def _parsed_codes(
    text: pd.Series, column: Column, settings: Settings, ids: pd.Series
) -> tuple[pd.Series, list[pd.DataFrame]]:
    """Translate site codes to our words; a word we do not know is kept out, with a finding."""
    table = {k.casefold(): v for k, v in settings.codes.get(column.name, {}).items()}
    folded = text.str.casefold()
    words = folded.map(table).fillna(text)
    if not column.choices:
        return words, []
    own = {c.casefold(): c for c in column.choices}
    known = words.str.casefold().map(own)
    bad = known.isna() & (words != "")
    found = make_findings(
        "unknown code",
        "doubt",
        ids[bad],
        f"'{{value}}' is none of {', '.join(column.choices)}; translate it under "
        f"[codes.{column.name}] in fleet.toml",
        column=column.name,
        value=text[bad],
        action="read as not given",
    )
    return known.fillna(""), [found]
