"""Signals of a monthly chart."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from seallife.errors import InputError
from seallife.history.signals import chart_signals
from seallife.study import Study


def _chart(failures: np.ndarray, expected: float | np.ndarray) -> pd.DataFrame:
    months = pd.date_range("2016-01-01", periods=len(failures), freq="MS")
    return pd.DataFrame({"month": months, "failures": failures, "expected": expected})


@pytest.mark.parametrize("mean", [1.5, 7.0])
def test_charts_without_a_change_raise_as_few_alarms_as_said(mean: float) -> None:
    """250 charts of 96 months at level 0.90: at most 10 % alarms, by chance up to 38 (99.9 %)."""
    rng = np.random.default_rng(21)
    exposure = np.linspace(0.7, 1.3, 96)
    alarms = 0
    for seed in range(250):
        failures = rng.poisson(mean * exposure)
        got = chart_signals(_chart(failures, exposure), resamples=199, seed=seed)
        alarms += bool((got.table["verdict"] == "more than chance").any())
    assert alarms <= stats.binom.ppf(0.999, 250, 0.10)
    assert alarms > 0


def test_a_month_out_of_line_is_named() -> None:
    failures = np.full(60, 5)
    failures[33] = 21
    got = chart_signals(_chart(failures, 5.0)).table.set_index("signal").loc["one month"]
    assert got["verdict"] == "more than chance"
    assert got["first"] == got["last"] == pd.Timestamp("2018-10-01")
    assert got["failures"] == 21


def test_a_long_run_is_named_with_its_ends() -> None:
    rng = np.random.default_rng(1)
    failures = rng.poisson(5, 96)
    failures[40:56] = 8
    failures[39] = failures[56] = 2
    got = chart_signals(_chart(failures, 5.0)).table.set_index("signal").loc["run above"]
    assert got["verdict"] == "more than chance"
    assert (got["first"], got["last"]) == (pd.Timestamp("2019-05-01"), pd.Timestamp("2020-08-01"))
    assert got["months"] == 16
    assert got["failures"] == 128
    assert got["expected"] < got["failures"]


def test_expectation_follows_exposure() -> None:
    """Twice the pumps, twice the failures: no run."""
    failures = np.r_[np.tile([3, 4, 5], 12), np.tile([6, 8, 10], 12)]
    exposure = np.r_[np.full(36, 1.0), np.full(36, 2.0)]
    same = chart_signals(_chart(failures, exposure)).table
    assert (same["verdict"] == "no evidence").all()
    ignored = chart_signals(_chart(failures, 1.0)).table
    assert (ignored["verdict"] == "more than chance").any()


@pytest.mark.parametrize("failures", [np.full(6, 5), np.zeros(60, dtype=int)])
def test_too_little_to_tell(failures: np.ndarray) -> None:
    got = chart_signals(_chart(failures, 5.0)).table
    assert (got["verdict"] == "cannot tell yet").all()
    assert got["message"].str.contains("fewer than").all()


def test_bad_input_is_refused_and_order_does_not_matter() -> None:
    with pytest.raises(InputError, match="resamples"):
        chart_signals(_chart(np.full(60, 5), 5.0), resamples=10)
    with pytest.raises(InputError, match="expected"):
        chart_signals(_chart(np.full(60, 5), -1.0))
    chart = _chart(np.random.default_rng(2).poisson(4, 48), 4.0)
    one, other = (chart_signals(c).table for c in (chart, chart.iloc[::-1]))
    pd.testing.assert_frame_equal(one, other)


def test_merrowfen_where_nothing_changed_shows_nothing(demo_study: Study) -> None:
    """Story S10."""
    monthly = demo_study.history.monthly.query("by == 'site' and group == 'Merrowfen'")
    got = chart_signals(monthly[["month", "failures", "expected"]])
    assert (got.table["verdict"] == "no evidence").all()
