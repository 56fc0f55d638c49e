"""The grade is that of the weakest line, and each line is a count."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest
from studies import grids, no_failures, two_sites

from seallife.report.grade import GRADE_STEPS, grade_records


def test_complete_records_are_grade_a() -> None:
    grade = grade_records(grids())
    assert grade.letter == "A"
    assert (grade.table["good"] <= grade.table["counted"]).all()


def test_grade_is_the_worst_line() -> None:
    grade = grade_records(two_sites())
    assert grade.letter == max(grade.table["grade"])
    unknown = (two_sites().removals.table["ended"] == "unknown").sum()
    line = grade.table.set_index("measure").loc["removals whose reason is known"]
    assert line["counted"] - line["good"] == unknown > 0
    assert grade.letter in grade.sentence


def test_records_that_could_not_be_placed_lower_the_grade() -> None:
    study = grids()
    lost = pd.DataFrame({"record_id": [f"work_orders:t.csv:{i}" for i in range(12)]})
    worse = replace(study, removals=replace(study.removals, unplaced=lost))
    line = grade_records(worse).table.set_index("measure").iloc[0]
    assert line["counted"] - line["good"] == 12
    assert line["grade"] == grade_records(worse).letter == "C"


@pytest.mark.parametrize(
    ("unknown", "letter"), [(0, "A"), (2, "A"), (3, "B"), (7, "B"), (8, "C"), (16, "D")]
)
def test_steps(unknown: int, letter: str) -> None:
    study = grids()
    events = study.removals.table
    ended = ["unknown"] * unknown + ["failed"] * (len(events) - unknown)
    worse = replace(study, removals=replace(study.removals, table=events.assign(ended=ended)))
    assert len(events) == 50
    assert grade_records(worse).letter == letter
    assert [s for _, s in GRADE_STEPS] == sorted((s for _, s in GRADE_STEPS), reverse=True)


def test_nothing_to_count_is_no_grade_of_its_own() -> None:
    table = grade_records(no_failures()).table
    empty = table[table["counted"] == 0]
    assert len(empty)
    assert set(empty["grade"]) == {""}
