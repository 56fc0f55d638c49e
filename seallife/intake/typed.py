"""Turn the text cells of one file into a table of the schema.

In: `RawFile`, its `Source`. Out: typed columns in our names and units, and what could not be
read. Next: `seallife.intake.read`.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from seallife.errors import InputError, did_you_mean
from seallife.findings import Severity, make_findings
from seallife.intake.byhand import HAND_SET
from seallife.intake.codes import translate_codes
from seallife.intake.dates import parse_dates
from seallife.intake.files import RawFile
from seallife.intake.numbers import convert_units, may_be_gauge, parse_numbers
from seallife.intake.rows import only_records
from seallife.schema import Column, Table
from seallife.settings import Settings, Source

__all__ = ["empty_table", "typed_table", "value_range"]

_DTYPES: dict[str, Any] = {
    "text": object,
    "code": object,
    "number": float,
    "date": "datetime64[ns]",
}


def empty_table(table: Table) -> pd.DataFrame:
    """Return a table without rows but with all its columns."""
    columns: dict[str, pd.Series] = {"record_id": pd.Series(dtype=object)}
    for c in (*table.columns, *HAND_SET.get(table.name, {}).values()):
        columns[c.name] = pd.Series(dtype=_DTYPES[c.kind])
    return pd.DataFrame(columns)


def typed_table(
    raw: RawFile, table: Table, source: Source, settings: Settings
) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    """What do the cells of this file say in our names and units?

    Parameters
    ----------
    raw : RawFile
    table : Table
        Table of the schema that the file fills.
    source : Source
        The file's layout.
    settings : Settings
        For the site's codes.

    Returns
    -------
    table : pandas.DataFrame
        All columns of the table, ``record_id``, and those of `HAND_SET`, empty.
    findings : list of pandas.DataFrame
        What could not be read.

    Raises
    ------
    InputError
        A column is missing, a unit is not known, or dates can be read two ways.
    """
    raw, left_out = only_records(raw, table.name)
    theirs = _their_names(raw, table, source)
    rows = raw.cells.index
    ids = pd.Series([f"{table.name}:{raw.name}:{row}" for row in rows], index=rows, dtype=object)
    out: dict[str, pd.Series] = {"record_id": ids}
    findings = [*_file_findings(raw, table), *left_out]
    signs: pd.Series | None = None
    for column in table.columns:
        name = theirs.get(column.name)
        constant = source.constants.get(column.name, "")
        if name is None and not constant:
            out[column.name] = _blank(column, rows)
            continue
        text = pd.Series(constant, index=rows, dtype=object) if name is None else raw.cells[name]
        where = f"{raw.name}, column '{name or column.name}'"
        if column.kind == "date":
            counted_from = raw.days_from or source.days_from
            values, found = _dates(text, column, source, ids, where, counted_from)
        elif column.kind == "number":
            if (table.name, column.name) == ("leak_readings", "value"):
                text, signs = _signs_taken_off(text)
            values, found = _numbers(text, column, source, ids, where)
        elif column.kind == "code":
            values, found = translate_codes(text, column, settings, ids)
        else:
            values, found = text, []
        out[column.name] = values
        findings.extend(found)
    if table.name == "leak_readings" and signs is not None:
        out["flag"] = out["flag"].where(out["flag"] != "", signs)
    for column in HAND_SET.get(table.name, {}).values():
        out[column.name] = _blank(column, rows)
    return pd.DataFrame(out).reset_index(drop=True), findings


def _signs_taken_off(text: pd.Series) -> tuple[pd.Series, pd.Series]:
    """Read "<5" as 5 below detection and ">10000" as 10,000 off the scale."""
    parts = text.astype(str).str.extract(r"^\s*([<>\u2264\u2265])\s*=?\s*(.+)$")
    below, above = parts[0].isin(["<", "\u2264"]), parts[0].isin([">", "\u2265"])
    signs = pd.Series("", index=text.index, dtype=object)
    signs = signs.mask(below, "below detection").mask(above, "above scale")
    return parts[1].where(below | above, text), signs


def _blank(column: Column, rows: pd.Index) -> pd.Series:
    """Return a column that the file does not have."""
    dtype = _DTYPES[column.kind]
    return pd.Series("" if dtype is object else None, index=rows, dtype=dtype)


def _their_names(raw: RawFile, table: Table, source: Source) -> dict[str, str]:
    """Our column -> the file's; a column that was promised must be there."""
    present = list(raw.cells.columns)
    names = {c: c for c in table.names if c in present}
    for ours, written in source.columns.items():
        theirs = " ".join(written.split())
        if theirs not in present:
            raise InputError(
                f"has no column '{theirs}' (for {ours}){did_you_mean(theirs, present)}; "
                f"it has: {', '.join(present)}",
                where=raw.name,
                hint="mend the name under columns, or header_row, in fleet.toml",
            )
        names[ours] = theirs
    for c in table.columns:
        if c.name in names and c.name in source.constants:
            raise InputError(
                f"has a column '{names[c.name]}', and fleet.toml gives a constant for it too",
                where=raw.name,
                hint=f"take {c.name} out of constants, or rename the column",
            )
        if c.need == "required" and c.name not in names and c.name not in source.constants:
            raise InputError(
                f"has no column for '{c.name}' ({c.meaning}); it has: {', '.join(present)}",
                where=raw.name,
                hint=f"say which one it is under columns in fleet.toml: {c.name} = '...'",
            )
    return names


def _file_findings(raw: RawFile, table: Table) -> list[pd.DataFrame]:
    """What is to be said of the file as a whole."""
    whole = f"{table.name}:{raw.name}"
    found = []

    def say(check: str, severity: Severity, message: str, action: str, value: str = "") -> None:
        found.append(make_findings(check, severity, [whole], message, value=value, action=action))

    if raw.guessed_encoding:
        say(
            "encoding guessed",
            "doubt",
            f"{raw.name} is not UTF-8 and was read as {raw.encoding}; look at accented letters, "
            "and name the encoding in fleet.toml",
            "read as guessed",
            raw.encoding,
        )
    if raw.empty_rows:
        message = f"{raw.name} holds wholly empty rows: {raw.empty_rows}"
        say("empty rows", "note", message, "not counted as records", str(raw.empty_rows))
    if raw.cells.empty:
        say("empty table", "ask", f"{raw.name} has a header but no records", "nothing to read")
    found.append(
        make_findings(
            "row too long",
            "ask",
            [f"{whole}:{r}" for r in raw.long_rows],
            "the row has more cells than the header; a separator inside a text without quotes is "
            "the usual cause, so its columns may have shifted",
            action="cells beyond the header joined to the last",
        )
    )
    found.append(
        make_findings(
            "row too short",
            "doubt",
            [f"{whole}:{r}" for r in raw.short_rows],
            "the row has fewer cells than the header; a line break inside a text without quotes "
            "is one cause, and then the rest of the record stands in the next row",
            action="missing cells left empty",
        )
    )
    return found


def _dates(
    text: pd.Series, column: Column, source: Source, ids: pd.Series, where: str, days_from: str
) -> tuple[pd.Series, list[pd.DataFrame]]:
    """Read dates; say which texts are none, which stand for none, which were day numbers."""
    got = parse_dates(text, source.date_order, where=where, days_from=days_from)

    def say(
        check: str, severity: Severity, rows: pd.Series, message: str, action: str
    ) -> pd.DataFrame:
        return make_findings(
            check,
            severity,
            ids[rows],
            message,
            column=column.name,
            value=text[rows],
            action=action,
        )

    return got.dates, [
        say(
            "no such date",
            "ask",
            got.unreadable,
            f"'{{value}}' in {where} is no date; mend it in the source",
            "date left empty",
        ),
        say("filler date", "note", got.filler, "'{value}' stands for no date", "date left empty"),
        say(
            "day number",
            "doubt",
            got.serial,
            f"'{{value}}' in {where} was read as a spreadsheet's day number counted from "
            f"{days_from}; export the column as dates",
            "turned into a date",
        ),
    ]


def _numbers(
    text: pd.Series, column: Column, source: Source, ids: pd.Series, where: str
) -> tuple[pd.Series, list[pd.DataFrame]]:
    """Read and convert numbers; say which texts are none and which values are suspects."""
    values, bad = parse_numbers(text, source.decimal)
    found = [
        make_findings(
            "no number",
            "ask",
            ids[bad],
            f"'{{value}}' in {where} is no number; mend it in the source",
            column=column.name,
            value=text[bad],
            action="value left empty",
        )
    ]
    unit = source.units.get(column.name, "")
    if unit:
        values = convert_units(values, unit, column.unit, where=where)
    if column.unit == "kPa" and unit and may_be_gauge(unit):
        found.append(
            make_findings(
                "gauge or absolute",
                "doubt",
                [":".join(i.split(":")[:2]) for i in ids[:1]],
                f"'{unit}' of {where} can mean gauge or absolute pressure; write for instance "
                "barg or bara in fleet.toml",
                column=column.name,
                value=unit,
                action="taken as absolute",
            )
        )
    low = -float("inf") if column.low is None else column.low
    high = float("inf") if column.high is None else column.high
    out = (values < low) | (values > high)
    found.append(
        make_findings(
            "value out of range",
            "doubt",
            ids[out],
            f"'{{value}}' in {where} is hardly possible; look at the value and its unit",
            column=column.name,
            value=text[out],
            threshold=value_range(column),
            action="kept as written",
        )
    )
    return values, found


def value_range(column: Column) -> str:
    """Say the range of a column in words."""
    unit = f" {column.unit}" if column.unit not in {"", "1", "see unit"} else ""
    if column.high is None:
        return f"{column.low:g}{unit} or more" if column.low is not None else ""
    return f"{column.low:g} to {column.high:g}{unit}"
