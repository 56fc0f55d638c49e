"""Hour meters: kinds seen from readings, slips of the pen, shared meters, starts."""

from __future__ import annotations

import pandas as pd
import pytest
from builders import Rows, fleet_of
from hypothesis import given
from hypothesis import strategies as st

from seallife.intake import Fleet
from seallife.meters import Meters, read_meters
from seallife.register import build_register

DAYS = pd.date_range("2020-01-01", periods=12, freq="30D").strftime("%Y-%m-%d").tolist()


def _readings(tag: str, values: list[float], kind: str = "cumulative") -> Rows:
    return [
        {"tag": tag, "reading_date": d, "reading": v, "kind": kind}
        for d, v in zip(DAYS, values, strict=False)
    ]


def _meters(*readings: Rows) -> Meters:
    positions = [{"tag": "P-101A", "duty": "running"}, {"tag": "P-101B", "duty": "running"}]
    fleet = fleet_of(positions, run_hours=[r for rows in readings for r in rows])
    return read_meters(fleet, build_register(fleet))


TOTAL = [10_000.0 + 360 * i for i in range(12)]


@pytest.mark.parametrize("typo", [113_600.0, 1_136.0, 18_440.0, 0.0])
def test_a_digit_too_many_too_few_or_wrong(typo: float) -> None:
    values = [*TOTAL[:4], typo, *TOTAL[5:]]
    meters = _meters(_readings("P-101A", values))
    assert meters.findings["check"].tolist() == ["meter reading mistyped"]
    assert meters.findings["set_aside"].tolist() == [True]
    assert meters.findings["record_id"].tolist() == ["run_hours:t.csv:6"]
    assert meters.steps["hours"].sum() == pytest.approx(TOTAL[-1] - TOTAL[0])
    assert meters.steps["believed"].sum() == 10


def test_a_meter_replaced_or_turned_over_is_no_slip() -> None:
    replaced = _meters(_readings("P-101A", [*TOTAL[:6], *(100.0 + 360 * i for i in range(6))]))
    assert replaced.findings["check"].tolist() == ["meter replaced"]
    turned = _meters(_readings("P-101A", [(v + 88_000) % 100_000 for v in TOTAL]))
    assert turned.findings["check"].tolist() == ["meter turned over"]


PERIOD = [360.0, 300.0, 410.0, 0.0, 290.0, 500.0, 100.0, 360.0, 200.0, 410.0, 20.0, 300.0]


@pytest.mark.parametrize(
    ("kind", "values", "hours", "found"),
    [
        ("period", PERIOD, sum(PERIOD[1:]), []),
        ("", PERIOD, sum(PERIOD[1:]), ["meter kind seen from readings"]),
        ("cumulative", PERIOD, sum(PERIOD[1:]), ["meter kind seen from readings"]),
        ("", TOTAL, TOTAL[-1] - TOTAL[0], []),
        ("period", TOTAL, TOTAL[-1] - TOTAL[0], ["meter kind seen from readings"]),
    ],
)
def test_totals_and_hours_of_a_period_tell_each_other_apart(
    kind: str, values: list[float], hours: float, found: list[str]
) -> None:
    meters = _meters(_readings("P-101A", values, kind))
    assert meters.findings["check"].tolist() == found
    assert meters.steps["hours"].sum() == pytest.approx(hours)
    assert meters.steps["believed"].sum() == 11


def test_a_shared_meter_is_believed_for_neither() -> None:
    meters = _meters(_readings("P-101A", TOTAL), _readings("P-101B", TOTAL))
    assert meters.findings["check"].tolist() == ["meter shared by pumps"] * 2
    assert meters.findings["severity"].unique().tolist() == ["ask"]
    assert not meters.steps["believed"].any()
    own = [v + 3 for v in TOTAL]
    assert _meters(_readings("P-101A", TOTAL), _readings("P-101B", own)).findings.empty


def test_starts_are_counted_where_a_column_gives_them() -> None:
    fleet = fleet_of([{"tag": "P-101A"}], run_hours=_readings("P-101A", TOTAL))
    assert read_meters(fleet, build_register(fleet)).starts.empty
    rows = fleet["run_hours"].assign(starts=[5.0 * i for i in range(12)])
    with_starts = Fleet(
        fleet.folder,
        fleet.settings,
        dict(fleet.tables) | {"run_hours": rows},
        fleet.findings,
        fleet.inputs,
    )
    starts = read_meters(with_starts, build_register(fleet)).starts
    assert starts["P101A"] == pytest.approx(5 / 30 * 365.25)


@given(
    st.lists(st.floats(0, 24), min_size=4, max_size=11),
    st.floats(20_000, 90_000),
    st.integers(1, 9),
    st.sampled_from([10.0, 0.1]),
)
def test_one_slip_never_moves_the_hours(
    rates: list[float], first: float, at: int, by: float
) -> None:
    values = [first]
    for rate in rates:
        values.append(values[-1] + round(rate * 30))
    at = min(at, len(values) - 2)
    right = _meters(_readings("P-101A", [v + 0.5 for v in values]))
    wrong = [v + 0.5 for v in values]
    wrong[at] *= by
    meters = _meters(_readings("P-101A", wrong))
    assert "meter reading mistyped" in set(meters.findings["check"])
    assert meters.steps["hours"].sum() == pytest.approx(right.steps["hours"].sum())
