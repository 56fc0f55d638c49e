"""Pages on where it hurts and why seals fail; verdicts on projects; the first page of the demo."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from studies import grids, no_failures, two_sites

from seallife.life.tablefits import NOT_TOLD
from seallife.report.exhibit import Block, Exhibit, Points, Text
from seallife.report.pages import lasting, trend, where, why
from seallife.report.projects import project_verdicts
from seallife.report.yearwords import findings_in_words
from seallife.schema import LEAK_PATHS
from seallife.study import Study


def _words(blocks: tuple[Block, ...]) -> str:
    out = []
    for b in blocks:
        if isinstance(b, Text):
            out.append(b.text)
        elif isinstance(b, Points):
            out += b.items
    return "\n".join(out)


def _exhibit(blocks: tuple[Block, ...], name: str) -> Exhibit:
    return next(b for b in blocks if isinstance(b, Exhibit) and b.name == name)


def test_bad_positions_top_the_list_and_it_ends_there(demo_study: Study) -> None:
    """Story S3: P-3107 A and B, and no other."""
    blocks = where.build(demo_study)
    shown = _exhibit(blocks, "standouts").shown
    assert shown is not None
    assert set(shown["Stands out"]) == {"P-3107A-DE", "P-3107B-DE"}
    assert "2 seal positions fail more often" in _words(blocks)
    assert "P-3107 (HC-GEN) worse" in _words(blocks)
    assert "P-3107A-DE: 7 failed" in _words(blocks)


def test_projects_get_their_verdicts(demo_study: Study) -> None:
    """Stories S1 and S2: one upgrade worked, the decoy did not though its raw counts fell."""
    blocks = project_verdicts(demo_study)
    table = _exhibit(blocks, "improvements").table.set_index("project")
    assert table.loc["Light ends barrier seals", "verdict"] == "improved"
    assert table.loc["Seal upgrade 2020", "verdict"] == "no evidence"
    assert table.loc["Seal upgrade 2020", "failures_after"] < 20
    assert "Raw counts:" in _words(blocks)


def test_first_page_says_what_to_know_in_four_sentences(demo_study: Study) -> None:
    told = findings_in_words(demo_study)
    assert len(told) == 4
    assert "Light ends barrier seals: improved" in told[0]
    assert "Seal upgrade 2020: no evidence" in told[0]
    assert "P-3107B-DE" in told[1]
    assert "Skarrow Point, seals fitted from" in told[2]


def test_what_is_not_told_stands_last_and_apart(demo_study: Study) -> None:
    table = why.damage_table(demo_study)
    assert table["damage"].iloc[-1] == NOT_TOLD
    assert "unknown" not in set(table["damage"])
    assert table["failures"].sum() == 868
    told = table.iloc[:-1]
    assert told["share_told"].sum() == pytest.approx(1)
    assert (told["share_most"] > told["share_told_high"] / 3).all()
    first = why.build(demo_study)[0]
    assert isinstance(first, Text)
    assert "do not tell" in first.text
    fitting = told.set_index("damage").loc["fitting"]
    assert fitting["shape_high"] < 1  # fails early
    assert told.set_index("damage").loc["face wear", "shape_low"] > 1


def test_bad_fitting_and_rebuilt_seals_are_told(demo_study: Study) -> None:
    words = _words(why.build(demo_study))
    assert "Skarrow Point: of" in words
    assert "lot: EL-18-36 against other or not told: lives 0.1" in words
    path = _exhibit(why.build(demo_study), "leak-path").shown
    assert path is not None
    assert set(path["Leaked"]) == {*LEAK_PATHS.values(), NOT_TOLD}
    shown = _exhibit(why.build(demo_study), "as-good-as-new").shown
    assert shown is not None
    assert shown["Verdict"].iloc[0] == "shorter than new"


def test_target_is_held_against_the_forecast(demo_study: Study) -> None:
    exhibit = _exhibit(trend.build(demo_study), "target")
    assert exhibit.shown is not None
    assert exhibit.shown[""].iloc[0] == "MTBF, whole fleet"
    assert "2027" in exhibit.title


def test_seals_in_service_until_the_next_outage(demo_study: Study) -> None:
    shown = _exhibit(lasting.build(demo_study), "to-next-outage").shown
    assert shown is not None
    row = shown.set_index("Class").loc["OIL"]
    assert row["Still running then"] == "cannot tell"
    assert shown.set_index("Class").loc["SLURRY", "So many may"].count(" to ") == 1


@pytest.mark.parametrize("study", [grids, two_sites, no_failures])
def test_pages_of_small_fleets_say_what_they_cannot_tell(study: object) -> None:
    got = study()  # type: ignore[operator]
    words = _words(where.build(got)) + _words(why.build(got)) + _words(project_verdicts(got))
    assert "nan" not in words
    assert "No change of a position is on record" in words
    for blocks in (where.build(got), why.build(got)):
        for b in blocks:
            if isinstance(b, Exhibit) and b.shown is not None:
                assert not b.shown.isin([np.nan, "nan", "None"]).any().any()


def test_no_failures_leave_nothing_to_explain() -> None:
    first = why.build(no_failures())[0]
    assert isinstance(first, Text)
    assert first.text.startswith("No failure is on record")
    assert isinstance(why.damage_table(no_failures()), pd.DataFrame)
