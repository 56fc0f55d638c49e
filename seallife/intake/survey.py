"""Look at all files of a folder, and write down what was found as sections of ``fleet.toml``.

In: a folder of exports. Out: `Survey`; `Block`, and one row a guess. Next:
`seallife.intake.mapping`.
"""

from __future__ import annotations

import glob
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from seallife.errors import InputError
from seallife.intake.blocks import (
    code_blocks,
    fleet_block,
    group_blocks,
    source_block,
    window_blocks,
)
from seallife.intake.draft import Block, Line
from seallife.intake.guess import FileGuess, guess_file, known_tags
from seallife.intake.layout import Layout, find_layouts
from seallife.intake.spans import Answer, Span, date_order, find_sites, find_spans

__all__ = ["GUESS_COLUMNS", "Survey", "file_table", "find_exports", "survey_blocks", "survey_files"]

_READ = {".csv", ".txt", ".tsv", ".xlsx", ".xlsm", ".parquet"}
_OTHER_TABLES = {".xls", ".xlsb", ".ods", ".dbf", ".mdb", ".accdb"}


@dataclass(frozen=True)
class Survey:
    """What was found out about the files, before any of it is written down."""

    guesses: tuple[FileGuess, ...]
    orders: Mapping[str, Answer]
    sites: Mapping[str, Answer]
    spans: tuple[Span, ...]
    data_end: pd.Timestamp | None
    owners: Mapping[str, tuple[int, dict[str, Any]]]


GUESS_COLUMNS = ("file", "table", "what", "ours", "theirs", "confidence", "evidence")


def find_exports(folder: Path) -> tuple[list[Path], list[Path]]:
    """Files that can be read, and files that hold tables but cannot."""
    files = sorted(p for p in folder.iterdir() if p.is_file() and p.name[:1] not in {".", "~"})
    read = [p for p in files if p.suffix.lower() in _READ]
    others = [p for p in files if p.suffix.lower() in _OTHER_TABLES]
    if not read and not others:
        raise InputError(
            "holds no CSV, XLSX or Parquet file",
            where=str(folder),
            hint="put the exports there; sub-folders are not looked into",
        )
    return read, others


def survey_files(paths: list[Path], sources: list[dict[str, Any]], folder: Path) -> Survey:
    """Look at all files: the registers first, because their tags tell the other files apart."""
    layouts = [layout for p in paths for layout in find_layouts(p)]
    owners = {la.name: o for la in layouts if (o := _owner(la, sources, folder))}
    said = {n: str(s.get("table", "")) for n, (_, s) in owners.items()}
    first = [guess_file(la, only=said.get(la.name, "")) for la in layouts]
    tags = known_tags(first)
    guesses = tuple(
        g if g.table == "positions" or not tags else guess_file(
            g.layout, tags, g, said.get(g.layout.name, "")
        )
        for g in first
    )  # fmt: skip
    told = [g for g in guesses if g.table]
    orders = {g.layout.name: date_order(g) for g in told}
    sites = find_sites(told)
    spans, data_end = find_spans(told, orders, sites)
    return Survey(guesses, orders, sites, tuple(spans), data_end, owners)


def _owner(
    layout: Layout, sources: list[dict[str, Any]], folder: Path
) -> tuple[int, dict[str, Any]] | None:
    """Number and content of the existing section that names this file."""
    for i, source in enumerate(sources):
        files = source.get("files", [])
        patterns = [files] if isinstance(files, str) else files
        names = {n for p in patterns for n in glob.glob(str(p), root_dir=folder)}
        if layout.path.name in names and source.get("sheet", layout.sheet) in {layout.sheet, ""}:
            return i, source
    return None


def survey_blocks(
    folder: Path, facts: Survey, others: list[Path], raw: dict[str, Any], said: str
) -> tuple[list[Block], list[dict[str, str]]]:
    """All sections to write, and one row a guess."""
    rows: list[dict[str, str]] = []
    of_files = []
    for guess in facts.guesses:
        layout = guess.layout
        index, there = facts.owners.get(layout.name, (None, None)) if raw else (None, None)
        order, site = facts.orders.get(layout.name), facts.sites.get(layout.name)
        new = source_block(guess, order, site)
        rows += _rows(layout.name, guess.table, new)
        if there is not None and _reads_otherwise(there, layout):
            continue
        dealt = layout.path.name in said and layout.sheet in said and index is None
        if there is not None:
            of_files.append(source_block(guess, order, site, index, there))
        elif not dealt:
            of_files.append(new)
    for path in others:
        what = f"{path.name} cannot be read; export it as CSV, XLSX or Parquet"
        block = Block(f"# ask: {what}")
        rows += _rows(path.name, "", block)
        of_files += [block] if path.name not in said else []
    head = [fleet_block(folder.resolve().name, facts.data_end, raw)]
    windows = window_blocks(facts.spans, raw)
    codes = code_blocks([g for g in facts.guesses if g.table], raw)
    for block in (*head, *windows, *codes):
        rows += _rows("", "", block)
    blocks = [*head, *windows, *group_blocks(of_files), *codes]
    return [b for b in blocks if b.index is None or b.lines or any(b.parts.values())], rows


def _reads_otherwise(there: Mapping[str, Any], layout: Layout) -> bool:
    """True where a person's section finds the header in another row: then its names are other."""
    return bool(there.get("header_row", layout.header_row) != layout.header_row)


def _rows(file: str, table: str, block: Block) -> list[dict[str, str]]:
    """One row a guess, for the table of guesses."""

    def row(what: str, line: Line) -> dict[str, str]:
        value = line.value.strip('"')
        said = (file, table, what, line.key, value, line.confidence, line.evidence)
        return dict(zip(GUESS_COLUMNS, said, strict=True))

    section = block.header.strip("[]")
    if section.startswith("#"):
        sure = "ask" if section.startswith("# ask") else "sure"
        return [row("file", Line("", "", sure, section.split(": ", 1)[1]))]
    what = "layout" if section == "sources" else section
    rows = [row("table" if li.key == "table" else what, li) for li in block.lines]
    return rows + [row(part.rstrip("s"), li) for part, ls in block.parts.items() for li in ls]


def file_table(facts: Survey, others: list[Path], guesses: pd.DataFrame) -> pd.DataFrame:
    """One row a file for the terminal."""
    asks = guesses[guesses["confidence"] == "ask"].groupby("file").size()
    rows = []
    for g in facts.guesses:
        matched = sum(c.confidence != "ask" for c in g.columns) if g.table else 0
        asked = int(asks.get(g.layout.name, 0)) if g.table else int(not _is_note(g))
        rows.append((g.layout.name, g.table, len(g.contents), matched, asked))
    rows += [(p.name, "", 0, 0, 1) for p in others]
    return pd.DataFrame(rows, columns=["file", "table", "columns", "matched", "questions"])


def _is_note(guess: FileGuess) -> bool:
    return bool(guess.layout.sheet) and "is empty" in guess.layout.problem
