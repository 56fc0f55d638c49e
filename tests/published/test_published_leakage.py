"""Published and independently computed answers for `seallife.leakage`.

Each test is one check of a named source. Values marked (a) were read in the source, (b) computed
once with the program named, (c) are from the literature by memory and were confirmed by (b).
Data and their carriers: SOURCES.md beside this file.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from seallife.leakage import (
    censored_lognormal,
    levels_with_nondetects,
    mann_kendall,
    theil_sen,
)
from seallife.leakage.middle import middle

HERE = Path(__file__).parent


def data(name: str) -> pd.DataFrame:
    return pd.read_csv(HERE / f"{name}.csv")


def iron():
    d = data("dfe_dissolved_iron_trend")
    high = d["Summer"].to_numpy(float)
    return d["Year"].to_numpy(float), np.where(d["SummerCen"] == 1, -np.inf, high), high


# --- Mann-Kendall ------------------------------------------------------------------------------


def test_LK_01():
    """Gilbert 1987, sec. 16.4.1; data and printed 0.167 (c)."""
    y = [10, 15, 14, 20]
    got = mann_kendall([1, 2, 3, 4], y, y)["all"]
    assert (got["s"], got["exact"]) == (4, True)
    assert got["p_rising"] == pytest.approx(4 / 24, rel=1e-14)
    assert got["variance"] == pytest.approx(8.666667, abs=5e-7)
    assert got["z"] == pytest.approx(1.0190493307, abs=1e-9)


def ranks_with(n: int, s: int) -> np.ndarray:
    """An order of 1 to n with that S: each rank put in so many places back, 2 of S a place."""
    order: list[int] = []
    left = (n * (n - 1) // 2 - s) // 2
    for k in range(1, n + 1):
        back = min(left, k - 1)
        order.insert(len(order) - back, k)
        left -= back
    return np.array(order, float)


@pytest.mark.parametrize(
    ("s", "n", "p", "printed"),
    [
        (8, 5, 0.041667, 0.042),
        (11, 6, 0.027778, 0.028),
        (13, 7, 0.034524, 0.035),
        (16, 8, 0.030506, 0.031),
        (21, 10, 0.036275, 0.036),
        (23, 10, 0.023311, 0.023),
    ],
)
def test_LK_02(s, n, p, printed):
    """Gilbert 1987, Table A18; Kendall 1975; exact counts (b), printed (c)."""
    y = ranks_with(n, s)
    got = mann_kendall(np.arange(n), y, y)["all"]
    assert got["s"] == s
    assert got["p_rising"] == pytest.approx(p, abs=5e-7)
    assert got["p_rising"] == pytest.approx(printed, abs=5.1e-4)


def test_LK_04():
    """Nile 1871-1970; (b) pymannkendall 1.4.3, scipy 1.17.1 theilslopes."""
    d = data("nile")
    got = mann_kendall(d["year"], d["volume"], d["volume"])["all"]
    assert got["s"] == -1387
    assert got["variance"] == pytest.approx(112728.3333, abs=5e-5)
    assert got["z"] == pytest.approx(-4.1280665228, abs=1e-9)
    assert got["p"] == pytest.approx(3.658262922e-05, abs=1e-13)
    line = theil_sen(d["year"], d["volume"], d["volume"], level=0.95, ranks="nearest")["all"]
    assert line["slope"] == pytest.approx(-2.6, abs=1e-9)
    assert line["low"] == pytest.approx(-3.6279069767, abs=1e-9)
    assert line["high"] == pytest.approx(-1.4285714286, abs=1e-9)


def test_LK_05():
    """The first 30 of these years; (b) pymannkendall, scipy."""
    d = data("nile").head(30)
    got = mann_kendall(d["year"], d["volume"], d["volume"])["all"]
    assert (got["s"], got["variance"]) == (-31, pytest.approx(3135, abs=1e-9))
    assert got["z"] == pytest.approx(-0.5357997198, abs=1e-9)
    assert got["p"] == pytest.approx(0.5920969759, abs=1e-9)
    for level, low, high in (
        (0.95, -9.4705882353, 4.4444444444),
        (0.90, -7.2727272727, 3.75),
    ):
        line = theil_sen(d["year"], d["volume"], d["volume"], level=level, ranks="nearest")["all"]
        assert line["slope"] == pytest.approx(-1.1111111111, abs=1e-9)
        assert (line["low"], line["high"]) == pytest.approx((low, high), abs=1e-9)


# --- Theil-Sen ---------------------------------------------------------------------------------


def test_TS_01():
    """Gilbert 1987, examples 16.3 and 16.4; data and printed limits (c), values (b) Python."""
    t, y = [1, 1, 1, 2, 3, 3, 4, 5], [10, 22, 21, 30, 22, 30, 40, 40]
    test, line = mann_kendall(t, y, y)["all"], theil_sen(t, y, y, level=0.90)["all"]
    assert test["s"] == 19
    assert test["variance"] == pytest.approx(58.095, abs=5e-4)
    assert 1.6448536 * np.sqrt(test["variance"]) == pytest.approx(12.537, abs=5e-4)
    assert line["slope"] == pytest.approx(5.5, abs=1e-12)
    assert (line["low"], line["high"]) == pytest.approx((2.5724, 9.2686), abs=1e-4)
    assert (line["low"], line["high"]) == pytest.approx((2.6, 9.3), abs=5e-2)


def test_TS_02():
    """Meeker & Escobar 1998, Table C.17, threshold 10 %; values (b) Python."""
    d = data("gaas_laser_degradation")
    line = theil_sen(d["hours"], d["pct_increase"], d["pct_increase"], d["unit"])
    for unit, reached in ((1, 3670.0536), (6, 3641.3696), (10, 3241.3617)):
        row = line[unit]
        assert (10 - row["intercept"]) / row["slope"] == pytest.approx(reached, abs=5e-5)
    assert line[1]["slope"] == pytest.approx(0.0027065, abs=5e-8)
    assert line[1]["intercept"] == pytest.approx(0.067, abs=1e-6)
    one = d[d["unit"] == 1]
    test = mann_kendall(one["hours"], one["pct_increase"], one["pct_increase"])["all"]
    assert (test["n"], test["s"]) == (17, 136)
    assert test["variance"] == pytest.approx(589.3333, abs=5e-5)
    assert test["z"] == pytest.approx(5.5610047, abs=5e-8)


# --- readings below detection ------------------------------------------------------------------


def test_CN_01():
    """Helsel 2005, Oahu; (b) R NADA 1.6-1.1 and survreg of type left, printed (c)."""
    d = data("oahu_arsenic_nondetects")
    low = np.where(d["nondetect"] == 1, 0.0, d["conc"])
    fit = censored_lognormal(low, d["conc"])["all"]
    expected = {
        "mu": -0.2528290104,
        "sigma": 0.6269484572,
        "log_likelihood": -14.29523803,
        "mean": 0.9452585166,
        "sd": 0.6559261492,
        "median": 0.7766006611,
    }
    for name, value in expected.items():
        assert fit[name] == pytest.approx(value, abs=1e-6), name
    got = levels_with_nondetects(d["conc"], d["nondetect"])["all"]
    assert got["km_mean"] == pytest.approx(0.9489583333, abs=1e-9)
    assert got["km_sd"] == pytest.approx(0.8068068218, abs=1e-6)
    assert got["km_median"] == pytest.approx(0.70, abs=1e-12)
    assert got["ros_mean"] == pytest.approx(0.9724632417, abs=1e-6)
    assert got["ros_sd"] == pytest.approx(0.7180122488, abs=1e-6)
    printed = [fit["mean"], fit["sd"], got["km_mean"], got["km_sd"], got["ros_mean"], got["ros_sd"]]
    assert printed == pytest.approx([0.945, 0.656, 0.949, 0.807, 0.972, 0.718], abs=5e-4)


def test_CN_02_test():
    """Helsel 2005, iron in summer; (b) R NADA::cenken."""
    year, low, high = iron()
    got = mann_kendall(year, low, high, variance="pairs")["all"]
    assert got["s"] == -13
    assert got["tau"] == pytest.approx(-0.3611111111, abs=1e-10)
    assert got["p"] == pytest.approx(0.1315867603, abs=1e-9)
    own = mann_kendall(year, low, high)["all"]
    assert own["s"] == -13
    # what comes of putting the limits in the place of the values
    assert mann_kendall(year, high, high)["all"]["s"] == -27
    assert own["p"] > 10 * 0.00358


def test_CN_02_slope():
    """(b) R NADA::cenken: slope -2.572113, intercept 5103.5002.

    S of the residuals is 0 at any slope from -2.6 to -2.5; the program gives the place where its
    search came to rest on that flat, we its middle.
    """
    year, low, high = iron()

    def s(b):
        return mann_kendall(year, low - b * year, high - b * year)["all"]["s"]

    got = theil_sen(year, low, high)["all"]
    assert got["slope"] == pytest.approx(-2.55, abs=1e-12)
    assert [s(b) for b in (-2.572113, -2.599, -2.501, got["slope"])] == [0, 0, 0, 0]
    assert [s(-2.601) > 0, s(-2.499) < 0] == [True, True]
    line = -2.572113 * year
    level = middle((low - line)[None], (high - line)[None])[0]
    assert level == pytest.approx(5103.5002, abs=5e-4)


def test_CN_02_regression():
    """(b) R survreg, left-censored lognormal on year."""
    year, low, high = iron()
    fit = censored_lognormal(np.maximum(low, 0), high, time=year)["all"]
    assert fit["slope"] == pytest.approx(-0.2553331, abs=1e-6)
    assert fit["slope_se"] == pytest.approx(0.0536859, abs=1e-6)
    assert fit["sigma"] == pytest.approx(0.326994, abs=1e-6)
