"""Checks of the fleet as a whole: each finds its fault, and leaves clean records alone."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from builders import Rows, fleet_of, seal_order

from seallife.checks import CHECKS
from seallife.intake import Fleet
from seallife.study import Study, run_study

TRUTH = Path(__file__).parents[1] / "data_demo" / "truth"
HOT = {"fluid": "residue", "temp_c": 300.0}
PRESSURES = {"suction_kpa": 301.325, "discharge_kpa": 1_101.325, "chamber_kpa": 501.325}


def _found(fleet: Fleet, check: str) -> pd.DataFrame:
    findings = run_study(fleet).checks.findings
    return findings[findings["check"] == check]


def _rows_found(fleet: Fleet, check: str) -> list[int]:
    return [int(r.rsplit(":", 1)[1]) for r in _found(fleet, check)["record_id"]]


def _pair(a: Mapping[str, Any], b: Mapping[str, Any]) -> Rows:
    return [{"tag": "P-101A", **a}, {"tag": "P-101B", **b}]


def test_every_check_has_a_name_and_a_meaning() -> None:
    assert len({c.name for c in CHECKS}) == len(CHECKS)
    assert all(c.meaning for c in CHECKS)
    counts = run_study(fleet_of([{"tag": "P-101A"}])).checks.counts
    assert counts["name"].tolist() == [c.name for c in CHECKS]
    assert counts.set_index("name")["findings"].sum() == 1  # no hour meter


@pytest.mark.parametrize(
    ("cold", "hot", "found"),
    [(300, 572, [3]), (27, 81, [3]), (300, 300, []), (300, 500, []), (-40, -40, [])],
)
def test_a_sister_in_fahrenheit(cold: float, hot: float, found: list[int]) -> None:
    fleet = fleet_of(_pair({"temp_c": cold}, {"temp_c": hot}))
    assert _rows_found(fleet, "temperature looks like degF") == found
    assert fleet["positions"]["temp_c"].tolist() == [cold, hot]


@pytest.mark.parametrize(("own", "found"), [(590.0, [8]), (310.0, []), (900.0, [])])
def test_without_sister_positions_on_the_same_fluid_speak(own: float, found: list[int]) -> None:
    peers = [HOT | {"tag": f"P-{200 + i}", "temp_c": 300.0 + 4 * i} for i in range(6)]
    fleet = fleet_of([*peers, HOT | {"tag": "P-300", "temp_c": own}])
    assert _rows_found(fleet, "temperature looks like degF") == found


def test_a_sister_in_psi() -> None:
    # 2, 10 and 4 bar gauge are 29, 145 and 58 psi gauge.
    psi = {c: 100.0 * g + 101.325 for c, g in zip(PRESSURES, (29, 145, 58), strict=True)}
    assert _rows_found(fleet_of(_pair(PRESSURES, psi)), "pressures look like psi") == [3]
    # A high-pressure sister is no matter of units, even at 14.5 times one pressure.
    other = PRESSURES | {"discharge_kpa": 14_605.0}
    assert _rows_found(fleet_of(_pair(PRESSURES, other)), "pressures look like psi") == []
    assert _rows_found(fleet_of(_pair(PRESSURES, PRESSURES)), "pressures look like psi") == []
    assert _rows_found(fleet_of(_pair({}, {})), "pressures look like psi") == []


def test_pressures_that_cannot_be_together() -> None:
    rows = _pair(PRESSURES, PRESSURES | {"suction_kpa": 1_500.0})
    assert _rows_found(fleet_of(rows), "suction above discharge") == [3]
    rows = _pair(PRESSURES, PRESSURES | {"chamber_kpa": 1_500.0})
    assert _rows_found(fleet_of(rows), "seal chamber above discharge") == [3]
    rows = _pair(PRESSURES | {"vapour_kpa": 550.0}, PRESSURES | {"vapour_kpa": 900.0})
    found = _found(fleet_of(rows), "seal chamber below vapour pressure")
    assert ["gauge taken for absolute" in m for m in found["message"]] == [True, False]


def test_dates_and_state_that_disagree() -> None:
    rows = _pair({"retired": "2020-05-05", "status": "in use"}, {"status": "retired"})
    assert _rows_found(fleet_of(rows), "retired but called in use") == [2]
    assert _rows_found(fleet_of(rows), "retired without date") == [3]


def _monthly(n: int, **more: object) -> list[dict[str, object]]:
    days = pd.date_range("2016-01-11", periods=n, freq="37D")
    return [seal_order("P-101A", f"{d:%Y-%m-%d}", **more) for d in days]


def test_many_orders_closed_on_one_day() -> None:
    rows = _monthly(60)
    for i, row in enumerate(rows):
        row["closed"] = "2020-12-31" if i < 25 else f"{2017 + i % 5}-03-{1 + i % 28:02d}"
    found = _found(fleet_of([{"tag": "P-101A"}], work_orders=rows), "closed in a batch")
    assert found["value"].tolist() == ["25"]
    assert _rows_found_none(_monthly(60), "closed in a batch")


def _rows_found_none(orders: Rows, check: str) -> bool:
    return _found(fleet_of([{"tag": "P-101A"}], work_orders=orders), check).empty


def test_dates_to_the_month_are_seen_by_their_share() -> None:
    rows = [
        seal_order("P-101A", f"2018-{m:02d}-01", date_raised=f"2018-{m:02d}-01")
        for m in range(1, 13)
    ]
    found = _found(fleet_of([{"tag": "P-101A"}], work_orders=rows), "dates to the month only")
    assert found["value"].tolist() == ["12"]
    rows = [r | {"date_raised": "2018-01-03"} for r in rows]
    assert _rows_found_none(rows, "dates to the month only")


def test_a_cause_that_is_always_the_same() -> None:
    wear = _monthly(60, cause_code="WEAR")
    found = _found(fleet_of([{"tag": "P-101A"}], work_orders=wear), "one cause code for most")
    assert found["value"].tolist() == ["WEAR"]
    mixed = [r | {"cause_code": "ABC"[i % 3]} for i, r in enumerate(wear)]
    assert _rows_found_none(mixed, "one cause code for most")
    assert _rows_found_none(wear[:10], "one cause code for most")


def test_a_site_that_records_nothing_for_long() -> None:
    days = pd.date_range("2016-01-02", "2025-12-20", freq="6D")
    lost = (days >= "2019-03-01") & (days <= "2019-06-30")
    orders = [seal_order("P-101A", f"{d:%Y-%m-%d}", short_text="paint") for d in days[~lost]]
    found = _found(fleet_of([{"tag": "P-101A"}], work_orders=orders), "no record for long")
    assert found["severity"].tolist() == ["ask"]
    first = days[days < "2019-03-01"][-1] + pd.Timedelta(days=1)
    last = days[days > "2019-06-30"][0] - pd.Timedelta(days=1)
    assert f"gaps = [[{first:%Y-%m-%d}, {last:%Y-%m-%d}]]" in found["message"].iloc[0]
    known = fleet_of([{"tag": "P-101A"}], work_orders=orders, gaps=[("2019-03-01", "2019-06-30")])
    assert _found(known, "no record for long").empty
    whole = [seal_order("P-101A", f"{d:%Y-%m-%d}", short_text="paint") for d in days]
    assert _rows_found_none(whole, "no record for long")


@pytest.mark.parametrize("seed", range(5))
def test_records_at_random_have_no_gap(seed: int) -> None:
    import numpy as np

    rng = np.random.default_rng(seed)
    days = np.sort(rng.choice(3_650, 250, replace=False))
    start = pd.Timestamp("2016-01-01")
    orders = [
        seal_order("P-101A", f"{start + pd.Timedelta(days=int(d)):%Y-%m-%d}", short_text="paint")
        for d in days
    ]
    assert _rows_found_none(orders, "no record for long")


def test_names_are_found_and_not_repeated() -> None:
    rows = _monthly(3)
    rows[0] |= {"long_text": "Seal renewed by J. Examplar."}
    rows[1] |= {"long_text": "Renewed. fitter Examplar, 2 h"}
    rows[2] |= {"long_text": "Renewed as per API 682. Plan 53B. Pump P-101A."}
    found = _found(fleet_of([{"tag": "P-101A"}], work_orders=rows), "a person is named")
    assert found["record_id"].tolist() == ["work_orders:t.csv:2", "work_orders:t.csv:3"]
    assert not found.astype(str).apply(lambda c: c.str.contains("Examplar")).any(axis=None)


def test_seals_taken_out_and_drawn_are_held_against_each_other() -> None:
    rows = [
        seal_order("P-101A", f"2018-{m:02d}-09", part="71000 SEAL CART", part_qty=1)
        for m in range(1, 13)
    ]
    rows += [seal_order("P-101A", f"2019-{m:02d}-09") for m in range(1, 13)]
    study = run_study(fleet_of([{"tag": "P-101A", "pool": "71000"}], work_orders=rows))
    table = study.checks.reconciliation.set_index(["pool", "year"])
    assert table.loc[("71000", 2018), ["removed", "issued"]].tolist() == [12, 12]
    assert table.loc[("71000", 2019), ["removed", "issued"]].tolist() == [12, 0]
    assert table["agrees"].to_dict() == {
        ("71000", 2018): True,
        ("71000", 2019): False,
        ("all", 2018): True,
        ("all", 2019): False,
    }
    asked = study.findings[study.findings["check"] == "removals and issues differ"]
    assert asked["severity"].tolist() == ["ask", "ask"]


# --- the demo fleet, where the faults are known ---------------------------------------------


@pytest.fixture(scope="module")
def faults() -> Mapping[str, Any]:
    import tomllib

    planted: Mapping[str, Any] = tomllib.loads((TRUTH / "truth.toml").read_text("utf-8"))["faults"]
    return planted


REGISTER_AND_METERS = {
    "temperature in degF": "temperature looks like degF",
    "pressure in psi": "pressures look like psi",
    "rollover at 99,999": "meter turned over",
    "meter replaced": "meter replaced",
    "meter stuck": "meter stands still",
}


def _planted(study: Study, check: str) -> tuple[set[str], set[str]]:
    """Position names and tags that a check's findings are about."""
    ids = study.findings.loc[study.findings["check"] == check, "record_id"]
    positions = study.fleet["positions"].set_index("record_id")["position_id"]
    tags = study.fleet["run_hours"].set_index("record_id")["tag"]
    return set(positions.reindex(ids).dropna()), set(tags.reindex(ids).dropna())


def test_planted_faults_of_register_and_meters_are_found(
    demo_study: Study, faults: Mapping[str, Any]
) -> None:
    shares = []
    for fault, check in REGISTER_AND_METERS.items():
        found = set.union(*_planted(demo_study, check))
        planted = set(faults[fault])
        shares.append((fault, len(planted), len(planted & found), len(found - planted)))
    table = pd.DataFrame(shares, columns=["fault", "planted", "found", "false"])
    assert (table["found"] >= 0.95 * table["planted"]).all(), table.to_string()
    assert (table["false"] <= 0.02 * 420).all(), table.to_string()


def test_retired_positions_end_with_their_date(
    demo_study: Study, faults: Mapping[str, Any]
) -> None:
    last = demo_study.watched.stretches.drop_duplicates("position_id", keep="last")
    ended = set(last.loc[last["ends_with"] == "retired", "position_id"])
    assert ended == set(faults["retired but in the register"])


def test_planted_faults_of_orders_are_found(demo_study: Study, faults: Mapping[str, Any]) -> None:
    found = demo_study.checks.findings.set_index("check")
    closed = found.loc[["closed in a batch"], "value"].astype(int).sum()
    assert closed >= faults["closed in a batch"]
    months = found.loc[["dates to the month only"], "value"].astype(int).sum()
    assert months == pytest.approx(faults["month-only dates"], abs=4)
    orders = pd.read_csv(TRUTH / "orders.csv", keep_default_na=False)
    changed = set(orders.loc[orders["defects"].str.contains("seal type changed"), "record"])
    assert changed <= set(found.loc[["seal type changed"], "record_id"])
    assert "no record for long" not in found.index  # the one gap is declared


def test_clean_records_raise_few_questions(demo_study: Study) -> None:
    doubted = demo_study.findings[demo_study.findings["severity"] != "note"]["record_id"]
    orders = pd.read_csv(TRUTH / "orders.csv", keep_default_na=False)
    places = pd.read_csv(TRUTH / "positions.csv", keep_default_na=False)
    readings = pd.read_csv(TRUTH / "readings.csv")
    register = demo_study.fleet["positions"].set_index("position_id")
    positions = register["record_id"]
    without_item = set(positions[register["pool"] == ""])  # planted, see faults of the stock
    spoilt_meters = set().union(*(_planted(demo_study, c)[1] for c in REGISTER_AND_METERS.values()))
    meters = demo_study.fleet["run_hours"]
    leaks = demo_study.fleet["leak_readings"]["record_id"]
    clean = {
        "work_orders": set(orders.loc[orders["defects"] == "", "record"]),
        "positions": set(positions[places.loc[places["defects"] == "", "position_id"]])
        - without_item,
        "run_hours": set(meters.loc[~meters["tag"].isin(spoilt_meters), "record_id"]),
        "leak_readings": set(leaks) - set(readings.loc[readings["defect"].notna(), "record"]),
    }
    table = pd.DataFrame(
        [(name, len(rows), len(rows & set(doubted))) for name, rows in clean.items()],
        columns=["table", "clean", "doubted"],
    )
    assert (table["clean"] > 300).all()
    assert (table["doubted"] <= 0.02 * table["clean"]).all(), table.to_string()


def test_checks_change_no_number(demo_study: Study) -> None:
    assert not demo_study.checks.findings["set_aside"].any()
    assert set(demo_study.checks.findings["severity"]) == {"note", "doubt", "ask"}
