"""Mann-Kendall of many segments: every order counted, other programs, properties, words."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from leaksets import leaks

from seallife.errors import InputError
from seallife.leakage import mann_kendall
from seallife.leakage.correlation import inflation_of, pooled_correlation
from seallife.leakage.kendallnull import statistics
from seallife.leakage.segments import read_readings

INF = np.inf
Bounds = tuple[list[float], list[float]]

# readings with ties and open ends: exact, below a limit, above a scale end
READING = st.tuples(st.sampled_from(["exact", "below", "above"]), st.integers(1, 6))


def bounds(drawn: list[tuple[str, int]]) -> tuple[np.ndarray, np.ndarray]:
    low = np.array([-INF if kind == "below" else v for kind, v in drawn], float)
    high = np.array([INF if kind == "above" else v for kind, v in drawn], float)
    return low, high


def sign(a: tuple[str, int], b: tuple[str, int]) -> int:
    """Order of b against a by plain reasoning on what each can be."""

    def surely_less(x: tuple[str, int], y: tuple[str, int]) -> bool:
        if x[0] == "above" or y[0] == "below":
            return False
        return x[1] <= y[1] if (x[0], y[0]) != ("exact", "exact") else x[1] < y[1]

    return int(surely_less(a, b)) - int(surely_less(b, a))


@given(st.lists(READING, min_size=1, max_size=12))
def test_s_is_the_sum_over_pairs_of_certain_order(drawn: list[tuple[str, int]]) -> None:
    low, high = bounds(drawn)
    n = len(drawn)
    s = sum(sign(drawn[i], drawn[j]) for i in range(n) for j in range(i + 1, n))
    assert mann_kendall(np.arange(n), low, high)["all"]["s"] == s


@pytest.mark.parametrize(
    ("drawn", "times"),
    [
        ([("exact", 1), ("below", 3), ("exact", 2), ("above", 4), ("exact", 5)], [0, 1, 2, 3, 4]),
        ([("below", 2), ("below", 4), ("exact", 3), ("exact", 3), ("exact", 6)], [0, 1, 1, 2, 5]),
        ([("exact", 1), ("exact", 2), ("exact", 2), ("exact", 4), ("above", 4)], [0, 0, 0, 3, 4]),
    ],
)
def test_variance_is_that_over_all_orders(drawn: list[tuple[str, int]], times: list[int]) -> None:
    low, high = bounds(drawn)
    every = [
        mann_kendall(times, low[list(p)], high[list(p)])["all"]["s"] for p in permutations(range(5))
    ]
    assert np.mean(every) == pytest.approx(0, abs=1e-12)
    got = mann_kendall(times, low, high)["all"]["variance"]
    assert got == pytest.approx(np.mean(np.square(every)), rel=1e-12)


@pytest.mark.parametrize("y", [[3, 1, 4, 1, 5, 9], [2, 2, 2, 7, 5, 1], [1, 1, 2, 2, 3, 3]])
def test_p_counts_every_order_with_ties(y: list[int]) -> None:
    def s(x: tuple[int, ...]) -> int:
        return sum(np.sign(x[j] - x[i]) for i in range(6) for j in range(i + 1, 6))

    every = np.array([s(p) for p in permutations(y)])
    got = mann_kendall(np.arange(6), y, y)["all"]
    assert bool(got["exact"])
    assert got["p_rising"] == pytest.approx(np.mean(every >= s(tuple(y))), rel=1e-12)
    assert got["p"] == pytest.approx(np.mean(np.abs(every) >= abs(s(tuple(y)))), rel=1e-12)


def test_scipy_kendalltau_agrees() -> None:
    from scipy.stats import kendalltau

    y = np.random.default_rng(2).normal(size=10)
    got = mann_kendall(np.arange(10), y, y)["all"]
    other = kendalltau(np.arange(10), y, method="exact")
    assert got["tau"] == pytest.approx(other.statistic, rel=1e-12)
    assert got["p"] == pytest.approx(other.pvalue, rel=1e-10)


@given(
    st.lists(READING, min_size=3, max_size=14),
    st.randoms(use_true_random=False),
    st.floats(-1e4, 1e4),
    st.sampled_from([0.25, 3.0, 1e3]),
)
def test_order_of_rows_day_counted_from_and_unit_change_nothing(
    drawn: list[tuple[str, int]], random: object, day: float, unit: float
) -> None:
    low, high = bounds(drawn)
    n = len(drawn)
    time = np.repeat(np.arange(n), 2)[:n] * 8.0  # two readings a day
    order = np.random.default_rng(random.getrandbits(32)).permutation(n)  # type: ignore[attr-defined]
    one = mann_kendall(time, low, high)["all"]
    two = mann_kendall((time + np.round(day))[order], low[order] * unit, high[order] * unit)["all"]
    for name in ("s", "variance", "p", "p_rising", "status"):
        assert two[name] == one[name] or (np.isnan(one[name]) and np.isnan(two[name]))


def test_segments_change_nothing_in_each_other() -> None:
    d = leaks(12, 9, below=0.3, slope=0.003)
    size = np.random.default_rng(3).integers(3, 10, 12)
    keep = np.concatenate([np.arange(9) < s for s in size])
    low, high = (b[keep] for b in d.log_bounds)
    time, segment = d.time[keep], d.segment[keep]
    whole = mann_kendall(time, low, high, segment)
    for k in range(12):
        rows = segment == k
        alone = mann_kendall(time[rows], low[rows], high[rows])["all"]
        for name in ("s", "variance", "p", "status"):
            one, two = whole[k][name], alone[name]
            assert one == two or (np.isnan(one) and np.isnan(two))


def test_reflection_turns_the_sign() -> None:
    low, high = bounds([("exact", 1), ("below", 3), ("exact", 2), ("above", 4), ("exact", 5)])
    one = mann_kendall(np.arange(5), low, high)["all"]
    two = mann_kendall(np.arange(5), -high, -low)["all"]
    back = mann_kendall(-np.arange(5), low, high)["all"]
    assert two["s"] == back["s"] == -one["s"] != 0
    assert two["p"] == back["p"] == one["p"]


def test_words_for_what_cannot_be_told() -> None:
    got = mann_kendall(
        [0, 1, 2, 3, 0, 1, 2, 3, 5, 5, 5, 5, 0, 1, 2, 3, 0, 1],
        [0, 0, 0, 0, 9, 9, 9, 9, 1, 2, 3, 4, 7, 7, 7, 7, 1, 2],
        [2, 2, 3, 2, INF, INF, INF, INF, 1, 2, 3, 4, 7, 7, 7, 7, 1, 2],
        ["nd"] * 4 + ["top"] * 4 + ["day"] * 4 + ["flat"] * 4 + ["two"] * 2,
    )
    status = dict(zip(got.table["segment"], got.table["status"], strict=True))
    assert status == {
        "nd": "not detected",
        "top": "above scale",
        "day": "one time",
        "flat": "no spread",
        "two": "few readings",
    }
    for name in ("nd", "top", "day", "flat"):
        assert np.isnan(got[name]["p"])
        assert got[name]["s"] == 0
    assert got["two"]["p"] == 1
    assert (got.table["message"] != "").all()


def test_no_reading_at_all_is_said() -> None:
    got = mann_kendall([], [], [])
    assert got["all"]["status"] == "no readings"
    assert not len(mann_kendall([], [], [], []))


@pytest.mark.parametrize(
    ("time", "low", "high", "where", "what"),
    [
        ([0, np.nan], [1, 2], [1, 2], r"time\[1\]", "not a time"),
        ([0, 1], [1, np.nan], [1, 2], r"low\[1\]", "not a bound"),
        ([0, 1], [1, 2], [np.nan, 2], r"high\[0\]", "not a bound"),
        ([0, 1], [1, 3], [1, 2], r"low\[1\]", "more than high"),
        ([0, 1], [-INF, 3], [INF, 3], r"low\[0\]", "open at both ends"),
        ([0, 1], [1], [1, 2], "low", "1 values where time has 2"),
        ([[0], [1]], [1, 2], [1, 2], "time", "shape"),
        (["x", 1], [1, 2], [1, 2], "time", "no number"),
    ],
)
def test_bad_readings(time: list, low: list, high: list, where: str, what: str) -> None:
    with pytest.raises(InputError, match=f"{where}.*{what}"):
        mann_kendall(time, low, high)


def test_bad_options() -> None:
    y = [1.0, 2.0, 3.0]
    with pytest.raises(InputError, match="inflation: is less than 1"):
        mann_kendall(y, y, y, inflation=0.5)
    with pytest.raises(InputError, match="variance: is 'x'"):
        mann_kendall(y, y, y, variance="x")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="exact readings and readings below detection only"):
        mann_kendall(y, y, [1, 2, INF], variance="pairs")
    many = np.arange(2_001.0)
    with pytest.raises(InputError, match="more than 2000"):
        mann_kendall(many, many, many)


def test_pairs_is_the_textbook_variance_without_open_readings() -> None:
    y, t = [4, 4, 1, 7, 7, 7, 2], [0, 1, 1, 2, 3, 5, 5]
    one, two = (mann_kendall(t, y, y, variance=v)["all"] for v in ("orders", "pairs"))
    assert two["variance"] == pytest.approx(one["variance"], rel=1e-12)


# --- serial correlation ------------------------------------------------------------------------


def exact_variance(corr: np.ndarray) -> float:
    """Variance of S for normal readings with these correlations (Hamed 2009)."""
    n = len(corr)
    i, j = np.triu_indices(n, 1)
    top = corr[np.ix_(j, j)] - corr[np.ix_(j, i)] - corr[np.ix_(i, j)] + corr[np.ix_(i, i)]
    size = np.sqrt(2 - 2 * corr[i, j])
    return float((2 / np.pi * np.arcsin(np.clip(top / np.outer(size, size), -1, 1))).sum())


@pytest.mark.parametrize("phi", [0.3, 0.6, 0.8])
@pytest.mark.parametrize("n", [8, 15, 30])
def test_inflation_is_near_the_exact_one_at_even_times(n: int, phi: float) -> None:
    time = 30.0 * np.arange(n)
    readings = read_readings(time, time, time)
    corr = phi ** (np.abs(time[:, None] - time) / 30)
    exact = exact_variance(corr) / statistics(readings).variance[0]
    assert inflation_of(readings, np.array([phi]))[0] == pytest.approx(exact, rel=0.035)


def test_inflation_is_near_the_exact_one_at_uneven_times() -> None:
    rng = np.random.default_rng(5)
    off = []
    for _ in range(20):
        time = np.cumsum(rng.choice([7.0, 30, 30, 60, 120], 12))
        readings = read_readings(time, time, time)
        exact = exact_variance(0.6 ** (np.abs(time[:, None] - time) / 30))
        own = inflation_of(readings, np.array([0.6]))[0] * statistics(readings).variance[0]
        off.append(own / exact)
    assert np.mean(off) == pytest.approx(1, abs=0.05)
    assert np.std(off) < 0.12


@pytest.mark.parametrize("phi", [0.0, 0.3, 0.6])
@pytest.mark.parametrize("n", [8, 15, 30])
def test_pooled_correlation_is_that_of_the_ranks(n: int, phi: float) -> None:
    """Normal readings with correlation r have ranks with (6 / pi) * arcsin(r / 2)."""
    d = leaks(1_500, n, phi=phi, slope=0.004)
    readings = read_readings(d.time, *d.log_bounds, d.segment)
    got = pooled_correlation(readings, np.ones(1_500, bool))
    assert got.told
    assert got.gap == 30
    assert got.phi == pytest.approx(6 / np.pi * np.arcsin(phi / 2), abs=0.04)


def test_pooled_correlation_at_uneven_times() -> None:
    d = leaks(1_500, 15, phi=0.5, times=(7.0, 30.0, 30.0, 60.0))
    readings = read_readings(d.time, *d.log_bounds, d.segment)
    got = pooled_correlation(readings, np.ones(1_500, bool))
    assert got.phi == pytest.approx(0.48, abs=0.04)


def test_too_few_neighbours_tell_no_correlation() -> None:
    d = leaks(2, 8, phi=0.6)
    readings = read_readings(d.time, *d.log_bounds, d.segment)
    got = pooled_correlation(readings, np.ones(2, bool))
    assert (got.phi, got.told, got.pairs) == (0.0, False, 14)
    assert "too few" in got.sentence()
