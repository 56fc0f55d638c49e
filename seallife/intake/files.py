"""Read one file as text cells: CSV, XLSX or Parquet.

In: a path and what is known of its layout. Out: `RawFile`. Next: `seallife.intake.read`.

Nothing is interpreted here: each cell stays the text a person would see, each record keeps the
row number a spreadsheet shows, and only wholly empty rows are left out.
"""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import zipfile
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
import pandas as pd

from seallife.errors import InputError

__all__ = ["RawFile", "read_cells"]

_SEPARATORS = (",", ";", "\t", "|")
_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


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
    ragged_rows : tuple of int
        Rows with more cells than the header; the cells beyond it are joined to the last one.
    empty_rows : int
        Wholly empty rows left out.
    """

    name: str
    cells: pd.DataFrame
    sha256: str
    encoding: str = ""
    guessed_encoding: bool = False
    ragged_rows: tuple[int, ...] = ()
    empty_rows: int = 0


def read_cells(
    path: Path,
    *,
    encoding: str = "",
    separator: str = "",
    sheet: str = "",
    header_row: int = 1,
) -> RawFile:
    """Which cells does this file hold?

    Parameters
    ----------
    path : Path
        A ``.csv``, ``.txt``, ``.tsv``, ``.xlsx`` or ``.parquet`` file.
    encoding, separator, sheet : str
        Layout where known; found out where empty.
    header_row : int
        Row with the column names, counted from 1.

    Returns
    -------
    RawFile

    Raises
    ------
    InputError
        Missing or empty file, unreadable encoding, unknown kind of file or sheet, header
        missing or with repeated names.
    """
    if not path.is_file():
        raise InputError("no such file", where=str(path), hint="check the name in fleet.toml")
    data = path.read_bytes()
    sha = hashlib.sha256(data).hexdigest()
    kind = path.suffix.lower()
    if kind in {".csv", ".txt", ".tsv"}:
        text, used, guessed = _decode(data, encoding, path.name)
        cells, ragged, empty = _csv_cells(text, separator, header_row, path.name)
        return RawFile(path.name, cells, sha, used, guessed, ragged, empty)
    if kind in {".xlsx", ".xlsm"}:
        cells, empty = _xlsx_cells(data, sheet, header_row, path.name)
        return RawFile(path.name, cells, sha, empty_rows=empty)
    if kind == ".parquet":
        return RawFile(path.name, _parquet_cells(path), sha)
    raise InputError(
        f"is a '{kind}' file, which cannot be read",
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
            row = data[: err.start].count(b"\n") + 1
            raise InputError(
                f"row {row} cannot be read as {enc} text",
                where=name,
                hint="name the file's encoding in fleet.toml, e.g. encoding = 'cp1252'",
            ) from None
        if "\x00" in text:
            raise InputError(
                "holds zero bytes, so it is not a text file in the encoding used",
                where=name,
                hint="name its encoding in fleet.toml, e.g. encoding = 'utf-16'",
            )
        return text, enc, guess and enc != "utf-8"
    raise AssertionError("unreachable")  # the last try returns or raises


def _csv_cells(
    text: str, separator: str, header_row: int, name: str
) -> tuple[pd.DataFrame, tuple[int, ...], int]:
    """Split text into cells; rows longer than the header are kept whole, not cut."""
    if not text.strip():
        raise InputError("is empty", where=name, hint="export the table again")
    sep = separator or _find_separator(text, header_row)
    try:
        frame = pd.read_csv(
            io.StringIO(text),
            sep=sep,
            header=None,
            dtype=str,
            keep_default_na=False,
            na_filter=False,
            skip_blank_lines=False,
        )
        rows = frame.to_numpy(dtype=object)
        ragged: tuple[int, ...] = ()
    except (pd.errors.ParserError, ValueError):
        rows, ragged = _ragged_cells(text, sep, header_row, name)
    cells, empty = _with_header(rows, header_row, name)
    return cells, ragged, empty


def _ragged_cells(
    text: str, sep: str, header_row: int, name: str
) -> tuple[np.ndarray, tuple[int, ...]]:
    """Read rows of unequal length: join what stands beyond the header to the last cell."""
    try:
        lists = list(csv.reader(io.StringIO(text, newline=""), delimiter=sep))
    except csv.Error as err:
        raise InputError(f"cannot be split into cells: {err}", where=name) from None
    width = len(lists[header_row - 1]) if len(lists) >= header_row else 0
    if width == 0:
        raise InputError(f"row {header_row} holds no column names", where=name)
    ragged = tuple(i + 1 for i, r in enumerate(lists) if i >= header_row and len(r) > width)
    rows = np.full((len(lists), width), "", dtype=object)
    for i, r in enumerate(lists):
        kept = [*r[: width - 1], sep.join(r[width - 1 :])] if len(r) > width else r
        rows[i, : len(kept)] = kept
    return rows, ragged


def _find_separator(text: str, header_row: int) -> str:
    """Take the sign that stands most often in the header row."""
    lines = text.splitlines()
    header = lines[header_row - 1] if len(lines) >= header_row else ""
    return max(_SEPARATORS, key=header.count)


def _with_header(rows: np.ndarray, header_row: int, name: str) -> tuple[pd.DataFrame, int]:
    """Name the columns, number the rows as a spreadsheet does, leave out empty rows."""
    if len(rows) < header_row:
        raise InputError(
            f"has {len(rows)} rows, so no row {header_row} with column names",
            where=name,
            hint="set header_row in fleet.toml",
        )
    names = [str(c).strip() for c in rows[header_row - 1]]
    seen = [n for n in names if n]
    twice = sorted({n for n in seen if seen.count(n) > 1})
    if twice:
        raise InputError(
            f"has more than one column named '{twice[0]}'",
            where=name,
            hint="rename one of them in the file",
        )
    named = [n or f"column {i + 1}" for i, n in enumerate(names)]
    body = pd.DataFrame(rows[header_row:], columns=named, dtype=object)
    body.index = pd.RangeIndex(header_row + 1, header_row + 1 + len(body), name="row")
    body = body.fillna("").apply(lambda c: c.str.strip())
    filled = (body != "").any(axis=1) if len(body) else pd.Series(dtype=bool)
    return body[filled], int((~filled).sum())


def _xlsx_cells(data: bytes, sheet: str, header_row: int, name: str) -> tuple[pd.DataFrame, int]:
    """Read one sheet; dates become ISO text, whole numbers lose their '.0'."""
    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
    except (zipfile.BadZipFile, InvalidFileException, KeyError, ValueError) as err:
        raise InputError(
            f"is not a readable XLSX file ({err})", where=name, hint="save it again as XLSX"
        ) from None
    try:
        if sheet and sheet not in book.sheetnames:
            raise InputError(
                f"has no sheet '{sheet}'; it has {', '.join(book.sheetnames)}", where=name
            )
        ws = book[sheet] if sheet else book.worksheets[0]
        lists = [[_cell_text(v) for v in r] for r in ws.iter_rows(values_only=True)]
    finally:
        book.close()
    width = max(map(len, lists), default=0)
    rows = np.full((len(lists), width), "", dtype=object)
    for i, r in enumerate(lists):
        rows[i, : len(r)] = r
    return _with_header(rows, header_row, name)


def _cell_text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.isoformat(sep=" ")
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value)


def _parquet_cells(path: Path) -> pd.DataFrame:
    """Read a Parquet file; row 2 is its first record, as if it had a header row."""
    try:
        frame = pd.read_parquet(path)
    except ImportError:
        raise InputError(
            "needs pyarrow to be read", where=path.name, hint="pip install 'seallife[cluster]'"
        ) from None
    except (OSError, ValueError) as err:
        raise InputError(f"is not a readable Parquet file ({err})", where=path.name) from None
    text = frame.astype(object).map(_cell_text).replace({"NaT": "", "nan": "", "<NA>": ""})
    text.columns = [str(c).strip() for c in text.columns]
    text.index = pd.RangeIndex(2, 2 + len(text), name="row")
    return text
