"""Factors of lives: what they are, and what is not known of them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from seallife.errors import InputError
from seallife.life import FACTORS, fit_cox_factors, fit_weibull_factors, life_factors
from seallife.study import Study

REGISTER = pd.DataFrame(
    {
        "position_id": ["P-1", "P-2"],
        "chamber_kpa": [401.325, 1000.0],
        "vapour_kpa": [200.0, 1.0],
        "temp_c": [80.0, 900.0],
        "shaft_mm": [50.0, 60.0],
        "speed_rpm": [2950.0, np.nan],
        "viscosity_cst": [4.0, 0.5],
        "solids_pct": [np.nan, np.nan],
        "flush_plan": ["53B", "11/62"],
        "arrangement": ["3", "1"],
        "duty": ["running", ""],
    }
)
LIVES = pd.DataFrame(
    {
        "position_id": ["P-1", "P-1", "P-2"],
        "service_class": ["HC", "HC", "WATER"],
        "rebuild_no": [0.0, 2.0, np.nan],
        "epoch": [1, 2, 1],
    },
    index=[7, 8, 9],
)


def change(**more: object) -> pd.DataFrame:
    row = {"position_id": "P-1", "epoch": 2, "what": "flush plan", "from_state": "", "to_state": ""}
    return pd.DataFrame([row | more])


def test_derived_values_by_hand() -> None:
    found = life_factors(LIVES, REGISTER)
    v = found.values
    assert v.index.tolist() == [7, 8, 9]
    assert list(v.columns) == list(FACTORS)
    np.testing.assert_allclose(v["vapour_margin_bar"], [2.01325, 2.01325, 9.99])
    # a thousand times the vapour pressure counts as eight times
    np.testing.assert_allclose(v["vapour_ratio_doublings"].iloc[[0, 2]], [np.log2(2.006625), 3.0])
    np.testing.assert_allclose(v["pressure_bar"], [3.0, 3.0, 8.98675])
    np.testing.assert_allclose(v["face_speed_m_s"].iloc[0], np.pi * 0.05 * 2950 / 60)
    np.testing.assert_allclose(v["viscosity_doublings"], [2.0, 2.0, -1.0])
    assert v["flush_plan"].tolist() == ["53B", "53B", "11"]
    assert v["rebuilt"].tolist()[:2] == ["new", "rebuilt"]
    assert v["epoch"].tolist() == ["original", "changed", "original"]
    assert found.steps["temp_c"] == (10.0, "10 °C")
    assert "duty" not in found.steps


def test_what_is_not_known_stays_unknown_and_is_said() -> None:
    found = life_factors(LIVES, REGISTER)
    v = found.values
    assert np.isnan(v.loc[9, ["temp_c", "face_speed_m_s"]].to_numpy(dtype=float)).all()
    assert v.loc[9, ["rebuilt", "duty"]].isna().all()
    assert v["solids_pct"].isna().all()
    row = found["temp_c"]
    assert (row["status"], row["missing"]) == ("many missing", 1)
    assert "temp_c outside its range for 1 lives" in row["message"]
    assert found["solids_pct"]["status"] == "many missing"
    assert "solids_pct" not in found.usable()
    assert life_factors(LIVES, REGISTER.drop(columns="duty"))["duty"]["status"] == "no column"
    same = life_factors(LIVES.iloc[:2], REGISTER)
    assert same["flush_plan"]["status"] == "constant"


def test_a_life_before_a_change_gets_the_state_before_it() -> None:
    told = change(from_state="plan 11, arrangement 1", to_state="plan 53B, arrangement 3")
    v = life_factors(LIVES, REGISTER, told).values
    assert v["flush_plan"].tolist()[:2] == ["11", "53B"]
    assert v["arrangement"].tolist()[:2] == ["1", "3"]


def test_a_state_before_a_change_that_nobody_wrote_down_is_unknown() -> None:
    found = life_factors(LIVES, REGISTER, change(to_state="plan 53B"))
    assert found.values["flush_plan"].isna().tolist() == [True, False, False]
    assert "before a change not known for 1 lives" in found["flush_plan"]["message"]
    # an orifice is no plan: the plan stood
    small = life_factors(LIVES, REGISTER, change(from_state="orifice 3 mm", to_state="4 mm"))
    assert small.values["flush_plan"].notna().all()
    process = life_factors(LIVES, REGISTER, change(what="process")).values
    assert process["pressure_bar"].isna().tolist() == [True, False, False]


def test_of_two_changes_the_earlier_tells_the_earlier_state() -> None:
    lives = LIVES.assign(position_id="P-1", epoch=[1, 2, 3])
    both = pd.concat(
        [
            change(from_state="plan 01", to_state="plan 11"),
            change(epoch=3, from_state="plan 11", to_state="plan 53B"),
        ]
    )
    for order in (both, both.iloc[::-1]):
        plans = life_factors(lives, REGISTER, order).values["flush_plan"]
        assert plans.tolist() == ["01", "11", "53B"]


@pytest.mark.parametrize(
    ("lives", "positions", "changes", "words"),
    [
        (LIVES.drop(columns="position_id"), REGISTER, None, "no column position_id"),
        (LIVES, pd.concat([REGISTER, REGISTER]), None, "twice"),
        (LIVES, REGISTER, change().drop(columns="what"), "no column what"),
        (LIVES.drop(columns="epoch"), REGISTER, change(), "no column epoch"),
    ],
)
def test_bad_input_gets_a_sentence(lives, positions, changes, words) -> None:
    with pytest.raises(InputError, match=words):
        life_factors(lives, positions, changes)


def test_the_planted_driver_of_the_demo_fleet_is_found(demo_study: Study) -> None:
    """Unit 400's change from plan 11 to 53B, arrangement 3: total failure ratio about 0.46."""
    table = demo_study.lives.table
    changes = demo_study.changes.table
    good = table["age_known"] & (table["exit_age_h"] > table["entry_age_h"])
    lives = table[good & (table["entry_age_h"] >= 0) & (table["service_class"] == "HC-FLASH")]
    found = life_factors(lives, demo_study.register.table, changes)
    arguments = (lives["exit_age_h"], lives["end"] == "failed", found.values[["arrangement"]])
    kw = {"entry_age": lives["entry_age_h"], "cluster": lives["position_id"]}
    time = fit_weibull_factors(*arguments, **kw)["arrangement: 3 against 1"]
    rate = fit_cox_factors(*arguments, **kw)["arrangement: 3 against 1"]
    assert time["low"] > 1.1
    assert rate["low"] < 0.46 < rate["high"] < 1
    # by the register as it is today the lives before the change would count as after it
    today = life_factors(lives, demo_study.register.table).values[["arrangement"]]
    blind = fit_cox_factors(*arguments[:2], today, **kw)["arrangement: 1 against 3"]
    assert blind["ratio"] < 1
