"""Scores of forecasts: closed forms, right forecasts judged right, wrong ones wrong."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import special, stats

from seallife.errors import InputError
from seallife.scoring import (
    chances_of_draws,
    constant_rate,
    last_years_usage,
    score_chances,
    score_counts,
    skill_over,
)

COUNTS = np.arange(400)


def _open(law: Any, cells: int) -> np.ndarray:
    """Chances of a law, the last for its count and more."""
    mean = np.atleast_1d(law.mean())
    k = np.arange(cells - 1).reshape(-1, *([1] * np.ndim(law.mean())))
    chance = law.pmf(k).reshape(cells - 1, len(mean))
    tail = np.atleast_1d(law.sf(cells - 2))
    return np.vstack([chance, tail[None, :]]).T


# -- closed forms ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("mean", "y"), [(0.4, 0), (1.6, 3), (7.0, 2), (25.0, 31)])
def test_ranked_score_of_a_poisson_law_has_a_closed_form(mean: float, y: int) -> None:
    """Wei & Held (2014), Test 23, 787-805; in the form of Jordan, Krüger & Lerch (2019), appendix A
    (from memory): (y - m)(2 F(y) - 1) + 2 m f(y) - m exp(-2m) (I0(2m) + I1(2m)).
    """
    law = stats.poisson(mean)
    closed = (y - mean) * (2 * law.cdf(y) - 1) + 2 * mean * law.pmf(y)
    closed -= mean * (special.ive(0, 2 * mean) + special.ive(1, 2 * mean))
    each = score_counts([y], _open(law, 200)).each
    assert each.loc[0, "ranked_score"] == pytest.approx(closed, rel=1e-9)
    assert each.loc[0, "log_score"] == pytest.approx(-law.logpmf(y), rel=1e-9)


@pytest.mark.parametrize(("size", "p", "y"), [(0.5, 0.3, 0), (2.5, 0.4, 6), (12.0, 0.7, 3)])
def test_ranked_score_of_a_negative_binomial_law_has_a_closed_form(
    size: float, p: float, y: int
) -> None:
    """Wei & Held (2014), as above, with the hypergeometric function."""
    law, more = stats.nbinom(size, p), stats.nbinom(size + 1, p)
    inner = p * (2 * more.cdf(y - 1) - 1) + special.hyp2f1(size + 1, 0.5, 2, -4 * (1 - p) / p**2)
    closed = y * (2 * law.cdf(y) - 1) - size * (1 - p) / p**2 * inner
    each = score_counts([y], _open(law, 400)).each
    assert each.loc[0, "ranked_score"] == pytest.approx(closed, rel=1e-8)


def test_figures_by_hand() -> None:
    chance = [[0.2, 0.5, 0.2, 0.1], [0.6, 0.3, 0.1, 0.0]]
    got = score_counts([1, 0], chance, level=0.5, bins=2)
    row = got.table.iloc[0]
    assert got.each["expected"].tolist() == pytest.approx([1.2, 0.5])
    # ranks: (0.2)^2 + (0.7 - 1)^2 + (0.9 - 1)^2; (0.6 - 1)^2 + (0.9 - 1)^2
    assert got.each["ranked_score"].tolist() == pytest.approx([0.14, 0.17])
    assert got.each["log_score"].tolist() == pytest.approx([-np.log(0.5), -np.log(0.6)])
    # quarters of the first are reached at 1 and 2, of the second at 0 and 1
    assert got.each[["low", "high"]].to_numpy().tolist() == [[1, 2], [0, 1]]
    assert (row["inside"], row["inside_due"]) == (2, pytest.approx(0.7 + 0.9))
    # transforms spread over 0.2 to 0.7 and 0 to 0.6, of which the range holds 0.25 to 0.75
    assert row["below"] == pytest.approx((0.05 / 0.5 + 0.25 / 0.6) / 2)
    assert row["above"] == pytest.approx(0.0)
    assert row["coverage"] == pytest.approx((0.9 + 0.35 / 0.6) / 2)
    assert got.pit[0].tolist() == pytest.approx([(0.6 + 0.5 / 0.6), (0.4 + 0.1 / 0.6)])
    assert (row["observed"], row["expected"]) == (1, pytest.approx(1.7))
    assert row["ratio"] == pytest.approx(1 / 1.7)
    # variances 0.76 and 0.45: no doubt beyond the Poisson law
    assert row["lean"] == pytest.approx(-0.7 / np.sqrt(1.7))
    low, high = stats.chi2.ppf(0.25, 2) / 2, stats.chi2.ppf(0.75, 4) / 2
    assert (row["ratio_low"], row["ratio_high"]) == pytest.approx((low / 1.7, high / 1.7))


def test_the_last_chance_stands_for_all_that_is_more() -> None:
    chance = [[0.5, 0.3, 0.2]]
    at, over = (score_counts([y], chance).each.iloc[0] for y in (2, 9))
    assert at["log_score"] == over["log_score"] == pytest.approx(-np.log(0.2))
    assert at["ranked_score"] == over["ranked_score"]


def test_scores_of_chances_by_hand() -> None:
    """Spiegelhalter (1986): z = sum (o - p)(1 - 2p) / sqrt(sum (1 - 2p)^2 p (1 - p))."""
    p, came = np.array([0.1, 0.1, 0.4, 0.8]), np.array([0, 1, 0, 1])
    got = score_chances(came, p, bands=(0, 0.5, 1))
    assert got.brier == pytest.approx((0.01 + 0.81 + 0.16 + 0.04) / 4)
    assert got.log_score == pytest.approx(-np.log(0.9 * 0.1 * 0.6 * 0.8) / 4)
    top = -0.1 * 0.8 + 0.9 * 0.8 - 0.4 * 0.2 + 0.2 * -0.6
    under = 2 * 0.64 * 0.09 + 0.04 * 0.24 + 0.36 * 0.16
    assert got.z == pytest.approx(top / np.sqrt(under))
    assert got.p == pytest.approx(2 * stats.norm.sf(abs(got.z)))
    assert got.lean == pytest.approx((2 - 1.4) / np.sqrt(2 * 0.09 + 0.24 + 0.16))
    assert got.table["asked"].tolist() == [3, 1]
    assert got.table["chance"].tolist() == pytest.approx([0.2, 0.8])
    exact = stats.binomtest(1, 3).proportion_ci(0.9, method="exact")
    assert got.table.loc[0, ["share_low", "share_high"]].tolist() == pytest.approx([*exact])
    assert got.brier_of_share == pytest.approx(0.25)


def test_naive_forecasts_are_their_laws() -> None:
    chance = last_years_usage([3, 0], [18, 12], 12)
    for row, mean in zip(chance, (4.5, 0.5), strict=True):
        assert row == pytest.approx(_open(stats.poisson(mean), 12)[0], rel=1e-9)
    chance = constant_rate([7, 0], [40.0, 12.0], [10.0, 24.0], 9)
    for row, (size, p) in zip(chance, [(7.5, 40 / 50), (0.5, 12 / 36)], strict=True):
        assert row == pytest.approx(_open(stats.nbinom(size, p), 9)[0], rel=1e-9)


def test_naive_forecasts_of_no_time_are_none() -> None:
    assert last_years_usage([3], 0, 3).tolist() == [[1.0, 0.0, 0.0]]
    assert constant_rate([3], [5.0], [0.0], 3).tolist() == [[1.0, 0.0, 0.0]]
    assert last_years_usage([3], 12, 1).tolist() == [[1.0]]


def test_draws_become_chances_and_leave_nothing_impossible() -> None:
    chance = chances_of_draws([[0, 0, 1], [2, 2, 2]])
    assert chance.shape == (2, 4)
    assert chance[0].tolist() == pytest.approx([2.25 / 4, 1.25 / 4, 0.25 / 4, 0.25 / 4])
    assert chance.sum(axis=1).tolist() == pytest.approx([1, 1])
    assert chances_of_draws([[0, 5]], 2)[0].tolist() == pytest.approx([0.5, 0.5])


# -- known truth ----------------------------------------------------------------------------------


def _years(seed: int, n: int = 4_000) -> tuple[np.ndarray, np.ndarray, Callable[..., np.ndarray]]:
    rng = np.random.default_rng(seed)
    mean = rng.gamma(2.0, 1.5, n)
    observed = rng.negative_binomial(4.0, 4.0 / (4.0 + mean))

    def forecast(size: float = 4.0, times: float = 1.0) -> np.ndarray:
        return _open(stats.nbinom(size, size / (size + times * mean)), 60)

    return observed, mean, forecast


def test_right_forecasts_of_small_counts_hold_what_they_say() -> None:
    observed, _, forecast = _years(1)
    got = score_counts(observed, forecast(), level=0.90)
    row = got.table.iloc[0]
    error = np.sqrt(0.09 / 4_000)
    assert row["coverage"] == pytest.approx(0.90, abs=3 * error)
    assert row["below"] == pytest.approx(0.05, abs=3 * error)
    assert row["above"] == pytest.approx(0.05, abs=3 * error)
    # the range of whole numbers holds more, and says so
    assert row["inside_due"] / 4_000 > 0.93
    assert row["inside"] == pytest.approx(row["inside_due"], abs=60)
    assert row["ratio"] == pytest.approx(1.0, abs=0.05)
    assert got.pit[0] == pytest.approx(np.ones(10), abs=0.15)


def test_forecasts_too_sure_show_a_u() -> None:
    observed, _, forecast = _years(2)
    tight = score_counts(observed, forecast(size=400.0))
    assert tight.table.loc[0, "coverage_high"] < 0.90
    assert tight.pit[0, [0, -1]].min() > 1.15
    assert tight.pit[0, 3:7].max() < 1.0
    right = score_counts(observed, forecast()).table.loc[0]
    assert right["coverage_low"] < 0.90 < right["coverage_high"]


def test_forecasts_too_low_are_missed_above() -> None:
    observed, _, forecast = _years(3)
    row = score_counts(observed, forecast(times=0.7)).table.iloc[0]
    assert row["ratio_low"] > 1.3
    assert row["above"] > 2 * row["below"]


def test_right_chances_pass_and_shrunken_ones_do_not() -> None:
    rng = np.random.default_rng(4)
    p = rng.beta(1.5, 4.0, 3_000)
    came = rng.random(3_000) < p
    right, bold = score_chances(came, p), score_chances(came, p**2 / (p**2 + (1 - p) ** 2))
    assert abs(right.z) < 2.6
    assert right.brier < bold.brier
    assert bold.p < 1e-6
    assert "too low" in bold.table["status"].tolist()
    assert right.brier < right.brier_of_share


@pytest.mark.parametrize("blocks", [4, 7, 12])
def test_limits_of_skill_cover_with_few_years(blocks: int) -> None:
    """The expanded percentile interval keeps to its level; plain percentiles would not."""
    rng = np.random.default_rng(5)
    names, held = np.repeat(np.arange(blocks), 5), []
    for seed in range(400):
        luck = rng.normal(0.1, 0.2, blocks)[names] + rng.normal(0, 0.1, 5 * blocks)
        got = skill_over(np.zeros(5 * blocks), luck, names, resamples=1_000, seed=seed)
        held.append(got.low <= 0.1 <= got.high)
    assert np.mean(held) == pytest.approx(0.90, abs=0.045)


def test_skill_is_the_mean_gain_and_one_year_has_no_limits() -> None:
    got = skill_over([1.0, 2.0, 1.0], [2.0, 2.0, 4.0], ["a", "a", "b"])
    assert (got.gain, got.blocks) == (pytest.approx(4 / 3), 2)
    assert got.low <= got.gain <= got.high
    one = skill_over([1.0, 2.0], [2.0, 3.0], [2020, 2020])
    assert one.gain == pytest.approx(1.0)
    assert np.isnan(one.low)
    again = skill_over([1.0, 2.0, 1.0], [2.0, 2.0, 4.0], ["a", "a", "b"], seed=1)
    assert (again.low, again.high) == (got.low, got.high)


def test_an_event_counted_twice_tells_no_more_than_once() -> None:
    observed, _, forecast = _years(6, 50)
    chance = forecast()
    once = score_counts(observed, chance).table.iloc[0]
    twice = score_counts(np.tile(observed, 2), np.tile(chance, (2, 1)), repeats=2).table.iloc[0]
    for name in ("ratio", "ratio_low", "ratio_high", "coverage", "coverage_low", "coverage_high"):
        assert twice[name] == pytest.approx(once[name])


def test_a_doubt_that_all_forecasts_share_is_no_lean() -> None:
    """Rates known from 25 events: what comes of the doubt is as large as the forecasts say."""
    rng = np.random.default_rng(7)
    seen = np.repeat(rng.poisson(25.0, 300), 20)
    chance = constant_rate(seen, 25.0, 5.0, 40)
    records = np.repeat(np.arange(300), 20)
    leans = score_counts(rng.poisson(5.0, 6_000), chance, records).table["lean"]
    assert np.std(leans) == pytest.approx(1.0, abs=0.13)
    assert np.mean(leans) == pytest.approx(0.0, abs=0.17)


# -- properties -----------------------------------------------------------------------------------

_LAWS = arrays(float, (2, 6), elements=st.floats(0.01, 1.0)).map(
    lambda a: a / a.sum(axis=1, keepdims=True)
)


@given(laws=_LAWS)
def test_no_other_forecast_scores_better_than_the_truth(laws: np.ndarray) -> None:
    """Proper scores: the mean over the true law is least for the true law itself."""
    truth, other = laws
    means = []
    for law in (truth, other):
        each = score_counts(np.arange(6), np.tile(law, (6, 1))).each
        means.append(truth @ each[["log_score", "ranked_score"]].to_numpy())
    assert (means[0] <= means[1] + 1e-12).all()


@given(
    laws=arrays(float, (5, 4), elements=st.floats(0.0, 1.0).map(lambda v: v + 1e-3)),
    observed=st.lists(st.integers(0, 8), min_size=5, max_size=5),
    level=st.floats(0.5, 0.99),
)
def test_any_forecasts_are_split_into_inside_below_and_above(
    laws: np.ndarray, observed: list[int], level: float
) -> None:
    chance = laws / laws.sum(axis=1, keepdims=True)
    names = ["b", "a", "b", "a", "b"]
    got = score_counts(observed, chance, names, level=level)
    table = got.table
    assert table["group"].tolist() == ["b", "a"]
    assert table[["coverage", "below", "above"]].sum(axis=1).tolist() == pytest.approx([1, 1])
    assert got.pit.mean(axis=1).tolist() == pytest.approx([1, 1])
    assert (table["inside"] <= table["forecasts"]).all()
    assert (got.each["low"] <= got.each["high"]).all()
    assert (table["inside_due"] >= level * table["forecasts"] - 1e-9).all()
    alone = score_counts(observed[1::2], chance[1::2], level=level).table
    columns = ["observed", "expected", "ratio_low", "coverage", "log_score", "ranked_score"]
    assert alone.loc[0, columns].tolist() == pytest.approx(table.loc[1, columns].tolist())


@given(
    counts=st.integers(0, 50),
    months=st.floats(0, 60),
    cells=st.integers(1, 80),
    past=st.floats(1, 99),
)
def test_any_naive_forecast_sums_to_one(
    counts: int, months: float, cells: int, past: float
) -> None:
    for chance in (
        last_years_usage([counts], months, cells),
        constant_rate([counts], [past], [months], cells),
    ):
        assert (chance >= 0).all()
        assert chance.sum() == pytest.approx(1.0, abs=1e-9)


# -- bad input ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: score_counts([1.5], [[1.0]]), "observed: value 0 is 1.5, no count"),
        (lambda: score_counts([-1], [[1.0]]), "observed: value 0 is -1, no count"),
        (lambda: score_counts([1, 2], [[1.0]]), "chance: has shape .1, 1. for 2 counts"),
        (lambda: score_counts([], np.empty((0, 3))), "chance: has shape"),
        (lambda: score_counts([1], [[0.5, 0.6]]), "chance: row 0 is not a set of chances"),
        (lambda: score_counts([1], [[np.nan, 1.0]]), "chance: row 0"),
        (lambda: score_counts([1], [[1.0]], ["a", "b"]), "group: has 2 values for 1"),
        (lambda: score_counts([1], [[1.0]], level=1.0), "level: is 1.0"),
        (lambda: score_counts([1], [[1.0]], bins=0), "bins: is 0"),
        (lambda: score_counts([1], [[1.0]], repeats=0.5), "repeats: must be 1 or more"),
        (lambda: chances_of_draws([1, 2]), "draws: must be one row"),
        (lambda: chances_of_draws([[1, 2]], 0), "cells: is 0"),
        (lambda: score_chances([], []), "happened: 0 outcomes for 0 chances"),
        (lambda: score_chances([2], [0.5]), "happened: must be yes or no"),
        (lambda: score_chances([1], [1.5]), "chance: must lie between 0 and 1"),
        (lambda: score_chances([1], [0.5], bands=(0, 0.5)), "bands: must rise from 0 to 1"),
        (lambda: score_chances([1], [0.5], level=0), "level: is 0"),
        (lambda: last_years_usage([-1], 12, 3), "counts: value 0 is -1"),
        (lambda: last_years_usage([1], 12, 0), "cells: is 0"),
        (lambda: constant_rate([1], [0.0], [1.0], 3), "exposure: value 0 is not above 0"),
        (lambda: skill_over([1.0], [1.0, 2.0], [1]), "scores: 1 scores, 2 of the other"),
        (lambda: skill_over([np.inf], [1.0], [1]), "scores: are not all finite"),
        (lambda: skill_over([1.0], [1.0], [1], level=0), "level: is 0"),
    ],
)
def test_bad_input_is_named(call: Callable[[], object], says: str) -> None:
    with pytest.raises(InputError, match=says):
        call()


def test_what_was_held_impossible_is_said() -> None:
    row = score_counts([2], [[0.5, 0.5, 0.0]]).table.iloc[0]
    assert (row["status"], row["log_score"]) == ("held impossible", np.inf)
    assert "no chance" in row["message"]
    assert score_chances([1], [0.0]).log_score == np.inf
    assert np.isnan(score_chances([1], [0.5]).z)
