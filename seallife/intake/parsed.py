"""One work-order text as words, phrases found and sentences.

In: a text. Out: its `Pattern`, and that as `ParsedText`. Next: `seallife.intake.evidence`.

Tags, numbers and words of no phrase, as names, say nothing of what was done: they are taken out
first, and texts that differ in nothing else share one pattern, which is read once.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from functools import lru_cache
from importlib.resources import files
from itertools import accumulate
from typing import NamedTuple

from seallife.intake.lexicon import Hit, Lexicon, split_words

__all__ = ["ParsedText", "Pattern", "ReadText", "pattern_of", "without_tags"]

FULL_STOPS = frozenset(".;!?")
SIGNS = frozenset(".,;!?&+/()-")
_TAG = re.compile(
    r"(?<![\w-])(?!(?:TA|PM|SD|MOC)\d)(?:\d{1,4}-)?[A-Za-z]{1,4}(?:[-/.]?\d{2,}|-\d+)[A-Za-z]?"
    r"(?:/[A-Za-z])?(?!\w)"
)
_NUMBER = re.compile(r"\d+(?:[.,]\d+)*")
_TAKEN_BACK = frozenset({"renewed", "failure", "trouble", "planned", "outage", "rising"})


def without_tags(text: str) -> str:
    """Return a text without tags and with one number for all; "2" stays: it counts seals.

    Examples
    --------
    >>> without_tags("P-101A m/seal leaking 10 dpm, 2 seals")
    '  m/seal leaking 9 dpm, 2 seals'
    """
    return _NUMBER.sub(lambda m: "2" if m[0] == "2" else "9", _TAG.sub(" ", text))


@lru_cache(maxsize=1)
def word_lists() -> dict[str, dict[str, list[str]]]:
    """Read the words once: language -> kind of evidence -> phrases."""
    return tomllib.loads((files("seallife.intake") / "work_words.toml").read_text("utf-8"))


@lru_cache(maxsize=1)
def _lexicon() -> Lexicon:
    """All words but short names, which are read in capitals only."""
    lists = word_lists().items()
    return Lexicon({x: {k: p for k, p in w.items() if not k.endswith("_code")} for x, w in lists})


@lru_cache(maxsize=1)
def _codes() -> dict[str, tuple[str, frozenset[str]]]:
    """Short name in capitals -> its kind, and the languages that use it."""
    found: dict[str, tuple[str, set[str]]] = {}
    for language, lists in word_lists().items():
        for kind, codes in lists.items():
            if kind.endswith("_code"):
                for code in codes:
                    found.setdefault(code, (_CODED[kind], set()))[1].add(language)
    return {code: (kind, frozenset(languages)) for code, (kind, languages) in found.items()}


_CODED = {
    "de_code": "de_end",
    "nde_code": "nde_end",
    "seal_code": "seal",
    "failure_code": "failure",
}


class Pattern(NamedTuple):
    """All of a text that can be read: words, short names by place, all in capitals or not."""

    words: tuple[str, ...]
    codes: tuple[tuple[int, str], ...]
    shouted: bool


def pattern_of(text: str) -> Pattern:
    """Return what remains of a text without tags, numbers, case, accents and unknown words.

    Examples
    --------
    >>> pattern_of("P-101A seal leaking, Fitter Smith").words
    ('seal', 'leaking', ',', '_', '_')
    """
    written = split_words(without_tags(text))
    codes = _codes()
    words = tuple(map(_lexicon().fold, written))
    if codes.keys().isdisjoint(written):
        return Pattern(words, (), False)
    short = tuple((i, w) for i, w in enumerate(written) if w in codes)
    return Pattern(words, short, all(w == w.upper() for w in written))


class ReadText:
    """Words of a text with the phrases found in them and how sentences and lists part them.

    Attributes
    ----------
    words : sequence of str
    hits : list of Hit
        Phrases found, in order.
    sentence : list of int
        Number of each word's sentence.
    """

    __slots__ = ("_joins", "_signs", "hits", "sentence", "words")

    def __init__(self, words: Sequence[str], hits: list[Hit], joining: str = "and") -> None:
        self.words, self.hits = words, hits
        self.sentence = list(accumulate(w in FULL_STOPS for w in words))
        # How many signs, and how many words that join, stand before each word.
        self._signs = [0, *accumulate(w in SIGNS for w in words)]
        joins = {i for h in hits if joining in h.kinds for i in range(h.start, h.stop)}
        self._joins = [0, *accumulate(i in joins for i in range(len(words)))]

    def signs(self, start: int, stop: int) -> int:
        """Count the signs among words start to stop."""
        return self._signs[stop] - self._signs[start] if stop > start else 0

    def joins(self, start: int, stop: int) -> int:
        """Count the words that join among words start to stop."""
        return self._joins[stop] - self._joins[start] if stop > start else 0

    def close(self, first: Hit, second: Hit, words: int = 2) -> bool:
        """At most so many words between, no sign and no "and"."""
        start, stop = first.stop, second.start
        return stop - start <= words and not (self.signs(start, stop) or self.joins(start, stop))


class ParsedText(ReadText):
    """One text as words, phrases found and sentences.

    ``hits`` are without those that mislead.

    Attributes
    ----------
    misled : frozenset of str
        Kinds of the phrases that were left out, as "other_seal".
    """

    __slots__ = ("misled",)

    def __init__(self, pattern: Pattern) -> None:
        found = list(_lexicon().find(pattern.words))
        if pattern.codes:
            found = sorted([*found, *_coded(pattern, found)], key=lambda h: h.start)
        hits: list[Hit] = []
        misled: set[str] = set()
        for h in found:
            if "misleading" in h.kinds:
                continue
            if h.kinds == _OTHER_SEAL:
                misled.add("other_seal")
                continue
            hits.append(h)
        super().__init__(pattern.words, hits)
        self.misled = frozenset(misled)

    def taken_back(self) -> set[int]:
        """Give the starts of phrases that a negation or a mere intention takes back."""
        gone: set[int] = set()
        for i, h in enumerate(self.hits):
            kinds = h.kinds
            if "negation" in kinds:
                # "no 2 seal leaks" numbers the seal; the first saying within two words is meant.
                after = next((o for o in self.hits[i + 1 :] if o.kinds & _TAKEN_BACK), None)
                if after and self.close(h, after) and not self.words[h.stop][0].isdigit():
                    gone.add(after.start)
            if "negation_after" in kinds and i:
                before = self.hits[i - 1]
                if "failure" in before.kinds and self.close(before, h, 1):
                    gone.add(before.start)
            if "intent" in kinds:
                for o in self.hits[max(i - 2, 0) : i] + self.hits[i + 1 : i + 3]:
                    first, second = (h, o) if o.start > h.start else (o, h)
                    if "renewed" in o.kinds and self.close(first, second):
                        gone.add(o.start)
        return gone

    def mentioned(self) -> set[int]:
        """Give the starts of renewals that are only the occasion: "align after seal change"."""
        helps = any("helper" in h.kinds for h in self.hits)
        found: set[int] = set()
        for i, h in enumerate(self.hits):
            if "occasion" in h.kinds or (helps and "purpose" in h.kinds):
                seal, change = [*self.hits[i + 1 : i + 3], None, None][:2]
                if (
                    seal is not None
                    and change is not None
                    and "seal" in seal.kinds
                    and "renewed" in change.kinds
                    and self.close(h, seal)
                    and self.close(seal, change, 1)
                ):
                    found.add(change.start)
        return found


_OTHER_SEAL = frozenset({"other_seal"})
_SMALL = frozenset({"place", "occasion", "purpose"})  # little words that many languages share


def _coded(pattern: Pattern, found: Sequence[Hit]) -> list[Hit]:
    """Find short names written in capitals, outside of longer phrases."""
    codes, shouted = _codes(), pattern.shouted
    used = {i for h in found for i in range(h.start, h.stop)}
    telling = (h for h in found if "en" not in h.languages and not h.kinds <= _SMALL)
    foreign = {x for h in telling for x in h.languages}
    hits = []
    for i, word in pattern.codes:
        kind, languages = codes[word]
        if kind in ("seal", "failure"):
            sure = i not in used
        # In a text all in capitals "DE" and "LA" may be the little words of other languages.
        elif "en" in languages:
            sure = not (shouted and foreign)
        else:
            sure = bool(foreign & languages) and (not shouted or languages == {"de"})
        if sure:
            hits.append(Hit(i, i + 1, frozenset({kind}), languages))
    return hits
