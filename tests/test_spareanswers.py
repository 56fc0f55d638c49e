"""`seallife.spareanswers`, `spares.sheet`, `budget`, `kit`, `itemtrace`: the storeroom's sheet."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from builders import fleet_of
from storepaths import steady_paths

from seallife.outages import outage_spacing
from seallife.spares.budget import yearly_budget
from seallife.spares.kit import outage_kit
from seallife.study import Study, run_study
from seallife.trace import trace_record

NOW = pd.Timestamp("2026-01-01")


# demo: one sheet


def test_every_stock_item_stands_on_the_sheet_once(demo_study: Study) -> None:
    sheet = demo_study.spares.sheet
    stores = demo_study.fleet["stores"]
    assert sheet["pool"].is_unique
    assert set(stores["material_no"]) <= set(sheet["pool"])
    assert set(sheet["action"]) <= {"order now", "cannot tell yet", "order later", "enough"}
    # due ones first, each with its day
    rank = sheet["action"].map(
        {"order now": 0, "cannot tell yet": 1, "order later": 2, "enough": 3}
    )
    assert rank.is_monotonic_increasing
    now = sheet["action"] == "order now"
    assert (sheet.loc[now, "order"] > 0).all()
    assert (sheet.loc[now, "order_by"] == demo_study.spares.ahead.now).all()
    later = sheet["action"] == "order later"
    assert (sheet.loc[later, "order_by"] >= demo_study.spares.ahead.now).all()


def test_an_order_brings_the_store_to_what_is_needed(demo_study: Study) -> None:
    """Pieces follow from figures that stand on the line, whatever they are."""
    spares = demo_study.spares
    advice = spares.advice.table.set_index("pool")
    told = advice[advice["status"].isin(["ok", "price not given"])]
    assert len(told) > 50
    due = np.maximum(told["level"] - told["on_hand"] - told["on_order"], 0)
    assert (told["order"] == due).all()
    assert (told["need_low"] <= told["need"]).all()
    assert (told["need"] <= told["need_high"]).all()


def test_needs_of_the_sheet_are_those_of_the_futures(demo_study: Study) -> None:
    """Two ways to one figure: futures seal by seal, and the algebra of renewals."""
    spares = demo_study.spares
    paths, demand = spares.paths, spares.demand
    upto = np.full(len(paths.pools), 365.0)
    mean = pd.Series(paths.needed(upto).mean(axis=1), index=paths.pools)
    year = demand.table[(demand.table["by"] == "pool") & (demand.table["months"] == 12)]
    exact = year.set_index("group")["need"].reindex(paths.pools)
    noise = np.sqrt(exact.clip(lower=0.2) / paths.runs)
    assert ((mean - exact).abs() < 5 * noise + 0.02 * exact).all()
    assert mean.sum() == pytest.approx(exact.sum(), rel=0.02)


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("unit_cost", "price"),
        ("lead_time_d", "lead time"),
        ("on_hand", "number on hand"),
    ],
)
def test_what_the_stores_do_not_say_is_said(demo_study: Study, fault: str, words: str) -> None:
    stores = demo_study.fleet["stores"]
    items = stores.loc[stores[fault].isna(), "material_no"]
    assert len(items)
    sheet = demo_study.spares.sheet.set_index("pool")
    for item in items:
        assert words in sheet.loc[item, "notes"].lower()
        assert fault == "unit_cost" or sheet.loc[item, "action"] == "cannot tell yet"


def test_an_item_is_traced_to_its_record_and_its_seals(demo_study: Study) -> None:
    sheet = demo_study.spares.sheet
    item = sheet.iloc[0]
    hops = trace_record(demo_study, str(item["pool"]))
    assert hops["what"].tolist()[:3] == ["stock item", "order", "demand"]
    assert hops["name"].iloc[0] == item["record_id"]
    assert (hops["what"] == "seal").sum() == min(item["positions"], 13)
    by_record = trace_record(demo_study, str(item["record_id"]))
    assert str(item["pool"]) in by_record["name"].tolist()
    seal = hops.loc[hops["what"] == "seal", "name"].iloc[0]
    assert len(trace_record(demo_study, seal))


def test_benzene_and_its_like_are_ranked_highest(demo_study: Study) -> None:
    items = demo_study.spares.items
    hazard = items[items["hazard"].str.contains("benzene|H2S|HF", case=False)]
    assert len(hazard)
    assert (hazard["criticality"] == "A").all()


def test_a_seal_in_alarm_is_never_weighed(demo_study: Study) -> None:
    outage = demo_study.spares.outage.table
    rising = demo_study.leakage.rising
    hot = rising.loc[(rising["state"] == "rising, confirmed") | (rising["over"] != ""), "life_id"]
    mine = outage[outage["life_id"].isin(hot)]
    assert len(mine)
    assert (mine["verdict"] == "act on the leak").all()
    assert mine["rank"].max() == len(mine)


# budget


def _items(**columns: object) -> pd.DataFrame:
    base = {"pool": "item 0", "unit_cost": 100.0, "repairable": False, "reject_share": np.nan}
    return pd.DataFrame([base | columns])


def test_a_budget_by_hand() -> None:
    paths = steady_paths([6.0], runs=2_000)
    got = yearly_budget(paths, _items()).table
    assert len(got) == 3
    assert got["seals"].to_numpy() == pytest.approx(6.0, rel=0.03)
    assert got["spend"].to_numpy() == pytest.approx(100 * got["seals"].to_numpy())
    # Poisson with mean 6: 5 % below 3, 95 % at most 10
    assert got["seals_low"].tolist() == [2.0, 2.0, 2.0]
    assert got["seals_high"].tolist() == [10.0, 10.0, 10.0]


def test_repairs_cost_their_share_and_rejects_a_new_one() -> None:
    paths = steady_paths([6.0], runs=2_000)
    rows = _items(repairable=True, reject_share=0.25)
    got = yearly_budget(paths, rows, repair_share=0.3).table
    expected = 6 * 100 * (0.25 + 0.75 * 0.3)
    assert got["spend"].mean() == pytest.approx(expected, rel=0.03)
    assert got["new"].mean() == pytest.approx(1.5, rel=0.05)
    unknown = yearly_budget(paths, rows)
    assert not unknown.repairs_priced
    assert unknown.table["status"].tolist() == ["repairs left out"] * 3
    assert unknown.table["spend"].mean() == pytest.approx(150.0, rel=0.05)


def test_without_prices_nothing_is_said_in_money() -> None:
    got = yearly_budget(steady_paths([6.0], runs=50), _items(unit_cost=np.nan)).table
    assert got["spend"].isna().all()
    assert got["unpriced"].tolist() == [1.0] * 3
    assert set(got["status"]) == {"no price given"}


# kit of an outage


def test_a_kit_counts_marked_seals_and_orders_in_time() -> None:
    listed = pd.DataFrame(
        {
            "position_id": ["a", "b", "c", "d", "e"],
            "site": "Site",
            "days_to_outage": [100.0, 100, 100, 100, np.nan],
            "verdict": ["renew", "act on the leak", "cannot tell yet", "leave", "renew"],
        }
    )
    pool_of = pd.Series({"a": "M1", "b": "M2", "c": "M1", "d": "M1", "e": "M1"})
    stores = pd.DataFrame(
        {
            "pool": ["M1", "M2"],
            "description": ["one", "two"],
            "on_hand": [1.0, 0.0],
            "on_order": 0.0,
            "lead_time_d": [60.0, 400.0],
        }
    )
    kit = outage_kit(listed, pool_of, stores, NOW, spread=0.0).set_index("pool")
    assert kit.loc["M1", ["renew", "maybe"]].tolist() == [1, 1]
    assert kit.loc["M1", "order_by"] == NOW + pd.Timedelta(days=40)
    assert kit.loc["M1", "message"] == ""
    assert "too late" in kit.loc["M2", "message"]
    wide = outage_kit(listed, pool_of, stores, NOW, spread=0.5).set_index("pool")
    assert wide.loc["M1", "order_by"] < kit.loc["M1", "order_by"]


def test_a_kit_without_an_item_or_a_lead_time_says_so() -> None:
    listed = pd.DataFrame(
        {"position_id": ["a", "b"], "site": "Site", "days_to_outage": 50.0, "verdict": "renew"}
    )
    stores = pd.DataFrame(
        {
            "pool": ["M1"],
            "description": ["one"],
            "on_hand": [1.0],
            "on_order": [0.0],
            "lead_time_d": [np.nan],
        }
    )
    kit = outage_kit(listed, pd.Series({"a": "M1"}), stores, NOW).set_index("pool")
    assert "lead time not known" in kit.loc["M1", "message"]
    assert "no stock item" in kit.loc["(none)", "message"]


def test_days_between_outages() -> None:
    outages = pd.DataFrame(
        {
            "site": ["N", "N", "N", "S", "S"],
            "unit": ["", "", "100", "", None],
            "start": pd.to_datetime(
                ["2020-01-01", "2027-01-01", "2026-06-01", "2025-01-01", "2026-01-01"]
            ),
        }
    )
    got = outage_spacing(outages, NOW).set_index(["site", "unit"])["days_between"]
    assert got["N", "100"] == 214  # the unit's own, then the whole site's
    assert got["N", ""] == 2557  # none after it: as between past ones
    assert got["S", ""] == 365
    assert outage_spacing(outages.iloc[:0], NOW).empty


# fleets with little on record


def test_no_failures_no_forecast() -> None:
    rows = [{"tag": f"P-{i}", "fluid": "water", "commissioned": "2016-01-31"} for i in range(3)]
    study = run_study(fleet_of(rows, removals=[]))
    assert not study.spares.can_forecast


def test_a_fleet_without_stores_or_costs_still_has_a_demand() -> None:
    rows = [{"tag": f"P-{i}", "fluid": "water", "commissioned": "2016-01-31"} for i in range(8)]
    removals = [
        {"position_id": f"P-{i}", "date": f"201{7 + i % 3}-05-0{1 + i}", "reason": "seal failed"}
        for i in range(6)
    ]
    study = run_study(fleet_of(rows, removals=removals))
    spares = study.spares
    assert spares.can_forecast
    year = spares.demand.table.set_index(["by", "months"]).loc[("all", 12)]
    assert 0.2 < float(year["need"]) < 4
    assert spares.items.empty
    assert set(spares.replacement.table["verdict"]) <= {"no cost given", "do not renew by age"}
    assert (spares.outage.table["status"] == "no outage ahead").all()
    assert spares.kit.empty
