"""Which pump and which seal an order means, from tag, text and serial numbers."""

from __future__ import annotations

import pandas as pd
import pytest
from builders import fleet_of, seal_order

from seallife.orders import Orders, read_orders
from seallife.register import build_register

PAIR = [{"tag": "P-101A"}, {"tag": "P-101B"}]
TWO_SEALS = [{"tag": "P-201A", "seal_end": "DE"}, {"tag": "P-201A", "seal_end": "NDE"}]


def _orders(positions: list[dict[str, str]], *rows: dict[str, object]) -> Orders:
    fleet = fleet_of(positions, work_orders=list(rows))
    return read_orders(fleet, build_register(fleet))


@pytest.mark.parametrize(
    ("tag", "text", "pump"),
    [
        ("P-101", "Mech seal leaking (P-101B)", "P101B"),
        ("UNIT 100", "P101A m/seal leaking", "P101A"),
        ("P-101", "P-101A seal leaking, swapped to P-101B", "P101A"),
        ("P-101", "P-101A and P-101B seals leaking", ""),
        ("P-101", "Mech seal leaking", ""),
    ],
)
def test_a_pair_s_order_goes_to_the_one_pump_the_text_names(tag: str, text: str, pump: str) -> None:
    got = _orders(PAIR, seal_order(tag, "2020-05-05", short_text=text))
    assert got.table["pump_key"].tolist() == ([pump] if pump else [])
    check = "pump found by serial or text" if pump else None
    aside = "pair or unit tag" if tag == "P-101" else "not in register"
    assert (check or aside) in set(got.findings["check"])


def test_a_serial_number_tells_the_pump_and_the_end() -> None:
    rows = [
        seal_order("P-201A", "2018-05-05", seal_end="NDE", serial_in="S2"),
        seal_order("P-201A", "2018-05-05", seal_end="DE", serial_in="S1", wo_no="2"),
        seal_order("P-201A", "2019-05-05", serial_out="S2", serial_in="S3"),
        seal_order("P-201", "2020-05-05", serial_out="S3"),
    ]
    got = _orders(TWO_SEALS, *rows)
    assert got.table["position_id"].tolist() == [
        "P-201A-NDE",
        "P-201A-DE",
        "P-201A-NDE",
        "P-201A-NDE",
    ]


def test_a_serial_number_that_moved_on_tells_nothing() -> None:
    rows = [
        seal_order("P-101A", "2018-05-05", serial_in="S1"),
        seal_order("P-101A", "2019-05-05", serial_out="S1"),
        seal_order("P-101", "2020-05-05", serial_out="S1"),
    ]
    assert len(_orders(PAIR, *rows).table) == 2


def test_one_digit_for_another_is_another_pump() -> None:
    got = _orders(PAIR, seal_order("P-901A", "2020-05-05"), seal_order("P-1O1A", "2020-06-05"))
    assert got.table["pump_key"].tolist() == ["P101A"]
    assert set(got.findings["check"]) == {"not in register", "tag one character off"}


def test_a_tag_that_carries_the_end_means_that_seal() -> None:
    got = _orders(TWO_SEALS, seal_order("P-201A-NDE", "2020-05-05"))
    assert got.table["position_id"].tolist() == ["P-201A-NDE"]


@pytest.mark.parametrize(
    ("own_end", "ends", "asked"),
    [
        ("", ["DE", "NDE"], True),
        ("", ["DE", "DE"], False),
        ("", ["DE", ""], False),
        ("DE", ["NDE"], True),
        ("DE", ["DE", ""], False),
        ("", ["both"], True),
    ],
)
def test_one_seal_in_the_register_and_two_ends_in_orders_is_asked_about(
    own_end: str, ends: list[str], asked: bool
) -> None:
    """Two seals counted as one would halve MTBR without a word."""
    rows = [
        seal_order("P-101A", f"{2018 + i}-05-05", seal_end=e if e != "both" else "")
        | ({"long_text": "Both seals renewed"} if e == "both" else {})
        for i, e in enumerate(ends)
    ]
    got = _orders([{"tag": "P-101A", "seal_end": own_end}], *rows)
    check = "register lacks an end of the pump"
    assert (check in set(got.findings["check"])) == asked
    assert len(got.table) == len(ends)


def test_what_a_person_set_counts_most() -> None:
    rows = [
        seal_order("P-101A", "2020-05-05", short_text="pump repaired", long_text=""),
        seal_order("P-101A", "2021-05-05", wo_no="2"),
        seal_order("P-101A", "2022-05-05", wo_no="3"),
        seal_order("P-101A", "2023-05-05", wo_no="4"),
    ]
    fleet = fleet_of(PAIR, work_orders=rows)
    orders = fleet["work_orders"].assign(
        set_kind=["removal", "not a removal", "", ""],
        set_reason=["upgrade", "", "planned by age", ""],
        set_position=["P-101B", "", "", "nowhere"],
    )
    fleet.tables["work_orders"] = orders
    got = read_orders(fleet, build_register(fleet))
    assert got.table[["position_id", "reason", "confidence"]].to_numpy().tolist() == [
        ["P-101B", "upgrade", 1.0],
        ["P-101A", "planned by age", 1.0],
        ["P-101A", "seal failed", 0.95],
    ]
    assert set(got.findings["check"]) == {
        "position set by hand not in register",
        "set by hand: no removal",
    }


def test_the_callers_rows_keep_their_order() -> None:
    rows = [seal_order("P-101B", "2020-05-05"), seal_order("P-101A", "2019-05-05")]
    got = _orders(PAIR, *rows)
    assert got.table["record_id"].is_monotonic_increasing
    assert isinstance(got.table, pd.DataFrame)
