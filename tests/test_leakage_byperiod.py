"""Levels of positions by quarter or month, and when they got another seal."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from leakfigures import NONE, read, reading

from seallife.errors import InputError
from seallife.leakage.byperiod import levels_by_period, seal_changes


def test_a_cell_holds_the_upper_median_with_its_counts() -> None:
    rows = [
        reading("A", "2024-01-05", 10.0),
        reading("A", "2024-02-05", 0.0, 5.0),
        reading("A", "2024-03-05", 30.0),
        reading("A", "2024-03-31", 9_000.0, np.inf),
        reading("A", "2024-04-01", 0.0, 5.0),
    ]
    cells = levels_by_period(read(rows)).cells.set_index("period")
    first = cells.loc["2024-01-01"]
    assert first[["n", "n_below", "n_above"]].tolist() == [4, 1, 1]
    assert (first["middle"], first["highest"]) == (30.0, 9_000.0)
    assert cells.loc["2024-04-01", ["n", "n_below", "middle"]].tolist() == [1, 1, 5.0]
    assert len(levels_by_period(read(rows), by="month").cells) == 4


def test_the_highest_last_year_stands_first_and_what_was_not_read_last() -> None:
    rows = [
        reading("low", "2024-06-01", 3.0, group="calm"),
        reading("old", "2020-06-01", 999.0, group="hot"),
        reading("mid", "2024-06-01", 20.0, group="hot"),
        reading("top", "2024-05-01", 50.0, group="hot"),
    ]
    positions = levels_by_period(read(rows)).positions
    assert positions["position_id"].tolist() == ["top", "mid", "old", "low"]
    assert positions["n_year"].tolist() == [1, 1, 0, 1]
    assert np.isnan(positions["last_year"][2])


def test_doubts_other_units_and_words_are_left_out_and_counted() -> None:
    rows = [
        reading("A", "2024-01-05", 10.0),
        reading("A", "2024-01-06", 10.0),
        reading("A", "2024-01-07", 7e5, doubt="unit in doubt"),
        reading("A", "2024-01-08", 2.0, quantity="drops", measured_in="drops/min"),
        reading("A", "2024-01-09", 2.0, quantity="word", measured_in="word", kind="word"),
    ]
    found = levels_by_period(read(rows))
    assert (found.measured_in, found.left_out) == ("ppmv", 3)
    assert found.cells["n"].tolist() == [2]
    drops = levels_by_period(read(rows), measured_in="drops/min")
    assert (drops.cells["middle"].tolist(), drops.left_out) == ([2.0], 4)


def test_a_seal_ends_when_its_life_does_or_with_the_next_reading() -> None:
    rows = [
        reading("A", "2024-01-05", 1.0, life="A1", to_end=10.0),
        reading("A", "2024-02-05", 1.0, life="A2", to_end=np.nan),
        reading("A", "2024-03-05", 1.0, life="A3"),
        reading("A", "2024-03-09", 1.0, life=""),
        reading("B", "2024-03-05", 1.0, life="B1"),
    ]
    found = seal_changes(read(rows).table)
    assert found["position_id"].tolist() == ["A", "A"]
    assert found["date"].tolist() == [pd.Timestamp("2024-01-15"), pd.Timestamp("2024-03-05")]


def test_nothing_read_is_an_empty_table_and_wrong_words_are_refused() -> None:
    found = levels_by_period(read(NONE))
    assert len(found.cells) == len(found.positions) == len(found.changes) == 0
    with pytest.raises(InputError, match="'week'"):
        levels_by_period(read(NONE), by="week")
    with pytest.raises(InputError, match="measured_in"):
        levels_by_period(read([reading("A", "2024-01-05", 1.0)]), measured_in="bar")
