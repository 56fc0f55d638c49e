"""The record of alarms: shares against false alarms, chance beside it, leads below."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from leakfigures import words

from seallife.errors import InputError
from seallife.figures.alarmrecord import alarm_record_figure
from seallife.leakage.foretell import AlarmRecord, foretold_failures

LIVES = pd.DataFrame(
    {
        "life_id": [f"L{i}" for i in range(12)],
        "end": ["failed"] * 8 + ["in service"] * 4,
        "exit_day": [365.0 + i for i in range(8)] + [900.0] * 4,
    }
)


def record(foretold: int, false: int, lives: pd.DataFrame = LIVES) -> AlarmRecord:
    """Some failures in alarm before, the first for one reading only; some alarms of no failure."""
    rows = []
    for i, life in enumerate(lives["life_id"]):
        day = np.arange(0.0, 361.0, 30.0)
        alarm = np.zeros(len(day), dtype=bool)
        if i < foretold:
            alarm[-1 - i :] = True
        if i >= 8 and i - 8 < false:
            alarm[3] = True
        rows.append(pd.DataFrame({"life_id": life, "day": day, "judged": True, "alarm": alarm}))
    return foretold_failures(pd.concat(rows), lives)


RECORDS = {3.0: record(5, 3), 1.0: record(3, 1), 10.0: record(6, 4)}


def drawn(figure):
    return {t.name: t for t in figure.data}


def test_points_are_the_rows_of_the_records_in_order_of_their_rate() -> None:
    figure = alarm_record_figure(RECORDS, chosen=3.0)
    marks = drawn(figure)
    rows = [RECORDS[rate]["all"] for rate in (1.0, 3.0, 10.0)]
    columns = {"x": "false_per_100", "y": "in_time_share"}
    for axis, column in columns.items():
        wanted = [r[column] for r in rows]
        np.testing.assert_allclose(marks["foretold in time"][axis], wanted, atol=1e-5)
        np.testing.assert_allclose(marks["chosen rate"][axis], wanted[1:2], atol=1e-5)
        np.testing.assert_allclose(marks["stated rates"][axis], wanted[::2], atol=1e-5)
    chance = [r["time_in_alarm"] for r in rows]
    np.testing.assert_allclose(marks["foretold by chance"].y, chance, atol=1e-5)
    assert marks["foretold by chance"].line.dash == "dot"
    chosen = marks["limits of the chosen rate"]
    assert list(chosen.x[:2]) == list(rows[1][["false_per_100_low", "false_per_100_high"]])
    assert list(chosen.y[3:5]) == list(rows[1][["in_time_share_low", "in_time_share_high"]])
    said = [a.text for a in figure.layout.annotations]
    assert {"1", "<b>stated 3</b>", "10", "foretold by chance"} <= set(said)


def test_leads_are_those_of_the_chosen_rate() -> None:
    found = RECORDS[3.0]
    figure = alarm_record_figure(RECORDS, chosen=3.0)
    lower = {t.name: t for t in figure.data if t.xaxis == "x2"}
    late, in_time = lower["too late"].x, lower["in time"].x
    leads = found.failures["lead_d"].dropna()
    assert sorted([*late, *in_time]) == sorted(leads)
    assert max(late) < found.lead_d <= min(in_time)
    assert lower["too late"].marker.color == "white"
    assert list(lower["lead needed"].x) == [14.0, 14.0]
    row = found["all"]
    assert f"● {row['in_time']} foretold in time, ○ 1 too late" in words(figure)
    assert "14 d needed to act" in words(figure)


def test_without_a_choice_there_are_no_leads_and_one_record_is_its_own() -> None:
    figure = alarm_record_figure(RECORDS)
    assert not any(t.xaxis == "x2" for t in figure.data)
    assert "chosen rate" not in drawn(figure)
    one = alarm_record_figure({1.0: RECORDS[1.0]})
    assert "chosen rate" in drawn(one)
    assert "stated rates" not in drawn(one)
    silent = alarm_record_figure({1.0: record(0, 0)})
    assert "no failure was foretold" in words(silent)
    assert drawn(silent)["chosen rate"].x == (0.0,)


def test_many_rates_stand_on_one_line() -> None:
    many = {float(k): record(k % 7, k % 5) for k in range(1, 16)}
    figure = alarm_record_figure(many, chosen=4.0)
    assert len(drawn(figure)["stated rates"].x) == 14
    low, high = figure.layout.xaxis.range
    assert low <= 0
    assert high >= max(drawn(figure)["foretold in time"].x)


def test_nothing_to_draw_is_said_and_a_wrong_choice_refused() -> None:
    assert "no record of alarms" in words(alarm_record_figure({}))
    lives = LIVES.assign(end="in service", exit_day=900.0)
    none = alarm_record_figure({1.0: record(0, 1, lives)})
    assert "No failure of a seal that was read" in words(none)
    with pytest.raises(InputError, match="known here: 1, 3, 10"):
        alarm_record_figure(RECORDS, chosen=2.0)
