"""The words of invented work orders: several languages, abbreviations, slips of the pen.

In: ``texts.toml``. Out: `Writer`. Next: `seallife.demo.orders`.
"""

from __future__ import annotations

from typing import Any

from seallife.demo import scenario as sc
from seallife.demo.draws import Draws
from seallife.demo.tools import load_toml

__all__ = ["FOREIGN_SHARE", "Writer"]

FOREIGN_SHARE = {sc.SKARROW: 0.057, sc.MERROWFEN: 0.157}
"""Share of first orders not in English; second orders and rework always are."""
_KINDS = ("dual", "voc", "solids", "hot")
_SLIP_SHARE, _NAME_SHARE, _NO_LONG_TEXT = 0.04, 0.03, 0.22


class Writer:
    """Writes the texts of orders from one stream of random numbers.

    Parameters
    ----------
    draws : Draws
        Stream to draw from.
    """

    def __init__(self, draws: Draws) -> None:
        self._draws = draws
        self._texts = load_toml("texts.toml")

    def language(self, site: str) -> str:
        """Which language is the next order of this site written in?"""
        if self._draws.chance(FOREIGN_SHARE[site]):
            return self._draws.pick(["de", "es", "fr", "pt"])
        return "en"

    def removal(
        self, language: str, ask: str, found: str, kinds: set[str], slots: dict[str, str]
    ) -> tuple[str, str]:
        """Short and long text of a removal: why it was asked for, what was found."""
        texts = self._texts[language]
        short = self._fill(self._said_of(texts[ask]["short"], kinds), language, slots)
        if self._draws.chance(_NO_LONG_TEXT):
            return short, ""
        long = self._fill(self._said_of(texts["found"][found], kinds), language, slots)
        return short, self._signed(long)

    def other(self, language: str, kind: str, slots: dict[str, str]) -> tuple[str, str, str]:
        """Short text, long text and part of an order in which no shaft seal came out."""
        short, long, *part = self._draws.pick(self._texts[language]["other"][kind])
        short = self._fill(short, language, slots)
        return short, self._signed(self._fill(long, language, slots)), part[0] if part else ""

    def useless(self) -> str:
        """A text that says nothing."""
        return str(self._draws.pick(self._texts["useless"]))

    def _said_of(self, templates: list[str], kinds: set[str]) -> str:
        """Pick a sentence that can be said of a seal of these kinds."""
        marked = [(t, *t.partition(": ")) for t in templates]
        return self._draws.pick(
            [
                rest if mark in _KINDS else whole
                for whole, mark, _, rest in marked
                if mark not in _KINDS or mark in kinds
            ]
        )

    def _fill(self, template: str, language: str, slots: dict[str, str]) -> str:
        """Fill the slots; now and then a slip of the pen, or capitals as on an old terminal."""
        seal = self._draws.pick(self._texts[language]["seal"])
        text = template.format_map({"seal": seal, **slots})
        if self._draws.chance(_SLIP_SHARE):
            text = self._slip(text)
        return text.upper() if self._draws.chance(0.06) else text[:1].upper() + text[1:]

    def _slip(self, text: str) -> str:
        """Swap two letters inside one of the longer words."""
        words = text.split(" ")
        long_words = [i for i, w in enumerate(words) if len(w) > 5 and w.isalpha()]
        if not long_words:
            return text
        at = self._draws.pick(long_words)
        letter = self._draws.between(1, len(words[at]) - 3)
        word = words[at]
        words[at] = word[:letter] + word[letter + 1] + word[letter] + word[letter + 2 :]
        return " ".join(words)

    def _signed(self, text: str) -> str:
        """Some people put their name under what they did."""
        if text and self._draws.chance(_NAME_SHARE):
            people: list[Any] = self._texts["people"]
            return f"{text} Fitter {self._draws.pick(people)}."
        return text
