"""Laws and levels with open readings: another program, plain formulas, known truth, words."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from leaksets import leaks

from seallife.errors import InputError
from seallife.leakage import censored_lognormal, levels_with_nondetects

INF = np.inf


def test_scipy_agrees_with_open_readings_of_every_kind() -> None:
    """scipy.stats.lognorm.fit on CensoredData: left, right and interval."""
    from scipy.stats import CensoredData, lognorm

    y = np.exp(np.random.default_rng(4).normal(1, 0.8, 40))
    low, high = np.where(y < 1.5, 0, y), np.maximum(y, 1.5)
    low, high = np.where(y > 8, 8, low), np.where(y > 8, INF, high)
    between = (y > 3) & (y < 4)
    low, high = np.where(between, 3, low), np.where(between, 4, high)
    exact = low == high
    data = CensoredData(
        uncensored=y[exact],
        left=high[low == 0],
        right=low[np.isinf(high)],
        interval=np.stack([low[between], high[between]], axis=1),
    )
    shape, _, scale = lognorm.fit(data, floc=0)
    got = censored_lognormal(low, high)["all"]
    assert got["n_exact"] == exact.sum() < 30
    assert got["sigma"] == pytest.approx(shape, rel=1e-3)
    assert got["median"] == pytest.approx(scale, rel=1e-3)
    # the simplex search of scipy stops early: ours lies no lower
    other = censored_likelihood(low, high, np.log(scale), shape)
    assert got["log_likelihood"] >= other
    own = censored_likelihood(low, high, got["mu"], got["sigma"])
    assert got["log_likelihood"] == pytest.approx(own, rel=1e-12)


def censored_likelihood(low: np.ndarray, high: np.ndarray, mu: float, sigma: float) -> float:
    from scipy.stats import lognorm

    law = lognorm(sigma, scale=np.exp(mu))
    exact = low == high
    inside = law.cdf(high[~exact]) - law.cdf(low[~exact])
    return float(law.logpdf(low[exact]).sum() + np.log(inside).sum())


def test_exact_readings_give_mean_and_root_mean_square() -> None:
    d = leaks(5, 9)
    y = np.log(d.value).reshape(5, 9)
    got = censored_lognormal(d.value, d.value, d.segment).table
    np.testing.assert_allclose(got["mu"], y.mean(axis=1), rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(got["sigma"], y.std(axis=1), rtol=1e-9)
    np.testing.assert_allclose(got["mu_se"], y.std(axis=1) / 3, rtol=1e-7)


def test_exact_readings_give_the_straight_line_of_least_squares() -> None:
    from scipy.stats import linregress

    d = leaks(4, 10, slope=0.01)
    got = censored_lognormal(d.value, d.value, d.segment, time=d.time, level=0.9)
    for k in range(4):
        rows = d.segment == k
        line = linregress(d.time[rows], np.log(d.value[rows]))
        assert got[k]["slope"] == pytest.approx(line.slope, rel=1e-8)
        assert got[k]["mu"] == pytest.approx(line.intercept, rel=1e-8)
        assert got[k]["slope_se"] * np.sqrt(10 / 8) == pytest.approx(line.stderr, rel=1e-7)
        assert got[k]["slope_high"] - line.slope == pytest.approx(1.8595480 * line.stderr, rel=1e-6)


@pytest.mark.parametrize("below", [0.0, 0.3, 0.5])
@pytest.mark.parametrize("n", [8, 30])
def test_slope_limits_cover_and_sigma_is_adjusted(n: int, below: float) -> None:
    d = leaks(3_000, n, slope=0.005, below=below)
    low = np.where(d.nondetect, 0, d.value)
    got = censored_lognormal(low, d.value, d.segment, time=d.time).table
    told = got["status"] == "ok"
    assert told.mean() > 0.95
    inside = (got["slope_low"] <= 0.005) & (got["slope_high"] >= 0.005)
    assert 0.88 <= inside[told].mean() <= 0.93
    known = got[told & (got["n_exact"] >= 3)]
    assert known["sigma_adjusted"].mean() == pytest.approx(1, abs=0.04)
    assert known["sigma"].mean() < 0.97


@given(st.integers(0, 10_000), st.floats(-1e4, 1e4), st.sampled_from([0.02, 7.0, 1e5]))
def test_order_day_and_unit(seed: int, day: float, unit: float) -> None:
    d = leaks(1, 12, slope=0.004, below=0.3, seed=seed)
    low = np.where(d.nondetect, 0, d.value)
    order = np.random.default_rng(seed).permutation(12)
    one = censored_lognormal(low, d.value, time=d.time)["all"]
    two = censored_lognormal(unit * low[order], unit * d.value[order], time=d.time[order] + day)[
        "all"
    ]
    assert two["status"] == one["status"] == "ok"
    for name in ("slope", "slope_se", "sigma", "sigma_se"):
        assert two[name] == pytest.approx(one[name], rel=1e-5, abs=1e-10)
    moved = one["mu"] + np.log(unit) - one["slope"] * day
    assert two["mu"] == pytest.approx(moved, rel=1e-5, abs=1e-5)
    jacobian = -(~d.nondetect).sum() * np.log(unit)
    assert two["log_likelihood"] == pytest.approx(one["log_likelihood"] + jacobian, rel=1e-7)


def test_words_for_what_has_no_law() -> None:
    got = censored_lognormal(
        [0, 0, 0, 0, 5, 0, 0, 0, 5, 5, 5, 5, 8, 8, 8, 8, 5, 0, 0, 0],
        [1, 1, 2, 1, 5, 9, 9, 9, 5, 5, 5, 5, INF, INF, INF, INF, 5, 1, 1, 2],
        ["nd"] * 4 + ["one"] * 4 + ["flat"] * 4 + ["top"] * 4 + ["some"] * 4,
    )
    status = dict(zip(got.table["segment"], got.table["status"], strict=True))
    assert status == {
        "nd": "not detected",
        "one": "few readings",
        "flat": "no spread",
        "top": "above scale",
        "some": "ok",  # one exact reading above three limits does fix a law
    }
    for name in ("nd", "one", "flat", "top"):
        assert np.isnan(got[name]["mu"])
        assert np.isnan(got[name]["log_likelihood"])
        assert got[name]["message"]


def test_a_line_through_all_readings_has_no_scatter() -> None:
    t = np.arange(5.0)
    y = np.exp(0.3 * t)
    got = censored_lognormal(y, y, time=t)["all"]
    assert (got["status"], np.isnan(got["sigma"])) == ("no spread", True)
    day = censored_lognormal([1, 2, 3, 5], [1, 2, 3, 5], time=[3, 3, 3, 3])["all"]
    assert (day["status"], np.isnan(day["slope"])) == ("one time", True)


def test_bad_readings() -> None:
    with pytest.raises(InputError, match="reading 1: is not above 0"):
        censored_lognormal([1, 0, 2], [1, 0, 2])
    with pytest.raises(InputError, match="level: is 95"):
        censored_lognormal([1, 2], [1, 2], level=95)
    with pytest.raises(InputError, match=r"value\[1\]: is not a number above 0"):
        levels_with_nondetects([1, 0], [0, 0])
    with pytest.raises(InputError, match=r"nondetect: has shape \(1,\)"):
        levels_with_nondetects([1, 2], [0])
    with pytest.raises(InputError, match=r"nondetect\[1\]: is neither yes nor no"):
        levels_with_nondetects([1, 2], [0, 3])
    with pytest.raises(InputError, match="value: has shape"):
        levels_with_nondetects([[1, 2]], [0, 0])


# --- levels ------------------------------------------------------------------------------------


def test_levels_of_exact_readings_are_plain() -> None:
    d = leaks(6, 8)
    y = d.value.reshape(6, 8)
    got = levels_with_nondetects(d.value, d.nondetect, d.segment).table
    for name in ("km_mean", "ros_mean"):
        np.testing.assert_allclose(got[name], y.mean(axis=1), rtol=1e-12)
    for name in ("km_median", "ros_median"):
        np.testing.assert_allclose(got[name], np.median(y, axis=1), rtol=1e-12)
    for name in ("km_sd", "ros_sd"):
        np.testing.assert_allclose(got[name], y.std(axis=1, ddof=1), rtol=1e-12)


def test_levels_keep_to_the_truth_with_half_below() -> None:
    """Mean of a lognormal of scatter 1: exp(1/2); regression on order statistics is nearer."""
    d = leaks(500, 40, below=0.5)
    got = levels_with_nondetects(d.value, d.nondetect, d.segment).table
    assert got["ros_mean"].mean() == pytest.approx(np.exp(0.5), rel=0.02)
    assert got["km_mean"].mean() > got["ros_mean"].mean()


def test_levels_do_not_depend_on_order_or_unit() -> None:
    d = leaks(1, 20, below=0.4)
    order = np.random.default_rng(0).permutation(20)
    one = levels_with_nondetects(d.value, d.nondetect)["all"]
    two = levels_with_nondetects(50 * d.value[order], d.nondetect[order])["all"]
    for name in ("km_mean", "km_sd", "km_median", "ros_mean", "ros_sd", "ros_median"):
        assert two[name] == pytest.approx(50 * one[name], rel=1e-10, nan_ok=True)


def test_levels_that_cannot_be_told() -> None:
    got = levels_with_nondetects([1, 2, 1, 2, 9], [1, 1, 1, 1, 0], ["a", "a", "a", "a", "b"])
    assert got["a"]["status"] == "not detected"
    assert got["b"]["status"] == "few readings"
    assert got.table.loc[0, "km_mean":"ros_median"].isna().all()
    assert (got["b"]["km_mean"], got["b"]["ros_mean"]) == (9, 9)
