"""Pages, text and workbook on spares and outages: what a planner reads."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from builders import fleet_of

from seallife.report.exhibit import Block, Exhibit, Points, Text
from seallife.report.pages import outage, spares
from seallife.report.sparesbook import scorecard_tables, spares_tables, write_book
from seallife.report.sparestables import orders_in_words
from seallife.report.storetext import scorecard_text, spares_text
from seallife.scorecard import Scorecard
from seallife.scorecard.ours import our_scorecard
from seallife.spares.outagewords import LIST_CAUTION
from seallife.study import Study, run_study

PUMP = {"fluid": "water", "commissioned": "2016-01-31", "pool": "M1"}


def small(**tables: object) -> Study:
    """Eight pumps, six failures; stores, outages and costs as given."""
    rows = [PUMP | {"tag": f"P-{i}"} for i in range(8)]
    removals = [
        {"position_id": f"P-{i}", "date": f"201{7 + i % 3}-05-0{1 + i}", "reason": "seal failed"}
        for i in range(6)
    ]
    return run_study(fleet_of(rows, removals=removals, **tables))


def names(blocks: tuple[Block, ...]) -> list[str]:
    return [b.name for b in blocks if isinstance(b, Exhibit)]


def words(blocks: tuple[Block, ...]) -> str:
    parts = [b.text for b in blocks if isinstance(b, Text)]
    parts += [i for b in blocks if isinstance(b, Points) for i in b.items]
    parts += [b.caption for b in blocks if isinstance(b, Exhibit)]
    return " ".join(parts)


@pytest.fixture(scope="module")
def card(demo_study: Study) -> Scorecard:
    return our_scorecard(demo_study, horizons=(12,))


@pytest.fixture(scope="module")
def page(demo_study: Study, card: Scorecard) -> tuple[Block, ...]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(spares, "our_scorecard", lambda study, horizons, most: card)
        return spares.build(demo_study)


def test_the_scorecard_in_a_terminal(card: Scorecard) -> None:
    text = scorecard_text(card)
    assert "failures, whole fleet, 12 months ahead (7 forecasts)" in text
    assert "happened over foretold" in text
    assert "seals asked" in text
    assert "nan" not in text
    assert set(scorecard_tables(card)) == {"scorecard", "forecasts", "chances", "origins"}


def test_the_demo_page_says_what_to_order_first(page: tuple[Block, ...]) -> None:
    first = page[0]
    assert isinstance(first, Text)
    assert first.strong
    assert first.text.startswith("Order now: ")
    assert "crowns" in first.text
    assert names(page)[:2] == ["storeroom", "stock-against-need"]
    assert {"demand", "seal-budget", "scorecard", "calibration"} <= set(names(page))


def test_each_order_says_how_many_by_when_and_why(
    page: tuple[Block, ...], demo_study: Study
) -> None:
    sheet = next(b for b in page if isinstance(b, Exhibit) and b.name == "storeroom")
    shown = sheet.shown
    assert shown is not None
    due = shown[shown["By"] == "today"]
    assert len(due) == (demo_study.spares.sheet["action"] == "order now").sum()
    assert (due["Order"].astype(int) > 0).all()
    assert due["Why"].str.contains("expected to fail in the").all()
    blank = shown[shown["Need"] == "cannot tell"]
    assert blank["Why"].str.contains("lead time|number on hand").all()
    assert "nan" not in " ".join(shown.to_numpy().ravel()).lower()
    assert len(sheet.table) == len(demo_study.spares.sheet)


def test_the_scorecard_stands_beside_the_forecast(page: tuple[Block, ...]) -> None:
    told = words(page)
    assert "within the 90 % range" in told
    assert "against the constant rate" in told
    assert "A renewal of many seals at once" in told


def test_the_outage_page_leads_with_leaks_and_its_caution(demo_study: Study) -> None:
    blocks = outage.build(demo_study)
    first = blocks[0]
    assert isinstance(first, Text)
    assert "act on that, not on this list" in first.text
    assert LIST_CAUTION in words(blocks)
    listed = next(b for b in blocks if isinstance(b, Exhibit) and b.name == "outage-list")
    assert listed.shown is not None
    assert "safe" not in " ".join(listed.shown.to_numpy().ravel())
    by_age = next(b for b in blocks if isinstance(b, Exhibit) and b.name == "renewal-by-age")
    assert by_age.shown is not None
    assert set(by_age.shown["Verdict"]) <= {
        "do not renew by age",
        "cannot tell yet",
        "renew by age",
    }


def test_without_stores_the_page_says_what_is_wanted() -> None:
    blocks = spares.build(small())
    assert "No stock was given" in words(blocks)
    assert "demand" in names(blocks)
    assert "storeroom" not in names(blocks)


def test_without_outages_or_costs_the_page_says_so() -> None:
    blocks = outage.build(small())
    assert "No outage ahead is on record" in words(blocks)
    ahead = [{"site": "Site", "start": "2027-05-01", "end": "2027-05-20"}]
    told = words(outage.build(small(outages=ahead)))
    assert "planned_renewal and failure_extra" in told


def test_without_failures_nothing_is_foretold() -> None:
    rows = [PUMP | {"tag": f"P-{i}"} for i in range(3)]
    study = run_study(fleet_of(rows, removals=[]))
    assert "nothing says how many" in words(spares.build(study))
    assert "nothing to go by" in words(outage.build(study))
    assert spares_tables(study) == {}
    assert "nothing can be forecast" in spares_text(study)


def test_a_small_store_in_words() -> None:
    stores = [
        {"material_no": "M1", "on_hand": 0, "lead_time_d": 300, "unit_cost": 1000.0},
        {"material_no": "M2", "on_hand": 1, "lead_time_d": 100},
    ]
    study = small(stores=stores)
    text = spares_text(study)
    assert "M1" in text
    assert "order" in text
    assert orders_in_words(study) in text
    tables = spares_tables(study)
    assert tables["storeroom"].table["pool"].tolist()[0] == "M1"
    assert "outage-list" not in tables


def test_the_workbook_for_the_storeroom(demo_study: Study, tmp_path: Path) -> None:
    path = write_book(demo_study, spares_tables(demo_study), tmp_path / "new" / "storeroom.xlsx")
    book = openpyxl.load_workbook(path)
    assert book.sheetnames[:2] == ["contents", "storeroom"]
    assert book.sheetnames[-1] == "cautions"
    sheet = pd.read_excel(path, sheet_name="storeroom")
    assert len(sheet) == len(demo_study.spares.sheet)
    kit = pd.read_excel(path, sheet_name="outage-kit")
    assert (kit["renew"] > 0).all()
