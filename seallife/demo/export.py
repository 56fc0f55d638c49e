"""Write tables the way a site exports them, exactly as ``fleet.toml`` says they are.

In: tables in our column names, a source of ``fleet.toml``. Out: bytes of a file. Next: `write`.

The settings file is the one contract: the names, units, separators and encodings used here are read
from it, so that file and settings cannot disagree.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Any

import numpy as np
import pandas as pd

__all__ = ["csv_bytes", "date_text", "source_rows", "table_bytes", "xlsx_bytes"]

_UNIT_OUT: dict[str, Callable[[float], float]] = {
    "barg": lambda kpa: round((kpa - 101.325) / 100.0, 2),
    "bara": lambda kpa: float(f"{kpa / 100.0:.3g}"),
    "bar": lambda kpa: round((kpa - 101.325) / 100.0, 2),
    "degC": lambda c: c,
}
_CREATED = datetime(2026, 1, 5)  # noqa: DTZ001 - a fixed mark in the file, not a moment


def date_text(day: date, style: str) -> str:
    """How does a site write this day (``style``: iso, slash, dot or month first)?"""
    y, m, d = f"{day.year:04d}", f"{day.month:02d}", f"{day.day:02d}"
    return {"iso": f"{y}-{m}-{d}", "slash": f"{d}/{m}/{y}", "dot": f"{d}.{m}.{y}"}.get(
        style, f"{m}/{d}/{y}"
    )


def _plain(value: Any) -> Any:
    """Python value of a cell; None where empty."""
    if value is None or value is pd.NaT or (isinstance(value, float) and np.isnan(value)):
        return None
    if isinstance(value, (pd.Timestamp, np.datetime64)):
        return None if pd.isna(value) else pd.Timestamp(value).date()
    if isinstance(value, np.generic):
        return value.item()
    return value


def _text(value: Any, style: str, decimal: str) -> str:
    """Text of a cell; floats are rounded before, so that their text is the same everywhere."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        return date_text(value, style)
    if isinstance(value, float):
        text = str(int(value)) if value == int(value) else repr(round(value, 6))
        return text.replace(".", decimal)
    return str(value)


def source_rows(
    table: pd.DataFrame,
    source: Mapping[str, Any],
    codes: Mapping[str, Mapping[str, str]],
) -> tuple[list[str], list[list[Any]]]:
    """Which header and rows does a site's file have for this table?

    Parameters
    ----------
    table : DataFrame
        Our column names and units.
    source : mapping
        One entry of ``sources`` in ``fleet.toml``.
    codes : mapping
        Column -> our word -> the site's code.
    """
    units = source.get("units", {})
    columns = []
    for ours in source["columns"]:
        values = [_plain(v) for v in table[ours].tolist()]
        if ours in units:
            convert = _UNIT_OUT[units[ours]]
            values = [None if v is None else convert(v) for v in values]
        if ours in codes:
            values = [codes[ours].get(v, v) for v in values]
        columns.append(values)
    return list(source["columns"].values()), [list(row) for row in zip(*columns, strict=True)]


def csv_bytes(
    header: Sequence[str],
    rows: Iterable[Sequence[Any]],
    *,
    style: str = "iso",
    separator: str = ",",
    decimal: str = ".",
    encoding: str = "utf-8",
) -> bytes:
    """What are the bytes of this table as a CSV file with line feeds alone?"""
    import csv

    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=separator, lineterminator="\n")
    writer.writerow(header)
    writer.writerows([_text(_plain(v), style, decimal) for v in row] for row in rows)
    return out.getvalue().encode(encoding)


def table_bytes(table: pd.DataFrame) -> bytes:
    """What are the bytes of this table as a plain CSV file, dates as year-month-day?"""
    columns = [table[c].tolist() for c in table]
    return csv_bytes([str(c) for c in table], zip(*columns, strict=True))


def xlsx_bytes(sheets: Mapping[str, tuple[Sequence[str], Sequence[Sequence[Any]]]]) -> bytes:
    """What are the bytes of these sheets as an XLSX file, the same on every machine?

    The parts are stored, not packed: packing differs between builds of zlib.
    """
    import xlsxwriter

    packed = io.BytesIO()
    book = xlsxwriter.Workbook(packed, {"in_memory": True})
    book.set_properties({"created": _CREATED, "author": "invented data"})
    bold, days = book.add_format({"bold": True}), book.add_format({"num_format": "yyyy-mm-dd"})
    for name, (header, rows) in sheets.items():
        sheet = book.add_worksheet(name)
        sheet.freeze_panes(1, 0)
        sheet.set_column(0, len(header) - 1, 14)
        sheet.write_row(0, 0, header, bold)
        for r, row in enumerate(rows, start=1):
            for c, value in enumerate(_plain(v) for v in row):
                if isinstance(value, date):
                    sheet.write_datetime(r, c, datetime(value.year, value.month, value.day), days)  # noqa: DTZ001
                elif isinstance(value, str):
                    sheet.write_string(r, c, value)
                elif value is not None:
                    sheet.write_number(r, c, value)
    book.close()
    stored = io.BytesIO()
    with zipfile.ZipFile(packed) as source, zipfile.ZipFile(stored, "w") as target:
        for part in source.namelist():
            info = zipfile.ZipInfo(part, date_time=(1980, 1, 1, 0, 0, 0))
            info.create_system, info.external_attr = 3, 0o600 << 16
            target.writestr(info, source.read(part))
    return stored.getvalue()
