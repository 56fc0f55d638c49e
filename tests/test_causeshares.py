"""Shares of causes in failures, hours out and cost."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from seallife.errors import InputError
from seallife.history.causeshares import cause_shares, failures_with_cost
from seallife.life.tablefits import NOT_TOLD


def _failures(causes: list[str], hours: list[float], cost: list[float]) -> pd.DataFrame:
    ids = [f"R{i}" for i in range(len(causes))]
    return pd.DataFrame({"removal_id": ids, "cause": causes, "hours_out": hours, "cost": cost})


def test_counts_shares_and_what_is_not_told() -> None:
    nan = float("nan")
    got = cause_shares(
        _failures(
            ["solids", "solids", "solids", "fitting", NOT_TOLD],
            [10, 20, nan, 70, 5],
            [100, 100, 100, 700, 50],
        )
    ).set_index("cause")
    assert got.index.tolist() == ["solids", "fitting", NOT_TOLD]
    assert got["failures"].tolist() == [3, 1, 1]
    assert got.loc["solids", "share_told"] == 0.75
    exact = stats.binomtest(3, 4).proportion_ci(0.90, method="exact")
    assert got.loc["solids", "share_told_low"] == pytest.approx(exact.low, abs=1e-9)
    assert got.loc["solids", "share_told_high"] == pytest.approx(exact.high, abs=1e-9)
    assert (got.loc["solids", "share_least"], got.loc["solids", "share_most"]) == (0.6, 0.8)
    assert got.loc["solids", "hours_out"] == 30
    assert got.loc["solids", "hours_out_known"] == 2
    assert got.loc["fitting", "hours_out_share"] == 0.7
    assert got.loc["fitting", "cost_share"] == 0.7
    assert np.isnan(got.loc[NOT_TOLD, "share_told"])
    assert got.loc[NOT_TOLD, "cost"] == 50


def test_limits_of_cost_hold_the_true_share() -> None:
    """Lognormal costs, 120 failures, true share by expectation: 90 % of 200 records, 84 to 95."""
    rng = np.random.default_rng(8)
    held = 0
    for seed in range(200):
        cause = np.where(rng.random(120) < 0.3, "a", "b")
        cost = rng.lognormal(0, 0.7, 120) * np.where(cause == "a", 2.0, 1.0)
        got = cause_shares(
            _failures(cause.tolist(), [1.0] * 120, cost.tolist()), resamples=200, seed=seed
        )
        row = got.set_index("cause").loc["a"]
        held += bool(row["cost_share_low"] <= 0.6 / 1.3 <= row["cost_share_high"])
    low, high = stats.binom.ppf([0.001, 0.999], 200, 0.89)
    assert low <= held <= high


@given(
    st.lists(
        st.tuples(st.sampled_from(["a", "b", NOT_TOLD]), st.floats(0, 1e6) | st.just(float("nan"))),
        max_size=30,
    )
)
def test_shares_add_up_and_lie_inside_their_limits(rows: list[tuple[str, float]]) -> None:
    got = cause_shares(
        _failures([c for c, _ in rows], [v for _, v in rows], [v for _, v in rows]), resamples=50
    )
    assert got["failures"].sum() == len(rows)
    told = got[got["cause"] != NOT_TOLD]
    if len(told):
        assert told["share_told"].sum() == pytest.approx(1)
        assert (told["share_told_low"] <= told["share_told"]).all()
        assert (told["share_least"] <= told["share_most"]).all()
    if told["cost_share"].notna().any():
        assert told["cost_share"].sum() == pytest.approx(1)


def test_failures_take_hours_and_cost_from_their_orders() -> None:
    removals = pd.DataFrame(
        {
            "removal_id": ["R1", "R2", "R3", "R4"],
            "ended": ["failed", "withdrawn", "unknown", "failed"],
            "damage": ["solids", "solids", None, " "],
            "end": pd.to_datetime(["2020-01-01"] * 4),
            "back": pd.to_datetime(["2020-01-03", "2020-01-03", None, "2019-12-31"]),
            "record_ids": ["w:1 w:2", "w:3", "w:4", "w:5"],
        }
    )
    orders = pd.DataFrame(
        {"record_id": [f"w:{i}" for i in range(1, 6)], "cost": [10.0, 5.0, 7.0, None, 3.0]}
    )
    got = failures_with_cost(removals, orders, "damage")
    assert got["removal_id"].tolist() == ["R1", "R3", "R4"]
    assert got["cause"].tolist() == ["solids", NOT_TOLD, NOT_TOLD]
    assert got["hours_out"].iloc[0] == 48
    assert got["hours_out"].iloc[1:].isna().all()
    assert got["cost"].iloc[0] == 15
    assert np.isnan(got["cost"].iloc[1])
    assert len(failures_with_cost(removals, orders, "damage", "withdrawn")) == 2
    assert failures_with_cost(removals, orders.iloc[:0], "damage")["cost"].isna().all()
    with pytest.raises(InputError, match="no column mechanism"):
        failures_with_cost(removals, orders, "mechanism")


def test_no_failures_give_an_empty_table() -> None:
    assert cause_shares(_failures([], [], [])).empty
