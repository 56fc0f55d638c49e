"""Power law: other programs, limits by drawing, words, bad input; published values elsewhere."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife.errors import InputError
from seallife.history import handbook_mtbf_limits, power_law

ENDS = np.array([100.0, 60.0, 30.0])


def systems(seed: int = 3) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    n = np.array([25, 18, 9])
    unit = np.repeat(np.arange(3), n)
    return ENDS[unit] * rng.random(len(unit)) ** (1 / 0.7), unit


def test_shape_alike_is_where_the_likelihood_is_highest() -> None:
    """Crow's equation for ends of their own, against a direct climb with scipy."""
    from scipy.optimize import minimize

    times, unit = systems()

    def minus(x: Any) -> float:
        scale, shape = np.exp(x)
        rate = np.log(scale * shape) + (shape - 1) * np.log(times)
        return float(scale * (ENDS**shape).sum() - rate.sum())

    best = np.exp(minimize(minus, [0.0, 0.0], method="Nelder-Mead", tol=1e-12).x)
    row = power_law(times, ENDS, unit=unit, end_unit=np.arange(3))["all"]
    assert row["shape_alike"] == pytest.approx(best[1], rel=1e-5)
    # given the counts each system tells of the shape alone, whatever its own scale
    assert row["shape"] == pytest.approx(len(times) / np.log(ENDS[unit] / times).sum())


def test_it_agrees_with_the_reliability_library() -> None:
    """reliability 0.9, whose growth model knows one system that ends with its last failure."""
    from reliability.Repairable_systems import reliability_growth

    times = np.sort(100 * np.random.default_rng(8).random(24) ** (1 / 0.6))
    other = reliability_growth(
        times=times, model="Crow-AMSAA", show_plot=False, print_results=False
    )
    row = power_law(times, None, truncated_by="failure")["all"]
    assert row["shape"] == pytest.approx(other.Beta, rel=1e-9)
    assert row["scale"] == pytest.approx(other.Lambda, rel=1e-9)
    assert row["mtbf_at_end"] == pytest.approx(other.DMTBF_I, rel=1e-9)


def test_limits_of_the_rate_are_those_of_a_product_of_gammas() -> None:
    """Watching that ended with a failure: exact, by two million draws."""
    row = power_law([1.0, 2.0, 5.0], None, truncated_by="failure")["all"]
    rng = np.random.default_rng(1)
    logs = np.log(5 / 1) + np.log(5 / 2)
    drawn = rng.gamma(3, size=2_000_000) * rng.gamma(2, size=2_000_000) / logs / 5
    low, high = np.quantile(drawn, [0.05, 0.95])
    assert row["rate_at_end_low"] == pytest.approx(low, rel=5e-3)
    assert row["rate_at_end_high"] == pytest.approx(high, rel=5e-3)
    assert row["mtbf_at_end_low"] == pytest.approx(1 / row["rate_at_end_high"])


def test_limits_of_the_rate_with_ends_of_their_own() -> None:
    times, unit = systems()
    row = power_law(times, ENDS, unit=unit, end_unit=np.arange(3))["all"]
    rng = np.random.default_rng(2)
    n, logs = len(times), np.log(ENDS[unit] / times).sum()
    shape = rng.gamma(n, size=400_000) / logs
    spread = ((ENDS[None, :] / 100) ** shape[:, None]).sum(axis=1)
    drawn = rng.gamma(n + 0.5, size=400_000) * shape / (100 * spread)
    low, high = np.quantile(drawn, [0.05, 0.95])
    assert row["rate_at_end_low"] == pytest.approx(low, rel=5e-3)
    assert row["rate_at_end_high"] == pytest.approx(high, rel=5e-3)


@given(
    st.lists(st.floats(0.001, 0.999), min_size=2, max_size=30),
    st.floats(1e-4, 1e4),
    st.floats(0.5, 0.99),
)
def test_another_unit_of_exposure_scales_the_rate(
    shares: list[float], unit: float, level: float
) -> None:
    one = power_law(shares, 1.0, level=level, resamples=99)["all"]
    two = power_law(np.array(shares) * unit, unit, level=level, resamples=99)["all"]
    assert two["shape"] == pytest.approx(one["shape"], rel=1e-6)
    assert two["fit"] == pytest.approx(one["fit"], rel=1e-6)
    for column in ("rate_at_end", "rate_at_end_low", "rate_at_end_high"):
        assert two[column] * unit == pytest.approx(one[column], rel=1e-5)
    assert one["shape_low"] < one["shape"] < one["shape_high"]
    assert 0 < one["rate_at_end_low"] < one["rate_at_end"] < one["rate_at_end_high"]


def test_groups_stand_each_by_itself() -> None:
    times, unit = systems()
    got = power_law(times, ENDS, unit=unit, end_unit=np.arange(3), group=["x", "y", "x"])
    mine = np.isin(unit, [0, 2])
    alone = power_law(times[mine], ENDS[[0, 2]], unit=unit[mine], end_unit=[0, 2])["all"]
    for column in ("shape", "shape_alike", "scale", "rate_at_end_low", "fit", "fit_p"):
        assert got["x"][column] == pytest.approx(alone[column], rel=1e-9)


def test_what_is_no_power_law_does_not_fit() -> None:
    """A rate that rises and falls again."""
    times = np.concatenate([np.linspace(1, 45, 5), np.linspace(46, 54, 60), np.linspace(55, 99, 5)])
    assert power_law(times, 100)["all"]["fit_p"] < 0.01


@pytest.mark.parametrize(
    ("times", "end", "by", "status"),
    [
        ([], 5, "time", "no events"),
        ([5.0], None, "failure", "too few events"),
        ([5.0], 5.0, "time", "too few events"),
        ([1.0, 2.0], 5, "time", "few events"),
        ([1.0, 2, 3, 4, 4.5], 5, "time", "ok"),
    ],
)
def test_each_row_says_what_it_is_worth(times: Any, end: Any, by: Any, status: str) -> None:
    row = power_law(times, end, truncated_by=by)["all"]
    assert row["status"] == status
    assert np.isfinite(row["shape"]) == (status in {"ok", "few events"})


def test_a_failure_just_before_the_end_makes_no_overflow() -> None:
    row = power_law([999.99999], 1000.0)["all"]
    assert row["shape"] > 1e6
    assert np.isfinite(row["rate_at_end_high"])


def test_handbook_limits_without_an_upper_one() -> None:
    low, high = handbook_mtbf_limits([10.0, 10.0], [1, 30])
    assert np.isinf(high[0])
    assert low[1] < 10 < high[1]


@pytest.mark.parametrize(
    ("kwargs", "where"), [({"level": 1.0}, "level"), ({"resamples": 9}, "resamples")]
)
def test_bad_input_is_one_sentence(kwargs: dict[str, Any], where: str) -> None:
    with pytest.raises(InputError, match=f"^{where}"):
        power_law([1.0], 5, **kwargs)
