"""Find in texts what is said of the seal, its supply system and the rest of the pump.

In: texts. Out: one row of evidence a text. Next: `seallife.intake.worktext`.

The words stand in ``work_words.toml``, one list a kind of evidence and language. A text names
things (the seal, its supply system, other parts) and says what was wrong or done; each saying is
held against the nearest thing: in "bearing failed, seal checked" the seal did not fail.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from seallife.intake.lexicon import Hit
from seallife.intake.parsed import ParsedText, Pattern, pattern_of

__all__ = ["ENDS_NAMED", "EVIDENCE", "read_evidence"]

EVIDENCE = (
    "seal",
    "support",
    "part",
    "renewed",
    "failure",
    "signal",
    "rising",
    "planned",
    "outage",
    "upgrade",
    "other_job",
    "early",
    "no_action",
    "occasion",
    "mention",
    "rework",
    "returned",
    "retired",
    "other_seal",
    "de_end",
    "nde_end",
    "both_ends",
)
"""Kinds of evidence a text can hold, see ``work_words.toml``."""

ENDS_NAMED = ("de_end", "nde_end", "both_ends")
"""Those of them that name an end of the pump."""

_BIT = {kind: 1 << i for i, kind in enumerate(EVIDENCE)}
_THINGS = frozenset({"seal", "support", "part"})
_SAYINGS = frozenset({"renewed", "failure", "trouble", "no_action", "growing"})
_WHOLE_JOB = frozenset(
    {
        *("signal", "rising", "planned", "outage", "upgrade", "other_job", "early", "mention"),
        *("rework", "returned", "retired", "other_seal", "both_ends"),
    }
)
_NO_ACTION = frozenset({"no_action"})


def read_evidence(text: pd.Series) -> pd.DataFrame:
    """What kinds of evidence does each text hold?

    Parameters
    ----------
    text : pandas.Series of str, shape (n,)
        Work order texts in any of the languages of ``work_words.toml``.

    Returns
    -------
    pandas.DataFrame
        One row a text, one column of bool for each of `EVIDENCE`. ``renewed`` and ``failure``
        are said of the seal, ``no_action`` too. A negated failure ("no leak", "nicht undicht",
        "sin fuga") counts as ``no_action``.

    Examples
    --------
    >>> found = read_evidence(pd.Series(["Brg failed, seal checked, no leak"])).iloc[0]
    >>> found[found].index.tolist()
    ['seal', 'part', 'other_job', 'no_action']
    """
    codes, unique = pd.factorize(text)
    # Texts that differ only in tags, numbers and names are read once.
    known: dict[Pattern, int] = {}
    read = np.zeros(len(unique), dtype=np.int64)
    for i, one in enumerate(unique):
        pattern = pattern_of(one)
        bits_of = known.get(pattern)
        if bits_of is None:
            bits_of = known[pattern] = _evidence_bits(pattern)
        read[i] = bits_of
    bits = read[codes]
    return pd.DataFrame({k: (bits & b) > 0 for k, b in _BIT.items()}, index=text.index)


class _Thing:
    """Something the text names, with what is said of it."""

    __slots__ = ("ends", "hit", "kind", "said", "sentence")

    def __init__(self, kind: str, hit: Hit, sentence: int) -> None:
        self.kind, self.hit, self.sentence = kind, hit, sentence
        self.said: set[str] = set()
        self.ends: set[str] = set()


def _evidence_bits(pattern: Pattern) -> int:
    """Read one text; `EVIDENCE` as bits."""
    parsed = ParsedText(pattern)
    found = set(parsed.misled)
    if parsed.hits:
        _read(parsed, found)
    return sum(_BIT[k] for k in found)


def _read(parsed: ParsedText, found: set[str]) -> None:
    """Add the kinds of evidence that a text holds."""
    mentioned = parsed.mentioned()
    gone = parsed.taken_back() | mentioned
    if mentioned:
        found.add("occasion")
    for h in parsed.hits:
        if h.start not in gone:
            found |= h.kinds & _WHOLE_JOB
    things = _things(parsed, found)
    groups = _groups(parsed, things)
    loose = _say(parsed, things, groups, gone)
    seals = [t for t in things if t.kind == "seal"]
    of_seal = set(loose).union(*(t.said for t in seals))
    found |= of_seal & {"renewed", "failure", "no_action"}
    if "growing" in of_seal:
        found.add("rising")
    for t in things:
        found.add(t.kind)
        if t.kind == "part" and (t.said & {"failure", "renewed"} or t.said == {"trouble"}):
            found.add("other_job")  # trouble that was looked at and no more is none
        if t.kind == "support" and "no_action" in t.said:
            found.add("no_action")
    found |= _named_ends(parsed, things)


def _things(text: ParsedText, found: set[str]) -> list[_Thing]:
    """What the text names, in order."""
    things: list[_Thing] = []
    before: Hit | None = None
    for h in text.hits:
        named = h.kinds & _THINGS
        if not named:
            continue
        kind = "seal" if "seal" in named else "support" if "support" in named else "part"
        thing = _Thing(kind, h, text.sentence[h.start])
        if kind == "seal" and before is not None and not before.kinds & _SEAL:
            if "part" in before.kinds and _is_part_of(text, before, h):
                # A "motor seal" or "valve seat seal" is the part's own, no shaft seal.
                found.add("other_seal")
                before = h
                continue
            if _places(text, before, h):
                # "Flush line to seal" is about the line.
                found.add("seal")
                before = h
                continue
        things.append(thing)
        before = h
    return things


_SEAL = frozenset({"seal"})


def _is_part_of(text: ParsedText, part: Hit, seal: Hit) -> bool:
    """Does the seal's name begin with the part's, as in English?"""
    words = text.words
    return (
        part.stop == seal.start
        and "en" in part.languages
        and seal.stop - seal.start == 1
        and words[seal.start].startswith("seal")
        and not words[part.stop - 1].endswith("s")
        and not part.kinds & _SAYINGS
    )


def _places(text: ParsedText, thing: Hit, seal: Hit) -> bool:
    """Does the seal only say where the thing is, as in "line to seal"?"""
    start, stop = thing.stop, seal.start
    if not 1 <= stop - start <= 3 or text.signs(start, stop):
        return False
    between = [h for h in text.hits if start <= h.start < stop]
    return any("place" in h.kinds and h.start == start for h in between) and not any(
        h.kinds & _SAYINGS for h in between
    )


def _groups(text: ParsedText, things: Sequence[_Thing]) -> dict[int, list[_Thing]]:
    """Join things of one list, by first word: "seal, bearings and sleeve renewed" means all."""
    if len(things) < 2:
        return {t.hit.start: [t] for t in things}
    sayings = {h.start for h in text.hits if h.kinds & _SAYINGS and h.kinds.isdisjoint(_THINGS)}
    groups: dict[int, list[_Thing]] = {}
    last: _Thing | None = None
    for t in things:
        if last is not None and last.sentence == t.sentence:
            start, stop = last.hit.stop, t.hit.start
            if (
                stop - start <= 3
                and (text.signs(start, stop) or text.joins(start, stop))
                and not any(i in sayings for i in range(start, stop))
            ):
                groups[last.hit.start].append(t)
                groups[t.hit.start] = groups[last.hit.start]
                last = t
                continue
        groups[t.hit.start] = [t]
        last = t
    return groups


def _say(
    text: ParsedText, things: Sequence[_Thing], groups: dict[int, list[_Thing]], gone: set[int]
) -> set[str]:
    """Hold each saying against the nearest thing; return what is said of nothing named."""
    loose: set[str] = set()
    for h in text.hits:
        said = h.kinds & _SAYINGS
        if not said:
            continue
        if h.start in gone:
            said = _NO_ACTION if "failure" in said else frozenset()
        sentence = text.sentence[h.start]
        here = [t for t in things if t.sentence == sentence]
        if here:
            nearest = here[0] if len(here) == 1 else min(here, key=lambda t: _apart(text, h, t))
            if nearest.hit is h:
                about = [nearest]
            else:
                about = groups[nearest.hit.start] + _along(text, h, here)
        else:
            # A sentence without a thing goes on about those of the last one that named any.
            last = max((t.sentence for t in things if t.sentence < sentence), default=None)
            about = [t for t in things if t.sentence == last]
        for t in about:
            t.said |= said
        if not about:
            loose |= said
    return loose


def _apart(text: ParsedText, hit: Hit, thing: _Thing) -> float:
    """Words between a saying and a thing; signs weigh more, things behind a little more."""
    if thing.hit is hit:
        return -1.0
    if thing.hit.start > hit.start:
        start, stop = hit.stop, thing.hit.start
        return stop - start + 4.0 * text.signs(start, stop) + 0.5
    start, stop = thing.hit.stop, hit.start
    return stop - start + 4.0 * text.signs(start, stop)


def _along(text: ParsedText, said: Hit, things: Sequence[_Thing]) -> list[_Thing]:
    """Find what comes along with a saying: the bearings in "seal renewed with bearings"."""
    behind = next((t for t in things if t.hit.start > said.start), None)
    if behind is None:
        return []
    start, stop = said.stop, behind.hit.start
    if stop - start > 2 or not text.joins(start, stop) or text.signs(start, stop):
        return []
    # In "bearings renewed and seal checked" the seal has its own.
    own = (h for h in text.hits if h.start >= behind.hit.stop and h.kinds & _SAYINGS)
    return [] if any(text.close(behind.hit, h) for h in own) else [behind]


def _named_ends(text: ParsedText, things: Sequence[_Thing]) -> set[str]:
    """Which end of the pump is meant? That of a seal acted on, else of any seal, else any.

    The end of a bearing tells the seal's only where both stand in one sentence.
    """
    marks = [(h, k) for h in text.hits for k in ENDS_NAMED if k in h.kinds]
    if not marks:
        return set()
    loose: set[str] = set()
    with_seal = {t.sentence for t in things if t.kind == "seal"}
    for h, end in marks:
        sentence = text.sentence[h.start]
        here = [t for t in things if t.sentence == sentence]
        if not here:
            loose.add(end)
        elif sentence in with_seal or not with_seal:
            min(here, key=lambda t: _apart(text, h, t)).ends.add(end)
    seals = [t for t in things if t.kind == "seal"]
    acted = [t for t in seals if t.said & {"failure", "renewed"}]
    for chosen in (acted, seals):
        ends = {e for t in chosen for e in t.ends}
        if ends:
            return ends
    return loose or {e for t in things for e in t.ends}
