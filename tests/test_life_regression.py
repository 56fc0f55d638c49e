"""What drives lives: published values, a second program, known truth, properties, bad input."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from published.test_published_life import channing, data

from seallife.errors import InputError
from seallife.life import fit_cox_factors, fit_weibull_factors, kaplan_meier
from seallife.life.partial import RatedLives, fit_rate

BOTH = pytest.mark.parametrize("fit", [fit_weibull_factors, fit_cox_factors])


def sample(seed: int, n: int = 300, positions: int = 40) -> pd.DataFrame:
    """Weibull lives with two factors and a group, seen late in part, ends in part unseen."""
    rng = np.random.default_rng(seed)
    m = 3 * n
    t = pd.DataFrame({"a": rng.normal(60, 20, m), "b": rng.normal(0, 1, m)})
    t["kind"] = rng.choice(["low", "mid", "top"], m, p=[0.3, 0.5, 0.2])
    move = 0.01 * (t["a"] - 60) - 0.3 * t["b"] + t["kind"].map({"low": -0.5, "mid": 0, "top": 0.4})
    t["age"] = 1000 * np.exp(move) * rng.weibull(1.6, m)
    t["entry"] = np.where(rng.random(m) < 0.4, rng.uniform(0, 900, m), 0.0)
    t = t[t["age"] > t["entry"]].head(n).reset_index(drop=True)
    end = t["entry"] + rng.uniform(100, 2500, n)
    t["failed"] = t["age"] <= end
    t["age"] = np.minimum(t["age"], end)
    t["position"] = rng.integers(0, positions, n)
    return t


def stable(rng: np.random.Generator, power: float, n: int) -> np.ndarray:
    """Positive stable numbers: a hidden rate that leaves Weibull lives Weibull (Kanter 1975)."""
    u, e = np.pi * rng.random(n), rng.exponential(size=n)
    first = np.sin(power * u) / np.sin(u) ** (1 / power)
    return first * (np.sin((1 - power) * u) / e) ** ((1 - power) / power)


# --- published; more against R in published/test_published_regression.py --------------------------


def test_lung_by_sex_weibull() -> None:
    """survival::lung; (b) R 4.2.2, survival 3.5-3 survreg: 5.4885838, 0.3955780 (0.1276491)."""
    d = data("lung")
    fit = fit_weibull_factors(d["time"], d["status"] == 2, d[["sex"]])
    row, base = fit.table.iloc[0], fit.baseline.iloc[0]
    intercept = np.log(base["scale"]) - row["coef"] * d["sex"].mean()
    found = [intercept, row["coef"], row["se"], 1 / base["shape"]]
    np.testing.assert_allclose(found, [5.4885838, 0.3955780, 0.1276491, 0.755088], rtol=1e-6)
    assert fit.loglik == pytest.approx(-1148.7, abs=0.05)
    assert fit.loglik_none == pytest.approx(-1153.8512, abs=5e-5)
    assert fit.tests["chi2"].iloc[0] == pytest.approx(10.40, abs=5e-3)


def test_braking_grids_by_batch() -> None:
    """Doganaksoy & Nelson 1998; (b) R 4.2.2, survival 3.5-3: one shape, and one a batch."""
    d = data("braking_grids")
    age, failed = d["day2"] - d["day1"], d["status"] == 1
    group = d["batch"].map({1: "one", 2: "two"})
    fit = fit_weibull_factors(age, failed, group.to_frame("batch"))
    # the larger batch is the reference, so signs turn
    row, base = fit.table.iloc[0], fit.baseline.iloc[0]
    assert (row["against"], row["label"], row["failures"]) == ("two", "one", 24)
    found = [base["shape"], row["coef"], np.log(base["scale"]) + row["coef"], fit.loglik]
    known = [1.24285886, 0.359608072, 6.048452313, -344.1085262]
    np.testing.assert_allclose(found, known, rtol=1e-6)
    assert fit.loglik_none == pytest.approx(-345.3033553, rel=1e-9)
    assert fit.tests["chi2"].iloc[0] == pytest.approx(2.3897, abs=5e-5)
    own = fit_weibull_factors(age, failed, pd.DataFrame(index=d.index), stratum=group)
    shapes = own.baseline[["shape", "scale"]].to_numpy()
    np.testing.assert_allclose(
        shapes, [[1.36591259, 417.9834897], [1.1450099, 300.7427156]], rtol=1e-6
    )
    assert own.loglik == pytest.approx(-168.8192316 - 175.0181794, rel=1e-9)


def test_channing_late_entry() -> None:
    """KMsurv::channing, women; (b) R optim and lifelines 0.30.3: 9.522062, 1057.16437."""
    d = channing(2)
    none = pd.DataFrame(index=d.index)
    fit = fit_weibull_factors(d["age"], d["death"], none, entry_age=d["ageentry"])
    np.testing.assert_allclose(
        fit.baseline[["shape", "scale"]].to_numpy()[0], [9.522062, 1057.16437], rtol=1e-5
    )
    assert fit.loglik == pytest.approx(-807.828623, rel=1e-8)
    assert len(fit) == 0


# --- a second program ----------------------------------------------------------------------------


def test_weibull_agrees_with_lifelines_late_entry_and_robust() -> None:
    from lifelines import WeibullAFTFitter

    t = sample(1)
    d = t[["age", "failed", "entry", "a", "b"]]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = WeibullAFTFitter().fit(d, "age", "failed", entry_col="entry", robust=True)
    fit = fit_weibull_factors(
        t["age"], t["failed"], t[["a", "b"]], entry_age=t["entry"], cluster=np.arange(len(t))
    )
    np.testing.assert_allclose(fit.table["coef"], other.params_["lambda_"][["a", "b"]], rtol=2e-4)
    np.testing.assert_allclose(
        fit.table["se_robust"], other.standard_errors_["lambda_"][["a", "b"]], rtol=2e-3
    )
    assert fit.loglik == pytest.approx(other.log_likelihood_, rel=1e-7)


def test_cox_agrees_with_lifelines_late_entry_strata_and_ties() -> None:
    from lifelines import CoxPHFitter

    t = sample(2)
    t["age"] = np.ceil(t["age"] / 50) * 50 + 1
    t["half"] = np.where(t["position"] % 2, "x", "y")
    other = CoxPHFitter().fit(
        t[["age", "failed", "entry", "a", "b", "half"]],
        "age",
        "failed",
        entry_col="entry",
        strata=["half"],
    )
    fit = fit_cox_factors(
        t["age"], t["failed"], t[["a", "b"]], entry_age=t["entry"], stratum=t["half"]
    )
    np.testing.assert_allclose(fit.table["coef"], other.params_, rtol=1e-5)
    np.testing.assert_allclose(fit.table["se"], other.standard_errors_, rtol=1e-5)
    assert fit.loglik == pytest.approx(other.log_likelihood_, rel=1e-9)


def test_cox_robust_errors_agree_with_lifelines() -> None:
    """Without ties and late entry, both of which lifelines leaves out of its robust errors."""
    from lifelines import CoxPHFitter

    t = sample(3)
    other = CoxPHFitter().fit(
        t[["age", "failed", "a", "b", "position"]], "age", "failed", cluster_col="position"
    )
    fit = fit_cox_factors(t["age"], t["failed"], t[["a", "b"]], cluster=t["position"])
    np.testing.assert_allclose(fit.table["se_robust"], other.standard_errors_, rtol=1e-5)


# --- computed directly ---------------------------------------------------------------------------


def test_cox_scores_and_baseline_with_late_entry_are_those_of_the_definition() -> None:
    t = sample(4, n=120)
    x = t[["a", "b"]].to_numpy()
    x = (x - x.mean(axis=0)) / x.std(axis=0)
    age, entry, failed = (t[c].to_numpy() for c in ("age", "entry", "failed"))
    lives = RatedLives(age, entry, failed, x, np.zeros(len(t), np.int64))
    top = fit_rate(lives)
    w = np.exp(x @ top.place)
    scores, rises = np.zeros_like(x), {}
    for i in np.flatnonzero(failed):
        risk = (entry < age[i]) & (age >= age[i])
        mean = (w[risk, None] * x[risk]).sum(axis=0) / w[risk].sum()
        scores[i] += x[i] - mean
        scores[risk] -= w[risk, None] * (x[risk] - mean) / w[risk].sum()
        rises[age[i]] = 1 / w[risk].sum()
    np.testing.assert_allclose(lives.scores(top.place), scores, atol=1e-10)
    pieces = lives.pieces(top.place)(np.arange(len(t)))
    np.testing.assert_allclose(pieces.sum(axis=0), top.information, rtol=1e-9)
    fit = fit_cox_factors(age, failed, t[["a", "b"]], entry_age=entry)
    direct = np.cumsum([rises[a] for a in sorted(rises)])
    np.testing.assert_allclose(fit.baseline["cum_hazard"], direct, rtol=1e-6)
    at = fit.survival([400.0, 1e9], t[["a", "b"]].iloc[[7]])
    move = np.exp((x @ top.place)[7])
    past = sum(r for a, r in rises.items() if a <= 400.0)
    assert at["survival"].iloc[0] == pytest.approx(np.exp(-move * past), rel=1e-6)
    assert np.isnan(at["survival"].iloc[1])


def test_cox_without_factors_is_the_product_limit_with_late_entry() -> None:
    d = channing(2)
    none = pd.DataFrame(index=d.index)
    fit = fit_cox_factors(d["age"], d["death"], none, entry_age=d["ageentry"])
    curve = kaplan_meier(d["age"], d["death"], entry_age=d["ageentry"])
    np.testing.assert_allclose(fit.baseline["at_risk"], curve.at_risk)
    np.testing.assert_allclose(fit.baseline["cum_hazard"], curve.cum_hazard, rtol=1e-10)
    late = kaplan_meier(d["age"], d["death"], entry_age=d["ageentry"], start=816)
    ages = np.array([900.0, 960.0, 1020.0])
    ours = fit.survival(ages, start=816.0)["survival"]
    np.testing.assert_allclose(ours, late.at(ages)["survival"], rtol=0.01)


@BOTH
def test_a_doubled_record_in_one_cluster_is_no_more_certain(fit) -> None:
    t = sample(5)
    both = pd.concat([t, t], ignore_index=True)
    kw = {"cluster": t["position"], "entry_age": t["entry"]}
    one = fit(t["age"], t["failed"], t[["a"]], **kw)
    kw = {"cluster": both["position"], "entry_age": both["entry"]}
    # ties by Efron move the Cox fit a little
    two = fit(both["age"], both["failed"], both[["a"]], **kw)
    tolerance = 1e-6 if fit is fit_weibull_factors else 0.02
    assert two.table["se"][0] == pytest.approx(one.table["se"][0], rel=tolerance)
    assert two.table["se_model"][0] < 0.75 * one.table["se_model"][0]


def test_jackknife_by_one_step_is_near_leaving_out_each_cluster() -> None:
    t = sample(6, n=150, positions=12)
    kw = {"entry_age": t["entry"], "cluster": t["position"]}
    whole = fit_weibull_factors(t["age"], t["failed"], t[["a"]], **kw)
    out = []
    for g in range(12):
        s = t[t["position"] != g]
        fit = fit_weibull_factors(s["age"], s["failed"], s[["a"]], entry_age=s["entry"])
        out.append(fit.table["coef"][0])
    moved = np.array(out) - whole.table["coef"][0]
    direct = np.sqrt(11 / 12 * np.sum(moved**2))
    assert whole.table["se"][0] == pytest.approx(direct, rel=0.1)


# --- known truth ---------------------------------------------------------------------------------


def test_clustered_intervals_hold_the_truth_where_positions_differ() -> None:
    """A hidden rate per position, a factor of the position: 90 % intervals, 30 positions."""
    rng = np.random.default_rng(7)
    runs, positions, lives = 300, 30, 5
    hits, naive = [], []
    for _ in range(runs):
        place = np.repeat(np.arange(positions), lives)
        x = np.repeat(rng.normal(size=positions), lives)
        hidden = np.repeat(stable(rng, 0.75, positions), lives)
        age = np.exp(0.3 * x) * (rng.exponential(size=len(x)) / hidden) ** (1 / 1.5)
        end = rng.uniform(0.2, 4.0, len(x))
        arrays = (np.minimum(age, end), age <= end, pd.DataFrame({"x": x}))
        for into, cluster in ((hits, place), (naive, None)):
            row = fit_weibull_factors(*arrays, cluster=cluster).table.iloc[0]
            into.append(np.log(row["low"]) <= 0.3 <= np.log(row["high"]))
    assert abs(np.mean(hits) - 0.90) <= 3 * np.sqrt(0.9 * 0.1 / runs), np.mean(hits)
    assert np.mean(naive) < 0.80


def test_late_entry_does_not_move_the_ratio() -> None:
    """Mean of 40 fits lies on the truth; the fit that ignores late entry is off."""
    found, wrong = [], []
    for seed in range(40):
        t = sample(100 + seed)
        f = t[["a", "b", "kind"]]
        good = fit_weibull_factors(t["age"], t["failed"], f, entry_age=t["entry"])
        found.append(good.table["coef"].to_numpy())
        wrong.append(fit_weibull_factors(t["age"], t["failed"], f).table["coef"].to_numpy())
    truth = np.array([0.01, -0.3, -0.5, 0.4])
    error = np.std(found, axis=0) / np.sqrt(40)
    assert (np.abs(np.mean(found, axis=0) - truth) < 3.5 * error).all()
    gap = np.abs(found)[:, 1] - np.abs(wrong)[:, 1]
    assert gap.mean() > 3.5 * gap.std() / np.sqrt(40)


def test_checks_find_what_is_wrong_and_nothing_else() -> None:
    """At the 5 % level; then a ratio that fades with age, and a law that is none."""
    doubts = []
    for seed in range(40):
        t = sample(200 + seed)
        for fit in (fit_weibull_factors, fit_cox_factors):
            checks = fit(t["age"], t["failed"], t[["b"]], entry_age=t["entry"]).checks
            doubts += (checks.loc[checks["p"].notna(), "p"] < 0.05).tolist()
    assert np.mean(doubts) < 0.11
    rng = np.random.default_rng(8)
    x = rng.random(600) < 0.5
    age = np.where(x, 1.0, 1.3) * rng.weibull(np.where(x, 3.0, 0.9))
    f = pd.DataFrame({"x": x})
    for fit, name in ((fit_weibull_factors, "same shape"), (fit_cox_factors, "proportional")):
        checks = fit(age, np.ones(600, bool), f).checks
        assert checks.loc[checks["check"].str.startswith(name), "finding"].tolist() == ["doubt"]
    mixed = np.where(rng.random(600) < 0.3, 0.05 * rng.random(600), 1 + 0.1 * rng.random(600))
    checks = fit_weibull_factors(mixed, np.ones(600, bool), pd.DataFrame({"b": x})).checks
    assert checks.set_index("check").loc["unit exponential residuals", "finding"] == "doubt"


def test_one_odd_life_is_named() -> None:
    t = sample(9, n=60)
    t.loc[17, ["a", "age", "failed", "entry"]] = [900.0, 2500.0, True, 0.0]
    fit = fit_weibull_factors(t["age"], t["failed"], t[["a"]], entry_age=t["entry"])
    row = fit.checks[fit.checks["check"] == "influence"].iloc[0]
    assert row["finding"] == "doubt"
    assert "life in row 17" in row["message"]


# --- properties ----------------------------------------------------------------------------------


@BOTH
@settings(max_examples=12)
@given(seed=st.integers(0, 10_000), stretch=st.floats(1e-3, 1e3), shift=st.floats(-1e3, 1e3))
def test_order_units_and_zero_points_say_nothing(fit, seed, stretch, shift) -> None:
    t = sample(seed, n=80, positions=15)
    kw = {"entry_age": t["entry"], "cluster": t["position"]}
    one = fit(t["age"], t["failed"], t[["a", "kind"]], **kw)
    if one.status == "not converged":
        return
    mixed = t.sample(frac=1, random_state=seed)
    f = mixed[["a", "kind"]].assign(a=mixed["a"] * stretch + shift)
    two = fit(
        mixed["age"] * stretch,
        mixed["failed"],
        f,
        entry_age=mixed["entry"] * stretch,
        cluster=mixed["position"],
    )
    assert two.table["term"].tolist() == one.table["term"].tolist()
    size = np.where(one.table["label"] == "", stretch, 1.0)
    np.testing.assert_allclose(two.table["coef"] * size, one.table["coef"], rtol=1e-4, atol=1e-7)
    np.testing.assert_allclose(two.table["p"], one.table["p"], rtol=1e-3, atol=1e-9)


@BOTH
def test_a_step_is_a_power_of_the_ratio_of_one(fit) -> None:
    t = sample(10)
    one = fit(t["age"], t["failed"], t[["a"]]).table.iloc[0]
    ten = fit(t["age"], t["failed"], t[["a"]], steps={"a": (10, "10 °C")}).table.iloc[0]
    assert ten["ratio"] == pytest.approx(one["ratio"] ** 10)
    assert ten["says"].startswith("each 10 °C more: ")


# --- what cannot be used -------------------------------------------------------------------------


@BOTH
def test_factors_that_say_nothing_are_left_out_with_a_sentence(fit) -> None:
    t = sample(11)
    f = t[["a", "kind"]].assign(
        same=5.0,
        twice=2 * t["a"] + 1,
        gaps=t["b"].where(t.index % 3 == 0),
        one="word",
        again=t["kind"].str.upper(),
    )
    result = fit(t["age"], t["failed"], f)
    assert set(result.table["factor"]) == {"a", "kind"}
    told = result.left_out.set_index("factor")["reason"]
    assert told["twice"] == "follows from a, kind; left out"
    assert told["again"].startswith("follows from")
    assert told["same"].startswith("is 5.0 for all")
    assert told["one"].startswith("is word for all")
    assert told["gaps"].startswith("not known for 200 of 300")


@BOTH
def test_missing_values_leave_lives_out_and_are_counted(fit) -> None:
    t = sample(12)
    f = t[["a", "kind"]].copy()
    f.loc[:9, "a"] = np.nan
    f.loc[5:14, "kind"] = ""
    result = fit(t["age"], t["failed"], f)
    assert (result.missing, result.n) == (15, 285)
    assert "15 lives without a value" in result.message
    same = fit(t["age"][15:], t["failed"][15:], t[["a", "kind"]][15:])
    np.testing.assert_allclose(result.table["coef"], same.table["coef"], rtol=1e-7)


@BOTH
def test_a_group_without_failures_has_no_ratio_and_moves_no_other(fit) -> None:
    t = sample(13)
    t.loc[t["kind"] == "top", "failed"] = False
    with_it = fit(t["age"], t["failed"], t[["kind", "a"]])
    row = with_it["kind: top against mid"]
    assert (row["status"], row["failures"]) == ("no failures", 0)
    assert np.isnan(row["ratio"])
    s = t[t["kind"] != "top"]
    without = fit(s["age"], s["failed"], s[["kind", "a"]])
    np.testing.assert_allclose(with_it.table["coef"].iloc[:2], without.table["coef"], rtol=1e-7)


@BOTH
def test_few_failures_are_marked_and_too_few_refused(fit) -> None:
    t = sample(14, n=60)
    t["failed"] &= np.cumsum(t["failed"]) <= 15
    few = fit(t["age"], t["failed"], t[["a", "b"]])
    assert set(few.table["status"]) == {"few failures"}
    assert few.table["message"].str.contains("15 failures for 2 figures").all()
    t["failed"] &= np.cumsum(t["failed"]) <= 3
    none = fit(t["age"], t["failed"], t[["a", "b"]])
    assert none.status == "too few failures"
    assert "3 failures for 2 figures" in none.message
    assert none.table["ratio"].isna().all()
    empty = fit(t["age"], np.zeros(60, bool), t[["a"]])
    assert "No failure" in empty.message
    assert empty.survival([1.0]).empty


def test_separation_and_all_tied_give_words_not_figures() -> None:
    x = np.repeat([0.0, 1.0], 20)
    age = np.where(x == 1, np.arange(1, 41), np.arange(100, 140)).astype(float)
    apart = fit_cox_factors(age, x == 1, pd.DataFrame({"x": x}))
    assert apart.status == "not converged"
    assert apart.table["ratio"].isna().all()
    tied = fit_weibull_factors(np.full(40, 5.0), np.ones(40, bool), pd.DataFrame({"x": x}))
    assert "no shape is told" in tied.message


def test_strata_without_a_law_are_left_out_with_a_sentence() -> None:
    t = sample(15)
    t["class"] = np.where(t.index < 5, "lone", "rest")
    t.loc[:4, "failed"] = [True, False, False, False, False]
    result = fit_weibull_factors(t["age"], t["failed"], t[["a"]], stratum=t["class"])
    assert result.left_out["factor"].tolist() == ["stratum lone"]
    assert (result.n, result.baseline["stratum"].tolist()) == (295, ["rest"])


@BOTH
@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"age": [1, np.nan, 3]}, "not a finite"),
        ({"age": [1, -2, 3]}, "above 0"),
        ({"entry_age": [0, 2, 0]}, "below the age"),
        ({"failed": [1, 0, 5]}, "neither true nor false"),
        ({"factors": pd.DataFrame({"x": [1.0, 2.0]})}, "has 2 rows"),
        ({"factors": [1, 2, 3]}, "DataFrame"),
        ({"factors": pd.DataFrame({"x": [1.0, np.inf, 2.0]})}, "infinite"),
        ({"factors": pd.DataFrame([[1, 2]] * 3, columns=["x", "x"])}, "twice"),
        ({"cluster": ["a", None, "b"]}, "label is missing"),
        ({"stratum": ["a", "b"]}, "shape"),
        ({"steps": {"x": (-1, "a step")}}, "above 0"),
        ({"level": 1.5}, "share"),
    ],
)
def test_bad_input_gets_a_sentence(fit, change, words) -> None:
    arguments = {"age": [1, 2, 3], "failed": [1, 1, 0], "factors": pd.DataFrame({"x": [1, 2, 4]})}
    with pytest.raises(InputError, match=words):
        fit(**{**arguments, **change})


def test_survival_of_unknown_factors_is_refused() -> None:
    t = sample(16)
    fit = fit_weibull_factors(t["age"], t["failed"], t[["a", "kind"]])
    for f, words in (
        (t[["a"]], "no column kind"),
        (pd.DataFrame({"a": [1.0], "kind": ["odd"]}), "not seen"),
        (pd.DataFrame({"a": [np.nan], "kind": ["low"]}), "missing value"),
    ):
        with pytest.raises(InputError, match=words):
            fit.survival([100.0], f)
    one = fit.survival([0.0, 500.0], pd.DataFrame({"a": [60.0], "kind": ["mid"]}))["survival"]
    assert one.tolist()[0] == 1.0
    assert 0.3 < one.tolist()[1] < 0.95


def test_results_can_be_stored_and_shown() -> None:
    t = sample(17)
    fit = fit_cox_factors(t["age"], t["failed"], t[["a"]], cluster=t["position"])
    assert fit.to_dict()["tests"][0]["factor"] == "all together"
    assert "robust to likeness within clusters" in fit._repr_html_()
