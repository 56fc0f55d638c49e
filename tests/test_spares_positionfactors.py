"""`seallife.spares.positionfactors`: how far positions stand from their class."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seallife.spares.positionfactors import PositionFactors, position_factors


def test_positions_that_are_alike_stay_alike() -> None:
    """Of 40 fleets whose counts are Poisson, hardly one seems spread; factors stay near 1."""
    rng = np.random.default_rng(1)
    due = rng.uniform(0.5, 4.0, 200)
    found = [position_factors(rng.poisson(due).astype(float), due) for _ in range(40)]
    assert np.mean([f.alike < 15 for f in found]) < 0.1
    assert np.mean([np.abs(f.mean - 1).max() for f in found]) < 0.5


@pytest.mark.parametrize("shape", [2.0, 5.0])
def test_the_spread_between_positions_is_found(shape: float) -> None:
    rng = np.random.default_rng(2)
    alike, error, raw = [], [], []
    for _ in range(20):
        true = rng.gamma(shape, 1 / shape, 300)
        due = np.full(300, 3.0)
        had = rng.poisson(due * true).astype(float)
        got = position_factors(had, due)
        alike.append(got.alike)
        error.append(((got.mean - true) ** 2).mean())
        raw.append(((had / due - true) ** 2).mean())
    assert np.median(alike) == pytest.approx(shape, rel=0.35)
    assert np.mean(error) < 0.8 * np.mean(raw)
    # posterior variance of a gamma factor: what no estimate can do better than, and 10 % more
    assert np.mean(error) < 1.1 / (shape + 3.0)


def test_the_few_that_stand_apart_are_found() -> None:
    rng = np.random.default_rng(3)
    due = np.full(400, 2.5)
    true = np.ones(400)
    true[:4] = 5.0
    caught, others = [], []
    for _ in range(20):
        got = position_factors(rng.poisson(due * true).astype(float), due)
        caught.append(got.mean[:4].mean())
        others.append(got.mean[4:].mean())
    assert np.mean(caught) > 3.0
    assert np.mean(others) == pytest.approx(1.0, abs=0.05)


def test_by_hand() -> None:
    """Gamma with shape 4 and 7 failures where 3 were due: (4 + 7) / (4 + 3)."""
    got = PositionFactors(np.array([7.0, 0.0]), np.array([3.0, 0.0]), 4.0, 0.0)
    assert got.mean == pytest.approx([11 / 7, 1.0])
    assert got.chance_apart.tolist() == [0.0, 0.0]


@pytest.mark.parametrize(("alike", "apart"), [(4.0, 0.02), (np.inf, 0.05), (np.inf, 0.0)])
def test_draws_have_the_mean_that_is_told(alike: float, apart: float) -> None:
    factors = PositionFactors(
        np.array([0.0, 2.0, 9.0, 15.0]), np.array([1.0, 2.0, 3.0, 2.0]), alike, apart
    )
    rng = np.random.default_rng(4)
    drawn = np.array([factors.draw(rng) for _ in range(6_000)])
    assert drawn.mean(axis=0) == pytest.approx(factors.mean, rel=0.04)
    assert np.all(drawn > 0)


def test_a_position_without_record_is_as_its_class_but_for_the_few() -> None:
    got = PositionFactors(np.zeros(1), np.zeros(1), 3.0, 0.05)
    assert got.chance_apart[0] == pytest.approx(0.05)
    assert got.mean[0] == pytest.approx(0.95 + 0.05 * 3)


def test_nothing_on_record_tells_no_spread() -> None:
    got = position_factors(np.zeros(5), np.zeros(5))
    assert np.isinf(got.alike)
    assert got.apart == 0.0
    assert got.mean.tolist() == [1.0] * 5


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 12), st.floats(0.0, 8.0)), min_size=1, max_size=40))
def test_factors_lie_between_class_and_count_and_rise_with_it(counts) -> None:
    had, due = (np.array(v, dtype=float) for v in zip(*counts, strict=True))
    got = position_factors(had, due)
    assert np.all(np.isfinite(got.mean))
    assert np.all(got.mean > 0)
    assert np.all((got.chance_apart >= 0) & (got.chance_apart <= 1))
    more = PositionFactors(had + 1, due, got.alike, got.apart)
    assert np.all(more.mean >= got.mean - 1e-9)
    order = np.random.default_rng(0).permutation(len(had))
    turned = position_factors(had[order], due[order])
    assert turned.mean == pytest.approx(got.mean[order], rel=1e-9)
