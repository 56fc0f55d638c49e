"""Corrections: used whole or not at all, always said, never in the source."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Sequence
from pathlib import Path

import pandas as pd
import pytest
from builders import fleet_of, seal_order
from conftest import ROOT, TinyFleet
from hypothesis import given
from hypothesis import strategies as st

from seallife.findings import no_findings
from seallife.intake import Fleet, read_fleet
from seallife.intake.byhand import overridable
from seallife.intake.correct import Corrected, apply_overrides, no_overrides, settle
from seallife.intake.overrides import OVERRIDE_COLUMNS, OVERRIDES_FILE, Overrides
from seallife.study import run_study
from seallife.trace import trace_record

FLEET = fleet_of(
    [
        {"tag": "P-1", "seal_end": "DE", "temp_c": 80, "commissioned": "2016-01-31"},
        {"tag": "P-1", "seal_end": "NDE", "temp_c": 658, "pump_type": "BB2"},
        {"tag": "P-2", "commissioned": "2017-05-05", "duty_share": 0.5},
    ],
    work_orders=[
        seal_order("P-1", "2018-03-03"),
        seal_order("P-1", "2019-03-03", seal_end="NDE", part_qty=1),
        seal_order("P-2", "2020-03-03"),
    ],
)
Line = tuple[str, str, str]


def _overrides(lines: Sequence[Line], why: str = "looked at it") -> Overrides:
    rows = [(i + 2, *line, why, "JK", "2026-01-31") for i, line in enumerate(lines)]
    return Overrides(pd.DataFrame(rows, columns=["row", *OVERRIDE_COLUMNS]), no_findings())


def _apply(*lines: Line, why: str = "looked at it", fleet: Fleet = FLEET) -> Corrected:
    return apply_overrides(fleet.tables, _overrides(lines, why))


def _same(a: dict[str, pd.DataFrame], b: dict[str, pd.DataFrame]) -> None:
    assert set(a) == set(b)
    for name in a:
        pd.testing.assert_frame_equal(a[name], b[name])


def test_values_of_every_kind_are_set_and_the_fleet_is_not_touched() -> None:
    before = {name: t.copy() for name, t in FLEET.tables.items()}
    got = _apply(
        ("positions:t.csv:3", "temp_c", "65.8"),
        ("positions:t.csv:2", "commissioned", "2015-12-31"),
        ("work_orders:t.csv:2", "seal_end", "de"),
        ("positions:t.csv:4", "tag", "P-3"),
        ("positions:t.csv:4", "duty_share", ""),
    )
    positions = got.tables["positions"].set_index("record_id")
    assert positions["temp_c"].tolist() == [80, 65.8, pytest.approx(float("nan"), nan_ok=True)]
    assert positions.loc["positions:t.csv:2", "commissioned"] == pd.Timestamp("2015-12-31")
    assert positions["tag"].tolist() == ["P-1", "P-1", "P-3"]
    assert positions["duty_share"].isna().all()
    assert got.tables["work_orders"]["seal_end"].tolist() == ["DE", "NDE", ""]
    _same(dict(FLEET.tables), before)
    for name, table in FLEET.tables.items():
        pd.testing.assert_series_equal(got.tables[name].dtypes, table.dtypes)
    assert got.table["used"].all()


def test_each_one_used_says_from_what_to_what_why_and_by_whom() -> None:
    found = _apply(("positions:t.csv:3", "temp_c", "65.8")).findings.iloc[0]
    assert found["record_id"] == "positions:t.csv:3"
    assert found["check"] == "corrected by hand"
    assert found["severity"] == "note"
    assert found["message"] == (
        "temp_c was '658', set to '65.8' by hand: looked at it (JK, 2026-01-31)"
    )
    assert not found["set_aside"]


def test_what_no_export_says_has_columns_of_its_own() -> None:
    got = _apply(
        ("work_orders:t.csv:2", "kind", "Not a removal"),
        ("work_orders:t.csv:3", "reason", "planned by age"),
        ("work_orders:t.csv:4", "position_id", "P-2"),
    )
    orders = got.tables["work_orders"]
    assert orders["set_kind"].tolist() == ["not a removal", "", ""]
    assert orders["set_reason"].tolist() == ["", "planned by age", ""]
    assert orders["set_position"].tolist() == ["", "", "P-2"]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (("positions:t.csv:99", "tag", "P-9"), "no record 'positions:t.csv:99' was read"),
        (("positions:t.csv", "tag", "P-9"), "no record"),
        (("", "tag", "P-9"), "no record '' was read"),
        (("pumps:t.csv:2", "tag", "P-9"), "no record"),
        (("positions:t.csv:2", "tagg", "P-9"), "did you mean 'tag'?"),
        (("positions:t.csv:2", "", "P-9"), "'' is no column of positions"),
        (("positions:t.csv:2", "record_id", "x"), "'record_id' is no column of positions"),
        (("positions:t.csv:2", "kind", "removal"), "'kind' is no column of positions"),
        (("work_orders:t.csv:2", "set_kind", "removal"), "is no column of work_orders"),
        (("positions:t.csv:2", "temp_c", "1,5"), "write a number in degC"),
        (("positions:t.csv:2", "commissioned", "31/12/2015"), "write a date as 2024-01-31"),
        (("work_orders:t.csv:2", "seal_end", "CE"), "write one of: DE, NDE"),
        (("work_orders:t.csv:2", "reason", "broken"), "write one of: seal failed"),
    ],
)
def test_one_that_cannot_be_used_is_asked_about_and_changes_nothing(line: Line, words: str) -> None:
    got = _apply(line)
    _same(got.tables, dict(FLEET.tables))
    assert len(got.findings) == 1
    found = got.findings.iloc[0]
    assert (found["check"], found["severity"]) == ("correction not used", "ask")
    assert found["record_id"] == f"overrides:{OVERRIDES_FILE}:2"
    assert words in found["message"]
    assert not got.table["used"].any()


def test_a_correction_says_why() -> None:
    got = _apply(("positions:t.csv:2", "temp_c", "90"), why="")
    assert "does not say why" in got.findings["message"].iloc[0]
    _same(got.tables, dict(FLEET.tables))


def test_the_same_cell_twice_is_one_question_and_neither_is_used() -> None:
    cell = ("positions:t.csv:2", "temp_c")
    got = _apply((*cell, "90"), ("positions:t.csv:3", "temp_c", "66"), (*cell, "91"))
    assert got.tables["positions"]["temp_c"].tolist()[:2] == [80, 66]
    asked = got.findings[got.findings["severity"] == "ask"]
    assert asked["message"].tolist() == ["rows 2, 4 set the same cell; keep one of them"]
    assert got.table["used"].tolist() == [False, True, False]


def test_a_row_that_may_have_shifted_is_not_used(tmp_path: Path, tiny_fleet: TinyFleet) -> None:
    folder = tiny_fleet(tmp_path)
    line = "positions:positions.csv:2,fluid,oil,asked,and,looked,JK,2026-01-31"
    (folder / OVERRIDES_FILE).write_text(f"{','.join(OVERRIDE_COLUMNS)}\n{line}\n")
    fleet = read_fleet(folder)
    assert fleet["positions"]["fluid"].tolist() == ["water", "water"]
    assert "more cells than the header" in fleet.findings["message"].iloc[0]


def test_a_value_hardly_possible_is_doubted_unless_it_confirms_the_record() -> None:
    doubted = _apply(("positions:t.csv:2", "temp_c", "5000")).findings
    assert doubted["check"].tolist() == ["corrected by hand", "value out of range"]
    assert doubted["threshold"].iloc[1] == "-200 to 500 degC"
    confirmed = _apply(("positions:t.csv:3", "temp_c", "658.0")).findings
    assert confirmed["check"].tolist() == ["corrected by hand"]
    assert confirmed["message"].iloc[0].startswith("temp_c confirmed as '658' by hand")


def test_what_reading_found_in_a_corrected_cell_is_settled_and_kept(
    tmp_path: Path, tiny_fleet: TinyFleet
) -> None:
    positions = [
        {"tag": "P-1", "commissioned": "2015-02-30", "temp_c": "hot"},
        {"tag": "P-2", "commissioned": "2015-01-31", "temp_c": "80"},
    ]
    folder = tiny_fleet(tmp_path, positions=positions)
    assert read_fleet(folder).findings["severity"].tolist() == ["ask", "ask"]
    (folder / OVERRIDES_FILE).write_text(
        "record_id,column,value,why\npositions:positions.csv:2,commissioned,2015-02-28,nameplate\n"
    )
    found = read_fleet(folder).findings.set_index("check")
    assert found["severity"].to_dict() == {
        "no such date": "note",
        "no number": "ask",
        "corrected by hand": "note",
    }
    assert found.loc["no such date", "action"] == "date left empty; since corrected by hand"


def test_nothing_to_correct() -> None:
    got = apply_overrides(FLEET.tables, _overrides([]))
    assert all(got.tables[n] is t for n, t in FLEET.tables.items())
    assert list(got.table.columns) == list(no_overrides().columns)
    assert FLEET.overrides.empty
    some = _apply(("positions:t.csv:2", "tag", "")).table
    assert set(some.columns) == set(no_overrides().columns)
    assert settle(no_findings(), some).empty


VALUES = {
    "number": ["", "80", "0.25", "66"],
    "date": ["", "2015-12-31", "2016-01-31", "2019-07-01 12:30"],
    "text": ["", "P-1", "=1+1", "water"],
}


def _cells(fleet: Fleet) -> list[tuple[str, str, list[str]]]:
    out = []
    for name, table in fleet.tables.items():
        for word, column in overridable(name).items():
            values = ["", *column.choices] if column.choices else VALUES.get(column.kind)
            out += [(r, word, values or VALUES["text"]) for r in table["record_id"]]
    return out


@st.composite
def _some_lines(draw: st.DrawFn) -> list[Line]:
    """Corrections of cells that all differ."""
    cells = draw(
        st.lists(st.sampled_from(_cells(FLEET)), max_size=12, unique_by=lambda c: (c[0], c[1]))
    )
    return [(record, word, draw(st.sampled_from(values))) for record, word, values in cells]


@given(lines=_some_lines(), data=st.data())
def test_the_order_of_corrections_does_not_matter(lines: list[Line], data: st.DataObject) -> None:
    shuffled = data.draw(st.permutations(lines))
    one, other = _apply(*lines), _apply(*shuffled)
    _same(one.tables, other.tables)
    order = ["record_id", "column", "check"]
    pd.testing.assert_frame_equal(
        one.findings.sort_values(order, ignore_index=True),
        other.findings.sort_values(order, ignore_index=True),
    )


@given(_some_lines())
def test_each_is_used_and_a_second_time_changes_nothing(lines: list[Line]) -> None:
    once = _apply(*lines)
    assert once.table["used"].all()
    assert (once.findings["check"] == "corrected by hand").sum() == len(lines)
    again = apply_overrides(once.tables, _overrides(lines))
    _same(again.tables, once.tables)
    assert again.findings["message"].str.contains("confirmed as").all()


@given(_some_lines())
def test_a_correction_that_repeats_what_stands_there_changes_the_findings_only(
    lines: list[Line],
) -> None:
    def stands(record: str, word: str) -> str:
        name = record.split(":")[0]
        table = FLEET.tables[name].set_index("record_id")
        value = table.loc[record, overridable(name)[word].name]
        if isinstance(value, str):
            return value
        return "" if pd.isna(value) else str(value)

    got = _apply(*((record, word, stands(record, word)) for record, word, _ in lines))
    _same(got.tables, dict(FLEET.tables))
    assert (got.findings["check"] == "corrected by hand").sum() == len(got.findings) == len(lines)


def _sums(folder: Path) -> dict[str, str]:
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in folder.rglob("*")
        if p.is_file() and p.name != OVERRIDES_FILE
    }


def test_an_end_of_a_pump_named_by_hand_becomes_a_life(tmp_path: Path, demo_study) -> None:
    folder = tmp_path / "fleet"
    shutil.copytree(ROOT / "data_demo", folder)
    sums = _sums(folder)
    check = "end of pump not named"
    asked = demo_study.findings[demo_study.findings["check"] == check]
    events = demo_study.removals.table
    alone = events[events["record_ids"].isin(asked["record_id"])]["record_ids"]
    before = demo_study.lives.table
    record = alone.iloc[0]
    assert set(before.loc[before["end_record"] == record, "end"]) <= {"lost"}
    (folder / OVERRIDES_FILE).write_text(
        f"record_id,column,value,why,by,date\n{record},seal_end,NDE,shift log,JK,2026-01-31\n"
    )
    study = run_study(read_fleet(folder))
    assert record not in set(study.findings.loc[study.findings["check"] == check, "record_id"])
    ended = study.lives.table[study.lives.table["end_record"] == record]
    assert len(ended) == 1
    life = ended.iloc[0]
    assert life["position_id"].endswith("NDE")
    assert life["end"] in {"failed", "withdrawn"}
    hops = trace_record(study, record)
    corrected = hops[hops["what"] == "correction"]
    assert corrected["text"].tolist() == [
        "seal_end was empty, set to 'NDE' by hand: shift log (JK, 2026-01-31)"
    ]
    assert life["life_id"] in set(hops["name"])
    assert _sums(folder) == sums, "the exports stay as they are"
