"""Removals: one event each time a seal came out."""

from __future__ import annotations

import pandas as pd
import pytest
from builders import fleet_of, seal_order

from seallife.classes import assign_classes
from seallife.events import Removals, find_removals
from seallife.intake import Fleet
from seallife.observation import observe
from seallife.register import build_register

P1 = {"tag": "P-101A"}


def _removals(fleet: Fleet) -> Removals:
    register = build_register(fleet)
    return find_removals(fleet, register, observe(fleet, register, assign_classes(register)))


@pytest.mark.parametrize(("second", "events"), [("2020-05-08", 1), ("2020-05-09", 2)])
def test_orders_whose_work_touches_are_one_removal(second: str, events: int) -> None:
    rows = [seal_order("P-101A", "2020-05-05"), seal_order("P-101A", second)]
    got = _removals(fleet_of([P1], work_orders=rows))
    assert len(got.table) == events
    if events == 1:
        row = got.table.iloc[0]
        assert row["record_ids"] == "work_orders:t.csv:2 work_orders:t.csv:3"
        assert (f"{row['end']:%Y-%m-%d}", f"{row['back']:%Y-%m-%d}") == ("2020-05-05", second)
        assert got.findings["check"].tolist() == ["part of one removal"]
        assert not got.findings["set_aside"].any()


def test_a_chain_of_orders_is_one_removal() -> None:
    days = ["2020-05-05", "2020-05-08", "2020-05-11", "2020-05-14"]
    got = _removals(fleet_of([P1], work_orders=[seal_order("P-101A", d) for d in days]))
    assert got.table["orders"].tolist() == [4]


def test_a_long_job_takes_in_orders_inside_it() -> None:
    rows = [
        seal_order("P-101A", "2020-05-05", work_end="2020-07-01"),
        seal_order("P-101A", "2020-05-06"),
        seal_order("P-101A", "2020-06-20"),
    ]
    assert len(_removals(fleet_of([P1], work_orders=rows)).table) == 1


def test_the_reason_with_the_best_evidence_counts() -> None:
    rows = [
        seal_order("P-101A", "2020-05-05", short_text="pump job", long_text="new seal"),
        seal_order(
            "P-101A",
            "2020-05-06",
            short_text="seal renewed with bearings",
            long_text="",
            wo_type="",
        ),
    ]
    assert _removals(fleet_of([P1], work_orders=rows)).table["reason"].tolist() == [
        "other pump part"
    ]


def test_two_pumps_are_never_joined() -> None:
    rows = [seal_order("P-101A", "2020-05-05"), seal_order("P-101B", "2020-05-05")]
    assert len(_removals(fleet_of([P1, {"tag": "P-101B"}], work_orders=rows)).table) == 2


@pytest.mark.parametrize(
    ("position", "day", "check", "severity"),
    [
        ({"commissioned": "2018-01-01"}, "2017-05-05", "before commissioning", "ask"),
        ({"retired": "2018-01-01"}, "2019-05-05", "after retirement", "ask"),
        ({}, "2015-05-05", "outside the records", "note"),
        ({}, "2026-01-01", "outside the records", "note"),
    ],
)
def test_what_cannot_be_is_set_aside(
    position: dict[str, object], day: str, check: str, severity: str
) -> None:
    got = _removals(fleet_of([P1 | position], work_orders=[seal_order("P-101A", day)]))
    assert got.table.empty
    aside = got.findings[got.findings["set_aside"]].iloc[0]
    assert (aside["check"], aside["severity"]) == (check, severity)


def test_a_removal_on_the_last_day_of_records_counts() -> None:
    got = _removals(fleet_of([P1], work_orders=[seal_order("P-101A", "2025-12-31")]))
    assert len(got.table) == 1


def test_a_sites_own_list_is_taken_row_by_row() -> None:
    rows = [
        {"position_id": "P-101A", "date": "2020-05-05", "reason": "seal failed"},
        {"position_id": "P-101A", "date": "2020-05-06", "reason": "upgrade"},
        {"tag": "p101a", "date": "2021-05-05", "reason": ""},
        {"position_id": "X", "date": "2021-05-05", "reason": "seal failed"},
        {"position_id": "P-101A", "date": None, "reason": "seal failed"},
        {"position_id": "P-101A", "date": "2021-05-05", "reason": "seal failed"},
    ]
    got = _removals(fleet_of([P1], removals=rows))
    assert got.table["ended"].tolist() == ["failed", "withdrawn", "unknown", "failed"]
    aside = got.findings[got.findings["set_aside"]]
    assert aside["check"].tolist() == ["not in register", "no usable date"]
    assert "two removals on one day" in set(got.findings["check"])


def test_the_waterfall_adds_up_from_rows_to_failures() -> None:
    rows = [
        seal_order("P-101A", "2020-05-05"),
        seal_order("P-101A", "2020-05-06"),
        seal_order(
            "P-101A", "2021-05-05", wo_type="planned", short_text="seal renewed", long_text="pm"
        ),
        seal_order("P-101A", "2022-05-05", wo_type="", short_text="seal renewed", long_text=""),
        seal_order("P-101A", "2012-05-05"),
        seal_order("P-101A", "2022-01-01", status="cancelled"),
        seal_order("Q-1", "2022-01-01"),
    ]
    fall = _removals(fleet_of([P1], work_orders=rows)).waterfall
    running = 0
    for step in fall.itertuples(index=False):
        step_name, kind, count = step
        if kind == "total":
            assert count == (running if step_name != "records read" else count), step_name
            running = count
        else:
            running += count if kind == "gain" else -count
    totals = fall[fall["kind"] == "total"].set_index("step")["count"].to_dict()
    assert totals == {
        "records read": 7,
        "records of seal removals": 4,
        "removals": 3,
        "failures": 1,
    }


def test_the_order_of_rows_moves_nothing() -> None:
    rows = [
        seal_order("P-101A", d)
        for d in ("2020-05-05", "2020-05-06", "2021-02-03", "2022-02-03", "2022-02-05")
    ]
    keep = ["position_id", "end", "back", "reason", "orders"]
    a = _removals(fleet_of([P1], work_orders=rows)).table[keep]
    b = _removals(fleet_of([P1], work_orders=rows[::-1])).table[keep]
    pd.testing.assert_frame_equal(a, b)


def test_removals_after_the_end_of_records_are_asked_about_once_a_site() -> None:
    """A wrong last day, or day and month exchanged, would lose them with a note each."""
    days = ["2019-03-03", "2020-02-02", "2020-11-11"]
    fleet = fleet_of(
        [{"tag": "P-101A"}], work_orders=[seal_order("P-101A", d) for d in days], end="2019-12-31"
    )
    got = _removals(fleet)
    assert len(got.table) == 1
    asked = got.findings.query("check == 'removals after the end of records'")
    assert asked["record_id"].tolist() == ["Site"]
    assert "2 removals of Site" in asked["message"].iloc[0]
    assert "2020-11-11" in asked["message"].iloc[0]
