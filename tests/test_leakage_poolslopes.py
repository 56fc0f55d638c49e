"""Slopes of the seals of a class together."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife.errors import InputError
from seallife.leakage.poolslopes import pool_slopes


@pytest.mark.filterwarnings("ignore::Warning")  # of the referee
def test_a_mixed_model_says_the_same_of_balanced_readings() -> None:
    """Referee: statsmodels, a linear model with a slope of each seal, by REML.

    With equally many readings at the same times the slopes by least squares hold all there is to
    know. REML takes the most likely spread, here it is weighed over all it may be: with twelve
    seals both are near.
    """
    import statsmodels.formula.api as smf

    rng = np.random.default_rng(3)
    seals, times = 12, np.arange(8.0) - 3.5
    true = 0.3 + 0.2 * rng.standard_normal(seals)
    y = 1 + true[:, None] * times + 0.5 * rng.standard_normal((seals, 8))
    data = pd.DataFrame(
        {"y": y.ravel(), "t": np.tile(times, seals), "seal": np.repeat(np.arange(seals), 8)}
    )
    referee = smf.mixedlm("y ~ t + C(seal)", data, groups="seal", re_formula="0 + t").fit(reml=True)
    slope = (y * times).sum(axis=1) / (times**2).sum()
    error = np.sqrt(referee.scale / (times**2).sum())
    got = pool_slopes(slope, np.full(seals, error))
    assert got["all"]["mean"] == pytest.approx(referee.params["t"], rel=1e-6)
    between = float(np.sqrt(np.asarray(referee.cov_re)[0, 0]))
    assert between < got["all"]["spread"] < 1.25 * between
    effects = np.array([referee.random_effects[i].iloc[0] for i in range(seals)])
    assert (got.each["shrunk"] - got["all"]["mean"]).to_numpy() == pytest.approx(effects, abs=0.02)


@pytest.mark.parametrize("spread", [0.0, 0.5, 2.0])
@pytest.mark.parametrize("seals", [5, 20])
def test_limits_hold_the_mean_and_the_next_seal(spread: float, seals: int) -> None:
    rng = np.random.default_rng(int(10 * spread) + seals)
    fleets = 4_000
    se = rng.uniform(0.3, 2.0, (fleets, seals))
    true = 1 + spread * rng.standard_normal((fleets, seals))
    found = true + se * rng.standard_normal((fleets, seals))
    group = np.repeat(np.arange(fleets), seals)
    got = pool_slopes(found.ravel(), se.ravel(), group)
    t = got.table
    mean = ((t["mean_low"] <= 1) & (t["mean_high"] >= 1)).mean()
    another = 1 + spread * rng.standard_normal(fleets)
    seal = ((t["seal_low"] <= another) & (t["seal_high"] >= another)).mean()
    # few seals cannot show that they are alike: limits are too wide then, and never too narrow
    most = 1.0 if seals == 5 or spread == 0 else 0.93
    assert 0.88 <= mean <= most
    assert 0.88 <= seal <= most
    # what leans on the class is nearer the truth than what stands alone
    error = (got.each["shrunk"].to_numpy() - true.ravel()) ** 2
    assert error.mean() < ((found - true) ** 2).mean()


def test_a_seal_that_is_not_known_borrows_all() -> None:
    got = pool_slopes([1.0, 1.2, 0.8, 5.0], [0.1, 0.1, 0.1, 50.0])
    assert got.each["borrowed"].iloc[3] > 0.99
    assert got.each["shrunk"].iloc[3] == pytest.approx(1.0, abs=0.05)


def test_few_seals_and_none_are_said() -> None:
    got = pool_slopes([1.0, np.nan, 2.0, 2.0, 2.1], [1.0, 1.0, 1.0, 0.5, 0.4], list("abccc"))
    assert got.table["status"].tolist() == ["few seals", "no slope", "ok"]
    assert got.table["mean"].isna().tolist() == [True, True, False]
    assert np.isnan(got.each["shrunk"]).tolist() == [True, True, False, False, False]
    assert len(pool_slopes([], [])) == 0


@given(st.randoms(use_true_random=False), st.floats(0.01, 100), st.floats(-5, 5))
def test_order_and_unit_say_nothing(random: object, unit: float, shift: float) -> None:
    rng = np.random.default_rng(random.randrange(1 << 30))  # type: ignore[attr-defined]
    slope, se, group = rng.normal(size=12), rng.uniform(0.2, 1, 12), rng.integers(0, 2, 12)
    order = rng.permutation(12)
    one = pool_slopes(slope, se, group).table
    two = pool_slopes(unit * (slope + shift)[order], unit * se[order], group[order]).table
    for column in ("mean", "mean_low", "seal_high"):
        same = one[column].to_numpy() + shift
        assert two[column].to_numpy() / unit == pytest.approx(same, rel=1e-6, abs=1e-6, nan_ok=True)


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"slope": [1.0]}, "slope, slope_se, group"),
        ({"slope_se": [0.0, 1.0]}, r"slope_se\[0\]"),
        ({"group": ["a", None]}, r"group\[1\]"),
        ({"level": 1.0}, "level"),
    ],
)
def test_bad_input_says_where(change: dict[str, object], where: str) -> None:
    asked: dict[str, object] = {"slope": [1.0, 2.0], "slope_se": [1.0, 1.0], "group": ["a", "a"]}
    with pytest.raises(InputError, match=where):
        pool_slopes(**(asked | change))  # type: ignore[arg-type]
