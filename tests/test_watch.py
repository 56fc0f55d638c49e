"""Stretches and events: checked, gathered, and the exposure of a fleet as a clock."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife.errors import InputError
from seallife.history.watch import fleet_exposure, read_watch

GOOD: dict[str, Any] = {
    "times": [3.0, 9.0, 5.0],
    "unit": ["a", "a", "b"],
    "start": [0.0, 8.0, 2.0],
    "end": [4.0, 10.0, 6.0],
    "stretch_unit": ["a", "a", "b"],
}


def test_rows_are_gathered_by_group_and_unit_in_order_of_time() -> None:
    watch = read_watch(**GOOD | {"group": ["z", "z", "k"]})
    assert watch.group.tolist() == ["k", "z"]
    assert watch.unit.tolist() == ["b", "a"]
    assert watch.start.tolist() == [2, 0, 8]
    assert watch.time.tolist() == [5, 3, 9]
    assert watch.held_by.tolist() == [0, 1, 2]
    assert watch.exposure().tolist() == [4, 6]


def test_a_unit_may_change_its_group_with_a_stretch() -> None:
    watch = read_watch(**GOOD | {"group": ["before", "after", "before"]})
    assert watch.unit.tolist() == ["a", "a", "b"]
    assert np.diff(watch.group_events).tolist() == [1, 2]


def test_an_event_at_the_begin_of_a_stretch_belongs_to_the_time_before() -> None:
    watch = read_watch([4.0], ["a"], [0.0, 4.0], [4.0, 8.0], ["a", "a"])
    assert watch.held_by.tolist() == [0]
    with pytest.raises(InputError, match=r"times\[0\]: 4 of unit 'a' lies in none"):
        read_watch([4.0], ["a"], [4.0], [8.0], ["a"])


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"times": [3.0, 9.0, np.nan]}, r"times\[2\]"),
        ({"times": ["x", 1, 2]}, "times"),
        ({"times": [[3.0], [9.0], [5.0]]}, "times"),
        ({"times": [3.0, 5.0, 5.0]}, r"times\[1\]"),
        ({"times": [3.0, 11.0, 5.0]}, r"times\[1\]"),
        ({"times": [3.0, 9.0, 6.5]}, r"times\[2\]"),
        ({"unit": ["a", "a"]}, "unit"),
        ({"unit": ["a", "a", "c"]}, r"unit\[2\]"),
        ({"end": [4.0, 8.0, 6.0]}, r"end\[1\]"),
        ({"end": [4.0, 10.0]}, "end"),
        ({"start": [0.0, 3.0, 2.0]}, r"start\[1\]"),
        ({"start": [0.0, np.inf, 2.0]}, r"start\[1\]"),
        ({"stretch_unit": ["a", None, "b"]}, r"stretch_unit\[1\]"),
        ({"group": ["k", "k"]}, "group"),
        ({"group": ["k", None, "k"]}, r"group\[1\]"),
        ({"worth": [1.0, -1.0, 1.0]}, r"worth\[1\]"),
    ],
)
def test_bad_input_is_one_sentence(change: dict[str, Any], where: str) -> None:
    with pytest.raises(InputError, match=rf"^{where}"):
        read_watch(**GOOD | change)


def test_the_callers_arrays_are_left_alone() -> None:
    times, start = np.array([3.0, 9.0, 5.0]), np.array([0.0, 8.0, 2.0])
    read_watch(**GOOD | {"times": times, "start": start})
    assert times.tolist() == GOOD["times"]
    assert start.tolist() == GOOD["start"]


def test_the_clock_of_a_fleet_stands_still_while_nobody_is_watched() -> None:
    clock = fleet_exposure(read_watch(**GOOD))
    one = np.zeros(5, np.int64)
    times = np.array([0.0, 3.0, 6.0, 7.0, 10.0])
    assert clock.at(times, one).tolist() == [0, 4, 8, 8, 10]
    assert clock.total().tolist() == [10]
    assert clock.when(np.array([4.0, 8.0, 9.0]), one[:3]).tolist() == [3, 8, 9]
    assert clock.at(np.array([-5.0, 99.0]), one[:2]).tolist() == [0, 10]


def test_worth_makes_it_a_clock_of_run_hours() -> None:
    clock = fleet_exposure(read_watch(**GOOD | {"worth": [10.0, 0.0, 1.0]}))
    assert clock.total().tolist() == [44]
    assert clock.at(np.array([9.0]), np.zeros(1, np.int64)).tolist() == [44]


stretch = st.tuples(st.integers(0, 4), st.integers(0, 40), st.integers(1, 9), st.integers(0, 2))


@given(st.lists(stretch, min_size=1, max_size=12), st.randoms(use_true_random=False))
def test_order_of_rows_changes_nothing_and_the_clock_is_a_sum(rows: list[Any], random: Any) -> None:
    # one stretch a unit, so that none overlap
    units = [f"{i}" for i in range(len(rows))]
    start = [float(b) for _, b, _, _ in rows]
    end = [float(b + d) for _, b, d, _ in rows]
    group = [g for *_, g in rows]
    times = [b + d / 2 for _, b, d, _ in rows]
    order = list(range(len(rows)))
    random.shuffle(order)
    one = read_watch(times, units, start, end, units, group=group)
    two = read_watch(
        [times[i] for i in order[::-1]],
        [units[i] for i in order[::-1]],
        [start[i] for i in order],
        [end[i] for i in order],
        [units[i] for i in order],
        group=[group[i] for i in order],
    )
    for name in ("group", "unit", "start", "end", "time", "held_by", "events", "stretches"):
        assert getattr(one, name).tolist() == getattr(two, name).tolist()
    clock = fleet_exposure(one)
    for t in (0.0, 7.5, 20.0, 60.0):
        for g, label in enumerate(one.group.tolist()):
            lived = sum(
                min(max(t - a, 0), b - a)
                for a, b, k in zip(start, end, group, strict=True)
                if k == label
            )
            assert clock.at(np.array([t]), np.array([g]))[0] == pytest.approx(lived, abs=1e-9)
