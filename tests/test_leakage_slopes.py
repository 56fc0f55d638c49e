"""Slopes of many segments: another program, the search they save, coverage, properties, words."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from leaksets import leaks

from seallife.errors import InputError
from seallife.leakage import mann_kendall, theil_sen
from seallife.leakage.middle import middle

INF = np.inf


@pytest.mark.parametrize("n", [4, 5, 9, 24])
def test_scipy_theilslopes_agrees(n: int) -> None:
    from scipy.stats import theilslopes

    rng = np.random.default_rng(n)
    t, y = np.sort(rng.choice(90, n)).astype(float), np.round(rng.normal(size=n), 1)
    got = theil_sen(t, y, y, level=0.9, ranks="nearest")["all"]
    other = theilslopes(y, t, 0.9)
    assert got["slope"] == pytest.approx(other.slope, abs=1e-12)
    assert got["intercept"] == pytest.approx(other.intercept, abs=1e-12)
    if n > 5:
        assert got["low"] == pytest.approx(other.low_slope, abs=1e-12)
        assert got["high"] == pytest.approx(other.high_slope, abs=1e-12)


@given(st.integers(0, 10_000), st.integers(4, 14))
def test_s_of_the_residuals_changes_sign_at_the_slope(seed: int, n: int) -> None:
    """What a search for the slope would look for, found without one."""
    rng = np.random.default_rng(seed)
    t, y = np.sort(rng.choice(60, n, replace=False)).astype(float), rng.normal(size=n)
    low, high = np.where(y < -0.4, -INF, y), np.maximum(y, -0.4)
    high = np.where(y > 1.2, INF, high)
    low = np.where(y > 1.2, 1.2, low)
    b = theil_sen(t, low, high)["all"]["slope"]
    if np.isnan(b):
        return

    def s(slope: float) -> int:
        return int(mann_kendall(t, low - slope * t, high - slope * t)["all"]["s"])

    step = 1e-7 * (1 + abs(b))
    assert s(b - step) >= 0 >= s(b + step)


@pytest.mark.parametrize("below", [0.0, 0.3])
@pytest.mark.parametrize("n", [8, 15, 30])
@pytest.mark.parametrize("slope", [0.0, 0.01])
def test_limits_cover(n: int, below: float, slope: float) -> None:
    """88 to 92 % at 90 %; 8 exact readings give 92.5 by Gilbert's limits."""
    d = leaks(2_000, n, slope=slope, below=below)
    got = theil_sen(d.time, *d.log_bounds, d.segment, level=0.90).table
    told = got["slope"].notna()
    assert told.mean() > 0.9
    covered = ((got["low"] <= slope) & (got["high"] >= slope))[told].mean()
    assert 0.88 <= covered <= (0.935 if n == 8 else 0.92)


def test_slope_is_on_the_truth_in_the_middle() -> None:
    d = leaks(2_000, 15, slope=0.01, below=0.3)
    got = theil_sen(d.time, *d.log_bounds, d.segment).table["slope"]
    assert got.median() == pytest.approx(0.01, abs=2e-4)
    # what putting the limit in the place of the value would give
    y = np.log(d.value)
    assert theil_sen(d.time, y, y, d.segment).table["slope"].median() < 0.009


@given(st.integers(0, 10_000), st.floats(-1e4, 1e4), st.sampled_from([0.5, 4.0, 1e3]))
def test_order_day_and_unit(seed: int, day: float, unit: float) -> None:
    rng = np.random.default_rng(seed)
    n = 11
    t, y = np.round(rng.uniform(0, 300, n)), rng.normal(size=n)
    low, high = np.where(y < -0.4, -INF, y), np.maximum(y, -0.4)
    order, shift = rng.permutation(n), np.round(day)
    one = theil_sen(t, low, high)["all"]
    two = theil_sen((t + shift)[order], (unit * low)[order], (unit * high)[order])["all"]
    assert two["status"] == one["status"]
    for name in ("slope", "low", "high"):
        assert two[name] == pytest.approx(unit * one[name], rel=1e-9, nan_ok=True)
    level = one["intercept"] - one["slope"] * shift
    assert two["intercept"] == pytest.approx(unit * level, rel=1e-9, abs=1e-7, nan_ok=True)


def test_a_line_moves_the_slope_by_its_own() -> None:
    d = leaks(30, 12)
    y = np.log(d.value)
    one = theil_sen(d.time, y, y, d.segment).table
    two = theil_sen(d.time, y + 0.02 * d.time, y + 0.02 * d.time, d.segment).table
    np.testing.assert_allclose(two["slope"] - one["slope"], 0.02, rtol=1e-9)
    np.testing.assert_allclose(two["low"] - one["low"], 0.02, rtol=1e-9)


def test_words_for_what_cannot_be_told() -> None:
    t = np.arange(6.0)
    cases = {
        "not detected": ([-INF] * 6, [1.0] * 6),
        "above scale": ([9.0] * 6, [INF] * 6),
        "no spread": ([4.0] * 6, [4.0] * 6),
        "slope open": ([-INF] * 5 + [3.0], [1.0] * 5 + [3.0]),
        "level open": ([3.0, *[-INF] * 4, 3.5], [3.0, *[1.0] * 4, 3.5]),
    }
    for word, (low, high) in cases.items():
        got = theil_sen(t, low, high)["all"]
        assert got["status"] == word
        assert got["message"]
        assert np.isnan(got["slope"]) == (word in ("not detected", "above scale", "slope open"))
    assert theil_sen(t, [4.0] * 6, [4.0] * 6)["all"]["slope"] == 0
    day = theil_sen([2, 2, 2, 2], [1, 2, 3, 4], [1, 2, 3, 4])["all"]
    assert (day["status"], np.isnan(day["slope"])) == ("one time", True)
    three = theil_sen([0, 1, 2], [1, 2, 4], [1, 2, 4])["all"]
    assert (three["status"], three["low"], three["high"]) == ("few readings", -INF, INF)
    assert three["slope"] == 1.5
    assert theil_sen([0], [1], [1])["all"]["status"] == "few readings"
    assert theil_sen([], [], [])["all"]["status"] == "no readings"


def test_bad_options() -> None:
    y = [1.0, 2.0, 3.0]
    with pytest.raises(InputError, match="level: is 90"):
        theil_sen(y, y, y, level=90)
    with pytest.raises(InputError, match="ranks: is 'x'"):
        theil_sen(y, y, y, ranks="x")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="inflation: is less than 1"):
        theil_sen(y, y, y, inflation=0.0)


def test_wider_variance_widens_limits() -> None:
    d = leaks(40, 15, below=0.3)
    one, two = (theil_sen(d.time, *d.log_bounds, d.segment, inflation=f).table for f in (1.0, 2.5))
    assert (two["low"] <= one["low"]).all()
    assert (two["high"] >= one["high"]).all()
    assert (two["slope"] == one["slope"]).all()


# --- medians -----------------------------------------------------------------------------------


def test_median_of_exact_values_is_the_median() -> None:
    y = np.random.default_rng(1).normal(size=(20, 8))
    np.testing.assert_allclose(middle(y, y), np.median(y, axis=1), rtol=1e-12)


def test_median_open_upwards_is_that_open_downwards_turned() -> None:
    y = np.random.default_rng(2).normal(size=(30, 9))
    low, high = np.where(y < -0.3, -INF, y), np.maximum(y, -0.3)
    np.testing.assert_allclose(middle(-high, -low), -middle(low, high), rtol=1e-12)


def test_median_open_on_both_sides_keeps_to_the_order() -> None:
    """One limit below and one scale end above: the order says which value is in the middle."""
    y = np.random.default_rng(3).normal(size=(30, 9))
    low, high = np.where(y < -0.5, -INF, y), np.maximum(y, -0.5)
    low, high = np.where(y > 0.9, 0.9, low), np.where(y > 0.9, INF, high)
    truth = np.median(y, axis=1)
    told = (truth >= -0.5) & (truth <= 0.9)
    np.testing.assert_allclose(middle(low, high)[told], truth[told], rtol=1e-12)
    assert np.isnan(middle(low, high)[~told]).all()
    assert 0 < told.sum() < 30
