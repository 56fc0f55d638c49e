"""Trend tests: every order counted, other programs, words; published values elsewhere."""

from __future__ import annotations

from itertools import combinations, permutations
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife.errors import InputError
from seallife.history import trend_tests
from seallife.history.trendtests import gap_tests


def gaps_of(*sequences: list[float]) -> dict[str, Any]:
    sizes = [len(s) for s in sequences]
    offsets = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
    flat = np.concatenate([np.asarray(s, float) for s in sequences])
    return gap_tests(flat, offsets, np.array([0, len(sequences)]), resamples=19_999, seed=4)


def test_reverse_arrangement_is_kendalls_tau_of_gaps() -> None:
    """scipy.stats.kendalltau, exact p."""
    from scipy.stats import kendalltau

    gaps = [5.0, 35, 3, 132, 214, 323, 36, 48, 504, 179]
    got = gaps_of(gaps)
    expected = kendalltau(np.arange(10), gaps, method="exact")
    assert got["reversals"][0] == 34
    assert got["reversals_p"][0] == pytest.approx(expected.pvalue, rel=1e-10)


def test_reverse_arrangement_of_several_systems_is_exact() -> None:
    """Every order of 3 and of 4 gaps counted: 144 pairs of orders."""
    one, two = [1.0, 3.0, 2.0], [1.0, 2.0, 4.0, 3.0]

    def rises(x: Any) -> int:
        return sum(b > a for a, b in combinations(x, 2))

    law = [rises(p) + rises(q) for p in permutations(one) for q in permutations(two)]
    seen = rises(one) + rises(two)
    p = np.mean([abs(v - 4.5) >= abs(seen - 4.5) for v in law])
    got = gaps_of(one, two)
    assert (got["reversals"][0], got["pairs"][0]) == (seen, 9)
    assert got["reversals_p"][0] == pytest.approx(p, rel=1e-12)


def test_lewis_robinson_is_laplace_over_the_coefficient_of_variation() -> None:
    """The textbook form for one system that ends with its last event, times sqrt(n / (n + 1))."""
    gaps = np.array([5.0, 35, 3, 132, 214, 323, 35, 48, 504, 179])
    times, n = gaps.cumsum(), len(gaps)
    laplace = trend_tests(times, None, truncated_by="failure")["all"]["laplace"]
    textbook = laplace * gaps.mean() / gaps.std(ddof=1)
    got = gaps_of(gaps.tolist())
    assert got["lewis_robinson"][0] == pytest.approx(textbook * np.sqrt(n / (n + 1)), rel=1e-12)


def test_lewis_robinson_p_is_that_of_all_orders() -> None:
    gaps = [1.0, 2.0, 9.0, 4.0, 30.0, 11.0]
    c = np.arange(6.0)

    def lean(x: Any) -> float:
        return abs((c - c.mean()) @ np.asarray(x))

    p = np.mean([lean(x) >= lean(gaps) - 1e-9 for x in permutations(gaps)])
    assert gaps_of(gaps)["lewis_robinson_p"][0] == pytest.approx(p, abs=0.01)


@given(st.lists(st.floats(0.01, 0.99), min_size=1, max_size=20), st.floats(1e-3, 1e3))
def test_another_unit_of_exposure_changes_nothing(shares: list[float], unit: float) -> None:
    times = np.array(shares)
    one = trend_tests(times, 1.0, resamples=99)["all"]
    two = trend_tests(times * unit, unit, resamples=99)["all"]
    for name in ("laplace", "mil_hdbk"):
        assert two[name] == pytest.approx(one[name], rel=1e-6, abs=1e-9)
    for name in ("laplace_p", "mil_hdbk_p"):
        assert 0 <= one[name] <= 1


@given(st.lists(st.floats(0.01, 0.99), min_size=2, max_size=15))
def test_time_turned_round_turns_laplace_round(shares: list[float]) -> None:
    times = np.array(shares)
    one, two = (trend_tests(t, 1.0, resamples=99)["all"] for t in (times, 1 - times))
    assert two["laplace"] == pytest.approx(-one["laplace"], abs=1e-9)
    assert two["laplace_p"] == pytest.approx(one["laplace_p"], abs=1e-9)


def test_groups_are_tested_each_by_itself_whatever_stands_beside() -> None:
    rng = np.random.default_rng(1)
    times, unit = rng.uniform(0.1, 50, 200), rng.integers(0, 12, 200)
    end, kind = np.full(12, 50.0), np.arange(12) // 4
    whole = trend_tests(times, end, unit=unit, end_unit=np.arange(12), group=kind)
    for g in range(3):
        mine = kind[unit] == g
        alone = trend_tests(
            times[mine], end[kind == g], unit=unit[mine], end_unit=np.flatnonzero(kind == g)
        )["all"]
        for name in ("laplace", "mil_hdbk_p", "reversals_p", "lewis_robinson_p"):
            assert whole[g][name] == pytest.approx(alone[name], rel=1e-9)


def test_a_system_that_only_begins_in_watch_has_no_gap_from_nought() -> None:
    from_new = trend_tests([5, 10, 20, 40], 50)["all"]
    in_service = trend_tests([5, 10, 20, 40], 50, starts_new=False)["all"]
    assert (from_new["pairs"], in_service["pairs"]) == (6, 3)
    assert from_new["laplace"] == in_service["laplace"]


def test_too_little_to_test_is_said() -> None:
    got = trend_tests(
        [5, 6], [10.0, 20.0, 9.0], unit=["a", "b"], end_unit=["a", "b", "c"], group=["a", "b", "c"]
    )
    assert got["c"]["status"] == "no events"
    assert np.isnan(got["c"]["laplace"])
    assert got["a"]["status"] == "few events"
    assert np.isnan(got["a"]["lewis_robinson"])


@pytest.mark.parametrize(
    ("kwargs", "where"),
    [
        ({"times": [0.0], "end": 5}, r"times\[0\]"),
        ({"times": [6.0], "end": 5}, r"times\[0\]"),
        ({"times": [1.0], "end": -5}, r"end\[0\]"),
        ({"times": [1.0], "end": None}, "end"),
        ({"times": [1.0], "end": [5, 6]}, "end_unit"),
        ({"times": [1.0], "end": [5, 6], "end_unit": ["a", "a"]}, "end_unit"),
        ({"times": [1.0], "end": [5, 6], "end_unit": ["a", "b"]}, "unit"),
        ({"times": [1.0], "end": [5, 6], "end_unit": ["a", "b"], "unit": ["c"]}, r"unit\[0\]"),
        ({"times": [1.0], "end": 5, "group": ["k"]}, "group"),
        ({"times": [1.0], "end": 5, "truncated_by": "failure"}, "end"),
        ({"times": [], "end": None, "truncated_by": "failure"}, "times"),
        ({"times": [1.0], "end": 5, "truncated_by": "luck"}, "truncated_by"),
        ({"times": [1.0], "end": 5, "resamples": 3}, "resamples"),
    ],
)
def test_bad_input_is_one_sentence(kwargs: dict[str, Any], where: str) -> None:
    with pytest.raises(InputError, match=f"^{where}:"):
        trend_tests(**kwargs)


def test_trends_are_seen() -> None:
    rng = np.random.default_rng(2)
    better = 100 * rng.random(80) ** 2
    row = trend_tests(better, 100)["all"]
    assert row["laplace"] < -3
    assert row["mil_hdbk"] > row["mil_hdbk_df"]
    assert row["laplace_p"] < 0.01
    assert row["lewis_robinson"] < -2
    assert row["reversals"] > row["pairs"] / 2


def test_long_sequences_are_counted_in_blocks() -> None:
    from scipy.stats import kendalltau

    gaps = np.random.default_rng(3).random(2_500) + np.linspace(0, 0.05, 2_500)
    got = gaps_of(gaps.tolist())
    tau = kendalltau(np.arange(2_500), gaps).statistic
    pairs = 2_500 * 2_499 / 2
    assert got["pairs"][0] == pairs
    assert got["reversals"][0] == pytest.approx((1 + tau) * pairs / 2, abs=0.5)
