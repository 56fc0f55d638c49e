"""Calibrated intervals: signed roots against direct maximisation, then what must always hold."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize, minimize_scalar
from scipy.special import gammaln

from seallife.life import calibration, fit_weibull, weibullfit
from seallife.life.calibration import root_quantiles, signed_roots
from seallife.life.groups import Groups
from seallife.life.lifedata import LifeData, read_lives
from seallife.life.lines import Lines

TAU, MU = -0.3, 2.0  # log sigma and log scale
LIMITS = [f"{q}{s}" for q in ("shape", "scale", "b10", "b50", "mean") for s in ("_low", "_high")]


def _lives(times: int, n: int, seed: int) -> LifeData:
    """Groups of lives of one law, half of them entering late, some withdrawn."""
    rng = np.random.default_rng(seed)
    entry = np.tile(np.repeat([0.0, 2.0], n // 2), times)
    lived = (entry / np.exp(MU)) ** np.exp(-TAU) + rng.standard_exponential(n * times)
    life = np.exp(MU + np.exp(TAU) * np.log(lived))
    until = np.maximum(entry + 0.1, rng.uniform(3, 20, n * times))
    groups = Groups(np.arange(times), np.arange(times + 1) * n)
    return LifeData(groups, np.minimum(life, until), life <= until, entry)


def test_signed_roots_are_those_of_a_direct_search() -> None:
    """Each by its own one-dimensional maximisation of the likelihood as written."""
    times, n = 12, 8
    data = _lives(times, n, 3)
    at = np.array([0.0, -2.25, -0.37, 0.8])
    lines = Lines(np.tile(at, (times, 1)), mean=True)
    got = calibration._roots(data, np.full(times, TAU), np.full(times, MU), lines, True)
    sigma = np.exp(TAU)
    checked = 0
    for i in range(times):
        rows = slice(i * n, i * n + n)
        assert data.entry is not None
        age, failed, entry = data.age[rows], data.failed[rows], data.entry[rows]
        if failed.sum() < 2:
            assert np.isnan(got[i]).all()
            continue

        def height(tau, mu, age=age, failed=failed, entry=entry) -> float:  # type: ignore[no-untyped-def]
            shape = np.exp(-tau)
            z = shape * (np.log(age) - mu)
            with np.errstate(divide="ignore"):
                before = np.exp(shape * (np.log(entry) - mu))
            return float((failed * (np.log(shape) + z - np.log(age)) - np.exp(z) + before).sum())

        def best(line, tau, height=height) -> float:  # type: ignore[no-untyped-def]
            found = minimize_scalar(
                lambda t: -height(t, line(t)),
                bounds=(tau - 6, tau + 6),
                method="bounded",
                options={"xatol": 1e-10},
            )
            return -float(found.fun)

        top = minimize(
            lambda p, height=height: -height(*p),
            [TAU, MU],
            method="Nelder-Mead",
            options={"xatol": 1e-9, "fatol": 1e-11, "maxiter": 4_000},
        )
        tau, mu = top.x
        shape_only = minimize_scalar(
            lambda m, height=height: -height(TAU, m),
            bounds=(MU - 8, MU + 8),
            method="bounded",
            options={"xatol": 1e-10},
        ).fun
        want = [np.sign(tau - TAU) * np.sqrt(2 * max(shape_only - top.fun, 0.0))]
        mean = MU + gammaln(1 + sigma)
        away = mu + gammaln(1 + np.exp(tau)) - mean
        fall = -top.fun - best(lambda t, m=mean: m - gammaln(1 + np.exp(t)), tau)
        want.append(np.sign(away) * np.sqrt(2 * max(fall, 0.0)))
        for k in at:
            target = MU + k * sigma
            fall = -top.fun - best(lambda t, k=k, v=target: v - k * np.exp(t), tau)
            side = np.sign(mu + k * np.exp(tau) - target)
            want.append(side * np.sqrt(2 * max(fall, 0.0)))
        assert got[i] == pytest.approx(want, abs=2e-5)
        checked += 1
    assert checked >= 8


def test_roots_of_complete_lives_do_not_depend_on_the_law() -> None:
    """Shape and scale drop out where all lives are watched from new to failure."""
    one = read_lives(np.arange(1.0, 8.0), np.ones(7, bool))
    other = read_lives(np.arange(1.0, 8.0) ** 0.4 * 900, np.ones(7, bool))
    lines = Lines(np.array([[0.0, -2.25]]), mean=False)
    first = signed_roots(one, np.array([0.1]), np.array([1.5]), lines, 60, 5, shape=True)
    second = signed_roots(other, np.array([-0.8]), np.array([7.0]), lines, 60, 5, shape=True)
    assert first.shape == (1, 60, 3)
    np.testing.assert_allclose(first, second, atol=1e-6)


def test_quantiles_are_those_of_order_statistics() -> None:
    roots = np.arange(1.0, 100.0)[None, ::-1, None].copy()
    assert root_quantiles(roots, [0.95])[0][0, 0] == 95.0
    assert root_quantiles(roots, [0.05])[0][0, 0] == 5.0
    assert root_quantiles(roots, [0.999])[0][0, 0] == 99.0
    roots[0, :45] = np.nan  # 54 are left
    assert root_quantiles(roots, [0.5])[0][0, 0] == 27.5
    roots[0, :55] = np.nan
    assert np.isnan(root_quantiles(roots, [0.5])[0][0, 0])  # 44 tell nothing


def test_a_limit_between_levels_is_interpolated_as_a_search_would_find_it() -> None:
    """Limits of another level from those of the nodes: nothing is lost by not searching."""
    from scipy.stats import norm

    data = _lives(5, 30, 8)
    asked = weibullfit.Asked(np.array([0.1, 0.5]), np.log([4.0]))
    z = float(norm.ppf(0.95))
    fits = [weibullfit.fit_exact(data, asked, (k * z) ** 2 / 2) for k in weibullfit._NODES]
    nodes = z * np.concatenate([-weibullfit._NODES[::-1], [0.0], weibullfit._NODES])
    point = asked.at(fits[1])
    values = np.stack([*(f.high for f in fits[::-1]), point, *(f.low for f in fits)], axis=-1)
    for root in (0.6, 1.2, 2.1, 2.6):
        exact = weibullfit.fit_exact(data, asked, root**2 / 2)
        at = np.full(point.shape, root)
        width = fits[1].high - fits[1].low
        assert np.abs((weibullfit._between(nodes, values, at) - exact.low) / width).max() < 2e-3
        assert np.abs((weibullfit._between(nodes, values, -at) - exact.high) / width).max() < 2e-3


def _sample(n: int, seed: int) -> dict[str, np.ndarray]:
    data = _lives(1, n, seed)
    assert data.entry is not None
    return {"age": data.age, "failed": data.failed, "entry_age": data.entry}


@settings(max_examples=8)
@given(st.integers(8, 24).map(lambda n: n // 2 * 2), st.integers(0, 50), st.floats(1e-3, 1e4))
def test_neither_order_nor_unit_nor_other_classes_move_a_limit(
    n: int, seed: int, unit: float
) -> None:
    lives = _sample(n, seed)
    plain = fit_weibull(**lives, resamples=80)
    order = np.random.default_rng(seed).permutation(n)
    mixed = fit_weibull(**{k: v[order] for k, v in lives.items()}, resamples=80)
    more = fit_weibull(
        **{k: np.concatenate([v, v[: n // 2]]) for k, v in lives.items()},
        group=np.repeat(["mine", "other"], [n, n // 2]),
        resamples=80,
    )
    scaled = fit_weibull(
        lives["age"] * unit, lives["failed"], entry_age=lives["entry_age"] * unit, resamples=80
    )
    one = plain.table.iloc[0]
    if one["status"] not in {"ok", "few failures"}:
        return
    for column in [*LIMITS, "shape_corrected"]:
        assert mixed.table.iloc[0][column] == pytest.approx(one[column], rel=1e-6, nan_ok=True)
        assert more["mine"][column] == pytest.approx(one[column], rel=1e-6, nan_ok=True)
        factor = 1.0 if column.startswith("shape") else unit
        want = one[column] * factor
        assert scaled.table.iloc[0][column] == pytest.approx(want, rel=1e-5, nan_ok=True)


@pytest.mark.parametrize("n", [4, 10, 40])
def test_limits_stay_in_order_and_the_estimate_stays_what_it_was(n: int) -> None:
    lives = _sample(n, 11)
    plain, moved = (fit_weibull(**lives, survival_at=[3.0], resamples=k) for k in (0, 200))
    one, other = plain.table.iloc[0], moved.table.iloc[0]
    for q in ("shape", "scale", "b10", "b50", "mean"):
        assert one[q] == other[q]
        if np.isfinite(one[f"{q}_low"]) and np.isfinite(one[f"{q}_high"]):
            assert 0 < other[f"{q}_low"] < other[q] < other[f"{q}_high"]
    assert other["resamples"] > 100
    row = moved.survival.iloc[0]
    assert 0 <= row["low"] <= row["survival"] <= row["high"] <= 1
    assert "calibrated by 200 resamples (seed 1)" in moved.method
    assert "calibrated" not in plain.method
    assert "shape_corrected" not in plain.table


def test_the_bias_of_few_failures_is_taken_off() -> None:
    """Five failures: the fitted shape is typically a quarter too high, the corrected one is not."""
    rng = np.random.default_rng(4)
    fits = fit_weibull(
        rng.weibull(2.0, 1_500) * 100,
        np.ones(1_500, bool),
        group=np.repeat(np.arange(300), 5),
        resamples=200,
    ).table
    assert fits["shape"].median() / 2.0 > 1.15
    assert fits["shape_corrected"].median() / 2.0 == pytest.approx(1.0, abs=0.1)


def test_whole_weights_are_lives_and_others_leave_the_intervals_alone() -> None:
    age, failed = np.array([1.0, 2.0, 3.0, 4.0]), np.array([True, True, True, False])
    many = np.array([1, 2, 1, 3])
    weighted = fit_weibull(age, failed, weight=many, resamples=100).table.iloc[0]
    spelled = fit_weibull(np.repeat(age, many), np.repeat(failed, many), resamples=100)
    for column in LIMITS:
        assert weighted[column] == pytest.approx(spelled.table.iloc[0][column], rel=1e-9)
    parts = fit_weibull(age, failed, weight=many * 0.7, resamples=100).table.iloc[0]
    assert parts["resamples"] == 0
    assert parts["b10_low"] == fit_weibull(age, failed, weight=many * 0.7)["all"]["b10_low"]


def test_interval_ends_keep_their_fit_and_get_the_stretch() -> None:
    lives = _sample(20, 2)
    low = np.where(lives["failed"], np.maximum(lives["age"] - 0.2, lives["entry_age"]), np.nan)
    plain, moved = (fit_weibull(**lives, age_low=low, resamples=k).table.iloc[0] for k in (0, 200))
    assert moved["shape"] == plain["shape"]
    assert moved["resamples"] > 100
    assert moved["shape_high"] != plain["shape_high"]
    exact = fit_weibull(**lives, resamples=200).table.iloc[0]
    assert moved["shape_low"] == pytest.approx(exact["shape_low"], rel=0.1)


def test_classes_without_a_shape_are_left_in_words() -> None:
    age = np.array([1.0, 2.0, 3.0, 5.0, 5.0, 5.0, 1.0, 2.0])
    failed = np.array([False, True, False, True, True, True, True, True])
    group = np.repeat(["one", "tied", "two"], [3, 3, 2])
    table = fit_weibull(age, failed, group=group, resamples=60).table.set_index("group")
    assert table.loc[["one", "tied"], "resamples"].tolist() == [0, 0]
    assert table.loc[["one", "tied"], "shape"].isna().all()
    assert table.loc["two", "shape_low"] < table.loc["two", "shape"]


def test_many_failures_need_no_resampling() -> None:
    """From 200 on a limit moves by less than resampling scatters it, and the time is spared."""
    rng = np.random.default_rng(3)
    age, failed = rng.weibull(1.4, 260), np.ones(260, bool)
    plain, asked = (fit_weibull(age, failed, resamples=k)["all"] for k in (0, 100))
    assert asked["resamples"] == 0
    assert asked["shape_corrected"] == asked["shape"]
    for column in LIMITS:
        assert asked[column] == plain[column]
    fewer = fit_weibull(age[:190], failed[:190], resamples=100)["all"]
    assert fewer["resamples"] == 100
    assert fewer["shape_corrected"] == pytest.approx(fewer["shape"], rel=0.02)
