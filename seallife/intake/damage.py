"""Read what was found wrong with a seal, and where it leaked to.

In: texts and failure codes. Out: a group of `seallife.schema.DAMAGE`, on what evidence; the leak
path. Next: `seallife.orders`, `seallife.events`.

What a text says goes before what a code says, and a code that a site gives to most of its removals
says nothing.
"""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from seallife.intake.damagetext import Found, damage_codes, damage_of, damage_words
from seallife.intake.lexicon import fold_word
from seallife.schema import DAMAGE, LEAK_PATHS

__all__ = [
    "DEFAULT_ORDERS",
    "DEFAULT_SHARE",
    "how_telling",
    "leak_path",
    "listed_damage",
    "read_damage",
]

DEFAULT_SHARE = 0.5
"""A code of this share of a site's coded removals is taken as the first item of a list."""

DEFAULT_ORDERS = 30
"""Fewer coded removals are too few to call a code a default."""

UNKNOWN = "unknown"
_RANK = {group: i for i, group in enumerate(DAMAGE)}
_GROUPS = {group.casefold(): group for group in DAMAGE}
_MECHANISM = re.compile(r"^[A-Za-z]{0,4}[ .-]?(\d\.\d)(?![\d.])")


def read_damage(
    text: pd.Series,
    mechanism_code: pd.Series | None = None,
    cause_code: pd.Series | None = None,
    site: pd.Series | None = None,
) -> pd.DataFrame:
    """What was found wrong with each seal, and what says so?

    Parameters
    ----------
    text : pandas.Series of str, shape (n,)
        All texts of an order joined, in any language of ``damage_words.toml``. Only orders on a
        seal that came out should be given: an order on something else may speak of wear too.
    mechanism_code, cause_code : pandas.Series of str, shape (n,), optional
        Codes of ISO 14224 by number (mechanisms only) or name, any words, or, translated under
        ``[codes]`` of ``fleet.toml``, names of `seallife.schema.DAMAGE`. Read where the text is
        silent.
    site : pandas.Series of str, shape (n,), optional
        Codes are held against the others of their site: one that `DEFAULT_SHARE` or more of
        `DEFAULT_ORDERS` or more coded orders bear is not read.

    Returns
    -------
    pandas.DataFrame
        ``damage`` : a group of `seallife.schema.DAMAGE`, the first of those named there;
        ``damage_evidence`` : 'words: ...' or 'code: ...', '' where unknown.

    Examples
    --------
    >>> read_damage(pd.Series(["Faces heat checked", "no wear on faces"])).values.tolist()
    [['dry or hot running', 'words: heat checked'], ['unknown', '']]
    """
    codes, unique = pd.factorize(text)
    # Texts that differ only in tags, numbers and names are read once.
    known: dict[tuple[str, ...], Found] = {}
    read: list[Found] = []
    for one in unique:
        words = damage_words(one)
        found = known.get(words)
        if found is None:
            group, told = damage_of(words)
            found = known[words] = (group, told and f"words: {told}")
        read.append(found)
    said = np.array([*read, (UNKNOWN, "")], dtype=object)[codes]
    out = pd.DataFrame(said, columns=["damage", "damage_evidence"], index=text.index, dtype=object)
    for column, numbered in ((mechanism_code, True), (cause_code, False)):
        if column is None:
            continue
        written = column.unique()
        named = column.map({c: _coded(c, numbered) for c in written})
        use = (out["damage"] == UNKNOWN) & (named != UNKNOWN) & ~_defaulted(column, site)
        out["damage"] = out["damage"].mask(use, named)
        shown = column.map({c: f"code: {c}" for c in written})
        out["damage_evidence"] = out["damage_evidence"].mask(use, shown)
    return out


def listed_damage(damage: pd.Series, cause: pd.Series) -> pd.DataFrame:
    """What does a site's own list of removals say was found wrong?

    Parameters
    ----------
    damage : pandas.Series of str, shape (n,)
        Names of `seallife.schema.DAMAGE`, mechanisms of ISO 14224 or any words.
    cause : pandas.Series of str, shape (n,)
        Text, read where the first is not understood.

    Returns
    -------
    pandas.DataFrame
        As `read_damage`; ``damage_evidence`` begins with 'given: ' where the first is understood.
        Such a list was made by hand, so that no entry is taken as a default.
    """
    group = damage.map({d: _coded(d, numbered=True) for d in damage.unique()})
    told = group != UNKNOWN
    read = read_damage(cause)
    return pd.DataFrame(
        {
            "damage": read["damage"].mask(told, group),
            "damage_evidence": read["damage_evidence"].mask(told, "given: " + damage),
        }
    )


def leak_path(mode_code: pd.Series) -> pd.Series:
    """Where did each seal leak to?

    Parameters
    ----------
    mode_code : pandas.Series of str, shape (n,)
        Failure modes of ISO 14224.

    Returns
    -------
    pandas.Series of str
        A path of `seallife.schema.LEAK_PATHS`, or 'unknown'.
    """
    return mode_code.str.strip().str.upper().map(LEAK_PATHS).fillna(UNKNOWN).astype(object)


def how_telling(damage: pd.Series, evidence: pd.Series) -> pd.Series:
    """How much does each reading tell, so that the best of several records of a job can count?

    Returns
    -------
    pandas.Series of int
        The least is the most telling: words, in the order of `seallife.schema.DAMAGE`, then codes,
        then nothing.
    """
    rank = damage.map(_RANK).astype(int)
    rank += len(_RANK) * (~evidence.str.startswith("words")).astype(int)
    return rank.mask(damage == UNKNOWN, 2 * len(_RANK))


def _defaulted(code: pd.Series, site: pd.Series | None) -> pd.Series:
    """Which codes are those of most coded orders of their site?"""
    by = [code] if site is None else [site, code]
    given = code != ""
    whole = given.groupby(site if site is not None else np.zeros(len(code))).transform("sum")
    same = given.groupby(by).transform("sum")
    return (given & (whole >= DEFAULT_ORDERS) & (same >= DEFAULT_SHARE * whole)).astype(bool)


def _coded(code: str, numbered: bool) -> str:
    """Turn a code into a group: our own word, a number or name of ISO 14224, any words."""
    given = code.strip()
    own = _GROUPS.get(given.casefold())
    number = _MECHANISM.match(given) if numbered else None
    if own or not given:
        return own or UNKNOWN
    if number:
        return damage_codes().get(number[1], UNKNOWN)
    named = damage_codes().get(" ".join(fold_word(given).split()))
    if named and not given[0].isdigit():
        return named
    return damage_of(damage_words(f"seal {given}"))[0]
