"""A fleet as it stood on an earlier day: all that had been written by then, and nothing else."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import pandas as pd
import pytest
from builders import fleet_of, seal_order
from hypothesis import given, settings
from hypothesis import strategies as st

from seallife.asof import as_of
from seallife.errors import InputError
from seallife.intake import Fleet
from seallife.study import Study, run_study

PUMP = {"tag": "P-1", "commissioned": "2015-01-31", "service_class": "WATER"}


def _ids(fleet: Fleet, table: str) -> list[str]:
    return fleet[table]["record_id"].str.split(":").str[2].tolist()


@pytest.mark.parametrize("year", range(2019, 2026))
def test_the_demo_can_be_studied_as_of_each_new_year(demo_study: Study, year: int) -> None:
    day = pd.Timestamp(year, 1, 1)
    then = run_study(as_of(demo_study.fleet, day))
    lives, removals = then.lives.table, then.removals.table
    assert (lives["exit"] <= day + pd.Timedelta(days=1)).all()
    assert (removals["end"] <= day).all()
    assert then.settings.data_end == day.date()
    assert (lives["end"] == "in service").sum() > 390
    # what was known then is what is known now, but for jobs under way and a few ends of pumps
    # that later orders name
    now = demo_study.removals.table
    now = now[now["end"] <= day]
    assert len(removals) == pytest.approx(len(now), abs=5)
    keys = ["position_id", "end", "reason"]
    same = now[keys].merge(removals[keys], how="inner").drop_duplicates()
    assert len(same) >= len(now) - 8


def test_at_the_end_of_records_the_fleet_is_itself(demo_study: Study) -> None:
    assert as_of(demo_study.fleet, "2025-12-31") is demo_study.fleet


def test_the_caller_keeps_the_fleet(demo_study: Study) -> None:
    fleet = demo_study.fleet
    before = {name: table.copy() for name, table in fleet.tables.items()}
    settings = fleet.settings.model_copy(deep=True)
    as_of(fleet, dt.date(2020, 1, 1))
    assert fleet.settings == settings
    for name, table in before.items():
        pd.testing.assert_frame_equal(fleet.tables[name], table)


def test_each_table_ends_with_the_day() -> None:
    fleet = fleet_of(
        [
            PUMP | {"retired": "2021-05-31", "status": "retired"},
            {"tag": "P-2", "commissioned": "2020-06-01", "service_class": "WATER"},
        ],
        run_hours=[
            {"tag": "P-1", "reading_date": "2020-01-01 23:50", "reading": 10.0},
            {"tag": "P-1", "reading_date": "2020-01-02", "reading": 20.0},
        ],
        leak_readings=[
            {"tag": "P-1", "date": "2020-01-01", "value": 10.0},
            {"tag": "P-1", "date": "2020-02-01", "value": 20.0},
        ],
        leak_limits=[
            {"limit": 500.0},
            {"limit": 400.0, "valid_from": "2019-06-01"},
            {"limit": 300.0, "valid_from": "2021-01-01"},
        ],
        changes=[
            {"position_id": "P-1", "date": "2019-01-01", "what": "process"},
            {"position_id": "P-1", "date": "2020-01-05", "what": "process"},
        ],
        removals=[
            {"tag": "P-1", "date": "2018-05-01", "back_in_service": "2018-05-03"},
            {"tag": "P-1", "date": "2019-12-30", "back_in_service": "2020-01-04"},
        ],
        outages=[{"site": "Site", "start": "2024-10-01", "end": "2024-10-28"}],
        stores=[{"material_no": "1"}],
    )
    then = as_of(fleet, "2020-01-01")
    assert _ids(then, "positions") == ["2"]
    row = then["positions"].iloc[0]
    assert pd.isna(row["retired"])
    assert row["status"] == "", "nobody knew that it would be retired"
    assert _ids(then, "run_hours") == ["2"], "the evening belongs to the day"
    assert _ids(then, "leak_readings") == ["2"]
    assert _ids(then, "leak_limits") == ["2", "3"], "one without a first day was always in force"
    assert _ids(then, "changes") == ["2"]
    assert _ids(then, "removals") == ["2"], "the second seal was not back in service"
    assert _ids(then, "outages") == ["2"], "a calendar is known ahead"
    assert then["stores"].empty, "today's stock is not history"


def test_an_order_is_on_record_when_its_work_is_done() -> None:
    fleet = fleet_of(
        [PUMP],
        work_orders=[
            seal_order("P-1", "2018-03-01", closed="2018-04-15"),
            seal_order("P-1", "2019-12-20", work_end="2019-12-30", closed="2020-02-01"),
            seal_order("P-1", "2019-12-31", work_end="2020-01-03"),  # under way
            seal_order("P-1", "2020-01-10", date_raised="2019-11-01"),  # raised only
            seal_order("P-1", "2017-05-05", work_end="2031-05-06"),  # a slip of the pen
            {"wo_no": "6", "tag": "P-1", "closed": "2019-06-01", "short_text": "Mech seal renewed"},
            {"wo_no": "7", "tag": "P-1", "closed": "2020-06-01", "short_text": "Mech seal renewed"},
            {"wo_no": "8", "tag": "P-1", "short_text": "no date at all"},
        ],
    )
    then = as_of(fleet, "2020-01-01")
    assert _ids(then, "work_orders") == ["2", "3", "6", "7"]
    closed = then["work_orders"]["closed"].dt.strftime("%Y-%m-%d").fillna("").tolist()
    assert closed == ["2018-04-15", "", "", "2019-06-01"], "closing lay ahead"


def test_windows_and_gaps_end_with_the_day() -> None:
    fleet = fleet_of(
        [PUMP],
        gaps=[
            ("2018-01-01", "2018-03-31"),
            ("2019-12-01", "2020-02-29"),
            ("2022-01-01", "2022-02-01"),
        ],
        work_orders=[seal_order("P-1", "2018-06-01")],
    )
    (window,) = as_of(fleet, "2020-01-01").settings.windows
    assert window.end == dt.date(2020, 1, 1)
    assert [last for _, last in window.gaps] == [dt.date(2018, 3, 31), dt.date(2020, 1, 1)]
    lives = run_study(as_of(fleet, "2020-01-01")).lives.table
    assert not (lives["end"] == "in service").any(), "in a gap nobody knows what runs"


def test_a_site_whose_records_begin_later_has_no_record(demo_study: Study) -> None:
    then = run_study(as_of(demo_study.fleet, "2017-01-01"))
    assert set(then.lives.table["site"]) == {"Skarrow Point"}
    assert set(then.register.table["site"]) == {"Skarrow Point", "Merrowfen"}
    assert "record window not given" not in set(then.findings["check"])


def test_a_position_packed_until_later_had_no_seal() -> None:
    change = {"position_id": "P-2", "what": "seal", "from_state": "gland packing", "to_state": "OK"}
    fleet = fleet_of(
        [PUMP, {"tag": "P-2", "commissioned": "2010-01-01", "service_class": "WATER"}],
        work_orders=[seal_order("P-1", "2018-06-01")],
        changes=[change | {"date": "2020-03-01"}],
    )
    assert as_of(fleet, "2020-02-29")["positions"]["tag"].tolist() == ["P-1"]
    assert as_of(fleet, "2020-03-01")["positions"]["tag"].tolist() == ["P-1", "P-2"]


@pytest.mark.parametrize(
    ("date", "says"),
    [
        ("soon", "date: is 'soon', no date; write 2024-01-31"),
        (None, "date: is None, no date"),
        ("2026-01-01", "date: is 2026-01-01, records end 2025-12-31; give an earlier day"),
        ("2015-01-30", "positions: no seal position was in use by 2015-01-30"),
    ],
)
def test_a_day_that_cannot_be(date: Any, says: str) -> None:
    with pytest.raises(InputError, match=says):
        as_of(fleet_of([PUMP]), date)


_DAYS = st.integers(0, 3_652).map(
    lambda d: f"{pd.Timestamp('2016-01-01') + pd.Timedelta(days=d):%Y-%m-%d}"
)


@st.composite
def _orders(draw: st.DrawFn) -> Mapping[str, Any]:
    tag, day = draw(st.sampled_from(["P-1", "P-2"])), draw(_DAYS)
    end = pd.Timestamp(day) + pd.Timedelta(days=draw(st.integers(0, 20)))
    return seal_order(tag, day, work_end=f"{end:%Y-%m-%d}", closed=draw(st.none() | _DAYS))


def _same(one: Fleet, other: Fleet) -> None:
    assert one.settings == other.settings
    assert one.tables.keys() == other.tables.keys()
    for name, table in one.tables.items():
        pd.testing.assert_frame_equal(table, other.tables[name])


def _fleet(orders: list[Mapping[str, Any]], later: str) -> Fleet:
    second = {"tag": "P-2", "commissioned": later, "service_class": "WATER", "retired": later}
    return fleet_of([PUMP, second], gaps=[("2018-01-01", "2018-02-15")], work_orders=orders)


@given(orders=st.lists(_orders(), max_size=12), days=st.tuples(_DAYS, _DAYS), later=_DAYS)
def test_any_two_days_tell_one_story(
    orders: list[Mapping[str, Any]], days: tuple[str, str], later: str
) -> None:
    first, second = sorted(days)
    fleet = _fleet(orders, later)
    _same(as_of(as_of(fleet, second), first), as_of(fleet, first))


@settings(max_examples=3)
@given(orders=st.lists(_orders(), min_size=1, max_size=12), days=st.tuples(_DAYS, _DAYS))
def test_any_study_knows_no_later_day_and_never_fewer_removals(
    orders: list[Mapping[str, Any]], days: tuple[str, str]
) -> None:
    fleet = _fleet(orders, "2019-07-01")
    found = []
    for day in sorted(days):
        study = run_study(as_of(fleet, day))
        assert (study.lives.table["exit"] <= pd.Timestamp(day) + pd.Timedelta(days=1)).all()
        assert (study.removals.table["end"] <= pd.Timestamp(day)).all()
        found.append(len(study.removals.table))
    assert found == sorted(found)
