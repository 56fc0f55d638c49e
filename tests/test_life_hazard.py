"""Failure rates by the fitted law: values, limits against a second search, and their coverage."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from seallife import life
from seallife.errors import InputError
from seallife.life.lines import Lines

AGE = np.array([54.0, 187.0, 216.0, 240.0, 310.0, 402.0, 500.0, 500.0])
FAILED = np.array([1, 1, 1, 1, 0, 1, 0, 0], dtype=bool)
AT = np.array([20.0, 150.0, 400.0])


def sample(seed: int, n: int = 60) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Age, failed, entry of lives of shape 1.5 and scale 1,000, some entering late."""
    rng = np.random.default_rng(seed)
    entry = np.where(rng.random(n) < 0.3, rng.uniform(0, 500, n), 0.0)
    life_ = ((entry / 1000) ** 1.5 + rng.exponential(size=n)) ** (1 / 1.5) * 1000
    until = entry + rng.uniform(100, 2000, n)
    return np.minimum(life_, until), life_ <= until, entry


def test_lifelines_has_the_same_rates() -> None:
    from lifelines import WeibullFitter

    age, failed, entry = sample(1)
    ours = life.weibull_hazard(age, failed, AT, entry_age=entry, resamples=0).hazard["hazard"]
    fitted = WeibullFitter().fit(age, failed, entry=entry)
    b, scale = fitted.rho_, fitted.lambda_
    np.testing.assert_allclose(ours, b / scale * (AT / scale) ** (b - 1), rtol=1e-4)


def likelihood(p: np.ndarray, age: np.ndarray, failed: np.ndarray, entry: np.ndarray) -> float:
    b, mu = np.exp(p[0]), p[1]
    hazard = np.exp(np.minimum(b * (np.log(age) - mu), 300.0))
    before = np.where(entry > 0, np.exp(b * (np.log(np.maximum(entry, 1e-300)) - mu)), 0.0)
    density = p[0] + b * (np.log(age) - mu) - np.log(age)
    return float((failed * density - hazard + before).sum())


@pytest.mark.parametrize("late", [False, True])
def test_plain_limits_are_the_extremes_of_the_likelihood_region(late: bool) -> None:
    age, failed, entry = sample(2) if late else (AGE, FAILED, np.zeros(len(AGE)))
    found = life.weibull_hazard(age, failed, AT, entry_age=entry, resamples=0)
    row = found["all"]
    top = np.array([np.log(row["shape"]), np.log(row["scale"])])
    floor = likelihood(top, age, failed, entry) - stats.chi2.ppf(0.9, 1) / 2
    rim = {"type": "ineq", "fun": lambda p: likelihood(p, age, failed, entry) - floor}
    for t, got in zip(AT, found.hazard.to_dict("records"), strict=True):
        for sign, side in ((1, "low"), (-1, "high")):

            def log_rate(p: np.ndarray, t: float = t, sign: int = sign) -> float:
                return sign * float(p[0] + np.exp(p[0]) * (np.log(t) - p[1]) - np.log(t))

            starts = [top + np.array(d) for d in ((0, 0), (0.2, 0), (-0.2, 0), (0, 0.2), (0, -0.2))]
            best = min(
                (
                    optimize.minimize(
                        log_rate,
                        s,
                        constraints=[rim],
                        method="SLSQP",
                        bounds=[(v - 3, v + 3) for v in top],
                    )
                    for s in starts
                ),
                key=lambda r: r.fun if r.success else np.inf,
            )
            assert np.log(got[side]) == pytest.approx(sign * best.fun, abs=2e-3)


def test_limits_hold_the_rate_and_calibration_widens_them() -> None:
    plain, wide = (life.weibull_hazard(AGE, FAILED, AT, resamples=r).hazard for r in (0, 200))
    np.testing.assert_allclose(plain["hazard"], wide["hazard"])
    assert ((plain["low"] < plain["hazard"]) & (plain["hazard"] < plain["high"])).all()
    assert (wide["high"] / wide["low"] > plain["high"] / plain["low"]).all()


def test_nine_of_ten_intervals_hold_the_true_rate() -> None:
    """Five failures of ten: plain intervals hold it in 82 %, calibrated ones in nearly 90 %."""
    rng = np.random.default_rng(11)
    sets, n, b = 500, 10, 1.4
    drawn = rng.weibull(b, (sets, n))
    until = np.sort(drawn, axis=1)[:, 4:5]
    group = np.repeat(np.arange(sets), n)
    ages, failed = np.minimum(drawn, until).ravel(), (drawn <= until).ravel()
    held = {}
    for resamples in (0, 150):
        found = life.weibull_hazard(
            ages, failed, [0.3, 0.8], group=group, resamples=resamples
        ).hazard
        truth = b * found["age"] ** (b - 1)
        inside = (found["low"] <= truth) & (truth <= found["high"])
        held[resamples] = inside.groupby(found["age"]).mean()
    # chance moves a share of 500 by 0.013
    assert held[150].between(0.85, 0.94).all()
    assert (held[150] > held[0] + 0.03).all()


def test_interval_ends_and_exact_ages_agree_where_the_interval_is_short() -> None:
    low = np.where(FAILED & (AGE > 200), AGE * (1 - 1e-6), np.nan)
    exact, rows = (
        life.weibull_hazard(AGE, FAILED, AT, age_low=a, resamples=0).hazard for a in (None, low)
    )
    np.testing.assert_allclose(
        exact[["hazard", "low", "high"]], rows[["hazard", "low", "high"]], rtol=1e-3
    )


@settings(max_examples=15, deadline=None)
@given(st.floats(0.01, 100.0), st.integers(0, 50))
def test_unit_and_order_change_nothing(unit: float, seed: int) -> None:
    age, failed, entry = sample(3)
    mixed = np.random.default_rng(seed).permutation(len(age))
    one = life.weibull_hazard(age, failed, AT, entry_age=entry, resamples=0).hazard
    two = life.weibull_hazard(
        unit * age[mixed], failed[mixed], unit * AT, entry_age=unit * entry[mixed], resamples=0
    ).hazard
    for column in ("hazard", "low", "high"):
        np.testing.assert_allclose(two[column] * unit, one[column], rtol=1e-6)


def test_groups_without_a_fit_keep_their_row_and_have_no_rate() -> None:
    group = np.repeat(["fit", "none", "one"], [8, 2, 2])
    ages = np.r_[AGE, 10.0, 20.0, 10.0, 20.0]
    failed = np.r_[FAILED, False, False, True, False]
    found = life.weibull_hazard(ages, failed, AT, group=group, resamples=0)
    assert found.table["status"].tolist() == ["ok", "no failures", "few failures"]
    rates = found.hazard.set_index("group")[["hazard", "low", "high"]]
    assert rates.loc["fit"].notna().all(axis=None)
    assert rates.loc[["none", "one"]].isna().all(axis=None)
    assert len(rates) == 3 * len(AT)
    alone = life.weibull_hazard(AGE, FAILED, AT, resamples=0).hazard
    np.testing.assert_allclose(rates.loc["fit"], alone[["hazard", "low", "high"]], rtol=1e-6)


def test_lines_of_a_rate_come_back_to_their_law() -> None:
    tau, mu = np.array([-0.4, 0.1]), np.array([0.2, -0.1])
    lines = Lines(np.array([[0.0], [0.0]]), mean=True, log_ages=np.array([[-1.0, 0.3], [0.1, 0.5]]))
    value = lines.values(tau, mu)
    assert value.shape == (2, lines.width) == (2, 4)
    shape = np.exp(-tau)[:, None]
    rate = np.log(shape) + shape * (lines.log_ages - mu[:, None])
    np.testing.assert_allclose(value[:, 2:], rate)
    wide = np.repeat(tau[:, None], 4, axis=1)
    at, first, second = lines.scale(value, wide)
    np.testing.assert_allclose(at, np.repeat(mu[:, None], 4, axis=1))
    step = 1e-4
    up, down = (lines.scale(value, wide + s)[0] for s in (step, -step))
    np.testing.assert_allclose((up - down) / (2 * step), first, rtol=1e-5)
    np.testing.assert_allclose((up - 2 * at + down) / step**2, second, rtol=1e-3, atol=1e-6)
    moved = lines.about(np.array([1.0, 2.0])).values(tau, mu + np.array([-1.0, -2.0]))
    np.testing.assert_allclose(moved[:, 2:], value[:, 2:])


def test_rates_of_other_laws_are_density_over_survival() -> None:
    age, failed, entry = sample(4)
    found = life.law_hazards(
        age, failed, AT, ["exponential", "Weibull", "lognormal"], entry_age=entry
    ).hazard.set_index("law")["hazard"]
    per_time = failed.sum() / (age - entry).sum()
    np.testing.assert_allclose(found["exponential"], np.full(3, per_time))
    weibull = life.weibull_hazard(age, failed, AT, entry_age=entry, resamples=0).hazard
    np.testing.assert_allclose(found["Weibull"], weibull["hazard"], rtol=1e-6)
    fit = life.fit_lognormal(age, failed, entry_age=entry)["all"]
    law = stats.lognorm(fit["sigma"], scale=np.exp(fit["mu"]))
    np.testing.assert_allclose(found["lognormal"], law.pdf(AT) / law.sf(AT), rtol=1e-6)


def test_a_law_that_cannot_be_fitted_has_a_reason_and_no_rate() -> None:
    found = life.law_hazards([5.0, 6.0], [1, 0], AT, ["gamma"], group=["a", "a"])
    assert found.table[["group", "law", "status"]].to_numpy().tolist() == [
        ["a", "gamma", "not fitted"]
    ]
    assert "failures" in found.table["message"].iloc[0]
    assert found.hazard["hazard"].isna().all()


@pytest.mark.parametrize(
    "bad", [{"at": [0.0]}, {"at": [[1.0]]}, {"at": [np.nan]}, {"level": 1.0}, {"age": [-1.0]}]
)
def test_bad_input_is_refused(bad: dict[str, Any]) -> None:
    given_ = {"age": [5.0], "failed": [True], "at": [1.0], "level": 0.9} | bad
    with pytest.raises(InputError):
        life.weibull_hazard(given_.pop("age"), given_.pop("failed"), given_.pop("at"), **given_)


@pytest.mark.parametrize("laws", [[], ["Gumbel"]])
def test_unknown_laws_are_refused(laws: list[str]) -> None:
    with pytest.raises(InputError, match="laws"):
        life.law_hazards([5.0], [True], [1.0], laws)
