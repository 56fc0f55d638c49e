from __future__ import annotations

import csv
import io
import zipfile
from datetime import date
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from seallife.errors import InputError
from seallife.intake.files import RawFile, read_cells


def _csv(folder: Path, content: str | bytes, name: str = "t.csv", **how: object) -> RawFile:
    file = folder / name
    file.write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_cells(file, **how)  # type: ignore[arg-type]


def _rows(raw: RawFile) -> list[list[str]]:
    return [list(raw.cells.columns), *raw.cells.to_numpy().tolist()]


# --- CSV: layout -----------------------------------------------------------------------------


@pytest.mark.parametrize("sep", [",", ";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_separator_and_line_end_are_found_out(tmp_path: Path, sep: str, end: str) -> None:
    text = end.join([sep.join(["tag", "text"]), sep.join(["P-1", "leak"])]) + end
    assert _rows(_csv(tmp_path, text)) == [["tag", "text"], ["P-1", "leak"]]


def test_separator_inside_a_quoted_column_name_does_not_mislead(tmp_path: Path) -> None:
    raw = _csv(tmp_path, '"Tag, old, new, all";Date\nP-1;x\n')
    assert list(raw.cells.columns) == ["Tag, old, new, all", "Date"]


def test_the_separator_line_of_spreadsheets_is_not_a_row(tmp_path: Path) -> None:
    raw = _csv(tmp_path, "sep=|\r\na,1|b\r\n1|2\r\n")
    assert _rows(raw) == [["a,1", "b"], ["1", "2"]]
    assert raw.cells.index.tolist() == [2]


def test_row_numbers_are_those_of_a_spreadsheet(tmp_path: Path) -> None:
    raw = _csv(tmp_path, 'a,b\n1,"x\ny"\n\n3,4\n,\n5,6\n')
    assert raw.cells.index.tolist() == [2, 4, 6]
    assert raw.cells["b"].tolist() == ["x\ny", "4", "6"]
    assert raw.empty_rows == 2


def test_title_lines_above_the_header(tmp_path: Path) -> None:
    raw = _csv(tmp_path, "Register of pumps\n\na;b;c\n1;2;3\n", header_row=3)
    assert _rows(raw) == [["a", "b", "c"], ["1", "2", "3"]]
    assert raw.cells.index.tolist() == [4]


def test_quotes_inside_a_cell_are_text(tmp_path: Path) -> None:
    raw = _csv(tmp_path, 'a,b\n2" pipe,"said ""no"", left"\n')
    assert raw.cells.iloc[0].tolist() == ['2" pipe', 'said "no", left']


def test_column_names_over_two_lines_are_joined(tmp_path: Path) -> None:
    assert list(_csv(tmp_path, '"Tag\nNo",b\n1,2\n').cells.columns) == ["Tag No", "b"]


def test_a_row_too_long_is_kept_whole_and_named(tmp_path: Path) -> None:
    raw = _csv(tmp_path, "a,b\n1,seal, leaking, changed\n3,4\n5,6,,\n")
    assert raw.cells["b"].tolist() == ["seal, leaking, changed", "4", "6"]
    assert raw.long_rows == (2,)


def test_a_row_too_short_is_filled_and_named(tmp_path: Path) -> None:
    raw = _csv(tmp_path, "a,b,c\n1,2\n3,4,5\n\n")
    assert raw.cells.to_numpy().tolist() == [["1", "2", ""], ["3", "4", "5"]]
    assert (raw.short_rows, raw.empty_rows) == ((2,), 1)


def test_header_only(tmp_path: Path) -> None:
    raw = _csv(tmp_path, "a,b\n")
    assert list(raw.cells.columns) == ["a", "b"]
    assert raw.cells.empty


def test_nameless_columns_get_a_name(tmp_path: Path) -> None:
    assert list(_csv(tmp_path, "a,,c\n1,2,3\n").cells.columns) == ["a", "column 2", "c"]


@pytest.mark.parametrize(
    ("content", "how", "sentence"),
    [
        ("", {}, "t.csv: is empty"),
        (" \n \n", {}, "t.csv: is empty"),
        ("a,b,a\n1,2,3\n", {}, "more than one column named 'a'"),
        ("a,b\n", {"header_row": 4}, "no column names in row 4"),
        (",,\n1,2,3\n", {}, "no column names in row 1"),
        ('a,b\n1,2\n3,"open\n5,6\n', {}, "row 3 opens a quote that is never closed"),
        ('a,b\n1,"' + "x" * 200_000, {}, "row 2 cannot be split into cells"),
        ("a,b\n", {"encoding": "klingon"}, "'klingon' is not an encoding"),
        ("é,b\n".encode("cp1252"), {"encoding": "utf-8"}, "line 1 cannot be read as utf-8"),
        (b"a\n\x81\n", {}, "line 2 cannot be read as cp1252"),
        ("a,b\n1,2\n".encode("utf-16-le"), {}, "holds zero bytes"),
    ],
)
def test_unusable_text_is_refused_with_the_next_step(
    tmp_path: Path, content: str | bytes, how: dict[str, object], sentence: str
) -> None:
    with pytest.raises(InputError) as err:
        _csv(tmp_path, content, **how)
    assert sentence in str(err.value)
    assert err.value.hint


def test_wrong_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file; check the name"):
        read_cells(tmp_path / "none.csv")
    with pytest.raises(InputError, match="is a folder, not a file"):
        read_cells(tmp_path)
    with pytest.raises(InputError, match=r"is a '.xls' file, which cannot be read; export it"):
        _csv(tmp_path, "a", "t.xls")
    with pytest.raises(InputError, match="has no file ending"):
        _csv(tmp_path, "a", "t")


# --- CSV: encodings --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("encoding", "guessed"),
    [("utf-8", False), ("utf-8-sig", False), ("utf-16", False), ("cp1252", True)],
)
def test_encoding_is_found_out_and_a_guess_is_said(
    tmp_path: Path, encoding: str, guessed: bool
) -> None:
    raw = _csv(tmp_path, "tag;Texte\nP-1;fuite à côté\n".encode(encoding))
    assert _rows(raw) == [["tag", "Texte"], ["P-1", "fuite à côté"]]
    assert raw.guessed_encoding == guessed


def test_a_byte_order_mark_is_never_part_of_a_name(tmp_path: Path) -> None:
    raw = _csv(tmp_path, "tag\nP-1\n".encode("utf-8-sig"), encoding="utf-8")
    assert list(raw.cells.columns) == ["tag"]


_cell = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cs"], exclude_characters="\x00"), max_size=8
)
_word = st.text("abcXYZ ,;|\t\"'é", min_size=1, max_size=6).filter(lambda t: bool(t.strip()))


@st.composite
def _grids(draw: st.DrawFn, cell: st.SearchStrategy[str]) -> list[list[str]]:
    width = draw(st.integers(2, 4))
    names = draw(
        st.lists(_word, min_size=width, max_size=width, unique_by=lambda t: " ".join(t.split()))
    )
    rows = draw(st.lists(st.lists(cell, min_size=width, max_size=width), max_size=5))
    return [names, *rows]


@settings(max_examples=150, deadline=None)
@given(
    _grids(_cell),
    st.sampled_from([",", ";", "\t", "|"]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    st.sampled_from(["\n", "\r\n"]),
)
def test_any_grid_of_text_comes_back(
    tmp_path_factory: pytest.TempPathFactory, grid: list[list[str]], sep: str, enc: str, end: str
) -> None:
    text = io.StringIO()
    csv.writer(text, delimiter=sep, lineterminator=end, quoting=csv.QUOTE_ALL).writerows(grid)
    file = tmp_path_factory.mktemp("grid") / "t.csv"
    file.write_bytes(text.getvalue().encode(enc))
    quoted = any('"' in name for name in grid[0])
    raw = read_cells(file, separator=sep if quoted else "")
    stripped = [[c.strip() for c in row] for row in grid[1:]]
    filled = [i for i, row in enumerate(stripped) if any(row)]
    assert raw.cells.to_numpy().tolist() == [stripped[i] for i in filled]
    assert raw.cells.index.tolist() == [i + 2 for i in filled]
    assert list(raw.cells.columns) == [" ".join(n.split()) for n in grid[0]]
    assert raw.empty_rows == len(stripped) - len(filled)
    assert raw.long_rows == raw.short_rows == ()


# --- XLSX ------------------------------------------------------------------------------------


def _book(file: Path, rows: list[list[object]], title: str = "Stock") -> Path:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = title
    for row in rows:
        sheet.append(row)
    book.create_sheet("Notes").append(["nothing"])
    book.save(file)
    return file


def test_workbook_cells_become_the_text_one_sees(tmp_path: Path) -> None:
    rows: list[list[object]] = [
        ["tag", "date", "qty", "cost", "day"],
        ["P-1", pd.Timestamp(2023, 5, 31).to_pydatetime(), 2.0, 12.5, date(2023, 4, 5)],
        [],
        ["0007", None, 3, "5,6", pd.Timestamp(2023, 5, 31, 14, 30).to_pydatetime()],
    ]
    raw = read_cells(_book(tmp_path / "t.xlsx", rows))
    assert _rows(raw)[1:] == [
        ["P-1", "2023-05-31 00:00:00", "2", "12.5", "2023-04-05 00:00:00"],
        ["0007", "", "3", "5,6", "2023-05-31 14:30:00"],
    ]
    assert raw.cells.index.tolist() == [2, 4]
    assert raw.empty_rows == 1


def test_workbook_numbers_are_written_with_the_decimal_sign_of_the_source(tmp_path: Path) -> None:
    file = _book(tmp_path / "t.xlsx", [["tag", "sg"], ["P-1", 0.85]])
    assert read_cells(file, decimal=",").cells["sg"].tolist() == ["0,85"]


def test_workbook_sheet_and_header_row(tmp_path: Path) -> None:
    file = _book(tmp_path / "t.xlsx", [["Title"], ["tag", "n"], ["P-1", 1]])
    assert _rows(read_cells(file, sheet="Stock", header_row=2)) == [["tag", "n"], ["P-1", "1"]]
    assert read_cells(file, sheet="Notes").cells.empty
    with pytest.raises(InputError, match="no sheet 'Stcok'; it has: Stock, Notes"):
        read_cells(file, sheet="Stcok")
    with pytest.raises(InputError, match="no column names in row 9"):
        read_cells(file, header_row=9)


def test_a_workbook_that_states_a_wrong_size_is_read_whole(tmp_path: Path) -> None:
    file = _book(tmp_path / "t.xlsx", [["tag", "n"], ["P-1", 1], ["P-2", 2]])
    other = tmp_path / "wrong.xlsx"
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(other, "w") as new:
        for item in old.namelist():
            data = old.read(item)
            new.writestr(item, data.replace(b'<dimension ref="A1:B3"', b'<dimension ref="A1"'))
    assert other.read_bytes() != file.read_bytes()
    assert len(read_cells(other).cells) == 2


def test_damaged_and_empty_workbooks_are_refused(tmp_path: Path) -> None:
    whole = _book(tmp_path / "t.xlsx", [["tag", "n"], ["P-1", 1]]).read_bytes()
    for damaged in (b"not a workbook", whole[: len(whole) // 2], b""):
        (tmp_path / "bad.xlsx").write_bytes(damaged)
        with pytest.raises(InputError, match="not a readable XLSX file"):
            read_cells(tmp_path / "bad.xlsx")
    with zipfile.ZipFile(tmp_path / "zip.xlsx", "w") as other:
        other.writestr("readme.txt", "no workbook")
    with pytest.raises(InputError, match="not a readable XLSX file"):
        read_cells(tmp_path / "zip.xlsx")
    with pytest.raises(InputError, match="is empty; name the sheet"):
        read_cells(_book(tmp_path / "none.xlsx", []))


# --- Parquet ---------------------------------------------------------------------------------


def test_parquet_without_its_library_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def absent(path: Path) -> pd.DataFrame:
        raise ImportError(path)

    monkeypatch.setattr(pd, "read_parquet", absent)
    with pytest.raises(InputError, match=r"needs pyarrow to be read; pip install"):
        _csv(tmp_path, b"PAR1", "t.parquet")


def test_parquet_that_is_none_is_refused(tmp_path: Path) -> None:
    pytest.importorskip("pyarrow")
    with pytest.raises(InputError, match="not a readable Parquet file"):
        _csv(tmp_path, b"no parquet at all", "t.parquet")


def test_parquet_cells_become_text(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    frame = pd.DataFrame(
        {
            "tag": [" P-1", "nan", None],
            "date": pd.to_datetime(["2023-05-31", None, None]),
            "n": [1.0, 2.5, None],
        }
    )
    monkeypatch.setattr(pd, "read_parquet", lambda path: frame)
    raw = _csv(tmp_path, b"PAR1", "t.parquet", decimal=",")
    assert _rows(raw)[1:] == [["P-1", "2023-05-31 00:00:00", "1"], ["nan", "", "2,5"]]
    assert raw.cells.index.tolist() == [2, 3]
    assert raw.empty_rows == 1


def test_the_hash_is_of_the_bytes(tmp_path: Path) -> None:
    import hashlib

    assert _csv(tmp_path, "a\n1\n").sha256 == hashlib.sha256(b"a\n1\n").hexdigest()


def test_names_that_stand_twice_are_told_apart_by_merged_titles(tmp_path: Path) -> None:
    text = "Export of May;;;;;\n;;Planned;;Done;\nOrder;Tag;Start;End;Start;End\n1;P-1;a;b;c;d\n"
    path = tmp_path / "orders.csv"
    path.write_text(text)
    raw = read_cells(path, header_row=3)
    assert raw.cells.columns.tolist() == [
        "Order", "Tag", "Planned Start", "Planned End", "Done Start", "Done End",
    ]  # fmt: skip
    assert raw.cells.iloc[0].tolist() == ["1", "P-1", "a", "b", "c", "d"]
    assert raw.cells.index.tolist() == [4]
    path.write_text("Start;Start\n1;2\n")
    with pytest.raises(InputError, match="more than one column named"):
        read_cells(path)


def test_merged_titles_of_a_workbook_and_days_from_1904(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.epoch = CALENDAR_MAC_1904
    sheet = book.worksheets[0]
    sheet.append(["", "Planned", "", "Done", ""])
    sheet.merge_cells("B1:C1")
    sheet.append(["Order", "Start", "End", "Start", "End"])
    sheet.append([1, date(2020, 5, 4), 42128, date(2020, 5, 6), 42130])
    path = tmp_path / "orders.xlsx"
    book.save(path)
    raw = read_cells(path, header_row=2)
    assert raw.cells.columns.tolist() == [
        "Order", "Planned Start", "Planned End", "Done Start", "Done End",
    ]  # fmt: skip
    assert raw.cells["Planned Start"].iloc[0].startswith("2020-05-04")
    assert raw.days_from == "1904"
