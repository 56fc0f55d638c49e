"""Renewals of a position: bounds, properties, known truth by simulation, bad input."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lawsets import HOT, KNOTS

from seallife.errors import InputError
from seallife.life.groups import Floats
from seallife.spares.cumulative import cumulative_rate, law_of_causes, running_time
from seallife.spares.renewal import count_distribution, renewal_of
from seallife.spares.weibullrenewal import renewal_function

SHAPES = st.floats(0.3, 8.0)


def counted(
    law: Callable[[Floats], Floats], until: float, age: float, n: int, seed: int
) -> np.ndarray:
    """Renewals of n positions up to a time, drawn by the law's inverse at many ages."""
    rng = np.random.default_rng(seed)
    grid = np.append(0.0, np.geomspace(1e-4, 1e8, 20_000))
    total = law(grid)
    first = np.interp(law(np.array([age]))[0] + rng.exponential(size=n), total, grid) - age
    at, count = first, np.zeros(n, dtype=int)
    while np.any(at <= until):
        count += at <= until
        at = at + np.interp(rng.exponential(size=n), total, grid)
    return count


@settings(max_examples=25)
@given(SHAPES, st.floats(0.05, 6.0))
def test_weibull_renewals_agree_with_the_bounds_of_any_law(shape: float, t: float) -> None:
    """Two methods with nothing in common: a transform, and lives rounded to steps."""
    found = renewal_of(lambda x: x**shape, [t / 2, t])
    exact = renewal_function([t / 2, t], shape)
    assert np.all((found.low <= exact + 1e-9) & (exact <= found.high + 1e-9))
    np.testing.assert_allclose(found.value, exact, atol=1e-5)


@settings(max_examples=25)
@given(SHAPES, st.floats(0.1, 1e5))
def test_weibull_renewals_rise_between_their_bounds(shape: float, scale: float) -> None:
    from scipy.special import gamma

    t = np.linspace(0, 8, 30) * scale
    m = renewal_function(t, shape, scale)
    mean = scale * gamma(1 + 1 / shape)
    assert m[0] == 0
    assert np.all(np.diff(m) > -1e-9)
    assert np.all(m >= t / mean - 1)
    if shape >= 1:  # new is better than used: Barlow & Proschan 1965, ch. 3
        assert np.all(m <= t / mean + 1e-9)
    square = gamma(1 + 2 / shape) / gamma(1 + 1 / shape) ** 2 - 2
    if shape < 1:  # failure rate falls: Brown 1980, Annals of Probability 8, 227-240
        assert np.all(m <= t / mean + square / 2 + 1e-9)
        assert np.all(m >= t / mean - 1e-9)


def test_far_ahead_only_the_mean_counts_and_soon_only_the_first_seal() -> None:
    for shape in (0.5, 1.5, 4.0):
        early = np.array([1e-9, 1e-6])
        np.testing.assert_allclose(renewal_function(early, shape), early**shape, rtol=5e-3)
    assert renewal_function(50.0, 2.0) == pytest.approx(50 * 2 / np.sqrt(np.pi) + 2 / np.pi - 1)
    just = renewal_function(np.array([1 - 1e-9, 1 + 1e-9]) * 10.979377098976467 * 0.8862269255, 2.0)
    assert np.ptp(just) < 1e-7  # no step where the straight line takes over


def test_arrays_are_broadcast_and_single_figures_agree() -> None:
    t, shape, scale = np.array([0.5, 2.0]), np.array([[0.7], [1.0], [2.8]]), 3.0
    all_at_once = renewal_function(t, shape, scale)
    assert all_at_once.shape == (3, 2)
    for i, j in np.ndindex(3, 2):
        one = renewal_function(t[j], shape[i, 0], scale)
        assert one == pytest.approx(all_at_once[i, j], abs=1e-9)


@pytest.mark.parametrize("age", [0.0, 15_000.0])
def test_counts_of_a_law_of_several_causes_are_those_of_a_simulation(age: float) -> None:
    until, n = 60_000.0, 200_000
    seen = counted(HOT, until, age, n, seed=3)
    found = count_distribution(HOT, [until], 8, age=age)
    share = np.bincount(seen, minlength=9)[:9] / n
    chance = found.chance[0]
    assert np.all(np.abs(share - chance) <= 4.5 * np.sqrt(chance * (1 - chance) / n) + 1e-6)
    mean = renewal_of(HOT, until, age=age)
    assert abs(seen.mean() - mean.value[0]) < 4.5 * seen.std() / np.sqrt(n)


@settings(max_examples=15)
@given(SHAPES, st.floats(0.2, 3.0), st.floats(0.0, 2.0))
def test_counts_add_up_and_their_mean_is_the_renewal_function(
    shape: float, t: float, age: float
) -> None:
    def law(x: Floats) -> Floats:
        return np.asarray(x**shape)

    found = count_distribution(law, [t / 2, t], 40, age=age)
    np.testing.assert_allclose(found.chance.sum(axis=1) + found.more, 1.0, atol=1e-12)
    low, high = found.chance_limits
    assert np.all((low <= found.chance + 1e-12) & (found.chance <= high + 1e-12))
    mean = renewal_of(law, [t / 2, t], age=age)
    few = found.more < 1e-9
    np.testing.assert_allclose(
        found.at_least[few, 1:].sum(axis=1), mean.value[few], atol=2e-4, rtol=0
    )


def test_counts_of_a_constant_rate_are_poisson_at_any_age() -> None:
    from scipy.stats import poisson

    for age in (0.0, 3.0):
        found = count_distribution(lambda x: x, [0.5, 2.0], 6, age=age)
        expected = poisson.pmf(np.arange(7), [[0.5], [2.0]])
        np.testing.assert_allclose(found.chance, expected, atol=1e-7)
        low, high = found.chance_limits
        assert np.all((low <= expected) & (expected <= high))
        np.testing.assert_allclose(renewal_of(lambda x: x, [0.5, 2], age=age).value, [0.5, 2.0])


def test_an_old_seal_is_followed_by_new_ones() -> None:
    """Delayed: one residual life, then M; by integration of the renewal equation."""
    shape, age, t = 2.0, 0.8, 1.7
    x, w = np.polynomial.legendre.leggauss(60)
    u = t * (x + 1) / 2
    density = shape * (age + u) ** (shape - 1) * np.exp(age**shape - (age + u) ** shape)
    after = (w * t / 2) @ (density * renewal_function(t - u, shape))
    expected = -np.expm1(age**shape - (age + t) ** shape) + after
    found = renewal_of(lambda v: v**shape, t, age=age)
    assert found.value[0] == pytest.approx(expected, abs=1e-8)
    assert found.low[0] <= expected <= found.high[0]


def test_tighter_bounds_take_more_steps() -> None:
    wide, close = (renewal_of(HOT, [20_000, 45_000], tolerance=e) for e in (1e-2, 1e-5))
    assert wide.steps < close.steps
    assert np.max(close.high - close.low) <= 1e-5
    assert np.all((wide.low <= close.low) & (close.high <= wide.high))


def test_hours_and_days_differ_by_a_factor() -> None:
    hours, days = renewal_function(365 * 14.0, 1.4, 25_000), renewal_function(365, 1.4, 25_000 / 14)
    assert hours == pytest.approx(days, rel=1e-12)


def test_a_table_of_knots_stands_for_the_law_it_was_taken_from() -> None:
    table = (KNOTS, HOT(KNOTS))
    t = [20_000, 45_000]
    np.testing.assert_allclose(renewal_of(table, t).value, renewal_of(HOT, t).value, rtol=2e-3)
    law = cumulative_rate(([0, 1, 3], [0, 2, 3]))
    np.testing.assert_allclose(law(np.array([0.5, 2, 3, 5])), [1, 2.5, 3, 4])


def test_causes_side_by_side() -> None:
    both = law_of_causes([1.0, 3.0], [5.0, 4.0])
    x = np.array([0.0, 1.0, 6.0])
    np.testing.assert_allclose(both(x), x / 5 + (x / 4) ** 3)
    early = law_of_causes(3.0, 4.0, early_share=0.2, early_shape=0.8, early_scale=0.1)
    share = np.exp(-early(x)) / np.exp(-((x / 4) ** 3))
    np.testing.assert_allclose(share, 0.8 + 0.2 * np.exp(-((x / 0.1) ** 0.8)))


def test_running_time_is_exact_for_constant_rates() -> None:
    ages, total = np.array([1.0, 1.0, 3.0, 10.0]), np.array([0.4, 0.4, 1.4, 1.4])
    got = running_time(ages, total)
    first = (1 - np.exp(-1)) / 0.5
    np.testing.assert_allclose(got, [0, 0, first, first + 7 * np.exp(-1)])


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: renewal_function(-1, 2), "t: is below 0"),
        (lambda: renewal_function(np.nan, 2), "t: is below 0"),
        (lambda: renewal_function(1, 2, 0), "scale: is not above 0"),
        (lambda: renewal_function(1, 0.1), "shape: is out of range"),
        (lambda: renewal_function(1, np.nan), "shape: is out of range"),
        (lambda: renewal_of(HOT, []), "times: are not"),
        (lambda: renewal_of(HOT, [0.0]), "times: are not"),
        (lambda: renewal_of(HOT, [1.0], age=-1), "age: is -1"),
        (lambda: renewal_of(HOT, [1.0], tolerance=0), "tolerance: is 0"),
        (lambda: renewal_of(lambda x: np.where(x < 1, x, np.inf), [1.0], age=2), "no seal"),
        (lambda: count_distribution(HOT, [1.0], -1), "most: is -1"),
        (lambda: renewal_of(([0, 1], [0, 1, 2]), [1.0]), "law: have shapes"),
        (lambda: renewal_of(([0, 2, 1], [0, 1, 2]), [1.0]), "law: are not"),
        (lambda: renewal_of(([0, 1], [1, 0]), [1.0]), "law: are not"),
        (lambda: law_of_causes(0, 1), "shape: is not above 0"),
        (lambda: law_of_causes(1, [1, -1]), "scale: is not above 0"),
        (lambda: law_of_causes(1, 1, early_share=1.0), "early_share: is 1.0"),
    ],
)
def test_bad_input_is_refused_in_one_sentence(call: Callable[[], object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        call()
