"""Read one file as text cells; CSV here, XLSX and Parquet through `seallife.intake.sheets`.

In: a path and what is known of its layout. Out: `RawFile`. Next: `seallife.intake.read`.

Nothing is interpreted here: each cell stays the text a person would see, each record keeps the
row number a spreadsheet shows, and only wholly empty rows are left out.
"""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
from dataclasses import dataclass
from itertools import chain, islice
from pathlib import Path

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.intake.sheets import Cells, parquet_rows, xlsx_rows

__all__ = ["RawFile", "read_cells"]

_SEPARATORS = (",", ";", "\t", "|")
_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_HEAD = 100_000  # characters looked at to find the separator
_LAST = ["\x00"]  # a last row that no file can hold; swallowed where a quote is never closed

_NO_CELLS: Cells = np.empty((0, 0), dtype=object)


@dataclass(frozen=True)
class RawFile:
    """Cells of one file as text.

    Attributes
    ----------
    name : str
        File name without folder.
    cells : pandas.DataFrame
        All columns as text; the index holds the row number a spreadsheet shows.
    sha256 : str
        Hash of the file's bytes.
    encoding : str
        Encoding used; empty for XLSX and Parquet.
    guessed_encoding : bool
        True where the text was not UTF-8 and nothing said what it was.
    long_rows : tuple of int
        Rows with more cells than the header; the cells beyond it are joined to the last one.
    short_rows : tuple of int
        Rows with fewer cells than the header; the missing ones are left empty.
    empty_rows : int
        Wholly empty rows left out.
    days_from : str
        '1900' or '1904', the year from which a workbook counts days; empty for other files.
    """

    name: str
    cells: pd.DataFrame
    sha256: str
    encoding: str = ""
    guessed_encoding: bool = False
    long_rows: tuple[int, ...] = ()
    short_rows: tuple[int, ...] = ()
    empty_rows: int = 0
    days_from: str = ""


def read_cells(
    path: Path,
    *,
    encoding: str = "",
    separator: str = "",
    decimal: str = ".",
    sheet: str = "",
    header_row: int = 1,
) -> RawFile:
    """Which cells does this file hold?

    Parameters
    ----------
    path : Path
        A ``.csv``, ``.txt``, ``.tsv``, ``.xlsx``, ``.xlsm`` or ``.parquet`` file.
    encoding, separator, sheet : str
        Layout where known; found out where empty.
    decimal : str
        Sign with which the number cells of XLSX and Parquet are written as text.
    header_row : int
        Row with the column names, counted from 1.

    Returns
    -------
    RawFile

    Raises
    ------
    InputError
        Missing or empty file, unreadable encoding, a quote that is never closed, unknown kind
        of file or sheet, header missing or with repeated names.
    """
    if not path.is_file():
        what = "is a folder, not a file" if path.is_dir() else "no such file"
        raise InputError(what, where=str(path), hint="check the name in fleet.toml")
    data = path.read_bytes()
    sha = hashlib.sha256(data).hexdigest()
    kind = path.suffix.lower()
    if kind in {".csv", ".txt", ".tsv"}:
        text, used, guessed = _decode(data, encoding, path.name)
        rows, long, short = _csv_rows(text, separator, header_row, path.name)
        cells, empty = _framed(rows, header_row, path.name)
        return RawFile(path.name, cells, sha, used, guessed, long, short, empty)
    if kind in {".xlsx", ".xlsm"}:
        rows, days_from = xlsx_rows(data, sheet, decimal, path.name)
        cells, empty = _framed(rows[max(header_row - 2, 0) :], header_row, path.name)
        return RawFile(path.name, cells, sha, empty_rows=empty, days_from=days_from)
    if kind == ".parquet":
        cells, empty = _framed(parquet_rows(path, decimal), 1, path.name)
        return RawFile(path.name, cells, sha, empty_rows=empty)
    raise InputError(
        f"is a '{kind}' file, which cannot be read" if kind else "has no file ending",
        where=path.name,
        hint="export it as CSV, XLSX or Parquet",
    )


def _decode(data: bytes, encoding: str, name: str) -> tuple[str, str, bool]:
    """Turn bytes into text; say which encoding was used and whether it was a guess."""
    tries = [encoding] if encoding else [e for bom, e in _BOMS if data.startswith(bom)][:1]
    guess = not tries
    for enc in tries or ["utf-8", "cp1252"]:
        try:
            text = data.decode(enc)
        except LookupError:
            raise InputError(
                f"'{enc}' is not an encoding", where=name, hint="use for instance utf-8 or cp1252"
            ) from None
        except UnicodeDecodeError as err:
            if guess and enc == "utf-8":
                continue
            line = data[: err.start].count(b"\n") + 1
            raise InputError(
                f"line {line} cannot be read as {enc} text",
                where=name,
                hint="name the file's encoding in fleet.toml, e.g. encoding = "
                + ("'cp850' or 'mac-roman'" if enc == "cp1252" else "'cp1252'"),
            ) from None
        if "\x00" in text:
            raise InputError(
                "holds zero bytes, so it is not a text file in the encoding used",
                where=name,
                hint="name its encoding in fleet.toml, e.g. encoding = 'utf-16'",
            )
        return text.removeprefix("\ufeff"), enc, guess and enc != "utf-8"
    raise AssertionError("unreachable")  # the last try returns or raises


def _csv_rows(
    text: str, separator: str, header_row: int, name: str
) -> tuple[Cells, tuple[int, ...], tuple[int, ...]]:
    """Split text into rows as wide as the header, from that above it on; say which were not."""
    if not text.strip():
        raise InputError("is empty", where=name, hint="export the table again")
    if text[:4].casefold() == "sep=" and text[5:6] in {"\r", "\n"}:
        # A line for spreadsheets, which neither show nor count it.
        separator, text = separator or text[4], text[5:].removeprefix("\r").removeprefix("\n")
    sep = separator or _find_separator(text, header_row)
    reader = csv.reader(chain(io.StringIO(text, newline=""), _LAST), delimiter=sep)
    flat: list[str] = []
    above: list[str] = []
    long, short = [], []
    number = width = 0
    try:
        for number, row in enumerate(reader, start=1):
            if row == _LAST:
                break
            if number == header_row:
                width = len(row)
                flat = [*above, *[""] * width][:width] if header_row > 1 else []
            elif number == header_row - 1:
                above = row
            elif number > header_row and len(row) != width:
                if any(row[width:]):
                    long.append(number)
                    row[width - 1 :] = [sep.join(row[width - 1 :])]
                elif any(row) and len(row) < width:
                    short.append(number)
                row = [*row, *[""] * width][:width]
            if number >= header_row:
                flat += row
        else:
            raise InputError(
                f"row {number} opens a quote that is never closed",
                where=name,
                hint="close the quote or export the table again",
            )
    except csv.Error as err:
        raise InputError(
            f"row {number + 1} cannot be split into cells: {err}",
            where=name,
            hint="a quote that is never closed is the usual cause",
        ) from None
    cells = np.array(flat, dtype=object).reshape(-1, width) if width else _NO_CELLS
    return cells, tuple(long), tuple(short)


def _find_separator(text: str, header_row: int) -> str:
    """Take the sign that splits the header row into most cells, without tearing a quoted one."""

    def cells(sep: str) -> tuple[bool, int]:
        head = csv.reader(io.StringIO(text[:_HEAD], newline=""), delimiter=sep)
        header = next(islice(head, header_row - 1, header_row), [])
        return not any('"' in c for c in header), len(header)

    return max(_SEPARATORS, key=cells)


def _framed(cells: Cells, header_row: int, name: str) -> tuple[pd.DataFrame, int]:
    """Name the columns, number the rows as a spreadsheet does, leave out empty rows.

    The header is the first row of ``cells``, or the second where ``header_row`` is not 1.
    """
    above, cells = (cells[0], cells[1:]) if header_row > 1 and len(cells) else ([], cells)
    names = [" ".join(str(c).split()) for c in cells[0]] if len(cells) else []
    names = _told_apart(names, [" ".join(str(c).split()) for c in above])
    seen = [n for n in names if n]
    if not seen:
        raise InputError(
            f"has no column names in row {header_row}",
            where=name,
            hint="say in which row they are with header_row in fleet.toml",
        )
    twice = sorted({n for n in seen if seen.count(n) > 1})
    if twice:
        raise InputError(
            f"has more than one column named '{twice[0]}'",
            where=name,
            hint="rename one of them in the file",
        )
    body = np.empty((len(names), len(cells) - 1), dtype=object)
    empty = np.ones(len(cells) - 1, dtype=bool)
    for i, column in enumerate(cells[1:].T):
        body[i] = [c.strip() for c in column]
        empty[empty] = body[i, empty] == ""
    frame = pd.DataFrame(
        body.T,
        columns=[n or f"column {i + 1}" for i, n in enumerate(names)],
        index=pd.RangeIndex(header_row + 1, header_row + len(cells), name="row"),
        copy=False,
    )
    return (frame[~empty] if empty.any() else frame), int(empty.sum())


def _told_apart(names: list[str], above: list[str]) -> list[str]:
    """Put the title of merged cells above before names that stand more than once under titles."""
    titles: list[str] = []
    for title in above or [""] * len(names):
        titles.append(title or (titles[-1] if titles else ""))
    return [
        f"{title} {name}" if name and title and names.count(name) > 1 else name
        for name, title in zip(names, titles, strict=True)
    ]
