"""`seallife.life.nonparametric`, `curves`, `logrank`: agreement, invariances, hard cases."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seallife import life
from seallife.errors import InputError


def sample(seed, n, late=0.3, ties=False):
    rng = np.random.default_rng(seed)
    age = rng.weibull(1.5, n) * 1000 + 1
    age = np.ceil(age / 50) * 50 if ties else age
    entry = np.where(rng.random(n) < late, age * rng.uniform(0, 0.9, n), 0.0)
    return age, rng.random(n) < 0.6, entry


def by_hand(age, failed, entry):
    """Product limit as the definition says it, one age at a time."""
    out, s, var = [], 1.0, 0.0
    for t in np.unique(age[failed]):
        n = ((entry < t) & (age >= t)).sum()
        d = (failed & (age == t)).sum()
        s *= 1 - d / n
        var += d / (n * (n - d)) if n > d else np.nan
        out.append((t, n, d, s, s * np.sqrt(var)))
    return np.array(out)


@pytest.mark.parametrize("ties", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_every_group_follows_the_definition(seed, ties):
    age, failed, entry = sample(seed, 300, ties=ties)
    group = np.random.default_rng(seed).integers(0, 9, 300)
    curves = life.kaplan_meier(age, failed, group=group, entry_age=entry).curves
    for label in np.unique(group):
        rows = group == label
        hand = by_hand(age[rows], failed[rows], entry[rows])
        mine = curves[curves["group"] == label]
        np.testing.assert_allclose(
            mine[["age", "at_risk", "failures", "survival"]].to_numpy(float),
            hand[:, :4],
            rtol=1e-12,
            atol=1e-15,
        )
        alive = hand[:, 3] > 0
        np.testing.assert_allclose(mine["se"][alive], hand[alive, 4], rtol=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_lifelines_agrees(seed):
    from lifelines import KaplanMeierFitter, NelsonAalenFitter

    age, failed, _ = sample(seed, 150, ties=True)
    k = life.kaplan_meier(age, failed, level=0.95)
    other = KaplanMeierFitter().fit(age, failed, alpha=0.05)
    c = k.curves
    np.testing.assert_allclose(c["survival"], other.predict(c["age"]), rtol=1e-9, atol=1e-12)
    limits = other.confidence_interval_.loc[c["age"]].to_numpy()
    inside = c["survival"].to_numpy() > 1e-12
    np.testing.assert_allclose(c[["low", "high"]][inside], limits[inside], rtol=1e-7)
    hazard = NelsonAalenFitter(nelson_aalen_smoothing=False).fit(age, failed)
    np.testing.assert_allclose(c["cum_hazard"], hazard.predict(c["age"]), rtol=1e-9)


@pytest.mark.parametrize("limits", ["log-log", "log", "logit"])
@settings(max_examples=50, deadline=None)
@given(
    lives=st.lists(
        st.tuples(st.integers(1, 12), st.booleans(), st.integers(0, 11)), min_size=1, max_size=25
    )
)
def test_limits_never_leave_0_to_1_and_hold_the_curve(limits, lives):
    age = np.array([x[0] for x in lives], float)
    failed = np.array([x[1] for x in lives])
    entry = np.minimum(np.array([x[2] for x in lives], float), age - 0.5)
    k = life.kaplan_meier(age, failed, entry_age=entry, limits=limits)
    c = k.curves
    assert c["survival"].between(0, 1).all()
    assert (np.diff(c["survival"]) <= 1e-15).all()
    known = c[c["low"].notna()]
    assert known["low"].between(0, 1).all()
    assert known["high"].between(0, 1).all()
    assert (known["low"] <= known["survival"] + 1e-12).all()
    assert (known["survival"] <= known["high"] + 1e-12).all()
    assert (c.loc[c["low"].isna(), "survival"] == 0).all()
    assert (c["at_risk"] >= c["failures"]).all()


def test_order_unit_and_weights():
    age, failed, entry = sample(4, 120, ties=True)
    group = np.random.default_rng(0).integers(0, 4, 120)
    times = np.random.default_rng(1).integers(1, 4, 120)
    one = life.kaplan_meier(age, failed, group=group, entry_age=entry, weight=times)
    order = np.random.default_rng(2).permutation(np.repeat(np.arange(120), times))
    two = life.kaplan_meier(
        24 * age[order], failed[order], group=group[order], entry_age=24 * entry[order]
    )
    names = ["at_risk", "failures", "survival", "low", "high", "cum_hazard"]
    np.testing.assert_allclose(one.curves[names], two.curves[names], rtol=1e-9)
    np.testing.assert_allclose(one.curves["age"] * 24, two.curves["age"])


def test_reading_a_curve_at_ages():
    k = life.kaplan_meier([10, 20, 30, 40], [1, 0, 1, 0], entry_age=[0, 0, 15, 0])
    at = k.at([5, 10, 12, 20, 25, 30, 40, 41])
    assert at["at_risk"].tolist() == [3, 3, 2, 3, 2, 2, 1, 0]
    np.testing.assert_allclose(
        at["survival"], [1, 2 / 3, 2 / 3, 2 / 3, 2 / 3, 1 / 3, 1 / 3, np.nan]
    )
    assert np.isnan(at["low"][0])


def test_quantiles_and_restricted_mean_by_hand():
    k = life.kaplan_meier([1, 2, 3, 4], [1, 1, 1, 1])
    assert k.quantile(0.5)["age"].tolist() == [2]
    assert k.quantile(0.25)["age"].tolist() == [1]
    assert k["all"]["median"] == 2
    mean = k.restricted_mean(10).iloc[0]
    assert mean["mean"] == pytest.approx(2.5)
    # complete data: the variance of a mean with divisor n
    assert mean["se"] == pytest.approx(np.sqrt(1.25 / 4))
    assert mean["low"] < 2.5 < mean["high"]


def test_a_horizon_beyond_the_data_is_refused_in_words():
    k = life.kaplan_meier([5, 8], [1, 0])
    row = k.restricted_mean(9).iloc[0]
    assert np.isnan(row["mean"])
    assert row["status"] == "horizon beyond data"
    assert k.restricted_mean(8).iloc[0]["mean"] == pytest.approx(5 + 1.5)


def test_a_restricted_mean_without_failures_has_an_exact_lower_limit():
    k = life.kaplan_meier([40.0] * 12, [0] * 12)
    row = k.restricted_mean(40).iloc[0]
    assert row[["mean", "se", "high"]].tolist() == [40, 0, 40]
    assert row["low"] == pytest.approx(40 * 0.05 ** (1 / 12))
    # from 10 on the same lives have 30 to go; a failure before says nothing of it
    late = life.kaplan_meier([5.0] + [40.0] * 12, [1] + [0] * 12, start=10).restricted_mean(40)
    assert late.iloc[0][["mean", "low", "high"]].tolist() == pytest.approx(
        [30, 30 * 0.05 ** (1 / 12), 30]
    )


def test_limits_of_a_restricted_mean_stay_inside_the_horizon():
    row = life.kaplan_meier([30.0] + [40.0] * 5, [1] + [0] * 5).restricted_mean(40).iloc[0]
    assert row["mean"] == pytest.approx(40 - 10 / 6)
    assert 0 < row["low"] < row["mean"] < row["high"] < 40
    # as far off on either side, on the scale of log(-log)
    low, mid, high = (np.log(-np.log(row[c] / 40)) for c in ("low", "mean", "high"))
    assert low - mid == pytest.approx(mid - high)


def test_groups_without_failures_keep_their_row():
    k = life.kaplan_meier([5, 8, 3, 4], [0, 0, 1, 1], group=list("aabb"))
    assert k.table["status"].tolist() == ["no failures", "few failures"]
    assert np.isnan(k["a"]["median"])
    assert k.at([4])["survival"].tolist() == [1, 0]
    assert k.restricted_mean(8)["mean"].tolist() == [8, 3.5]


def test_a_start_beyond_all_ages_leaves_an_empty_row():
    k = life.kaplan_meier([5, 8, 30], [1, 1, 1], group=list("aab"), start=10)
    assert k["a"]["status"] == "no lives"
    assert k["b"]["median"] == 30


def test_log_rank_agrees_with_lifelines_and_honours_entry():
    from lifelines.statistics import multivariate_logrank_test

    age, failed, entry = sample(6, 200, ties=True)
    group = np.random.default_rng(3).integers(0, 4, 200)
    test = life.log_rank(age, failed, group)
    other = multivariate_logrank_test(age, group, failed)
    np.testing.assert_allclose([test.chi2, test.p], [other.test_statistic, other.p_value], 1e-9)
    late = life.log_rank(age, failed, group, entry_age=entry)
    assert late.chi2 != pytest.approx(test.chi2)
    np.testing.assert_allclose(late.table["expected"].sum(), failed.sum())
    twice = life.log_rank(age, failed, group, entry_age=entry, weight=np.full(200, 1.0))
    assert twice.chi2 == late.chi2


def test_log_rank_without_a_comparison_says_so():
    test = life.log_rank([1, 2, 5, 6], [1, 1, 1, 1], list("aabb"), entry_age=[0, 0, 3, 3])
    assert np.isnan(test.p)
    assert "nothing to compare" in test.message
    with pytest.raises(InputError, match="two groups"):
        life.log_rank([1, 2], [1, 1], ["a", "a"])


@pytest.mark.parametrize("bad", [{"limits": "plain"}, {"start": -1}, {"level": 2}])
def test_bad_requests_are_refused(bad):
    with pytest.raises(InputError):
        life.kaplan_meier([1, 2], [1, 1], **bad)


@pytest.mark.parametrize(
    "ask", [lambda k: k.at([[1]]), lambda k: k.quantile(2), lambda k: k.restricted_mean(0)]
)
def test_bad_questions_are_refused(ask):
    with pytest.raises(InputError):
        ask(life.kaplan_meier([1, 2], [1, 1]))


def test_before_the_first_failure_the_limit_rests_on_the_fewest_watched() -> None:
    # two from new to 10 and 20, one from 15 to 30: at risk 2, 1, 2, 1
    curves = life.kaplan_meier([10, 20, 30], [0, 0, 0], entry_age=[0, 0, 15])
    at = curves.running([5, 10, 12, 16, 25, 31])
    np.testing.assert_allclose(at["low"], [*[0.05**0.5] * 2, *[0.05] * 3, np.nan])
    np.testing.assert_allclose(at["high"], [1, 1, 1, 1, 1, np.nan])
    assert at["at_risk"].tolist() == [2, 2, 1, 2, 1, 0]
    # nobody between 10 and 15: then it may have happened there
    gap = life.kaplan_meier([10, 30], [0, 0], entry_age=[0, 15]).running([9, 12, 20])
    np.testing.assert_allclose(gap["low"], [0.05, 0, 0])


def test_after_a_failure_running_is_the_curve_itself() -> None:
    curves = life.kaplan_meier([10, 20, 30, 40], [1, 0, 1, 0], start=5)
    ages = [6, 10, 25, 35]
    plain, seen = curves.at(ages), curves.running(ages)
    np.testing.assert_allclose(seen["low"][1:], plain["low"][1:])
    np.testing.assert_allclose(seen["high"][1:], plain["high"][1:])
    np.testing.assert_allclose(seen.loc[0, ["low", "high"]].astype(float), [0.05**0.25, 1])
    assert curves.running([]).empty


def test_a_bound_without_failures_covers_where_few_were_watched_early() -> None:
    """Half fail at age 1, where three are watched: the bound then says so in 90 % and more."""
    rng = np.random.default_rng(0)
    sets, truth, wrong = 2_000, 0.5, 0
    for _ in range(sets):
        early = rng.random(3) < truth
        if not early.any():
            entry, age = np.r_[0.0, 0, 0, np.full(9, 2.0)], np.r_[np.full(3, 4.0), np.full(9, 5.0)]
            low = life.kaplan_meier(age, np.zeros(12), entry_age=entry).running([3.0])["low"][0]
            wrong += low > truth
    assert wrong / sets <= 0.05


def test_plotting_positions_are_the_middles_of_the_steps() -> None:
    # Hazen (1914): (i - 1/2) / n of complete lives, by hand
    curves = life.kaplan_meier(np.arange(1.0, 11), np.ones(10))
    at = curves.plotting_positions()
    np.testing.assert_allclose(at["failed"], (np.arange(1, 11) - 0.5) / 10)
    np.testing.assert_allclose(at["low"][:-1], 1 - curves.high[:-1])
    assert np.isnan(at["low"].iloc[-1])
    # censored and late: S 1, 3/4, 3/8, 0 at 10, 20, 40
    late = life.kaplan_meier([10, 15, 20, 40, 30], [1, 0, 1, 1, 0], entry_age=[0, 0, 0, 0, 18])
    np.testing.assert_allclose(late.survival, [3 / 4, 1 / 2, 0])
    np.testing.assert_allclose(late.plotting_positions()["failed"], [1 / 8, 3 / 8, 3 / 4])


def test_plotting_positions_end_where_a_risk_set_emptied() -> None:
    group = ["a"] * 4 + ["b"] * 2
    curves = life.kaplan_meier(
        [2, 5, 10, 12, 3, 4], np.ones(6), group=group, entry_age=[0, 0, 9, 9, 0, 0]
    )
    at = curves.plotting_positions().set_index("group")["failed"]
    np.testing.assert_allclose(at["a"], [0.25, np.nan, np.nan, np.nan])
    np.testing.assert_allclose(at["b"], [0.25, 0.75])


def test_ages_for_a_band_span_failures_to_the_oldest() -> None:
    curves = life.kaplan_meier([10, 1000, 500, 9_999], [1, 1, 1, 0], group=["a", "a", "b", "none"])
    ages = curves.band_ages(5)
    assert (ages[0], ages[-1]) == (10, 1000)
    assert 500 in ages
    assert (np.diff(ages) > 0).all()
    assert len(life.kaplan_meier([1, 2], [0, 0]).band_ages()) == 0
