"""Competing causes: published values, a second program, known truth, invariances, bad input."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seallife import life
from seallife.errors import InputError

SHOCK = pd.read_csv(Path(__file__).parent / "published" / "shock_absorber.csv")
KM = SHOCK["distance_km"].to_numpy(dtype=float)
MODE = np.array(["", "1", "2"], dtype=object)[SHOCK["mode"]]


def lives(seed, n, *, late=0.3, ties=False):
    """Two causes of different ageing; ages, causes, entry ages."""
    rng = np.random.default_rng(seed)
    entry = np.where(rng.random(n) < late, rng.uniform(0, 500, n), 0.0)

    def left(shape, scale):
        return scale * ((entry / scale) ** shape + rng.exponential(size=n)) ** (1 / shape)

    t = np.stack([left(0.8, 3000.0), left(3.0, 1200.0), entry + rng.uniform(50, 2500, n)])
    age = t.min(axis=0)
    if ties:
        age, entry = np.ceil(age / 100) * 100 + 1, np.floor(entry / 100) * 100
    cause = np.array(["fitting", "ageing", ""], dtype=object)[t.argmin(axis=0)]
    return age, cause, entry


def of(table, cause):
    return table[table["cause"] == cause]


# --- published values --------------------------------------------------------------------------


def test_CR_01_cumulative_incidence():
    """Meeker & Escobar 1998, ch. 15 (data); values (b) R 4.2.2, survival 3.5-3, multi-state."""
    seen = life.cumulative_incidence(KM, MODE)
    ages = [6700, 9120, 12200, 14300, 20100, 20900, 22700, 27490]
    rows = seen.at(ages)
    expected = {
        "1": [
            *(0.02631578947, 0.02631578947, 0.06266372946, 0.10620553257),
            *(0.14974733568, 0.14974733568, 0.23955230459, 0.49100621753),
        ],
        "2": [
            *(0.0, 0.02863777090, 0.02863777090, 0.06650020838),
            *(0.13181291304, 0.22161788195, 0.22161788195, 0.22161788195),
        ],
    }
    errors = {"1": 0.15802985521, "2": 0.10820635533}
    for cause, values in expected.items():
        part = rows[rows["cause"] == cause]
        np.testing.assert_allclose(part["incidence"], values, atol=1e-10)
        assert part["se"].iloc[-1] == pytest.approx(errors[cause], abs=1e-6)
        assert part["survival"].iloc[-1] == pytest.approx(0.2873759005, abs=1e-10)
    # what each cause has ended and what still runs is all there is, at every age
    whole = seen.incidence.sum(axis=1) + seen.survival
    np.testing.assert_allclose(whole, 1, atol=1e-12)


def test_CR_02_weibull_by_cause():
    """Meeker & Escobar 1998, sec. 15.4 (mu 10.35, sigma 0.296; 10.62, 0.354: (c)); (b) R."""
    fits = life.fit_causes(KM, MODE)
    parts = fits.parts
    np.testing.assert_allclose(parts["shape"], [3.3839462, 2.822211], rtol=1e-6)
    np.testing.assert_allclose(parts["scale"], [31205.798, 40865.861], rtol=1e-6)
    np.testing.assert_allclose(parts["loglik"], [-81.497976, -49.636145], rtol=1e-6)
    assert fits["all"]["loglik"] == pytest.approx(-131.134121, rel=1e-6)
    np.testing.assert_allclose(np.log(parts["scale"]), [10.35, 10.62], atol=0.005)
    np.testing.assert_allclose(1 / parts["shape"], [0.296, 0.354], atol=0.0005)


# --- agreement ---------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(3))
def test_lifelines_agrees_on_incidence_and_its_limits(seed):
    from lifelines import AalenJohansenFitter

    age, cause, _ = lives(seed, 150, late=0.0)
    code = np.select([cause == "ageing", cause == "fitting"], [1, 2], 0)
    seen = life.cumulative_incidence(age, cause, level=0.9)
    for k, name in ((1, "ageing"), (2, "fitting")):
        other = AalenJohansenFitter(alpha=0.1).fit(age, code, event_of_interest=k)
        ages = np.quantile(age, [0.2, 0.5, 0.8])
        ours = seen.at(ages).pipe(of, name)
        theirs = other.cumulative_density_[f"CIF_{k}"]
        at = [theirs.index[theirs.index <= a][-1] for a in ages]
        np.testing.assert_allclose(ours["incidence"], theirs.loc[at], rtol=1e-9)
        # its variance is another first-order formula: near, not the same
        np.testing.assert_allclose(ours["se"] ** 2, other.variance_.loc[at], rtol=0.1)


def test_lifelines_agrees_with_late_entry():
    from lifelines import AalenJohansenFitter

    age, cause, entry = lives(9, 200)
    seen = life.cumulative_incidence(age, cause, entry_age=entry)
    other = AalenJohansenFitter(calculate_variance=False)
    other.fit(age, (cause == "ageing").astype(int) + 2 * (cause == "fitting"), 1, entry=entry)
    ours = seen.curves.query("cause == 'ageing' and events > 0")
    theirs = other.cumulative_density_["CIF_1"]
    np.testing.assert_allclose(ours["incidence"], theirs.loc[ours["age"]], rtol=1e-9)


def test_one_cause_is_one_minus_kaplan_meier():
    age, cause, entry = lives(3, 120, ties=True)
    seen = life.cumulative_incidence(age, cause != "", entry_age=entry).curves
    km = life.kaplan_meier(age, cause != "", entry_age=entry).curves
    assert seen["cause"].unique().tolist() == ["failed"]
    np.testing.assert_allclose(seen["incidence"], 1 - km["survival"], rtol=1e-10, atol=1e-12)
    np.testing.assert_allclose(seen["se"][:-1], km["se"][:-1], rtol=1e-8)


def test_ties_of_two_causes_are_one_step():
    """Ten at risk, two fail of one cause and one of another at one age: shares and multinomial."""
    cause = ["a", "a", "b"] + [""] * 7
    row = life.cumulative_incidence([5.0] * 3 + [9.0] * 7, cause).at([5.0]).set_index("cause")
    assert row["incidence"].to_dict() == pytest.approx({"a": 0.2, "b": 0.1})
    assert row["se"].to_dict() == pytest.approx({"a": np.sqrt(0.016), "b": np.sqrt(0.009)})


def test_the_two_models_of_one_class_are_compared_on_the_same_data():
    """One law with causes drawn regardless of age is laws by cause that share a shape."""
    age, cause, entry = lives(5, 400)
    row = life.fit_causes(age, cause, entry_age=entry)["all"]
    from seallife.life.compare import compare_shapes

    label = np.repeat([0, 1], len(age))
    both = compare_shapes(
        np.tile(age, 2),
        np.r_[cause == "ageing", cause == "fitting"],
        label,
        entry_age=np.tile(entry, 2),
    ).table.set_index("model")
    assert row["loglik"] == pytest.approx(both.loc["separate", "loglik"], rel=1e-9)
    assert row["chi2"] == pytest.approx(both.loc["common shape", "chi2"], rel=1e-6)
    assert row["p"] == pytest.approx(both.loc["common shape", "p"], rel=1e-4)
    assert row["better"] == "laws by cause"
    assert row["aic"] < row["aic_one"]


# --- known truth -------------------------------------------------------------------------------


def test_truth_is_found_with_late_entry():
    age, cause, entry = lives(1, 40_000)
    rng = np.random.default_rng(2)
    early = 3000 * rng.exponential(size=400_000) ** (1 / 0.8)
    ageing = 1200 * rng.exponential(size=400_000) ** (1 / 3)
    fits = life.fit_causes(age, cause, entry_age=entry)
    at = np.array([200.0, 800.0, 1300.0])
    seen = life.cumulative_incidence(age, cause, entry_age=entry).at(at)
    for name, mine, rest in (("fitting", early, ageing), ("ageing", ageing, early)):
        true = [np.mean((mine <= t) & (mine < rest)) for t in at]
        parts = fits.shares_before(at).pipe(of, name)
        np.testing.assert_allclose(parts["share"], true, atol=0.006)
        np.testing.assert_allclose(seen.pipe(of, name)["incidence"], true, atol=0.012)
    np.testing.assert_allclose(fits.parts["shape"], [3.0, 0.8], rtol=0.02)
    true = [np.mean(np.minimum(early, ageing) > t) for t in at]
    np.testing.assert_allclose(fits.survival_at(at)["survival"], true, atol=0.006)


def test_limits_cover_about_as_often_as_they_say():
    """400 groups of 120 lives; 90 % limits of incidence, survival and share at one age."""
    groups, n, at = 400, 120, 700.0
    age, cause, entry = lives(11, groups * n)
    group = np.repeat(np.arange(groups), n)
    true = {"fitting": 0.0, "ageing": 0.0}
    rng = np.random.default_rng(4)
    early = 3000 * rng.exponential(size=400_000) ** (1 / 0.8)
    ageing = 1200 * rng.exponential(size=400_000) ** (1 / 3)
    true = {
        "fitting": np.mean((early <= at) & (early < ageing)),
        "ageing": np.mean((ageing <= at) & (ageing < early)),
    }
    seen = life.cumulative_incidence(age, cause, group=group, entry_age=entry).at([at])
    fits = life.fit_causes(age, cause, group=group, entry_age=entry)
    for rows in (seen, fits.shares_before([at])):
        for name, value in true.items():
            part = rows[rows["cause"] == name]
            covered = np.mean((part["low"] <= value) & (value <= part["high"]))
            assert 0.85 <= covered <= 0.95, (name, covered)
    rows = fits.survival_at([at])
    value = 1 - sum(true.values())
    assert 0.85 <= np.mean((rows["low"] <= value) & (value <= rows["high"])) <= 0.95


# --- properties --------------------------------------------------------------------------------


@settings(max_examples=25)
@given(st.integers(0, 10_000), st.integers(2, 60), st.booleans(), st.floats(0.01, 1e4))
def test_incidences_and_survival_share_out_one_and_ages_scale(seed, n, ties, unit):
    age, cause, entry = lives(seed, n, ties=ties)
    group = np.random.default_rng(seed).integers(0, 3, n)
    seen = life.cumulative_incidence(age, cause, group=group, entry_age=entry)
    total = seen.incidence.sum(axis=1) + seen.survival
    np.testing.assert_allclose(total, 1, atol=1e-9)
    inside = seen.curves[["incidence", "low", "high"]].to_numpy()
    inside = inside[np.isfinite(inside)]
    assert ((inside >= 0) & (inside <= 1)).all()
    known = np.isfinite(seen.low)
    assert (seen.low <= seen.incidence + 1e-12)[known].all()
    assert (seen.high >= seen.incidence - 1e-12)[known].all()
    # a power of two leaves all digits as they are
    scale = 2.0 ** np.round(np.log2(unit))
    scaled = life.cumulative_incidence(age * scale, cause, group=group, entry_age=entry * scale)
    np.testing.assert_allclose(scaled.incidence, seen.incidence)
    np.testing.assert_allclose(scaled.age, seen.age * scale)


@settings(max_examples=15)
@given(st.integers(0, 10_000))
def test_order_names_and_weights_change_nothing(seed):
    age, cause, entry = lives(seed, 90, ties=True)
    rng = np.random.default_rng(seed)
    group = np.array(["x", "y"])[rng.integers(0, 2, 90)]
    mixed = rng.permutation(90)
    names = np.array([{"": "", "fitting": "z", "ageing": "a"}[c] for c in cause], dtype=object)
    turned = np.where(group == "x", "q", "b")
    for function in (life.cumulative_incidence, life.fit_causes):
        one = function(age, cause, group=group, entry_age=entry)
        two = function(age[mixed], names[mixed], group=turned[mixed], entry_age=entry[mixed])
        a, b = (r.at([601.0]) if hasattr(r, "at") else r.shares_before([601.0]) for r in (one, two))
        b = b.assign(
            group=b["group"].map({"q": "x", "b": "y"}),
            cause=b["cause"].map({"z": "fitting", "a": "ageing"}),
        )
        key = ["group", "cause"]
        left, right = (t.sort_values(key).reset_index(drop=True) for t in (a, b))
        pd.testing.assert_frame_equal(left[right.columns], right, rtol=1e-6, check_dtype=False)


def test_weight_stands_for_so_many_lives_and_nought_for_none():
    age, cause, entry = lives(8, 80)
    weight = np.random.default_rng(8).integers(0, 4, 80)
    many = np.repeat(np.arange(80), weight)
    for function in (life.cumulative_incidence, life.fit_causes):
        one = function(age, cause, entry_age=entry, weight=weight)
        two = function(age[many], cause[many], entry_age=entry[many])
        a, b = (r.at([700.0]) if hasattr(r, "at") else r.survival_at([700.0]) for r in (one, two))
        pd.testing.assert_frame_equal(a, b, rtol=1e-7)


def test_shares_by_cause_add_to_those_failed_for_hard_shapes():
    rng = np.random.default_rng(0)
    t = np.stack([900 * rng.exponential(size=300) ** (1 / b) for b in (0.35, 1.0, 6.0)])
    cause = np.array(["a", "b", "c"], dtype=object)[t.argmin(axis=0)]
    fits = life.fit_causes(t.min(axis=0), cause)
    at = [1.0, 300.0, 900.0, 3000.0]
    total = fits.shares_before(at).groupby("age")["share"].sum().to_numpy()
    np.testing.assert_allclose(total, 1 - fits.survival_at(at)["survival"], atol=1e-6)


# --- few failures and early failures ---------------------------------------------------------


def test_a_cause_with_one_failure_has_a_constant_rate_and_one_unseen_takes_no_part():
    age = [100.0, 200, 300, 400, 500, 500, 100, 500]
    cause = ["a", "a", "a", "b", "", "", "a", ""]
    fits = life.fit_causes(age, cause, group=["p"] * 6 + ["q"] * 2)
    parts = fits.parts.set_index(["group", "cause"])
    assert parts.loc[("p", "b"), "law"] == "constant rate"
    assert parts.loc[("p", "b"), "scale"] == pytest.approx(2000.0)
    assert parts.loc[("q", "b"), "law"] == "none"
    assert "takes no part" in parts.loc[("q", "b"), "message"]
    assert fits["p"]["better"] == "cannot tell yet"
    assert fits["q"]["better"] == "one cause"
    out = fits.survival_at([250.0])
    assert out["survival"].between(0, 1).all()
    assert (out["low"] < out["survival"]).all()


def test_without_failures_every_row_says_so():
    seen = life.cumulative_incidence([5.0, 6, 7], ["", None, ""])
    assert seen["all"]["status"] == "no failures"
    assert seen.curves.empty
    assert seen.at([5.0]).empty
    fits = life.fit_causes([5.0, 6, 7], ["", "", ""])
    assert fits["all"]["status"] == "no failures"
    assert fits.survival_at([5.0])["survival"].isna().all()


def test_an_emptied_risk_set_is_told():
    seen = life.cumulative_incidence([10.0, 30, 40], ["a", "b", ""], entry_age=[0.0, 20, 20])
    assert seen["all"]["status"] == "risk set emptied"
    # the whole share has gone to the first cause, and nothing follows
    np.testing.assert_allclose(seen.at([35.0])["incidence"], [1.0, 0.0])


def test_early_share_is_the_incidence_at_that_age():
    age, cause, entry = lives(4, 300)
    group = np.array(["x", "y"])[np.arange(300) % 2]
    got = life.early_share(age, cause, 300.0, group=group, entry_age=entry, of=["fitting"])
    want = life.cumulative_incidence(age, cause, group=group, entry_age=entry).at([300.0])
    want = want.query("cause == 'fitting'")
    np.testing.assert_allclose(got.table["share"], want["incidence"])
    np.testing.assert_allclose(got.table["high"], want["high"])
    every = life.early_share(age, cause, 300.0, group=group, entry_age=entry).table
    np.testing.assert_allclose(every["share"], 1 - want["survival"])
    none = life.early_share([50.0, 400, 400], ["", "a", ""], 100.0)["all"]
    assert (none["share"], none["status"]) == (0.0, "no failures")
    assert none["high"] == pytest.approx(1 - 0.05 ** (1 / 2))
    assert life.early_share([50.0], ["a"], 100.0)["all"]["status"] == "not seen"


# --- does one law hide a mixture? -------------------------------------------------------------


def installation_defects(rng, n):
    """4 % of installations defective; true mean 40,100 h; watching ends at 30,000 h."""
    defect = np.where(rng.random(n) < 0.04, 1200 * rng.exponential(size=n) ** 1.25, np.inf)
    rest = np.minimum(110e3 * rng.exponential(size=n), 62e3 * rng.exponential(size=n) ** 0.4)
    age = np.minimum(defect, rest)
    return np.minimum(age, 30e3), age < 30e3


def test_one_weibull_over_installation_defects_is_caught():
    """In the large the single law has shape 0.92 and a 'mean' of 71,400 h, as is known."""
    age, failed = installation_defects(np.random.default_rng(21), 40_000)
    row = life.hides_mixture(age, failed)["all"]
    assert row["shape"] == pytest.approx(0.92, abs=0.02)
    assert row["mean"] == pytest.approx(71_400, rel=0.05)
    assert not row["mean_inside"]
    assert row["status"] == "mean beyond data"
    assert row["verdict"] == "a mixture is likely"
    assert row["rest_shape"] > 1.3
    assert abs(row["mixture_mean"] - 40_100) < abs(row["mean"] - 40_100) / 4
    share = life.early_share(age, failed, 5000.0)["all"]
    assert share["low"] < share["share"] < share["high"]


def test_the_mixture_is_found_among_300_lives_in_most_sets():
    rng = np.random.default_rng(5)
    sets = [installation_defects(rng, 300) for _ in range(60)]
    age, failed = (np.concatenate([s[i] for s in sets]) for i in (0, 1))
    found = life.hides_mixture(age, failed, group=np.repeat(np.arange(60), 300)).table
    assert np.mean(found["verdict"] == "a mixture is likely") >= 0.7


@pytest.mark.parametrize(("shape", "end"), [(0.8, 1.0), (1.5, 1.0)])
def test_false_alarms_are_no_more_than_they_should_be(shape, end):
    """100 groups of one Weibull with about 60 failures each: at most 10 % called mixtures."""
    rng = np.random.default_rng(17)
    n = round(60 / (1 - np.exp(-(end**shape))))
    age = rng.exponential(size=(100, n)) ** (1 / shape)
    group = np.repeat(np.arange(100), n)
    found = life.hides_mixture(np.minimum(age, end).ravel(), (age <= end).ravel(), group=group)
    assert np.mean(found.table["verdict"] == "a mixture is likely") <= 0.10


def test_verdicts_come_in_words_with_a_reason():
    rng = np.random.default_rng(3)
    steep = rng.exponential(size=1500) ** (1 / 2.5)
    age = np.r_[steep, steep[:40], [1.0] * 6]
    failed = np.r_[np.ones(1540, bool), [True, False] * 3]
    group = np.r_[["many"] * 1500, ["some"] * 40, ["few"] * 6]
    found = life.hides_mixture(age, failed, group=group)
    assert found["many"]["verdict"] == "one law will do"
    assert found["few"]["verdict"] == "cannot tell yet"
    assert found["some"]["verdict"] in ("cannot tell yet", "one law will do")
    assert (found.table["reason"] != "").all()
    assert found["few"]["status"] != "ok"
    assert np.isnan(found["few"]["early_share"])


def test_mixture_fit_scales_with_the_unit_and_ignores_order():
    age, failed = installation_defects(np.random.default_rng(1), 300)
    mixed = np.random.default_rng(2).permutation(300)
    one = life.hides_mixture(age, failed)["all"]
    two = life.hides_mixture(age[mixed] / 8766, failed[mixed])["all"]
    assert two["chi2"] == pytest.approx(one["chi2"], abs=1e-4)
    assert two["early_mean"] * 8766 == pytest.approx(one["early_mean"], rel=1e-2)


# --- bad input ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"age": [1.0, np.nan]}, r"age\[1\].*finite"),
        ({"age": [1.0, -2.0]}, r"age\[1\].*above 0"),
        ({"cause": ["a", np.nan]}, r"cause\[1\].*'unknown'"),
        ({"cause": ["a", 3]}, r"cause\[1\].*no word"),
        ({"cause": ["a"]}, "cause: has"),
        ({"cause": [["a", "b"]]}, "cause: has shape"),
        ({"entry_age": [0.0, 2.0]}, r"entry_age\[1\].*below the age at the end"),
        ({"entry_age": [-1.0, 0.0]}, r"entry_age\[0\].*below 0"),
        ({"weight": [1.0, -1.0]}, r"weight\[1\]"),
        ({"group": ["x", None]}, r"group\[1\].*missing"),
        ({"level": 1.0}, "level"),
    ],
)
@pytest.mark.parametrize("function", [life.cumulative_incidence, life.fit_causes])
def test_bad_input_is_told_in_a_sentence(function, change, words):
    given = {"age": [1.0, 2.0], "cause": ["a", ""], **change}
    with pytest.raises(InputError, match=words):
        function(given.pop("age"), given.pop("cause"), **given)


def test_bad_settings_are_told_in_a_sentence():
    for bad in ({"early_age": -1.0}, {"matters": 0.7}, {"level": 0.0}):
        with pytest.raises(InputError, match=next(iter(bad))):
            life.hides_mixture([1.0, 2.0], [1, 1], **bad)
    with pytest.raises(InputError, match="early_age"):
        life.early_share([1.0], ["a"], 0.0)
    with pytest.raises(InputError, match="known here: a"):
        life.early_share([1.0], ["a"], 1.0, of=["b"])
    with pytest.raises(InputError, match="ages"):
        life.cumulative_incidence([1.0], ["a"]).at(np.nan)


def test_no_lives_at_all_is_a_row_that_says_so():
    assert life.cumulative_incidence([], [])["all"]["status"] == "no lives"
    assert life.fit_causes([], [])["all"]["status"] == "no lives"
    assert life.hides_mixture([], [])["all"]["verdict"] == "cannot tell yet"


def test_a_group_whose_lives_all_weigh_nothing_keeps_its_row():
    age, cause, _ = lives(2, 60, late=0.0)
    group = np.repeat(["a", "b", "c"], 20)
    weight = np.where(group == "b", 0.0, 1.0)
    fits = life.fit_causes(age, cause, group=group, weight=weight)
    alone = life.fit_causes(age[40:], cause[40:])
    assert fits.table["status"].iloc[1] == "no lives"
    np.testing.assert_allclose(fits.parts["shape"][4:], alone.parts["shape"])
    seen = life.cumulative_incidence(age, cause, group=group, weight=weight)
    assert seen.table["status"].tolist()[1] == "no lives"
    assert life.early_share(age, cause, 9.0, group=group, weight=weight)["b"]["n"] == 0
    found = life.hides_mixture(age, cause != "", group=group, weight=weight)
    assert found["b"]["verdict"] == "cannot tell yet"
    assert found["c"]["n"] == 20
