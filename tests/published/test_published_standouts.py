"""Published and independently computed answers for units that stand out.

Values marked (a) were read in the source, (b) computed once with the program named, (c) are from
the literature by memory. Data and their carriers: SOURCES.md beside this file.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from seallife.history.funnel import funnel_limits
from seallife.history.heterogeneity import heterogeneity
from seallife.history.standouts import stand_out

HERE = Path(__file__).parent


def proschan() -> pd.DataFrame:
    """Failures and hours of 13 aircraft."""
    rows = pd.read_csv(HERE / "proschan_aircon.csv")
    return rows.groupby("plane", as_index=False).agg(n=("interval", "size"), h=("interval", "sum"))


def test_BM_05():
    """Chi-square limits at a count; (a) FunnelPlotR 0.6.0, tests of its Poisson limits."""
    counts = [15, 20, 30]
    low, high = funnel_limits(counts, 0.95, method="chi-square")
    np.testing.assert_allclose(low, [0.5596924, 0.6108260, 0.6746958], atol=5e-8)
    np.testing.assert_allclose(high, [1.649348, 1.544419, 1.427562], atol=5e-7)
    low, high = funnel_limits(counts, 0.998, method="chi-square")
    np.testing.assert_allclose(low, [0.3862650, 0.4479107, 0.5289724], atol=5e-8)
    np.testing.assert_allclose(high, [2.082907, 1.902094, 1.702771], atol=5e-7)


def test_BM_06():
    """Spiegelhalter 2005, appendix A.1.1: formula (c), values (b) scipy.

    A lower limit below 0 is reported as 0.
    """
    expected = [5, 10, 20, 50, 100]
    low, high = funnel_limits(expected, 0.95)
    np.testing.assert_allclose(low, [0.10841, 0.37752, 0.56025, 0.72243, 0.80366], atol=5e-6)
    np.testing.assert_allclose(high, [1.87531, 1.61600, 1.43729, 1.27661, 1.19581], atol=5e-6)
    low, high = funnel_limits(expected, 0.998)
    np.testing.assert_allclose(low, [0.0, 0.12205, 0.35846, 0.58246, 0.70065], atol=5e-6)
    np.testing.assert_allclose(high, [2.55427, 2.06620, 1.73568, 1.45503, 1.31805], atol=5e-6)


def test_BM_08():
    """Proschan 1963, 13 aircraft, one rate for all; values (b) R."""
    planes = proschan()
    assert (planes["n"].sum(), planes["h"].sum()) == (213, 19839)
    got = heterogeneity(planes["n"], planes["h"], label=planes["plane"])
    row = got.table.iloc[0]
    assert row["chi2"] == pytest.approx(23.04758073, abs=5e-9)
    assert row["freedom"] == 12
    assert row["p"] == pytest.approx(0.02732470208, rel=1e-9)
    assert row["verdict"] == "units differ"
    ratio = got.units.set_index("label")["ratio"]
    expected = {7912: 1.5627658569, 7914: 1.4524888120, 7917: 0.2990075283}
    for plane, value in expected.items():
        assert ratio[plane] == pytest.approx(value, abs=5e-11)


def test_aircraft_differ_yet_none_of_them_stands_out():
    """What the 13 aircraft allow to be said of each; no published answer.

    The test of all together is significant; of 13 looked at, no single one is out of line.
    """
    planes = proschan()
    got = stand_out(planes["n"], planes["h"], label=planes["plane"], unit="hours")
    assert got.differ.table["verdict"].tolist() == ["units differ"]
    assert got.table["verdict"].eq("no evidence").all()
    assert got.table["label"].iloc[[0, -1]].tolist() == [7912, 7915]


def test_ten_pumps():
    """Gaver & O'Muircheartaigh 1987: data and posterior mean rates by memory (c).

    The means are those of the gamma-Poisson model with vague priors in the literature on it
    (George, Makov & Smith 1993). Our prior is another one: the six pumps with five or more
    failures, which speak for themselves, agree within 10 %.
    """
    hours = [94.3, 15.7, 62.9, 126, 5.24, 31.4, 1.05, 1.05, 2.1, 10.5]
    failures = np.array([5, 1, 5, 14, 3, 19, 1, 1, 4, 22])
    known = np.array([0.060, 0.102, 0.089, 0.116, 0.60, 0.61, 0.90, 0.90, 1.59, 1.99])
    got = stand_out(failures, hours, label=np.arange(10), unit="thousand hours").table
    got = got.sort_values("label")
    rate = (got["again_expected"] / got["exposure"]).to_numpy()
    many = failures >= 5
    np.testing.assert_allclose(rate[many], known[many], rtol=0.10)
    raw = failures / np.array(hours)
    centre = failures.sum() / sum(hours)
    assert (np.sign(rate - raw) == np.sign(centre - raw))[raw > 0.5].all(), "drawn to the middle"
    assert got.set_index("label").loc[[9, 5], "verdict"].eq("worse than its class").all()
