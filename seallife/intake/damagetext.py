"""One work-order text: what does it say was wrong with the seal?

In: a text. Out: a group of `seallife.schema.DAMAGE` and the words that say so. Next:
`seallife.intake.damage`.

The words stand in ``damage_words.toml``. A text names things (faces, rings, the drive, other parts)
and says something of them; each saying is held against the nearest thing, and the pair tells the
group: in "bearing ran dry, faces scored" the seal did not run dry.
"""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib.resources import files
from typing import Any

from seallife.intake.lexicon import Hit, Lexicon, split_words
from seallife.intake.parsed import SIGNS, ReadText, without_tags
from seallife.schema import DAMAGE

__all__ = ["Found", "damage_codes", "damage_lists", "damage_of", "damage_words"]

UNKNOWN = "unknown"
_RANK = {group: i for i, group in enumerate(DAMAGE)}
_THINGS = ("face", "ring", "drive", "sleeve", "bearing", "shaft", "supply", "pump", "other", "seal")
_OWN = frozenset({"face", "ring", "drive", "sleeve"})
_NEAR = 3  # words between a part and what is said without need of one
_NEGATED = 2  # words between a negation and what it takes back
_SPOILT = frozenset({"broken", "cut", "torn", "scored", "damaged", "bent", "hard"})

Found = tuple[str, str]
"""Group of damage, and the words that say so."""


def damage_words(text: str) -> tuple[str, ...]:
    """Return what can be read of a text: its words without tags, numbers, case and accents.

    Examples
    --------
    >>> damage_words("P-101A faces scored, J. Smith")
    ('faces', 'scored', ',', '_', '.', '_')
    """
    return tuple(map(_lexicon().fold, split_words(without_tags(text))))


def damage_of(words: tuple[str, ...]) -> Found:
    """Find the most telling group that a text names, and in which words.

    Parameters
    ----------
    words : tuple of str
        From `damage_words`.

    Examples
    --------
    >>> damage_of(damage_words("bearing ran dry, faces badly scored"))
    ('machine', 'bearing ran dry')
    >>> damage_of(damage_words("no wear or scoring"))
    ('unknown', '')
    """
    hits = [h for h in _lexicon().find(words) if "misleading" not in h.kinds]
    text = ReadText(words, hits, joining="or")
    means = _means()
    sayings = [h for h in hits if not h.kinds.isdisjoint(means)]
    if not sayings:
        return UNKNOWN, ""
    things = [h for h in hits if _thing(h)]
    gone = _taken_back(text, sayings)
    best, evidence = UNKNOWN, ""
    for h in sayings:
        if h.start in gone:
            continue
        for group, about in _told(text, h, things):
            if _RANK[group] < _RANK[best]:
                parts = sorted({h, about or h}, key=lambda p: p.start)
                best, evidence = group, " ".join(w for p in parts for w in words[p.start : p.stop])
    return best, evidence


@lru_cache(maxsize=1)
def damage_lists() -> dict[str, Any]:
    """Read the words once: by language and kind; ``means`` and ``codes`` turn them into groups."""
    return tomllib.loads((files("seallife.intake") / "damage_words.toml").read_text("utf-8"))


@lru_cache(maxsize=1)
def _means() -> dict[str, dict[str, str]]:
    return dict(damage_lists()["means"])


@lru_cache(maxsize=1)
def damage_codes() -> dict[str, str]:
    """Numbers and names of failure mechanisms -> group."""
    return dict(damage_lists()["codes"])


@lru_cache(maxsize=1)
def _lexicon() -> Lexicon:
    return Lexicon({k: v for k, v in damage_lists().items() if k not in ("means", "codes")})


def _thing(hit: Hit) -> str:
    """Say which thing a phrase names; '' where none."""
    return next((t for t in _THINGS if t in hit.kinds), "")


def _told(text: ReadText, said: Hit, things: list[Hit]) -> list[tuple[str, Hit | None]]:
    """Find the groups that one saying tells, and the thing that it is said of."""
    if not said.kinds.isdisjoint(_SPOILT) and _at_fitting(text, said):
        return [("fitting", None)]
    found: list[tuple[str, Hit | None]] = []
    for kind in sorted(said.kinds & _means().keys()):
        table = _means()[kind]
        for i, about in enumerate(_candidates(text, said, kind, things)):
            if i and _parted(text, said, about):
                break  # "seal failed, bearings ok": what stands behind a sign has its own saying
            group = table.get(_thing(about))
            if group is not None:
                found += [(group, about)] if group else []
                break
        else:
            free = table.get("any") or ("" if things else table.get("none", ""))
            found += [(free, None)] if free else []
    return found


def _parted(text: ReadText, one: Hit, other: Hit) -> bool:
    """Do signs stand between two phrases?"""
    first, second = sorted((one, other), key=lambda h: h.start)
    return text.signs(first.stop, second.start) > 0


def _candidates(text: ReadText, said: Hit, kind: str, things: list[Hit]) -> list[Hit]:
    """Things that a saying may be about, the nearest first."""
    if kind == "lack":
        after = (t for t in things if 0 <= t.start - said.stop <= 1)
        return [t for t in after if not text.signs(said.stop, t.start)]
    sentence = text.sentence[said.start]
    here = [t for t in things if text.sentence[t.start] == sentence]
    if kind == "shut":
        here = [t for t in here if _apart(text, said, t) <= _NEAR + 2]
    elif "any" in _means()[kind]:
        here = [t for t in here if _apart(text, said, t) <= _NEAR + 2]
        # "Faces cut by sand from the tank" is about the faces, "sand in the tank" is not.
        own = [t for t in here if _thing(t) in _OWN]
        here = own or [t for t in here if _apart(text, said, t) <= _NEAR]
    elif not here:
        # A sentence without a thing goes on about those of the last one that named any.
        last = max((text.sentence[t.start] for t in things if t.start < said.start), default=None)
        here = [t for t in things if text.sentence[t.start] == last]
    return sorted(here, key=lambda t: _apart(text, said, t))


def _apart(text: ReadText, said: Hit, thing: Hit) -> float:
    """Words between a saying and a thing; signs weigh more, things behind a little more."""
    if thing.start >= said.stop:
        return thing.start - said.stop + 4.0 * text.signs(said.stop, thing.start) + 0.5
    return said.start - thing.stop + 4.0 * text.signs(thing.stop, said.start)


def _at_fitting(text: ReadText, said: Hit) -> bool:
    """Do the words right beside it say that it happened at fitting?"""
    return any(
        "at_fitting" in h.kinds
        and _apart(text, said, h) <= _NEAR + 0.5
        and text.sentence[h.start] == text.sentence[said.start]
        for h in text.hits
    )


def _taken_back(text: ReadText, sayings: list[Hit]) -> set[int]:
    """Give the starts of sayings that a negation takes back: "no wear, scoring or heat checks"."""
    gone: set[int] = set()
    for h in text.hits:
        if "negation" in h.kinds and not _lacks(text, h):
            after = [s for s in sayings if s.start >= h.stop]
            if not after or not _follows(text, h, after[0]):
                continue
            listed = 1
            for k in range(1, len(after)):
                start, stop = after[k - 1].stop, after[k].start
                among = set(text.words[start:stop])
                if stop - start > _NEGATED or not among.isdisjoint(SIGNS - {","}):
                    break
                if text.joins(start, stop) and not _thing_between(text, start, stop):
                    listed = k + 1
                elif "," not in among:
                    break
            gone |= {s.start for s in after[:listed]}
        if "negation_after" in h.kinds:
            before = [s for s in sayings if s.stop <= h.start]
            ends = h.stop == len(text.words) or text.signs(h.stop, h.stop + 1)
            if before and text.close(before[-1], h, 1) and (ends or text.joins(h.stop, h.stop + 1)):
                gone.add(before[-1].start)
    return gone


def _thing_between(text: ReadText, start: int, stop: int) -> bool:
    """Does a new thing begin what is said, as in "no wear and faces scored"?"""
    return any(_thing(h) for h in text.hits if start <= h.start < stop)


def _follows(text: ReadText, negation: Hit, said: Hit) -> bool:
    """Does a saying stand right behind a negation? "No 2 seal worn" numbers the seal."""
    start, stop = negation.stop, said.start
    if stop - start > _NEGATED or text.signs(start, stop):
        return False
    return not text.words[start][0].isdigit()


def _lacks(text: ReadText, negation: Hit) -> bool:
    """Does the negation say that a supply was lacking, as in "no flush"?"""
    return "lack" in negation.kinds and any(
        "supply" in t.kinds and 0 <= t.start - negation.stop <= 1 for t in text.hits
    )
