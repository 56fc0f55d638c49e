"""Rows of text from files that hold typed cells: XLSX and Parquet.

In: a file. Out: text cells, the header first. Next: `seallife.intake.files`.
"""

from __future__ import annotations

import io
import warnings
import zipfile
import zlib
from datetime import datetime
from pathlib import Path
from xml.etree.ElementTree import ParseError

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.errors import InputError

__all__ = ["Cells", "parquet_rows", "xlsx_rows"]

Cells = npt.NDArray[np.object_]
"""Text, one row a row of the file."""


def xlsx_rows(data: bytes, sheet: str, decimal: str, name: str) -> tuple[Cells, str]:
    """Read one sheet; dates become ISO text, whole numbers lose their '.0'.

    Returns
    -------
    cells : array of str
    days_from : {'1900', '1904'}
        Year from which the workbook counts days.
    """
    import openpyxl
    from openpyxl.utils.datetime import CALENDAR_MAC_1904
    from openpyxl.utils.exceptions import InvalidFileException

    damaged = (
        zipfile.BadZipFile,
        zlib.error,
        InvalidFileException,
        ParseError,
        KeyError,
        ValueError,
        EOFError,
    )
    with warnings.catch_warnings():
        # The reader warns of drop-down lists and styles it does not keep; no cell depends on them.
        warnings.filterwarnings("ignore", category=UserWarning, module="openpyxl")
        try:
            book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            sheets = {s.title: s for s in book.worksheets}
            if sheet and sheet not in sheets:
                raise InputError(
                    f"has no sheet '{sheet}'; it has: {', '.join(sheets)}",
                    where=name,
                    hint="mend the name under sheet in fleet.toml",
                )
            cells = sheets[sheet] if sheet else book.worksheets[0]
            cells.reset_dimensions()  # some exports state a wrong size, which would cut the sheet
            rows = [[_cell_text(v, decimal) for v in r] for r in cells.iter_rows(values_only=True)]
            days_from = "1904" if book.epoch == CALENDAR_MAC_1904 else "1900"
            book.close()
        except InputError:
            raise
        except damaged as err:
            raise InputError(
                f"is not a readable XLSX file ({err})", where=name, hint="save it again as XLSX"
            ) from None
    if not any(map(any, rows)):
        raise InputError("is empty", where=name, hint="name the sheet that holds the table")
    width = max(map(len, rows))
    return np.array([r + [""] * (width - len(r)) for r in rows], dtype=object), days_from


def _cell_text(value: object, decimal: str) -> str:
    """Show a cell as a person would read it in a table with this decimal sign."""
    if value is None or value is pd.NaT or value is pd.NA:
        return ""
    if isinstance(value, datetime):
        return value.isoformat(sep=" ")
    if isinstance(value, float):
        if np.isnan(value):
            return ""
        return str(int(value)) if value.is_integer() else str(value).replace(".", decimal)
    return str(value)


def parquet_rows(path: Path, decimal: str) -> Cells:
    """Read a Parquet file; row 2 is its first record, as if it had a header row."""
    try:
        frame = pd.read_parquet(path)
    except ImportError:
        raise InputError(
            "needs pyarrow to be read", where=path.name, hint="pip install 'seallife[cluster]'"
        ) from None
    except (OSError, ValueError) as err:
        raise InputError(f"is not a readable Parquet file ({err})", where=path.name) from None
    cells = np.empty((len(frame) + 1, frame.shape[1]), dtype=object)
    cells[0] = [str(c) for c in frame.columns]
    for i in range(frame.shape[1]):
        cells[1:, i] = [_cell_text(v, decimal) for v in frame.iloc[:, i].astype(object)]
    return cells
