"""The register as the rest of the package sees it: one row a seal position, tags that match.

In: `Fleet`. Out: `Register`. Next: `seallife.orders`, `seallife.clocks`, `seallife.classes`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from seallife.findings import join_findings, make_findings
from seallife.intake import Fleet

__all__ = ["Register", "build_register", "match_tags", "tag_key"]


@dataclass(frozen=True)
class Register:
    """Seal positions.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a position, ordered by ``position_id``; columns of the schema's positions plus
        ``pump_key``, the tag without punctuation.
    findings : pandas.DataFrame
        What is wrong with register rows.
    """

    table: pd.DataFrame
    findings: pd.DataFrame


def tag_key(tag: str) -> str:
    """Return a tag without case, punctuation and leading zeros of its numbers.

    Examples
    --------
    >>> tag_key("p-0101 a"), tag_key("P101A")
    ('P101A', 'P101A')
    """
    plain = re.sub(r"[^0-9A-Z]", "", tag.upper())
    return re.sub(r"(?<!\d)0+(?=\d)", "", plain)


def build_register(fleet: Fleet) -> Register:
    """Which seal positions does the fleet have?

    A row without tag and name, or a second row of the same position, is set aside; a position
    retired before it was commissioned keeps neither date.
    """
    rows = fleet["positions"].copy()
    rows["site"] = rows["site"].where(rows["site"] != "", fleet.settings.name)
    built = rows["tag"] + np.where(rows["seal_end"] != "", "-" + rows["seal_end"], "")
    rows["position_id"] = rows["position_id"].where(rows["position_id"] != "", built)
    rows["tag"] = rows["tag"].where(rows["tag"] != "", rows["position_id"])
    nameless = rows["position_id"] == ""
    twice = rows["position_id"].duplicated() & ~nameless
    backwards = rows["retired"] < rows["commissioned"]
    findings = join_findings(
        [
            make_findings(
                "position without name",
                "ask",
                rows.loc[nameless, "record_id"],
                "the register row has neither tag nor position name; give it one",
                column="tag",
                action="row set aside",
                set_aside=True,
            ),
            make_findings(
                "position listed twice",
                "ask",
                rows.loc[twice, "record_id"],
                "'{value}' stands in the register already; keep one row",
                column="position_id",
                value=rows.loc[twice, "position_id"],
                action="second row set aside",
                set_aside=True,
            ),
            make_findings(
                "retired before commissioned",
                "ask",
                rows.loc[backwards, "record_id"],
                "retired on {value}, before it was commissioned; mend the register",
                column="retired",
                value=rows.loc[backwards, "retired"],
                action="both dates left out",
            ),
        ]
    )
    rows.loc[backwards, ["commissioned", "retired"]] = pd.NaT
    kept = rows[~nameless & ~twice].sort_values("position_id", kind="stable")
    kept = kept.reset_index(drop=True)
    kept["pump_key"] = kept["tag"].map(tag_key)
    return Register(kept, findings)


def match_tags(tags: pd.Series, register: Register) -> pd.DataFrame:
    """Which pump of the register does each written tag mean?

    Parameters
    ----------
    tags : pandas.Series of str, shape (n,)
        Tags as written in orders, meters or readings.

    Returns
    -------
    pandas.DataFrame
        ``pump_key`` ('' where none or more than one fits) and ``how``: 'same', 'other format',
        'unit number in front', 'one character off', 'pair or unit tag', 'not in register'.

    Notes
    -----
    A tag one character off is accepted only where exactly one tag of the register is that near.
    """
    known = set(register.table["pump_key"])
    written = set(register.table["tag"])
    ends: dict[str, set[str]] = {}
    for key in known:
        ends.setdefault(re.sub(r"^\d+(?=[A-Z])", "", key), set()).add(key)
    near = _Neighbours(known)
    found = {t: _match(t, written, known, ends, near) for t in pd.unique(tags)}
    keys, hows = {t: k for t, (k, _) in found.items()}, {t: h for t, (_, h) in found.items()}
    return pd.DataFrame({"pump_key": tags.map(keys), "how": tags.map(hows)})


def _match(
    tag: str, written: set[str], known: set[str], ends: dict[str, set[str]], near: _Neighbours
) -> tuple[str, str]:
    key = tag_key(tag)
    if not key:
        return "", "not in register"
    if key in known:
        return key, "same" if tag in written else "other format"
    tails = ends.get(re.sub(r"^\d+(?=[A-Z])", "", key), set())
    if len(tails) == 1:
        return next(iter(tails)), "unit number in front"
    # A pair's tag is its pumps' tags less the last letter.
    if any(k[:-1] == key and k[-1].isalpha() for k in near.starting(key)):
        return "", "pair or unit tag"
    close = near.of(key)
    if len(close) == 1:
        return next(iter(close)), "one character off"
    return "", "not in register"


class _Neighbours:
    """Register tags one edit away, found by leaving out one character on both sides."""

    def __init__(self, known: set[str]) -> None:
        self._known = known
        self._short: dict[str, set[str]] = {}
        self._start: dict[str, set[str]] = {}
        for key in known:
            self._start.setdefault(key[:-1], set()).add(key)
            for form in _forms(key):
                self._short.setdefault(form, set()).add(key)

    def starting(self, key: str) -> set[str]:
        """Tags that are this one and one character more."""
        return self._start.get(key, set())

    def of(self, key: str) -> set[str]:
        """Tags one insertion, deletion, substitution or swap away."""
        candidates = {k for form in _forms(key) for k in self._short.get(form, ())}
        # A, B, C at the end tell pumps apart: a differing last letter is no slip of the pen.
        return {k for k in candidates if k[-1] == key[-1] and _one_edit(key, k)}


def _forms(key: str) -> Iterator[str]:
    """Yield the word itself and all its forms with one character left out."""
    yield key
    for i in range(len(key)):
        yield key[:i] + key[i + 1 :]


def _one_edit(a: str, b: str) -> bool:
    """Exactly one insertion, deletion, substitution or swap of neighbours apart."""
    if abs(len(a) - len(b)) > 1 or a == b:
        return False
    i = next((k for k, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), min(len(a), len(b)))
    if len(a) == len(b):
        swapped = a[i + 1 : i + 2] + a[i : i + 1] == b[i : i + 2] and a[i + 2 :] == b[i + 2 :]
        return a[i + 1 :] == b[i + 1 :] or swapped
    longer, shorter = (a, b) if len(a) > len(b) else (b, a)
    return longer[i + 1 :] == shorter[i:]
