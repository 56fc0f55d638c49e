"""Run hours: meters that can be believed, meters that cannot, and duty in their place."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from builders import fleet_of
from hypothesis import given
from hypothesis import strategies as st

from seallife.clocks import RunClock, build_clock, day_number
from seallife.register import build_register

P1 = {"tag": "P-1", "duty": "running"}


def _clock(positions: list[dict[str, object]], readings: list[tuple[str, str, float]]) -> RunClock:
    rows = [
        {"tag": t, "reading_date": d, "reading": r, "kind": "cumulative"} for t, d, r in readings
    ]
    fleet = fleet_of(positions, run_hours=rows)
    return build_clock(fleet, build_register(fleet))


def _hours(clock: RunClock, position: str, start: str, end: str) -> tuple[float, float]:
    names = pd.Series([position, position])
    hours, metered = clock.at(names, day_number(pd.Series(pd.to_datetime([start, end]))))
    return float(np.diff(hours)[0]), float(np.diff(metered)[0])


def test_believable_steps_are_taken_as_read() -> None:
    clock = _clock(
        [P1],
        [("P-1", "2020-01-01", 1_000), ("P-1", "2020-02-01", 1_500), ("P-1", "2020-03-01", 1_600)],
    )
    assert _hours(clock, "P-1", "2020-01-01", "2020-03-01") == pytest.approx((600, 600))
    assert _hours(clock, "P-1", "2020-01-01", "2020-02-01") == pytest.approx((500, 500))
    assert clock.source["P-1"] == "meter"
    assert clock.findings.empty


def test_outside_the_readings_the_meters_own_share_goes_on() -> None:
    clock = _clock([P1], [("P-1", "2020-01-01", 0), ("P-1", "2020-01-31", 360)])
    hours, metered = _hours(clock, "P-1", "2021-01-01", "2021-01-11")
    assert (hours, metered) == pytest.approx((120, 0))  # 12 h a day, none of them metered


def test_a_meter_that_turned_over_is_mended() -> None:
    clock = _clock([P1], [("P-1", "2020-01-01", 99_700), ("P-1", "2020-02-01", 200)])
    assert _hours(clock, "P-1", "2020-01-01", "2020-02-01") == pytest.approx((500, 500))
    assert clock.findings["check"].tolist() == ["meter turned over"]


def test_a_replaced_meter_starts_again_and_the_step_is_from_duty() -> None:
    clock = _clock(
        [P1],
        [
            ("P-1", "2020-01-01", 40_000),
            ("P-1", "2020-01-31", 40_360),
            ("P-1", "2020-03-01", 50),
            ("P-1", "2020-03-31", 410),
        ],
    )
    assert clock.findings["check"].tolist() == ["meter replaced"]
    hours, metered = _hours(clock, "P-1", "2020-01-01", "2020-03-31")
    assert metered == pytest.approx(720)
    assert hours == pytest.approx(720 + 30 * 12)


def test_a_meter_that_stands_still_on_a_running_pump_is_not_believed() -> None:
    days = pd.date_range("2020-01-01", periods=8, freq="30D").strftime("%Y-%m-%d")
    values = [0, 360, 720, 720, 720, 720, 1_080, 1_440]
    clock = _clock([P1], [("P-1", d, v) for d, v in zip(days, values, strict=True)])
    assert clock.findings["check"].tolist() == ["meter stands still"] * 3
    hours, metered = _hours(clock, "P-1", days[0], days[-1])
    assert (hours, metered) == pytest.approx((7 * 360, 4 * 360))
    standby = _clock(
        [{"tag": "P-1", "duty": "standby"}],
        [("P-1", d, v) for d, v in zip(days, values, strict=True)],
    )
    assert standby.findings.empty


@pytest.mark.parametrize("wild", [5_000_000, 9_000])
def test_an_impossible_step_is_asked_about(wild: float) -> None:
    clock = _clock(
        [P1],
        [
            ("P-1", "2020-01-01", 8_000),
            ("P-1", "2020-01-11", wild),
            ("P-1", "2020-01-21", wild + 120),
        ],
    )
    assert clock.findings["check"].tolist() == ["meter step impossible"]
    assert clock.findings["severity"].tolist() == ["ask"]
    assert _hours(clock, "P-1", "2020-01-01", "2020-01-21") == pytest.approx((240, 120))


def test_without_meter_duty_speaks_share_before_word() -> None:
    clock = _clock(
        [
            {"tag": "P-1", "duty": "standby", "duty_share": 0.3},
            {"tag": "P-2", "duty": "standby"},
            {"tag": "P-3"},
        ],
        [],
    )
    year = ("2020-01-01", "2020-12-31")
    assert _hours(clock, "P-1", *year)[0] == pytest.approx(365 * 24 * 0.3)
    assert _hours(clock, "P-2", *year)[0] == pytest.approx(365 * 24 * 0.15)
    assert _hours(clock, "P-3", *year)[0] == pytest.approx(365 * 24 * 0.50)
    assert clock.source.to_dict() == {"P-1": "duty share", "P-2": "duty word", "P-3": "duty word"}


def test_both_seals_of_a_pump_share_its_meter() -> None:
    two = [{"tag": "P-1", "seal_end": "DE"}, {"tag": "P-1", "seal_end": "NDE"}]
    clock = _clock(two, [("P-1", "2020-01-01", 0), ("P-1", "2020-01-31", 360)])
    assert _hours(clock, "P-1-DE", "2020-01-01", "2020-01-31") == _hours(
        clock, "P-1-NDE", "2020-01-01", "2020-01-31"
    )


def test_period_readings_are_steps_themselves() -> None:
    rows = [
        {"tag": "P-1", "reading_date": d, "reading": r, "kind": "period"}
        for d, r in (("2020-01-01", 300), ("2020-01-31", 360), ("2020-03-01", 100))
    ]
    fleet = fleet_of([P1], run_hours=rows)
    clock = build_clock(fleet, build_register(fleet))
    assert _hours(clock, "P-1", "2020-01-01", "2020-03-01") == pytest.approx((460, 460))


def test_unusable_readings_are_set_aside_with_a_reason() -> None:
    rows = [
        {"tag": "P-1", "reading_date": "2020-01-01", "reading": 0},
        {"tag": "P-1", "reading_date": "2020-01-01", "reading": 3},
        {"tag": "P-1", "reading_date": None, "reading": 5},
        {"tag": "P-1", "reading_date": "2020-01-09", "reading": None},
        {"tag": "X-9", "reading_date": "2020-01-09", "reading": 7},
    ]
    fleet = fleet_of([P1], run_hours=rows)
    found = build_clock(fleet, build_register(fleet)).findings
    assert sorted(zip(found["record_id"].str[-1], found["check"], strict=True)) == [
        ("2", "read twice on one day"),
        ("4", "meter reading incomplete"),
        ("5", "meter reading incomplete"),
        ("6", "not in register"),
    ]
    assert found["set_aside"].all()


def test_an_unknown_position_or_date_has_no_hours() -> None:
    clock = _clock([P1], [])
    hours, metered = clock.at(pd.Series(["P-1", "no such"]), np.array([np.nan, 1.0]))
    assert np.isnan(hours).all()
    assert np.isnan(metered).all()


@given(
    st.lists(st.floats(0, 24), min_size=1, max_size=20),
    st.integers(1, 60),
    st.integers(0, 50_000),
)
def test_any_believable_meter_is_reproduced(rates: list[float], step: int, first: int) -> None:
    """Hours between any two readings are the difference of the readings."""
    values = first + np.concatenate([[0], np.cumsum(np.array(rates) * step)])
    days = pd.date_range("2018-01-01", periods=len(values), freq=f"{step}D")
    moving = [{"tag": "P-1", "duty": "standby"}]
    clock = _clock(moving, [("P-1", f"{d:%Y-%m-%d}", v) for d, v in zip(days, values, strict=True)])
    hours, metered = clock.at(pd.Series(["P-1"] * len(days)), day_number(pd.Series(days)))
    assert np.diff(hours) == pytest.approx(np.diff(values), abs=1e-6)
    assert np.diff(metered) == pytest.approx(np.diff(values), abs=1e-6)
    assert (np.diff(clock.days)[: len(values)] >= 0).all()


def test_hours_come_with_a_range_that_fits_their_source() -> None:
    clock = _clock(
        [
            {"tag": "P-1", "duty": "running"},
            {"tag": "P-2", "duty": "standby"},
            {"tag": "P-3", "duty_share": 0.5},
            {"tag": "P-4", "duty_share": 0.01},
            {"tag": "P-5", "duty_share": 0.97},
        ],
        [("P-1", "2020-01-01", 0), ("P-1", "2020-01-31", 360)],
    )
    shares = clock.share.round(3)
    assert shares.loc["P-1"].tolist() == [0.5, 0.4, 0.6]
    assert shares.loc["P-2"].tolist() == [0.15, 0.02, 0.4]
    assert shares.loc["P-3"].tolist() == [0.5, 0.4, 0.6]
    assert shares.loc["P-4"].tolist() == [0.01, 0.01, 0.11]
    assert shares.loc["P-5"].tolist() == [0.97, 0.87, 1.0]
    names = pd.Series(["P-1", "P-3", "P-1"])
    low, high = clock.spread(names, np.array([360, 1_200, 720]), np.array([360, 0, 360.0]))
    assert low == pytest.approx([352.8, 960, 352.8 + 288])
    assert high == pytest.approx([367.2, 1_440, 367.2 + 432])
    assert clock.starts.isna().all()
