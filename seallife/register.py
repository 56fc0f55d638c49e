"""The register as the rest of the package sees it: one row a seal position, tags that match.

In: `Fleet`. Out: `Register`. Next: `seallife.orders`, `seallife.clocks`, `seallife.classes`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import pandas as pd

from seallife.findings import join_findings, make_findings
from seallife.intake import Fleet

__all__ = ["Register", "TagBook", "build_register", "match_tags", "tag_key"]

_SHORT = 4  # characters; in a tag shorter than this one wrong character is too much


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

    @cached_property
    def tag_books(self) -> dict[str, TagBook]:
        """The tags of each site, and under '' those of all, by everything they are found by."""
        books = {"": TagBook(self.table)}
        return books | {str(s): TagBook(rows) for s, rows in self.table.groupby("site")}


@lru_cache(maxsize=200_000)
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
    nameless = (rows["position_id"] == "") & (rows["tag"] == "")
    rows["site"] = rows["site"].where(rows["site"] != "", fleet.settings.name)
    built = rows["tag"] + np.where(rows["seal_end"] != "", "-" + rows["seal_end"], "")
    rows["position_id"] = rows["position_id"].where(rows["position_id"] != "", built)
    rows["tag"] = rows["tag"].where(rows["tag"] != "", rows["position_id"])
    rows["pump_key"] = _apart(rows["tag"].map(tag_key), rows["site"])
    rows["position_id"] = _apart(rows["position_id"], rows["site"])
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
    return Register(kept, join_findings([findings, _spelled_twice(kept)]))


def _spelled_twice(rows: pd.DataFrame) -> pd.DataFrame:
    """Tags that differ in punctuation only are read as one pump; a person should look."""
    first = rows.groupby("pump_key")["tag"].transform("first")
    other = first != rows["tag"]
    return make_findings(
        "tag spelled in two ways",
        "doubt",
        rows.loc[other, "record_id"],
        [
            f"'{a}' and '{b}' differ only in punctuation or leading zeros"
            for a, b in zip(first[other], rows.loc[other, "tag"], strict=True)
        ],
        column="tag",
        value=rows.loc[other, "tag"],
        action="read as one pump",
    )


def _apart(name: pd.Series, site: pd.Series) -> pd.Series:
    """Put the site before names that stand at more than one site."""
    at_many = site.groupby(name).transform("nunique") > 1
    return name.mask(at_many & (name != ""), site + "/" + name)


def match_tags(tags: pd.Series, sites: pd.Series, register: Register) -> pd.DataFrame:
    """Which pump of the register does each written tag mean?

    Parameters
    ----------
    tags : pandas.Series of str, shape (n,)
        Tags as written in orders, meters or readings.
    sites : pandas.Series of str, shape (n,)
        Site of each record where it says so: only that site's tags are looked at. Where it does
        not, a tag that stands at several sites means none of them.

    Returns
    -------
    pandas.DataFrame
        ``pump_key`` ('' where none or more than one fits) and ``how``: 'same', 'other format',
        'position name', 'unit number in front', 'one character off', 'pair or unit tag', 'tag at
        several sites', 'not in register'.

    Notes
    -----
    A unit number in front ("10-P-101A" for "P-101A") may be left out on one side, never differ. A
    tag one character off is accepted only where exactly one tag of the register is that near, has
    the same unit number and last character, and is not so short that one character is much of it.
    """
    books = register.tag_books
    asked = pd.DataFrame(
        {"tag": tags.to_numpy(), "site": sites.where(sites.isin(list(books)), "").to_numpy()}
    )
    each = asked.drop_duplicates()
    found = [books[site].find(tag) for tag, site in zip(each["tag"], each["site"], strict=True)]
    answers = pd.DataFrame(found, columns=["pump_key", "how"], index=each.index, dtype=object)
    got = asked.merge(each.join(answers), on=["tag", "site"], how="left")
    return got[["pump_key", "how"]].set_axis(tags.index)


class TagBook:
    """The tags of one site, or of all, by everything they may be found by."""

    def __init__(self, positions: pd.DataFrame) -> None:
        self._written = set(positions["tag"])
        self._pumps: dict[str, set[str]] = {}  # key of the tag -> pumps that bear it
        self._seals: dict[str, set[str]] = {}  # key of the position's name -> its pumps
        self._tails: dict[str, set[str]] = {}  # the same without a unit number in front
        self._short: dict[str, set[str]] = {}  # with one character left out, for slips of the pen
        self._pairs: set[str] = set()  # without the last letter: a pair's tag
        self._units = set(positions["unit"].str.upper()) - {""}
        for tag, name, pump in zip(
            positions["tag"], positions["position_id"], positions["pump_key"], strict=True
        ):
            self._seals.setdefault(tag_key(name), set()).add(pump)
            key = tag_key(tag)
            if pump in self._pumps.setdefault(key, set()):
                continue
            self._pumps[key].add(pump)
            self._tails.setdefault(_tail(key), set()).add(key)
            if key[-1:].isalpha():
                self._pairs.add(key[:-1])
            for form in _forms(key):
                self._short.setdefault(form, set()).add(key)

    def find(self, tag: str) -> tuple[str, str]:
        """Find the one pump a tag can mean, and say how it was found."""
        key = tag_key(tag)
        if not key:
            return "", "not in register"
        if key in self._pumps:
            return _only(self._pumps[key], "same" if tag in self._written else "other format")
        if key in self._seals:
            return _only(self._seals[key], "position name")
        tail = _tail(key)
        # Without a unit number it may be any unit's; with one, only a tag that has none.
        tails = {k for k in self._tails.get(tail, ()) if tail in (key, k)}
        if tails:
            return self._one_of(tails, "unit number in front")
        if key in self._pairs or self._is_unit(tag):
            return "", "pair or unit tag"
        return self._one_of(self._slips(key), "one character off")

    def _is_unit(self, tag: str) -> bool:
        """Does a tag name a unit and no pump: "UNIT 400", "FGD area"?"""
        words = set(re.findall(r"[0-9A-Z]+", tag.upper()))
        return any(all(w.isalpha() for w in words - {u}) for u in words & self._units)

    def _slips(self, key: str) -> set[str]:
        """Tags that this one may be a slip of the pen for."""
        if len(key) < _SHORT:
            return set()
        near = {k for form in _forms(key) for k in self._short.get(form, ()) if _one_edit(key, k)}
        # A, B, C at the end and numbers of units tell pumps apart: to differ there is no slip.
        unit = key.removesuffix(_tail(key))
        return {k for k in near if k[-1] == key[-1] and k.removesuffix(_tail(k)) == unit}

    def _one_of(self, keys: set[str], how: str) -> tuple[str, str]:
        """Take the only tag that fits; where several do, none is more likely than the others."""
        return _only(self._pumps[keys.pop()], how) if len(keys) == 1 else ("", "not in register")


def _only(pumps: set[str], how: str) -> tuple[str, str]:
    return (next(iter(pumps)), how) if len(pumps) == 1 else ("", "tag at several sites")


def _tail(key: str) -> str:
    """Return a key without a unit number in front of its first letter."""
    return re.sub(r"^\d+(?=[A-Z])", "", key)


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
