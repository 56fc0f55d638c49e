from __future__ import annotations

from datetime import date

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seallife.errors import InputError
from seallife.intake.dates import ParsedDates, parse_dates
from seallife.sections import DateOrder


def _parse(cells: list[str], order: DateOrder = "auto") -> ParsedDates:
    rows = pd.RangeIndex(2, 2 + len(cells))
    return parse_dates(pd.Series(cells, index=rows, dtype=object), order, where="f.csv, column 'd'")


def _iso(cells: list[str], order: DateOrder = "auto") -> list[str]:
    return _parse(cells, order).dates.dt.strftime("%Y-%m-%d").fillna("").tolist()


@pytest.mark.parametrize(
    ("cell", "day"),
    [
        ("2023-04-05", "2023-04-05"),
        ("2023/4/5", "2023-04-05"),
        ("20230405", "2023-04-05"),
        (" 2023-04-05T10:20:30.123Z ", "2023-04-05"),
        ("2023-04-05 23:59:59+02:00", "2023-04-05"),
        ("31.12.23", "2023-12-31"),
        ("31/12/69", "2069-12-31"),
        ("31-12-70", "1970-12-31"),
        ("31/12/2023 10:15 PM", "2023-12-31"),
        ("05-ABR-2023", "2023-04-05"),
        ("5. März 2023", "2023-03-05"),
        ("12 Août 1999", "1999-08-12"),
        ("3-déc.-2021", "2021-12-03"),
        ("1 de", ""),
        ("12 septiembre 2023", "2023-09-12"),
        ("12 février 2023", "2023-02-12"),
        ("12 out 2023", "2023-10-12"),
        ("12 mrt 2023", "2023-03-12"),
        ("12 mag 2023", "2023-05-12"),
        ("12 augustus 2023", "2023-08-12"),
        ("29.02.2024", "2024-02-29"),
    ],
)
def test_one_form(cell: str, day: str) -> None:
    assert _iso([cell]) == [day]


def test_time_of_day_is_kept() -> None:
    got = _parse(["2023-05-31 14:05", "31/05/2023 12:30 a.m.", "31/05/2023 02:05:06 PM"]).dates
    expected = ["2023-05-31 14:05", "2023-05-31 00:30", "2023-05-31 14:05:06"]
    assert got.tolist() == [pd.Timestamp(t) for t in expected]


@pytest.mark.parametrize("cell", ["", "-", "n/a", "00.00.0000", "0000-00-00 00:00:00", "00000000"])
def test_empty_cells_are_no_fault(cell: str) -> None:
    got = _parse([cell])
    assert got.dates.isna().all()
    assert not got.unreadable.any()
    assert not got.filler.any()


@pytest.mark.parametrize(
    "cell", ["1900-01-01", "01.01.1900", "9999-12-31", "31/12/9999", "0001-01-01", "30.12.1899"]
)
def test_filler_dates_stand_for_none(cell: str) -> None:
    got = _parse([cell])
    assert got.dates.isna().all()
    assert got.filler.all()
    assert not got.unreadable.any()


@pytest.mark.parametrize(
    "cell",
    [
        "31.11.2023",
        "29.02.2023",
        "2023-13-05",
        "20231345",
        "13/13/2023",
        "week 12",
        "soon",
        "5/2023",
        "5/4/203",
        "12 foo 2023",
        "123456",
    ],
)
def test_a_text_that_is_no_date_is_said(cell: str) -> None:
    got = _parse([cell])
    assert got.dates.isna().all()
    assert got.unreadable.all()


def test_day_numbers_of_spreadsheets_are_marked() -> None:
    got = _parse(["45017", "45017.5", "45017,25", "2023-04-01"])
    assert got.dates.dt.strftime("%Y-%m-%d %H").tolist() == [
        "2023-04-01 00",
        "2023-04-01 12",
        "2023-04-01 06",
        "2023-04-01 00",
    ]
    assert got.serial.tolist() == [True, True, True, False]


# --- the order of day and month --------------------------------------------------------------


def test_one_date_decides_for_the_column() -> None:
    assert _iso(["05/04/2023", "31/05/2023"]) == ["2023-04-05", "2023-05-31"]
    assert _iso(["05/04/2023", "05/31/2023"]) == ["2023-05-04", "2023-05-31"]
    assert _parse(["05/04/2023", "05/31/2023"]).order == "month first"


def test_an_ambiguous_column_is_refused_with_row_and_next_step() -> None:
    with pytest.raises(InputError) as err:
        _parse(["", "05/05/2023", "05/04/2023"])
    assert str(err.value) == (
        "f.csv, column 'd': day and month cannot be told apart, e.g. '05/04/2023' (row 4); "
        "set date_order for this file in fleet.toml"
    )


def test_a_column_of_both_orders_is_refused_with_both_rows() -> None:
    with pytest.raises(InputError, match=r"'31/05/2023', row 2\), others the month .*row 4\); spl"):
        _parse(["31/05/2023", "01/01/2023", "05/31/2023"])


def test_a_column_without_a_question_is_not_refused() -> None:
    assert _iso(["05/05/2023", "2023-04-05", "4-Mar-2023"]) == [
        "2023-05-05",
        "2023-04-05",
        "2023-03-04",
    ]


@pytest.mark.parametrize(
    ("order", "day"),
    [("day first", "2023-04-05"), ("month first", "2023-05-04"), ("year first", "")],
)
def test_a_stated_order_is_kept_to(order: DateOrder, day: str) -> None:
    assert _iso(["05/04/2023"], order) == [day]


def test_two_digit_years_may_come_first() -> None:
    assert _iso(["05-04-03", "98-12-31"], "year first") == ["2005-04-03", "1998-12-31"]


def test_the_index_and_repeats_are_kept() -> None:
    got = _parse(["2023-01-02"] * 3 + ["x"])
    assert got.dates.index.tolist() == [2, 3, 4, 5]
    assert got.unreadable.tolist() == [False, False, False, True]
    assert str(_parse([]).dates.dtype) == "datetime64[ns]"


_FORMS = {
    "day first": ["%d/%m/%Y", "%d.%m.%y", "%d-%m-%Y %H:%M", "%d %m %Y", "%d-%b-%Y", "%d %B %Y"],
    "month first": ["%m/%d/%Y", "%m.%d.%y", "%m-%d-%Y %I:%M %p"],
    "year first": ["%Y-%m-%d", "%Y/%m/%d", "%Y%m%d", "%Y-%m-%dT%H:%M:%SZ"],
}
_days = st.dates(date(1950, 1, 1), date(2069, 12, 31))


@settings(max_examples=200, deadline=None)
@given(st.data(), st.lists(_days, min_size=1, max_size=6))
def test_any_date_comes_back_in_every_order(data: st.DataObject, days: list[date]) -> None:
    order: DateOrder = data.draw(st.sampled_from(["day first", "month first", "year first"]))
    form = data.draw(st.sampled_from(_FORMS[order]))
    if "%y" in form:
        days = [d.replace(year=max(d.year, 1970), day=min(d.day, 28)) for d in days]
    stamps = [pd.Timestamp(d) for d in days]
    got = _parse([s.strftime(form) for s in stamps], order)
    assert got.dates.tolist() == stamps
    assert not got.unreadable.any()


@settings(max_examples=100, deadline=None)
@given(st.lists(_days, min_size=1, max_size=6), st.sampled_from(["%d/%m/%Y", "%m/%d/%Y"]))
def test_auto_is_right_or_refuses(days: list[date], form: str) -> None:
    decided = {d.day > 12 for d in days if d.day != d.month}
    if decided == {False}:
        with pytest.raises(InputError, match="told apart"):
            _parse([d.strftime(form) for d in days])
    else:
        assert _parse([d.strftime(form) for d in days]).dates.dt.date.tolist() == days


@pytest.mark.parametrize(
    ("order", "cells", "refused"),
    [
        ("month first", ["13/01/2020", "14/02/2020", "15/03/2020", "01/02/2020"], True),
        ("day first", ["01/13/2020", "02/14/2020", "03/15/2020"], True),
        ("month first", ["13/01/2020", "14/02/2020", "01/15/2020", "02/17/2020"], False),
        ("month first", ["13/01/2020", "14/02/2020"], False),
        ("year first", ["20-01-13", "20-02-14", "20-03-15"], False),
    ],
)
def test_an_order_given_that_is_plainly_not_the_column_s_is_refused(
    order: DateOrder, cells: list[str], refused: bool
) -> None:
    if not refused:
        got = parse_dates(pd.Series(cells), order)  # slips of the pen stay single findings
        assert got.order == order
        return
    with pytest.raises(InputError, match=f"date_order says {order}, and 3 different dates"):
        parse_dates(pd.Series(cells), order, where="orders.csv, column Start")


def test_day_numbers_count_from_1900_or_1904() -> None:
    """2 January 2020 in both calendars; they lie 1,462 days apart."""
    day = pd.Timestamp("2020-01-02")
    assert parse_dates(pd.Series(["43832"])).dates.tolist() == [day]
    assert parse_dates(pd.Series(["42370"]), days_from="1904").dates.tolist() == [day]
