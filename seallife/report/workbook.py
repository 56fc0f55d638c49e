"""The workbook: one sheet a table, typed, with a front sheet and the cautions.

In: tables. Out: bytes of an XLSX file. Next: `seallife.report.write`.

Text is written as text, whatever it begins with: a tag like ``=1+1`` stays a tag.
"""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from seallife.report.cautions import CAUTIONS, SHORT_CAUTION
from seallife.report.format import date_text
from seallife.report.fulltable import MOST_ROWS, FullTable, sidecar_name

__all__ = ["new_book", "workbook_bytes", "write_table"]

_CREATED = dt.datetime(2000, 1, 1)  # noqa: DTZ001  (a constant, so that equal input gives equal bytes)
_MOST_TEXT = 32_767
_UNITS = (
    ("_years", "y"), ("_years_low", "y"), ("_years_high", "y"), ("_h", "h"), ("_d", "d"),
    ("_low_h", "h"), ("_high_h", "h"), ("_low_d", "d"), ("_high_d", "d"),
)  # fmt: skip
_PLAIN_UNITS = {"hours": "h", "days": "d"}


def workbook_bytes(name: str, made: dt.date, tables: Mapping[str, FullTable]) -> bytes:
    """Write all tables into one workbook.

    Parameters
    ----------
    name : str
        Name of the fleet.
    made : date
        Printed on the front sheet.
    tables : mapping
        Sheet name -> table.
    """
    buffer = io.BytesIO()
    book, styles = new_book(buffer, f"Seal life: {name}")
    with book:
        front = book.add_worksheet("contents")
        for key, full in tables.items():
            sheet = book.add_worksheet(key)
            if len(full.table) > MOST_ROWS:
                # Part of a table would be taken for the whole of it.
                text = f"{len(full.table):,} rows{_elsewhere(key)}"
                sheet.write_string(0, 0, text, styles["bold"])
            else:
                write_table(sheet, full.table, styles)
        _front(front, name, made, tables, styles)
        _cautions(book.add_worksheet("cautions"), styles)
    return buffer.getvalue()


def new_book(buffer: io.BytesIO, title: str) -> tuple[Any, dict[str, Any]]:
    """Begin a workbook in which text stays text; return it with the cell styles by name."""
    import xlsxwriter

    options = {
        "in_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "nan_inf_to_errors": False,
    }
    book = xlsxwriter.Workbook(buffer, options)
    book.set_properties({"title": title, "created": _CREATED})
    head = {"bold": True, "text_wrap": True, "valign": "top", "bottom": 1, "bg_color": "#E8EEF2"}
    return book, {
        "head": book.add_format(head),
        "title": book.add_format({"bold": True, "font_size": 14}),
        "bold": book.add_format({"bold": True, "valign": "top"}),
        "wrap": book.add_format({"text_wrap": True, "valign": "top"}),
        "date": book.add_format({"num_format": "yyyy-mm-dd"}),
        "whole": book.add_format({"num_format": "#,##0"}),
        "real": book.add_format({"num_format": "#,##0.00##"}),
    }


def _front(
    sheet: Any, name: str, made: dt.date, tables: Mapping[str, FullTable], styles: dict[str, Any]
) -> None:
    sheet.set_column(0, 0, 16)
    sheet.set_column(1, 1, 80)
    sheet.set_column(2, 2, 10)
    sheet.write_string(0, 0, f"Seal life: {name}", styles["title"])
    sheet.write_string(1, 0, f"Made on {date_text(made)}")
    sheet.write_string(2, 0, SHORT_CAUTION.replace("\n", " "))
    for column, head in enumerate(("Sheet", "What it holds", "Rows")):
        sheet.write_string(4, column, head, styles["head"])
    for row, (key, full) in enumerate(tables.items(), start=5):
        sheet.write_url(row, 0, f"internal:'{key}'!A1", string=key)
        where = _elsewhere(key) if len(full.table) > MOST_ROWS else ""
        sheet.write_string(row, 1, full.meaning + where, styles["wrap"])
        sheet.write_number(row, 2, len(full.table), styles["whole"])
    sheet.write_url(5 + len(tables), 0, "internal:'cautions'!A1", string="cautions")
    sheet.write_string(5 + len(tables), 1, "what these figures must never be taken for")


def _cautions(sheet: Any, styles: dict[str, Any]) -> None:
    sheet.set_column(0, 0, 24)
    sheet.set_column(1, 1, 100)
    sheet.write_string(0, 0, "Topic", styles["head"])
    sheet.write_string(0, 1, "Caution", styles["head"])
    for row, caution in enumerate(CAUTIONS, start=1):
        sheet.write_string(row, 0, caution.topic, styles["bold"])
        sheet.write_string(row, 1, caution.text, styles["wrap"])
    sheet.freeze_panes(1, 0)


def _elsewhere(key: str) -> str:
    """Where a table stands that is too long for the workbook."""
    return f": too long for a sheet, see tables/{sidecar_name(key)}.csv"


def write_table(sheet: Any, table: pd.DataFrame, styles: dict[str, Any]) -> None:
    """Write a table with its head frozen.

    One column at a time: its kind is settled once, not for each cell.
    """
    rows = len(table)
    for j, column in enumerate(table.columns):
        values = table[column]
        head = _with_unit(str(column))
        sheet.write_string(0, j, head, styles["head"])
        width = _write_column(sheet, j, values, styles)
        longest_word = max((len(w) for w in head.split()), default=4)
        sheet.set_column(j, j, min(max(width, longest_word + 3, 8), 60))
    sheet.freeze_panes(1, 1)
    if rows and len(table.columns):
        sheet.autofilter(0, 0, rows, len(table.columns) - 1)


def _with_unit(column: str) -> str:
    """Column name with its unit in brackets on a line of its own."""
    unit = _PLAIN_UNITS.get(column, "")
    unit = unit or next((u for tail, u in _UNITS if column.endswith(tail)), "")
    return f"{column} [{unit}]" if unit else column


def _write_column(sheet: Any, j: int, values: pd.Series, styles: dict[str, Any]) -> int:
    """Write values by kind, leave missing ones blank, and return the width wanted."""
    if pd.api.types.is_bool_dtype(values):
        for i, flag in enumerate(values.tolist(), start=1):
            if flag is not pd.NA:
                sheet.write_boolean(i, j, flag)
        return 8
    if pd.api.types.is_numeric_dtype(values):
        style = styles["whole" if pd.api.types.is_integer_dtype(values) else "real"]
        for i, value in enumerate(values.tolist(), start=1):
            if value == value and abs(value) != np.inf:
                sheet.write_number(i, j, value, style)
            elif value == value:
                sheet.write_string(i, j, "no upper limit")
        return 12
    if pd.api.types.is_datetime64_any_dtype(values):
        for i, day in enumerate(values.tolist(), start=1):
            if day is not pd.NaT:
                sheet.write_datetime(i, j, day, styles["date"])
        return 12
    longest = 0
    for i, value in enumerate(values.tolist(), start=1):
        if value is None or value is pd.NaT or (isinstance(value, float) and np.isnan(value)):
            continue
        if isinstance(value, (bool, np.bool_)):
            sheet.write_boolean(i, j, bool(value))
        elif isinstance(value, (int, float, np.number)):
            sheet.write_number(i, j, float(value))
        elif value != "":
            text = str(value)
            text = text if len(text) <= _MOST_TEXT else f"{text[: _MOST_TEXT - 1]}…"
            longest = max(longest, len(text))
            sheet.write_string(i, j, text)
    return min(longest + 2, 60)
