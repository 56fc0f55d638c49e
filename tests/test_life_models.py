"""Lognormal, exponential, fixed shape, comparison, life tables, plot line."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from seallife import life
from seallife.errors import InputError


def sample(seed, n, sigma=0.7, late=0.4):
    """Lognormal lives around 1,000, some seen late."""
    rng = np.random.default_rng(seed)
    age = 1000 * np.exp(sigma * rng.standard_normal(4 * n))
    entry = np.where(rng.random(4 * n) < late, rng.uniform(0, 900, 4 * n), 0.0)
    seen = np.flatnonzero(age > entry)[:n]
    age, entry = age[seen], entry[seen]
    end = entry + rng.uniform(10, 2000, n)
    return np.minimum(age, end), age <= end, entry


@pytest.mark.parametrize("seed", range(3))
def test_lognormal_agrees_with_lifelines(seed):
    from lifelines import LogNormalFitter

    age, failed, entry = sample(seed, 150)
    row = life.fit_lognormal(age, failed, entry_age=entry)["all"]
    other = LogNormalFitter().fit(age, failed, entry=entry)
    np.testing.assert_allclose(
        [row["mu"], row["sigma"], row["loglik"]],
        [other.mu_, other.sigma_, other.log_likelihood_],
        rtol=1e-4,
    )


def test_lognormal_agrees_with_reliability():
    age, failed, _ = sample(3, 80, late=0.0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the package imports pyplot
        from reliability.Fitters import Fit_Lognormal_2P

        other = Fit_Lognormal_2P(
            failures=list(age[failed]),
            right_censored=list(age[~failed]),
            show_probability_plot=False,
            print_results=False,
        )
    row = life.fit_lognormal(age, failed)["all"]
    np.testing.assert_allclose([row["mu"], row["sigma"]], [other.mu, other.sigma], rtol=1e-3)


def test_lognormal_truth_and_coverage_with_late_entry():
    age, failed, entry = sample(5, 60 * 150)
    group = np.repeat(np.arange(150), 60)
    t = life.fit_lognormal(age, failed, group=group, entry_age=entry).table
    assert set(t["status"]) == {"ok"}
    assert abs(t["median"].median() / 1000 - 1) < 0.04
    assert abs(t["sigma"].median() / 0.7 - 1) < 0.06
    for name, truth in (("median", 1000), ("sigma", 0.7), ("mean", 1000 * np.exp(0.245))):
        assert 0.82 < t[f"{name}_low"].le(truth).mul(t[f"{name}_high"].ge(truth)).mean() < 0.97


def test_lognormal_tail_is_stable():
    """A late entry 40 sigma out must not turn into log(0)."""
    age = np.array([1.0, 1.1, 0.9, 1.2, 1.05, 60.0])
    fits = life.fit_lognormal(age, [1, 1, 1, 1, 1, 0], entry_age=[0, 0, 0, 0, 0, 50.0])
    assert np.isfinite(fits["all"]["loglik"])


def test_lognormal_interval_ends_and_thin_groups():
    age, failed, entry = sample(6, 80)
    low = np.where(failed, np.maximum(entry, age * (1 - 1e-6)), np.nan)
    narrow = life.fit_lognormal(age, failed, entry_age=entry, age_low=low)["all"]
    exact = life.fit_lognormal(age, failed, entry_age=entry)["all"]
    for name in ("mu", "sigma", "median_low", "b10_high", "sigma_high"):
        assert narrow[name] == pytest.approx(exact[name], rel=1e-4)
    fits = life.fit_lognormal(
        [5, 6, 7, 7, 3, 9], [0, 0, 1, 1, 1, 0], group=list("aabbcc"), survival_at=[4]
    )
    assert fits.table["status"].tolist() == ["no failures", "at bound", "few failures"]
    s = fits.survival.dropna()
    assert s["low"].between(0, 1).all()


def test_a_class_of_lives_that_weigh_nothing_has_a_row_in_words() -> None:
    got = life.fit_fixed_shape(
        [1.0, 2.0, 3.0], [1, 1, 0], 1.5, group=["a", "b", "b"], weight=[0.0, 1.0, 1.0]
    ).table.set_index("group")
    assert got.loc["a", "status"] == "no lives"
    assert np.isnan(got.loc["a", "scale"])
    assert np.isfinite(got.loc["b", "scale_low"])


def test_exponential_is_the_fixed_shape_1():
    rng = np.random.default_rng(0)
    age, failed = rng.exponential(100, 60), rng.random(60) < 0.4
    group = rng.integers(0, 4, 60)
    flat = life.fit_exponential(age, failed, group=group).table
    fixed = life.fit_fixed_shape(age, failed, 1.0, group=group).table
    pairs = {"mean": "scale", "mean_low": "scale_low", "mean_high": "scale_high"}
    for a, b in (pairs | {"loglik": "loglik", "aic": "aic"}).items():
        np.testing.assert_allclose(flat[a], fixed[b], rtol=1e-10)
    np.testing.assert_allclose(flat["rate_low"] * flat["mean_high"], 1)


def test_exact_limits_match_the_printed_factors():
    """NIST e-Handbook 8.4.5.1: factors for r failures, 80 % two-sided."""
    low, high = life.exact_limits([1, 2, 5, 10, 20], 0.80)
    expected = [0.2571, 0.3758, 0.5391, 0.6491, 0.7395]
    np.testing.assert_allclose(low * [1, 2, 5, 10, 20], expected, atol=5e-5)
    expected = [9.4912, 3.7607, 2.0554, 1.6074, 1.3769]
    np.testing.assert_allclose(high * [1, 2, 5, 10, 20], expected, atol=5e-5)


def test_exact_limits_cover():
    rng = np.random.default_rng(2)
    life_ = 50 * rng.weibull(2.0, (4000, 12))
    end = 40.0
    age, failed = np.minimum(life_, end).ravel(), (life_ <= end).ravel()
    t = life.fit_fixed_shape(age, failed, 2.0, group=np.repeat(np.arange(4000), 12)).table
    some = t[t["failures"] > 0]
    covered = (some["scale_low"] <= 50) & (50 <= some["scale_high"])
    # conservative on the lower side, as watching ends at a set time
    assert 0.89 < covered.mean() < 0.97


@pytest.mark.parametrize("failures", [0, 1, 3])
def test_fixed_shape_says_what_it_rests_on(failures):
    failed = np.arange(6) < failures
    fits = life.fit_weibull([9.0] * 6, failed, fixed_shape=1.4, survival_at=[5.0])
    row, s = fits["all"], fits.survival.iloc[0]
    assert row["status"] == ("no failures" if failures == 0 else "few failures")
    assert np.isnan(row["scale"]) == (failures == 0)
    assert np.isnan(row["scale_high"]) == (failures == 0)
    assert 0 < s["low"] < 1
    assert np.isnan(s["high"]) == (failures == 0)
    assert row["b10_low"] / row["scale_low"] == pytest.approx((-np.log(0.9)) ** (1 / 1.4))


def test_fixed_shape_refuses_what_it_cannot_use():
    with pytest.raises(InputError, match="middle age"):
        life.fit_weibull([2.0], [1], age_low=[1.0], fixed_shape=2.0)
    with pytest.raises(InputError, match="shape"):
        life.fit_fixed_shape([2.0], [1], -1.0)


def test_comparison_follows_from_the_fits():
    rng = np.random.default_rng(4)
    age, failed = rng.weibull(1.5, 200) * 100, rng.random(200) < 0.6
    group = rng.integers(0, 3, 200)
    c = life.compare_shapes(age, failed, group)
    model = c.table.set_index("model")
    separate = life.fit_weibull(age, failed, group=group).table
    np.testing.assert_allclose(model.loc["separate", "loglik"], separate["loglik"].sum())
    pooled = life.fit_weibull(age, failed)["all"]
    np.testing.assert_allclose(model.loc["pooled", "loglik"], pooled["loglik"])
    np.testing.assert_allclose(model.loc["pooled", "shape"], pooled["shape"])
    shape = model.loc["common shape", "shape"]
    fixed = life.fit_fixed_shape(age, failed, shape, group=group).table
    np.testing.assert_allclose(fixed["loglik"].sum(), model.loc["common shape", "loglik"])
    for nearby in (shape * 1.01, shape * 0.99):
        other = life.fit_fixed_shape(age, failed, nearby, group=group).table["loglik"].sum()
        assert other < model.loc["common shape", "loglik"]
    assert model["df"].tolist() == [0, 2, 2]
    assert (c.classes["ratio_low"] <= c.classes["ratio"]).all()


def test_comparison_of_thin_classes():
    age, failed = [1, 2, 3, 4, 5, 5, 7, 8], [1, 1, 1, 0, 1, 1, 0, 0]
    c = life.compare_shapes(age, failed, list("aaaabbcc"))
    assert c.left_out == ("c",)
    assert c.table["status"].tolist() == ["at bound", "ok", "ok"]
    with pytest.raises(InputError, match="two or more"):
        life.compare_shapes([1, 2, 3], [1, 1, 0], list("aab"))
    with pytest.raises(InputError, match="no shape"):
        life.compare_shapes([5, 5], [1, 1], list("ab"))


def test_equal_shapes_are_rejected_as_often_as_chance_says():
    rng = np.random.default_rng(8)
    p = []
    for _ in range(150):
        age = rng.weibull(1.5, 120) * np.repeat([100, 300], 60)
        c = life.compare_shapes(age, np.ones(120), np.repeat(["a", "b"], 60))
        p.append(c.table["p"][1])
    assert 0.03 < np.mean(np.array(p) < 0.1) < 0.18


def test_rank_line_adjusts_for_censored_lives():
    """Johnson's increments by hand: n = 5, lives 10, 30+, 45, 49+, 82."""
    line = life.rank_line([10, 30, 45, 49, 82], [1, 0, 1, 0, 1])
    assert line.table["rank"].tolist() == pytest.approx([1, 2.25, 4.125])
    assert "plot only" in line.method
    with pytest.raises(InputError, match="no line"):
        life.rank_line([3, 3], [1, 1])


@pytest.mark.parametrize("bad", [{"ranks": "mean"}, {"regress": "both"}])
def test_rank_line_refuses_other_words(bad):
    with pytest.raises(InputError):
        life.rank_line([1, 2], [1, 1], **bad)


def test_exposure_table_loses_no_life():
    rng = np.random.default_rng(9)
    age = rng.uniform(1, 100, 300)
    entry = age * rng.random(300)
    failed, group = rng.random(300) < 0.5, rng.integers(0, 3, 300)
    t = life.exposure_table(age, failed, [0, 7, 30, 100], group=group, entry_age=entry)
    np.testing.assert_allclose(t["exposure"].sum(), (age - entry).sum())
    assert t["failures"].sum() == failed.sum()
    assert (t["rate_low"] <= t["rate"]).all()
    assert (t["rate"] <= t["rate_high"]).all()


@pytest.mark.parametrize(
    "call",
    [
        lambda: life.actuarial_table([0, 1, 2, 3], [1], [1]),
        lambda: life.actuarial_table([0, 1], [5], [5], entering=3),
        lambda: life.actuarial_table([1, 0], [1, 1], [0, 0]),
        lambda: life.actuarial_table([0, 1], [-1], [0]),
        lambda: life.grouped_survival([1], [2]),
        lambda: life.exposure_table([1], [1], [0]),
    ],
)
def test_tables_refuse_bad_counts(call):
    with pytest.raises(InputError):
        call()
