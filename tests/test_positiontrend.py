"""Trend within positions: against a general likelihood, a changing mix, words, unplaced events."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife.errors import InputError
from seallife.history import trend_by_position, trend_tests
from seallife.history.positiontrend import trends_of
from seallife.history.watch import fleet_exposure, read_watch


def fleet(
    positions: int = 60, change: float = 1.0, seed: int = 1, years: float = 10.0
) -> tuple[Any, ...]:
    """Events at random in years; positions differ and enter late; rate changes yearly."""
    rng = np.random.default_rng(seed)
    start = np.where(rng.random(positions) < 0.4, rng.uniform(0, years / 2, positions), 0.0)
    rate = rng.gamma(2, 0.5, positions)
    times, unit = [], []
    for i in range(positions):
        x = rng.uniform(start[i], years, rng.poisson(rate[i] * (years - start[i]) * 2))
        keep = rng.random(len(x)) < np.exp(np.log(change) * x) / max(1, change**years)
        times.append(x[keep])
        unit.append(np.full(int(keep.sum()), i))
    owner = np.arange(positions)
    return np.concatenate(times), np.concatenate(unit), start, np.full(positions, years), owner


def test_steepness_is_where_the_conditional_likelihood_is_highest() -> None:
    """Against scipy, with the integral over each position's stretches done by quadrature."""
    from scipy.integrate import quad
    from scipy.optimize import minimize_scalar

    times = np.array([0.5, 2.0, 3.5, 6.5, 9.0, 1.0, 4.0])
    unit = np.array([0, 0, 0, 0, 0, 1, 1])
    start, end, owner = [0.0, 6.0, 1e-9], [4.0, 10.0, 8.0], [0, 0, 1]

    def minus(b: float) -> float:
        whole = b * times.sum()
        for i in (0, 1):
            mass = sum(
                quad(lambda t: np.exp(b * t), a, z)[0]
                for a, z, o in zip(start, end, owner, strict=True)
                if o == i
            )
            whole -= (unit == i).sum() * np.log(mass)
        return -whole

    best = minimize_scalar(minus, bracket=(-0.5, 0.5), tol=1e-12).x
    row = trend_by_position(times, unit, start, end, owner, per=1.0)["all"]
    assert np.log(row["yearly"]) == pytest.approx(best, abs=1e-6)
    assert row["ratio"] == pytest.approx(np.exp(10 * best), rel=1e-5)


@pytest.mark.parametrize(("change", "verdict"), [(0.85, "improved"), (1.18, "worse")])
def test_a_change_is_measured_and_named(change: float, verdict: str) -> None:
    row = trend_by_position(*fleet(80, change), per=1.0)["all"]
    assert row["verdict"] == verdict
    assert row["yearly_low"] < change < row["yearly_high"]
    assert row["yearly_low"] < row["yearly"] < row["yearly_high"]
    assert row["ratio"] == pytest.approx(row["yearly"] ** 10)
    assert "% a year" in row["message"]


def test_a_changing_mix_is_no_trend() -> None:
    """Half the fleet is five times as bad and enters late: pooled exposure rings, this does not."""
    rng = np.random.default_rng(4)
    start = np.repeat([0.0, 5.0], 40)
    rate = np.repeat([0.5, 2.5], 40)
    n = rng.poisson(rate * (10 - start))
    unit = np.repeat(np.arange(80), n)
    times = start[unit] + (10 - start[unit]) * rng.random(len(unit))
    arguments = (times, unit, start, np.full(80, 10.0), np.arange(80))
    row = trend_by_position(*arguments, per=1.0)["all"]
    assert row["p"] > 0.10
    watch = read_watch(*arguments)
    clock = fleet_exposure(watch)
    pooled = clock.at(watch.time, np.zeros(len(watch.time), np.int64))
    assert trend_tests(pooled, clock.total()[0], resamples=99)["all"]["laplace_p"] < 0.01


def test_exposure_that_is_worth_more_expects_more() -> None:
    """Ran twice as much in the second half and failed twice as often: no change per hour."""
    rng = np.random.default_rng(2)
    n = 60
    first, second = rng.poisson(2, n), rng.poisson(4, n)
    unit = np.concatenate([np.repeat(np.arange(n), first), np.repeat(np.arange(n), second)])
    early = np.arange(len(unit)) < first.sum()
    times = np.where(early, 5 * rng.random(len(unit)), 10 - 5 * rng.random(len(unit)))
    start = np.concatenate([np.zeros(n), np.full(n, 5.0)])
    end, owner = start + 5, np.tile(np.arange(n), 2)
    plain = trend_by_position(times, unit, start, end, owner, per=1.0)["all"]
    worth = np.where(start > 0, 2.0, 1.0)
    run = trend_by_position(times, unit, start, end, owner, worth=worth, per=1.0)["all"]
    assert plain["verdict"] == "worse"
    assert run["verdict"] == "no evidence"
    assert run["exposure"] == pytest.approx(n * 15)


@given(st.integers(0, 10_000), st.floats(0.01, 100), st.floats(-1e3, 1e3))
def test_another_clock_changes_no_ratio(seed: int, unit: float, shift: float) -> None:
    times, whose, start, end, owner = fleet(8, seed=seed)
    one = trend_by_position(times, whose, start, end, owner, per=1.0)["all"]
    two = trend_by_position(
        times * unit + shift, whose, start * unit + shift, end * unit + shift, owner, per=unit
    )["all"]
    for column in ("ratio", "yearly", "p", "statistic"):
        assert two[column] == pytest.approx(one[column], rel=1e-4, abs=1e-6, nan_ok=True)
    assert two["verdict"] == one["verdict"]


@given(st.integers(0, 10_000), st.integers(1, 12))
def test_limits_p_and_verdict_say_the_same(seed: int, positions: int) -> None:
    row = trend_by_position(*fleet(positions, seed=seed, years=4.0), per=1.0)["all"]
    if row["with_events"] < 2:
        assert row["verdict"] == "cannot tell yet"
        assert (row["ratio_low"], row["ratio_high"]) == (0, np.inf)
        return
    assert 0 <= row["ratio_low"] <= row["ratio"] <= row["ratio_high"]
    if row["p"] > 0.1 + 1e-6:
        assert row["ratio_low"] <= 1 <= row["ratio_high"]
        assert row["verdict"] in {"no evidence", "cannot tell yet"}
    if row["ratio_high"] < 1:
        assert row["verdict"] == "improved"
    if row["ratio_low"] > 1:
        assert row["verdict"] == "worse"


def test_time_turned_round_turns_the_verdict_round() -> None:
    times, unit, start, end, owner = fleet(60, 0.85)
    one = trend_by_position(times, unit, start, end, owner, per=1.0)["all"]
    two = trend_by_position(10 - times, unit, 10 - end, 10 - start, owner, per=1.0)["all"]
    assert two["ratio"] == pytest.approx(1 / one["ratio"], rel=1e-6)
    assert two["ratio_low"] == pytest.approx(1 / one["ratio_high"], rel=1e-6)
    assert two["verdict"] == "worse"


def test_groups_stand_each_by_itself() -> None:
    one, two = fleet(20, 0.9, seed=1), fleet(15, 1.0, seed=2)
    got = trend_by_position(
        np.concatenate([one[0], two[0]]),
        np.concatenate([one[1], two[1] + 100]),
        np.concatenate([one[2], two[2]]),
        np.concatenate([one[3], two[3]]),
        np.concatenate([one[4], two[4] + 100]),
        group=["x"] * 20 + ["y"] * 15,
        per=1.0,
    )
    alone = trend_by_position(*two, per=1.0)["all"]
    for column in ("ratio", "ratio_low", "ratio_high", "p"):
        assert got["y"][column] == pytest.approx(alone[column], rel=1e-6)


def test_little_data_is_said_with_what_it_would_take() -> None:
    few = trend_by_position(*fleet(4, years=2.0), per=1.0)["all"]
    assert few["verdict"] == "cannot tell yet"
    assert "even a rate halved" in few["message"].lower()
    none = trend_by_position([], [], [0], [9], ["a"])["all"]
    assert (none["verdict"], none["status"]) == ("cannot tell yet", "no events")
    one = trend_by_position([1, 2, 3], ["a"] * 3, [0], [9], ["a"])["all"]
    assert (one["verdict"], one["status"]) == ("cannot tell yet", "one position")
    assert "one position" in one["message"]


def test_a_verdict_that_unplaced_events_could_undo_is_not_given() -> None:
    arguments = fleet(60, 0.9)
    watch = read_watch(*arguments)
    assert trends_of(watch, per=1.0)["all"]["verdict"] == "improved"
    late = np.full(80, 9.9)
    got = trends_of(watch, per=1.0, unplaced=[(late, 80)])["all"]
    assert got["verdict"] == "cannot tell yet"
    assert got["message"].startswith("improved by the failures placed, but 80 more")
    # a few do not undo it, nor do those that would strengthen it, nor those of other groups
    for days, most in ((late[:1], 1), (np.full(80, 0.1), 80), (late, 0)):
        assert trends_of(watch, per=1.0, unplaced=[(days, most)])["all"]["verdict"] == "improved"
    dateless = trends_of(watch, per=1.0, unplaced=[(np.full(80, np.nan), 80)])["all"]
    assert dateless["verdict"] == "cannot tell yet"


@pytest.mark.parametrize(
    ("kwargs", "where"),
    [({"level": 1.5}, "level"), ({"per": 0.0}, "per"), ({"per": np.nan}, "per")],
)
def test_bad_input_is_one_sentence(kwargs: dict[str, Any], where: str) -> None:
    with pytest.raises(InputError, match=f"^{where}"):
        trend_by_position([1], ["a"], [0], [9], ["a"], **kwargs)
