"""Texts of work orders: languages, names, copies, other pumps.

In: `Records`. Out: findings. Names of people are found, never repeated.
"""

from __future__ import annotations

import re
from functools import lru_cache

import pandas as pd

from seallife.checks.records import Records
from seallife.findings import make_findings
from seallife.intake.parsed import ParsedText, Pattern, pattern_of
from seallife.register import tag_key

__all__ = ["copied_texts", "languages", "people_named", "several_tags"]

_PERSON = re.compile(
    r"\b(?:[A-Z]\.\s?){1,2}(?:van |von |de |da )?[A-Z][a-z]{2,}\b"  # J. Example
    r"|\b(?:[Ff]itter|[Mm]echanic|[Tt]echnician|[Mm]onteur|Mr|Mrs|Ms|Herr|Frau|Sr|Sra|Sig)\.?\s+"
    r"(?:[A-Z]\.?\s?)?[A-Z][a-z]{2,}\b"
)
_TAG = re.compile(r"\b(?:\d{1,3}-)?[A-Z]{1,4}[- ]?\d{2,5}[- ]?[A-Z]?\b")
_COPY_LETTERS = 40  # shorter texts are alike by nature
_COPY_TAGS = 5


def languages(records: Records) -> pd.DataFrame:
    """In which languages are the orders of each site?"""
    orders = records.orders
    text = orders["short_text"] + " . " + orders["long_text"]
    said = text.map({t: _language(pattern_of(t)) for t in text.unique()})
    rows = pd.DataFrame({"site": orders["site"], "language": said})
    share = rows[rows["language"] != ""].groupby("site")["language"]
    found = []
    for site, words in share:
        parts = words.value_counts(normalize=True)
        if len(parts) > 1:
            found.append((str(site), ", ".join(f"{k} {v:.0%}" for k, v in parts.items()), parts))
    return make_findings(
        "orders in several languages",
        "note",
        [f[0] for f in found],
        [f"languages of the orders of {site} that show one: {shares}" for site, shares, _ in found],
        column="long_text",
        value=[f"{1 - parts.iloc[0]:.3f}" for *_, parts in found],
        action="read with word lists of seven languages",
    )


@lru_cache(maxsize=50_000)
def _language(pattern: Pattern) -> str:
    """Language that most of the telling phrases belong to; '' where none tells."""
    count: dict[str, int] = {}
    for hit in ParsedText(pattern).hits:
        if len(hit.languages) == 1:
            (language,) = hit.languages
            count[language] = count.get(language, 0) + 1
    return max(sorted(count), key=lambda k: count[k]) if count else ""


def people_named(records: Records) -> pd.DataFrame:
    """Which orders name people? Their texts should not leave the site as they are."""
    orders = records.orders
    text = orders["short_text"] + " . " + orders["long_text"]
    named = orders[text.str.contains(_PERSON)]
    return make_findings(
        "a person is named",
        "note",
        named["record_id"],
        "the text seems to name a person; take the name out before the text leaves the site",
        column="long_text",
        action="texts stay in this folder's results",
    )


def copied_texts(records: Records) -> pd.DataFrame:
    """Which long texts stand word for word on many pumps?"""
    orders = records.orders[~records.orders["repeated"]]
    rows = orders[orders["long_text"].str.len() >= _COPY_LETTERS]
    by = rows.groupby("long_text").agg(
        pumps=("pump_key", "nunique"), orders=("record_id", "size"), first=("record_id", "first")
    )
    found = by[by["pumps"] >= _COPY_TAGS].sort_values("first")
    return make_findings(
        "same long text on many pumps",
        "note",
        found["first"],
        [
            f"this text stands word for word in {n} orders of {pumps} pumps: copied?"
            for pumps, n in zip(found["pumps"], found["orders"], strict=True)
        ],
        column="long_text",
        value=found["orders"],
        threshold=f"{_COPY_TAGS} pumps",
        action="read as written",
    )


def several_tags(records: Records) -> pd.DataFrame:
    """Which orders on a seal name other pumps in their text?"""
    orders = records.orders[records.orders["seal_removal"]]
    text = orders["short_text"] + " . " + orders["long_text"]
    known = dict(zip(records.pumps["tag"].map(tag_key), records.pumps["pump_key"], strict=True))
    others = [
        sorted({known[k] for k in map(tag_key, _TAG.findall(words)) if k in known} - {own})
        for words, own in zip(text, orders["pump_key"], strict=True)
    ]
    rows = orders.assign(others=[len(o) for o in others])
    found = rows[(rows["others"] > 0) & (rows["part_qty"].fillna(1) > rows["others"])]
    return make_findings(
        "several pumps in one order",
        "doubt",
        found["record_id"],
        "the text names {value} other pump(s), and as many seals more were drawn; was one of them "
        "changed too?",
        column="long_text",
        value=found["others"],
        action="counted on the order's own pump",
    )
