"""Write guesses as lines of ``fleet.toml``, and put them into one that a person has edited.

In: `Block`, one a section. Out: the text of ``fleet.toml``. Next: `seallife.intake.mapping`.

Lines are only ever added to an existing file: what stands there, comments too, is left as it is.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

__all__ = [
    "OPEN",
    "Block",
    "Line",
    "draft_text",
    "merge_text",
    "questions_in",
    "toml_key",
    "toml_text",
]

OPEN = "# ask:"
_OPEN = re.compile(r"#\s*ask:\s*(.*)")
_HEADER = re.compile(r"\s*\[\[?\s*([^\[\]]+?)\s*\]\]?\s*(?:#.*)?$")


@dataclass(frozen=True)
class Line:
    """One setting: its key, its value as TOML, how sure it is and why.

    ``active`` False: written as a comment, because a person must say it.
    """

    key: str
    value: str
    confidence: str
    evidence: str
    active: bool = True

    @property
    def text(self) -> str:
        """The line as it stands in the file."""
        body = f"{self.key} = {self.value}" if self.key else ""
        if not self.active:
            body = f"# {body}" if body else ""
        remark = f"# {self.confidence}: {_one_line(self.evidence)}"
        return f"{body}  {remark}" if body else remark


@dataclass(frozen=True)
class Block:
    """One section of ``fleet.toml`` with its parts.

    Attributes
    ----------
    header : str
        As written: ``[fleet]``, ``[[windows]]``, ``[[sources]]``, ``[codes.status]``.
    lines : tuple of Line
        Settings right under the header.
    parts : mapping of str to tuple of Line
        Sub-section (``columns``, ``units``, ``constants``) -> its settings.
    remarks : tuple of str
        Comments above and below.
    index : int or None
        Number of the section of this name that an existing file has; None where it has none.
    commented : bool
        True where the whole is only a proposal: every line is a comment.
    """

    header: str
    lines: tuple[Line, ...] = ()
    parts: Mapping[str, tuple[Line, ...]] = field(default_factory=dict)
    above: tuple[str, ...] = ()
    below: tuple[str, ...] = ()
    index: int | None = None
    commented: bool = False

    @property
    def text(self) -> str:
        """The block as it stands in a new file."""
        body = [self.header, *(li.text for li in self.lines)]
        name = self.header.strip("[]")
        for part, lines in self.parts.items():
            if lines:
                body += [f"[{name}.{part}]", *(li.text for li in lines)]
        if self.commented:
            # One question stands for the whole: which table it is.
            body = [t if t.startswith("#") else f"# {t}" for t in body]
            body = [t.replace(OPEN, "# open:") for t in body]
        remarks = [f"# {_one_line(r)}" for r in self.above]
        return "\n".join([*remarks, *body, *(f"# {_one_line(r)}" for r in self.below)])


def _one_line(text: str) -> str:
    """No sign that could end a comment or that TOML forbids in one."""
    return "".join(c if c.isprintable() else " " for c in text)


def toml_text(value: str) -> str:
    r"""Write text as TOML does.

    Examples
    --------
    >>> print(toml_text('Shaft "Ø"'))
    "Shaft \"Ø\""
    """
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def toml_key(key: str) -> str:
    """Write a key bare where TOML allows it.

    Examples
    --------
    >>> toml_key("PM01"), toml_key("in use")
    ('PM01', '"in use"')
    """
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else toml_text(key)


def draft_text(blocks: Sequence[Block], top: str) -> str:
    """What is the text of a new ``fleet.toml``?"""
    return "\n\n".join([top.rstrip("\n"), *(b.text for b in blocks)]) + "\n"


def merge_text(old: str, blocks: Sequence[Block]) -> str | None:
    """What is the text of this ``fleet.toml`` with the missing lines added?

    Parameters
    ----------
    old : str
        Text as the person left it.
    blocks : sequence of Block
        What is suggested; ``index`` says which existing section a block belongs to.

    Returns
    -------
    str or None
        None where the lines cannot be added by text alone, because the file is written in an
        unusual way (inline tables, sections out of order).
    """
    lines = old.rstrip("\n").split("\n") if old.strip() else []
    new: list[str] = []
    for block in blocks:
        if block.index is None:
            new.append(block.text)
            continue
        for part, wanted in {"": block.lines, **block.parts}.items():
            if not _insert(lines, block, part, wanted):
                return None
    text = "\n".join(lines)
    text = "\n\n".join([t for t in (text, *new) if t]) + "\n"
    try:
        kept = _holds(tomllib.loads(text), tomllib.loads(old))
    except tomllib.TOMLDecodeError:
        return None
    return text if kept else None


def _insert(lines: list[str], block: Block, part: str, wanted: Sequence[Line]) -> bool:
    """Put lines at the end of one section of an existing file; False where it is not found."""
    name = block.header.strip("[]")
    start, stop = _stretch(lines, name, block.index or 0)
    if start < 0:
        return not wanted
    if part:
        at = next((i for i in range(start, stop) if _name(lines[i]) == f"{name}.{part}"), -1)
        end = _end(lines, at + 1, stop) if at >= 0 else stop
    else:
        at, end = start, _end(lines, start + 1, stop)
    # A line that stands there as a comment was asked before, or turned down: leave it so.
    there = "\n".join(lines[start:stop] if at < 0 else lines[at:end])
    missing = [
        w for w in wanted
        if not (w.key and re.search(rf"^[#\s]*{re.escape(w.key)}\s*=", there, re.MULTILINE))
    ]  # fmt: skip
    if not missing:
        return True
    put = [m.text for m in missing] if at >= 0 else [f"[{name}.{part}]", *(m.text for m in missing)]
    while end > start + 1 and (not lines[end - 1].strip() or lines[end - 1].startswith("#")):
        end -= 1  # blank lines and remarks at the end introduce the next section
    lines[end:end] = put
    return True


def _name(line: str) -> str:
    """Name of the section that this line opens; empty where it opens none."""
    found = _HEADER.match(line)
    return re.sub(r"\s", "", found[1]) if found and "=" not in found[1] else ""


def _stretch(lines: Sequence[str], name: str, index: int) -> tuple[int, int]:
    """First and last line of a section with all its parts; -1 where there is none."""
    starts = [i for i, t in enumerate(lines) if _name(t) == name]
    if index >= len(starts):
        return -1, -1
    start = starts[index]
    inside = (i for i in range(start + 1, len(lines)) if _name(lines[i]))
    stop = next((i for i in inside if not _name(lines[i]).startswith(f"{name}.")), len(lines))
    return start, stop


def _end(lines: Sequence[str], start: int, stop: int) -> int:
    """Line of the next header."""
    return next((i for i in range(start, stop) if _name(lines[i])), stop)


def _holds(new: Any, old: Any) -> bool:
    """Does the new file still hold everything that the old one said?"""
    if isinstance(old, dict):
        return isinstance(new, dict) and all(k in new and _holds(new[k], v) for k, v in old.items())
    if isinstance(old, list) and old and isinstance(old[0], dict):
        pairs = zip(new, old, strict=False)
        return (
            isinstance(new, list) and len(new) >= len(old) and all(_holds(a, b) for a, b in pairs)
        )
    return bool(new == old)


def questions_in(text: str) -> tuple[str, ...]:
    """Which questions stand open in this file? One a line with an "ask:" remark."""
    return tuple(m[1].strip() for m in map(_OPEN.search, text.splitlines()) if m)
