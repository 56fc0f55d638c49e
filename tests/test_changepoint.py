"""One change of rate on exposure: where, how sure, and silence where there is none."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife.errors import InputError
from seallife.history import change_point
from seallife.history.changepoint import _best

EARLY = [2.0, 5, 9, 11, 14, 18, 21, 26, 29, 31, 35, 38, 60, 95]


def test_a_rate_that_fell_is_found() -> None:
    row = change_point(EARLY, 100)["all"]
    assert row["changed"]
    assert row["change"] == 38
    assert row["change_low"] < 38 < row["change_high"]
    assert row["rate_before"] == pytest.approx(12 / 38)
    assert row["ratio"] == pytest.approx(2 / 62 / (12 / 38))
    assert row["message"].startswith("The rate fell at exposure 38")
    assert "5 % of groups" in row["message"]


def test_the_best_point_is_the_best_of_all() -> None:
    """Against a fine grid of all points."""
    from scipy.special import xlogy

    x = np.sort(np.random.default_rng(1).random(15))
    grid = np.linspace(0.05, 0.95, 90_001)
    k, n = np.searchsorted(x, grid, side="right").astype(float), 15
    gain = 2 * (xlogy(k, k / (n * grid)) + xlogy(n - k, (n - k) / (n * (1 - grid))))
    height, _, _ = _best(x[None, :], 0.05)
    assert height[0] == pytest.approx(gain.max(), abs=1e-3)
    assert height[0] >= gain.max() - 1e-12


@given(st.lists(st.floats(0.001, 0.999), min_size=2, max_size=25), st.floats(1e-3, 1e3))
def test_another_unit_of_exposure_moves_the_point_with_it(shares: list[float], unit: float) -> None:
    one = change_point(shares, 1.0, resamples=99)["all"]
    two = change_point(np.array(shares) * unit, unit, resamples=99)["all"]
    assert two["change"] == pytest.approx(one["change"] * unit, rel=1e-9)
    assert two["statistic"] == pytest.approx(one["statistic"], rel=1e-6, abs=1e-8)
    assert 0 < one["p"] <= 1


def test_time_turned_round_turns_the_change_round() -> None:
    one = change_point(EARLY, 100)["all"]
    two = change_point(100 - np.array(EARLY), 100)["all"]
    assert two["change"] == pytest.approx(100 - one["change"])
    assert two["ratio"] == pytest.approx(1 / one["ratio"], rel=1e-9)
    assert two["p"] == pytest.approx(one["p"], abs=0.01)


def test_groups_stand_each_by_itself() -> None:
    rng = np.random.default_rng(6)
    other = rng.uniform(0, 50, 30)
    times = np.concatenate([EARLY, other])
    group = ["x"] * len(EARLY) + ["y"] * 30
    got = change_point(times, [100.0, 50.0], group=group, end_group=["x", "y"])
    alone = change_point(EARLY, 100)["all"]
    for column in ("change", "change_low", "change_high", "p"):
        assert got["x"][column] == pytest.approx(alone[column])
    assert not got["y"]["changed"]


def test_too_little_is_said() -> None:
    got = change_point([5.0], [10.0, 10.0], group=["a"], end_group=["a", "b"])
    assert got["a"]["status"] == "few events"
    assert got["b"]["status"] == "no events"
    assert np.isnan(got["a"]["change"])
    assert not got["a"]["changed"]


def test_it_seldom_rings_where_nothing_changed() -> None:
    """300 groups of 25 events at random, alarm 5 %."""
    rng = np.random.default_rng(9)
    fleets = 300
    group = np.repeat(np.arange(fleets), 25)
    got = change_point(
        rng.uniform(0, 1, len(group)), np.ones(fleets), group=group, end_group=np.arange(fleets),
        resamples=199,
    )  # fmt: skip
    error = np.sqrt(0.05 * 0.95 / fleets)
    assert abs(got.table["changed"].mean() - 0.05) <= 3 * error


def test_the_interval_holds_the_change() -> None:
    """60 groups whose rate falls to a third at 0.4; nominal 90 %, the span of the set has more."""
    rng = np.random.default_rng(10)
    times, group = [], []
    for g in range(60):
        x = np.concatenate(
            [0.4 * rng.random(rng.poisson(30)), 1 - 0.6 * rng.random(rng.poisson(15))]
        )
        times.append(x)
        group.append(np.full(len(x), g))
    got = change_point(
        np.concatenate(times), np.ones(60), group=np.concatenate(group), end_group=np.arange(60),
        resamples=199,
    ).table  # fmt: skip
    found = got[got["changed"]]
    assert len(found) >= 45
    held = ((found["change_low"] <= 0.4) & (found["change_high"] >= 0.4)).mean()
    assert held >= 0.90 - 3 * np.sqrt(0.09 / len(found))


@pytest.mark.parametrize(
    ("kwargs", "where"),
    [
        ({"level": 0.0}, "level"),
        ({"alarm": 0.0}, "alarm"),
        ({"trim": 0.5}, "trim"),
        ({"resamples": 9}, "resamples"),
    ],
)
def test_bad_input_is_one_sentence(kwargs: dict[str, Any], where: str) -> None:
    with pytest.raises(InputError, match=f"^{where}"):
        change_point(EARLY, 100, **kwargs)
