"""Which table a file is, and which of its columns is which of ours.

In: a `Layout`. Out: `FileGuess`. Next: `seallife.intake.mapping`.

Each of their columns says by itself which of ours it is, from its name and its cells; only where
two say the same are they compared. So neither their order nor what else stands in the file
changes an answer.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Set
from dataclasses import dataclass, field
from typing import Literal

from seallife.intake.content import Content, can_convert, content_of, fit_of, looks_like
from seallife.intake.layout import Layout, find_decimal
from seallife.intake.names import EXACT, name_key, name_matches, split_unit
from seallife.intake.numbers import may_be_gauge
from seallife.schema import TABLES, Column, Table

__all__ = ["ColumnGuess", "Confidence", "FileGuess", "guess_file", "known_tags"]

Confidence = Literal["sure", "likely", "guess", "ask"]
WORTH: dict[str, float] = {"sure": 1.0, "likely": 0.8, "guess": 0.45, "ask": 0.1}
_NEAR, _STRONG, _FAIR = 0.85, 0.75, 0.62  # likeness of names
_ENOUGH = 5  # settled columns that make a table although a required one is missing
_NEEDS_UNIT = {"degC", "kPa"}  # met in several units that their values cannot tell apart


@dataclass(frozen=True)
class ColumnGuess:
    """One of their columns taken for one of ours.

    Attributes
    ----------
    ours, theirs : str
        Column names.
    confidence : {'sure', 'likely', 'guess', 'ask'}
    evidence : str
        What it rests on.
    weight : float
        To choose between two that say the same.
    unit, unit_confidence, unit_evidence : str
        Unit in the file where it must be named, else empty; 'ask' where it could not be told.
    """

    ours: str
    theirs: str
    confidence: Confidence
    evidence: str
    weight: float = 0.0
    unit: str = ""
    unit_confidence: str = ""
    unit_evidence: str = ""


@dataclass(frozen=True)
class FileGuess:
    """What one file, or one sheet, seems to be.

    Attributes
    ----------
    layout : Layout
    table : str
        Table of the schema; empty where it could not be told.
    confidence, evidence : str
        Of the table.
    columns : tuple of ColumnGuess
        In the order of the schema.
    unused : tuple of str
        Their columns that are none of ours.
    missing : tuple of str
        Required columns that were not found.
    contents : dict
        Their column -> `Content`.
    decimal : (str, str, str)
        Sign, confidence, evidence.
    nearest : str
        Table that comes nearest, where ``table`` is empty.
    """

    layout: Layout
    table: str
    confidence: Confidence
    evidence: str
    columns: tuple[ColumnGuess, ...] = ()
    unused: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    contents: dict[str, Content] = field(default_factory=dict)
    decimal: tuple[str, str, str] = ("", "sure", "")
    nearest: str = ""

    def theirs(self, ours: str) -> str:
        """Their name of our column, where it is settled; empty where not."""
        found = (c.theirs for c in self.columns if c.ours == ours and c.confidence != "ask")
        return next(found, "")


def guess_file(
    layout: Layout,
    tags: Set[str] = frozenset(),
    before: FileGuess | None = None,
    only: str = "",
) -> FileGuess:
    """Which table is this, and which column is which?

    Parameters
    ----------
    layout : Layout
    tags : set of str
        Tags of the register as `name_key` leaves them, where one was found.
    before : FileGuess, optional
        An earlier guess of the same layout, whose look at the cells is used again.
    only : str
        Table of the file where a person has said it.

    Returns
    -------
    FileGuess
    """
    if layout.problem:
        return FileGuess(layout, "", "ask", layout.problem)
    decimal = before.decimal if before else find_decimal(layout.cells)
    below = bool(layout.units_below)
    contents = (
        before.contents
        if before
        else {str(c): content_of(layout.cells[c], decimal[0], below) for c in layout.cells.columns}
    )
    offers = []
    for table in TABLES.values():
        if only and table.name != only:
            continue
        columns = _columns(layout, table, contents, tags)
        offers.append((_table_score(layout, table, columns, contents), table, columns))
    offers.sort(key=lambda o: -o[0])
    best, table, columns = offers[0]
    second, other = offers[1][:2] if len(offers) > 1 else (0.0, table)
    found = {c.ours for c in columns if c.confidence != "ask"}
    missing = tuple(c.name for c in table.columns if c.need == "required" and c.name not in found)
    dated = {c.name for c in table.columns if c.kind == "date"} & (found - {"closed"})
    settled = [c for c in columns if c.confidence in {"sure", "likely"}]
    evidence = f"{len(found)} of {len(contents)} columns are known in {table.name}"
    used = {c.theirs for c in columns}
    unused = tuple(c for c in contents if c not in used)
    if not only and (best < 0.45 or len(missing) > 1 or (missing and len(settled) < _ENOUGH)):
        lacks = f", but none is {', '.join(missing)}" if missing else ""
        evidence = f"{len(found)} of {len(contents)} columns are known in {table.name}{lacks}"
        return FileGuess(
            layout, "", "ask", evidence, columns, unused, missing, contents, decimal, table.name
        )
    confidence: Confidence = "sure" if not missing and best - second > 0.15 else "likely"
    if missing or best - second < 0.04 or (table.name == "work_orders" and not dated):
        confidence = "guess"
        evidence += f"; next best is {other.name}"
    return FileGuess(
        layout, table.name, confidence, evidence, columns, unused, missing, contents, decimal
    )


def known_tags(guesses: Iterable[FileGuess]) -> frozenset[str]:
    """Which tags stand in the registers among these files?"""
    return frozenset(
        name_key(v)
        for g in guesses
        if g.table == "positions" and g.theirs("tag")
        for v in g.contents[g.theirs("tag")].values
    )


def _table_score(
    layout: Layout, table: Table, columns: tuple[ColumnGuess, ...], contents: dict[str, Content]
) -> float:
    """Share of their columns that the table explains, and of its required ones that are there."""
    worth = {c.ours: WORTH[c.confidence] for c in columns}
    explained = sum(worth.values()) / max(len(contents), 1)
    required = [c.name for c in table.columns if c.need == "required"]
    met = sum(worth.get(c, 0.0) for c in required) / len(required)
    said = name_key(f"{layout.path.stem} {layout.sheet}")
    stems = {name_key(table.name), name_key(table.name).rstrip("s")} | _FILE_WORDS[table.name]
    return 0.65 * explained + 0.3 * met + 0.12 * any(s in said for s in stems)


_FILE_WORDS = {
    "positions": {"register", "equipment", "pumplist", "pumpen", "pompes", "bombas", "pompe"},
    "work_orders": {"workorder", "auftrag", "orden", "ordre", "ordini", "ordem", "jobs"},
    "removals": {"replacement", "removal", "dichtungswechsel", "depose", "retiro"},
    "run_hours": {"hours", "stunden", "heures", "horas", "meter", "uren"},
    "leak_readings": {"leak", "ldar", "leckage", "fuite", "fuga", "lekkage"},
    "leak_limits": {"limit", "grenzwert", "seuil", "umbral", "soglia", "grenswaarde"},
    "stores": {"stock", "stores", "lager", "magasin", "almacen", "estoque", "magazzino"},
    "changes": {"moc", "change", "modif", "anderung"},
    "outages": {"shutdown", "turnaround", "stillstand", "arret", "parada", "fermata"},
}
"""Words in file names, as `name_key` leaves them; they tip the scales, no more."""


def _columns(
    layout: Layout, table: Table, contents: dict[str, Content], tags: Set[str]
) -> tuple[ColumnGuess, ...]:
    """Match their columns to ours; of two that say the same the weightier is kept."""
    heard = tags if table.name != "positions" else frozenset[str]()
    offers = [
        offer
        for theirs, content in contents.items()
        for offer in _offers(layout, table, theirs, content, heard)
    ]
    offers.sort(key=lambda o: (-o.weight, o.theirs, o.ours))
    taken: dict[str, ColumnGuess] = {}
    used: set[str] = set()
    for offer in offers:
        if offer.theirs in used:
            continue
        if offer.ours in taken:
            first = taken[offer.ours]
            if first.weight - offer.weight < 0.05 and first.confidence in {"sure", "likely"}:
                said = f"{first.evidence}; or is it '{offer.theirs}'?"
                taken[offer.ours] = ColumnGuess(
                    first.ours, first.theirs, "guess", said, first.weight, first.unit,
                    first.unit_confidence, first.unit_evidence,
                )  # fmt: skip
            continue
        taken[offer.ours] = offer
        used.add(offer.theirs)
    for gap in _only_one_left(table, contents, taken):
        taken[gap.ours] = gap
    return tuple(taken[c] for c in table.names if c in taken)


def _only_one_left(
    table: Table, contents: dict[str, Content], taken: dict[str, ColumnGuess]
) -> Iterator[ColumnGuess]:
    """A required date or number that no name gives: the one column of its kind that is left."""
    used = {c.theirs for c in taken.values()}
    left = {t: c for t, c in contents.items() if t not in used and c.filled}
    kinds: tuple[tuple[str, list[str], Confidence], ...] = (
        ("date", [t for t, c in left.items() if c.dates >= 0.9], "guess"),
        ("number", [t for t, c in left.items() if c.numbers >= 0.9 > c.dates], "ask"),
    )
    for kind, candidates, level in kinds:
        gaps = [c for c in table.columns if c.need == "required" and c.kind == kind]
        gaps = [c for c in gaps if c.name not in taken]
        if len(gaps) == 1 and len(candidates) == 1:
            why = f"the only column of {kind}s that is left"
            yield ColumnGuess(gaps[0].name, candidates[0], level, why)


def _offers(
    layout: Layout, table: Table, theirs: str, content: Content, tags: Set[str]
) -> list[ColumnGuess]:
    """Which of our columns can this one be? The best by name, and what its values give away."""
    unit = layout.units_below.get(theirs, "") or split_unit(theirs)[1]
    names = name_matches(table.name, theirs, layout.above.get(theirs, ""))
    out = []
    for column in table.columns:
        near = names.get(column.name)
        fit, why = fit_of(content, column, unit, tags) if near else ("open", "")
        if near:
            foreign = bool(unit) and column.kind == "number" and not _unit_fits(unit, column)
            weight = near.score + {"yes": 0.2, "open": 0.0, "empty": 0.0, "no": -0.5}[fit]
            weight -= 0.3 * foreign
            level = _level(near.score, near.exact, fit, len(name_key(theirs)))
            if foreign and level in {"sure", "likely"}:
                level = "guess"
            met = "the name" if near.exact else f"the name is like '{near.met}'"
            if level:
                out.append(_with_unit(column, theirs, level, f"{met}; {why}", weight, unit, layout))
        alone = looks_like(content, column)
        if alone and not (near and near.score >= _FAIR):
            out.append(ColumnGuess(column.name, theirs, "guess", alone, 0.6))
    out.sort(key=lambda o: -o.weight)
    # A second meaning counts only where its name is as good: else it would fill a gap at random.
    return [o for o in out if o is out[0] or o.weight >= EXACT]


def _unit_fits(unit: str, column: Column) -> bool:
    return column.unit in {"", "see unit"} or can_convert(unit, column)


def _level(score: float, exact: bool, fit: str, letters: int) -> Confidence | None:
    """Confidence from name and cells; None where it is not worth a question."""
    if fit == "no":
        return "ask" if score >= _STRONG else None
    if exact:
        return "sure" if fit == "yes" and letters > 2 else "likely"
    if score >= _NEAR:
        return "likely" if fit == "yes" else "guess"
    if score >= _STRONG:
        return "guess"
    if score >= _FAIR:
        return "guess" if fit == "yes" else "ask"
    return None


def _with_unit(
    column: Column,
    theirs: str,
    level: Confidence,
    evidence: str,
    weight: float,
    unit: str,
    layout: Layout,
) -> ColumnGuess:
    """Add the unit: as written; asked for where it matters and nothing is written."""
    if column.kind != "number" or column.unit in {"", "see unit"}:
        return ColumnGuess(column.name, theirs, level, evidence, weight)
    if can_convert(unit, column):
        below = theirs in layout.units_below
        sure, why = "sure", "written under the name" if below else "written in the name"
        if column.unit == "kPa" and may_be_gauge(unit):
            sure, why = (
                "ask",
                "gauge or absolute? write it with g or a; read as absolute until then",
            )
    elif column.unit in _NEEDS_UNIT:
        unit, sure, why = "", "ask", f"no unit is written; {column.unit} if nothing is said"
    else:
        unit, sure, why = "", "guess", f"no unit is written; taken as {column.unit}"
    return ColumnGuess(column.name, theirs, level, evidence, weight, unit, sure, why)
