"""Suggest ``fleet.toml`` for a folder of raw exports; leave what a person wrote as it is.

In: a folder. Out: `Suggestion`. Next: a person answers its questions, then `seallife.intake.read`.

A guess is never silent: each line of the file says how sure it is (sure, likely, guess) and what
it rests on. What could not be told stands as a comment with a question ("ask:"). A question is
answered by editing its line and deleting the remark. Run again, lines are only added: a line that
was edited, or is kept as a comment, is never touched or suggested a second time.
"""

from __future__ import annotations

import os
import tempfile
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from seallife.errors import InputError, SettingsError
from seallife.intake.draft import draft_text, merge_text, questions_in
from seallife.intake.survey import (
    GUESS_COLUMNS,
    file_table,
    find_exports,
    survey_blocks,
    survey_files,
)
from seallife.settings import SETTINGS_FILE, load_settings

__all__ = ["SUGGESTED_FILE", "Suggestion", "suggest_settings", "write_suggestion"]

SUGGESTED_FILE = "fleet.suggested.toml"
"""Written instead of ``fleet.toml`` where lines cannot be added to that without rewriting it."""

_TOP = """\
# Suggested from the exports in this folder; a person must look at it before figures are used.
# Each line says how sure it is and what it rests on: sure, likely or guess.
# "ask:" marks a question. Answer it by editing the line (take the first # away where the whole line
# is a comment) and deleting the remark. Run `seallife map` again after adding files: it only adds
# lines, and neither changes nor repeats one that stands here, even as a comment.
"""


@dataclass(frozen=True)
class Suggestion:
    """What is suggested for a folder of exports.

    Attributes
    ----------
    folder : Path
        The folder.
    guesses : pandas.DataFrame
        One row a guess: file, table, what (table, column, unit, code, ...), ours, theirs,
        confidence (sure, likely, guess, ask), evidence.
    files : pandas.DataFrame
        One row a file or sheet: file, table, columns, matched, questions.
    toml : str
        Text of the file to write.
    questions : tuple of str
        What a person must answer in it.
    kept : tuple of str
        What an existing ``fleet.toml`` said, and was left as it is.
    file_name : str
        ``fleet.toml``, or ``fleet.suggested.toml`` where lines could not be added to it.
    before : str or None
        Text of ``fleet.toml`` that was found; None where there was none.
    """

    folder: Path
    guesses: pd.DataFrame
    files: pd.DataFrame
    toml: str
    questions: tuple[str, ...]
    kept: tuple[str, ...] = ()
    file_name: str = SETTINGS_FILE
    before: str | None = None


def suggest_settings(folder: Path | str) -> Suggestion:
    """Which ``fleet.toml`` fits the exports in this folder?

    Parameters
    ----------
    folder : path
        Holds CSV, XLSX or Parquet files; sub-folders are not looked into.

    Returns
    -------
    Suggestion
        Nothing is written: see `write_suggestion`.

    Raises
    ------
    InputError
        The folder does not exist or holds no file that could be a table.
    SettingsError
        There is a ``fleet.toml`` that is not TOML, or says what cannot be.
    """
    folder = Path(folder)
    if not folder.is_dir():
        what = "is a file, not a folder" if folder.exists() else "no such folder"
        raise InputError(what, where=str(folder), hint="give the folder that holds the exports")
    before, raw = _existing(folder)
    sources = [s for s in raw.get("sources", []) if isinstance(s, dict)]
    paths, others = find_exports(folder)
    facts = survey_files(paths, sources, folder)
    blocks, rows = survey_blocks(folder, facts, others, raw, before or "")
    name, toml = SETTINGS_FILE, draft_text(blocks, _TOP)
    if before is not None and before.strip():
        merged = merge_text(before, blocks)
        if merged is None:
            name = SUGGESTED_FILE
            blocks, rows = survey_blocks(folder, facts, others, {}, "")
            toml = draft_text(blocks, _TOP)
        else:
            toml = merged
    if _active_sources(toml):
        _must_load(toml, folder / SETTINGS_FILE)
    table = pd.DataFrame(rows, columns=list(GUESS_COLUMNS), dtype=object)
    files = file_table(facts, others, table)
    return Suggestion(folder, table, files, toml, questions_in(toml), _kept(raw), name, before)


def write_suggestion(suggestion: Suggestion) -> Path:
    """Write the suggested file, whole or not at all.

    Parameters
    ----------
    suggestion : Suggestion

    Returns
    -------
    Path
        The file written: ``fleet.toml``, or ``fleet.suggested.toml`` beside it.

    Raises
    ------
    InputError
        ``fleet.toml`` was changed since the suggestion was made, or another
        ``fleet.suggested.toml`` stands there; nothing is written then.
    """
    path = suggestion.folder / suggestion.file_name
    now, _ = _existing(suggestion.folder)
    if now != suggestion.before:
        raise InputError(
            "was changed while the suggestion was made",
            where=str(suggestion.folder / SETTINGS_FILE),
            hint="run the command again",
        )
    there = path.read_bytes().decode("utf-8-sig") if path.is_file() else None
    if there == suggestion.toml:
        return path
    if path.name == SUGGESTED_FILE and there is not None:
        raise InputError(
            "an earlier suggestion stands there, perhaps edited",
            where=str(path),
            hint="move it away and run the command again",
        )
    handle, temporary = tempfile.mkstemp(".toml", ".fleet-", suggestion.folder)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as out:
            out.write(suggestion.toml)
        Path(temporary).chmod(path.stat().st_mode if path.exists() else 0o644)
        os.replace(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    return path


def _existing(folder: Path) -> tuple[str | None, dict[str, Any]]:
    """Text and content of ``fleet.toml``."""
    path = folder / SETTINGS_FILE
    if not path.is_file():
        return None, {}
    try:
        text = path.read_bytes().decode("utf-8-sig")
        return text, tomllib.loads(text)
    except UnicodeDecodeError as err:
        raise SettingsError(
            f"is not UTF-8 text (byte {err.start})", where=str(path), hint="save it as UTF-8"
        ) from None
    except tomllib.TOMLDecodeError as err:
        raise SettingsError(
            f"is not valid TOML: {err}", where=str(path), hint="mend it or move it away"
        ) from None


def _active_sources(toml: str) -> bool:
    return bool(tomllib.loads(toml).get("sources"))


def _must_load(toml: str, path: Path) -> None:
    """Read the text as settings before anything is written; name the file it will be."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / SETTINGS_FILE).write_text(toml, encoding="utf-8")
        try:
            load_settings(folder)
        except SettingsError as err:
            raise SettingsError(err.what, where=str(path), hint=err.hint) from None


def _kept(raw: Mapping[str, Any]) -> tuple[str, ...]:
    """What a person's file says, section by section."""
    out = []
    for section, value in raw.items():
        if isinstance(value, list):
            out.append(f"{len(value)} [[{section}]]")
        elif isinstance(value, dict):
            out.append(f"[{section}] with {', '.join(value)}" if value else f"[{section}]")
        else:
            out.append(section)
    return tuple(out)
