"""From a raw row to a figure and back; every record read ends in a result or in a finding."""

from __future__ import annotations

import pytest
from builders import fleet_of, seal_order

from seallife.errors import InputError
from seallife.intake import read_fleet
from seallife.study import Study, run_study
from seallife.trace import trace_record


@pytest.fixture(scope="module")
def study() -> Study:
    return run_study(
        fleet_of(
            [
                {"tag": "P-101A", "commissioned": "2016-01-01", "fluid": "Crude", "temp_c": 40},
                {"tag": "P-102A", "fluid": "Crude", "temp_c": 300},
                {"tag": "P-201A", "seal_end": "DE"},
                {"tag": "P-201A", "seal_end": "NDE"},
            ],
            work_orders=[
                seal_order("P-101A", "2018-01-01"),
                seal_order("P-101A", "2018-01-02"),
                seal_order("P-101A", "2019-01-02", status="cancelled"),
                seal_order("P-102A", "2020-01-01"),
                seal_order("P-201A", "2020-01-01"),
            ],
            run_hours=[{"tag": "P-101A", "reading_date": "2018-01-01", "reading": 5}],
            outages=[{"site": "Site", "start": "2020-01-01", "end": "2020-02-01"}],
            leak_readings=[{"tag": "P-101A", "date": "2018-01-01", "value": 5, "unit": "ppm"}],
        )
    )


def _whats(study: Study, name: str) -> list[str]:
    return trace_record(study, name)["what"].tolist()


def test_from_a_row_to_the_fit(study: Study) -> None:
    hops = trace_record(study, "work_orders:t.csv:2")
    assert hops["what"].tolist() == [
        "record",
        "removal",
        "history",
        "life",
        "class",
        "next life",
    ]
    assert "Mech seal leaking" in hops.iloc[0]["text"]
    assert hops.iloc[1]["name"] == "R1"
    assert "MTBR and MTBF" in hops.iloc[2]["text"]
    assert hops.iloc[4]["name"] == "HC-GEN"


def test_and_back_from_the_class_to_the_row(study: Study) -> None:
    hops = trace_record(study, "HC-GEN")
    assert "1 failed" in hops.iloc[0]["text"]
    assert "work_orders:t.csv:2" in hops.iloc[1]["text"]
    life = trace_record(study, hops.iloc[1]["name"])
    assert "work_orders:t.csv:2" in life.iloc[0]["text"]


def test_a_row_that_is_no_removal_ends_at_its_finding(study: Study) -> None:
    hops = trace_record(study, "work_orders:t.csv:4")
    assert hops["what"].tolist() == ["record", "finding"]
    assert "(ends here)" in hops.iloc[1]["text"]


def test_a_joined_row_leads_to_the_same_removal(study: Study) -> None:
    hops = trace_record(study, "work_orders:t.csv:3")
    assert hops["what"].tolist()[:3] == ["record", "finding", "removal"]
    assert "work_orders:t.csv:2 work_orders:t.csv:3" in hops.iloc[2]["text"]


def test_an_unknown_age_is_said(study: Study) -> None:
    text = " ".join(trace_record(study, "work_orders:t.csv:5")["text"])
    assert "in no fit by age" in text


def test_an_unnamed_end_is_said(study: Study) -> None:
    text = " ".join(trace_record(study, "work_orders:t.csv:6")["text"])
    assert "pump P201A, end not named" in text


@pytest.mark.parametrize(
    ("name", "what"),
    [
        ("positions:t.csv:2", "position"),
        ("run_hours:t.csv:2", "clock"),
        ("outages:t.csv:2", "events"),
        ("leak_readings:t.csv:2", "finding"),
        ("P-101A", "observation"),
        ("R1", "removal"),
    ],
)
def test_other_records_lead_somewhere(study: Study, name: str, what: str) -> None:
    assert what in _whats(study, name)


@pytest.mark.parametrize("name", ["work_orders:t.csv:99", "R99", "", "nonsense", "a:b:c"])
def test_nothing_of_that_name(study: Study, name: str) -> None:
    with pytest.raises(InputError, match="nothing named"):
        trace_record(study, name)


@pytest.mark.parametrize(
    ("name", "first", "told"),
    [
        ("t.csv:4", "record", "cancelled"),
        ("P-101A 2018-01-01", "record", "Mech seal leaking"),  # its order number
        ("p101a", "position", "hours from"),
        ("P-201A", "position", "P201A: seal failed"),  # its removal with no end named
        ("Site", "site", "4 seal positions"),
        ("2020-01", "removal", "2020-01-01 P-102A"),
        ("cancelled order", "finding", "it was cancelled"),
    ],
)
def test_names_that_a_person_would_use(study: Study, name: str, first: str, told: str) -> None:
    hops = trace_record(study, name)
    assert hops["what"].iloc[0] == first
    assert told in " ".join(hops["text"])


def test_what_is_said_of_a_table_is_not_said_of_each_record(demo_study: Study) -> None:
    assert "removals and issues differ" in set(demo_study.findings["check"])
    record = demo_study.removals.table["record_id"].iloc[0]
    assert "removals and issues differ" not in set(trace_record(demo_study, record)["name"])


def test_every_demo_record_ends_in_a_result_or_in_a_finding(demo_study: Study) -> None:
    fleet, found = demo_study.fleet, demo_study.findings
    aside = set(found.loc[found["set_aside"], "record_id"])
    orders = set(" ".join(demo_study.removals.table["record_ids"]).split())
    for name, table in fleet.tables.items():
        ids = set(table["record_id"])
        if name in aside:  # the whole table is said to be unused
            continue
        used = {
            "work_orders": orders,
            "positions": set(demo_study.register.table["record_id"]),
            "run_hours": ids - aside,
            "outages": ids,
            "changes": set(demo_study.changes.table["record_id"]),
            "leak_readings": set(demo_study.readings.table["record_id"]),
            "leak_limits": set(demo_study.leakage.in_force.table["limit_row"]),
            "stores": set(demo_study.spares.sheet["record_id"]),
        }[name]
        assert used | aside >= ids, name
    assert not orders & aside
    ledger = demo_study.ledger
    assert (ledger["read"] == ledger["used"] + ledger["set_aside"]).all()


def test_a_sample_of_demo_records_can_be_followed(demo_study: Study) -> None:
    for name, table in demo_study.fleet.tables.items():
        for record in table["record_id"].iloc[:: max(len(table) // 15, 1)]:
            hops = trace_record(demo_study, record)
            assert len(hops) >= 2, record
            assert name in record


def test_demo_fleet_is_read_from_its_folder(demo_study: Study) -> None:
    assert demo_study.fleet.folder.name == "data_demo"
    assert read_fleet(demo_study.fleet.folder).settings == demo_study.settings
