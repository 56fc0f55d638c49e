"""The written report: whole, repeatable, self-contained, harmless, readable again."""

from __future__ import annotations

import datetime as dt
import io
import re
import shutil
from html.parser import HTMLParser
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from studies import HOSTILE, grids, hostile, no_failures, one_position, two_sites

from seallife.errors import InputError
from seallife.report import write_report
from seallife.report.exhibit import PageSpec
from seallife.report.tables import full_tables
from seallife.report.write import build_pages, csv_text

DAY = dt.date(2026, 1, 15)


def _outside_plotly(text: str) -> str:
    """The page without plotly's own code."""
    from plotly.offline import get_plotlyjs

    assert text.count(get_plotlyjs()) == 1, "plotly.js is inlined once"
    return text.replace(get_plotlyjs(), "")


class _Reader(HTMLParser):
    """Collects tags, ids, table heads and where links lead."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.scopes: list[str | None] = []
        self.roles: list[dict[str, str | None]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        self.tags.append(tag)
        if named.get("id"):
            self.ids.append(str(named["id"]))
        if tag == "a":
            self.links.append(str(named.get("href")))
        if tag == "th":
            self.scopes.append(named.get("scope"))
        if named.get("role") == "img":
            self.roles.append(named)


def _read(text: str) -> _Reader:
    reader = _Reader()
    reader.feed(_outside_plotly(text))
    return reader


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory):
    return write_report(two_sites(), tmp_path_factory.mktemp("report"), made=DAY)


def test_writes_pages_workbook_and_a_sidecar_per_exhibit(written) -> None:
    names = {e.name for p in written.pages for e in p.exhibits}
    behind = {"lives", "removals", "findings", "positions"}
    assert set(written.files) == {"html", "xlsx"} | {f"tables/{n}" for n in names | behind}
    on_disk = {p for p in written.folder.rglob("*") if p.is_file()}
    assert on_disk == set(written.files.values()), "no half-written file stays behind"


def test_equal_input_gives_equal_bytes_but_for_the_day(written, tmp_path: Path) -> None:
    again = write_report(two_sites(), tmp_path / "a", made=DAY)
    for key, path in written.files.items():
        assert path.read_bytes() == again.files[key].read_bytes(), key
    later = write_report(two_sites(), tmp_path / "b", made=DAY + dt.timedelta(1))
    old, new = (r.files["html"].read_text("utf-8").splitlines() for r in (written, later))
    different = [line for line, other in zip(old, new, strict=True) if line != other]
    assert len(different) == 1
    assert "15 Jan 2026" in different[0]


def test_page_asks_nothing_of_the_network_and_stays_small(written) -> None:
    file = written.files["html"]
    assert file.stat().st_size < 6_000_000
    text = _outside_plotly(file.read_text("utf-8"))
    assert not re.search(r"""(src|href)=["']?(https?:|//)""", text)
    assert "default-src 'none'" in text


def test_page_can_be_read_without_eyes_and_mouse(written) -> None:
    reader = _read(written.files["html"].read_text("utf-8"))
    assert len(reader.ids) == len(set(reader.ids))
    assert {f"#page-{i}" for i in range(1, 6)} <= set(reader.links)
    assert {link[1:] for link in reader.links} <= set(reader.ids)
    assert set(reader.scopes) == {"col", "row"}
    figures = [e for p in written.pages for e in p.exhibits if e.figure is not None]
    assert len(reader.roles) == len(figures) > 5
    assert all(r["aria-label"] for r in reader.roles)
    assert reader.tags.count("figcaption") == sum(len(p.exhibits) for p in written.pages)


def test_names_from_records_never_become_markup(tmp_path: Path) -> None:
    report = write_report(hostile(), tmp_path, made=DAY)
    text = report.files["html"].read_text("utf-8")
    assert HOSTILE not in text
    assert "<img" not in _outside_plotly(text)
    assert "&lt;img src=x onerror=alert(1)&gt;" in text
    reader = _read(text)
    figures = sum(e.figure is not None for p in report.pages for e in p.exhibits)
    assert reader.tags.count("script") == figures + 2


def test_formulas_in_records_are_text_in_workbook_and_csv(tmp_path: Path) -> None:
    report = write_report(hostile(), tmp_path, made=DAY)
    book = openpyxl.load_workbook(report.files["xlsx"])
    for sheet in book:
        for row in sheet.iter_rows():
            assert not [c.coordinate for c in row if c.data_type == "f"], sheet.title
    values = {c.value for row in book["lives"].iter_rows() for c in row}
    assert "=P-0" in values
    lines = report.files["tables/positions"].read_text("utf-8")
    assert "'=P-0" in lines
    assert not re.search(r"(^|,)[=+@]", lines, re.MULTILINE)


def test_csv_keeps_numbers_and_quotes_only_risky_text() -> None:
    table = pd.DataFrame({"a": [-1.5, 2.0], "b": ["-x", "plain"], "c": [None, "@y"]})
    assert csv_text(table) == "a,b,c\n-1.5,'-x,\n2.0,plain,'@y\n"
    assert table["b"].tolist() == ["-x", "plain"], "the caller's table is left alone"


def test_workbook_holds_the_tables(written) -> None:
    tables = full_tables(two_sites())
    book = openpyxl.load_workbook(written.files["xlsx"])
    assert book.sheetnames == ["contents", *tables, "cautions"]
    for name, full in tables.items():
        sheet = book[name]
        rows = list(sheet.iter_rows(values_only=True))
        heads = [str(h).split(" [")[0] for h in rows[0]]
        assert heads == list(full.table.columns), name
        assert len(rows) - 1 == len(full.table), name
        assert sheet.freeze_panes == "B2", name
        for column, values in zip(full.table.columns, zip(*rows[1:], strict=True), strict=False):
            for given, got in zip(full.table[column], values, strict=True):
                _same(given, got, f"{name}.{column}")


def _same(given: object, got: object, where: str) -> None:
    if isinstance(given, pd.Timestamp):
        assert got == given.to_pydatetime(), where
    elif given is None or given is pd.NaT or given != given or given == "":
        assert got is None, where
    elif isinstance(given, str):
        assert got == given, where
    elif given == float("inf"):
        assert got == "no upper limit", where
    else:
        assert got == pytest.approx(given), where


def test_workbook_says_units_in_its_heads(written) -> None:
    book = openpyxl.load_workbook(written.files["xlsx"], read_only=True)
    heads = [c.value for c in next(book["fits"].iter_rows(max_row=1))]
    assert "b10_low_h [h]" in heads
    assert "mtbf_years_low [y]" in [c.value for c in next(book["overall"].iter_rows(max_row=1))]


def test_sidecar_of_lives_leads_back_to_the_records(written) -> None:
    lives = pd.read_csv(written.files["tables/lives"], keep_default_na=False)
    assert len(lives) == len(two_sites().lives.table)
    closed = lives[lives["removal_id"] != ""]
    assert closed["end_record"].str.match(r"removals:t\.csv:\d+").all()


@pytest.mark.parametrize("study", [grids, no_failures, one_position])
def test_small_and_failureless_fleets_get_a_report(study, tmp_path: Path) -> None:
    report = write_report(study(), tmp_path, made=DAY)
    text = _outside_plotly(report.files["html"].read_text("utf-8"))
    assert not re.search(r"\bNaN\b|\bnan\b|Infinity", text)


def test_only_the_formats_asked_for(tmp_path: Path) -> None:
    report = write_report(grids(), tmp_path, formats=("xlsx",), made=DAY)
    assert "html" not in report.files
    with pytest.raises(InputError, match="'pdf' is none of html, xlsx"):
        write_report(grids(), tmp_path, formats=("pdf",))


def test_today_is_the_default_day(tmp_path: Path) -> None:
    assert write_report(grids(), tmp_path, formats=()).made == dt.datetime.now().date()  # noqa: DTZ005


def test_a_place_that_cannot_be_written_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(InputError, match="cannot be written"):
        write_report(grids(), tmp_path / "taken", formats=())


def test_a_write_that_fails_leaves_the_old_file_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import os

    report = write_report(grids(), tmp_path, made=DAY)
    before = report.files["xlsx"].read_bytes()

    def refuse(*_: object) -> None:
        raise PermissionError(13, "open in a spreadsheet")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(InputError, match="open in a spreadsheet"):
        write_report(two_sites(), tmp_path, made=DAY)
    assert report.files["xlsx"].read_bytes() == before
    assert not list(tmp_path.rglob(".writing-*"))


def test_two_exhibits_of_one_name_are_refused() -> None:
    from seallife.report.pages import PAGES

    twice = (*PAGES, PageSpec("again", "Again", PAGES[0].build))
    with pytest.raises(InputError, match="names two exhibits"):
        build_pages(grids(), twice)


def test_workbook_of_no_rows_opens() -> None:
    from seallife.report.tables import FullTable
    from seallife.report.workbook import workbook_bytes

    table = pd.DataFrame({"a": pd.Series(dtype=float), "b": pd.Series(dtype=object)})
    data = workbook_bytes("x", DAY, {"empty": FullTable("nothing", table)})
    assert openpyxl.load_workbook(io.BytesIO(data))["empty"].max_row == 1


_FLAGS = (
    "headless",
    "no-sandbox",
    "disable-gpu",
    "disable-quic",
    "no-first-run",
    "disable-background-networking",
    "disable-component-update",
    "disable-sync",
)


@pytest.mark.browser
@pytest.mark.parametrize("study", [two_sites, hostile], ids=lambda f: f.__name__)
def test_a_browser_draws_every_figure_without_error_or_request(study, tmp_path: Path) -> None:
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        pytest.skip("no chromium on this machine")
    from playwright.sync_api import sync_playwright

    report = write_report(study(), tmp_path, made=DAY)
    flags = [f"--{f}" for f in _FLAGS]
    asked: list[str] = []
    said: list[str] = []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=flags)
        page = browser.new_page(viewport={"width": 1000, "height": 900})
        page.on("request", lambda r: asked.append(r.url))
        page.on("console", lambda m: said.append(m.text))
        page.on("pageerror", lambda e: said.append(str(e)))
        page.on("dialog", lambda d: (said.append(f"dialog {d.message}"), d.dismiss()))
        page.goto(report.files["html"].as_uri())
        page.wait_for_function("document.querySelectorAll('.plot:not(:has(svg))').length === 0")
        drawn = page.locator(".plot").count()
        wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        page.keyboard.press("Tab")
        first = page.evaluate("document.activeElement.textContent")
        browser.close()
    assert drawn == sum(e.figure is not None for p in report.pages for e in p.exhibits)
    assert said == []
    assert [u for u in asked if not u.startswith(("data:", "blob:"))] == [
        report.files["html"].as_uri()
    ]
    assert wide <= 0, "nothing sticks out of the page"
    assert first == "Skip to the first page"


def test_long_table_is_left_out_of_the_workbook_whole_and_stands_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Part of a table would be taken for the whole of it."""
    from seallife.report import workbook, write

    for module in (workbook, write):
        monkeypatch.setattr(module, "MOST_ROWS", 40)
    report = write_report(two_sites(), tmp_path, formats=("xlsx",), made=DAY)
    monthly = two_sites().history.monthly
    assert len(monthly) > 40
    sheet = openpyxl.load_workbook(report.files["xlsx"])["monthly"]
    assert sheet.max_row == 1
    assert sheet["A1"].value.startswith(f"{len(monthly):,} rows: too long for a sheet")
    assert "tables/all-monthly.csv" in sheet["A1"].value
    assert len(pd.read_csv(report.files["tables/all-monthly"])) == len(monthly)
