"""One date of change within positions: found where planted, silent where not."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from test_positiontrend import fleet

from seallife.errors import InputError
from seallife.history import change_by_position
from seallife.history.positionchange import _ratio


def stepped(at: float, left: float, seed: int = 1, positions: int = 60) -> tuple[Any, ...]:
    """Events of which only a share is left after a date."""
    times, unit, start, end, owner = fleet(positions, seed=seed)
    keep = (times <= at) | (np.random.default_rng(seed).random(len(times)) < left)
    return times[keep], unit[keep], start, end, owner


def test_a_planted_step_is_found_with_its_date_and_size() -> None:
    row = change_by_position(*stepped(6.0, 0.35))["all"]
    assert row["changed"]
    assert row["change_low"] < 6.0 < row["change_high"]
    assert row["change"] == pytest.approx(6.0, abs=1.0)
    assert row["ratio"] == pytest.approx(0.35, abs=0.12)
    assert row["message"].startswith("The rate fell once")


def test_two_steps_are_not_called_one() -> None:
    times, unit, start, end, owner = fleet(100)
    rng = np.random.default_rng(3)
    middle = (times > 3.5) & (times < 6.5)
    keep = ~middle | (rng.random(len(times)) < 0.1)
    row = change_by_position(times[keep], unit[keep], start, end, owner)["all"]
    assert row["changed"]
    assert np.isnan(row["change_low"])
    assert "not by one step" in row["message"]


def test_the_ratio_is_that_of_most_likelihood() -> None:
    """One position: after over before, each by its exposure."""
    assert _ratio(np.array([10.0]), np.array([8.0]), np.array([0.4])) == pytest.approx(
        (2 / 0.6) / (8 / 0.4)
    )
    assert _ratio(np.array([3.0]), np.array([0.0]), np.array([0.4])) == np.inf
    assert _ratio(np.array([3.0]), np.array([3.0]), np.array([0.4])) == 0.0


def test_groups_stand_each_by_itself_and_twice_is_the_same() -> None:
    one, two = stepped(6.0, 0.35), fleet(30, seed=7)
    got = change_by_position(
        np.concatenate([one[0], two[0]]),
        np.concatenate([one[1], two[1] + 100]),
        np.concatenate([one[2], two[2]]),
        np.concatenate([one[3], two[3]]),
        np.concatenate([one[4], two[4] + 100]),
        group=["x"] * 60 + ["y"] * 30,
    )
    alone = change_by_position(*one)["all"]
    for column in ("change", "change_low", "change_high", "ratio", "p"):
        assert got["x"][column] == pytest.approx(alone[column])
    assert not got["y"]["changed"]
    assert np.isnan(got["y"]["change_low"])


def test_too_little_is_said() -> None:
    got = change_by_position([5.0], ["a"], [0, 0], [10, 10], ["a", "b"], group=["x", "y"])
    assert got["x"]["status"] == "few positions"
    assert got["y"]["status"] == "no events"
    assert np.isnan(got["x"]["p"])
    assert "two positions" in got["x"]["message"]


@pytest.mark.parametrize(
    ("kwargs", "where"),
    [
        ({"level": 0.0}, "level"),
        ({"alarm": 1.0}, "alarm"),
        ({"trim": 0.0}, "trim"),
        ({"resamples": 9}, "resamples"),
    ],
)
def test_bad_input_is_one_sentence(kwargs: dict[str, Any], where: str) -> None:
    with pytest.raises(InputError, match=f"^{where}"):
        change_by_position([5.0], ["a"], [0], [10], ["a"], **kwargs)
