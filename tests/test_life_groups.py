"""Grouping and the checks of lives: `seallife.life.groups`, `seallife.life.lifedata`."""

from __future__ import annotations

import hashlib

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife import life
from seallife.errors import InputError
from seallife.life.groups import group_rows, order_within, running_sum, segment_max, segment_sum
from seallife.life.lifedata import read_lives

labels = st.lists(st.sampled_from(["a", "b", "c", "d"]), min_size=1, max_size=60)


@given(labels)
def test_gathering_keeps_every_row_once_and_its_order(names):
    groups = group_rows(names, len(names))
    rows = groups.gather(np.arange(len(names)))
    assert sorted(rows.tolist()) == list(range(len(names)))
    assert groups.labels.tolist() == sorted(set(names))
    for i, label in enumerate(groups.labels):
        part = rows[groups.offsets[i] : groups.offsets[i + 1]]
        assert part.tolist() == [j for j, name in enumerate(names) if name == label]


@given(st.lists(st.lists(st.integers(-5, 5), max_size=9), min_size=1, max_size=9))
def test_segment_figures_hold_for_empty_runs_too(runs):
    offsets = np.concatenate(([0], np.cumsum([len(r) for r in runs])))
    flat = np.array([x for r in runs for x in r], dtype=float)
    assert segment_sum(flat, offsets).tolist() == [sum(r) for r in runs]
    assert segment_max(flat, offsets).tolist() == [max(r, default=-np.inf) for r in runs]
    expected = [x for r in runs for x in np.cumsum(r).tolist()]
    assert running_sum(flat, offsets).tolist() == expected
    order = order_within(flat, offsets)
    assert flat[order].tolist() == [x for r in runs for x in sorted(r)]


@pytest.mark.parametrize(
    "group",
    [
        np.array([2, 1, 2]),
        np.array(["y", "x", "y"]),
        pd.Categorical(["y", "x", "y"], categories=["y", "x", "z"]),
        pd.Series(["y", "x", "y"], index=[7, 8, 9]),
        np.array(["2024-01-02", "2024-01-01", "2024-01-02"], dtype="datetime64[D]"),
    ],
)
def test_any_labels_are_sorted_by_label(group):
    groups = group_rows(group, 3)
    assert groups.sizes.tolist() == [1, 2]
    assert groups.order.tolist() == [1, 0, 2]


GOOD = {"age": [1.0, 2.0, 3.0], "failed": [True, False, True]}


@pytest.mark.parametrize(
    ("change", "where", "says"),
    [
        ({"age": [1.0, np.nan, 3.0]}, "age[1]", "nan is not a finite number"),
        ({"age": [1.0, 2.0, np.inf]}, "age[2]", "inf is not a finite number"),
        ({"age": [1.0, 0.0, 3.0]}, "age[1]", "0.0 must be above 0"),
        ({"age": [1.0, -2.0, -3.0]}, "age[1]", "(and 1 more)"),
        ({"age": [[1.0], [2.0], [3.0]]}, "age", "shape (3, 1)"),
        ({"age": [1, "x", 2]}, "age[1]", "'x' is not a number"),
        ({"failed": [1, 0, 2]}, "failed[2]", "2 is neither"),
        ({"failed": [1.0, 0.0, np.nan]}, "failed[2]", "neither"),
        ({"failed": ["yes", "no", "no"]}, "failed[0]", "'yes' is neither"),
        ({"failed": [True]}, "failed", "shape (1,)"),
        ({"entry_age": [0, 2.0, 0]}, "entry_age[1]", "below the age at the end"),
        ({"entry_age": [0, -1, 0]}, "entry_age[1]", "-1.0 must not be below 0"),
        ({"entry_age": [0, 0]}, "entry_age", "has 2 values"),
        ({"age_low": [np.nan, 1, np.nan]}, "age_low[1]", "did not fail"),
        ({"age_low": [2, np.nan, np.nan]}, "age_low[0]", "must not be above age"),
        ({"age_low": [-1, np.nan, np.nan]}, "age_low[0]", "must not be below 0"),
        (
            {"age_low": [0.2, np.nan, np.nan], "entry_age": [0.5, 0, 0]},
            "age_low[0]",
            "entry age",
        ),
        ({"weight": [1, -1, 1]}, "weight[1]", "-1.0 must not be below 0"),
        ({"group": ["a", None, "b"]}, "group[1]", "missing"),
        ({"group": ["a", "b"]}, "group", "3 rows"),
    ],
)
def test_bad_input_is_named_with_its_place(change, where, says):
    with pytest.raises(InputError) as error:
        read_lives(**(GOOD | change))
    assert error.value.where == where
    assert says in str(error.value)
    assert error.value.hint


@pytest.mark.parametrize("level", [0, 1, 90, -0.1])
def test_a_level_outside_0_to_1_is_refused(level):
    with pytest.raises(InputError, match="level"):
        life.fit_weibull([1.0, 2.0], [1, 1], level=level)


def test_arguments_are_left_as_they_were():
    rng = np.random.default_rng(5)
    arrays = {
        "age": rng.uniform(5, 10, 50),
        "failed": rng.random(50) < 0.5,
        "group": rng.integers(0, 3, 50),
        "entry_age": rng.uniform(0, 4, 50),
        "weight": rng.integers(0, 3, 50).astype(float),
    }
    before = {k: hashlib.sha256(v.tobytes()).hexdigest() for k, v in arrays.items()}
    life.fit_weibull(**arrays)
    life.kaplan_meier(**arrays)
    life.fit_lognormal(**arrays)
    assert before == {k: hashlib.sha256(v.tobytes()).hexdigest() for k, v in arrays.items()}


def test_a_group_of_weight_0_keeps_its_row():
    fits = life.fit_weibull([1, 2, 3, 4], [1, 1, 1, 1], group=list("aabb"), weight=[0, 0, 1, 1])
    assert fits.table["n"].tolist() == [0, 2]
    assert fits["a"]["status"] == "no lives"
    curves = life.kaplan_meier([1, 2, 3], [1, 1, 1], group=list("aab"), weight=[0, 0, 1])
    assert curves["a"]["status"] == "no lives"
