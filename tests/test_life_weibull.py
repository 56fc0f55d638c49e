"""`seallife.life.weibull`: agreement, known truth, invariances, hard cases."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from seallife import life
from seallife.errors import InputError
from seallife.life.lifedata import read_lives
from seallife.life.region import likelihood_drop
from seallife.life.weibullfit import Asked, fit_exact, fit_rows

FIGURES = ["shape", "scale", "b10", "b50", "mean"]
LIMITS = [f"{name}_{side}" for name in FIGURES for side in ("low", "high")]


def sample(seed, n, *, shape=1.6, scale=1000.0, late=0.3, spread=1.6):
    """Lives with random censoring, a share of them first seen at an age already reached."""
    rng = np.random.default_rng(seed)
    entry = np.where(rng.random(n) < late, scale * rng.uniform(0, 0.8, n), 0.0)
    age = scale * ((entry / scale) ** shape + rng.exponential(size=n)) ** (1 / shape)
    end = entry + scale * rng.uniform(0.01, spread, n)
    return np.minimum(age, end), age <= end, entry


def loglik(shape, scale, age, failed, entry):
    """The likelihood as the textbook writes it, life by life."""
    h = np.log(shape / scale) + (shape - 1) * np.log(age / scale)
    return (failed * h).sum() - ((age / scale) ** shape - (entry / scale) ** shape).sum()


@pytest.mark.parametrize("seed", range(6))
def test_lifelines_agrees(seed):
    from lifelines import WeibullFitter

    age, failed, entry = sample(seed, 60 + 40 * seed)
    row = life.fit_weibull(age, failed, entry_age=entry)["all"]
    other = WeibullFitter().fit(age, failed, entry=entry)
    np.testing.assert_allclose(
        [row["shape"], row["scale"], row["loglik"]],
        [other.rho_, other.lambda_, other.log_likelihood_],
        rtol=2e-5,
    )


@pytest.mark.parametrize("seed", range(3))
def test_reliability_agrees(seed):
    age, failed, _ = sample(seed, 80, late=0.0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the package imports pyplot
        from reliability.Fitters import Fit_Weibull_2P

        other = Fit_Weibull_2P(
            failures=list(age[failed]),
            right_censored=list(age[~failed]),
            show_probability_plot=False,
            print_results=False,
        )
    row = life.fit_weibull(age, failed)["all"]
    np.testing.assert_allclose(
        [row["shape"], row["scale"], row["loglik"]], [other.beta, other.alpha, other.loglik], 1e-4
    )


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 60), st.floats(0.4, 6), st.floats(0, 1))
@example(126, 2, 6.0, 0.0)  # a top just inside the limits, over which a step leads out
def test_two_ways_to_fit_agree(seed, n, shape, late):
    """Power sums with a tabulated likelihood, against climbing and tracing on the rows."""
    age, failed, entry = sample(seed, n, shape=shape, late=late)
    if failed.sum() == 0 or age[failed].min() == age.max():
        return
    data = read_lives(age, failed, entry_age=entry)
    asked = Asked(np.array([0.1, 0.5]), np.log([200.0, 1200.0]))
    drop = likelihood_drop(0.9)
    first, second = fit_exact(data, asked, drop), fit_rows(data, asked, drop)
    assert first.found == second.found
    if not first.found or not np.isfinite(first.low).all():
        return
    np.testing.assert_allclose(first.log_sigma, second.log_sigma, atol=1e-7)
    np.testing.assert_allclose(first.loglik, second.loglik, rtol=1e-9)
    width = first.high - first.low
    both = np.isfinite(second.low) & np.isfinite(second.high)
    assert (np.abs(first.low - second.low)[both] < 0.01 * width[both]).all()
    assert (np.abs(first.high - second.high)[both] < 0.01 * width[both]).all()


@pytest.mark.parametrize("seed", range(4))
def test_limits_are_the_extremes_of_a_plain_search(seed):
    """Likelihood-ratio limits against a fine scan of the whole region."""
    age, failed, entry = sample(seed, 25)
    level = 0.9
    fits = life.fit_weibull(age, failed, entry_age=entry, level=level, survival_at=[500])
    row, s = fits["all"], fits.survival.iloc[0]
    shape = np.geomspace(row["shape_low"] * 0.99, row["shape_high"] * 1.01, 600)
    scale = np.geomspace(row["scale_low"] * 0.99, row["scale_high"] * 1.01, 600)
    grid = np.stack(np.meshgrid(shape, scale), -1).reshape(-1, 2)
    b, eta = grid.T
    power = (age[:, None] / eta) ** b - (entry[:, None] / eta) ** b
    h = np.log(b / eta) + (b - 1) * np.log(age[failed][:, None] / eta)
    inside = h.sum(0) - power.sum(0) >= row["loglik"] - likelihood_drop(level)
    b, eta = b[inside], eta[inside]
    found = {
        "shape": b,
        "scale": eta,
        "b10": eta * (-np.log(0.9)) ** (1 / b),
        "b50": eta * np.log(2) ** (1 / b),
    }
    for name, values in found.items():
        np.testing.assert_allclose(row[f"{name}_low"], values.min(), rtol=0.006)
        np.testing.assert_allclose(row[f"{name}_high"], values.max(), rtol=0.006)
        assert row[f"{name}_low"] <= values.min() * (1 + 1e-9)
        assert row[f"{name}_high"] >= values.max() * (1 - 1e-9)
    r = np.exp(-((500 / eta) ** b))
    np.testing.assert_allclose([s["low"], s["high"]], [r.min(), r.max()], atol=0.005)


def test_the_likelihood_is_the_textbook_one():
    age, failed, entry = sample(3, 40)
    row = life.fit_weibull(age, failed, entry_age=entry)["all"]
    here = loglik(row["shape"], row["scale"], age, failed, entry)
    np.testing.assert_allclose(row["loglik"], here, rtol=1e-13)
    np.testing.assert_allclose(row["aic"], 4 - 2 * here, rtol=1e-13)
    for move in (1.001, 0.999):
        assert loglik(row["shape"] * move, row["scale"], age, failed, entry) < here
        assert loglik(row["shape"], row["scale"] * move, age, failed, entry) < here


def test_known_truth_is_recovered_with_late_entry():
    rng = np.random.default_rng(11)
    groups = 300
    group = np.repeat(np.arange(groups), 80)
    age, failed, entry = sample(rng.integers(10**6), len(group), shape=1.6, late=0.5)
    fits = life.fit_weibull(age, failed, group=group, entry_age=entry, survival_at=[800.0])
    t = fits.table
    assert (t["status"] == "ok").all()
    assert abs(t["shape"].median() / 1.6 - 1) < 0.03
    assert abs(t["scale"].median() / 1000 - 1) < 0.02
    truth = {"shape": 1.6, "scale": 1000.0, "b10": 1000 * (-np.log(0.9)) ** (1 / 1.6)}
    for name, value in truth.items():
        covered = ((t[f"{name}_low"] <= value) & (value <= t[f"{name}_high"])).mean()
        assert 0.84 < covered < 0.95
    r = np.exp(-(0.8**1.6))
    s = fits.survival
    assert 0.84 < ((s["low"] <= r) & (r <= s["high"])).mean() < 0.95
    # leaving the late entry out must show, or the test shows nothing
    assert life.fit_weibull(age, failed, group=group).table["shape"].median() > 1.75


@pytest.mark.parametrize("unit", [1e-9, 1e-3, 24.0, 1e9])
def test_a_change_of_unit_changes_ages_only(unit):
    age, failed, entry = sample(4, 50)
    one = life.fit_weibull(age, failed, entry_age=entry, survival_at=[700])
    two = life.fit_weibull(age * unit, failed, entry_age=entry * unit, survival_at=[700 * unit])
    a, b = one["all"], two["all"]
    for name in ["shape", "shape_low", "shape_high"]:
        np.testing.assert_allclose(b[name], a[name], rtol=1e-8)
    for name in FIGURES[1:] + LIMITS[2:] + ["exposure", "oldest_age", "sd"]:
        np.testing.assert_allclose(b[name], a[name] * unit, rtol=1e-7)
    names = ["survival", "low", "high"]
    np.testing.assert_allclose(two.survival[names], one.survival[names], rtol=1e-7)


def test_order_of_rows_and_names_of_groups_change_nothing():
    age, failed, entry = sample(5, 400)
    group = np.repeat(["d", "b", "a", "c"], 100)
    order = np.random.default_rng(0).permutation(400)
    one = life.fit_weibull(age, failed, group=group, entry_age=entry).table
    two = life.fit_weibull(
        age[order], failed[order], group=group[order], entry_age=entry[order]
    ).table
    assert one["group"].tolist() == list("abcd") == two["group"].tolist()
    names = FIGURES + LIMITS + ["loglik"]
    np.testing.assert_allclose(two[names], one[names], rtol=1e-9)


def test_groups_are_fitted_as_if_alone():
    age, failed, entry = sample(6, 300)
    group = np.random.default_rng(1).integers(0, 12, 300)
    together = life.fit_weibull(age, failed, group=group, entry_age=entry)
    for label in range(12):
        rows = group == label
        alone = life.fit_weibull(age[rows], failed[rows], entry_age=entry[rows])["all"]
        names = FIGURES + LIMITS
        np.testing.assert_allclose(
            together[label][names].astype(float), alone[names].astype(float), rtol=1e-8
        )
        assert together[label]["status"] == alone["status"]


@pytest.mark.parametrize("interval", [False, True])
def test_weights_stand_for_repeated_rows(interval):
    age, failed, entry = sample(7, 60)
    low = np.where(failed & (np.arange(60) % 3 == 0), np.maximum(entry, age - 90), np.nan)
    times = np.random.default_rng(2).integers(1, 5, 60)
    low = low if interval else np.full(60, np.nan)
    one = life.fit_weibull(age, failed, entry_age=entry, age_low=low, weight=times)["all"]
    repeated = [np.repeat(x, times) for x in (age, failed, entry, low)]
    two = life.fit_weibull(*repeated[:2], entry_age=repeated[2], age_low=repeated[3])["all"]
    names = ["n", "failures", "exposure", *FIGURES, *LIMITS, "loglik"]
    np.testing.assert_allclose(one[names].astype(float), two[names].astype(float), rtol=1e-7)


def test_a_narrow_interval_is_an_exact_age():
    age, failed, entry = sample(8, 50)
    low = np.where(failed, np.maximum(age * (1 - 1e-6), entry), np.nan)
    narrow = life.fit_weibull(age, failed, entry_age=entry, age_low=low)["all"]
    exact = life.fit_weibull(age, failed, entry_age=entry)["all"]
    names = FIGURES + LIMITS
    np.testing.assert_allclose(narrow[names].astype(float), exact[names].astype(float), rtol=1e-4)


def test_interval_ends_recover_the_truth():
    age, failed, _ = sample(9, 4000, late=0.0)
    low = np.where(failed, np.floor(age / 250) * 250, np.nan)
    high = np.where(failed, np.ceil(age / 250) * 250, age)
    row = life.fit_weibull(high, failed, age_low=low)["all"]
    assert row["shape_low"] < 1.6 < row["shape_high"]
    assert row["scale_low"] < 1000 < row["scale_high"]
    # taking the end of the interval for the age must show, or the test shows nothing
    assert life.fit_weibull(high, failed)["all"]["scale_low"] > 1000


@pytest.mark.parametrize(
    ("age", "failed", "status", "fitted"),
    [
        ([100.0], [False], "no failures", False),
        ([100.0], [True], "few failures", False),
        ([100.0, 50.0], [True, False], "few failures", False),
        ([100.0] * 9, [True] * 9, "at bound", False),
        ([100.0, 200.0], [True, False], "few failures", False),
        ([100.0, 120.0, 200.0], [True, True, False], "few failures", True),
        ([100.0, 100.0001], [True, True], "at bound", False),
        ([100.0, 101.0, 102.0, 103.0, 104.0], [1] * 5, "ok", True),
    ],
)
def test_thin_groups_say_what_they_are_worth(age, failed, status, fitted):
    row = life.fit_weibull(age, failed)["all"]
    assert row["status"] == status
    assert (row["message"] != "") == (status != "ok")
    figures = row[FIGURES + LIMITS + ["loglik"]].astype(float)
    assert figures.notna().all() if fitted else figures.isna().all()


def test_a_bad_group_neither_kills_nor_hides():
    age, failed, _ = sample(10, 60, late=0)
    group = ["well"] * 60 + ["none"] * 2 + ["steep"] * 3 + ["one"] * 2
    ages = np.concatenate((age, [5, 6], [7, 7, 7], [8, 9]))
    ends = np.concatenate((failed, [0, 0], [1, 1, 1], [1, 0])).astype(bool)
    low = np.full(len(ages), np.nan)
    low[-2] = 2.0
    fits = life.fit_weibull(ages, ends, group=group, age_low=low)
    status = dict(zip(fits.table["group"], fits.table["status"], strict=True))
    assert status == {
        "none": "no failures",
        "one": "few failures",
        "steep": "at bound",
        "well": "ok",
    }
    alone = life.fit_weibull(age, failed)["all"]
    np.testing.assert_allclose(fits["well"]["b10_low"], alone["b10_low"], rtol=1e-10)


def test_a_region_without_an_end_is_told():
    """All entered late, few failed: the likelihood stays high down to shape 0."""
    rng = np.random.default_rng(3)
    entry = rng.uniform(900, 1000, 12)
    age = entry + rng.uniform(5, 20, 12)
    failed = np.arange(12) < 3
    row = life.fit_weibull(age, failed, entry_age=entry)["all"]
    if np.isfinite(row["shape"]):
        assert row["status"] == "interval open"
        assert np.isnan(row["scale_high"])
    else:
        assert row["status"] == "at bound"


def test_a_million_ties():
    age = np.tile(np.arange(1.0, 11.0), 100_000)
    row = life.fit_weibull(age, np.ones(len(age)))["all"]
    small = life.fit_weibull(np.arange(1.0, 11.0), np.ones(10), weight=[100_000] * 10)["all"]
    np.testing.assert_allclose(row["shape"], small["shape"], rtol=1e-11)
    np.testing.assert_allclose(row["shape_low"], small["shape_low"], rtol=1e-8)


def test_a_huge_range_of_ages():
    rng = np.random.default_rng(12)
    age = np.exp(rng.uniform(np.log(1e-9), np.log(1e9), 200))
    row = life.fit_weibull(age, np.ones(200))["all"]
    assert row["status"] == "ok"
    assert 0.05 < row["shape"] < 0.2
    assert row["shape_low"] < row["shape"] < row["shape_high"]


@settings(max_examples=80, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(1e-3, 1e5), st.booleans(), st.floats(0, 0.99)), min_size=1, max_size=12
    )
)
def test_any_small_group_gives_an_ordered_row(lives):
    age = np.array([x[0] for x in lives])
    failed = np.array([x[1] for x in lives])
    entry = age * np.array([x[2] for x in lives])
    fits = life.fit_weibull(age, failed, entry_age=entry, survival_at=[10.0])
    row, s = fits["all"], fits.survival.iloc[0]
    assert row["status"] in {
        "ok", "few failures", "no failures", "at bound", "interval open", "not converged",
    }  # fmt: skip
    for name in FIGURES:
        low, middle, high = row[f"{name}_low"], row[name], row[f"{name}_high"]
        if np.isfinite([low, middle, high]).all():
            assert low <= middle * (1 + 1e-9)
            assert middle <= high * (1 + 1e-9)
    if np.isfinite(s["low"]):
        assert 0 <= s["low"] <= s["survival"] + 1e-12
        assert s["survival"] <= s["high"] + 1e-12 <= 1 + 2e-12


def test_without_intervals_the_figures_are_the_same():
    age, failed, entry = sample(13, 80)
    one = life.fit_weibull(age, failed, entry_age=entry)["all"]
    two = life.fit_weibull(age, failed, entry_age=entry, intervals=False)["all"]
    assert one[FIGURES].tolist() == two[FIGURES].tolist()
    assert two[LIMITS].isna().all()


def test_the_result_can_be_read_and_stored():
    import json

    fits = life.fit_weibull([1, 2, 3, 9], [1, 1, 0, 0], group=list("aabb"))
    assert "b: No failure" in fits.summary()
    assert json.loads(json.dumps(fits.to_dict()))["table"][1]["scale"] is None
    assert "<table" in fits._repr_html_()
    assert len(fits) == 2
    with pytest.raises(InputError, match="known here: a, b"):
        fits["c"]


@pytest.mark.parametrize("bad", [{"fractions": [0.0]}, {"fractions": [10]}, {"survival_at": [-1]}])
def test_bad_requests_are_refused(bad):
    with pytest.raises(InputError):
        life.fit_weibull([1, 2], [1, 1], **bad)
