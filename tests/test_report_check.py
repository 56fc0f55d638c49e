"""The written check: a page and a workbook; the filled sheet is the site's overrides.csv."""

from __future__ import annotations

import csv
import datetime as dt
import html
import shutil
from html.parser import HTMLParser
from pathlib import Path

import openpyxl
import pytest
from conftest import ROOT
from studies import HOSTILE, grids, hostile, no_failures

from seallife.errors import InputError
from seallife.findings import make_findings
from seallife.intake import read_fleet
from seallife.intake.overrides import OVERRIDE_COLUMNS, OVERRIDES_FILE
from seallife.report import check as check_module
from seallife.report.check import write_check
from seallife.report.worklist import worklist
from seallife.study import run_study

DAY = dt.date(2026, 1, 15)


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        assert not {"src", "onerror", "onclick"} & {name for name, _ in attrs}


@pytest.fixture(scope="module")
def demo_files(demo_study, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return write_check(demo_study, tmp_path_factory.mktemp("check"), made=DAY)


def _save_as_csv(xlsx: Path, target: Path, fill: dict[str, dict[str, str]] | None = None) -> None:
    """What a spreadsheet does with the sheet 'worklist', after a person filled in some rows."""
    rows = list(openpyxl.load_workbook(xlsx)["worklist"].iter_rows(values_only=True))
    heads = [str(h) for h in rows[0]]
    with target.open("w", newline="", encoding="utf-8-sig") as file:
        out = csv.writer(file, delimiter=";")
        out.writerow(heads)
        for row in rows[1:]:
            cells = dict(zip(heads, row, strict=True))
            if fill and cells["record_id"] in fill and not cells["column"]:
                cells |= fill.pop(str(cells["record_id"]))
            out.writerow(["" if v is None else v for v in cells.values()])


def test_two_files_and_nothing_half_written(demo_files: dict[str, Path]) -> None:
    assert {k: p.name for k, p in demo_files.items()} == {
        "html": "records-check.html",
        "xlsx": "records-check.xlsx",
    }
    folder = demo_files["html"].parent
    assert set(folder.iterdir()) == set(demo_files.values())


def test_equal_input_gives_equal_bytes(tmp_path: Path) -> None:
    one = write_check(grids(), tmp_path / "a", made=DAY)
    two = write_check(grids(), tmp_path / "b", made=DAY)
    for key in one:
        assert one[key].read_bytes() == two[key].read_bytes()


def test_the_page_needs_no_script_and_no_network(demo_files: dict[str, Path]) -> None:
    text = demo_files["html"].read_text("utf-8")
    tags = _Tags()
    tags.feed(text)
    assert not {"script", "img", "link", "iframe"} & set(tags.tags)
    assert text.startswith("<!doctype html>")
    assert "://" not in text
    assert "no reason to run past a leak limit" in text
    assert len(text) < 500_000


def test_the_page_names_every_check(demo_study, demo_files: dict[str, Path]) -> None:
    text = html.unescape(demo_files["html"].read_text("utf-8")).casefold()
    for check in demo_study.findings["check"].unique():
        assert check.casefold() in text, check
    asks = int((demo_study.findings["severity"] == "ask").sum())
    assert f"{asks} findings in these records must be decided by a person" in text


def test_a_clean_fleet_waits_for_nobody(tmp_path: Path) -> None:
    study = no_failures()
    assert not (study.findings["severity"] == "ask").any()
    files = write_check(study, tmp_path, made=DAY)
    text = html.unescape(files["html"].read_text("utf-8"))
    assert "Nothing in these records waits for a person's decision." in text
    assert openpyxl.load_workbook(files["xlsx"])["worklist"].max_row >= 1


def test_the_workbook_is_typed_frozen_and_in_order(demo_study, demo_files: dict[str, Path]) -> None:
    book = openpyxl.load_workbook(demo_files["xlsx"])
    assert book.sheetnames == ["how to", "worklist", "findings", "waterfall", "columns"]
    work = worklist(demo_study)
    sheet = book["worklist"]
    assert (sheet.max_row, sheet.max_column) == (len(work) + 1, len(work.columns))
    assert book["findings"].max_row == len(demo_study.findings) + 1
    heads = [c.value for c in sheet[1]]
    for name in book.sheetnames[1:]:
        assert book[name].freeze_panes is not None
    first = dict(zip(heads, sheet[2], strict=True))
    assert first["row"].data_type == "n"
    for column in OVERRIDE_COLUMNS[1:]:
        assert first[column].value is None
        assert first[column].number_format == "@", "a spreadsheet must not rewrite what is typed"
    words = " ".join(str(c.value) for row in book["how to"].iter_rows() for c in row if c.value)
    assert OVERRIDES_FILE in words
    assert "CSV" in words
    assert "no reason to run past a leak limit" in words


def test_names_that_are_markup_or_formulas_do_no_harm(tmp_path: Path) -> None:
    study = hostile()
    ids = study.fleet["removals"]["record_id"].tolist()
    study = run_study(study.fleet)
    object.__setattr__(study, "findings", make_findings(HOSTILE, "ask", ids, "=1+1"))
    files = write_check(study, tmp_path, made=DAY)
    text = files["html"].read_text("utf-8")
    tags = _Tags()
    tags.feed(text)
    assert "img" not in tags.tags
    assert "&lt;img" in text.casefold()
    for sheet in openpyxl.load_workbook(files["xlsx"]):
        for row in sheet.iter_rows():
            assert all(c.data_type != "f" for c in row), sheet.title
            assert all(c.hyperlink is None or sheet.title == "how to" for c in row)


def test_a_sheet_too_long_is_cut_and_says_so_but_keeps_corrections_in_use(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = _demo_with(
        tmp_path, "record_id,column,value,why\npositions:register_skarrow.csv:2,fluid,tar,asked\n"
    )
    study = run_study(read_fleet(folder))
    monkeypatch.setattr(check_module, "_MOST_ROWS", 20)
    book = openpyxl.load_workbook(write_check(study, tmp_path / "out", made=DAY)["xlsx"])
    rows = list(book["worklist"].iter_rows(values_only=True))
    assert len(rows) == 21
    assert [r[0] for r in rows[1:]] == ["ask"] * 19 + ["in use"]
    words = [str(r[1]) for r in book["how to"].iter_rows(values_only=True)]
    assert any("the 20 weightiest; all: seallife check --json" in w for w in words)


def _demo_with(tmp_path: Path, overrides: str) -> Path:
    folder = tmp_path / "fleet"
    shutil.copytree(ROOT / "data_demo", folder)
    (folder / OVERRIDES_FILE).write_text(overrides, "utf-8")
    return folder


def test_the_filled_sheet_saved_as_csv_is_the_file_of_corrections(
    demo_study, demo_files: dict[str, Path], tmp_path: Path
) -> None:
    """Twice round: the second sheet holds what the first one set, and loses none of it."""
    folder = tmp_path / "fleet"
    shutil.copytree(ROOT / "data_demo", folder)
    asked = demo_study.findings[demo_study.findings["check"] == "end of pump not named"]
    first, second = asked["record_id"].iloc[:2]
    end = {"column": "seal_end", "value": "DE", "why": "shift log", "date": "2026-01-31"}
    _save_as_csv(demo_files["xlsx"], folder / OVERRIDES_FILE, {first: dict(end)})
    study = run_study(read_fleet(folder))
    assert study.fleet.overrides[["record_id", "used"]].to_numpy().tolist() == [[first, True]]
    assert "end of pump not named" not in set(
        study.findings.loc[study.findings["record_id"] == first, "check"]
    )
    again = write_check(study, tmp_path / "again", made=DAY)
    wrong = end | {"value": "CE"}
    _save_as_csv(again["xlsx"], folder / OVERRIDES_FILE, {second: wrong})
    fleet = read_fleet(folder)
    got = fleet.overrides.set_index("record_id")["used"]
    assert got.to_dict() == {first: True, second: False}
    assert (fleet.findings["check"] == "correction not used").sum() == 1


def test_a_folder_that_cannot_be_written_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file stands here")
    with pytest.raises(InputError, match="cannot be written"):
        write_check(grids(), tmp_path / "out")
