"""The page on leakage: limits first, then what rises, then what that foretold."""

from __future__ import annotations

import pandas as pd
import pytest
from builders import fleet_of
from test_leakanswers import PUMP, _fleet, _limit, _monthly, _quiet

from seallife.report.exhibit import Block, Exhibit, Points, Text
from seallife.report.pages import leakage, year
from seallife.study import Study, run_study


def _study(last: list[float], **tables: object) -> Study:
    return _fleet(last, removals=[], **tables)


def _exhibit(blocks: tuple[Block, ...], name: str) -> Exhibit:
    return next(b for b in blocks if isinstance(b, Exhibit) and b.name == name)


def _words(blocks: tuple[Block, ...]) -> str:
    parts = [b.text for b in blocks if isinstance(b, Text)]
    parts += [i for b in blocks if isinstance(b, Points) for i in b.items]
    return " ".join(parts)


def test_a_seal_over_a_legal_limit_stands_first_on_its_page_and_on_the_first() -> None:
    study = _study([40.0, 85.0, 400.0, 1_500.0], leak_limits=[_limit(1_000.0)])
    blocks = leakage.build(study)
    first = blocks[0]
    assert isinstance(first, Text)
    assert first.strong
    assert "1 seal in service stands over a legal limit (P-101A-DE)" in first.text
    assert isinstance(blocks[1], Exhibit)
    assert blocks[1].name == "over-limits"
    head = year.build(study)[0]
    assert isinstance(head, Text)
    assert head.strong
    assert head.text.startswith("Over a legal limit of leakage by the last reading: P-101A-DE.")


def test_no_reading_over_a_legal_limit_is_ever_left_out(demo_study: Study) -> None:
    exhibit = _exhibit(leakage.build(demo_study), "over-limits")
    assert exhibit.shown is not None
    table = demo_study.leakage.exceedances.table
    assert (exhibit.shown["Limit"] == "legal").sum() == (table["kind"] == "legal").sum()
    assert len(exhibit.table) == len(table)
    over = demo_study.readings.table.query("low >= 2000 and date < '2019-01-01'")
    legal = table[(table["kind"] == "legal") & (table["verdict"] == "over")]
    assert set(over["date"]) <= set(legal["date"])
    assert "no record of compliance" in exhibit.caption


def test_rising_seals_have_a_next_step_and_no_promise(demo_study: Study) -> None:
    for study in (demo_study, _study([40.0, 85.0, 160.0, 330.0], leak_limits=[_limit(1_000.0)])):
        blocks = leakage.build(study)
        shown = _exhibit(blocks, "rising").shown
        assert shown is not None
        assert (shown["Next"].str.len() > 3).all()
        text = (
            _words(blocks) + " ".join(b.caption for b in blocks if isinstance(b, Exhibit))
        ).lower()
        for phrase in ("safe to run", "remaining life", "will last"):
            assert phrase not in text
        assert "never a reason to wait" in text


def test_what_was_foretold_stands_beside_chance(demo_study: Study) -> None:
    words = _words(leakage.build(demo_study))
    assert "so many would chance foretell" in words
    assert "gave no warning" in words
    shown = _exhibit(leakage.build(demo_study), "alarm-record-by-class").shown
    assert shown is not None
    assert shown["Class"].tolist() == ["whole fleet", "CHEM", "HC-FLASH"]


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        ([], "No readings of leakage were given."),
        (_monthly([20.0] * 5), "No limits of leakage are given"),
        ([{"tag": "P-101A", "date": "2024-01-05", "word": "weep"}], "No reading can be followed"),
        (_monthly([5.0] * 8, flag="below detection"), "No seal that was read has failed"),
    ],
    ids=["none", "few", "words", "not detected"],
)
def test_a_page_of_little_says_so(rows: list[dict[str, object]], told: str) -> None:
    study = run_study(fleet_of([PUMP], end="2025-07-31", leak_readings=rows, removals=[]))
    blocks = leakage.build(study)
    assert told in _words(blocks)
    for block in blocks:
        if isinstance(block, Exhibit) and block.shown is not None:
            text = block.shown.astype(str)
            assert not text.apply(lambda c: c.str.contains(r"\bnan\b|\binf\b")).any(axis=None)


def test_totals_by_year_are_shown_where_asked_for() -> None:
    rows = [r for i in range(8) for r in _monthly(_quiet(30, i), f"P-{200 + i}")]
    positions = [PUMP | {"tag": f"P-{200 + i}"} for i in range(8)]
    rules = {"emission_family": "petroleum pump"}
    study = run_study(
        fleet_of(positions, end="2025-07-31", leak_readings=rows, removals=[], rules=rules)
    )
    exhibit = _exhibit(leakage.build(study), "emissions")
    assert isinstance(exhibit.shown, pd.DataFrame)
    assert len(exhibit.shown) == 3
