"""The 39 faults that records of work orders are known for: each is found, and handled as said.

One test a fault, on the smallest fleet that has it, through the whole study.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from builders import Rows, fleet_of, seal_order

from seallife.intake import Fleet, read_fleet
from seallife.study import Study, run_study

A = {"tag": "P-101A", "commissioned": "2016-01-01", "duty_share": 0.5}
B = A | {"tag": "P-101B"}
TWO_ENDS: Rows = [
    {"tag": "P-201A", "seal_end": e, "commissioned": "2016-01-01", "pump_type": "BB2"}
    for e in ("DE", "NDE")
]


def _study(*orders: dict[str, object], positions: Rows = (A, B), **tables: Rows) -> Study:
    return run_study(fleet_of(positions, work_orders=list(orders), **tables))


def _checks(study: Study) -> set[str]:
    return set(study.findings["check"])


def _one(study: Study, check: str) -> pd.Series:
    found = study.findings[study.findings["check"] == check]
    assert len(found) == 1, study.findings["check"].value_counts().to_dict()
    return found.iloc[0]


def _removed(study: Study) -> list[tuple[str, str, str]]:
    return [
        (r.position_id, f"{r.end:%Y-%m-%d}", r.reason) for r in study.removals.table.itertuples()
    ]


def test_defect_01_duplicate_row() -> None:
    order = seal_order("P-101A", "2018-03-01")
    study = _study(order, order)
    assert _one(study, "duplicate row")["set_aside"]
    assert len(_removed(study)) == 1


def test_defect_02_same_job_in_several_orders() -> None:
    study = _study(
        seal_order("P-101A", "2018-03-01", work_end="2018-03-04"),
        seal_order("P-101A", "2018-03-03", wo_no="2"),
    )
    assert _one(study, "part of one removal")["action"] == "joined to one removal"
    assert study.removals.table["orders"].tolist() == [2]


def test_defect_03_rework_before_hand_over() -> None:
    study = _study(
        seal_order("P-101A", "2018-03-01", work_end="2018-03-02"),
        seal_order(
            "P-101A",
            "2018-03-03",
            wo_no="2",
            short_text="Rework on mech seal",
            long_text="Still leaking, seal refitted.",
        ),
    )
    assert len(_removed(study)) == 1
    assert "part of one removal" in _checks(study)


@pytest.mark.parametrize(
    ("written", "check"), [("P 101 A", ""), ("10-P-101A", ""), ("P-1O1A", "tag one character off")]
)
def test_defect_04_tag_written_otherwise(written: str, check: str) -> None:
    study = _study(seal_order(written, "2018-03-01"), positions=[A, B | {"tag": "P-777B"}])
    assert _removed(study) == [("P-101A", "2018-03-01", "seal failed")]
    assert not check or _one(study, check)["severity"] == "doubt"


def test_defect_05_tag_of_the_pair() -> None:
    study = _study(seal_order("P-101", "2018-03-01"))
    found = _one(study, "pair or unit tag")
    assert (found["severity"], found["set_aside"]) == ("ask", True)
    assert _removed(study) == []


def test_defect_06_end_not_named() -> None:
    study = _study(seal_order("P-201A", "2018-03-01"), positions=TWO_ENDS)
    assert _one(study, "end of pump not named")["severity"] == "ask"
    assert study.history.overall.iloc[0]["failures"] == 1
    assert study.lives.table["end"].tolist() == ["lost", "in service"] * 2


def test_defect_07_two_seals_in_one_order() -> None:
    study = _study(
        seal_order("P-201A", "2018-03-01", part="71000 SEAL CART", part_qty=2), positions=TWO_ENDS
    )
    assert _one(study, "two seals in one order")["severity"] == "doubt"
    assert study.lives.table["end"].tolist() == ["failed", "in service", "withdrawn", "in service"]


def test_defect_08_seal_only_looked_at() -> None:
    study = _study(
        seal_order("P-101A", "2018-03-01", short_text="Seal check", long_text="Checked, no leak.")
    )
    assert _one(study, "seal looked at")["set_aside"]
    assert _removed(study) == []


def test_defect_09_job_on_the_seals_supply() -> None:
    study = _study(
        seal_order("P-101A", "2018-03-01", short_text="Seal pot low", long_text="Topped up.")
    )
    assert _one(study, "seal support")["set_aside"]
    assert _removed(study) == []


@pytest.mark.parametrize("text", ["Oil seal leaking", "Valve seal renewed", "Bearing isolator"])
def test_defect_10_seal_of_another_thing(text: str) -> None:
    study = _study(seal_order("P-101A", "2018-03-01", short_text=text, long_text="Renewed."))
    assert _one(study, "other work")["set_aside"]
    assert _removed(study) == []


def test_defect_11_order_type_against_text() -> None:
    study = _study(
        seal_order("P-101A", "2018-03-01", long_text="Preventive change, no leak. Seal renewed."),
        seal_order("P-101B", "2018-03-01", wo_type="planned", short_text="Seal leaking badly"),
    )
    reasons = {p: r for p, _, r in _removed(study)}
    assert reasons["P-101B"] == "seal failed"
    assert "text against order type" in _checks(study)


def test_defect_12_cancelled_order() -> None:
    study = _study(seal_order("P-101A", "2018-03-01", status="cancelled"))
    assert _one(study, "cancelled order")["set_aside"]


def test_defect_13_order_raised_long_before_the_work() -> None:
    study = _study(
        seal_order("P-101A", "2018-06-01", malfunction_start="2018-03-01", date_raised="2018-03-02")
    )
    assert _one(study, "raised long before the work")["value"] == "92"
    assert _removed(study) == [("P-101A", "2018-03-01", "seal failed")]


def test_defect_14_closed_in_a_batch() -> None:
    days = pd.date_range("2018-01-05", periods=30, freq="30D")
    orders = [seal_order("P-101A", f"{d:%Y-%m-%d}", closed="2020-12-31") for d in days[:15]]
    orders += [
        seal_order("P-101A", f"{d:%Y-%m-%d}", closed=f"{d + pd.Timedelta(days=9):%Y-%m-%d}")
        for d in days[15:]
    ]
    study = _study(*orders)
    assert _one(study, "closed in a batch")["value"] == "15"
    assert [d for _, d, _ in _removed(study)] == [f"{d:%Y-%m-%d}" for d in days]


def test_defect_15_only_the_month_known() -> None:
    days = [f"{y}-{m:02d}-01" for y in (2018, 2019) for m in range(1, 13, 2)]
    study = _study(*(seal_order("P-101A", d, date_raised=d) for d in days))
    site = study.findings[study.findings["check"] == "dates to the month only"]
    assert site["value"].tolist() == ["6", "6"]


@pytest.mark.parametrize("wrong", ["1900-01-01", "2031-05-03", "9999-12-31"])
def test_defect_16_impossible_date(tmp_path: Path, wrong: str) -> None:
    from conftest import POSITIONS

    order = {"wo_no": "1", "tag": "P-101A", "short_text": "Mech seal leaking, renewed"}
    order |= {"wo_type": "corrective", "work_start": "2019-05-31", "work_end": wrong}
    toml = '[fleet]\nname = "Tiny"\ndata_end = 2025-12-31\n'
    for name, rows in (("positions", POSITIONS), ("work_orders", [order])):
        pd.DataFrame(list(rows)).to_csv(tmp_path / f"{name}.csv", index=False)
        toml += f'[[sources]]\ntable = "{name}"\nfiles = ["{name}.csv"]\n'
    (tmp_path / "fleet.toml").write_text(toml, encoding="utf-8")
    study = run_study(read_fleet(tmp_path))
    assert _checks(study) & {"filler date", "date in the future", "no such date"}
    assert [d for _, d, _ in _removed(study)] == ["2019-05-31"]


def test_defect_17_end_before_start() -> None:
    study = _study(seal_order("P-101A", "2018-03-11", work_end="2018-03-01"))
    assert _one(study, "end before start")["action"] == "dates swapped"
    assert _removed(study)[0][1] == "2018-03-01"


def test_defect_18_before_commissioning_and_after_retirement() -> None:
    old = A | {"commissioned": "2018-01-01", "retired": "2020-01-01"}
    study = _study(
        seal_order("P-101A", "2017-05-05"),
        seal_order("P-101A", "2021-05-05"),
        positions=[old, B],
    )
    assert _one(study, "before commissioning")["set_aside"]
    assert _one(study, "after retirement")["set_aside"]
    assert _removed(study) == []


def test_defect_19_useless_text() -> None:
    study = _study(
        seal_order(
            "P-101A",
            "2018-03-01",
            wo_type="",
            short_text="repair pump",
            long_text="",
            part="71000 SEAL CART",
            part_qty=1,
        )
    )
    assert _removed(study) == [("P-101A", "2018-03-01", "unknown")]
    assert "text tells nothing" in _checks(study)
    # Both ways are shown: all of unknown reason failed, or none did.
    assert study.fits.table["failures"].sum() == 1
    assert study.life.fits_other.table["failures"].sum() == 0


def test_defect_20_cause_by_default() -> None:
    days = pd.date_range("2017-01-05", periods=40, freq="60D")
    study = _study(*(seal_order("P-101A", f"{d:%Y-%m-%d}", cause_code="WEAR") for d in days))
    assert _one(study, "one cause code for most")["action"] == "no damage is read from this code"


def _items(*numbers: str) -> list[dict[str, object]]:
    return [
        seal_order("P-101A", f"{2017 + i}-03-01", part=f"{n} SEAL CART", part_qty=1)
        for i, n in enumerate(numbers)
    ]


def test_defect_21_register_without_history() -> None:
    study = _study(*_items("71000", "71000", "72000", "72000"))
    found = _one(study, "seal type changed unlisted")
    assert (found["value"], found["severity"]) == ("72000", "doubt")
    assert found["action"] == "taken as the design of today"
    slip = _study(*_items("71000", "71000", "72000", "71000"))
    assert (
        not {c for c in _checks(slip) if c.startswith("seal type changed")}
        or (slip.findings["record_id"] != "work_orders:t.csv:5").all()
    )


def test_defect_22_seal_changed_type_at_a_replacement() -> None:
    change = {"position_id": "P-101A", "date": "2019-03-01", "what": "seal"}
    study = _study(*_items("71000", "71000", "72000", "72000"), changes=[change])
    assert _one(study, "seal type changed")["severity"] == "note"
    assert study.lives.table.query("position_id == 'P-101A'")["epoch"].tolist() == [1, 1, 1, 2, 2]


def test_defect_23_positions_without_orders() -> None:
    study = _study(seal_order("P-101A", "2018-03-01"))
    assert _one(study, "no orders at all")["record_id"] == "positions:t.csv:3"
    silent = study.lives.table.query("position_id == 'P-101B'")
    assert silent["days"].tolist() == [3653]


def test_defect_24_tags_not_in_the_register() -> None:
    study = _study(seal_order("P-999X", "2018-03-01"), seal_order("P-999X", "2019-03-01"))
    assert _one(study, "tags that the register lacks")["value"] == "1"
    own = study.findings[study.findings["check"] == "not in register"]
    assert own["set_aside"].tolist() == [True, True]


def _meter(tag: str, values: list[float]) -> list[dict[str, object]]:
    days = pd.date_range("2020-01-01", periods=len(values), freq="30D")
    return [
        {"tag": tag, "reading_date": f"{d:%Y-%m-%d}", "reading": v, "kind": "cumulative"}
        for d, v in zip(days, values, strict=True)
    ]


@pytest.mark.parametrize(
    ("values", "check"),
    [
        ([99_000, 99_500, 0, 500, 900], "meter turned over"),
        ([50_000, 50_500, 100, 500, 900], "meter replaced"),
        ([50_000, 50_500, 505_000, 51_300, 51_700], "meter reading mistyped"),
        ([50_000, 50_500, 50_500, 50_500, 50_500], "meter stands still"),
        ([50_000, 50_500, 60_000, 60_400, 60_800], "meter step impossible"),
    ],
)
def test_defect_25_meters(values: list[float], check: str) -> None:
    study = _study(run_hours=_meter("P-101A", values))
    assert check in _checks(study)
    life = study.lives.table.query("position_id == 'P-101A'").iloc[0]
    assert 0 < life["hours_low"] < life["hours"] < life["hours_high"] < 24 * life["days"]


def test_defect_26_meter_shared_by_a_pair() -> None:
    values = [100.0 + 300 * i for i in range(8)]
    study = _study(run_hours=_meter("P-101A", values) + _meter("P-101B", values))
    shared = study.findings[study.findings["check"] == "meter shared by pumps"]
    assert shared["severity"].tolist() == ["ask", "ask"]
    assert set(study.clock.source) == {"duty share"}


def test_defect_27_no_meter() -> None:
    study = _study()
    assert _one(study, "no hour meter")["value"] == "2"
    life = study.lives.table.iloc[0]
    assert life["hours_from"] == "duty share"
    assert (life["hours_low"], life["hours_high"]) == pytest.approx(
        (0.8 * life["hours"], 1.2 * life["hours"])
    )


def test_defect_28_seal_older_than_the_records() -> None:
    study = _study(
        seal_order("P-101A", "2018-03-01"), positions=[A | {"commissioned": "2001-01-01"}, B]
    )
    assert _one(study, "age not known")["action"] == "kept out of fits by age"
    first = study.lives.table.iloc[0]
    assert (bool(first["age_known"]), first["days"]) == (False, 790)


def test_defect_29_records_lost() -> None:
    days = pd.date_range("2016-01-05", "2025-12-30", freq="5D")
    kept = days[(days < "2019-03-01") | (days > "2019-06-30")]
    orders = [seal_order("P-101A", f"{d:%Y-%m-%d}", short_text="paint") for d in kept]
    found = _one(_study(*orders), "no record for long")
    assert found["severity"] == "ask"
    assert "gaps = [[2019-03-01, " in found["message"]
    fleet = fleet_of([A], work_orders=orders, gaps=[("2019-03-01", "2019-06-30")])
    study = run_study(fleet)
    assert "no record for long" not in _checks(study)
    assert study.lives.table["days"].sum() == 3653 - 122


def test_defect_30_several_languages() -> None:
    german = {"short_text": "GLRD undicht", "long_text": "Gleitringdichtung erneuert."}
    study = _study(seal_order("P-101A", "2018-03-01"), seal_order("P-101B", "2018-03-01", **german))
    assert "de 50%" in _one(study, "orders in several languages")["message"]
    assert {r for _, _, r in _removed(study)} == {"seal failed"}


def test_defect_31_stock_issue_reversed() -> None:
    back = {
        "short_text": "Seal leak?",
        "long_text": "No leak on test run. Cartridge back to store.",
    }
    study = _study(seal_order("P-101A", "2018-03-01", part="71000 SEAL CART", part_qty=0, **back))
    assert _one(study, "part returned")["record_id"] == "work_orders:t.csv:2"
    assert _removed(study) == []
    assert study.checks.reconciliation["issued"].sum() == 0


def test_defect_32_bulk_issue_without_tag() -> None:
    study = _study(
        seal_order("", "2018-03-01", part="71000 SEAL CART", part_qty=6, long_text="For stock."),
        positions=[A | {"pool": "71000"}],
    )
    assert _one(study, "seals issued for no pump")["value"] == "6"
    assert _removed(study) == []
    assert study.checks.reconciliation.set_index("pool").loc["71000", "issued"] == 6


def test_defect_33_order_for_several_pumps() -> None:
    text = {"long_text": "Seals renewed on P-101A and P-101B."}
    study = _study(seal_order("P-101A", "2018-03-01", part="SEAL", part_qty=2, **text))
    assert _one(study, "several pumps in one order")["severity"] == "doubt"
    mention = {"long_text": "Seal renewed. Switched over to P-101B."}
    other = _study(seal_order("P-101A", "2018-03-01", part="SEAL", part_qty=1, **mention))
    assert "several pumps in one order" not in _checks(other)


def test_defect_34_seal_issued_at_commissioning() -> None:
    new = A | {"commissioned": "2018-02-20"}
    order = seal_order(
        "P-101A",
        "2018-03-01",
        wo_type="project",
        short_text="Mech seal for new pump",
        long_text="Seal fitted",
    )
    study = _study(order, positions=[new, B])
    assert _one(study, "seal issued at commissioning")["severity"] == "ask"
    failed = _study(seal_order("P-101A", "2018-03-01"), positions=[new, B])
    assert "seal issued at commissioning" not in _checks(failed)


def _leak(day: str, value: float, **more: object) -> dict[str, object]:
    return {"tag": "P-101A", "date": day, "value": value, "unit": "ppm", **more}


def test_defect_35_reading_on_the_day_of_repair() -> None:
    study = _study(
        seal_order("P-101A", "2018-03-01"),
        leak_readings=[_leak("2018-02-01", 20), _leak("2018-03-01", 900), _leak("2018-04-01", 9)],
    )
    found = _one(study, "read while the seal was changed")
    assert found["record_id"] == "leak_readings:t.csv:3"
    assert found["action"].endswith("belongs to the seal that came out")
    table = study.readings.table.set_index("value")
    assert table.loc[900.0, "life_id"] == table.loc[20.0, "life_id"] != table.loc[9.0, "life_id"]


def test_defect_36_zero_for_not_detected() -> None:
    rows = [_leak(f"2018-{m:02d}-01", 0 if m % 2 else 9 + m) for m in range(1, 13)]
    study = _study(leak_readings=rows)
    found = _one(study, "leakage of exactly zero")
    assert (found["value"], found["severity"]) == ("6", "ask")
    assert found["action"] == "taken as below detection"
    assert (study.readings.table["kind"] == "below").sum() == 6


def test_defect_37_wrong_unit() -> None:
    rows = [_leak(f"2018-{m:02d}-01", 9 + m) for m in range(1, 13)]
    rows[5] |= {"unit": "%"}
    study = _study(leak_readings=rows)
    found = _one(study, "unit of a reading looks wrong")
    assert found["record_id"] == "leak_readings:t.csv:7"
    assert found["action"].startswith("kept out of trends")
    assert study.readings.table["doubt"].value_counts()["unit in doubt"] == 1


def test_defect_38_copied_text() -> None:
    text = "Faces scored and secondary seal hard, cartridge renewed and handed back."
    many = [A | {"tag": f"P-10{i}A"} for i in range(1, 8)]
    orders = [seal_order(f"P-10{i}A", f"2018-03-{i:02d}", long_text=text) for i in range(1, 8)]
    study = _study(*orders, positions=many)
    assert _one(study, "same long text on many pumps")["value"] == "7"
    assert len(_removed(study)) == 7


def test_defect_39_names_of_people() -> None:
    study = _study(seal_order("P-101A", "2018-03-01", long_text="Seal renewed, A. Examplar"))
    found = _one(study, "a person is named")
    assert found["severity"] == "note"
    assert "Examplar" not in " ".join(map(str, found))


def test_every_defect_has_its_test() -> None:
    numbers = sorted({int(n.split("_")[2]) for n in globals() if n.startswith("test_defect_")})
    assert numbers == list(range(1, 40))


def test_no_fault_no_question() -> None:
    """A fleet without any of them raises no finding but what it lacks."""
    fleet: Fleet = fleet_of(
        [A | {"fluid": "water", "service_class": "WATER"}],
        work_orders=[seal_order("P-101A", f"{y}-{10 + y % 3}-17") for y in range(2016, 2026)],
        run_hours=_meter("P-101A", [100.0 + 300 * i for i in range(8)]),
    )
    study = run_study(fleet)
    questions = study.findings[study.findings["severity"] != "note"]
    assert questions.empty, questions[["check", "message"]].to_string()
