"""Published and independently computed answers for `seallife.life`.

Each test is one check of a named source. Values marked (a) were read in the source, (b) computed
once with the program named, (c) are from the literature by memory and were confirmed by (b).
Data and their carriers: SOURCES.md beside this file.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from seallife import life

HERE = Path(__file__).parent


def data(name: str) -> pd.DataFrame:
    return pd.read_csv(HERE / f"{name}.csv")


def channing(gender: int) -> pd.DataFrame:
    """Four records with ageentry >= age were never under observation."""
    table = data("channing")
    return table[(table["gender"] == gender) & (table["ageentry"] < table["age"])]


def close(value, expected, relative):
    np.testing.assert_allclose(value, expected, rtol=relative, atol=0)


# --- life tables -------------------------------------------------------------------------------


def test_LT_01():
    """Klein & Moeschberger 1997, sec. 5.4; numbers (b) R KMsurv::lifetab 0.1-5."""
    d = data("km_weaning_lifetable")
    t = life.actuarial_table(d["lower"], d["events"], d["lost"], entering=927)
    at_risk = [926, 846.5, 771, 644.5, 561.5, 446.5, 294.5, 186, 112, 27]
    assert t["at_risk"].tolist() == at_risk
    s = [1.0, 0.9168, 0.8399, 0.7103, 0.6276, 0.5058, 0.3381, 0.2153, 0.1296, 0.0313]
    np.testing.assert_allclose(t["survival"], s, atol=5e-5)
    se = [0.0091, 0.0121, 0.0149, 0.0160, 0.0166, 0.0158, 0.0138, 0.0114, 0.0059]
    np.testing.assert_allclose(t["survival_se"][1:], se, atol=5e-5)
    hazard = [0.0434, 0.0875, 0.0836, 0.0618, 0.0537, 0.0662, 0.0555, 0.0414, 0.0764]
    np.testing.assert_allclose(t["hazard"][:-1], hazard, atol=5e-5)
    hazard_se = [0.0049, 0.0104, 0.0076, 0.0071, 0.0051, 0.0053, 0.0052, 0.0047, 0.0066]
    np.testing.assert_allclose(t["hazard_se"][:-1], hazard_se, atol=5e-5)
    close(t["survival"].iloc[-1], 0.03125172944, 1e-9)
    close(t["hazard"].iloc[0], 0.04338028169, 1e-9)
    assert np.isnan(t["hazard"].iloc[-1])


def test_LT_02():
    """Meeker & Escobar 1998, ch. 3; plant 1 (a) authors' slides, pooled (b) R 4.2.2."""
    t = life.grouped_survival([300, 197, 97], [4, 5, 2], level=0.95)
    np.testing.assert_allclose(t["share"], [0.0133333, 0.0253807, 0.0206186], atol=1e-7)
    np.testing.assert_allclose(t["failed"], [0.01333333, 0.03837563, 0.05820294], atol=1e-7)
    np.testing.assert_allclose(t["se"], [0.006622073, 0.012802115, 0.018700630], atol=1e-7)
    np.testing.assert_allclose(t["low"], [0.00501324, 0.01981818, 0.03069413], atol=1e-7)
    np.testing.assert_allclose(t["high"], [0.03497624, 0.07301558, 0.10762831], atol=1e-7)
    one = life.grouped_survival([100, 99, 97], [1, 2, 2])
    np.testing.assert_allclose(one["failed"], [0.01, 0.03, 0.05], rtol=1e-14)


def test_LT_02_risk_sets_follow_from_the_data():
    """The risk sets 300, 197, 97 and failures 4, 5, 2 of the pooled plants, from the raw rows."""
    d = data("heat_exchanger_interval")
    failed = d[d["upper"].notna()]
    deaths = failed.groupby("lower")["count"].sum()
    assert deaths.tolist() == [4, 5, 2]
    left = d[d["upper"].isna()].groupby("lower")["count"].sum()
    n = d["count"].sum()
    assert [n, n - 4 - left[1], n - 9 - left[1] - left[2]] == [300, 197, 97]


def test_LT_04():
    """Channing House women, KMsurv::channing; (b) survival::survSplit, R 4.2.2."""
    d = channing(2)
    assert len(d) == 362
    edges = 720 + 60 * np.arange(10)
    t = life.exposure_table(d["age"], d["death"], edges, entry_age=d["ageentry"])
    assert t["exposure"].tolist() == [190, 1664, 6094, 9371, 8016, 3246, 1018, 363, 7]
    assert t["failures"].tolist() == [0, 4, 8, 24, 48, 28, 12, 6, 0]
    rates = [0, 0.002403846, 0.001312767, 0.002561093, 0.005988024, 0.008626001, 0.011787819]
    np.testing.assert_allclose(t["rate"], [*rates, 0.016528926, 0], atol=1e-9)


# --- Kaplan-Meier ------------------------------------------------------------------------------


def test_KM_01():
    """NIST e-Handbook 8.2.1.5: products (a), decimals and standard errors (b) R survfit."""
    d = data("nist_km_example")
    c = life.kaplan_meier(d["time"], d["status"]).curves
    assert c["age"].tolist() == [10, 32, 56, 98, 122, 181]
    exact = Fraction(1)
    for row, (top, bottom) in zip(
        c["survival"],
        [(19, 20), (18, 19), (16, 17), (15, 16), (13, 14), (10, 11)],
        strict=True,
    ):
        exact *= Fraction(top, bottom)
        close(row, float(exact), 1e-14)
    expected = [0.95, 0.90, 0.847059, 0.794118, 0.737395, 0.670359]
    np.testing.assert_allclose(c["survival"], expected, atol=1e-6)
    se = [0.048734, 0.067082, 0.0813883, 0.0919213, 0.1013568, 0.1121407]
    np.testing.assert_allclose(c["se"], se, atol=1e-6)


def test_KM_02():
    """Nelson 1982, diesel generator fans; (b) R survfit 3.5-3."""
    d = data("generator_fan")
    assert (len(d), d["status"].sum(), d["hours"].sum()) == (70, 12, 344440)
    ages = [450, 1150, 2070, 3100, 4600, 8750]
    log = life.kaplan_meier(d["hours"], d["status"], level=0.95, limits="log").at(ages)
    loglog = life.kaplan_meier(d["hours"], d["status"], level=0.95).at(ages)
    s = [0.9857142857, 0.9567226891, 0.9077491920, 0.8716724477, 0.8272342445, 0.7070378158]
    np.testing.assert_allclose(log["survival"], s, atol=1e-9)
    se = [0.0141833, 0.0244418, 0.0360728, 0.0427434, 0.0509999, 0.0980420]
    np.testing.assert_allclose(log["se"], se, atol=1e-6)
    pick = [0, 1, 2, 4, 5]
    low = [0.958304, 0.909997, 0.839731, 0.733079, 0.538778]
    np.testing.assert_allclose(log["low"][pick], low, atol=1e-6)
    high = [1, 1, 0.981277, 0.933482, 0.927845]
    np.testing.assert_allclose(log["high"][pick], high, atol=1e-6)
    low = [0.9028955508, 0.8717943219, 0.8053949421, 0.6986167357, 0.4680115613]
    np.testing.assert_allclose(loglog["low"][pick], low, atol=1e-9)
    high = [0.9979752390, 0.9858352206, 0.9576388413, 0.9045639412, 0.8536053000]
    np.testing.assert_allclose(loglog["high"][pick], high, atol=1e-9)
    last = life.kaplan_meier(d["hours"], d["status"]).curves.iloc[-1]
    np.testing.assert_allclose(last["cum_hazard"], 0.33679688751, atol=1e-9)
    np.testing.assert_allclose(last["cum_hazard_se"], 0.13238954309, atol=1e-9)


def test_KM_04():
    """survival::lung; (b) R survfit and survdiff 3.5-3."""
    d = data("lung")
    failed = d["status"] == 2
    k = life.kaplan_meier(d["time"], failed, level=0.95, limits="log")
    row = k["all"]
    assert (row["n"], row["failures"]) == (228, 165)
    assert row[["median", "median_low", "median_high"]].tolist() == [310, 285, 363]
    at = k.at([180, 365])
    close(at["survival"], [0.7216706534, 0.4092416245], 1e-5)
    close(at["se"][1], 0.03582363817, 1e-5)
    close(at.loc[1, ["low", "high"]].tolist(), [0.34472158, 0.48583760], 1e-5)
    loglog = life.kaplan_meier(d["time"], failed, level=0.95).at([365])
    close(loglog.loc[0, ["low", "high"]].tolist(), [0.33871426909, 0.4783807676], 1e-5)
    mean = k.restricted_mean(1000).iloc[0]
    close([mean["mean"], mean["se"]], [375.167, 19.4389], 1e-5)
    by = life.kaplan_meier(d["time"], failed, group=d["sex"], level=0.95, limits="log")
    assert by[1][["median", "median_low", "median_high"]].tolist() == [270, 212, 310]
    assert by[2][["median", "median_low", "median_high"]].tolist() == [426, 348, 550]
    test = life.log_rank(d["time"], failed, d["sex"])
    assert test.table["observed"].tolist() == [112, 53]
    close(test.table["expected"], [91.5817, 73.4183], 1e-5)
    close(test.chi2, 10.3267, 1e-5)
    assert test.df == 1
    np.testing.assert_allclose(test.p, 0.001311, atol=5e-7)


def test_KM_05():
    """6-MP leukaemia (Freireich 1963); (b) R survfit; books print three decimals (c)."""
    d = data("gehan_leukaemia")
    k = life.kaplan_meier(d["time"], d["cens"], group=d["treat"])
    at = k.at([6, 7, 10, 13, 16, 22, 23])
    at = at[at["group"] == "6-MP"]
    s = [0.857143, 0.806723, 0.752941, 0.690196, 0.627451, 0.537815, 0.448179]
    np.testing.assert_allclose(at["survival"], s, atol=5e-7)
    se = [0.0763604, 0.0869353, 0.0963497, 0.1068147, 0.1140539, 0.1282338, 0.1345915]
    np.testing.assert_allclose(at["se"], se, atol=5e-7)
    test = life.log_rank(d["time"], d["cens"], d["treat"])
    assert test.table["observed"].tolist() == [9, 21]
    np.testing.assert_allclose(test.table["expected"], [19.2505, 10.7495], atol=5e-5)
    np.testing.assert_allclose(test.chi2, 16.7929, atol=5e-5)


def test_KM_06_women():
    """Channing House; Klein & Moeschberger 1997, sec. 4.6; (b) R survfit."""
    d = channing(2)
    k = life.kaplan_meier(d["age"], d["death"], entry_age=d["ageentry"])
    at = k.at([850, 900, 950, 1000, 1050, 1100])
    s = [0.8766923357, 0.8237460370, 0.7144342878, 0.5739983950, 0.3652173916, 0.2021109642]
    np.testing.assert_allclose(at["survival"], s, atol=1e-9)
    np.testing.assert_allclose(at["se"][1], 0.05683377773, atol=1e-9)


def test_KM_06_women_from_816_months():
    """As above, conditional on 68 years; (b) R survfit(start.time = 816)."""
    d = channing(2)
    k = life.kaplan_meier(d["age"], d["death"], entry_age=d["ageentry"], start=816)
    at = k.at([840, 900, 960, 1020, 1080, 1100])
    s = [0.9346889055, 0.8649333389, 0.7408079900, 0.5004203524, 0.2939947670, 0.2122165125]
    np.testing.assert_allclose(at["survival"], s, atol=1e-9)
    np.testing.assert_allclose(at["se"][5], 0.03760846193, atol=1e-9)


def test_KM_06_the_emptied_risk_set_is_told():
    """Two men at risk at 777 months, one at 781: the product is 0 for ever after."""
    d = channing(1)
    k = life.kaplan_meier(d["age"], d["death"], entry_age=d["ageentry"])
    at = k.at([777, 781, 900])
    assert at["survival"].tolist() == [0.5, 0.0, 0.0]
    assert at["at_risk"].tolist()[:2] == [2, 1]
    assert k["all"]["status"] == "risk set emptied"
    assert "start" in k["all"]["message"]
    assert np.isnan(k["all"]["median"])
    k = life.kaplan_meier(d["age"], d["death"], entry_age=d["ageentry"], start=816)
    assert k["all"]["status"] == "ok"
    s = [0.8045311295, 0.6377614033, 0.4543733458, 0.2227073135]
    np.testing.assert_allclose(k.at([900, 960, 1020, 1080])["survival"], s, atol=1e-9)


# --- Weibull and lognormal ---------------------------------------------------------------------


def wald(row, name, se, z=1.959963984540054):
    """Normal limits on the log scale: what the sources give beside the likelihood."""
    return [row[name] * np.exp(-z * se), row[name] * np.exp(z * se)]


def test_WB_01():
    """NIST e-Handbook 8.4.1.3: printed (a); full digits (b) R survreg = lifelines."""
    d = data("nist_weibull_censored")
    row = life.fit_weibull(d["time"], d["status"], level=0.95)["all"]
    normal = life.fit_lognormal(d["time"], d["status"], level=0.95)["all"]
    printed = {"shape": 1.7208, "scale": 606.5280, "loglik": -75.135, "aic": 154.27}
    half = {"shape": 5e-5, "scale": 5e-4, "loglik": 5e-4, "aic": 5e-3}
    for name, value in printed.items():
        assert abs(row[name] - value) <= half[name]
    assert abs(row["mean"] - 540.737) <= 5e-4
    assert abs(row["sd"] - 323.806) <= 5e-4
    assert abs(normal["aic"] - 154.39) <= 5e-3
    full = [1.7207973, 606.52756, -75.134618, 154.2692363, 540.7370255, 323.8058243]
    close(row[["shape", "scale", "loglik", "aic", "mean", "sd"]].tolist(), full, 1e-6)
    close(normal["aic"], 154.3925416, 1e-6)
    close(wald(row, "scale", row["se_log_scale"]), [405.089, 908.135], 1e-5)
    close(wald(row, "shape", row["se_log_shape"]), [0.971266, 3.04875], 1e-5)
    close([row["shape_low"], row["shape_high"]], [0.9056453588, 2.8857378657], 1e-5)
    close(row["b10"], 164.02244, 1e-6)
    close(wald(row, "b10", b10_se(row)), [83.8751, 320.755], 1e-5)


def b10_se(row):
    """Delta method for log B10 = log scale + k / shape from the reported covariance."""
    k = np.log(-np.log(0.9)) / row["shape"]
    return np.sqrt(
        row["se_log_scale"] ** 2
        - 2 * k * row["cov_log_shape_scale"]
        + k**2 * row["se_log_shape"] ** 2
    )


def test_WB_02():
    """Generator fans; (b) R survreg 3.5-3 = lifelines 0.30.3."""
    d = data("generator_fan")
    row = life.fit_weibull(d["hours"], d["status"], level=0.95)["all"]
    close(row[["shape", "scale", "loglik"]].tolist(), [1.0584458, 26296.845, -135.15272], 1e-6)
    # 1e-6 of values given to six digits is half a unit of their last one
    np.testing.assert_allclose(row["se_log_scale"], 0.46589, atol=5e-6)
    np.testing.assert_allclose(row["se_log_shape"], 0.253439, atol=1e-6)
    np.testing.assert_allclose(-row["cov_log_shape_scale"], 0.0957276, atol=1e-6)
    close(wald(row, "scale", row["se_log_scale"]), [10552.1, 65534.4], 2e-5)
    close(wald(row, "shape", row["se_log_shape"]), [0.644082, 1.73939], 2e-5)
    close(row["b10"], 3137.2408, 1e-6)
    close(wald(row, "b10", b10_se(row)), [1686.21, 5836.93], 2e-5)
    close([row["shape_low"], row["shape_high"]], [0.6059741895, 1.6579408565], 2e-5)
    flat = life.fit_exponential(d["hours"], d["status"])["all"]
    close([flat["mean"], flat["loglik"]], [28703.333, -135.17722], 1e-6)


def test_WB_03():
    """Meeker & Escobar 1998, ch. 8, shock absorbers; (b) R survreg; book values (c)."""
    d = data("shock_absorber")
    failed = d["mode"] > 0
    row = life.fit_weibull(d["distance_km"], failed, level=0.95)["all"]
    expected = [np.exp(10.229863), 3.1604703, 27718.718, -123.99536]
    close([row["scale"], row["shape"], row["scale"], row["loglik"]], expected, 1e-6)
    close(1 / row["shape"], 0.3164086, 1e-6)
    np.testing.assert_allclose(row["se_log_scale"], 0.10989, atol=1e-6)
    np.testing.assert_allclose(row["se_log_shape"] / row["shape"], 0.0731654, atol=1e-6)
    close([row["shape_low"], row["shape_high"]], [1.898532170, 4.771390781], 1e-6)
    normal = life.fit_lognormal(d["distance_km"], failed)["all"]
    expected = [10.14477069, 0.5300680304, -124.60855]
    close(normal[["mu", "sigma", "loglik"]].tolist(), expected, 1e-6)
    close(normal[["se_mu", "se_sigma"]].tolist(), [0.1441751721, 0.1126828136], 1e-6)
    book = [round(np.log(row["scale"]), 2), round(row["se_log_scale"], 3), round(row["shape"], 2)]
    assert book == [10.23, 0.110, 3.16]
    assert round(row["scale"]) == 27719
    assert [round(normal["mu"], 2), round(normal["se_mu"], 3)] == [10.14, 0.144]
    assert [round(normal["sigma"], 2), round(normal["se_sigma"], 3)] == [0.53, 0.113]


def test_WB_04():
    """Lieblein & Zelen 1956; data (a), values (b) R survreg; literature 2.10, 81.88 (c)."""
    age = data("ball_bearings")["million_rev"]
    assert len(age) == 23
    assert 48.48 in age.tolist()
    row = life.fit_weibull(age, np.ones(23))["all"]
    expected = [2.102058875, 81.87833405, -113.6912909]
    close(row[["shape", "scale", "loglik"]].tolist(), expected, 1e-6)
    normal = life.fit_lognormal(age, np.ones(23))["all"]
    expected = [4.150454494, 0.521649334, -113.1285667]
    close(normal[["mu", "sigma", "loglik"]].tolist(), expected, 1e-6)


def test_WB_06():
    """survival::ovarian and lung; (b) R survreg 3.5-3."""
    d = data("ovarian")
    row = life.fit_weibull(d["futime"], d["fustat"])["all"]
    expected = [1.1080597, 1225.419, -97.953901, 0.292728]
    got = row[["shape", "scale", "loglik", "se_log_scale"]].tolist()
    close(got[:3], expected[:3], 1e-6)
    np.testing.assert_allclose(got[3], expected[3], atol=1e-6)
    d = data("lung")
    row = life.fit_weibull(d["time"], d["status"] == 2)["all"]
    close(row[["shape", "scale", "b10"]].tolist(), [1.3168402, 417.75867, 75.640311], 1e-6)
    np.testing.assert_allclose(row["loglik"], -1153.8512, rtol=1e-6)


def test_WB_07_lung():
    """Common shape with a class effect, survival::lung and sex; (b) R survreg."""
    d = data("lung")
    c = life.compare_shapes(d["time"], d["status"] == 2, d["sex"])
    model = c.table.set_index("model")
    # sex is 1 and 2, so b0 is the log scale of class 1 less one class effect
    log_scale = np.log(c.classes["common_scale"])
    effect = log_scale[1] - log_scale[0]
    np.testing.assert_allclose(effect, 0.3955780, rtol=1e-6)
    np.testing.assert_allclose(log_scale[0] - effect, 5.4885838, rtol=1e-6)
    np.testing.assert_allclose(c.classes["log_ratio"][1], effect, rtol=1e-12)
    np.testing.assert_allclose(c.classes["se_log_ratio"][1], 0.1276491, rtol=1e-6)
    np.testing.assert_allclose(1 / model.loc["common shape", "shape"], 0.755088, rtol=1e-6)
    np.testing.assert_allclose(model.loc["common shape", "loglik"], -1148.7, atol=0.05)
    np.testing.assert_allclose(model.loc["pooled", "loglik"], -1153.8512, rtol=1e-6)
    np.testing.assert_allclose(model.loc["pooled", "chi2"], 10.40, atol=5e-3)
    assert model.loc["pooled", "df"] == 1


def test_WB_07_braking_grids():
    """survival::braking, gap times by batch (Doganaksoy & Nelson 1998); (b) R survreg."""
    d = data("braking_grids")
    c = life.compare_shapes(d["day2"] - d["day1"], d["status"], d["batch"])
    model = c.table.set_index("model")
    close(model.loc["common shape", "shape"], 1.24285886, 1e-6)
    close(np.log(c.classes["common_scale"][0]), 6.048452313, 1e-6)
    close(c.classes["log_ratio"][1], -0.359608072, 1e-6)
    close(model.loc["common shape", "loglik"], -344.1085262, 1e-6)
    close(model.loc["pooled", "loglik"], -345.3033553, 1e-6)
    np.testing.assert_allclose(model.loc["pooled", "chi2"], 2.3897, atol=5e-5)
    assert c.classes["failures"].tolist() == [24, 26]
    close(c.classes["shape"], [1.36591259, 1.1450099], 1e-6)
    close(c.classes["scale"], [417.9834897, 300.7427156], 1e-6)
    close(c.classes["loglik"], [-168.8192316, -175.0181794], 1e-6)


def test_WB_09():
    """Channing women, late entry; (b) R optim on the likelihood = lifelines (entry=)."""
    d = channing(2)
    row = life.fit_weibull(d["age"], d["death"], entry_age=d["ageentry"])["all"]
    expected = [9.522062, 1057.16437, -807.828623]
    close(row[["shape", "scale", "loglik"]].tolist(), expected, 1e-5)
    close(row["se_log_scale"] * row["scale"], 11.2407, 1e-5)
    close(row["se_log_shape"] * row["shape"], 1.10348, 1e-5)
    biased = life.fit_weibull(d["age"], d["death"])["all"]
    expected = [14.785265, 1096.5927, -861.500019]
    close(biased[["shape", "scale", "loglik"]].tolist(), expected, 1e-5)


def test_WB_11():
    """Meeker & Escobar 1998, ch. 7, heat exchangers; (b) R survreg(type = "interval2")."""
    d = data("heat_exchanger_interval")
    failed = d["upper"].notna()
    row = life.fit_weibull(
        d["upper"].where(failed, d["lower"]),
        failed,
        age_low=d["lower"].where(failed),
        weight=d["count"],
    )["all"]
    close(row[["shape", "scale", "loglik"]].tolist(), [1.345515, 23.619924, -54.414705], 1e-5)
    close(row["se_log_scale"], 0.798339, 1e-5)
    assert (row["n"], row["failures"]) == (300, 11)


def test_WB_12():
    """Nelson 1982, insulating fluid at 30 and 34 kV; (b) R survreg."""
    d = data("insulating_fluid")
    d = d[d["voltage"].isin([30, 34])]
    fits = life.fit_weibull(d["time"], np.ones(len(d)), group=d["voltage"])
    names = ["n", "shape", "scale", "loglik"]
    close(fits[34][names].tolist(), [19, 0.7708212262, 12.22221803, -68.38602619], 1e-6)
    close(fits[30][names].tolist(), [11, 1.058810617, 77.58159397, -58.57845758], 1e-6)


# --- rank regression and fixed shape -----------------------------------------------------------


def test_RR_01():
    """NIST e-Handbook 8.2.2.1: ranks, slope, intercept (a); the rest (b) R lm."""
    d = data("nist_weibull_censored")
    line = life.rank_line(d["time"], d["status"])
    y = [0.03491627, 0.08701138, 0.14197026, 0.20012618, 0.26187419]
    y += [0.32768741, 0.39813907, 0.47393291, 0.55594606, 0.64529116]
    np.testing.assert_allclose(-np.log1p(-line.table["failed"]), y, atol=5e-9)
    np.testing.assert_allclose([line.intercept, line.shape], [-4.116536, 1.457519], atol=5e-7)
    np.testing.assert_allclose(line.r2, 0.8964036, atol=5e-8)
    close(line.scale, 667.3363635, 1e-8)
    other = life.rank_line(d["time"], d["status"], regress="x on y")
    close([other.shape, other.scale], [1.625962767, 601.9598903], 1e-8)
    exact = life.rank_line(d["time"], d["status"], ranks="median")
    close([exact.shape, exact.scale], [1.46159144, 667.3125711], 1e-8)
    exact = life.rank_line(d["time"], d["status"], ranks="median", regress="x on y")
    close([exact.shape, exact.scale], [1.632198281, 601.3841286], 1e-8)


@pytest.mark.parametrize(
    ("shape", "scale", "loglik"),
    [
        (1.0, 777.1, -76.55569042),
        (1.5, 636.2859528, -75.23980576),
        (2.0, 580.7730193, -75.27519983),
        (3.0, 536.2321559, -77.38983589),
    ],
)
def test_WF_01(shape, scale, loglik):
    """NIST data with the shape fixed; (b) R survreg(scale = 1 / shape)."""
    d = data("nist_weibull_censored")
    row = life.fit_fixed_shape(d["time"], d["status"], shape)["all"]
    close([row["scale"], row["loglik"]], [scale, loglik], 1e-9)


@pytest.mark.parametrize(
    ("shape", "scale", "loglik"),
    [
        (1.0, 28703.33333, None),
        # R prints 17228.24063 at its default tolerance and this at rel.tolerance = 1e-15, which
        # is the closed form to all digits
        (1.5, 17228.240661103, -136.2595509),
        (2.0, 13694.13561, -139.3708615),
    ],
)
def test_WF_02(shape, scale, loglik):
    """Generator fans with the shape fixed; closed form, and (b) R survreg."""
    d = data("generator_fan")
    row = life.fit_fixed_shape(d["hours"], d["status"], shape)["all"]
    close(row["scale"], scale, 1e-9)
    if loglik is not None:
        close(row["loglik"], loglik, 1e-9)


def test_WF_04():
    """Ten units for 2,000 h without failure, shape 2; AFWAL-TR-83-2079 (c), closed form (b)."""
    for level, bound in ((0.90, 4167.94665), (0.95, 3654.083747)):
        row = life.fit_fixed_shape([2000.0] * 10, [False] * 10, 2.0, level=level)["all"]
        close(row["scale_low"], bound, 1e-9)
        assert np.isnan(row["scale"])
        assert np.isnan(row["scale_high"])
        close(row["scale_if_one_failed"], 6324.55532, 1e-9)
        assert row["status"] == "no failures"
