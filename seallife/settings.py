"""What a site says about its own files and rules: ``fleet.toml`` as a frozen object.

In: a fleet folder. Out: `Settings`. Next: `seallife.intake`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from pydantic import Field, ValidationError, model_validator

from seallife.errors import SettingsError, did_you_mean
from seallife.schema import TABLES
from seallife.sections import Costs, Rules, Section, Source, Window

__all__ = [
    "SETTINGS_FILE",
    "Costs",
    "Rules",
    "Settings",
    "Source",
    "Window",
    "load_settings",
]

SETTINGS_FILE = "fleet.toml"


class Settings(Section):
    """All settings of one fleet folder."""

    name: str
    """Name of the fleet, printed on each page."""
    data_end: date | None = None
    """Last day the exports cover; the last sign of life of the records where empty."""
    windows: tuple[Window, ...] = ()
    """Record windows per site; found from the records where missing, with a finding."""
    rules: Rules = Rules()
    """Choices that move numbers."""
    costs: Costs = Costs()
    """What work, failures and shortages cost, and what is asked of the stock."""
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
    "finite_number": "should be a finite number",
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
        sections: Mapping[object, type[Section]] = {
            "costs": Costs,
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
