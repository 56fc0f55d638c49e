"""The records check: a page to read and a workbook to work through.

In: `Study`. Out: two files. Next: a planner, whose filled sheet is the site's ``overrides.csv``.
"""

from __future__ import annotations

import datetime as dt
import io
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from seallife.findings import SEVERITIES
from seallife.intake.overrides import OVERRIDES_FILE
from seallife.report.basis import record_span
from seallife.report.cautions import SHORT_CAUTION
from seallife.report.format import cell, count, date_text
from seallife.report.html import render, table_cells
from seallife.report.tables import versions
from seallife.report.workbook import new_book, write_table
from seallife.report.worklist import (
    FILL_IN,
    columns_by_hand,
    findings_by_check,
    waterfall_lines,
    weightiest_first,
    worklist,
)
from seallife.report.write import write_whole

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["write_check"]

_MOST_ROWS = 20_000  # a sheet longer than this opens slowly, and nobody works through it
_SHOWN = {"ask": 25, "doubt": 5}
_WIDTHS = {
    "weight": 8,
    "check": 16,
    "tag": 14,
    "dates": 24,
    "text": 36,
    "finding": 44,
    "can set": 18,
    "column": 14,
    "value": 16,
    "why": 30,
    "by": 10,
    "date": 12,
    "record_id": 30,
    "file": 24,
    "row": 8,
}

_WRAPPED = ("check", "dates", "text", "finding", "can set")

_HOW_TO = (
    "Decide, finding by finding: 'ask' first, then what is in 'doubt'. 'can set' names the column "
    "a finding is about.",
    "Fill in column, value and why, if you like by and date. Dates as 2024-01-31, numbers with a "
    "decimal point, words of the sheet 'columns'. No value means: not known. An order that was no "
    "seal removal: column kind, value 'not a removal'.",
    f"Save the sheet 'worklist' as CSV (UTF-8) under the name {OVERRIDES_FILE} in the fleet "
    "folder, beside fleet.toml. It holds all corrections already in use, at its end, so that it "
    "replaces the old file. Rows not filled in and all further columns are passed over.",
    "Run the check again: each correction is used and said, or not used and the reason said. "
    "The exports stay as they are.",
)


def write_check(
    study: Study, folder: Path | str, *, made: dt.date | None = None
) -> dict[str, Path]:
    """Write what was found in the records as a page and as a workbook to work through.

    Equal input gives equal bytes, but for the day it was made.

    Parameters
    ----------
    study : Study
    folder : path
        Made if missing; files of the same names are replaced, each at once.
    made : date, optional
        Day printed; today where None.

    Returns
    -------
    dict of str to Path
        'html' and 'xlsx'.

    Raises
    ------
    InputError
        The folder cannot be written to.
    """
    day = dt.date.today() if made is None else made  # noqa: DTZ011  (the reader's own day is meant)
    work = worklist(study)
    content = {
        "html": ("records-check.html", _page(study, work, day).encode("utf-8")),
        "xlsx": ("records-check.xlsx", _book(study, work, day)),
    }
    return write_whole(Path(folder), content)


def _page(study: Study, work: pd.DataFrame, day: dt.date) -> str:
    """The page: what to decide, what was noted, what became of the records."""
    checks = findings_by_check(study.findings)
    asks = int((study.findings["severity"] == "ask").sum())
    notes = checks[checks["severity"] == "note"]
    steps = pd.DataFrame(waterfall_lines(study.removals.waterfall), columns=["Step", "Records"])
    steps["Step"] = steps["Step"].str.replace("  ", "\u2003", regex=False)
    steps["Records"] = steps["Records"].str.replace("-", "−", regex=False)
    used = work[work["check"] == "corrected by hand"]
    return render(
        "worklist.html",
        name=study.settings.name,
        span=record_span(study),
        made=date_text(day),
        software=versions(),
        lead=f"{count(asks, 'finding')} in these records must be decided by a person."
        if asks
        else "Nothing in these records waits for a person's decision.",
        weights=[
            {"name": weight, "meaning": SEVERITIES[weight], "checks": _checks(work, weight)}
            for weight in _SHOWN
        ],
        corrections=_cells(used, {"record_id": "Record", "finding": "What was set, and why"}),
        notes=_cells(
            notes,
            {
                "check": "Check",
                "records": "Findings",
                "action": "What was done",
                "example_record": "For instance",
            },
        ),
        steps=table_cells(steps) | {"kinds": ["", "right"]},
        how_to=_HOW_TO,
    )


def _checks(work: pd.DataFrame, weight: str) -> list[dict[str, Any]]:
    """The checks of one weight, most frequent first, each with the first of its records."""
    mine = work[work["weight"] == weight]
    out = []
    for check in mine["check"].value_counts(sort=True).index:
        rows = mine[mine["check"] == check]
        heads = {"record_id": "Record", "tag": "Tag", "dates": "Dates", "text": "Text"}
        same = len(set(rows["finding"])) == 1
        if not same:
            heads["finding"] = "What was found"
        heads = {c: head for c, head in heads.items() if (rows[c] != "").any()}
        most = _SHOWN[weight]
        out.append(
            {
                "name": _opened(check),
                "count": len(rows),
                "sentence": _opened(rows["finding"].iloc[0]) if same else "",
                "table": _cells(rows.head(most), heads),
                "left": max(len(rows) - most, 0),
            }
        )
    return out


def _cells(table: pd.DataFrame, heads: dict[str, str]) -> dict[str, Any] | None:
    """Cells for the template; None where there is no row."""
    if table.empty:
        return None
    cells = table_cells(table[list(heads)].rename(columns=heads).map(cell))
    if "dates" in heads:
        # A line a date: a row of them would be broken inside one.
        j = list(heads).index("dates")
        cells["kinds"][j] = "lines"
        for row in cells["rows"]:
            row[j] = row[j].replace("; ", "\n")
    return cells


def _opened(sentence: str) -> str:
    """Begin a sentence with a capital; a name in quotes keeps its own letters."""
    return sentence[:1].upper() + sentence[1:]


def _book(study: Study, work: pd.DataFrame, day: dt.date) -> bytes:
    """The workbook: how to, worklist, all findings, waterfall, the columns that can be set."""
    buffer = io.BytesIO()
    book, styles = new_book(buffer, f"Records check: {study.settings.name}")
    sheets = {
        "worklist": ("what a person has to decide, a row each; fill it in", work),
        "findings": (
            "everything noticed about the records",
            weightiest_first(study.findings),
        ),
        "waterfall": ("from records to failures", study.removals.waterfall),
        "columns": ("what can stand under column and value", columns_by_hand()),
    }
    with book:
        front = book.add_worksheet("how to")
        for name, (_, table) in sheets.items():
            sheet = book.add_worksheet(name)
            shown = _fitting(table)
            write_table(sheet, shown, styles)
            if name == "worklist":
                _make_ready(sheet, shown, book, styles)
        row = _front(front, study, day, styles)
        for name, (meaning, table) in sheets.items():
            front.write_url(row, 0, f"internal:'{name}'!A1", string=name)
            front.write_string(row, 1, meaning + _cut_words(len(table)), styles["wrap"])
            front.write_number(row, 2, len(table), styles["whole"])
            row += 1
    return buffer.getvalue()


def _fitting(table: pd.DataFrame) -> pd.DataFrame:
    """Cut a table to what a sheet holds; corrections in use stay, or the saved file loses them."""
    if len(table) <= _MOST_ROWS:
        return table
    last = table.index.isin(table.index[table["weight"] == "in use"] if "weight" in table else [])
    return pd.concat([table[~last].head(max(_MOST_ROWS - last.sum(), 0)), table[last]])


def _cut_words(rows: int) -> str:
    """Say where a sheet does not hold all rows."""
    if rows <= _MOST_ROWS:
        return ""
    return f"; the sheet holds the {_MOST_ROWS:,} weightiest; all: seallife check --json"


def _height(text: str, width: int) -> float:
    """Height [pt] of a row in which this text is wrapped: not every program finds it itself."""
    return 15.0 * min(len(textwrap.wrap(text, width)) or 1, 8)


def _make_ready(sheet: Any, work: pd.DataFrame, book: Any, styles: dict[str, Any]) -> None:
    """Columns to fill in are text: a spreadsheet turns a date it knows into its own form."""
    fill = book.add_format(
        {
            "num_format": "@",
            "bg_color": "#FFFBE6",
            "border": 1,
            "border_color": "#D4D4D4",
            "valign": "top",
        }
    )
    fill_head = book.add_format(
        {"bold": True, "text_wrap": True, "valign": "top", "bottom": 1, "bg_color": "#F3E3A4"}
    )
    top = book.add_format({"valign": "top"})
    for j, column in enumerate(work.columns):
        wide = styles["wrap"] if column in _WRAPPED else top
        sheet.set_column(j, j, _WIDTHS[column], wide)
        if column in FILL_IN:
            sheet.write_string(0, j, column, fill_head)
            for i, text in enumerate(work[column], start=1):
                if text:
                    sheet.write_string(i, j, text, fill)
                else:
                    sheet.write_blank(i, j, None, fill)
    for i, row in enumerate(work[list(_WRAPPED)].itertuples(index=False, name=None), start=1):
        cells = zip(_WRAPPED, row, strict=True)
        sheet.set_row(i, max(_height(text, _WIDTHS[column]) for column, text in cells))
    sheet.ignore_errors({"number_stored_as_text": f"A1:XFD{len(work) + 1}"})
    sheet.freeze_panes(1, 3)
    sheet.set_landscape()
    sheet.set_paper(8)  # A3: a page wide enough for the row and what is filled in
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)


def _front(sheet: Any, study: Study, day: dt.date, styles: dict[str, Any]) -> int:
    """Say what the workbook is for; return the row below."""
    sheet.set_column(0, 0, 14)
    sheet.set_column(1, 1, 96)
    sheet.set_column(2, 2, 8)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.write_string(0, 0, f"Records check: {study.settings.name}", styles["title"])
    sheet.write_string(1, 0, f"Made on {date_text(day)}")
    sheet.write_string(2, 0, SHORT_CAUTION.replace("\n", " "))
    row = 4
    for number, text in enumerate(_HOW_TO, start=1):
        sheet.write_string(row, 0, f"Step {number}", styles["bold"])
        sheet.write_string(row, 1, text, styles["wrap"])
        sheet.set_row(row, _height(text, 96))
        row += 1
    row += 1
    for column, head in enumerate(("Sheet", "What it holds", "Rows")):
        sheet.write_string(row, column, head, styles["head"])
    return row + 1
