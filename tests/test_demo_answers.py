"""What the tool says of the dirty demo fleet, against what is true of it.

The truth stands in ``data_demo/truth``. Stories were planted in some classes (a changed flush plan,
a wrong lot, bad actors), so laws by class are held only where none was.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from seallife.demo.truth import law_figures
from seallife.life import kaplan_meier
from seallife.life.usable import usable_lives
from seallife.study import Study

PLAIN = ("BFW/HOTW", "CORR", "SLURRY", "WATER")  # no story in them


@pytest.mark.parametrize("name", PLAIN)
def test_share_still_running_holds_the_law(demo_study: Study, name: str) -> None:
    """At 99 % limits, where ten or more are at risk: a Kaplan-Meier tail of four seals is luck."""
    truth = law_figures().set_index("service_class").loc[name]
    use = usable_lives(demo_study.lives.table, "service_class", "run_h")
    curve = kaplan_meier(use.middle, use.failed, level=0.99, **use.grouped)
    seen = curve.at([8_760.0, 25_000.0]).set_index("group").loc[name]
    laws = np.array([truth["survival_8760"], truth["survival_25000"]])
    enough = (seen["at_risk"] >= 10).to_numpy()
    assert enough[0]
    held = (seen["low"].to_numpy() <= laws) & (laws <= seen["high"].to_numpy())
    assert held[enough].all()


def test_class_without_failures_borrows_and_is_marked(demo_study: Study) -> None:
    row = demo_study.life.pooled["OIL"]
    assert row["status"] == "no failures"
    assert 0 < row["b10_low"] < row["b10"] < row["b10_high"] < np.inf
    assert row["borrowed_shape"] > 0.6
    assert demo_study.life.pooled["HC-FLASH"]["borrowed_scale"] < 0.1


def test_rebuilt_seals_are_found_to_fail_sooner(demo_study: Study) -> None:
    """Story S9: hazard times 1.25."""
    row = demo_study.life.renewals["rebuilt against new"]
    assert row["verdict"] == "shorter than new"
    assert row["rate_low"] <= 1.25 <= row["rate_high"]


def test_later_renewals_are_as_good_as_earlier_ones(demo_study: Study) -> None:
    """No ageing of positions was planted."""
    table = demo_study.life.renewals.table
    row = table[table["comparison"].str.startswith("each further renewal")].iloc[0]
    assert row["verdict"] == "no evidence against as good as new"


def test_the_year_of_bad_fitting_is_found_and_no_other(demo_study: Study) -> None:
    """Story S4: installations at Skarrow Point from January to November 2021."""
    rows = demo_study.trends.early.table.set_index("site")
    there, elsewhere = rows.loc["Skarrow Point"], rows.loc["Merrowfen"]
    assert there["verdict"] == "more than chance"
    assert there["first"] <= pd.Timestamp("2021-05-01")
    assert pd.Timestamp("2021-06-01") <= there["last"] <= pd.Timestamp("2022-03-01")
    assert elsewhere["verdict"] == "no evidence"


def test_conditions_that_move_lives_are_called_drivers_and_no_others(demo_study: Study) -> None:
    """Stories S1 (plan 53B instead of 11) and S5 (a lot); no other column moves a life."""
    table = demo_study.life.drivers.table.set_index("term")
    called = table.loc[table["verdict"].isin(["longer", "shorter"]), "verdict"]
    assert called.to_dict() == {
        "flush plan: 53B against 11": "longer",
        "lot: EL-18-36 against other or not told": "shorter",
    }


def test_the_wrong_lot_is_found_and_no_other(demo_study: Study) -> None:
    """Story S5: 28 seals of the lot went in; orders name the lot of some others too."""
    table = demo_study.trends.standouts["lot"].table
    listed = table[table["verdict"] != "cannot tell yet"].query("verdict != 'no evidence'")
    assert listed["lot"].tolist() == ["EL-18-36"]
    assert listed["verdict"].tolist() == ["worse than its class"]
    lives = demo_study.lives.table.query("lot == 'EL-18-36'")
    assert len(lives) >= 24
    assert lives["start"].between("2018-09-01", "2019-04-15").all()


def test_mixtures_are_warned_of(demo_study: Study) -> None:
    """All classes but OIL hold a part that was badly fitted; with few failures it may not show."""
    table = demo_study.life.mixtures.table.set_index("group")
    called = table[table["verdict"] == "a mixture is likely"]
    assert "OIL" not in called.index
    assert len(called) >= 4
    assert (called["rest_shape"] > called["shape"]).all()


def test_where_nothing_changed_nothing_is_found(demo_study: Study) -> None:
    """Story S10: Merrowfen, whose rates never changed."""
    trends = demo_study.trends
    row = trends.growth["Merrowfen"]
    assert row["verdict"] == "no evidence"
    assert not row["changed"]
    assert (trends.signals["Merrowfen"].table["verdict"] == "no evidence").all()
    recent = demo_study.history.recent.set_index("group").loc["Merrowfen"]
    assert recent["verdict"] == "no evidence"
    there = demo_study.lives.table.query("site == 'Merrowfen'")["position_id"].unique()
    called = trends.standouts["position_id"].table
    called = called[called["verdict"].isin(["worse than its class", "better than its class"])]
    assert not set(called["position_id"]) & set(there)


def test_a_mass_renewal_is_no_improvement_at_equal_ages(demo_study: Study) -> None:
    """Story S7: 65 seals renewed in October 2019; what is expected of the fleet falls with it."""
    monthly = demo_study.history.monthly.query("by == 'service_class' and group == 'HC-HOT'")
    rate = monthly.set_index("month")["expected"] / monthly.set_index("month")["exposure_years"]
    assert rate["2020-01":"2020-12"].mean() < 0.95 * rate["2018-10":"2019-09"].mean()


def test_standby_pumps_look_better_on_the_calendar_only(demo_study: Study) -> None:
    """Story S8: pairs that share 85 to 15 fail by run hours, not by calendar."""
    lives = demo_study.lives.table
    by = lives.assign(failed=lives["end"].eq("failed")).groupby("duty")
    sums = by[["days", "hours", "failed"]].sum()
    calendar = sums["days"] / sums["failed"]
    running = sums["hours"] / sums["failed"]
    assert calendar["standby"] / calendar["running"] > 2.5
    assert 0.5 < running["standby"] / running["running"] < 2.0
