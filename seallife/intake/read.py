"""Read a fleet folder: every file through ``fleet.toml`` into typed tables, nothing dropped.

In: a fleet folder. Out: `Fleet`. Next: `seallife.checks`.
"""

from __future__ import annotations

import glob
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from seallife.errors import InputError
from seallife.findings import join_findings
from seallife.intake.correct import apply_overrides, no_overrides, settle
from seallife.intake.files import RawFile, read_cells
from seallife.intake.overrides import OVERRIDES_FILE, read_overrides
from seallife.intake.typed import empty_table, typed_table
from seallife.schema import TABLES
from seallife.settings import SETTINGS_FILE, Settings, Source, load_settings

__all__ = ["Fleet", "Progress", "read_fleet", "silent"]


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
    overrides : pandas.DataFrame
        One row a correction of the site's ``overrides.csv``, already in ``tables`` where it could
        be used: see `seallife.intake.correct.Corrected`.
    """

    folder: Path
    settings: Settings
    tables: Mapping[str, pd.DataFrame]
    findings: pd.DataFrame
    inputs: pd.DataFrame
    overrides: pd.DataFrame = field(default_factory=no_overrides)

    def __getitem__(self, table: str) -> pd.DataFrame:
        """Return a table; an empty one with all columns where the site has none."""
        found = self.tables.get(table)
        return empty_table(TABLES[table]) if found is None else found


Progress = Callable[[str], object]
"""Told in a few words what is being done."""


def silent(_: str) -> None:
    """Say nothing of progress."""


def read_fleet(
    folder: Path | str, settings: Settings | None = None, progress: Progress = silent
) -> Fleet:
    """Which records does this fleet folder hold?

    Parameters
    ----------
    folder : path
        Fleet folder with ``fleet.toml``.
    settings : Settings, optional
        Used instead of the folder's own.
    progress : callable, optional
        Called with a few words before each file.

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

    Notes
    -----
    Corrections of the site in ``overrides.csv`` are in the tables; see
    `seallife.intake.correct`.
    """
    folder = Path(folder)
    settings = load_settings(folder) if settings is None else settings
    _require_minimum(settings)
    parts: dict[str, list[pd.DataFrame]] = {}
    findings: list[pd.DataFrame] = []
    inputs: list[dict[str, object]] = []
    for source, path in _files(folder, settings):
        progress(f"reading {path.name}")
        raw = read_cells(
            path,
            encoding=source.encoding,
            separator=source.separator,
            decimal=source.decimal,
            sheet=source.sheet,
            header_row=source.header_row,
        )
        _refuse_copy(raw, source.table, inputs)
        frame, found = typed_table(raw, TABLES[source.table], source, settings)
        parts.setdefault(source.table, []).append(frame)
        findings.extend(found)
        inputs.append(_input(source.table, raw))
    tables = {name: pd.concat(frames, ignore_index=True) for name, frames in parts.items()}
    if tables["positions"].empty:
        raise InputError("the register holds no positions", where=str(folder))
    told = [tables[name] for name in ("work_orders", "removals") if name in tables]
    if not any(map(len, told)):
        raise InputError(
            "its files of work_orders and removals hold no rows, so no seal can be judged",
            where=str(folder),
            hint="look at the export; a site that changed no seal still has other orders",
        )
    overrides = read_overrides(folder)
    if overrides.file is not None:
        inputs.append(_input("overrides", overrides.file))
    corrected = apply_overrides(tables, overrides)
    of_reading = settle(join_findings(findings), corrected.table)
    return Fleet(
        folder,
        settings,
        corrected.tables,
        join_findings([of_reading, corrected.findings]),
        pd.DataFrame(inputs),
        corrected.table,
    )


def _input(table: str, raw: RawFile) -> dict[str, object]:
    """Say of a file what it held and by which sum it can be known again."""
    return {
        "table": table,
        "file": raw.name,
        "rows": len(raw.cells),
        "encoding": raw.encoding,
        "sha256": raw.sha256,
    }


def _require_minimum(settings: Settings) -> None:
    """A register and some record of removals are the least a study can live on."""
    named = {s.table for s in settings.sources}
    for tables in (("positions",), ("work_orders", "removals")):
        if named.isdisjoint(tables):
            raise InputError(
                f"names no file for {' or '.join(tables)}",
                where=SETTINGS_FILE,
                hint=f"add a [[sources]] with table = '{tables[0]}'",
            )


def _files(folder: Path, settings: Settings) -> Iterator[tuple[Source, Path]]:
    """Find the files of all sources; refuse a name that would stand twice in record ids."""
    seen: set[tuple[str, str]] = set()
    for source in settings.sources:
        for path in _paths(folder, source):
            if (source.table, path.name) in seen:
                raise InputError(
                    f"'{path.name}' is read more than once for {source.table}",
                    where=SETTINGS_FILE,
                    hint="name it in one [[sources]] only, and give files different names",
                )
            seen.add((source.table, path.name))
            yield source, path


def _paths(folder: Path, source: Source) -> Iterator[Path]:
    """Expand glob patterns in name order; a pattern without a file is an error."""
    for pattern in source.files:
        if Path(pattern).is_absolute() or ".." in Path(pattern).parts:
            raise InputError(
                f"'{pattern}' points outside the fleet folder",
                where=SETTINGS_FILE,
                hint="copy the file into the folder and name it without a path",
            )
        found = sorted(glob.glob(pattern, root_dir=folder))
        # Spreadsheet programs leave a "~$" file beside a workbook that is open.
        names = [n for n in found if (folder / n).is_file() and not Path(n).name.startswith("~$")]
        names = [n for n in names if n != OVERRIDES_FILE or pattern == OVERRIDES_FILE]
        if not names:
            raise InputError(
                f"no file '{pattern}' for table {source.table}",
                where=str(folder),
                hint="put the file there or mend its name in fleet.toml",
            )
        yield from (folder / n for n in names)


def _refuse_copy(raw: RawFile, table: str, inputs: list[dict[str, object]]) -> None:
    """The same records under two file names would count twice."""
    for other in inputs:
        if other["table"] == table and other["sha256"] == raw.sha256 and len(raw.cells):
            raise InputError(
                f"'{raw.name}' and '{other['file']}' hold the same bytes",
                where=SETTINGS_FILE,
                hint=f"leave one of them out of {table}",
            )
