"""The plant summary: pages, workbook and sidecar tables, written whole or not at all.

In: `Study`. Out: `Report`. Next: the reader.
"""

from __future__ import annotations

import datetime as dt
import os
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from seallife.errors import InputError
from seallife.report.basis import record_span
from seallife.report.exhibit import Page, PageSpec
from seallife.report.fulltable import BEHIND, MOST_ROWS, sidecar_name
from seallife.report.html import html_text
from seallife.report.pages import PAGES
from seallife.report.tables import full_tables, versions
from seallife.report.workbook import workbook_bytes

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["FORMATS", "Report", "build_pages", "csv_text", "write_report", "write_whole"]

FORMATS = ("html", "xlsx")


@dataclass(frozen=True, eq=False)
class Report:
    """What was written.

    Attributes
    ----------
    folder : Path
        Where.
    files : mapping of str to Path
        'html', 'xlsx', and one a sidecar table as 'tables/name'.
    pages : tuple of Page
        The pages as built.
    made : date
        Day printed on them.
    """

    folder: Path
    files: Mapping[str, Path]
    pages: tuple[Page, ...]
    made: dt.date


def build_pages(study: Study, pages: Sequence[PageSpec] = PAGES) -> tuple[Page, ...]:
    """What stands on each page?

    Raises
    ------
    InputError
        Two exhibits bear one name, so that their sidecars would be one file.
    """
    built = tuple(Page(p.name, p.title, p.build(study)) for p in pages)
    seen: set[str] = set(BEHIND)
    for page in built:
        for exhibit in page.exhibits:
            if exhibit.name in seen:
                raise InputError(f"'{exhibit.name}' names two exhibits", where=page.title)
            seen.add(exhibit.name)
    return built


def write_report(
    study: Study,
    folder: Path | str,
    formats: Sequence[str] = FORMATS,
    *,
    made: dt.date | None = None,
) -> Report:
    """Write the plant summary of a study.

    Equal input gives equal bytes, but for the day it was made.

    Parameters
    ----------
    study : Study
    folder : path
        Made if missing; files of the same names are replaced, each at once.
    formats : sequence of {'html', 'xlsx'}
    made : date, optional
        Day printed on the pages; today where None.

    Returns
    -------
    Report

    Raises
    ------
    InputError
        A format is not known, or the folder cannot be written to.
    """
    unknown = [f for f in formats if f not in FORMATS]
    if unknown:
        raise InputError(
            f"'{unknown[0]}' is none of {', '.join(FORMATS)}", where="formats", hint="leave it out"
        )
    day = dt.date.today() if made is None else made  # noqa: DTZ011  (the reader's own day is meant)
    pages = build_pages(study)
    tables = full_tables(study)
    name = study.settings.name
    content: dict[str, tuple[str, bytes]] = {}
    for page in pages:
        for exhibit in page.exhibits:
            content[f"tables/{exhibit.name}"] = _csv(exhibit.name, exhibit.table)
    for key, full in tables.items():
        if key in BEHIND or len(full.table) > MOST_ROWS:
            file = sidecar_name(key)
            content[f"tables/{file}"] = _csv(file, full.table)
    if "html" in formats:
        text = html_text(name, record_span(study), day, versions(), pages)
        content["html"] = ("seal-life.html", text.encode("utf-8"))
    if "xlsx" in formats:
        content["xlsx"] = ("seal-life.xlsx", workbook_bytes(name, day, tables))
    return Report(Path(folder), write_whole(Path(folder), content), pages, day)


def csv_text(table: pd.DataFrame) -> str:
    """Return a table as CSV; text that a spreadsheet would take for a formula gets a quote."""
    safe = {}
    for column in table.columns:
        values = table[column]
        if values.dtype == object:
            risky = values.map(lambda v: isinstance(v, str) and v.startswith(_STARTS_FORMULA))
            if risky.any():
                values = values.mask(risky, "'" + values.astype(str))
        safe[column] = values
    frame = pd.DataFrame(safe, columns=table.columns)
    return frame.to_csv(index=False, lineterminator="\n", date_format="%Y-%m-%d")


_STARTS_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def _csv(name: str, table: pd.DataFrame) -> tuple[str, bytes]:
    """Path and bytes of a sidecar."""
    return f"tables/{name}.csv", csv_text(table).encode("utf-8")


def write_whole(folder: Path, content: Mapping[str, tuple[str, bytes]]) -> dict[str, Path]:
    """Write each file beside its place and move it there: no reader ever sees half a file.

    Parameters
    ----------
    folder : Path
        Made if missing.
    content : mapping
        Name -> path inside the folder, and bytes.

    Returns
    -------
    dict of str to Path

    Raises
    ------
    InputError
        The folder cannot be written to.
    """
    files: dict[str, Path] = {}
    try:
        for key, (path, data) in content.items():
            target = folder / path
            target.parent.mkdir(parents=True, exist_ok=True)
            handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=".writing-")
            try:
                with os.fdopen(handle, "wb") as file:
                    file.write(data)
                Path(temporary).chmod(0o644)
                os.replace(temporary, target)
            except BaseException:
                Path(temporary).unlink(missing_ok=True)
                raise
            files[key] = target
    except OSError as err:
        raise InputError(
            f"cannot be written: {err.strerror or err}",
            where=str(folder),
            hint="close files that are open in a spreadsheet, or choose another folder",
        ) from None
    return files
