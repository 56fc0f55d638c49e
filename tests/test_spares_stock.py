"""Smallest stocks of steady demand: printed tables first, then known truth and properties."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from seallife.errors import InputError
from seallife.spares.counts import MEASURES, counts_of
from seallife.spares.pooling import pooling_saving
from seallife.spares.stock import seals_away, stock_level, stock_service

# ---- published


def test_smallest_poisson_stock() -> None:
    """Check SP-01: any table of the cumulative Poisson law (Molina 1942; Hines & Montgomery)."""
    printed = {
        0.5: [1, 1, 2, 2, 3, 4],
        1: [2, 2, 3, 3, 4, 5],
        2: [3, 4, 5, 5, 6, 8],
        5: [7, 8, 9, 10, 11, 13],
        10: [13, 14, 15, 17, 18, 21],
        20: [24, 26, 28, 29, 31, 35],
    }
    for share, column in zip(
        [0.8, 0.9, 0.95, 0.975, 0.99, 0.999], zip(*printed.values(), strict=True), strict=True
    ):
        got = stock_level(list(printed), share).table["stock"]
        assert tuple(got) == column, share


def test_cumulative_poisson() -> None:
    """Check SP-01, to the four digits of the printed tables."""
    for mean, printed in (
        (2.0, [0.1353, 0.4060, 0.6767, 0.8571, 0.9473, 0.9834, 0.9955]),
        (5.0, [0.0067, 0.0404, 0.1247, 0.2650, 0.4405, 0.6160, 0.7622]),
    ):
        got = stock_service(np.arange(7), np.full(7, mean)).no_shortage
        np.testing.assert_allclose(got, printed, atol=5e-5)


def test_three_measures_of_one_stock() -> None:
    """24 positions, 4.8 failures a year, 4 months (domain notes, section 6.3)."""
    got = stock_service([1, 2, 3, 4, 5], np.full(5, 4.8 / 3))
    np.testing.assert_allclose(got.no_shortage, [0.525, 0.783, 0.921, 0.976, 0.994], atol=5e-4)
    np.testing.assert_allclose(got.fill_rate, [0.202, 0.525, 0.783, 0.921, 0.976], atol=5e-4)
    np.testing.assert_allclose(got.backorders, [0.80, 0.33, 0.11, 0.03, 0.01], atol=5e-3)


def test_the_same_item_as_rotable() -> None:
    """Two months in repair: 0.8 away on average, 2 give 0.953 (domain notes, section 6.3)."""
    away = seals_away([4.8], 365.25 / 6)
    assert away[0] == pytest.approx(0.8)
    assert stock_service([2], away).no_shortage[0] == pytest.approx(0.953, abs=5e-4)
    # A fifth beyond repair, a new one takes 4 months more.
    assert seals_away([4.8], 365.25 / 6, 0.2, 365.25 / 3)[0] == pytest.approx(0.8 + 0.2 * 1.6)


def test_one_pool_against_three_sets() -> None:
    """Three sets of 8 with 1 each: 0.90 each, 0.73 for all; 3 in one pool: 0.92 (section 6.3).

    The 0.90 is 0.8995, so 0.8995 is asked of each set.
    """
    row = pooling_saving([4.8 / 9] * 3, ["pool"] * 3, 0.8995)["pool"]
    assert (row["sets"], row["each"], row["shared"]) == (3, 3, 3)
    assert stock_service([1], [4.8 / 9]).no_shortage[0] == pytest.approx(0.90, abs=5e-3)
    assert row["each_all"] == pytest.approx(0.73, abs=5e-3)
    assert row["shared_no_shortage"] == pytest.approx(0.92, abs=5e-3)
    assert (row["separate"], row["saved"]) == (6, 3)


# ---- a second program


@pytest.mark.parametrize("mean", [0.2, 1.6, 7.0])
def test_the_family_follows_from_the_variance(mean: float) -> None:
    k = np.arange(40)
    cases = [(mean, stats.poisson(mean))]
    cases += [(mean * w, stats.nbinom(mean / (w - 1), 1 / w)) for w in (1.01, 1.5, 4.0)]
    cases += [(mean * (1 - mean / n), stats.binom(n, mean / n)) for n in (8, 12, 40)]
    for variance, law in cases:
        got = counts_of(np.full(40, mean), np.full(40, variance))
        np.testing.assert_allclose(got.at_most(k.astype(float)), law.cdf(k), atol=1e-12)
        met = np.cumsum(k * law.pmf(k)) / mean
        np.testing.assert_allclose(got.met(k.astype(float)), met, atol=1e-12)
        d = np.arange(400)
        over = [float((np.maximum(d - s, 0) * law.pmf(d)).sum()) for s in k[:10]]
        waited = stock_service(k[:10], np.full(10, mean), np.full(10, variance)).backorders
        np.testing.assert_allclose(waited, over, atol=1e-9)


# ---- known truth


def test_gamma_spread_rates_are_the_negative_binomial() -> None:
    """Draws of the mean in columns say the same as the variance that they imply."""
    mean, shape, draws = np.array([0.5, 1.6, 6.0]), 2.0, 20_000
    even = (np.arange(draws) + 0.5) / draws
    drawn = mean[:, None] * stats.gamma(shape, scale=1 / shape).ppf(even)
    for measure in MEASURES:
        columns = stock_level(drawn, 0.95, measure=measure).table
        law = stock_level(mean, 0.95, mean + mean**2 / shape, measure=measure).table
        plain = stock_level(mean, 0.95, measure=measure).table
        assert columns["stock"].tolist() == law["stock"].tolist()
        np.testing.assert_allclose(columns["fill_rate"], law["fill_rate"], atol=2e-4)
        np.testing.assert_allclose(columns["backorders"], law["backorders"], atol=2e-3)
        more = columns["stock"] - plain["stock"]  # an uncertain rate needs more
        assert more.min() >= 0
        assert more.max() >= 3


def test_certain_demand_needs_just_that() -> None:
    table = stock_level([0.0, 2.0, 5.0], 0.999, [0.0, 0.0, 0.0]).table
    assert table["stock"].tolist() == [0, 2, 5]
    assert table["backorders"].tolist() == [0.0, 0.0, 0.0]
    assert table["status"].tolist() == ["no demand", "ok", "ok"]


def test_shared_draws_of_the_law_keep_pools_together() -> None:
    """A law that is bad for one set is bad for all: less is saved than if each had its own."""
    drawn = np.tile([0.1, 0.1, 0.1, 3.0], (4, 1))
    alike = pooling_saving(drawn, ["a"] * 4, 0.9)["a"]
    shifted = np.array([np.roll(row, i) for i, row in enumerate(drawn)])
    apart = pooling_saving(shifted, ["a"] * 4, 0.9)["a"]
    assert alike["needed"] == pytest.approx(apart["needed"])
    assert alike["shared"] > apart["shared"]


# ---- properties


@given(
    mean=st.floats(0.01, 60),
    wide=st.floats(0.3, 5),
    share=st.floats(0.05, 0.995),
    measure=st.sampled_from(MEASURES),
)
def test_smallest_means_that_one_less_is_not_enough(
    mean: float, wide: float, share: float, measure: str
) -> None:
    row = stock_level([mean], share, [mean * wide], measure=measure).table.iloc[0]
    column = measure.replace(" ", "_")
    assert row[column] >= share
    assert row["fill_rate"] <= row["no_shortage"] + 1e-12
    if row["stock"]:
        less = stock_service([row["stock"] - 1], [mean], [mean * wide])
        assert getattr(less, column)[0] < share
        assert less.backorders[0] >= row["backorders"]


@given(sets=st.integers(1, 6), mean=st.floats(0.05, 4), share=st.floats(0.7, 0.99))
def test_a_shared_pool_never_needs_more_than_sets_that_do_as_much(
    sets: int, mean: float, share: float
) -> None:
    row = pooling_saving([mean] * sets, ["a"] * sets, share)["a"]
    assert row["separate"] >= row["shared"]
    assert (row["saved"] == 0) or sets > 1


def test_many_pools_at_once_are_each_as_alone() -> None:
    mean = np.linspace(0, 12, 60)
    together = stock_level(mean, np.linspace(0.5, 0.99, 60)).table["stock"].tolist()
    alone = [
        int(stock_level([m], s).table["stock"][0])
        for m, s in zip(mean, np.linspace(0.5, 0.99, 60), strict=True)
    ]
    assert together == alone


# ---- bad input


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: stock_level([-1.0], 0.9), "mean: has a value below 0"),
        (lambda: stock_level([np.nan], 0.9), "leave such pools out"),
        (lambda: stock_level([1.0], 0.9, [1.0, 2.0]), "variance: has shape"),
        (lambda: stock_level([1.0], 0.9, [-1.0]), "variance: has a value below 0"),
        (lambda: stock_level(np.ones((1, 1, 1)), 0.9), "mean: has shape"),
        (lambda: stock_level([1.0], 1.0), "share: is not from 0 up to 1"),
        (lambda: stock_level([1.0], 95), "share: is not from 0 up to 1"),
        (lambda: stock_level([1.0], [0.9, 0.8]), "share: has shape"),
        (lambda: stock_level([1.0], 0.9, measure="service"), "'service' is not known"),
        (lambda: stock_level([1.0], 0.9, pools=["a", "b"]), "pools: has shape"),
        (lambda: pooling_saving([1.0], ["a", "b"], 0.9), "pool: has shape"),
        (lambda: stock_service([1.5], [1.0]), "not a whole number"),
        (lambda: stock_service([1, 2, 3], [1.0, 2.0]), "stock: has shape"),
    ],
)
def test_bad_input(call: object, words: str) -> None:
    with pytest.raises(InputError, match=words):
        call()
