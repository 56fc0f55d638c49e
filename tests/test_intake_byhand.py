"""What a person may set, and how it must be written."""

from __future__ import annotations

import datetime as dt
import math

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife.intake.byhand import HAND_SET, hand_value, in_range, overridable, wanted_value
from seallife.schema import REASONS, TABLES

POSITIONS = overridable("positions")
DATE, NUMBER, CODE = POSITIONS["commissioned"], POSITIONS["temp_c"], POSITIONS["seal_end"]


def test_every_column_of_every_table_and_three_words_more_for_work_orders() -> None:
    for name, table in TABLES.items():
        assert set(table.names) <= set(overridable(name))
    more = set(overridable("work_orders")) - set(TABLES["work_orders"].names)
    assert more == {"kind", "reason", "position_id"}
    held = {word: c.name for word, c in HAND_SET["work_orders"].items()}
    assert held == {"kind": "set_kind", "reason": "set_reason", "position_id": "set_position"}
    assert HAND_SET["work_orders"]["reason"].choices == tuple(REASONS)
    for words in HAND_SET.values():
        for word, column in words.items():
            assert word not in TABLES["work_orders"].names, "a column of the export has the word"
            assert column.name not in TABLES["work_orders"].names


@given(st.dates(min_value=dt.date(1900, 1, 1), max_value=dt.date(2200, 12, 31)))
def test_iso_dates_are_read_as_written(day: dt.date) -> None:
    assert hand_value(str(day), DATE) == pd.Timestamp(str(day))


@pytest.mark.parametrize(
    "text",
    [
        "31.12.2015",
        "12/31/2015",
        "2015-13-01",
        "2015-02-30",
        "0001-01-01",
        "20151231",
        "2015-W01-1",
    ],
)
def test_other_dates_are_refused(text: str) -> None:
    assert hand_value(text, DATE) is None
    assert "2024-01-31" in wanted_value(DATE)


@given(st.floats(allow_nan=False, allow_infinity=False, width=32))
def test_numbers_with_a_decimal_point_are_read_as_written(number: float) -> None:
    assert hand_value(repr(number), NUMBER) == number


@pytest.mark.parametrize("text", ["1,5", "1,500", "1 500", "about 3", "nan", "inf", "1e999", "0x1"])
def test_numbers_that_can_be_read_two_ways_or_none_are_refused(text: str) -> None:
    assert hand_value(text, NUMBER) is None
    assert "decimal point" in wanted_value(NUMBER)


def test_codes_are_our_words_in_any_case() -> None:
    assert hand_value("nde", CODE) == "NDE"
    assert hand_value("CE", CODE) is None, "a site's own code is not ours"
    assert wanted_value(CODE).endswith("DE, NDE")
    assert hand_value("anything", POSITIONS["pump_type"]) == "anything"


def test_no_text_is_no_value() -> None:
    assert hand_value("", DATE) is pd.NaT
    number = hand_value("", NUMBER)
    assert isinstance(number, float)
    assert math.isnan(number)
    assert hand_value("", CODE) == hand_value("", POSITIONS["tag"]) == ""


def test_range() -> None:
    assert in_range(120.0, NUMBER)
    assert not in_range(658.0, NUMBER)
    assert in_range(float("nan"), NUMBER)
    assert in_range("text", NUMBER)
