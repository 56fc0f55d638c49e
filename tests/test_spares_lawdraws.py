"""`seallife.spares.lawdraws` and `agefactors`: laws that the records allow, against known truth."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from truefleets import draw_fleet, tables

from seallife.errors import InputError
from seallife.life.pooling import pool_weibull
from seallife.life.usable import UsableLives, usable_lives
from seallife.spares.agefactors import draw_age_factors
from seallife.spares.lawdraws import LawDraws, draw_laws


def lives_of(label, age, failed, entry=None) -> UsableLives:
    """Lives of known age, new at the start unless entered late."""
    age, n = np.asarray(age, dtype=float), len(age)
    start = np.zeros(n) if entry is None else np.asarray(entry, dtype=float)
    nothing = np.zeros(n, dtype=bool)
    return UsableLives(
        "h",
        np.asarray(label, dtype=object),
        age,
        age,
        np.full(n, np.nan),
        start,
        np.asarray(failed, dtype=bool),
        np.ones(n),
        nothing,
        np.full(n, "", dtype=object),
    )


def laws_of(lives: UsableLives, draws: int = 200, seed: int = 1) -> LawDraws:
    pooled = pool_weibull(lives.age, lives.failed, **lives.grouped)
    classes = pd.Index(pooled.table["group"].astype(str))
    return draw_laws(lives, pooled.posterior, classes, draws, seed)


def weibull_lives(shape, scale, n, until, seed=0):
    rng = np.random.default_rng(seed)
    label = np.repeat([f"C{k}" for k in range(len(scale))], n)
    age = np.repeat(scale, n) * rng.weibull(shape, n * len(scale))
    return lives_of(label, np.minimum(age, until), age <= until)


# ages at which a fleet differs from its laws

STEP = 0.25
AGE = np.exp(STEP * np.arange(24))


def test_failures_as_due_leave_the_laws_alone() -> None:
    due = np.full((400, 24), 400.0)
    got = draw_age_factors(due[0], due, STEP, np.random.default_rng(1))
    assert got.mean(axis=0) == pytest.approx(np.ones(24), abs=0.02)


@pytest.mark.parametrize("power", [-0.8, 0.6])
def test_another_shape_is_found(power: float) -> None:
    """A straight line over log age turns one Weibull law into another."""
    due = np.full((400, 24), 400.0)
    factor = (AGE / AGE[12]) ** power
    got = draw_age_factors(400 * factor, due, STEP, np.random.default_rng(1))
    assert got.mean(axis=0) == pytest.approx(factor, rel=0.1)


def test_two_causes_are_found() -> None:
    """The rate falls first and rises later."""
    due = np.full((400, 24), 400.0)
    factor = (AGE / AGE[8]) ** -0.7 + (AGE / AGE[16]) ** 1.5
    got = draw_age_factors(np.rint(400 * factor), due, STEP, np.random.default_rng(1))
    assert got.mean(axis=0) == pytest.approx(factor, rel=0.08)


def test_counts_say_how_sure_a_level_is() -> None:
    """n failures: a relative spread of 1 / sqrt(n), the prior being wide."""
    rng = np.random.default_rng(1)
    due = np.full((4_000, 12), 25.0)
    total = draw_age_factors(due[0], due, STEP, rng).mean(axis=1)
    assert total.std() == pytest.approx(1 / np.sqrt(12 * 25), rel=0.06)


def test_what_is_due_twice_over_is_halved() -> None:
    """Laws of a wrong level are brought to the counts: draws differ in level, results do not."""
    level = np.array([0.5, 1.0, 2.0])
    due = np.repeat(level, 500)[:, None] * np.full(24, 100.0)
    got = draw_age_factors(np.full(24, 100.0), due, STEP, np.random.default_rng(1))
    means = (got * due).reshape(3, 500, 24).mean(axis=(1, 2))
    assert means == pytest.approx(np.full(3, 100.0), rel=0.02)


def test_beyond_all_ages_curves_go_on_and_spread() -> None:
    due = np.zeros((500, 24))
    due[:, :16] = 200.0
    got = np.log(draw_age_factors(due[0], due, STEP, np.random.default_rng(1)))
    spread = got.std(axis=0)
    assert np.all(np.diff(spread[16:]) > 0)
    assert abs(np.median(got[:, -1])) < 3 * spread[-1] / np.sqrt(500) + 0.1


# laws


def test_laws_of_weibull_lives_are_found() -> None:
    lives = weibull_lives(2.0, [20_000.0, 40_000.0], 600, 30_000.0)
    laws = laws_of(lives)
    age = np.array([4_000.0, 10_000.0, 20_000.0, 30_000.0])
    for place, scale in enumerate((20_000.0, 40_000.0)):
        got = laws.at(np.full(4, place), age)
        true = (age / scale) ** 2
        assert np.all(np.quantile(got, 0.005, axis=0) < true)
        assert np.all(np.quantile(got, 0.995, axis=0) > true)
        failures = 600 * -np.expm1(-true)  # what counts alone would be off by, one sd
        assert np.all(np.abs(got.mean(axis=0) / true - 1) < 3 / np.sqrt(failures))


def test_fitting_faults_are_found() -> None:
    """A Weibull law alone is five times too low at 300 h and a half too high at 5,000 h, which a
    fleet renewed at once would feel."""
    ages = np.array([0.0, 300.0, 1_200.0, 6_000.0, 12_500.0])
    ratio = []
    for seed in range(6):
        fleet = draw_fleet("renewed", seed)
        use = usable_lives(tables(fleet)[0], "service_class", "run_h")
        laws = laws_of(use, 120)
        place = np.repeat(np.arange(5), 4)
        got = laws.hazard_between(place, np.tile(ages[:-1], 5), np.tile(ages[1:], 5))
        true = np.diff(fleet.cumulative(ages)[::40], axis=1)
        ratio.append(got.mean(axis=0).reshape(5, 4).sum(axis=0) / true.sum(axis=0))
    assert np.mean(ratio, axis=0) == pytest.approx(np.ones(4), abs=0.3)


def test_one_class_is_enough() -> None:
    laws = laws_of(weibull_lives(1.5, [10_000.0], 80, 15_000.0))
    got = laws.at(np.zeros(1, dtype=int), np.array([10_000.0]))
    assert got.mean() == pytest.approx(1.0, rel=0.3)


def test_a_class_without_failures_borrows_and_stays_below_what_it_survived() -> None:
    """60 seals that all lived 20,000 h cannot share the rate of a class that lasts 10,000 h."""
    rng = np.random.default_rng(2)
    age = 10_000 * rng.weibull(2.0, 150)
    lives = lives_of(
        ["A"] * 150 + ["B"] * 60, np.append(age, np.full(60, 20_000.0)), [True] * 150 + [False] * 60
    )
    laws = laws_of(lives)
    a, b = laws.at(np.arange(2), np.full(2, 20_000.0)).mean(axis=0)
    assert a == pytest.approx(4.0, rel=0.35)
    assert 0 < 60 * b < 2.5


def test_fewer_failures_leave_more_open() -> None:
    wide, narrow = (
        np.log(
            laws_of(weibull_lives(2.0, [20_000.0], n, 30_000.0)).at(
                np.zeros(1, dtype=int), np.array([15_000.0])
            )
        ).std()
        for n in (15, 600)
    )
    assert wide > 3 * narrow


def test_a_single_failure_is_enough_and_says_little() -> None:
    lives = lives_of(["A"] * 20, [*np.full(19, 5_000.0), 4_000.0], [False] * 19 + [True])
    got = laws_of(lives).at(np.zeros(1, dtype=int), np.array([5_000.0]))
    assert 20 * got.mean() == pytest.approx(1.5, abs=1.2)
    assert got.std() > 0.4 * got.mean()


def test_no_failure_at_all_is_refused_in_a_sentence() -> None:
    lives = lives_of(["A"] * 5, np.full(5, 100.0), [False] * 5)
    with pytest.raises(InputError, match=r"hold no failure.*no law of life can be drawn"):
        draw_laws(lives, None, pd.Index(["A"]), 10)


def test_late_entry_counts_no_time_before_it() -> None:
    """Twice the records in two halves of each life: the same laws."""
    whole = weibull_lives(2.0, [20_000.0], 400, 30_000.0)
    half = whole.age / 2
    cut = lives_of(
        np.tile(whole.label, 2),
        np.append(half, whole.age),
        np.append(np.zeros(400, dtype=bool), whole.failed),
        np.append(np.zeros(400), half),
    )
    age = np.array([3_000.0, 10_000.0, 25_000.0])
    one, two = (laws_of(x).at(np.zeros(3, dtype=int), age).mean(axis=0) for x in (whole, cut))
    assert one == pytest.approx(two, rel=0.02)


def test_the_same_seed_gives_the_same_laws() -> None:
    lives = weibull_lives(2.0, [20_000.0, 9_000.0], 50, 30_000.0)
    one, two, other = (laws_of(lives, 20, seed).cumulative for seed in (1, 1, 2))
    assert np.array_equal(one, two)
    assert not np.array_equal(one, other)


@settings(max_examples=12, deadline=None)
@given(st.integers(2, 40), st.integers(1, 4), st.floats(0.5, 4.0), st.integers(0, 10**6))
def test_rates_are_never_negative_and_units_do_not_matter(n, classes, shape, seed) -> None:
    rng = np.random.default_rng(seed)
    label = rng.choice([f"C{k}" for k in range(classes)], n)
    age = 1_000 * rng.weibull(shape, n) + 1e-3
    failed = rng.random(n) < 0.6
    failed[0] = True
    laws = laws_of(lives_of(label, age, failed), 20)
    assert np.all(np.isfinite(laws.cumulative))
    assert np.all(np.diff(laws.cumulative, axis=2) >= 0)
    assert np.all(laws.cumulative[..., 0] == 0)
    place = np.zeros(3, dtype=int)
    first, last = np.array([0.0, 100, 1e5]), np.array([100.0, 1e5, 2e5])
    parts = laws.hazard_between(place, first, last)
    assert parts.sum(axis=1) == pytest.approx(laws.at(place[:1], last[-1:])[:, 0], rel=1e-6)
    assert laws.at(place, last, draw=3) == pytest.approx(laws.at(place, last)[3])
