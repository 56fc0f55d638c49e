"""What needs a person: weightiest first, the record's own words beside it, calm on a terminal."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest
from builders import fleet_of, seal_order

from seallife.findings import join_findings, make_findings
from seallife.intake import Fleet
from seallife.intake.byhand import overridable
from seallife.intake.correct import apply_overrides
from seallife.intake.overrides import OVERRIDE_COLUMNS, Overrides
from seallife.report.exhibit import Exhibit
from seallife.report.pages import trust
from seallife.report.worklist import (
    FILL_IN,
    check_text,
    columns_by_hand,
    findings_by_check,
    waterfall_lines,
    weightiest_first,
    worklist,
)
from seallife.schema import TABLES
from seallife.study import Study, run_study

PUMP = {"tag": "P-1", "commissioned": "2016-01-31", "fluid": "water", "duty_share": 0.5}


def _fleet() -> Fleet:
    """One pump with two seals; an order that names neither, one on no pump, one with no fault."""
    return fleet_of(
        [PUMP | {"seal_end": "DE"}, PUMP | {"seal_end": "NDE"}],
        work_orders=[
            seal_order("P-1", "2018-03-03", malfunction_start="2018-03-02", closed="2018-09-09"),
            seal_order("P-99", "2019-03-03"),
            seal_order("P-1", "2020-03-03", seal_end="DE"),
        ],
    )


def _with_findings(study: Study, *parts: pd.DataFrame) -> Study:
    more = replace(study)
    vars(more)["findings"] = join_findings([study.findings, *parts])  # as if found
    return more


@pytest.fixture(scope="module")
def study() -> Study:
    return run_study(_fleet())


@pytest.fixture(scope="module")
def corrected() -> Study:
    """The same with a correction in use and one that cannot be used."""
    lines = [
        (2, "work_orders:t.csv:2", "seal_end", "NDE", "shift log", "JK", "2026-01-31"),
        (3, "work_orders:t.csv:3", "tagg", "P-1", "a slip", "", ""),
        (4, "work_orders:t.csv:3", "seal_end", "CE", "=1+1", "", ""),
    ]
    fleet = _fleet()
    table = pd.DataFrame(lines, columns=["row", *OVERRIDE_COLUMNS])
    got = apply_overrides(fleet.tables, Overrides(table, fleet.findings))
    return run_study(replace(fleet, tables=got.tables, findings=got.findings, overrides=got.table))


def test_one_row_a_finding_that_needs_a_person(study: Study) -> None:
    work = worklist(study)
    needs = study.findings[study.findings["severity"].isin(["ask", "doubt"])]
    assert len(work) == len(needs) > 0
    assert set(work["record_id"]) == set(needs["record_id"])
    assert not (work["weight"] == "note").any()
    assert (work[list(FILL_IN)] == "").all(axis=None), "there for a person to fill in"


def test_a_row_says_what_the_record_says(study: Study) -> None:
    row = worklist(study).set_index("check").loc["end of pump not named"]
    assert row["tag"] == "P-1"
    assert row["dates"] == "fault seen 2018-03-02; work start 2018-03-03; work end 2018-03-03"
    assert row["text"] == "Mech seal leaking; Seal renewed"
    assert row["can set"] == "seal_end: DE, NDE"
    assert (row["file"], row["row"]) == ("t.csv", 2)
    assert "does not say which" in row["finding"]


def test_the_closing_date_is_shown_where_there_is_no_other(study: Study) -> None:
    orders = study.fleet["work_orders"].assign(
        **dict.fromkeys(("work_start", "work_end", "malfunction_start"), pd.NaT)
    )
    fleet = replace(study.fleet, tables={**study.fleet.tables, "work_orders": orders})
    row = worklist(replace(study, fleet=fleet)).set_index("check").loc["end of pump not named"]
    assert row["dates"] == "closed 2018-09-09"


def test_ask_comes_before_doubt_and_order_is_kept_within(study: Study) -> None:
    doubts = make_findings("b", "doubt", ["x:1", "x:2"], "look")
    asks = make_findings("a", "ask", ["x:3", "x:4"], "decide")
    notes = make_findings("c", "note", ["x:5"], "said")
    got = weightiest_first(join_findings([notes, doubts, asks]))
    assert got["record_id"].tolist() == ["x:3", "x:4", "x:1", "x:2", "x:5"]
    weights = worklist(_with_findings(study, doubts, asks))["weight"].tolist()
    assert weights == sorted(weights)


def test_findings_about_a_file_or_table_have_a_row_but_no_cell_to_set(study: Study) -> None:
    more = make_findings(
        "gauge or absolute", "doubt", ["positions:a:b.csv", "run_hours"], "?", column="temp_c"
    )
    work = worklist(_with_findings(study, more))
    rows = work[work["check"] == "gauge or absolute"]
    assert rows["file"].tolist() == ["a:b.csv", ""]
    assert rows["row"].isna().all()
    assert (rows[["can set", "tag", "dates", "text"]] == "").all(axis=None)


def test_an_order_with_no_cell_to_set_can_be_called_no_removal(study: Study) -> None:
    more = make_findings("odd", "ask", ["work_orders:t.csv:4"], "?", column="end")
    row = worklist(_with_findings(study, more)).set_index("check").loc["odd"]
    assert row["can set"] == "kind: removal, not a removal"


def test_corrections_stand_in_it_whole_so_that_saving_it_loses_none(corrected: Study) -> None:
    work = worklist(corrected)
    filled = work[work["column"] != ""]
    given = corrected.fleet.overrides
    columns = list(OVERRIDE_COLUMNS)
    assert sorted(filled[columns].to_numpy().tolist()) == sorted(given[columns].to_numpy().tolist())
    assert filled["weight"].tolist() == ["ask", "ask", "in use"]
    assert work["weight"].iloc[-1] == "in use"
    not_used = filled[filled["weight"] == "ask"]
    assert not_used["record_id"].tolist() == ["work_orders:t.csv:3"] * 2
    assert not_used["tag"].tolist() == ["P-99"] * 2
    assert "did you mean 'tag'?" in not_used["finding"].iloc[0]
    assert not work.duplicated().any()


def test_the_report_shows_corrections_where_there_are_any(study: Study, corrected: Study) -> None:
    def shown(of: Study) -> dict[str, Exhibit]:
        return {b.name: b for b in trust.build(of) if isinstance(b, Exhibit)}

    assert "corrections" not in shown(study)
    exhibit = shown(corrected)["corrections"]
    assert exhibit.caption.startswith("1 correction in use of 3 in overrides.csv")
    assert exhibit.shown is not None
    assert exhibit.shown["Used"].tolist() == ["yes", "no", "no"]
    assert exhibit.shown.iloc[0, 2].startswith("seal_end was empty, set to 'NDE' by hand")
    assert len(exhibit.table) == 3


def test_findings_are_counted_by_check(study: Study) -> None:
    table = findings_by_check(study.findings)
    assert table["records"].sum() == len(study.findings)
    assert table["set_aside"].sum() == study.findings["set_aside"].sum()
    assert not table.duplicated(["severity", "check"]).any()
    for _, some in table.groupby("severity", sort=False):
        assert some["records"].is_monotonic_decreasing
    assert findings_by_check(study.findings.iloc[:0]).empty


def test_columns_that_can_be_set_are_all_listed() -> None:
    table = columns_by_hand()
    for name in TABLES:
        mine = table[table["table"] == name]
        assert set(mine["column"]) == set(overridable(name))
        assert not mine["column"].duplicated().any()
    orders = table[table["table"] == "work_orders"]
    assert orders["column"].tolist()[:3] == ["kind", "reason", "position_id"]
    assert (table["value"] != "").all()


def test_the_waterfall_has_signs_and_no_minus_nothing() -> None:
    steps = [("read", "total", 3275), ("lost", "loss", 38), ("none", "loss", 0), ("two", "gain", 2)]
    got = waterfall_lines(pd.DataFrame(steps, columns=["step", "kind", "count"]))
    assert got == [("read", "3,275"), ("  lost", "-38"), ("  none", "0"), ("  two", "+2")]


def test_the_text_fits_a_terminal_and_breaks_no_name(demo_study: Study) -> None:
    text = check_text(demo_study)
    lines = text.splitlines()
    assert max(map(len, lines)) <= 80
    for example in findings_by_check(demo_study.findings.query("severity != 'note'"))[
        "example_record"
    ]:
        assert any(line.strip() == example for line in lines), example
    for weight in ("ask", "doubt", "note"):
        assert any(line.startswith(f"{weight}: ") for line in lines)


def test_many_notes_are_cut_and_said(study: Study) -> None:
    notes = [make_findings(f"note {i}", "note", ["work_orders:t.csv:4"], "m") for i in range(30)]
    text = check_text(_with_findings(study, *notes))
    shown = text.split("note: said for the record")[1]
    assert shown.count("\n      1  ") + shown.count("\n  1  ") == 10
    assert "more checks of this kind" in shown
    asks = [make_findings(f"ask {i}", "ask", ["work_orders:t.csv:4"], "m") for i in range(30)]
    text = check_text(_with_findings(study, *asks))
    assert all(f"  ask {i}\n" in text for i in range(30)), "what must be decided is never cut"


def test_a_name_too_long_for_its_line_loses_its_middle(study: Study) -> None:
    name = f"work_orders:{'long' * 40}.csv:1234567"
    text = check_text(_with_findings(study, make_findings("odd", "ask", [name], "m")))
    assert max(map(len, text.splitlines())) <= 80
    line = next(line for line in text.splitlines() if line.endswith(".csv:1234567"))
    assert "..." in line
    assert line.strip().startswith("work_orders:")
