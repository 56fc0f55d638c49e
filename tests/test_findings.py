from __future__ import annotations

import pandas as pd

from seallife.findings import FINDING_COLUMNS, join_findings, make_findings, no_findings


def test_one_sentence_for_all_with_the_value_filled_in() -> None:
    got = make_findings(
        "check",
        "doubt",
        pd.Series(["t:f:2", "t:f:3"], index=[7, 9]),
        "'{value}' is odd, {curly} braces stay",
        column="c",
        value=pd.Series([1.5, 2.0], index=[7, 9]),
        threshold="1 to 2",
        action="kept",
    )
    assert tuple(got.columns) == FINDING_COLUMNS
    assert got["message"].tolist() == [
        "'1.5' is odd, {curly} braces stay",
        "'2' is odd, {curly} braces stay",
    ]
    assert got["value"].tolist() == ["1.5", "2"]
    assert not got["set_aside"].any()


def test_one_sentence_a_record() -> None:
    got = make_findings("check", "ask", ["a", "b"], ["first", "second"], set_aside=True)
    assert got["message"].tolist() == ["first", "second"]
    assert got["set_aside"].all()


def test_values_are_shown_as_a_reader_writes_them() -> None:
    values = [
        None,
        float("nan"),
        pd.NaT,
        pd.NA,
        pd.Timestamp("2023-05-31"),
        pd.Timestamp("2023-05-31 14:05"),
        0.1 + 0.2,
        3,
        1234567.0,
        "x",
    ]
    got = make_findings("c", "note", [str(i) for i in range(len(values))], "{value}", value=values)
    shown = ["", "", "", "", "2023-05-31", "2023-05-31 14:05", "0.3", "3", "1234567", "x"]
    assert got["value"].tolist() == shown


def test_no_records_no_findings() -> None:
    got = make_findings("c", "note", [], "m", value=pd.Series(dtype=object))
    assert got.empty
    assert tuple(got.columns) == FINDING_COLUMNS


def test_joining_keeps_order_and_types() -> None:
    a = make_findings("a", "note", ["1"], "m")
    b = make_findings("b", "ask", ["2"], "m", set_aside=True)
    got = join_findings([no_findings(), b, no_findings(), a])
    assert got["check"].tolist() == ["b", "a"]
    assert got.index.tolist() == [0, 1]
    assert got["set_aside"].dtype == bool
    empty = join_findings([])
    assert tuple(empty.columns) == FINDING_COLUMNS
    assert empty["set_aside"].dtype == bool
