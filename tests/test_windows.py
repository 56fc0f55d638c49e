"""MTBR and MTBF over quarters, rolling years and three years."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from seallife.errors import InputError
from seallife.history.windows import windowed
from seallife.study import Study


def _monthly(months: int = 48, group: str = "all", gap: tuple[int, int] = (0, 0)) -> pd.DataFrame:
    month = pd.date_range("2020-01-01", periods=months, freq="MS")
    table = pd.DataFrame(
        {
            "by": "all",
            "group": group,
            "month": month,
            "exposure_years": 10.0,
            "exposure_h": 43_830.0,
            "expected": 2.0,
            "removals": 3,
            "failures": np.arange(months) % 3,
            "unknown": 0,
        }
    )
    table.loc[gap[0] : gap[1] - 1, ["exposure_years", "exposure_h"]] = 0.0
    return table


def test_quarters_end_with_quarters_and_add_up() -> None:
    got = windowed(_monthly(), 3, apart=True)
    assert len(got) == 16
    assert set(got["month"].dt.month) == {3, 6, 9, 12}
    assert (got["failures"] == 3).all()
    assert got["mtbf_years"].tolist() == pytest.approx([10.0] * 16)
    assert got["mtbf_run_years"].tolist() == pytest.approx([5.0] * 16)
    assert got["mtbr_years"].tolist() == pytest.approx([30 / 9] * 16)


def test_rolling_windows_of_three_years() -> None:
    got = windowed(_monthly(), 36)
    assert len(got) == 13
    assert (got["failures"] == 36).all()


def test_twelve_months_are_those_of_the_history(demo_study: Study) -> None:
    history = demo_study.history
    got = windowed(history.monthly, 12).set_index(["by", "group", "month"])
    want = history.rolling.set_index(["by", "group", "month"])
    assert set(want.index) <= set(got.index)
    for column in ("mtbf_years", "mtbf_years_low", "mtbr_years_high", "exposure_years"):
        np.testing.assert_allclose(got.loc[want.index, column], want[column], rtol=1e-9)


@pytest.mark.parametrize("day", ["2021-07-01", "2021-07-15"])
def test_no_window_reaches_across_a_break(day: str) -> None:
    broken = pd.Timestamp(day)
    got = windowed(_monthly(), 12, breaks=[broken])
    begin = got["month"] - pd.DateOffset(months=11)
    end = got["month"] + pd.offsets.MonthEnd(0)
    assert not ((begin < broken) & (end >= broken)).any()
    assert len(got) == 7 + (19 if day.endswith("01") else 18)


def test_no_window_reaches_across_a_gap_or_a_missing_month() -> None:
    gap = windowed(_monthly(gap=(20, 22)), 12)
    assert not gap["month"].between("2021-09-01", "2022-09-01").any()
    missing = windowed(_monthly().drop(index=[20]), 12)
    assert not missing["month"].between("2021-09-01", "2022-08-01").any()


def test_groups_stay_apart_and_order_does_not_matter() -> None:
    both = pd.concat([_monthly(24, "A"), _monthly(24, "B")], ignore_index=True)
    got = windowed(both.sample(frac=1, random_state=2), 12)
    assert got.groupby("group").size().tolist() == [13, 13]


def test_lengths_that_make_no_sense_are_refused() -> None:
    with pytest.raises(InputError, match="months"):
        windowed(_monthly(), 0)
    with pytest.raises(InputError, match="parts no year evenly"):
        windowed(_monthly(), 5, apart=True)
