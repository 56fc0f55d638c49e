"""One group's repairs against another's: differences, two tests, words."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife.errors import InputError
from seallife.history import mean_cumulative, mean_cumulative_difference

PUBLISHED = Path(__file__).parent / "published"


def grids() -> tuple[Any, ...]:
    rows = pd.read_csv(PUBLISHED / "braking_grids.csv")
    repairs = rows[rows["status"] == 1]
    return (
        repairs["day2"], repairs["locomotive"], rows["day1"], rows["day2"], rows["locomotive"],
        rows["batch"],
    )  # fmt: skip


def test_braking_grids_part_and_meet_again() -> None:
    """Doganaksoy & Nelson 1998: batch 2 needs replacements earlier; the curves then come closer."""
    got = mean_cumulative_difference(*grids())
    curve = got.curve.set_index("time")
    row = curve.loc[300:].iloc[0]
    both = mean_cumulative(*grids()[:5], group=grids()[5]).at([row.name])
    assert row["difference"] == pytest.approx(both["mean"].diff().iloc[1])
    assert row["low"] > 0
    assert got.gap_p < 0.02
    assert 150 < got.gap_time < 400
    assert got.p > 0.10
    assert "largest gap" in got.message


def test_turned_round_it_says_the_opposite() -> None:
    times, unit, start, end, owner, batch = grids()
    one = mean_cumulative_difference(times, unit, start, end, owner, batch)
    two = mean_cumulative_difference(times, unit, start, end, owner, -batch)
    assert (two.first, two.second) == (-2, -1)
    np.testing.assert_allclose(two.curve["difference"], -one.curve["difference"])
    np.testing.assert_allclose(two.curve["low"], -one.curve["high"])
    np.testing.assert_allclose(two.curve["ratio"], 1 / one.curve["ratio"])
    assert two.statistic == pytest.approx(-one.statistic)
    assert two.p == pytest.approx(one.p)


def test_only_time_in_which_both_were_watched_counts() -> None:
    """Group b enters at 10: what a had before is no difference."""
    got = mean_cumulative_difference(
        [2, 4, 6, 12, 14, 13, 15, 16],
        ["a1", "a2", "a1", "a1", "a2", "b1", "b2", "b2"],
        [0, 0, 10, 10],
        [20, 20, 20, 20],
        ["a1", "a2", "b1", "b2"],
        ["a", "a", "b", "b"],
    )
    assert got.curve["time"].min() == 12
    assert got["a"]["events"] == 2
    assert got.curve["difference"].iloc[-1] == pytest.approx(0.5)


def test_many_more_repairs_are_seen() -> None:
    rng = np.random.default_rng(5)
    counts = np.concatenate([rng.poisson(1.0, 30), rng.poisson(2.5, 30)])
    unit = np.repeat(np.arange(60), counts)
    got = mean_cumulative_difference(
        1 - rng.random(len(unit)), unit, np.zeros(60), np.ones(60), np.arange(60),
        np.repeat(["few", "many"], 30),
    )  # fmt: skip
    assert got.statistic > 4
    assert got.p < 0.001
    assert got.gap_p < 0.01
    assert got.message.startswith("Over the whole time many has more repairs than few")
    last = got.curve.iloc[-1]
    assert last["ratio_low"] > 1
    assert last["low"] > 0


def test_a_group_without_repairs_has_limits_too() -> None:
    got = mean_cumulative_difference(
        np.arange(1.0, 9), list("abcdabcd"), [0] * 8, [10] * 8, list("abcdefgh"), [1] * 4 + [2] * 4
    )
    last = got.curve.iloc[-1]
    assert last["second"] == 0
    assert last["high"] < 0
    assert np.isnan(last["ratio"])
    assert got.p < 0.01


@pytest.mark.parametrize(
    "rows",
    [
        ([], [], [0, 0], [9, 9], ["a", "b"], [1, 2]),
        ([1.0], ["a"], [0, 5], [4, 9], ["a", "b"], [1, 2]),
        ([1.0], ["a"], [0, 0], [9, 9], ["a", "b"], [1, 2]),
    ],
)
def test_nothing_to_compare_is_said(rows: Any) -> None:
    got = mean_cumulative_difference(*rows)
    assert np.isnan(got.p)
    assert np.isnan(got.gap_p)
    assert got.message.startswith("There is nothing to compare")


@pytest.mark.parametrize(
    ("group", "extra", "where"),
    [
        ([1, 1], {}, "group"),
        ([1, 2], {"level": 1.0}, "level"),
        ([1, 2], {"resamples": 5}, "resamples"),
    ],
)
def test_bad_input_is_one_sentence(group: list[int], extra: dict[str, Any], where: str) -> None:
    with pytest.raises(InputError, match=f"^{where}"):
        mean_cumulative_difference([1.0], ["a"], [0, 0], [9, 9], ["a", "b"], group, **extra)


def test_a_unit_in_both_groups_is_refused() -> None:
    with pytest.raises(InputError, match="unit 'a' stands in both groups"):
        mean_cumulative_difference([1.0], ["a"], [0, 5], [4, 9], ["a", "a"], [1, 2])


@given(
    st.lists(st.integers(0, 4), min_size=4, max_size=10),
    st.integers(0, 1_000),
)
def test_limits_stand_around_the_difference(counts: list[int], seed: int) -> None:
    rng = np.random.default_rng(seed)
    n = len(counts)
    unit = np.repeat(np.arange(n), counts)
    got = mean_cumulative_difference(
        1 + rng.integers(0, 9, len(unit)), unit, np.zeros(n), rng.uniform(9, 12, n), np.arange(n),
        np.arange(n) % 2, resamples=99,
    )  # fmt: skip
    curve = got.curve
    assert (curve["low"] < curve["difference"]).all()
    assert (curve["difference"] < curve["high"]).all()
    assert (curve["at_risk_first"] > 0).all()
    assert (curve["at_risk_second"] > 0).all()
    ratio = curve[curve["ratio"].notna()]
    assert (ratio["ratio_low"] < ratio["ratio"]).all()
    assert (ratio["ratio"] < ratio["ratio_high"]).all()
