"""The file of corrections: read as people and spreadsheets write it, refused where it cannot be."""

from __future__ import annotations

from pathlib import Path

import pytest
from conftest import TinyFleet

from seallife.errors import InputError
from seallife.intake import read_fleet
from seallife.intake.overrides import OVERRIDE_COLUMNS, OVERRIDES_FILE, read_overrides

HEAD = ",".join(OVERRIDE_COLUMNS)
LINE = "positions:positions.csv:2,seal_end,DE,looked at the pump,JK,2026-01-31"


def _write(folder: Path, text: str | bytes) -> Path:
    data = text.encode("utf-8") if isinstance(text, str) else text
    (folder / OVERRIDES_FILE).write_bytes(data)
    return folder


def test_no_file_is_no_correction(tmp_path: Path) -> None:
    got = read_overrides(tmp_path)
    assert got.table.empty
    assert got.findings.empty
    assert got.file is None


def test_rows_keep_the_number_a_spreadsheet_shows(tmp_path: Path) -> None:
    got = read_overrides(_write(tmp_path, f"{HEAD}\n{LINE}\n\n{LINE}\n"))
    assert list(got.table.columns) == ["row", *OVERRIDE_COLUMNS]
    assert got.table["row"].tolist() == [2, 4]
    assert got.table.iloc[0].tolist()[1:] == LINE.split(",")


@pytest.mark.parametrize(
    "text",
    [
        f"\ufeff{HEAD}\r\n{LINE}\r\n",
        f"{HEAD};more\n{LINE};x\n".replace(",", ";"),
        f"weight,{HEAD},row\nask,{LINE},2\n",
        f"{HEAD.upper().replace('_', ' ')}\n{LINE.replace('seal_end', 'Seal_End')}\n",
        "record_id,column,value,why\n" + ",".join(LINE.split(",")[:4]) + "\n",
    ],
    ids=["byte order mark", "semicolons", "further columns", "capitals", "no by and date"],
)
def test_ways_in_which_it_is_written(tmp_path: Path, text: str) -> None:
    row = read_overrides(_write(tmp_path, text)).table.iloc[0]
    assert row[["record_id", "column", "value", "why"]].tolist() == LINE.split(",")[:4]


def test_rows_not_filled_in_are_counted_not_used(tmp_path: Path) -> None:
    got = read_overrides(_write(tmp_path, f"{HEAD}\nrecord,,,,JK,\n{LINE}\n"))
    assert len(got.table) == 1
    assert got.findings["check"].tolist() == ["correction not filled in"]
    assert got.findings["value"].tolist() == ["1"]


def test_an_encoding_that_had_to_be_guessed_is_said(tmp_path: Path) -> None:
    text = f"{HEAD}\n{LINE.replace('looked', 'überprüft')}\n".encode("cp1252")
    got = read_overrides(_write(tmp_path, text))
    assert got.table["why"].iloc[0].startswith("überprüft")
    assert got.findings["check"].tolist() == ["encoding guessed"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        ("record_id,column,value\nx,y,z\n", "has no column 'why'"),
        (f'{HEAD}\n"{LINE}\n', "never closed"),
        (f"{HEAD},Value\n{LINE},x\n", "differ only in capitals"),
    ],
)
def test_a_file_that_cannot_be_used_is_one_sentence(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(InputError, match=words) as caught:
        read_overrides(_write(tmp_path, text))
    assert OVERRIDES_FILE in str(caught.value)


def test_inputs_list_the_file_and_no_pattern_takes_it_for_a_table(
    tmp_path: Path, tiny_fleet: TinyFleet
) -> None:
    folder = tiny_fleet(tmp_path)
    toml = folder / "fleet.toml"
    toml.write_text(toml.read_text("utf-8").replace("work_orders.csv", "[ow]*r*s.csv"), "utf-8")
    before = read_fleet(folder).inputs
    _write(folder, f"{HEAD}\n{LINE}\n")
    inputs = read_fleet(folder).inputs
    assert inputs["table"].tolist() == [*before["table"], "overrides"]
    assert inputs["rows"].iloc[-1] == 1
    assert len(inputs["sha256"].iloc[-1]) == 64
