"""Find the phrases of a word list in texts, longest first, whatever their case and accents.

In: phrases by language and kind, a text. Out: `Hit`. Next: `seallife.intake.evidence`.

Texts are cut into words and signs; a hyphen or apostrophe between letters parts words, a dot
inside an abbreviation is no full stop. In a phrase ``leak*`` lets a word go on, ``*dichtung``
lets it begin anyhow, and ``#`` stands for a number.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple

__all__ = ["UNKNOWN", "Hit", "Lexicon", "fold_word", "kinds_in", "split_words"]

UNKNOWN = "_"
"""Stands for a word that is in no phrase: a name, say. Texts then share patterns."""

_JOINED = re.compile(r"(?<=\w)[-'’](?=\w)|(?<![^\W_]{2})(?<=\w)\.(?=\w)")
_TOKEN = re.compile(r"\d+(?:[.,]\d+)*|[^\W\d_]+|[.,;!?&+/()-]")

_REMEMBERED = 200_000  # words; names and numbers are without end
_MENDED_LETTERS = 6  # a shorter word with two letters swapped is too often another word

Word = tuple[str, str]
"""How a word of a phrase matches ('whole', 'start', 'end' or 'number'), and its letters."""


_Phrase = tuple[tuple[Word, ...], frozenset[str], frozenset[str]]
"""Words of a phrase, its kinds and languages."""


class Hit(NamedTuple):
    """A phrase found: words ``start`` to ``stop`` of the text, its kinds and languages."""

    start: int
    stop: int
    kinds: frozenset[str]
    languages: frozenset[str]


@lru_cache(maxsize=100_000)
def fold_word(text: str) -> str:
    """Return text without case and accents.

    Examples
    --------
    >>> fold_word("VÁLVULA"), fold_word("Größe")
    ('valvula', 'grosse')
    """
    if text.isascii():
        return text.lower()
    plain = unicodedata.normalize("NFKD", text.casefold())
    return "".join(c for c in plain if not unicodedata.combining(c))


def split_words(text: str) -> list[str]:
    """Return the words and signs of a text as written.

    Examples
    --------
    >>> split_words("Glrd i.O., start-up: leaks.")
    ['Glrd', 'i', 'O', '.', ',', 'start', 'up', 'leaks', '.']
    """
    return _TOKEN.findall(_JOINED.sub(" ", text))


class Lexicon:
    """Phrases of several languages and kinds, ready to be looked for.

    Parameters
    ----------
    words : mapping
        Language -> kind -> phrases. A phrase may stand under several kinds and languages.
    """

    def __init__(self, words: Mapping[str, Mapping[str, Iterable[str]]]) -> None:
        found: dict[tuple[Word, ...], tuple[set[str], set[str]]] = {}
        for language, lists in words.items():
            for kind, phrases in lists.items():
                for phrase in phrases:
                    kinds, languages = found.setdefault(_pattern(phrase), (set(), set()))
                    kinds.add(kind)
                    languages.add(language)
        # Longer phrases are tried first, then those with more letters.
        order = sorted(found, key=lambda p: (-len(p), -sum(len(w) for _, w in p), p))
        self._phrases: list[_Phrase] = [
            (p, frozenset(found[p][0]), frozenset(found[p][1])) for p in order
        ]
        self._folded: dict[str, str] = {}  # word as written -> folded and mended
        pieces = {piece for p in order for piece in p if len(piece[1]) >= _MENDED_LETTERS - 1}
        self._whole = {w for p in order for how, w in p if how == "whole"}
        self._stems = tuple(sorted({w for p in order for how, w in p if how == "start"}))
        self._tails = tuple(sorted({w for p in order for how, w in p if how == "end"}))
        self._long_whole = {w for how, w in pieces if how == "whole"}
        self._long_stems = tuple(sorted({w for how, w in pieces if how == "start"}))
        self._starting: dict[str, list[int]] = {}  # folded word -> phrases it can begin
        self._pairs: dict[tuple[str, str], list[_Phrase]] = {}  # the same for a word and its next
        self._first: dict[str, list[int]] = {}  # first words of phrases, by how and where to look
        for n, ((how, letters), *_) in enumerate(order):
            place = {"whole": f"={letters}", "start": letters[:1], "end": "*", "number": "#"}[how]
            self._first.setdefault(place, []).append(n)

    def fold(self, written: str) -> str:
        """Return a word without case and accents, or `UNKNOWN` where no phrase holds it.

        Two letters that are swapped are set right: swapped neighbours are the commonest slip of the
        keyboard that makes no other word, so an unknown word of some length is read as the one of
        the lists that it then is.
        """
        folded = self._folded.get(written)
        if folded is None:
            folded = self._mended(fold_word(written))
            if len(self._folded) < _REMEMBERED:
                self._folded[written] = folded
        return folded

    def _mended(self, word: str) -> str:
        """Set two swapped letters right, where the word is in no list as it stands."""
        if word in self._whole or not word.isalpha():
            return word
        if word.startswith(self._stems) or word.endswith(self._tails):
            return word
        if len(word) < _MENDED_LETTERS:
            return UNKNOWN
        for i in range(len(word) - 1):
            turned = word[:i] + word[i + 1] + word[i] + word[i + 2 :]
            if turned in self._long_whole or turned.startswith(self._long_stems):
                return turned
        return UNKNOWN

    def find(self, words: Sequence[str]) -> Iterator[Hit]:
        """Yield the phrases found among folded words, none overlapping, in order."""
        i = 0
        while i < len(words):
            hit = self._at(i, words)
            if hit is None:
                i += 1
            else:
                yield hit
                i = hit.stop

    def _at(self, i: int, words: Sequence[str]) -> Hit | None:
        """Find the longest phrase that begins here."""
        if not self._beginning(words[i]):
            return None
        pair = (words[i], words[i + 1] if i + 1 < len(words) else "")
        fitting = self._pairs.get(pair)
        if fitting is None:
            fitting = self._pairs[pair] = self._fitting(*pair)
        for pattern, kinds, languages in fitting:
            rest = words[i + 2 : i + len(pattern)]
            if len(pattern) <= 2 or (
                len(rest) == len(pattern) - 2 and all(map(_fits, pattern[2:], rest))
            ):
                return Hit(i, i + len(pattern), kinds, languages)
        return None

    def _beginning(self, word: str) -> list[int]:
        """Give the phrases that this word can begin; remembered, as words come again and again."""
        starting = self._starting.get(word)
        if starting is None:
            places = (f"={word}", word[0], "*", "#")
            among = [n for place in places for n in self._first.get(place, ())]
            starting = sorted(n for n in among if _fits(self._phrases[n][0][0], word))
            if len(self._starting) < _REMEMBERED:
                self._starting[word] = starting
        return starting

    def _fitting(self, word: str, after: str) -> list[_Phrase]:
        """Give the phrases that these two words can begin."""
        begun = (self._phrases[n] for n in self._beginning(word))
        return [p for p in begun if len(p[0]) == 1 or (after and _fits(p[0][1], after))]


def kinds_in(texts: Iterable[str], lexicon: Lexicon) -> list[frozenset[str]]:
    """Of which kinds are the phrases in each text?

    Examples
    --------
    >>> kinds_in(["Sour water", "water"], Lexicon({"": {"sour": ["sour water"], "wet": ["water"]}}))
    [frozenset({'sour'}), frozenset({'wet'})]
    """
    written = list(texts)
    found = {
        text: frozenset(
            kind
            for hit in lexicon.find([fold_word(w) for w in split_words(text)])
            for kind in hit.kinds
        )
        for text in dict.fromkeys(written)
    }
    return [found[text] for text in written]


def _pattern(phrase: str) -> tuple[Word, ...]:
    """Turn a phrase into what each of its words must be."""
    marked = phrase.replace("*", "\x00") if "*" in phrase else phrase
    words = []
    for part in marked.split():
        plain = part.replace("\x00", "")
        if plain == "#":
            words.append(("number", ""))
            continue
        pieces = [fold_word(p) for p in split_words(plain) if p != "."]
        how = "start" if part.endswith("\x00") else "end" if part.startswith("\x00") else "whole"
        for k, piece in enumerate(pieces):
            edge = k == (0 if how == "end" else len(pieces) - 1)
            words.append((how if edge else "whole", piece))
    return tuple(words)


def _fits(pattern: Word, word: str) -> bool:
    how, letters = pattern
    if how == "whole":
        return word == letters
    if how == "start":
        return word.startswith(letters)
    if how == "end":
        return word.endswith(letters)
    return word[0].isdigit()
