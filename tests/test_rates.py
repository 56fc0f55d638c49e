"""Exact limits of a share; counts expected of an even rate."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from seallife.history import expected_counts, share_limits


@pytest.mark.parametrize(("k", "n"), [(0, 10), (1, 10), (5, 10), (10, 10)])
def test_limits_of_a_share_are_clopper_pearson(k: int, n: int) -> None:
    low, high = share_limits([k], [n], 0.90)
    exact = stats.binomtest(k, n).proportion_ci(0.90, method="exact")
    assert (low[0], high[0]) == pytest.approx((exact.low, exact.high), abs=1e-9)


def _months(exposure: list[float], failures: list[int]) -> pd.DataFrame:
    months = pd.date_range("2020-01-01", periods=len(exposure), freq="MS")
    return pd.DataFrame({"month": months, "exposure_years": exposure, "failures": failures})


def test_expectation_is_exposure_times_the_rate_of_the_whole() -> None:
    table = expected_counts(_months([10, 20, 0, 10], [1, 5, 0, 2]))
    assert table["expected"].tolist() == pytest.approx([2, 4, 2])
    assert len(table) == 3, "a month without time at risk says nothing"


@pytest.mark.parametrize("mean", [0.03, 0.4, 1.0, 3.7, 7.5, 40.0])
@pytest.mark.parametrize("level", [0.8, 0.9, 0.95])
def test_limits_of_a_month_are_poisson_quantiles(mean: float, level: float) -> None:
    failures = round(100 * mean)
    table = expected_counts(_months([1.0] * 100, [failures] + [0] * 99), level)
    law = stats.poisson(failures / 100)
    assert table["low"].iloc[0] == law.ppf((1 - level) / 2)
    assert table["high"].iloc[0] == law.ppf((1 + level) / 2)


def test_without_failures_nothing_is_outside() -> None:
    table = expected_counts(_months([5, 5], [0, 0]))
    assert not table["outside"].any()


def test_at_least_the_level_of_months_lies_inside_by_chance() -> None:
    counts = np.random.default_rng(20_260_101).poisson(6.0, 1_000)
    table = expected_counts(_months([1.0] * 1_000, counts.tolist()), 0.90)
    assert 0.90 <= 1 - table["outside"].mean() <= 0.97
