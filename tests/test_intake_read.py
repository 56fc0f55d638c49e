from __future__ import annotations

from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from conftest import TinyFleet

from seallife.errors import InputError, SettingsError
from seallife.intake import Fleet, read_fleet
from seallife.intake.byhand import HAND_SET
from seallife.schema import TABLES

REGISTER = "tag;End;Temp F\nP-101A;drive;212\nP-101B;free;350\n"
ORDERS = "Order;Tag;Start\n4711;P-101A;31/05/2019\n4712;P-101B;01/02/2020\n"
TOML = """[fleet]
name = "Tiny"
[[sources]]
table = "positions"
files = ["register.csv"]
columns = { seal_end = "End", temp_c = "Temp F" }
units = { temp_c = "degF" }
constants = { site = "North" }
[[sources]]
table = "work_orders"
files = ["orders*.csv"]
columns = { wo_no = "Order", tag = "Tag", work_start = "Start" }
[codes.seal_end]
Drive = "DE"
FREE = "NDE"
"""


def _read(folder: Path, register: str = REGISTER, orders: str = ORDERS, toml: str = TOML) -> Fleet:
    (folder / "fleet.toml").write_text(toml, encoding="utf-8")
    (folder / "register.csv").write_text(register, encoding="utf-8")
    (folder / "orders_1.csv").write_text(orders, encoding="utf-8")
    return read_fleet(folder)


def _found(fleet: Fleet, check: str) -> pd.DataFrame:
    return fleet.findings[fleet.findings["check"] == check]


# --- what a good folder gives ----------------------------------------------------------------


def test_names_units_codes_and_constants(tmp_path: Path) -> None:
    fleet = _read(tmp_path)
    positions = fleet["positions"]
    assert tuple(positions.columns) == ("record_id", *TABLES["positions"].names)
    assert positions["seal_end"].tolist() == ["DE", "NDE"]
    assert positions["temp_c"].round(1).tolist() == [100.0, 176.7]
    assert positions["site"].tolist() == ["North", "North"]
    assert positions["record_id"].tolist() == [
        "positions:register.csv:2",
        "positions:register.csv:3",
    ]
    assert fleet["work_orders"]["work_start"].dt.strftime("%Y-%m-%d").tolist() == [
        "2019-05-31",
        "2020-02-01",
    ]
    assert fleet.findings.empty
    assert fleet.inputs[["table", "file", "rows"]].to_numpy().tolist() == [
        ["positions", "register.csv", 2],
        ["work_orders", "orders_1.csv", 2],
    ]


def test_our_own_names_need_no_mapping(tmp_path: Path, tiny_fleet: TinyFleet) -> None:
    fleet = read_fleet(tiny_fleet(tmp_path))
    assert fleet["positions"]["tag"].tolist() == ["P-101A", "P-101B"]
    assert fleet.findings.empty


def test_every_table_can_be_asked_for(tmp_path: Path, tiny_fleet: TinyFleet) -> None:
    fleet = read_fleet(tiny_fleet(tmp_path))
    for name, table in TABLES.items():
        frame = fleet[name]
        by_hand = [c.name for c in HAND_SET.get(name, {}).values()]
        assert tuple(frame.columns) == ("record_id", *table.names, *by_hand)
        assert (frame[by_hand] == "").all(axis=None)
        for c in table.columns:
            kind = {"date": "M", "number": "f"}.get(c.kind, "O")
            assert frame[c.name].dtype.kind == kind, (name, c.name)


def test_files_of_a_pattern_are_read_in_name_order(tmp_path: Path) -> None:
    (tmp_path / "orders_0.csv").write_text("Order,Tag,Start\n9,P-101A,2019-01-31\n")
    (tmp_path / "~$orders_2.csv").write_text("left by an open spreadsheet")
    (tmp_path / "orders_3.csv").mkdir()
    fleet = _read(tmp_path)
    assert fleet["work_orders"]["wo_no"].tolist() == ["9", "4711", "4712"]
    assert fleet["work_orders"]["record_id"].is_unique


def test_a_file_with_a_header_only_is_a_finding(tmp_path: Path) -> None:
    (tmp_path / "orders_0.csv").write_text("Order,Tag,Start\n")
    fleet = _read(tmp_path)
    assert len(fleet["work_orders"]) == 2
    assert fleet["work_orders"]["work_start"].dtype.kind == "M"
    assert _found(fleet, "empty table")["record_id"].tolist() == ["work_orders:orders_0.csv"]


def test_every_row_is_kept_however_bad(tmp_path: Path) -> None:
    orders = 'Order;Tag;Start\n1;P-101A;31/05/2019\n2\n;;\n3;P;x;y;z\n"4\n5";P;31/11/2019\n'
    fleet = _read(tmp_path, orders=orders)
    assert fleet["work_orders"]["record_id"].tolist() == [
        f"work_orders:orders_1.csv:{row}" for row in (2, 3, 5, 6)
    ]
    assert _found(fleet, "row too short")["record_id"].tolist() == ["work_orders:orders_1.csv:3"]
    assert _found(fleet, "row too long")["record_id"].tolist() == ["work_orders:orders_1.csv:5"]
    assert _found(fleet, "empty rows")["value"].tolist() == ["1"]
    bad = _found(fleet, "no such date")
    assert bad["record_id"].tolist() == [f"work_orders:orders_1.csv:{row}" for row in (5, 6)]
    assert bad["value"].tolist() == ["x;y;z", "31/11/2019"]
    assert "'31/11/2019' in orders_1.csv, column 'Start' is no date" in bad["message"].iloc[1]


def test_a_workbook_in_a_fleet(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["Order", "Tag", "Start", "Hours"])
    sheet.append([4711, "P-101A", pd.Timestamp("2019-05-04").to_pydatetime(), 2.5])
    book.save(tmp_path / "orders.xlsx")
    toml = TOML.replace("orders*.csv", "orders.xlsx").replace(
        'work_start = "Start" }', 'work_start = "Start", labour_h = "Hours" }\ndecimal = ","'
    )
    orders = _read(tmp_path, toml=toml)["work_orders"]
    assert orders[["wo_no", "labour_h"]].to_numpy().tolist() == [["4711", 2.5]]
    assert orders["work_start"].tolist() == [pd.Timestamp("2019-05-04")]


# --- findings --------------------------------------------------------------------------------


def test_a_guessed_encoding_is_a_finding(tmp_path: Path) -> None:
    _read(tmp_path)
    (tmp_path / "register.csv").write_bytes((REGISTER + "P-é;drive;10\n").encode("cp1252"))
    fleet = read_fleet(tmp_path)
    assert fleet["positions"]["tag"].iloc[2] == "P-é"
    found = _found(fleet, "encoding guessed").iloc[0]
    assert (found["record_id"], found["value"]) == ("positions:register.csv", "cp1252")


def test_filler_dates_and_day_numbers_are_findings(tmp_path: Path) -> None:
    orders = "Order;Tag;Start\n1;P;31/12/9999\n2;P;43616\n3;P;00.00.0000\n4;P;\n"
    fleet = _read(tmp_path, orders=orders)
    assert fleet["work_orders"]["work_start"].notna().tolist() == [False, True, False, False]
    assert _found(fleet, "filler date")["value"].tolist() == ["31/12/9999"]
    assert _found(fleet, "day number")["value"].tolist() == ["43616"]
    assert len(fleet.findings) == 2


def test_values_that_are_no_numbers_or_hardly_possible(tmp_path: Path) -> None:
    register = "tag;End;Temp F\nP-1;DE;warm\nP-2;;9999\nP-3;nde;\nP-4;;0,850\n"
    fleet = _read(tmp_path, register=register)
    assert _found(fleet, "no number")["value"].tolist() == ["warm", "0,850"]
    far = _found(fleet, "value out of range").iloc[0]
    assert (far["value"], far["threshold"]) == ("9999", "-200 to 500 degC")
    assert fleet["positions"]["temp_c"].round().fillna(-1).tolist() == [-1, 5537, -1, -1]


def test_codes_that_are_not_known_are_kept_out(tmp_path: Path) -> None:
    register = "tag;End;Temp F\nP-1;DRIVE ;0\nP-2;left;0\nP-3;nde;0\nP-4;;0\n"
    fleet = _read(tmp_path, register=register)
    assert fleet["positions"]["seal_end"].tolist() == ["DE", "", "NDE", ""]
    found = _found(fleet, "unknown code").iloc[0]
    assert (found["record_id"], found["value"]) == ("positions:register.csv:3", "left")
    assert "translate it under [codes.seal_end] in fleet.toml" in found["message"]
    asked = _found(fleet, "unknown code that decides figures")
    assert asked["message"].str.startswith("'left' stands in 1 rows").tolist() == [True]


@pytest.mark.parametrize(("unit", "said"), [("bar", 1), ("barg", 0), ("bara", 0)])
def test_a_pressure_that_may_be_gauge_is_said_once(tmp_path: Path, unit: str, said: int) -> None:
    toml = TOML.replace("temp_c", "suction_kpa").replace("degF", unit)
    fleet = _read(tmp_path, toml=toml)
    found = _found(fleet, "gauge or absolute")
    assert len(found) == said
    assert found["record_id"].tolist() == ["positions:register.csv"] * said
    assert fleet["positions"]["suction_kpa"].iloc[0] == 21200 + (101.325 if unit == "barg" else 0)


# --- refusals --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ('"register.csv"', '"regster.csv"', "no file 'regster.csv' for table positions; put"),
        (
            '"register.csv"',
            '"../register.csv"',
            "'../register.csv' points outside the fleet folder",
        ),
        ('"register.csv"', '"/etc/hosts"', "'/etc/hosts' points outside the fleet folder"),
        ('"orders*.csv"', '"orders*.csv", "*_1.csv"', "'orders_1.csv' is read more than once for"),
        (
            '"Temp F"',
            '"Temp  C"',
            "register.csv: has no column 'Temp C' (for temp_c); did you mean",
        ),
        ('"Temp F"', '"Temp C"', "did you mean 'Temp F'?; it has: tag, End, Temp F; mend the name"),
        (', tag = "Tag"', "", "orders_1.csv: has no column for 'tag' (pump tag); it has: Order, T"),
        ("degF", "furlong", "register.csv, column 'Temp F': the unit 'furlong' is not known"),
        ("degF", "bar", "the unit 'bar' cannot be turned into degC"),
        ('site = "North"', 'tag = "x"', "has a column 'tag', and fleet.toml gives a constant for"),
        ('"work_orders"', '"positions"', "sources.2: 'wo_no' is not a column of positions"),
        ('table = "positions"', 'sheet = "S"\ntable = "changes"', "'seal_end' is not a column of"),
    ],
)
def test_what_cannot_be_read_is_refused(tmp_path: Path, old: str, new: str, sentence: str) -> None:
    with pytest.raises(InputError) as err:
        _read(tmp_path, toml=TOML.replace(old, new))
    assert sentence in str(err.value)
    assert "\n" not in str(err.value)


def test_ambiguous_dates_are_refused_with_file_column_row_and_next_step(tmp_path: Path) -> None:
    with pytest.raises(InputError) as err:
        _read(tmp_path, orders="Order;Tag;Start\n1;P;05/05/2019\n2;P;01/02/2020\n")
    assert str(err.value) == (
        "orders_1.csv, column 'Start': day and month cannot be told apart, e.g. '01/02/2020' "
        "(row 3); set date_order for this file in fleet.toml"
    )


def test_a_copy_under_another_name_is_refused(tmp_path: Path) -> None:
    (tmp_path / "orders_1 copy.csv").write_text(ORDERS)
    with pytest.raises(InputError, match=r"'orders_1.csv' and 'orders_1 copy.csv' hold the same"):
        _read(tmp_path)


def test_the_least_a_study_can_live_on(tmp_path: Path, tiny_fleet: TinyFleet) -> None:
    with pytest.raises(InputError, match="names no file for work_orders or removals; add a"):
        read_fleet(tiny_fleet(tmp_path, work_orders=None))
    removal = {"tag": "P-101A", "date": "2019-05-31", "reason": "seal failed"}
    fleet = read_fleet(tiny_fleet(tmp_path / "b", work_orders=None, removals=[removal]))
    assert fleet["removals"]["reason"].tolist() == ["seal failed"]
    (tmp_path / "b" / "positions.csv").write_text("tag\n")
    with pytest.raises(InputError, match="the register holds no positions"):
        read_fleet(tmp_path / "b")
    toml = '[fleet]\nname="x"\n[[sources]]\ntable="stores"\nfiles="a.csv"\n'
    (tmp_path / "fleet.toml").write_text(toml)
    with pytest.raises(InputError, match=r"fleet.toml: names no file for positions; add a"):
        read_fleet(tmp_path)


def test_a_folder_that_is_no_fleet(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="not a fleet folder"):
        read_fleet(tmp_path)


def test_reading_changes_no_file(tmp_path: Path) -> None:
    before = _read(tmp_path).inputs
    pd.testing.assert_frame_equal(read_fleet(tmp_path).inputs, before)
