"""What remains of a text once tags, numbers and names are out."""

from __future__ import annotations

import pytest

from seallife.intake.evidence import read_evidence
from seallife.intake.parsed import ParsedText, pattern_of, without_tags


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("Align P-2106B after seal change", "Align   after seal change"),
        ("32-PU-207A mech seal", "  mech seal"),
        ("changed to plan 53B", "changed to plan 9B"),
        ("TA2022: renewed, T/A 2022", "TA9: renewed, T/A 9"),
        ("10,5 dpm, 2 seals", "9 dpm, 2 seals"),
        ("m/seal, c/o, o/h", "m/seal, c/o, o/h"),
    ],
)
def test_tags_and_numbers_go_words_stay(text: str, left: str) -> None:
    assert without_tags(text) == left


def test_texts_that_differ_in_names_tags_and_numbers_share_a_pattern() -> None:
    one = pattern_of("P-101A seal leaking 30 dpm. Fitter Smith, 4 h")
    other = pattern_of("P-7B seal LEAKING 5 dpm. Fitter Jones, 12 h")
    assert one == other
    assert one != pattern_of("P-101A seal leaking 30 dpm. Fitter Smith. 4 h")


def test_short_names_are_read_in_capitals_only() -> None:
    import pandas as pd

    found = read_evidence(pd.Series(["MS US", "ms us", "let us know", "MS plate welded"]))
    assert found["seal"].tolist() == [True, False, False, False]
    assert found["failure"].tolist() == [True, False, False, False]


def test_a_seal_change_may_be_only_the_occasion() -> None:
    after = ParsedText(pattern_of("Align pump after seal change"))
    assert after.mentioned()
    helper = ParsedText(pattern_of("Scaffold for seal change"))
    assert helper.mentioned()
    itself = ParsedText(pattern_of("Pump out for seal change"))
    assert not itself.mentioned()
