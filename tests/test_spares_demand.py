"""`seallife.spares.demand`, `removaltables`, `countlaws`, `futures`: seals needed ahead."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, nbinom, poisson
from sparesets import NOW, ahead_of, weibull_draws

from seallife.errors import InputError
from seallife.spares.countlaws import count_chances, count_quantiles
from seallife.spares.demand import forecast_demand, month_edges
from seallife.spares.futures import simulate_demand

# domain: 40 positions all renewed in one outage (own calculation there, to 0.1)
RENEWED = {
    (4.0, 4.0): [0.2, 2.2, 8.4, 14.8, 13.3, 8.6, 10.0, 12.2],
    (2.5, 5.0): [0.7, 3.2, 6.1, 8.4, 9.7, 9.7, 9.2, 9.0],
}


def poisson_binomial(chances):
    out = np.ones(1)
    for p in chances:
        out = np.convolve(out, [1 - p, p])
    return out


# laws of counts


@pytest.mark.parametrize(
    ("mean", "variance", "law"),
    [
        (3.2, 3.2, poisson(3.2)),
        (3.0, 2.1, binom(10, 0.3)),
        (4.0, 12.0, nbinom(2, 1 / 3)),
        (0.4, 0.24, binom(1, 0.4)),
        (5.0, 1e-9, binom(5, 1.0)),
    ],
)
def test_one_family_holds_binomial_poisson_and_negative_binomial(mean, variance, law):
    got = count_chances(np.array([[mean]]), np.array([[variance]]), 20)[0]
    assert got == pytest.approx(law.pmf(np.arange(21)) / law.cdf(20), abs=1e-5)


def test_counts_are_spread_over_the_laws():
    got = count_chances(np.array([[1.0], [4.0]]), np.array([[1.0], [4.0]]), 60)[0]
    k = np.arange(61)
    assert got == pytest.approx((poisson.pmf(k, 1) + poisson.pmf(k, 4)) / 2, abs=1e-12)


def test_groups_of_unlike_size_do_not_disturb_each_other():
    mean = np.array([[0.0, 0.3, 700.0], [0.0, 0.5, 800.0]])
    whole = count_chances(mean, mean * 1.1)
    assert whole.sum(axis=1) == pytest.approx(1.0)
    assert whole[0, 0] == 1.0
    small = count_chances(mean[:, 1:2], mean[:, 1:2] * 1.1)
    assert whole[1, : small.shape[1]] == pytest.approx(small[0], abs=1e-9)
    assert whole[2] @ np.arange(whole.shape[1]) == pytest.approx(750.0, rel=1e-6)


@given(st.lists(st.floats(0.0, 1.0), min_size=1, max_size=2))
def test_counts_of_one_or_two_seals_are_exact(chances):
    p = np.array(chances)
    got = count_chances(np.array([[p.sum()]]), np.array([[(p * (1 - p)).sum()]]), 3)[0]
    assert got[: len(p) + 1] == pytest.approx(poisson_binomial(p), abs=1e-6)


@pytest.mark.parametrize(("top", "error"), [(0.5, 0.025), (0.99, 0.15)])
@given(data=st.data())
def test_sums_of_unlike_chances_are_near_those_of_their_mean_and_variance(top, error, data):
    p = np.array(data.draw(st.lists(st.floats(0.01, top), min_size=3, max_size=30)))
    exact = poisson_binomial(p)
    got = count_chances(np.array([[p.sum()]]), np.array([[(p * (1 - p)).sum()]]), len(p) + 5)[0]
    assert np.abs(np.cumsum(got)[: len(exact)] - np.cumsum(exact)).max() < error


def test_quantiles_are_the_smallest_counts_that_reach_a_share():
    chances = poisson.pmf(np.arange(40), np.array([[2.0], [5.0]]))
    assert count_quantiles(chances, 0.95).tolist() == [5.0, 9.0]


# renewals


@pytest.mark.parametrize(("law", "years"), RENEWED.items())
def test_forty_seals_renewed_at_once(law, years):
    shape, scale = law
    laws = weibull_draws([shape], [scale * 365.25])
    got = forecast_demand(ahead_of(laws, [0] * 40, [0.0] * 40), months=96)
    yearly = got.mean[0, 0, 0].reshape(8, 12).sum(axis=1)
    assert yearly == pytest.approx(years, abs=0.12)


def test_a_constant_rate_needs_the_same_each_month_whatever_the_ages():
    laws = weibull_draws([1.0], [500.0])
    got = forecast_demand(ahead_of(laws, [0] * 10, np.arange(10) * 200.0), months=12)
    days = np.diff(month_edges(NOW, 12))
    assert got.mean[0, 0, 0] == pytest.approx(10 * days / 500, rel=5e-4)
    # a Poisson process: variance is mean
    assert got.variance_upto[0, 0] == pytest.approx(np.cumsum(got.mean[0, 0, 0]), rel=1e-3)
    row = got.table[got.table["by"] == "all"].iloc[-1]
    assert row["constant_rate"] == pytest.approx(row["need"], rel=1e-3)
    assert row["scatter"] == pytest.approx(1.0, rel=1e-3)


def test_first_failures_by_hand():
    laws = weibull_draws([2.0], [1000.0])
    got = forecast_demand(ahead_of(laws, [0], [400.0]), months=1)
    chance = 1 - np.exp(-(0.431**2 - 0.4**2))
    assert got.mean[0, 0, 0, 0] == pytest.approx(chance, rel=0.002)


@settings(max_examples=10)
@given(
    st.floats(0.7, 4.0),
    st.floats(900.0, 3000.0),
    st.floats(0.0, 0.001),
    st.sampled_from([None, (45.0, 0.4), (100.0, 1.0), (0.5, 0.5)]),
    st.integers(0, 10**6),
)
def test_futures_and_forecast_agree(shape, scale, planned, outage, seed):
    """Means of each kind and variance, within the noise of the futures and the month as step."""
    rng = np.random.default_rng(seed)
    laws = weibull_draws([shape, 1.3], [scale, 1500.0], draws=4, spread=0.1)
    place = rng.integers(0, 2, 40)
    ages = np.where(rng.random(40) < 0.1, np.nan, rng.uniform(0, 1.5 * scale, 40))
    ahead = ahead_of(laws, place, ages, planned=planned, outage=outage)
    exact = forecast_demand(ahead, months=12)
    days = float(month_edges(NOW, 12)[-1])
    runs = 200
    paths = simulate_demand(ahead, days=days, runs=runs, seed=seed)
    counts = np.zeros((runs, 3))
    np.add.at(counts, (paths.run, paths.kind), 1)
    due = exact.mean[:, :, 0].sum(axis=2).mean(axis=1)
    noise = counts.std(axis=0) / np.sqrt(runs)
    assert np.all(np.abs(counts.mean(axis=0) - due) < 4.5 * noise + 0.012 * due.sum() + 0.02)
    total = exact.mean[:, :, 0].sum(axis=(0, 2))
    variance = exact.variance_upto[:, 0, -1].mean() + total.var()
    assert counts.sum(axis=1).var() == pytest.approx(variance, rel=0.4)


def test_an_outage_list_renews_these_and_leaves_the_rest():
    laws = weibull_draws([3.0], [2000.0])
    ahead = ahead_of(laws, [0] * 6, [1500.0] * 6, outage=(20.0, 0.5))
    listed = forecast_demand(ahead.renewing(["L0", "L3"]), months=12)
    assert listed.mean[2, 0, 0].sum() == pytest.approx(2 * 0.98, abs=0.05)
    plain = forecast_demand(ahead.renewing([]), months=12)
    assert plain.mean[2, 0, 0].sum() == 0.0
    assert listed.mean[0, 0, 0].sum() < plain.mean[0, 0, 0].sum()


def test_positions_to_come_age_from_their_first_day():
    from dataclasses import replace

    laws = weibull_draws([2.0], [400.0])
    ahead = ahead_of(laws, [0, 0], [0.0, 0.0])
    later = replace(ahead, starts=np.array([0.0, 200.0]))
    got = forecast_demand(later, months=12)
    alone = forecast_demand(ahead_of(laws, [0], [0.0]), months=12)
    assert got.mean[0, 0, 0, :6] == pytest.approx(alone.mean[0, 0, 0, :6], rel=1e-9)
    assert got.mean[0, 0, 0].sum() > 1.2 * alone.mean[0, 0, 0].sum()
    first = simulate_demand(later, days=365.0, runs=200)
    assert first.day.min() > 0


def test_pools_add_up_to_all_and_order_does_not_matter():
    laws = weibull_draws([1.5, 2.5], [700.0, 900.0], draws=5, spread=0.2)
    rng = np.random.default_rng(3)
    place, ages = rng.integers(0, 2, 30), rng.uniform(0, 900, 30)
    pool = rng.choice(["a", "b", "c"], 30)
    one = forecast_demand(ahead_of(laws, place, ages, pool=pool), months=24)
    row = one.groups["by"] == "pool"
    assert one.mean[:, :, row].sum(axis=2) == pytest.approx(one.mean[:, :, 0], rel=1e-9)
    turned = rng.permutation(30)
    other = forecast_demand(
        ahead_of(laws, place[turned], ages[turned], pool=pool[turned]), months=24
    )
    pd.testing.assert_frame_equal(one.table, other.table, rtol=1e-9)


def test_two_paces_are_two_clocks():
    """Ages in half-days at twice the pace are the same seals."""
    laws = weibull_draws([2.0], [1000.0])
    slow = forecast_demand(ahead_of(laws, [0] * 4, [100.0, 300, 500, 900]), months=12)
    half = weibull_draws([2.0], [2000.0])
    fast = forecast_demand(ahead_of(half, [0] * 4, [200.0, 600, 1000, 1800], pace=2.0), months=12)
    assert fast.mean == pytest.approx(slow.mean, rel=2e-3)


def test_uncertain_laws_widen_the_range():
    ages = np.linspace(0, 900, 40)
    sure = forecast_demand(ahead_of(weibull_draws([1.5], [800.0], 9), [0] * 40, ages), months=24)
    unsure = forecast_demand(
        ahead_of(weibull_draws([1.5], [800.0], 9, 0.4), [0] * 40, ages), months=24
    )
    wide, narrow = ((t["high"] - t["low"]).iloc[-1] for t in (unsure.table, sure.table))
    assert wide > 1.5 * narrow


def test_months_of_one_group():
    laws = weibull_draws([1.5], [800.0], 4, 0.1)
    got = forecast_demand(ahead_of(laws, [0] * 20, [300.0] * 20), months=6)
    months = got.by_month("pool", "M0")
    assert months["first"].iloc[1] == pd.Timestamp("2026-02-01")
    assert months["need"].sum() == pytest.approx(got.table["need"].iloc[-1])
    assert (months["low"] <= months["need"]).all()
    assert (months["need"] <= months["high"]).all()


@pytest.mark.parametrize("months", [0, 121, -3])
def test_horizons_out_of_range_are_refused(months):
    with pytest.raises(InputError, match="months"):
        forecast_demand(ahead_of(weibull_draws([1.0], [500.0]), [0], [0.0]), months=months)


def test_no_seal_in_service_is_refused():
    with pytest.raises(InputError, match="no seal in service"):
        forecast_demand(ahead_of(weibull_draws([1.0], [500.0]), [], []), months=3)


def test_a_name_that_is_no_seal_is_refused():
    ahead = ahead_of(weibull_draws([1.0], [500.0]), [0], [0.0], outage=(30.0, 0.1))
    with pytest.raises(InputError, match="'L9' is no seal in service"):
        ahead.renewing(["L9"])


def test_a_seal_without_an_outage_ahead_cannot_be_listed():
    ahead = ahead_of(weibull_draws([1.0], [500.0]), [0], [0.0])
    with pytest.raises(InputError, match="'L0' has no outage ahead"):
        ahead.renewing(["L0"])


def test_futures_of_nothing_are_refused():
    ahead = ahead_of(weibull_draws([1.0], [500.0]), [0], [0.0])
    with pytest.raises(InputError, match="runs"):
        simulate_demand(ahead, runs=0)
