"""What a site says about its own files and rules: ``fleet.toml`` as a frozen object.

In: a fleet folder. Out: `Settings`. Next: `seallife.intake`.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    field_validator,
    model_validator,
)

from seallife.errors import SettingsError
from seallife.schema import TABLES

__all__ = [
    "SETTINGS_FILE",
    "Rules",
    "Settings",
    "Source",
    "Window",
    "did_you_mean",
    "load_settings",
]

SETTINGS_FILE = "fleet.toml"

DateOrder = Literal["auto", "year first", "day first", "month first"]
Clock = Literal["run hours", "calendar"]


class _Frozen(BaseModel):
    """Base of all settings: unknown names are refused, values cannot be changed later."""

    model_config = ConfigDict(frozen=True, extra="forbid", use_attribute_docstrings=True)


class Window(_Frozen):
    """Where and when records were kept."""

    site: str
    """Site as written in the register."""
    start: date
    """First day with records."""
    end: date | None = None
    """Last day with records; the fleet's ``data_end`` where empty."""
    gaps: tuple[tuple[date, date], ...] = ()
    """Stretches without records, first and last day: exposure is cut there."""

    @model_validator(mode="after")
    def _in_order(self) -> Window:
        if self.end is not None and self.end < self.start:
            raise ValueError(f"window of {self.site} ends before it starts")
        if any(b < a for a, b in self.gaps):
            raise ValueError(f"a gap of {self.site} ends before it starts")
        return self


class Source(_Frozen):
    """One or more files that hold one table in one layout."""

    table: str
    """Table of the schema these files fill."""
    files: tuple[str, ...] = Field(min_length=1)
    """File names or glob patterns relative to the fleet folder."""
    encoding: str = ""
    """Text encoding; found out where empty."""
    separator: str = Field(default="", max_length=1)
    """Column separator of CSV files; found out where empty."""
    decimal: Literal[".", ","] = "."
    """Decimal sign of numbers."""
    sheet: str = ""
    """Sheet of an XLSX file; the first where empty."""
    header_row: int = Field(default=1, ge=1)
    """Row that holds the column names, as a spreadsheet counts."""
    date_order: DateOrder = "auto"
    """Order of day, month and year; ``auto`` decides per column from the whole column."""
    days_from: Literal["1900", "1904"] = "1900"
    """Year from which day numbers in CSV files count; a workbook says so itself."""
    columns: Mapping[str, str] = {}
    """Our column name = the file's."""
    units: Mapping[str, str] = {}
    """Our column name = unit in the file; ours where empty."""
    constants: Mapping[str, str] = {}
    """Values for columns that the file does not have."""

    @field_validator("files", mode="before")
    @classmethod
    def _one_or_more(cls, files: object) -> object:
        """One file may be named without brackets."""
        return (files,) if isinstance(files, str) else files

    @model_validator(mode="after")
    def _known_names(self) -> Source:
        if self.table not in TABLES:
            raise ValueError(
                f"'{self.table}' is not a table{did_you_mean(self.table, TABLES)}; "
                f"tables are {', '.join(TABLES)}"
            )
        table = TABLES[self.table]
        for name in (*self.columns, *self.units, *self.constants):
            if name not in table.names:
                near = did_you_mean(name, table.names)
                raise ValueError(f"'{name}' is not a column of {self.table}{near}")
        for name in self.units:
            if table[name].unit in {"", "see unit"}:
                raise ValueError(f"'{name}' has no unit that could be converted")
        for name in self.constants:
            if name in self.columns:
                raise ValueError(f"'{name}' has a constant and a column; keep one of them")
        return self


class Rules(_Frozen):
    """Choices that move numbers; each is printed in the report."""

    level: Annotated[float, Field(gt=0.5, lt=1)] = 0.90
    """Two-sided level of all intervals."""
    resamples: int = Field(default=400, ge=0)
    """Resamples a class with which the intervals of few failures are calibrated; 0 for none."""
    clock: Clock = "run hours"
    """Clock of the life models; positions without hours fall back to their duty share."""
    merge_gap_days: int = Field(default=3, ge=0)
    """Orders on one position that touch within this gap are one event."""
    early_days: int = Field(default=90, ge=1)
    """A failure within this many calendar days of installation counts as early."""
    look_ahead_days: int = Field(default=365, ge=1)
    """How far ahead the share still running is asked, in days, where no outage lies ahead."""
    unknown_reason: Literal["failed", "withdrawn"] = "failed"
    """How a removal of unknown reason ends a life; the report shows both."""
    lives_across_gaps: Literal["age unknown", "same seal"] = "age unknown"
    """What is assumed of the seal that runs after a gap in the records."""
    subtract_background: bool = True
    """Readings of leakage count less the local background that stands beside them."""
    target_mtbf_years: float | None = Field(default=None, gt=0)
    """MTBF [calendar years] to be reached over the twelve months before ``target_date``."""
    target_mtbr_years: float | None = Field(default=None, gt=0)
    """The same for MTBR."""
    target_date: date | None = None
    """Day by which; the next end of a calendar year where empty."""
    duty_running: Annotated[float, Field(gt=0, le=1)] = 0.90
    """Share of time run by a position called running, where nothing better is known."""
    duty_alternating: Annotated[float, Field(gt=0, le=1)] = 0.50
    """The same for one called alternating, and where the register says nothing."""
    duty_standby: Annotated[float, Field(gt=0, le=1)] = 0.15
    """The same for one called standby."""


class Settings(_Frozen):
    """All settings of one fleet folder."""

    name: str
    """Name of the fleet, printed on each page."""
    data_end: date | None = None
    """Last day the exports cover; the last sign of life of the records where empty."""
    windows: tuple[Window, ...] = ()
    """Record windows per site; found from the records where missing, with a finding."""
    rules: Rules = Rules()
    """Choices that move numbers."""
    sources: tuple[Source, ...] = Field(min_length=1)
    """Files of the tables."""
    codes: Mapping[str, Mapping[str, str]] = {}
    """Column name -> site code = our word, for all tables."""
    class_rules: str = ""
    """File with the site's own service class rules; ours where empty."""

    @model_validator(mode="after")
    def _known_codes(self) -> Settings:
        """A code must belong to a column of codes, and mean one of its words."""
        columns = [c for t in TABLES.values() for c in t.columns if c.kind == "code"]
        names = {c.name for c in columns}
        for name, table in self.codes.items():
            if name not in names:
                near = did_you_mean(name, names)
                raise ValueError(f"'codes.{name}' is not a column of codes{near}")
            lists = [c.choices for c in columns if c.name == name]
            words = [w for choices in lists for w in choices]
            wrong = [w for w in table.values() if w and w not in words]
            if wrong and all(lists):
                raise ValueError(
                    f"'{wrong[0]}' under codes.{name} is none of {', '.join(words)}"
                    f"{did_you_mean(wrong[0], words)}"
                )
        return self


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return "; did you mean 'x'?" with the nearest known word; '' if none is near.

    Examples
    --------
    >>> did_you_mean("wo_typ", ["wo_type", "status"])
    "; did you mean 'wo_type'?"
    """
    near = difflib.get_close_matches(word, sorted(known), 1)
    return f"; did you mean '{near[0]}'?" if near else ""


def load_settings(folder: Path | str) -> Settings:
    """What does this fleet folder say about itself?

    Parameters
    ----------
    folder : path
        Fleet folder; must hold ``fleet.toml``.

    Returns
    -------
    Settings

    Raises
    ------
    SettingsError
        The folder or its ``fleet.toml`` is missing, is not TOML, or holds a name or value that
        is not known; the sentence says where.
    """
    folder = Path(folder)
    if not folder.is_dir():
        what = "is a file, not a folder" if folder.exists() else "no such folder"
        raise SettingsError(what, where=str(folder), hint="give the folder that holds fleet.toml")
    file = folder / SETTINGS_FILE
    if not file.is_file():
        raise SettingsError(
            f"this folder has no {SETTINGS_FILE}, so it is not a fleet folder",
            where=str(folder),
            hint="write one that names your files and columns; the demo fleet's is a full example",
        )
    try:
        raw = tomllib.loads(file.read_text(encoding="utf-8-sig"))
    except UnicodeDecodeError as err:
        raise SettingsError(
            f"is not UTF-8 text (byte {err.start})", where=str(file), hint="save it as UTF-8"
        ) from None
    except tomllib.TOMLDecodeError as err:
        raise SettingsError(f"is not valid TOML: {err}", where=str(file)) from None
    return _settings_from(raw, str(file))


def _settings_from(raw: dict[str, Any], where: str) -> Settings:
    """Check the parsed file; [fleet] holds the two single values of `Settings`."""
    values = dict(raw)
    fleet = values.pop("fleet", None)
    if not isinstance(fleet, dict):
        raise SettingsError(
            "has no [fleet] section", where=where, hint='begin it with [fleet] and name = "..."'
        )
    try:
        return Settings.model_validate(values | fleet)
    except ValidationError as err:
        raise SettingsError(_first_fault(err), where=where) from None


_PLAIN = {
    "missing": "is missing",
    "too_short": "names nothing; it needs one entry at least",
    "tuple_type": "should be a list in square brackets",
    "mapping_type": "should be a section of names and values",
    "model_type": "should be a section of names and values",
    "dict_type": "should be a section of names and values",
    "string_type": "should be text in quotes",
}
"""Kinds of fault whose own wording speaks to programmers."""


def _first_fault(err: ValidationError) -> str:
    """Say the first fault of a validation as one sentence with its place."""
    # A misspelt name explains what is missing; a list is short only because an entry is wrong.
    rank = {"extra_forbidden": 0, "missing": 2, "too_short": 3}
    faults = sorted(err.errors(include_url=False), key=lambda f: rank.get(f["type"], 1))
    faults = [f for f in faults if f["type"] != "too_short"] or faults
    fault, loc = faults[0], faults[0]["loc"]
    place = ".".join(str(p + 1) if isinstance(p, int) else p for p in loc)
    tail = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
    if fault["type"] == "extra_forbidden":
        sections: Mapping[object, type[BaseModel]] = {
            "rules": Rules,
            "sources": Source,
            "windows": Window,
        }
        section = sections[loc[0]] if len(loc) > 1 else Settings
        near = did_you_mean(str(loc[-1]), {*section.model_fields, "fleet"})
        return f"'{place}' is not a known setting{near}{tail}"
    if fault["type"] in _PLAIN:
        return f"{place} {_PLAIN[fault['type']]}{tail}"
    text = fault["msg"].removeprefix("Value error, ")
    if not place:
        return f"{text}{tail}"
    given = fault["input"]
    shown = f", not {given!r}" if isinstance(given, str | int | float) else ""
    return f"{place}: {text[0].lower() if shown else text[0]}{text[1:]}{shown}{tail}"
