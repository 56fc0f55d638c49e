"""Find in texts what is said of the seal, its supply system and the rest of the pump.

In: texts. Out: one row of evidence a text. Next: `seallife.intake.worktext`.

The words stand in ``work_words.toml``, one list a kind of evidence and language. A text names
things (the seal, its supply system, other parts) and says what was wrong or done; each saying is
held against the nearest thing, so that in "bearing failed, seal checked" the seal did not fail.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.resources import files
from itertools import accumulate

import numpy as np
import pandas as pd

from seallife.intake.lexicon import Hit, Lexicon, fold_word, split_words

__all__ = ["ENDS_NAMED", "EVIDENCE", "read_evidence"]

EVIDENCE = (
    "seal",
    "support",
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
    "de_end",
    "nde_end",
    "both_ends",
)
"""Kinds of evidence a text can hold, see ``work_words.toml``."""

ENDS_NAMED = ("de_end", "nde_end", "both_ends")
"""Those of them that name an end of the pump."""

_BIT = {kind: 1 << i for i, kind in enumerate(EVIDENCE)}
_THINGS = ("seal", "support", "part")
_SAYINGS = frozenset({"renewed", "failure", "trouble", "no_action"})
_WHOLE_JOB = ("signal", "rising", "planned", "outage", "upgrade", "other_job", "early", "both_ends")
_TAKEN_BACK = frozenset({"renewed", "failure", "trouble", "planned", "outage", "rising"})
_FULL_STOPS = frozenset(".;!?")
_SIGNS = frozenset(".,;!?&+/()-")


@lru_cache(maxsize=1)
def _word_lists() -> dict[str, dict[str, list[str]]]:
    """Read the words once: language -> kind of evidence -> phrases."""
    return tomllib.loads((files("seallife.intake") / "work_words.toml").read_text("utf-8"))


@lru_cache(maxsize=1)
def _lexicon() -> Lexicon:
    """All words but the codes of the pump's ends, which are read in capitals only."""
    lists = _word_lists().items()
    return Lexicon({x: {k: p for k, p in w.items() if not k.endswith("_code")} for x, w in lists})


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
    ['seal', 'other_job', 'no_action']
    """
    codes, unique = pd.factorize(text)
    bits = np.array([_evidence_bits(t) for t in unique], dtype=np.int64)[codes]
    return pd.DataFrame({k: (bits & b) > 0 for k, b in _BIT.items()}, index=text.index)


@dataclass
class _Thing:
    """Something the text names, with what is said of it."""

    kind: str
    hit: Hit
    sentence: int
    said: set[str] = field(default_factory=set)
    ends: set[str] = field(default_factory=set)


class _Text:
    """One text as words, phrases found and sentences."""

    def __init__(self, text: str) -> None:
        self.written = split_words(text)
        self.words = [fold_word(w) for w in self.written]
        self.hits = [h for h in _lexicon().find(self.words) if "misleading" not in h.kinds]
        self.sentence = list(accumulate(w in _FULL_STOPS for w in self.words))
        self.joins = {i for h in self.hits if "and" in h.kinds for i in range(h.start, h.stop)}
        self.signs = {i for i, w in enumerate(self.words) if w in _SIGNS}

    def taken_back(self) -> set[int]:
        """Give the starts of phrases that a negation or a mere intention takes back."""
        gone: set[int] = set()
        for i, h in enumerate(self.hits):
            if "negation" in h.kinds:
                # "no 2 seal leaks" numbers the seal; the first saying within two words is meant.
                said = (o for o in self.hits[i + 1 :] if o.kinds & _TAKEN_BACK)
                after = next(said, None)
                if after and self._close(h, after) and not self.words[h.stop][0].isdigit():
                    gone.add(after.start)
            if "negation_after" in h.kinds and i:
                before = self.hits[i - 1]
                if "failure" in before.kinds and self._close(before, h, 1):
                    gone.add(before.start)
            if "intent" in h.kinds:
                near = self.hits[max(i - 2, 0) : i] + self.hits[i + 1 : i + 3]
                for o in near:
                    first, second = (h, o) if o.start > h.start else (o, h)
                    if "renewed" in o.kinds and self._close(first, second):
                        gone.add(o.start)
        return gone

    def _close(self, first: Hit, second: Hit, words: int = 2) -> bool:
        """At most so many words between, no sign and no "and"."""
        between = range(first.stop, second.start)
        return len(between) <= words and not any(i in self.signs | self.joins for i in between)

    def distance(self, hit: Hit, thing: _Thing) -> float:
        """Words between a saying and a thing; signs weigh more, things behind a little more."""
        if thing.hit is hit:
            return -1.0
        behind = thing.hit.start > hit.start
        between = range(hit.stop, thing.hit.start) if behind else range(thing.hit.stop, hit.start)
        return len(between) + 4.0 * sum(i in self.signs for i in between) + 0.5 * behind

    def along(self, said: Hit, things: Sequence[_Thing]) -> list[_Thing]:
        """Find what comes along with a saying: the bearings in "seal renewed with bearings"."""
        behind = next((t for t in things if t.hit.start > said.start), None)
        if behind is None:
            return []
        between = set(range(said.stop, behind.hit.start))
        if not between & self.joins or len(between) > 2 or between & self.signs:
            return []
        # In "bearings renewed and seal checked" the seal has its own.
        own = (h for h in self.hits if h.start >= behind.hit.stop and h.kinds & _SAYINGS)
        return [] if any(self._close(behind.hit, h) for h in own) else [behind]


def _evidence_bits(text: str) -> int:
    """Read one text; `EVIDENCE` as bits."""
    parsed = _Text(text)
    if not parsed.hits:
        return 0
    gone = parsed.taken_back()
    found = {k for h in parsed.hits if h.start not in gone for k in _WHOLE_JOB if k in h.kinds}
    things = _things(parsed)
    groups = _groups(parsed, things)
    loose = _say(parsed, things, groups, gone)
    seals = [t for t in things if t.kind == "seal"]
    found |= {t.kind for t in things if t.kind != "part"}
    for said in ("renewed", "failure", "no_action"):
        if said in loose or any(said in t.said for t in seals):
            found.add(said)
    for t in things:
        if t.kind == "part" and (t.said & {"failure", "renewed"} or t.said == {"trouble"}):
            found.add("other_job")  # trouble that was looked at and no more is none
        if t.kind == "support" and "no_action" in t.said:
            found.add("no_action")
    found |= _named_ends(parsed, things)
    return sum(_BIT[k] for k in found)


def _things(text: _Text) -> list[_Thing]:
    """What the text names, in order."""
    return [
        _Thing(next(k for k in _THINGS if k in h.kinds), h, text.sentence[h.start])
        for h in text.hits
        if not h.kinds.isdisjoint(_THINGS)
    ]


def _groups(text: _Text, things: Sequence[_Thing]) -> list[list[_Thing]]:
    """Join things of one list: "seal, bearings and sleeve renewed" says it of all three."""
    sayings = {h.start for h in text.hits if h.kinds & _SAYINGS and h.kinds.isdisjoint(_THINGS)}
    groups: list[list[_Thing]] = []
    for t in things:
        last = groups[-1][-1] if groups else None
        if last is not None and last.sentence == t.sentence:
            between = set(range(last.hit.stop, t.hit.start))
            if len(between) <= 3 and between & (text.signs | text.joins) and not between & sayings:
                groups[-1].append(t)
                continue
        groups.append([t])
    return groups


def _say(
    text: _Text, things: Sequence[_Thing], groups: Sequence[list[_Thing]], gone: set[int]
) -> set[str]:
    """Hold each saying against the nearest thing; return what is said of nothing named."""
    loose: set[str] = set()
    group_of = {id(t): g for g in groups for t in g}
    for h in text.hits:
        said = set(h.kinds & _SAYINGS)
        if not said:
            continue
        if h.start in gone:
            said = {"no_action"} if "failure" in said else set()
        sentence = text.sentence[h.start]
        here = [t for t in things if t.sentence == sentence]
        if here:
            nearest = min(here, key=lambda t: text.distance(h, t))
            about = [nearest] if nearest.hit is h else group_of[id(nearest)] + text.along(h, here)
        else:
            # A sentence without a thing goes on about those of the last one that named any.
            before = [t.sentence for t in things if t.sentence < sentence]
            about = [t for t in things if before and t.sentence == max(before)]
        for t in about:
            t.said |= said
        if not about:
            loose |= said
    return loose


def _named_ends(text: _Text, things: Sequence[_Thing]) -> set[str]:
    """Which end of the pump is meant? That of a seal acted on, else of any seal, else any."""
    marks = [(h, k) for h in text.hits for k in ENDS_NAMED if k in h.kinds]
    marks += _end_codes(text)
    if not marks:
        return set()
    loose: set[str] = set()
    for h, end in marks:
        here = [t for t in things if t.sentence == text.sentence[h.start]]
        if here:
            min(here, key=lambda t: text.distance(h, t)).ends.add(end)
        else:
            loose.add(end)
    seals = [t for t in things if t.kind == "seal"]
    acted = [t for t in seals if t.said & {"failure", "renewed"}]
    for chosen in (acted, seals):
        ends = {e for t in chosen for e in t.ends}
        if ends:
            return ends
    return loose or {e for t in things for e in t.ends}


def _end_codes(text: _Text) -> list[tuple[Hit, str]]:
    """Find short names of the pump's ends, written in capitals."""
    spotted = [i for i, w in enumerate(text.written) if w in _codes()]
    if not spotted:
        return []
    shouted = all(w == w.upper() for w in text.written)
    foreign = {x for h in text.hits if "en" not in h.languages for x in h.languages}
    found = []
    for i in spotted:
        end, languages = _codes()[text.written[i]]
        # In a text all in capitals "DE" and "LA" may be the little words of other languages.
        if "en" in languages:
            sure = not (shouted and foreign)
        else:
            sure = bool(foreign & languages) and (not shouted or languages == {"de"})
        if sure:
            found.append((Hit(i, i + 1, frozenset({end}), languages), end))
    return found


@lru_cache(maxsize=1)
def _codes() -> dict[str, tuple[str, frozenset[str]]]:
    """Short name in capitals -> end, and the languages that use it."""
    found: dict[str, tuple[str, set[str]]] = {}
    for language, lists in _word_lists().items():
        for end in ("de", "nde"):
            for code in lists.get(f"{end}_code", []):
                found.setdefault(code, (f"{end}_end", set()))[1].add(language)
    return {code: (end, frozenset(languages)) for code, (end, languages) in found.items()}
