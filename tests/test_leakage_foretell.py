"""Alarms held against what happened."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife.errors import InputError
from seallife.leakage.foretell import cheapest_rate, foretold_failures


def _days(life: str, alarms: str, step: float = 30.0) -> pd.DataFrame:
    """A reading a step: '.' quiet, '!' in alarm, '?' not judged."""
    return pd.DataFrame(
        {
            "life_id": life,
            "day": step * np.arange(len(alarms)),
            "judged": [a != "?" for a in alarms],
            "alarm": [a == "!" for a in alarms],
        }
    )


def _lives(*rows: tuple[str, str, float]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["life_id", "end", "exit_day"])


def _record(readings: list[pd.DataFrame], *rows: tuple[str, str, float], **more: object):
    return foretold_failures(pd.concat(readings, ignore_index=True), _lives(*rows), **more)


def test_each_failure_is_foretold_silent_or_not_read() -> None:
    got = _record(
        [_days("A", "??..!!"), _days("B", "....!."), _days("C", "..."), _days("D", "....")],
        ("A", "failed", 170.0),
        ("B", "failed", 170.0),
        ("C", "failed", 200.0),
        ("D", "withdrawn", 100.0),
    )
    told = got.failures.set_index("life_id")["told"].to_dict()
    assert told == {"A": "in alarm", "B": "no alarm", "C": "not read"}
    r = got["all"]
    counts = ["failures", "foretold", "in_time", "silent", "not_read"]
    assert r[counts].tolist() == [3, 1, 1, 1, 1]
    assert r["lead_median"] == 50.0
    assert r["share"] == 0.5
    assert r["share_low"] == pytest.approx(0.025, abs=0.001)  # 1 of 2, exact, 90 %
    # B's alarm had gone again, and yet the seal failed within the window: it was no false one
    assert got.episodes["outcome"].tolist() == ["failure", "failure"]


def test_an_alarm_without_failure_is_false_once_the_window_is_over() -> None:
    got = _record(
        [_days("A", "!" + "." * 12), _days("B", "." * 11 + "!."), _days("C", "!..")],
        ("A", "in service", 380.0),
        ("B", "in service", 380.0),
        ("C", "withdrawn", 80.0),
    )
    outcome = got.episodes.set_index("life_id")["outcome"].to_dict()
    assert outcome == {"A": "false", "B": "undecided", "C": "undecided"}
    r = got["all"]
    months = (360 + 360 + 60) / (365.25 / 12)
    assert r["months"] == pytest.approx(months)
    assert r["false_per_100"] == pytest.approx(100 / months)
    assert r["status"] == "no failures"
    assert np.isnan(r["share"])


def test_a_failure_long_after_makes_no_alarm_true() -> None:
    got = _record([_days("A", "!" + "." * 9)], ("A", "failed", 280.0))
    assert got.episodes["outcome"].tolist() == ["false"]


def test_a_lead_too_short_to_act_is_not_in_time() -> None:
    got = _record([_days("A", "...!")], ("A", "failed", 97.0))
    assert (got["all"]["foretold"], got["all"]["in_time"]) == (1, 0)


def test_readings_on_the_day_of_failure_foretell_nothing() -> None:
    got = _record([_days("A", "...!")], ("A", "failed", 90.0))
    assert got["all"]["foretold"] == 0
    assert got["all"]["silent"] == 1


def test_groups_add_up() -> None:
    lives = _lives(("A", "failed", 170.0), ("B", "failed", 170.0)).assign(service_class=["X", "Y"])
    readings = pd.concat([_days("A", "....!!"), _days("B", "......")])
    table = foretold_failures(readings, lives, group="service_class").table
    assert table["group"].tolist() == ["all", "X", "Y"]
    for column in ("failures", "foretold", "silent", "alarms", "months"):
        assert table[column].iloc[0] == pytest.approx(table[column].iloc[1:].sum())


def test_chance_stands_beside_the_share() -> None:
    """Alarms at random foretell as many failures as there is time in alarm, and no more."""
    rng = np.random.default_rng(8)
    parts, rows = [], []
    for i in range(400):
        n = int(rng.integers(4, 30))
        parts.append(_days(f"L{i}", "".join(rng.choice(["!", "."], n, p=[0.2, 0.8]))))
        rows.append((f"L{i}", "failed", 30.0 * n - 15))
    r = _record(parts, *rows)["all"]
    assert r["time_in_alarm"] == pytest.approx(0.2, abs=0.02)
    assert r["share_low"] < r["time_in_alarm"] < r["share_high"]


@given(st.randoms(use_true_random=False))
def test_order_of_rows_says_nothing(random: object) -> None:
    rng = np.random.default_rng(random.randrange(1 << 30))  # type: ignore[attr-defined]
    readings = pd.concat(
        [_days(c, "".join(rng.choice(["!", ".", "?"], 6))) for c in "ABC"], ignore_index=True
    )
    lives = _lives(("A", "failed", 160.0), ("B", "in service", 200.0), ("C", "failed", 170.0))
    one = foretold_failures(readings, lives).table
    mixed = readings.iloc[rng.permutation(len(readings))]
    two = foretold_failures(mixed, lives.iloc[rng.permutation(3)]).table
    pd.testing.assert_frame_equal(one, two)
    r = one.iloc[0]
    assert r["failures"] == r["foretold"] + r["silent"] + r["not_read"]


def test_nothing_read_is_said() -> None:
    got = foretold_failures(_days("A", "??"), _lives(("A", "failed", 90.0)))
    assert got["all"]["status"] == "not watched"
    assert got["all"]["failures"] == 0
    none = foretold_failures(_days("A", ""), _lives())
    assert none["all"]["status"] == "not watched"


def test_the_dearer_a_missed_failure_the_more_alarms_pay() -> None:
    lives = [(f"L{i}", "failed", 170.0) for i in range(6)] + [("Q", "in service", 900.0)]
    few = _record([_days(f"L{i}", "......") for i in range(6)] + [_days("Q", "." * 30)], *lives)
    loud = [_days(f"L{i}", "....!!") for i in range(6)]
    many = _record([*loud, _days("Q", ("!" + "." * 9) * 3)], *lives)
    at = {1.0: few, 5.0: many}
    assert cheapest_rate(at, 10.0, 1.0).set_index("rate")["cheapest"].to_dict() == {
        1.0: False,
        5.0: True,
    }
    assert cheapest_rate(at, 0.1, 1.0)["cheapest"].tolist() == [True, False]
    with pytest.raises(InputError, match="false_cost"):
        cheapest_rate(at, 1.0, -1.0)
    with pytest.raises(InputError, match="records"):
        cheapest_rate({}, 1.0, 1.0)


def test_bad_input_says_where() -> None:
    with pytest.raises(InputError, match="no column alarm"):
        foretold_failures(_days("A", "..").drop(columns="alarm"), _lives(("A", "failed", 9.0)))
    with pytest.raises(InputError, match="'A' is no life"):
        foretold_failures(_days("A", ".."), _lives(("B", "failed", 9.0)))
    with pytest.raises(InputError, match="no column unit"):
        foretold_failures(_days("A", ".."), _lives(("A", "failed", 9.0)), group="unit")
