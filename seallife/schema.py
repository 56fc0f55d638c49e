"""What a fleet folder may hold: each table and each column once.

In: nothing. Out: ``TABLES``. Next: `seallife.settings`, `seallife.intake`.

The tables stand in ``schema.toml``; reading, checks, the demo fleet and the documentation all
derive from it. A column says its name (with its unit as suffix), what kind of value it holds,
what it means, how much it is needed, and the range outside which a value is a suspect.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Literal

__all__ = [
    "ARRANGEMENTS",
    "DAMAGE",
    "DAYS_PER_YEAR",
    "ENDED_BY",
    "ENDS",
    "HOURS_PER_DAY",
    "HOURS_PER_YEAR",
    "LEAKAGE_CODES",
    "LEAK_PATHS",
    "REASONS",
    "TABLES",
    "Column",
    "Need",
    "Table",
    "column_table",
]

DAYS_PER_YEAR = 365.25
HOURS_PER_DAY = 24.0
HOURS_PER_YEAR = DAYS_PER_YEAR * HOURS_PER_DAY  # 8,766 h

Kind = Literal["text", "code", "number", "date"]
Need = Literal["required", "wanted", "optional"]

ENDS = ("failed", "withdrawn", "in service", "lost")
"""How a seal life can end: see `seallife.lives`."""

LEAKAGE_CODES = ("ELP", "ELU", "INL")
"""Failure modes of ISO 14224 that are leakage: external of process or utility, internal."""

LEAK_PATHS: Mapping[str, str] = MappingProxyType(
    {
        "ELP": "to the outside",
        "ELU": "barrier outward",
        "INL": "inner seal",
    }
)
"""Failure mode of ISO 14224 -> where the leakage went; "unknown" for all others.

A single seal that leaks to atmosphere is ELP, barrier, buffer or quench liquid outward ELU, the
inner seal of a dual set INL (our convention; the standard's modes are those of the pump).
"""

ARRANGEMENTS: Mapping[str, str] = MappingProxyType(
    {
        "1": "1, single",
        "2": "2, dual, buffer",
        "3": "3, dual, barrier",
    }
)
"""Arrangement in the sense of ISO 21049 -> in words. A barrier is pressurised, a buffer is not."""

DAMAGE: Mapping[str, str] = MappingProxyType(
    {
        "fitting": "fitted wrongly, a wrong part or dirt put in, or damaged while being fitted",
        "dry or hot running": "ran dry, hot or on vapour: flush lost, cavitation, heat checks",
        "machine": "the pump around it: vibration, alignment, bearings, shaft, piping loads",
        "deposits": "coke, crystals, polymer or scale on it; held fast by them",
        "elastomer": "O-rings or other elastomers swollen, hard, flat, extruded, torn or split",
        "chemical attack": "faces or metal corroded, pitted or leached",
        "drive or fretting": "sleeve fretted; drive, springs or bellows worn, cracked or sheared",
        "solids": "faces scored, or solids found in it",
        "face wear": "faces worn, and nothing said of why",
        "broken face": "a face cracked, chipped or broken, and nothing said of why",
        "unknown": "the record does not say",
    }
)
"""What was found wrong with a seal -> what it means, the most telling first.

Groups are told apart by what is seen when a seal is stripped and by what would be done about it.
Where a record names several, the first here counts: a cause (fitting, running dry, the machine)
before what was found on a part, and that before mere wear or breakage, which most causes end in.
The set follows the usual tables of seal failure mechanisms (common practice, no source).
"""

REASONS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "seal failed": ("failed", "the seal could no longer do its job"),
        "pulled on rising leakage": ("failed", "taken out on its leakage before a limit"),
        "other pump part": ("withdrawn", "renewed with another job on the pump"),
        "planned by age": ("withdrawn", "renewed on a fixed interval"),
        "planned in outage": ("withdrawn", "renewed because the unit stood still"),
        "upgrade": ("withdrawn", "replaced by another design or seal system"),
        "pump retired": ("withdrawn", "the position was taken out of service"),
        "unknown": ("unknown", "the record does not say"),
    }
)
"""Reason of a removal -> (how the life ended, what it means)."""

ENDED_BY: Mapping[str, str] = MappingProxyType({r: ended for r, (ended, _) in REASONS.items()})
"""Reason of a removal -> how the seal's life ended."""


@dataclass(frozen=True)
class Column:
    """One column of one table.

    Attributes
    ----------
    name : str
        Our name; a unit stands at its end (``_c``, ``_kpa``, ``_h``).
    kind : {'text', 'code', 'number', 'date'}
        ``code`` is text from a short list that a site may translate in ``fleet.toml``.
    meaning : str
        One line in plain words.
    need : {'required', 'wanted', 'optional'}
        ``required``: the table is useless without it.
    unit : str
        Unit of a number after reading.
    low, high : float or None
        A value outside is a suspect and becomes a finding.
    synonyms : tuple of str
        Names met in exports, matched without case, accents and punctuation.
    choices : tuple of str
        Words a code may take after translation by ``[codes]`` of ``fleet.toml``; anything else
        is kept, unused, with a finding. Empty: any word.
    """

    name: str
    kind: Kind
    meaning: str
    need: Need = "optional"
    unit: str = ""
    low: float | None = None
    high: float | None = None
    synonyms: tuple[str, ...] = ()
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class Table:
    """One table of a fleet folder: its columns in reading order and what it is for."""

    name: str
    meaning: str
    need: Need
    columns: tuple[Column, ...]

    def __getitem__(self, column: str) -> Column:
        """Return the column of this name."""
        found = next((c for c in self.columns if c.name == column), None)
        if found is None:
            raise KeyError(column)
        return found

    @property
    def names(self) -> tuple[str, ...]:
        """Column names in order."""
        return tuple(c.name for c in self.columns)


def _load() -> dict[str, Table]:
    """Read the tables from ``schema.toml``."""
    raw = tomllib.loads((files("seallife") / "schema.toml").read_text("utf-8"))
    return {name: _table(name, table) for name, table in raw.items()}


def _table(name: str, raw: dict[str, Any]) -> Table:
    columns = []
    for column, parts in raw["columns"].items():
        said: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in parts.items()}
        columns.append(Column(column, **said))
    return Table(name, raw["meaning"], raw["need"], tuple(columns))


TABLES: Mapping[str, Table] = MappingProxyType(_load())
"""All tables by name, in the order in which they are read."""


def column_table() -> list[dict[str, str]]:
    """What columns are there, and what do they mean?

    Returns
    -------
    list of dict
        One entry a column: table, column, kind, unit, need, meaning.
    """
    return [
        {
            "table": t.name,
            "column": c.name,
            "kind": c.kind,
            "unit": c.unit,
            "need": c.need,
            "meaning": c.meaning,
        }
        for t in TABLES.values()
        for c in t.columns
    ]
