"""Rows that are no records: totals, and units under the names."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife.intake.files import RawFile, read_cells
from seallife.intake.rows import only_records


def _raw(tmp_path: Path, text: str) -> RawFile:
    path = tmp_path / "f.csv"
    path.write_text(text, encoding="utf-8")
    return read_cells(path)


@pytest.mark.parametrize(
    "row",
    [
        "Total,,,12,3450.00",
        ',,Grand total:,12,"3,450.00"',
        "Gesamtsumme,,,12,3450.00",
        "Summe,-,-,12,3450.00",
        "Somme,,,12,3450.00",
        "TOTALE,,,12,€ 3450",
    ],
)
def test_a_row_of_totals_is_left_out_and_said(row: str, tmp_path: Path) -> None:
    raw = _raw(tmp_path, f"Order,Tag,Text,Hours,Cost\n1,P-1,seal leaks,12,3450\n{row}\n")
    got, findings = only_records(raw, "work_orders")
    assert got.cells["Order"].tolist() == ["1"]
    (found,) = [f for f in findings if len(f)]
    assert found["record_id"].tolist() == ["work_orders:f.csv:3"]
    assert found["check"].tolist() == ["row of totals"]
    assert not found["set_aside"].any()


@pytest.mark.parametrize(
    "row",
    [
        "2,P-1,Total,12,3450.00",  # a tag stands there: a record of a terse fitter
        "Total loss,,,12,3450.00",
        "3,,total seal failure,1,2",
        "4,P-2,,12,3450.00",
    ],
)
def test_what_is_not_plainly_a_total_stays(row: str, tmp_path: Path) -> None:
    raw = _raw(tmp_path, f"Order,Tag,Text,Hours,Cost\n1,P-1,seal leaks,12,3450\n{row}\n")
    got, findings = only_records(raw, "work_orders")
    assert len(got.cells) == 2
    assert not sum(map(len, findings))


def test_units_under_the_names_are_no_record(tmp_path: Path) -> None:
    raw = _raw(tmp_path, "Tag,Temp,Pressure,Speed\n,°C,barg,rpm\nP-1,80,3,2950\n")
    got, findings = only_records(raw, "positions")
    assert got.cells["Tag"].tolist() == ["P-1"]
    assert got.cells.index.tolist() == [3]
    assert sum((f["check"] == "row of units").sum() for f in findings) == 1
    assert len(raw.cells) == 2  # the caller's is not changed


@given(
    st.lists(
        st.tuples(st.sampled_from(["P-1", "Total", ""]), st.sampled_from(["bar", "7", "", "x"])),
        min_size=1,
        max_size=6,
    )
)
def test_every_row_is_kept_or_said(rows: list[tuple[str, str]]) -> None:
    cells = pd.DataFrame(rows, columns=["a", "b"], index=pd.RangeIndex(2, 2 + len(rows)))
    got, findings = only_records(RawFile("f.csv", cells, ""), "work_orders")
    said = {r for f in findings for r in f["record_id"]}
    kept = {f"work_orders:f.csv:{row}" for row in got.cells.index}
    assert said | kept == {f"work_orders:f.csv:{row}" for row in cells.index}
    assert not said & kept
