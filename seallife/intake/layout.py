"""Find how a file is laid out: encoding, separator, sheet, header row, decimal sign.

In: a raw export. Out: `Layout`, one a sheet. Next: `seallife.intake.guess`.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

import pandas as pd

from seallife.errors import InputError
from seallife.intake.files import read_cells
from seallife.intake.names import is_known_name, unit_name
from seallife.intake.sheets import xlsx_rows

__all__ = ["Layout", "find_decimal", "find_layouts"]

_TEXT = {".csv", ".txt", ".tsv"}
_BOOKS = {".xlsx", ".xlsm"}
_SEPARATORS = (",", ";", "\t", "|")
_LOOKED_AT = 60  # rows
_LAST_HEADER = 20  # no export was met with more title lines
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_POINT = re.compile(r"[+-]?(?:\d{1,3}(,\d{3})+|\d+|0*)\.(\d{1,2}|\d{4,})|[+-]?0\.\d+")
_COMMA = re.compile(r"[+-]?(?:\d{1,3}(\.\d{3})+|\d+|0*),(\d{1,2}|\d{4,})|[+-]?0,\d+")
_EITHER = re.compile(r"[+-]?\d{1,3}[.,]\d{3}")
_NUMBERISH = re.compile(r"[+-]?[\d.,]+")


@dataclass(frozen=True)
class Layout:
    """How one file, or one sheet of it, is laid out.

    Attributes
    ----------
    path : Path
        The file.
    sheet : str
        Sheet of a workbook; empty where it has only one.
    encoding, separator : str
        Of a text file.
    header_row : int
        Row of the column names, as a spreadsheet counts.
    above : mapping of str to str
        Column name -> title above it, where the header has two rows.
    units_below : mapping of str to str
        Column name -> unit, where the first row under the header holds units.
    cells : pandas.DataFrame
        The cells as they will be read; without columns where they cannot be.
    problem : str
        Why it cannot be read; empty where it can.
    evidence : mapping of str to (str, str)
        'encoding', 'separator', 'header_row' -> confidence and what it rests on.
    """

    path: Path
    sheet: str = ""
    encoding: str = ""
    separator: str = ""
    header_row: int = 1
    above: dict[str, str] = field(default_factory=dict)
    units_below: dict[str, str] = field(default_factory=dict)
    cells: pd.DataFrame = field(default_factory=pd.DataFrame)
    problem: str = ""
    evidence: dict[str, tuple[str, str]] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """File name, and the sheet where there are several."""
        return f"{self.path.name}, sheet '{self.sheet}'" if self.sheet else self.path.name


def find_layouts(path: Path) -> tuple[Layout, ...]:
    """How is this file laid out?

    Parameters
    ----------
    path : Path
        A CSV, XLSX or Parquet file.

    Returns
    -------
    tuple of Layout
        One a sheet; a file or sheet that cannot be read says why in ``problem``.
    """
    kind = path.suffix.lower()
    try:
        if kind in _TEXT:
            return (_text_layout(path),)
        if kind in _BOOKS:
            return _book_layouts(path)
        return (Layout(path, cells=read_cells(path).cells),)
    except InputError as err:
        return (Layout(path, problem=str(err)),)


def _text_layout(path: Path) -> Layout:
    data = path.read_bytes()
    encoding, *of_encoding = _find_encoding(data)
    try:
        text = data.decode(encoding).removeprefix("\ufeff")
    except UnicodeDecodeError as err:
        return Layout(path, problem=f"{path.name}: byte {err.start} is no {encoding} text")
    stated = re.match(r"sep=(.)\r?\n|sep=(.)\r", text, re.IGNORECASE)
    body = text[stated.end() :] if stated else text
    separator = (stated[1] or stated[2]) if stated else _find_separator(body)
    rows = _split(body, separator)
    width = Counter(map(len, rows)).most_common(1)[0][0] if rows else 0
    evidence = {
        "encoding": (of_encoding[0], of_encoding[1]),
        "separator": ("sure", "the file says so")
        if stated
        else ("sure" if width > 2 else "guess", f"most rows have {width} cells with it"),
    }
    return _framed(path, rows, evidence, encoding=encoding, separator=separator)


def _find_encoding(data: bytes) -> tuple[str, str, str]:
    """Name the encoding, how sure that is and why."""
    for mark, name in _MARKS:
        if data.startswith(mark):
            return name, "sure", "the file begins with its mark"
    head = data[:4_000]
    if head.count(0) > len(head) // 4:
        little = head[1::2].count(0) > head[::2].count(0)
        return f"utf-16-{'le' if little else 'be'}", "likely", "every other byte is zero"
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        if re.search(rb"[\x81\x8d\x8f\x90\x9d]", data):
            return "cp850", "guess", "neither UTF-8 nor cp1252; look at accented letters"
        return "cp1252", "likely", "not UTF-8, as older Windows programs write"
    return "utf-8", "sure", "all bytes are UTF-8"


def _split(text: str, separator: str) -> list[list[str]]:
    """Split the first rows; a quote that is never closed is left to the reader of the file."""
    try:
        return list(
            islice(csv.reader(io.StringIO(text, newline=""), delimiter=separator), _LOOKED_AT)
        )
    except csv.Error:
        return []


def _find_separator(text: str) -> str:
    """Take the sign that splits most rows alike into most cells."""

    def likeness(separator: str) -> float:
        widths = Counter(len(r) for r in _split(text, separator) if any(r))
        if not widths:
            return 0.0
        width, rows = max(widths.items(), key=lambda w: (w[1], w[0]))
        return (width - 1) * (rows / widths.total()) ** 2

    return max(_SEPARATORS, key=likeness)


def _book_layouts(path: Path) -> tuple[Layout, ...]:
    from zipfile import BadZipFile

    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    data = path.read_bytes()
    try:
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True)
        titles = [s.title for s in book.worksheets]
        book.close()
    except (BadZipFile, InvalidFileException, KeyError, ValueError, EOFError) as err:
        return (Layout(path, problem=f"{path.name}: is not a readable XLSX file ({err})"),)
    out = []
    for title in titles:
        sheet = title if len(titles) > 1 else ""
        try:
            rows = [list(r) for r in xlsx_rows(data, title, ".", path.name)[0][:_LOOKED_AT]]
        except InputError as err:
            out.append(Layout(path, sheet, problem=str(err)))
            continue
        out.append(_framed(path, rows, {}, sheet=sheet))
    return tuple(out)


def _framed(
    path: Path,
    rows: Sequence[Sequence[str]],
    evidence: dict[str, tuple[str, str]],
    *,
    encoding: str = "",
    separator: str = "",
    sheet: str = "",
) -> Layout:
    """Find the header row, read the cells below it."""
    at, known = _find_header(rows)
    if at:
        evidence["header_row"] = (
            "likely" if known > 2 else "guess",
            f"the rows above are titles; {known} known column names stand here",
        )
    try:
        cells = read_cells(
            path, encoding=encoding, separator=separator, sheet=sheet, header_row=at + 1
        ).cells
        problem = ""
    except InputError as err:
        cells, problem = pd.DataFrame(), str(err)
    header = [" ".join(c.split()) for c in rows[at]] if rows else []
    return Layout(
        path,
        sheet,
        encoding,
        separator,
        at + 1,
        _titles_above(rows, at, header),
        _units_below(rows, at, header),
        cells,
        problem,
        evidence,
    )


def _find_header(rows: Sequence[Sequence[str]]) -> tuple[int, int]:
    """Index of the row with most known names, and their number; else the first wide text row."""
    known = [sum(is_known_name(c) for c in r if c.strip()) for r in rows[:_LAST_HEADER]]
    if known and max(known) > 1:
        return known.index(max(known)), max(known)
    wide = max((sum(map(bool, map(str.strip, r))) for r in rows), default=0)
    for i, row in enumerate(rows[:_LAST_HEADER]):
        filled = [c for c in row if c.strip()]
        if filled and len(filled) >= 0.7 * wide:
            return i, known[i]
    return 0, 0


def _titles_above(rows: Sequence[Sequence[str]], at: int, header: Sequence[str]) -> dict[str, str]:
    """Titles of merged cells above the names; each reaches to the next title."""
    above = [c.strip() for c in rows[at - 1]] if at else []
    if sum(map(bool, above)) < 2:
        return {}
    out, last = {}, ""
    for name, title in zip(header, above, strict=False):
        last = title or last
        if name and last:
            out[name] = last
    return out


def _units_below(rows: Sequence[Sequence[str]], at: int, header: Sequence[str]) -> dict[str, str]:
    """Units from the first row under the header, where that holds little else."""
    below = [c.strip() for c in rows[at + 1]] if at + 1 < len(rows) else []
    filled = [c for c in below if c and c not in {"-", "--"}]
    units = [c for c in filled if unit_name(c)]
    if len(units) < 2 or len(units) < 0.6 * len(filled):
        return {}
    return {n: unit_name(c) for n, c in zip(header, below, strict=False) if n and unit_name(c)}


def find_decimal(cells: pd.DataFrame) -> tuple[str, str, str]:
    """Which decimal sign do these cells use?

    Returns
    -------
    sign, confidence, evidence : str
        Sign empty where no number has a decimal; confidence 'ask' where both signs are met or
        the only ones can be thousands.

    Examples
    --------
    >>> find_decimal(pd.DataFrame({"cost": ["915,74", "1.204,5"]}))[:2]
    (',', 'sure')
    >>> find_decimal(pd.DataFrame({"hours": ["12,345", "7"]}))[1]
    'ask'
    """
    point = comma = either = 0
    example = ""
    for name in cells.columns:
        texts = [t for t in pd.unique(cells[name])[:2_000] if t]
        if sum(bool(_NUMBERISH.fullmatch(t)) for t in texts) < 0.8 * len(texts):
            continue
        points = sum(bool(_POINT.fullmatch(t)) for t in texts)
        commas = sum(bool(_COMMA.fullmatch(t)) for t in texts)
        unclear = [t for t in texts if _EITHER.fullmatch(t)]
        point, comma, either = point + points, comma + commas, either + len(unclear)
        example = example or (f"'{unclear[0]}' in '{name}'" if unclear else "")
    if point and comma:
        sign = "." if point >= comma else ","
        rare = min(point, comma) / (point + comma)
        return sign, "guess" if rare < 0.02 else "ask", f"{point} points, {comma} commas"
    if point or comma:
        count, sign = max((point, "."), (comma, ","))
        return sign, "sure" if count > 2 or not either else "likely", f"{count} numbers have it"
    if either:
        return "", "ask", f"is {example} in thousands, or a decimal?"
    return "", "sure", "no number has a decimal"
