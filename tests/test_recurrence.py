"""Mean cumulative repairs: against counting by hand, limits, words; published values elsewhere."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife.errors import InputError
from seallife.history import mean_cumulative


def by_hand(
    times: Any, unit: Any, start: Any, end: Any, owner: Any
) -> list[tuple[float, int, int, float, float, float, float]]:
    """Time, at risk, events, mean, robust and Poisson error, units alike: one step at a time."""
    names = sorted(set(owner))
    mean = poisson = 0.0
    part, weight = np.zeros(len(names)), np.zeros(len(names))
    out = []
    for t in sorted(set(times)):
        watched = np.array(
            [
                any(a < t <= b for a, b, o in zip(start, end, owner, strict=True) if o == name)
                for name in names
            ]
        )
        events = np.array(
            [sum(x == t and u == name for x, u in zip(times, unit, strict=True)) for name in names]
        )
        n, d = watched.sum(), events.sum()
        mean += d / n
        poisson += d / n**2
        part += events / n - watched * d / n**2
        weight += watched * d / n**2
        alike = weight.sum() ** 2 / (weight**2).sum()
        out.append((t, n, d, mean, np.sqrt((part**2).sum()), np.sqrt(poisson), alike))
    return out


@st.composite
def watched(draw: Any) -> tuple[list[float], list[str], list[float], list[float], list[str]]:
    """A few units with up to three stretches each, and events in them; many ties."""
    times, unit, start, end, owner = [], [], [], [], []
    for name in "abcde"[: draw(st.integers(1, 5))]:
        cuts = sorted(draw(st.sets(st.integers(0, 20), min_size=2, max_size=6)))
        for a, b in zip(cuts[::2], cuts[1::2], strict=False):
            start.append(float(a))
            end.append(float(b))
            owner.append(name)
            for t in draw(st.lists(st.integers(a + 1, b), max_size=3)):
                times.append(float(t))
                unit.append(name)
    return times, unit, start, end, owner


@given(watched())
def test_steps_carried_along_are_those_counted_by_hand(data: Any) -> None:
    got = mean_cumulative(*data)
    columns = ("time", "at_risk", "events", "mean", "se", "se_poisson", "units")
    table = got.curves[list(columns)].to_numpy(dtype=float)
    np.testing.assert_allclose(table, np.array(by_hand(*data)).reshape(-1, 7), atol=2e-6)


@given(watched(), watched(), st.randoms(use_true_random=False))
def test_groups_and_the_order_of_rows_change_nothing(one: Any, two: Any, random: Any) -> None:
    alone = [mean_cumulative(*data) for data in (one, two)]
    times = one[0] + two[0]
    unit = one[1] + [f"z{u}" for u in two[1]]
    start, end = one[2] + two[2], one[3] + two[3]
    owner = one[4] + [f"z{u}" for u in two[4]]
    group = ["k"] * len(one[2]) + ["m"] * len(two[2])
    e, s = list(range(len(times))), list(range(len(start)))
    random.shuffle(e)
    random.shuffle(s)
    got = mean_cumulative(
        [times[i] for i in e],
        [unit[i] for i in e],
        [start[i] for i in s],
        [end[i] for i in s],
        [owner[i] for i in s],
        group=[group[i] for i in s],
    )
    for name, single in zip("km", alone, strict=True):
        rows = got.curves[got.curves["group"] == name]
        for column in ("time", "mean", "se", "low", "high"):
            np.testing.assert_allclose(rows[column], getattr(single, column), atol=2e-7)


@given(watched(), st.floats(1e-3, 1e3))
def test_another_unit_of_time_changes_times_only(data: Any, unit: float) -> None:
    times, whose, start, end, owner = data
    one = mean_cumulative(*data)
    two = mean_cumulative(
        [t * unit for t in times],
        whose,
        [t * unit for t in start],
        [t * unit for t in end],
        owner,
    )
    np.testing.assert_allclose(two.time, one.time * unit)
    np.testing.assert_allclose(two.mean, one.mean)
    np.testing.assert_allclose(two.low, one.low, rtol=1e-6)


@given(watched())
def test_limits_stand_around_the_mean_and_above_nought(data: Any) -> None:
    got = mean_cumulative(*data)
    known = np.isfinite(got.low)
    assert (got.low[known] > 0).all()
    assert (got.low[known] < got.mean[known]).all()
    assert (got.high[known] > got.mean[known]).all()
    assert (got.units[~known] < 1 + 1e-6).all(), "only one unit has no limits"


def test_equal_watch_is_the_interval_of_a_mean_of_counts() -> None:
    """Watched alike, the robust variance is that of the counts; textbook t interval on the log."""
    from scipy.stats import t as student

    counts = np.array([3, 1, 4, 1, 5, 9])
    times = np.concatenate([np.arange(1, c + 1) for c in counts]).astype(float)
    unit = np.repeat(np.arange(6), counts)
    row = mean_cumulative(times, unit, np.zeros(6), np.full(6, 10.0), np.arange(6))["all"]
    mean, se = counts.mean(), counts.std(ddof=1) / np.sqrt(6)
    assert row["mean"] == pytest.approx(mean)
    assert row["se"] == pytest.approx(counts.std(ddof=0) / np.sqrt(6))
    wide = np.exp(student.ppf(0.95, 5) * se / mean)
    assert row["low"] == pytest.approx(mean / wide)
    assert row["high"] == pytest.approx(mean * wide)


def test_units_that_happen_to_be_all_alike_are_not_known_exactly() -> None:
    row = mean_cumulative([5.0] * 3, [0, 1, 2], [0.0] * 3, [10.0] * 3, [0, 1, 2])["all"]
    assert row["se"] == 0
    assert row["low"] < 0.7
    assert row["high"] > 1.4


@pytest.mark.parametrize(
    ("times", "unit", "start", "end", "owner", "status"),
    [
        ([], [], [0, 0], [9, 9], [1, 2], "no events"),
        ([4], [1], [0], [9], [1], "one unit"),
        ([4, 8], [1, 2], [0, 6], [5, 9], [1, 2], "nobody watched"),
        ([4, 8, 3, 2, 1, 5], [1, 2, 2, 2, 1, 1], [0, 0], [9, 9], [1, 2], "few units"),
        ([4], [1], [0] * 6, [9] * 6, range(6), "few events"),
        ([4] * 5 + [8], range(6), [0] * 6, [5] * 5 + [9], range(6), "one unit left"),
        ([4] * 6, range(6), [0] * 6, [5] * 6, range(6), "ok"),
    ],
)
def test_each_row_says_what_it_is_worth(
    times: Any, unit: Any, start: Any, end: Any, owner: Any, status: str
) -> None:
    row = mean_cumulative(times, list(unit), start, end, list(owner))["all"]
    assert row["status"] == status
    assert bool(row["message"]) == (status != "ok")


def test_a_time_when_nobody_was_watched_is_named() -> None:
    got = mean_cumulative([4, 8], [1, 2], [0, 6], [5, 9], [1, 2])
    assert "from 5 to 6" in got["all"]["message"]
    assert (got["all"]["unwatched_from"], got["all"]["unwatched_to"]) == (5, 6)
    assert got.at([5.5])["at_risk"].tolist() == [0]


def test_read_at_any_time() -> None:
    got = mean_cumulative([4, 8], [1, 2], [1, 1, 1], [9, 9, 6], [1, 2, 3])
    rows = got.at([0.5, 2, 4, 7, 9, 9.5])
    assert rows["at_risk"].tolist() == [0, 3, 3, 2, 2, 0]
    np.testing.assert_allclose(rows["mean"], [np.nan, 0, 1 / 3, 1 / 3, 5 / 6, np.nan])
    assert rows["low"].isna().tolist() == [True, True, False, False, False, True]
    with pytest.raises(InputError, match="times"):
        got.at([np.nan])


@pytest.mark.parametrize("level", [0.0, 1.0, -1.0])
def test_a_level_that_is_none_is_refused(level: float) -> None:
    with pytest.raises(InputError, match="level"):
        mean_cumulative([4], [1], [0], [9], [1], level=level)


def test_result_reads_stores_and_shows() -> None:
    got = mean_cumulative([4, 8], [1, 2], [0, 6], [5, 9], [1, 2])
    assert "mean cumulative" in got.summary()
    assert got.to_dict()["table"][0]["events"] == 2
    assert "<table" in got._repr_html_()


def test_a_large_fleet_takes_a_moment() -> None:
    """20,000 units, 100,000 repairs, 500 groups at once: one sort, no loop over units."""
    rng = np.random.default_rng(3)
    owner = np.repeat(np.arange(20_000), 2)
    start = np.tile([0.0, 600.0], 20_000)
    held = rng.integers(0, 40_000, 100_000)
    times = start[held] + 500 * (1 - rng.random(100_000))
    got = mean_cumulative(times, owner[held], start, start + 500, owner, group=owner % 500)
    assert len(got) == 500
    assert got.table["events"].sum() == 100_000
    assert got.table["mean"].mean() == pytest.approx(5.0, abs=0.05)
