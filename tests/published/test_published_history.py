"""Published and independently computed answers for `seallife.history`.

Each test is one check of a named source. Values marked (a) were read in the source, (b) computed
once with the program named, (c) are from memory, confirmed by (b) where that is said. Data and
their carriers: SOURCES.md beside this file. MTBR and MTBF have theirs in `tests/test_mtbr.py`.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from seallife import history

HERE = Path(__file__).parent


def data(name: str) -> pd.DataFrame:
    return pd.read_csv(HERE / f"{name}.csv")


def close(value, expected, relative):
    np.testing.assert_allclose(value, expected, rtol=relative, atol=0)


def exact(value, expected):
    np.testing.assert_allclose(value, expected, rtol=0, atol=1e-9)


# --- mean cumulative number of repairs ----------------------------------------------------------


def valve_seats():
    rows = data("valve_seat")
    ends = rows.groupby("id")["time"].max()
    repairs = rows[rows["status"] == 1]
    return history.mean_cumulative(
        repairs["time"], repairs["id"], np.zeros(len(ends)), ends, ends.index
    )


def test_MCF_01():
    """Nelson & Doganaksoy 1989, Nelson 1995: 41 engines, 48 valve seats.

    Data (a) R survival::valveSeat; values (b) R; the robust standard error equals survfit's.
    """
    got = valve_seats()
    assert (got["all"]["units"], got["all"]["events"]) == (41, 48)
    steps = got.curves.set_index("time")
    for time, at_risk, events, mean, robust, poisson in (
        (61, 41, 1, 0.02439024390, 0.02409096577, 0.02439024390),
        (98, 41, 1, 0.14634146341, 0.05519933711, 0.05974365226),
        (139, 41, 2, 0.21951219512, 0.07326981196, 0.07317073171),
        (404, 40, 1, 0.68353658537, 0.13593895726, 0.12917766036),
        (586, 34, 1, 1.01426413955, 0.17384432845, 0.15849113734),
        (646, 13, 1, 1.32046529133, 0.22850515495, 0.21065474999),
        (653, 9, 2, 1.54268751356, 0.31165607475, 0.26280559682),
    ):
        row = steps.loc[time]
        assert (row["at_risk"], row["events"]) == (at_risk, events)
        exact(row[["mean", "se", "se_poisson"]].astype(float), [mean, robust, poisson])


def test_MCF_01_milestones():
    """(b) R, from the same curve."""
    exact(
        valve_seats().at([200, 300, 400, 500])["mean"],
        [0.2682926829, 0.4634146341, 0.6585365854, 0.8085365854],
    )


def test_MCF_02():
    """Doganaksoy & Nelson 1998, Meeker & Escobar 1998 fig. 16.7: braking grids of 33 locomotives.

    (b) R 4.2.2, survival 3.5-3, survfit with id.
    """
    rows = data("braking_grids")
    repairs = rows[rows["status"] == 1]
    got = history.mean_cumulative(
        repairs["day2"], repairs["locomotive"], rows["day1"], rows["day2"], rows["locomotive"],
        group=rows["batch"],
    )  # fmt: skip
    assert got.table["units"].tolist() == [15, 18]
    assert got.table["events"].sum() == 50
    rows = got.at([200, 300, 400, 500, 600])
    one, two = (rows[rows["group"] == g] for g in (1, 2))
    exact(one["mean"], [0.1333333333, 0.3333333333, 0.6666666667, 1.266666667, 1.4])
    robust = [0.08777074515, 0.1217161239, 0.1539600718, 0.1755414903, 0.2270584849]
    exact(one["se"], robust)
    exact(two["mean"][:4], [0.7777777778, 1.2222222222, 1.4444444444, 1.4444444444])
    exact(two["se"][:3], [0.14814814815, 0.1851851852, 0.2111435972])
    assert two["at_risk"].iloc[3] == 2
    assert np.isnan(two["mean"].iloc[4]), "nobody is watched then"


# --- trend tests --------------------------------------------------------------------------------

NIST = "nist_repair_times"


def test_TR_01():
    """NIST e-Handbook 8.2.3.4: definitions (a), digits (b) R; that NIST prints R = 33 and
    chi2 37.23 is (c)."""
    got = history.trend_tests(data(NIST)["time"], 1500)["all"]
    exact(got["laplace"], -1.32694918265)
    exact(got["laplace_p"], 0.18452549337)
    exact(got["mil_hdbk"], 37.22808148348)
    assert got["mil_hdbk_df"] == 20
    exact(got["mil_hdbk_p"] / 2, 0.01098635712)
    assert (got["reversals"], got["pairs"]) == (33, 45)


def excavators():
    events, windows = data("excavator_seal_events"), data("excavator_windows")
    return events[events["day"] > 0], windows  # those of day 0 open the window


def test_TR_03():
    """Hodkiewicz & Ho 2016, orders on seals of excavators: data (a), selection and values (b)."""
    events, windows = excavators()
    got = history.trend_tests(
        events["day"], windows["days"], unit=events["machine"], end_unit=windows["machine"],
        group=windows["machine"],
    )  # fmt: skip
    for machine, n, days, laplace, chi2 in (
        ("B", 53, 1528, -2.81606, 114.26332),
        ("C", 13, 3453, -0.112549, 21.47669),
        ("D", 74, 3033, 1.567093, 120.21132),
    ):
        row = got[machine]
        assert (row["events"], row["exposure"]) == (n, days)
        np.testing.assert_allclose(
            row[["laplace", "mil_hdbk"]].tolist(), [laplace, chi2], atol=5e-6
        )
    assert got["B"]["mil_hdbk_df"] == 106
    np.testing.assert_allclose(got["D"]["mil_hdbk_p"] / 2, 0.04555, atol=5e-6)
    assert got["A"]["status"] == "no events"
    law = history.power_law(
        events["day"], windows["days"], unit=events["machine"], end_unit=windows["machine"],
        group=windows["machine"],
    )  # fmt: skip
    np.testing.assert_allclose(law["D"]["shape"], 1.231165, atol=5e-6)


def test_TR_03_mean_cumulative():
    """(b) at 1, 2 and 3 years, five machines at risk."""
    events, windows = excavators()
    got = history.mean_cumulative(
        events["day"], events["machine"], np.zeros(5), windows["days"], windows["machine"]
    ).at([365, 730, 1095])
    assert got["at_risk"].tolist() == [5, 5, 5]
    close(got["mean"], [3.2, 10.0, 15.8], 1e-14)


# --- power law ----------------------------------------------------------------------------------


def test_PL_01():
    """NIST e-Handbook 8.4.5.2 and its program: unbiased values and bounds (a); the rest (b) R."""
    times = data(NIST)["time"]
    got = history.power_law(times, 1500, level=0.95)["all"]
    close(1 - got["shape_unbiased"], 0.516494, 1e-6)
    close(got["shape_unbiased"], 0.483506, 1e-6)
    close(got["scale_unbiased"], 0.2913003, 5e-7)
    mtbf = 1500 / (10 * got["shape_unbiased"])
    close(mtbf, 310.234, 5e-7)
    close(history.handbook_mtbf_limits(mtbf, 10, level=0.80), [157.7138, 548.5566], 5e-7)
    close(got["shape"], 0.53722886603, 1e-9)
    close(got["scale"], 0.19665821571, 1e-9)
    close([got["shape_low"], got["shape_high"]], [0.2576221231, 0.9178449585], 1e-9)


def test_PL_02():
    """Crow 1975, AMSAA TR-138, Table 1: 0.615 and 0.461 printed; data (c), full digits (b)."""
    rows = data("crow1974_three_systems")
    assert rows.groupby("system").size().tolist() == [10, 15, 11]
    got = history.power_law(rows["time"], 200, unit=rows["system"])["all"]
    np.testing.assert_allclose(got["shape"], 0.615, atol=5e-4)
    np.testing.assert_allclose(got["scale"], 0.461, atol=5e-4)
    close(got["shape"], 0.6153362527, 1e-9)
    close(got["shape_alike"], 0.6153362527, 1e-9)
    close(got["scale"], 0.4605471204, 1e-9)
    close(got["shape_unbiased"], 0.598243579, 1e-9)
    close(got["scale_unbiased"], 0.5042023042, 1e-9)
    close(got["fit"], 0.06953089058, 1e-9)
    assert got["fit_p"] > 0.10  # Crow's table: 0.173 at 10 %, (c)


def test_PL_03():
    """Ascher & Feingold 1984, Meeker & Escobar 1998 ch. 16: a submarine diesel, 71 repairs.

    2.76 and 5.45 printed; first 36 times (a), the rest (c); digits (b) R.
    """
    times = data("halfbeak_repairs")["thousand_hours"]
    got = history.power_law(times, None, truncated_by="failure", level=0.95)["all"]
    assert (got["events"], got["end"]) == (71, 25.518)
    eta = got["scale"] ** (-1 / got["shape"])
    np.testing.assert_allclose([got["shape"], eta], [2.76, 5.45], atol=5e-3)
    close(got["shape"], 2.760339554, 1e-8)
    close(eta, 5.447325966, 1e-8)
    close(got["shape_unbiased"], 2.68258351, 1e-8)
    close([got["shape_low"], got["shape_high"]], [2.121512775, 3.394981121], 1e-8)
    tests = history.trend_tests(times, None, truncated_by="failure")["all"]
    close(tests["mil_hdbk"], 51.4429465, 1e-8)
    assert tests["mil_hdbk_df"] == 140
    close(tests["mil_hdbk_p"] / 2, 4.62e-13, 2e-3)
    close(tests["laplace"], 7.443086388, 1e-8)
    by_time = history.trend_tests(times, 25.518)["all"]
    close(by_time["laplace"], 7.596041025, 1e-8)


@pytest.mark.parametrize(("events", "critical"), [(20, 0.172), (60, 0.173)])
def test_cramer_von_mises_percent_points(events: int, critical: float):
    """Crow 1975 and MIL-HDBK-189 print 0.172 at 20 and 0.173 at 60 events for 10 %, (c): the share
    of simulated statistics above it."""
    from seallife.history.powerlawlimits import null_statistics

    above = (null_statistics(events, 20_000, 7) >= critical).mean()
    assert above == pytest.approx(0.10, abs=0.007)


def test_robust_error_with_late_entry_and_a_gap():
    """(b) `recurrence.R` beside this file: R 4.2.2, survival 3.5-3, survfit with id."""
    unit = [1, 1, 1, 2, 2, 3, 3, 3, 3, 4, 4]
    start = [0, 4, 9, 2, 7, 0, 3, 6, 12, 5, 8]
    end = [4, 9, 15, 7, 14, 3, 6, 10, 16, 8, 13]
    got = history.mean_cumulative([4, 9, 7, 3, 6, 8], [1, 1, 2, 3, 3, 4], start, end, unit)
    assert got.time.tolist() == [3, 4, 6, 7, 8, 9]
    assert got.at_risk.tolist() == [3, 3, 4, 4, 4, 4]
    mean = [0.333333333333, 0.666666666667, 0.916666666667, 1.166666666667, 1.416666666667]
    np.testing.assert_allclose(got.mean, [*mean, 1.666666666667], atol=1e-11)
    robust = [0.272165526976, 0.272165526976, 0.420124540618, 0.284637521277, 0.255721564438]
    np.testing.assert_allclose(got.se, [*robust, 0.272165526976], atol=1e-11)
