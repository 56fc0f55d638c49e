"""What was guessed, as sections of ``fleet.toml``.

In: `FileGuess`, sites, record windows. Out: `Block`. Next: `seallife.intake.draft`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from seallife.intake.codewords import guess_code
from seallife.intake.draft import Block, Line, toml_key, toml_text
from seallife.intake.guess import WORTH, ColumnGuess, FileGuess
from seallife.intake.spans import Answer, Span
from seallife.schema import TABLES

__all__ = ["code_blocks", "fleet_block", "group_blocks", "source_block", "window_blocks"]

_MOST_CODES = 40  # a longer list of codes is text


def fleet_block(name: str, data_end: pd.Timestamp | None, raw: Mapping[str, Any]) -> Block:
    """Which single values does the fleet have?"""
    lines = [Line("name", toml_text(name), "guess", "the name of the folder")]
    if data_end is not None:
        day = str(data_end.date())
        lines.append(Line("data_end", day, "guess", "the last day with a record, strays left out"))
    there = raw.get("fleet")
    if isinstance(there, dict):
        lines = [li for li in lines if li.key not in there]
    return Block("[fleet]", tuple(lines), index=0 if isinstance(there, dict) else None)


def window_blocks(spans: Sequence[Span], raw: Mapping[str, Any]) -> list[Block]:
    """From when to when are records there, for each site that has no window yet?"""
    there = {w.get("site") for w in raw.get("windows", []) if isinstance(w, dict)}
    out = []
    for span in spans:
        if span.site in there:
            continue
        why = f"{span.records} orders, each month about as many as usual"
        lines = [
            Line("site", toml_text(span.site), "likely", "as its register or orders write it"),
            Line("start", str(span.start.date()), "guess", f"the first full month; {why}"),
            Line("end", str(span.end.date()), "guess", "the last order of the last full month"),
        ]
        if span.gaps:
            gaps = ", ".join(f"[{a.date()}, {b.date()}]" for a, b in span.gaps)
            why = "no order between these days: were no records kept, or was there no work?"
            lines.append(Line("gaps", f"[{gaps}]", "ask", why, active=False))
        out.append(Block("[[windows]]", tuple(lines)))
    return out


def source_block(
    guess: FileGuess,
    order: Answer | None,
    site: Answer | None,
    index: int | None = None,
    there: Mapping[str, Any] | None = None,
) -> Block:
    """How is this file read?

    Parameters
    ----------
    guess : FileGuess
    order, site : Answer or None
        Date order and site of the file, where they matter.
    index, there : int and mapping, optional
        Number and content of the existing ``[[sources]]`` that names the file: only what it lacks
        is returned.
    """
    name = guess.layout.name
    if guess.layout.problem and "is empty" in guess.layout.problem and guess.layout.sheet:
        return Block(f"# note: {name} is empty and not used")
    if guess.layout.problem:
        return Block(f"# ask: {guess.layout.problem}; {name} is left out")
    table = guess.table or guess.nearest
    lines = (
        Line("table", toml_text(table), guess.confidence, guess.evidence),
        Line("files", f"[{toml_text(guess.layout.path.name)}]", "sure", "the file"),
        *_layout_lines(guess, order),
    )
    parts = {
        "columns": tuple(_column_line(c) for c in guess.columns)
        + tuple(_missing_line(guess, table, c) for c in guess.missing if not guess.theirs(c)),
        "units": tuple(
            _unit_line(c) for c in guess.columns if c.unit or c.unit_confidence == "ask"
        ),
        "constants": (_site_line(site),) if site else (),
    }
    if there is not None:
        parts = _lacking(parts, there)
        # Encoding and separator are found out anew at each reading; the rest changes the meaning.
        keys = {"decimal", "header_row", "date_order", "sheet"} - set(there)
        return Block("[[sources]]", tuple(li for li in lines if li.key in keys), parts, index=index)
    below = []
    if guess.unused:
        below.append("not used: " + ", ".join(f"'{c}'" for c in guess.unused))
    absent = [c for c in _absent(guess, table) if not (site and c == "site")]
    if absent:
        below.append(f"not found: {', '.join(absent)}")
    assumed = [c for c in guess.columns if c.unit_confidence == "guess"]
    assumed = [c for c in assumed if TABLES[table][c.ours].unit != "1"]
    if assumed:
        said = ", ".join(f"{c.ours} ({TABLES[table][c.ours].unit})" for c in assumed)
        below.append(f"guess: no unit is written for {said}; read in the unit in brackets")
    if guess.table == "stores":
        below.append(
            "note: what a planned renewal, a failure and a day of shortage cost is not in any "
            "export; say it under [costs] where stock or renewals are to be judged by money"
        )
    if not guess.table:
        above = (
            f"ask: which table is {name}? {guess.evidence}. Take the # away if it is right; if the "
            "file is not needed, delete this remark and keep the rest",
        )
        return Block("[[sources]]", lines, parts, above, tuple(below), commented=True)
    return Block("[[sources]]", lines, parts, (name,), tuple(below))


def _layout_lines(guess: FileGuess, order: Answer | None) -> list[Line]:
    """Lines for what differs from what would be assumed."""
    layout, out = guess.layout, []
    for key in ("encoding", "separator", "sheet"):
        value = getattr(layout, key)
        if value:
            sure, why = layout.evidence.get(key, ("sure", "the sheet with this table"))
            out.append(Line(key, toml_text(value), sure, why))
    sign, sure, why = guess.decimal
    if sign or sure == "ask":
        ask = sure == "ask"
        out.append(Line("decimal", toml_text(sign or ","), sure, why, active=not ask))
    if layout.header_row > 1:
        sure, why = layout.evidence["header_row"]
        out.append(Line("header_row", str(layout.header_row), sure, why))
    if order and (order.value or order.confidence == "ask"):
        ask = order.confidence == "ask"
        value = toml_text(order.value or "day first")
        out.append(Line("date_order", value, order.confidence, order.evidence, active=not ask))
    return out


def _column_line(column: ColumnGuess) -> Line:
    active = column.confidence != "ask"
    why = column.evidence if active else f"is it this column? {column.evidence}"
    return Line(column.ours, toml_text(column.theirs), column.confidence, why, active)


def _missing_line(guess: FileGuess, table: str, ours: str) -> Line:
    """Ask for a required column; a column that was offered in doubt asks for itself."""
    if any(c.ours == ours for c in guess.columns):
        return Line("", "", "ask", f"{ours} is required: see its line above")
    have = ", ".join(f"'{c}'" for c in guess.contents)
    why = f"which column is it ({TABLES[table][ours].meaning})? There are {have}"
    return Line(ours, '"?"', "ask", why, active=False)


def _unit_line(column: ColumnGuess) -> Line:
    """A unit that nobody wrote is asked for; one that may be gauge is used, and asked for."""
    sure, why = column.unit_confidence, f"'{column.theirs}': {column.unit_evidence}"
    if not column.unit:
        return Line(column.ours, '"?"', sure, why, active=False)
    # A unit of a column that is itself in question must not stand alone.
    active = column.confidence != "ask"
    return Line(column.ours, toml_text(column.unit), sure, why, active)


def _site_line(site: Answer) -> Line:
    if not site.value:
        return Line("site", '"?"', "ask", site.evidence, active=False)
    return Line("site", toml_text(site.value), site.confidence, site.evidence)


def _lacking(
    parts: Mapping[str, tuple[Line, ...]], there: Mapping[str, Any]
) -> dict[str, tuple[Line, ...]]:
    """Leave out what a person's section says already, in whatever part of it."""
    columns, constants = there.get("columns", {}), there.get("constants", {})
    said = {*columns, *constants}
    theirs = {toml_text(str(t)) for t in columns.values()}
    new = tuple(c for c in parts["columns"] if c.key not in said and c.value not in theirs)
    # A unit belongs to the column that it was read from.
    same = {c.key for c in parts["columns"] if toml_text(str(columns.get(c.key))) == c.value}
    same |= {c.key for c in new}
    units = tuple(
        u for u in parts["units"] if u.key in same and u.key not in there.get("units", {})
    )
    return {
        "columns": new,
        "units": units,
        "constants": tuple(c for c in parts["constants"] if c.key not in said),
    }


def _absent(guess: FileGuess, table: str) -> list[str]:
    found = {c.ours for c in guess.columns} | set(guess.missing)
    return [c.name for c in TABLES[table].columns if c.need != "optional" and c.name not in found]


def group_blocks(blocks: Iterable[Block]) -> list[Block]:
    """Write files of one layout once: one section, the lesser confidence of each line."""
    groups: dict[tuple[object, ...], Block] = {}
    for block in blocks:
        files = next((li for li in block.lines if li.key == "files"), None)
        if block.index is not None or files is None or block.commented:
            groups[(len(groups),)] = block
            continue
        rest = [(li.key, li.value, li.active) for li in block.lines if li.key != "files"]
        inside = [(p, li.key, li.value, li.active) for p, ls in block.parts.items() for li in ls]
        key = (*rest, *inside)
        groups[key] = _joined(groups[key], block) if key in groups else block
    return list(groups.values())


def _joined(first: Block, second: Block) -> Block:
    def worse(a: Line, b: Line) -> Line:
        if a.key == "files":
            return replace(
                a, value=f"{a.value[:-1]}, {b.value[1:]}", evidence="files of one layout"
            )
        return min(a, b, key=lambda li: WORTH[li.confidence])

    lines = tuple(worse(a, b) for a, b in zip(first.lines, second.lines, strict=True))
    parts = {
        p: tuple(worse(a, b) for a, b in zip(first.parts[p], second.parts[p], strict=True))
        for p in first.parts
    }
    return replace(first, lines=lines, parts=parts, above=(*first.above, *second.above))


def code_blocks(guesses: Sequence[FileGuess], raw: Mapping[str, Any]) -> list[Block]:
    """What do the sites' codes mean in our words?"""
    found: dict[str, dict[str, Line]] = {}
    for guess in guesses:
        for column in guess.columns:
            ours = TABLES[guess.table][column.ours]
            values = guess.contents[column.theirs].values
            if not ours.choices or column.confidence == "ask" or len(values) > _MOST_CODES:
                continue
            lines = found.setdefault(ours.name, {})
            for code in sorted(values):
                word, sure, why = guess_code(ours, code)
                if sure == "sure" or code.casefold() in lines:
                    continue
                why = why if word else f"{why} ({guess.layout.name})"
                line = Line(toml_key(code), toml_text(word or "?"), sure, why, active=bool(word))
                lines[code.casefold()] = line
    out = []
    for name in sorted(n for n, lines in found.items() if lines):
        there = raw.get("codes", {}).get(name)
        known = {str(k).strip().casefold() for k in there} if isinstance(there, dict) else set()
        lines_left = tuple(li for code, li in found[name].items() if code not in known)
        index = 0 if isinstance(there, dict) else None
        out.append(Block(f"[codes.{name}]", lines_left, index=index))
    return out
