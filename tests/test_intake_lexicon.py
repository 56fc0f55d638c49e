from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife.intake.lexicon import Hit, Lexicon, fold_word, split_words


def _found(lexicon: Lexicon, text: str) -> list[tuple[str, list[str]]]:
    words = split_words(text)
    hits = lexicon.find([fold_word(w) for w in words])
    return [(" ".join(words[h.start : h.stop]), sorted(h.kinds)) for h in hits]


LEXICON = Lexicon(
    {
        "en": {"seal": ["seal*", "m/seal"], "support": ["seal pot"], "time": ["# pm"]},
        "de": {"seal": ["*wellendichtung", "GLRD"], "fine": ["i.O."], "part": ["wellen*"]},
        "fr": {"early": ["à l'avvio", "start-up"], "seal": ["glrd"]},
    }
)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("Seals", [("Seals", ["seal"])]),
        ("the seal pot, seal", [("seal pot", ["support"]), ("seal", ["seal"])]),
        ("M/Seal", [("M / Seal", ["seal"])]),
        ("Pumpenwellendichtung", [("Pumpenwellendichtung", ["seal"])]),
        ("wellendichtung", [("wellendichtung", ["seal"])]),  # more letters than "wellen*"
        ("wellenbruch", [("wellenbruch", ["part"])]),
        ("i. O. i.o. io", [("i o", ["fine"])]),
        (
            "a l’avvio start up START-UP",
            [("a l avvio", ["early"]), ("start up", ["early"]), ("START up", ["early"])],
        ),
        ("3 pm, pm", [("3 pm", ["time"])]),
        ("unseal", []),
        ("", []),
    ],
)
def test_phrases_are_found(text: str, found: list[tuple[str, list[str]]]) -> None:
    got = [(t.replace("UP", "up"), k) for t, k in _found(LEXICON, text)]
    assert got == found


def test_a_phrase_of_two_languages_keeps_both() -> None:
    hit = next(LEXICON.find(["glrd"]))
    assert hit == Hit(0, 1, frozenset({"seal"}), frozenset({"de", "fr"}))


@given(st.text(max_size=60))
def test_hits_never_overlap(text: str) -> None:
    words = [fold_word(w) for w in split_words(f"seal pot {text} seal")]
    hits = list(LEXICON.find(words))
    assert all(a.stop <= b.start for a, b in pairwise(hits))
    assert hits[0].kinds == {"support"}
