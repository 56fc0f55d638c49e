"""What work orders are understood to say: which seal, when, and whether one came out."""

from __future__ import annotations

import pandas as pd
import pytest
from builders import fleet_of, seal_order

from seallife.errors import InputError
from seallife.intake import Fleet
from seallife.orders import Orders, read_orders
from seallife.register import build_register

P1 = {"tag": "P-101A"}
TWO_SEALS = [{"tag": "P-201A", "seal_end": "DE"}, {"tag": "P-201A", "seal_end": "NDE"}]


def _orders(fleet: Fleet) -> Orders:
    return read_orders(fleet, build_register(fleet))


def _one(**order: object) -> tuple[pd.DataFrame, pd.DataFrame]:
    got = _orders(fleet_of([P1], work_orders=[seal_order("P-101A", "2020-05-05", **order)]))
    return got.table, got.findings


@pytest.mark.parametrize(
    ("dates", "end", "back", "kind"),
    [
        ({"malfunction_start": "2020-05-01"}, "2020-05-01", "2020-05-05", "fault seen"),
        ({"work_end": "2020-05-09"}, "2020-05-05", "2020-05-09", "work start"),
        (
            {"work_start": None, "work_end": None, "date_raised": "2020-04-30"},
            "2020-04-30",
            "2020-04-30",
            "order raised",
        ),
        ({"work_start": None, "work_end": "2020-05-09"}, "2020-05-09", "2020-05-09", "work end"),
        ({"closed": "2020-09-30"}, "2020-05-05", "2020-05-05", "work start"),
    ],
)
def test_the_best_date_is_used_and_named(
    dates: dict[str, object], end: str, back: str, kind: str
) -> None:
    table, _ = _one(**dates)
    row = table.iloc[0]
    assert (f"{row['end']:%Y-%m-%d}", f"{row['back']:%Y-%m-%d}") == (end, back)
    assert row["date_kind"] == kind
    assert pd.isna(row["end_low"])


def test_only_a_closing_date_bounds_the_removal() -> None:
    """The delay between work and closing is that of the site's own orders."""
    rows = [
        seal_order("P-101A", f"2018-01-{d:02d}", closed=f"2018-02-{d:02d}") for d in range(1, 26)
    ]
    rows.append(seal_order("P-101A", None, wo_no="late", closed="2020-12-31"))
    rows[-1]["work_start"] = rows[-1]["work_end"] = None
    got = _orders(fleet_of([P1], work_orders=rows))
    row = got.table[got.table["wo_no"] == "late"].iloc[0]
    assert row["date_kind"] == "closed"
    assert (row["end"] - row["end_low"]).days == 31
    assert got.findings["check"].tolist() == ["only the closing date"]


def test_no_date_at_all_is_asked_for() -> None:
    table, findings = _one(work_start=None, work_end=None)
    assert table.empty
    row = findings[findings["set_aside"]].iloc[0]
    assert (row["check"], row["severity"]) == ("no usable date", "ask")


def test_dates_the_wrong_way_round_are_swapped_and_said() -> None:
    table, findings = _one(work_end="2020-04-28")
    row = table.iloc[0]
    assert (f"{row['end']:%Y-%m-%d}", f"{row['back']:%Y-%m-%d}") == ("2020-04-28", "2020-05-05")
    assert findings["check"].tolist() == ["end before start"]


@pytest.mark.parametrize(
    ("order", "check"),
    [
        ({"status": "cancelled"}, "cancelled order"),
        ({"short_text": "Oil seal leaking", "long_text": "oil seal renewed"}, "other work"),
        ({"short_text": "Reset pot level alarm", "long_text": "no leak"}, "seal support"),
        ({"short_text": "Seal checked", "long_text": "no leak found"}, "seal looked at"),
        ({"tag": "P-101"}, "pair or unit tag"),
        ({"tag": "K-7"}, "not in register"),
    ],
)
def test_what_is_no_removal_ends_in_a_finding(order: dict[str, object], check: str) -> None:
    made = seal_order("P-101A", "2020-05-05") | order
    got = _orders(fleet_of([P1], work_orders=[made]))
    assert got.table.empty
    aside = got.findings[got.findings["set_aside"]]
    assert aside[["record_id", "check"]].to_numpy().tolist() == [["work_orders:t.csv:2", check]]


def test_the_same_row_twice_counts_once() -> None:
    row = seal_order("P-101A", "2020-05-05")
    got = _orders(fleet_of([P1], work_orders=[row, row]))
    assert len(got.table) == 1
    assert got.findings["record_id"].tolist() == ["work_orders:t.csv:3"]


def test_a_seal_drawn_from_the_store_is_evidence_of_a_removal() -> None:
    table, _ = _one(
        short_text="pump repaired", long_text="", part="Mech seal cartridge 50 mm", part_qty=1
    )
    assert table["reason"].tolist() == ["unknown"]
    table, _ = _one(
        short_text="pump repaired", long_text="", part="Mech seal cartridge", part_qty=-1
    )
    assert table.empty


def test_work_inside_an_outage_is_planned_unless_the_seal_is_said_to_have_failed() -> None:
    outage = [{"site": "Site", "start": "2020-05-01", "end": "2020-06-01"}]
    order = seal_order("P-101A", "2020-05-05", wo_type="planned", short_text="Renew seal")
    leak = seal_order("P-101A", "2020-05-20")
    got = _orders(fleet_of([P1], work_orders=[order, leak], outages=outage))
    assert got.table["reason"].tolist() == ["planned in outage", "seal failed"]
    elsewhere = [{**outage[0], "unit": "other unit"}]
    got = _orders(fleet_of([P1], work_orders=[order], outages=elsewhere))
    assert got.table["reason"].tolist() == ["planned by age"]


def test_the_end_of_a_two_seal_pump_is_found_or_asked_for() -> None:
    rows = [
        seal_order("P-201A", "2017-05-05", seal_end="NDE"),
        seal_order("P-201A", "2018-05-05", short_text="DE mech seal leaking"),
        seal_order("P-201A", "2019-05-05"),
    ]
    got = _orders(fleet_of(TWO_SEALS, work_orders=rows))
    assert got.table["position_id"].tolist() == ["P-201A-NDE", "P-201A-DE", ""]
    assert got.findings["check"].tolist() == ["end of pump not named"]
    assert not got.findings["set_aside"].any()


@pytest.mark.parametrize(
    "order", [{"part": "seal kit", "part_qty": 2}, {"long_text": "renewed both seals"}]
)
def test_two_seals_in_one_order_are_two_removals_one_failed(order: dict[str, object]) -> None:
    got = _orders(fleet_of(TWO_SEALS, work_orders=[seal_order("P-201A", "2019-05-05", **order)]))
    assert got.table[["position_id", "reason"]].to_numpy().tolist() == [
        ["P-201A-DE", "seal failed"],
        ["P-201A-NDE", "other pump part"],
    ]
    assert "two seals in one order" in set(got.findings["check"])


def test_every_order_is_used_or_set_aside() -> None:
    rows = [
        seal_order("P-101A", "2020-05-05"),
        seal_order("P-101A", "2020-05-05"),
        seal_order("P101a", "2021-05-05"),
        seal_order("P-102A", "2021-05-05"),
        seal_order("Q-77", "2021-05-05"),
        seal_order("P-101A", "2022-01-01", status="cancelled"),
        seal_order("P-101A", "2022-01-01", short_text="bearing noisy", long_text="renewed"),
        seal_order("P-101A", "2022-01-01", work_start=None, work_end=None, wo_no="x"),
    ]
    fleet = fleet_of([P1], work_orders=rows)
    got = _orders(fleet)
    aside = set(got.findings.loc[got.findings["set_aside"], "record_id"])
    used = set(got.table["record_id"])
    assert not aside & used
    assert aside | used == set(fleet["work_orders"]["record_id"])
    assert got.counts["records"].sum() == len(rows)


def test_the_callers_tables_are_not_changed() -> None:
    fleet = fleet_of([P1], work_orders=[seal_order("P-101A", "2020-05-05")])
    before = fleet["work_orders"].copy(deep=True)
    _orders(fleet)
    pd.testing.assert_frame_equal(fleet["work_orders"], before)


def test_a_tag_that_stands_at_two_sites_needs_the_site() -> None:
    positions = [P1 | {"site": "North"}, P1 | {"site": "South"}]
    rows = [
        seal_order("P-101A", "2020-05-05", site="South"),
        seal_order("P101A", "2020-05-05", site="North", wo_no="2"),
        seal_order("P-101A", "2020-05-05", wo_no="3"),
    ]
    got = _orders(fleet_of(positions, work_orders=rows))
    assert got.table[["position_id", "site"]].to_numpy().tolist() == [
        ["South/P-101A", "South"],
        ["North/P-101A", "North"],
    ]
    assert got.findings["check"].tolist() == ["tag at several sites"]


def test_orders_of_which_most_name_no_pump_are_refused_in_words() -> None:
    lost = [seal_order(f"X-{i}00", "2020-05-05") for i in range(1, 13)]
    fine = [seal_order("P-101A", "2020-05-05")]
    with pytest.raises(InputError, match="only 1 of 13 orders on a seal name a pump"):
        _orders(fleet_of([P1], work_orders=fine + lost))
    few = _orders(fleet_of([P1], work_orders=fine + lost[:9]))
    assert len(few.table) == 1
    assert few.unplaced["why"].tolist() == ["not in register"] * 9


@pytest.mark.parametrize(
    ("code", "text", "wo_type", "reason"),
    [
        ("ELP", "pump repaired", "corrective", "seal failed"),
        ("inl", "", "planned", "seal failed"),
        ("LEAKAGE", "", "", "seal failed"),
        ("VIB", "pump repaired", "corrective", "unknown"),
        ("ELP", "Preventive renewal of mech seal", "planned", "planned by age"),
    ],
)
def test_a_failure_code_speaks_where_words_do_not(
    code: str, text: str, wo_type: str, reason: str
) -> None:
    """Codes of ISO 14224, and codes that are words; what the text says comes first."""
    table, _ = _one(
        short_text=text, long_text="", wo_type=wo_type, mode_code=code, part="Mech seal", part_qty=1
    )
    assert table["reason"].tolist() == [reason]
