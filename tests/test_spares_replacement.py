"""Whether to renew by age or at an opportunity: known truth, properties, words, bad input."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lawsets import HOT, KNOTS, law_draws, weibull_draws
from scipy.integrate import trapezoid

from seallife.errors import InputError
from seallife.life.groups import Floats
from seallife.spares.bestage import cost_rate, replacement_age, replacement_age_of
from seallife.spares.cumulative import law_of_causes
from seallife.spares.opportunity import look_ahead, renew_now
from seallife.spares.replacement import Replacement, costs_of, replacement_ages

LAWS = law_draws(
    {
        "steep": weibull_draws(2.5, 10_000, 0.05),
        "unsure": weibull_draws(1.4, 20_000, 0.15),
        "constant": weibull_draws(1.0, 20_000, 0.0),
        "nearly": weibull_draws(1.1, 20_000, 0.01),
    }
)
SHAPES = pd.DataFrame(
    {
        "service_class": ["steep", "unsure", "constant", "nearly"],
        "shape_low": [2.2, 1.1, 0.9, 1.05],
        "shape_high": [2.8, 1.8, 1.1, 1.15],
    }
)


def ages(**more: object) -> Replacement:
    asked = {"planned_cost": 1.0, "failure_cost": 5.0, "early_age": 1_000.0, **more}
    return replacement_ages(LAWS, SHAPES, **asked)


@settings(max_examples=40)
@given(st.floats(0.5, 6.0), st.floats(0.1, 1e5), st.floats(0.5, 40.0))
def test_no_other_age_costs_less(shape: float, scale: float, ratio: float) -> None:
    best = replacement_age(shape, scale, 2.0, 2.0 * ratio)
    others = np.geomspace(0.02, 3, 40) * scale
    rates = cost_rate(lambda x: (x / scale) ** shape, others, 2.0, 2.0 * ratio)
    assert np.all(best.cost_rate <= rates * (1 + 1e-7))
    assert best.cost_rate <= best.run_to_failure * (1 + 1e-12)
    assert 0 <= best.saving + 1e-12 < 1
    if shape <= 1 or ratio <= 1:
        assert np.isinf(best.age)


@pytest.mark.parametrize(
    ("ratio", "shapes", "saved"),
    [(5, [1.0, 1.4, 2.0, 2.8], [0, 0.07, 0.28, 0.43]), (2, [1.0, 1.4, 2.0, 2.8], [0, 0, 3, 10])],
)
def test_typical_shapes_save_little(ratio: float, shapes: list[float], saved: list[float]) -> None:
    """Figures of the job's own notes, printed to a whole per cent."""
    saved = [s if s < 1 else s / 100 for s in saved]
    best = replacement_age(shapes, 1.0, 1.0, float(ratio))
    np.testing.assert_allclose(best.saving, saved, atol=0.0051)


def test_cost_over_time_is_that_of_a_simulation() -> None:
    rng = np.random.default_rng(2)
    lives = np.interp(rng.exponential(size=400_000), HOT(KNOTS), KNOTS)
    for age in (6_000.0, 20_000.0):
        spent = np.where(lives <= age, 5.0, 1.0).sum() / np.minimum(lives, age).sum()
        assert cost_rate(HOT, age, 1, 5)[0] == pytest.approx(spent, rel=0.01)
        assert cost_rate((KNOTS, HOT(KNOTS)), age, 1, 5)[0] == pytest.approx(spent, rel=0.01)


def test_the_best_age_of_a_table_is_a_knot_and_near_that_of_its_law() -> None:
    table, smooth = (KNOTS, HOT(KNOTS)), replacement_age_of(HOT, 1, 5)
    best = replacement_age_of(table, 1, 5)
    assert best.age in KNOTS
    between = np.linspace(1_000, 60_000, 3_001)
    assert np.all(cost_rate(table, between, 1, 5) >= best.cost_rate * (1 - 1e-12))
    assert best.cost_rate == pytest.approx(smooth.cost_rate, rel=1e-3)
    assert best.age == pytest.approx(smooth.age, rel=0.07)


def test_early_failures_make_renewal_dearer() -> None:
    clean = law_of_causes([1.0, 2.2], [90_000, 34_000])
    with_faults, without = (replacement_age_of(law, 1, 5) for law in (HOT, clean))
    assert with_faults.saving < without.saving
    assert with_faults.age > without.age


def test_classes_are_told_apart_in_words() -> None:
    result = ages()
    verdicts = dict(zip(result.table["service_class"], result.table["verdict"], strict=True))
    assert verdicts == {
        "steep": "renew by age",
        "unsure": "cannot tell yet",
        "constant": "do not renew by age",
        "nearly": "do not renew by age",
    }
    steep = result["steep"]
    exact = replacement_age(2.5, 10_000, 1, 5)
    assert steep["age_low"] <= exact.age <= steep["age_high"]
    assert steep["saving_low"] <= exact.saving <= steep["saving_high"]
    assert steep["early_failures"] == pytest.approx(0.1**2.5, rel=0.2)
    assert f"brings {steep['early_failures']:.3f} failures" in steep["message"]
    assert "0.90 and 1.10" in result["constant"]["message"]
    assert np.isnan(result["constant"]["age"])
    assert result.not_by_age == ["constant"]
    assert "cannot tell yet" in result.summary()


def test_one_age_may_lose_under_some_laws_though_each_law_has_one_that_does_not() -> None:
    row = ages()["unsure"]
    assert row["saving_low"] < 0 < row["saving_high"]


def test_without_costs_the_ratio_that_would_be_needed_is_given() -> None:
    result = ages(planned_cost=np.nan)
    steep = result["steep"]
    assert (steep["verdict"], steep["status"]) == ("no cost given", "no cost given")
    assert np.isnan(steep[["age", "saving", "run_to_failure_rate"]].astype(float)).all()
    assert "would save 5% only where a failure costs 1.8 times" in steep["message"]
    # at that ratio the best age saves just that share
    exact = weibull_draws(2.5, 10_000, 0.0, draws=3)
    one = law_draws({"steep": exact})
    ratio = replacement_ages(one, SHAPES, early_age=1_000.0)["steep"]["ratio_needed"]
    saving = replacement_age(2.5, 10_000, 1.0, ratio).saving
    assert saving == pytest.approx(0.05, abs=2e-3)
    constant = law_draws({"steep": weibull_draws(1.0, 10_000, 0.0, draws=3)})
    row = replacement_ages(constant, SHAPES, early_age=1_000.0)["steep"]
    assert np.isinf(row["ratio_needed"])
    assert "no ratio of costs is known" in row["message"]


def test_costs_by_class_and_classes_without_a_shape() -> None:
    cost = {"steep": 5.0, "nearly": 5.0}
    result = ages(failure_cost=cost)
    assert result["steep"]["verdict"] == "renew by age"
    assert result["unsure"]["verdict"] == "no cost given"
    assert result["constant"]["verdict"] == "do not renew by age"
    unknown = replacement_ages(LAWS, SHAPES[:1], planned_cost=1, failure_cost=5, early_age=1_000)
    assert unknown["unsure"]["status"] == "shape not known"
    assert unknown["unsure"]["verdict"] == "cannot tell yet"
    assert unknown.not_by_age == ["unsure", "constant", "nearly"]


def test_a_failure_no_dearer_than_a_renewal_is_waited_for() -> None:
    row = ages(failure_cost=1.0)["steep"]
    assert row["verdict"] == "do not renew by age"
    assert "No age costs less" in row["message"]


def _ahead(law: Callable[[Floats], Floats], age: Floats, stretch: float, ratio: float):
    n = len(age)
    return look_ahead(
        law_draws({"x": [law]}),
        np.zeros(n, dtype=int),
        age,
        np.full(n, stretch),
        np.ones(n),
        np.ones(n),
        np.full(n, ratio),
    )


def test_what_lies_ahead_of_a_seal_is_that_of_its_law() -> None:
    ahead = _ahead(lambda x: (x / 10_000) ** 2.5, np.array([0.0, 8_000.0]), 5_000.0, 5.0)
    gone = -np.expm1([-(0.5**2.5), 0.8**2.5 - 1.3**2.5])
    np.testing.assert_allclose(ahead.chance_left[0], gone, rtol=2e-3)
    np.testing.assert_allclose(ahead.chance_renewed[0], gone[0], rtol=2e-3)
    x = np.linspace(8_000, 13_000, 20_001)
    run = trapezoid(np.exp(0.8**2.5 - (x / 10_000) ** 2.5), x)
    assert ahead.running[0, 1] == pytest.approx(run, rel=1e-3)
    best = replacement_age(2.5, 10_000, 1.0, 5.0)
    # renewal only at opportunities costs more than at the best age, less than never
    assert np.all(ahead.cost_rate >= best.cost_rate * (1 - 1e-3))
    assert np.all(ahead.cost_rate < best.run_to_failure)


def test_seals_that_do_not_age_are_never_worth_renewing() -> None:
    """The simple rule says so of them as soon as failures are dear: it is shown beside, no more."""
    ahead = _ahead(lambda x: x / 10_000, np.array([0.0, 9_000.0, 1e5]), 8_000.0, 20.0)
    chosen = renew_now(ahead.chance_left, ahead.running, ahead.cost_rate, 1.0, 20.0)
    assert chosen.simple_rule.all()
    assert not chosen.renew.any()
    np.testing.assert_allclose(chosen.gain, -ahead.chance_left, rtol=1e-6)


def _long_run(
    law: Callable[[Floats], Floats], stretch: float, ratio: float, oldest: float, seed: int = 5
) -> float:
    """Cost of a position an outage, seals above an age being renewed in each; by simulation."""
    rng = np.random.default_rng(seed)
    total = law(KNOTS)
    age, cost, outages = rng.uniform(0, stretch, 4_000), 0.0, 60
    for k in range(outages):
        due = np.where(age > oldest, 0.0, age)
        spent = 1.0 * (age > oldest)
        left = np.full(len(age), stretch)
        while True:
            life = np.interp(
                np.interp(due, KNOTS, total) + rng.exponential(size=len(age)), total, KNOTS
            )
            fails = life - due < left
            spent += ratio * fails
            left = np.where(fails, left - (life - due), left)
            due = np.where(fails, 0.0, due)
            if not fails.any():
                break
            # those that ran through keep their age: their next life is drawn from it again
            done = ~fails
            due = np.where(done, due + left, due)
            left = np.where(done, 0.0, left)
        age = due + left
        cost += spent.mean() if k >= 10 else 0.0
    return cost / (outages - 10)


def test_the_rule_is_as_cheap_as_the_best_limit_of_age() -> None:
    """A position followed through outages: the rule's limit against all others, and the simple."""
    stretch, ratio = 8_000.0, 5.0
    law = law_of_causes(
        [1.0, 2.5], [40_000, 18_000], early_share=0.06, early_shape=0.8, early_scale=1_200
    )
    age = np.linspace(0, 40_000, 401)
    ahead = _ahead(law, age, stretch, ratio)
    chosen = renew_now(ahead.chance_left, ahead.running, ahead.cost_rate, 1.0, ratio)
    rule = age[np.argmax(chosen.renew[0])]
    simple = age[np.argmax(chosen.simple_rule[0])]
    costs = {limit: _long_run(law, stretch, ratio, limit) for limit in (rule, simple, 1e9)}
    best = min(
        _long_run(law, stretch, ratio, limit) for limit in (4e3, 7e3, 1e4, 1.3e4, 1.7e4, 2.2e4)
    )
    assert 0 <= simple < rule < 40_000
    assert costs[rule] <= best * 1.015
    assert costs[rule] < costs[simple]
    assert costs[rule] < costs[1e9]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: replacement_age(0, 1, 1, 2), "shape: is not above 0"),
        (lambda: replacement_age(2, 1, np.nan, 2), "planned_cost: is not above 0"),
        (lambda: replacement_age_of(HOT, 1, -2), "failure_cost: is not above 0"),
        (lambda: replacement_age_of(lambda x: 0 * x, 1, 2), "law: is none by which"),
        (lambda: cost_rate(HOT, [0.0], 1, 2), "ages: is not above 0"),
        (lambda: ages(early_age=0), "early_age: is 0"),
        (lambda: ages(least_saving=np.nan), "least_saving: is nan"),
        (lambda: ages(level=1), "level: is 1"),
        (lambda: ages(planned_cost=-1), "planned_cost: is -1"),
        (lambda: ages(failure_cost={"steep": 0}), "failure_cost: is 0"),
        (lambda: replacement_ages(LAWS, SHAPES[["shape_low"]], early_age=1), "shapes: has no"),
        (lambda: costs_of(np.inf, pd.Index(["a"]), "cost"), "cost: is inf"),
    ],
)
def test_bad_input_is_refused_in_one_sentence(call: Callable[[], object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        call()
