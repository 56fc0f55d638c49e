"""Limits in force and readings over them: the most specific, the lowest, none left out."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife.errors import InputError
from seallife.leakage import (
    conversion,
    drops_to_ml_per_h,
    example_limits,
    exceedances,
    limits_in_force,
)
from seallife.leakage.exceedances import ACT_NOW

BLANK_LIMIT: dict[str, Any] = {
    "site": "",
    "unit": "",
    "service_class": "",
    "position_id": "",
    "method": "",
    "limit": 1_000,
    "limit_unit": "ppmv",
    "kind": "legal",
    "valid_from": None,
    "valid_to": None,
    "citation": "a rule",
}
READING: dict[str, Any] = {
    "site": "North",
    "unit": "CDU",
    "service_class": "light ends",
    "position_id": "P-101 DE",
    "method": "sniffer",
    "reading_unit": "ppm",
    "date": "2024-05-01",
    "low": 1_500.0,
    "high": 1_500.0,
}


def _limits(*rows: dict[str, Any]) -> pd.DataFrame:
    return pd.DataFrame([{**BLANK_LIMIT, **row} for row in rows], columns=list(BLANK_LIMIT))


def _readings(*rows: dict[str, Any]) -> pd.DataFrame:
    return pd.DataFrame([{**READING, **row} for row in rows] or None, columns=_columns(rows))


def _columns(rows: tuple[dict[str, Any], ...]) -> list[str]:
    return list(dict.fromkeys([*READING, *(c for row in rows for c in row)]))


def _held(limits: pd.DataFrame, readings: pd.DataFrame) -> list[Any]:
    return limits_in_force(limits, readings).table["limit"].tolist()


def test_ST_04_units() -> None:
    """1 drop/min is 3 mL/h and 3 g/h of water; 5.6 g/h of water is 1.8667 drops/min."""
    assert conversion("drops/min", "mL/h").factor == pytest.approx(3.0, abs=1e-12)
    assert conversion("drops/min", "mL/h").factor == pytest.approx(drops_to_ml_per_h(1.0))
    assert conversion("drops/min", "g/h", density=1.0).factor == pytest.approx(3.0, abs=1e-12)
    found = conversion("g/h", "drops/min", density=1.0)
    assert 5.6 * (found.factor or 0) == pytest.approx(1.8667, abs=5e-5)
    assert "0.05 mL a drop" in found.message
    assert "1 g/mL" in found.message


@pytest.mark.parametrize(
    ("unit", "to", "factor"),
    [
        ("ppm", "PPMV", 1.0),
        ("mL/m³", "ppm", 1.0),
        ("vol %", "ppmv", 10_000.0),
        ("ppmv", "ppb", 1_000.0),
        ("L/h", "mL/h", 1_000.0),
        ("mL/min", "mL/h", 60.0),
        ("cc/hr", "mL/h", 1.0),
        ("L/day", "mL/h", 1_000 / 24),
        ("kg/day", "g/h", 1_000 / 24),
        ("NL/h", "nl/h", 1.0),
    ],
)
def test_units_that_say_the_same(unit: str, to: str, factor: float) -> None:
    assert conversion(unit, to).factor == pytest.approx(factor, rel=1e-12)


@pytest.mark.parametrize(
    ("unit", "to", "why"),
    [
        ("ppmv", "mL/h", "not a rate"),
        ("g/h", "ppmv", "not a rate"),
        ("g/h", "mL/h", "density"),
        ("%", "ppmv", "explosive"),
        ("% LEL", "ppmv", "explosive"),
        ("mg/m3", "ppmv", "molar mass"),
        ("", "ppmv", "empty unit"),
        ("furlong", "ppmv", "furlong is not known"),
    ],
)
def test_units_that_do_not(unit: str, to: str, why: str) -> None:
    found = conversion(unit, to)
    assert found.factor is None
    assert why in found.message


@given(st.sampled_from(["ml/h", "l/h", "drops/min", "g/h", "kg/day", "cc/min"]), st.data())
def test_there_and_back_is_one(unit: str, data: st.DataObject) -> None:
    to = data.draw(st.sampled_from(["ml/min", "l/day", "dpm", "g/min", "mg/s"]))
    there, back = (conversion(a, b, density=0.7, drop_ml=0.03) for a, b in ((unit, to), (to, unit)))
    assert there.factor is not None
    assert back.factor is not None
    assert there.factor * back.factor == pytest.approx(1.0, rel=1e-12)


def test_ST_01_as_a_table_of_limits() -> None:
    """40 CFR 65.107(b), read in the 2003 and 2005 editions: 5,000, 2,000 and 1,000 ppm."""
    example = example_limits()
    limits = _limits(
        *(
            {"service_class": s if s != "all other" else "", "limit": p, "citation": c}
            for s, p, c in example[["service", "leak_ppm", "citation"]].itertuples(index=False)
        )
    )
    readings = _readings(
        {"service_class": "polymerising monomers"},
        {"service_class": "food or medical service"},
        {"service_class": "crude"},
    )
    assert _held(limits, readings) == [5_000, 2_000, 1_000]


@pytest.mark.parametrize("order", [1, -1])
def test_the_most_specific_limit_holds(order: int) -> None:
    """Position over class over plant unit over site over any, even where it is higher."""
    rows = [
        {"limit": 100},
        {"site": "north ", "limit": 200},
        {"unit": "CDU", "limit": 300},
        {"site": "North", "unit": "CDU", "limit": 310},
        {"service_class": "Light ends", "limit": 400},
        {"site": "North", "unit": "CDU", "service_class": "light ends", "limit": 450},
        {"position_id": "P-101 DE", "limit": 500},
    ]
    for n in range(len(rows), 0, -1):
        found = limits_in_force(_limits(*rows[:n][::order]), _readings({})).table
        assert found["limit"].tolist() == [rows[n - 1]["limit"]]
    assert found["scope"].tolist() == ["any"]


def test_of_equal_ones_the_lowest_holds_whatever_the_method() -> None:
    limits = _limits(
        {"limit": 2_000, "method": "sniffer"},
        {"limit": 500, "limit_unit": "ppb", "method": "drops"},
        {"limit": 1, "limit_unit": "vol %"},
        {"limit": 900},
    )
    found = limits_in_force(limits, _readings({}))
    assert found.table["limit"].tolist() == [900]
    assert found.table["limit_row"].tolist() == [3]
    assert found.table["as_written"].tolist() == ["900 ppmv"]


def test_a_limit_holds_from_its_first_day_to_its_last() -> None:
    limits = _limits(
        {"limit": 10_000, "valid_to": "2019-12-31"},
        {"limit": 1_000, "valid_from": "2020-01-01", "valid_to": "2023-12-31"},
        {"limit": 500, "valid_from": "2024-01-01"},
    )
    days = ["2019-12-31 18:00", "2020-01-01", "2023-12-31 23:59", "2024-01-01", "2030-06-01"]
    assert _held(limits, _readings(*({"date": d} for d in days))) == [
        10_000,
        1_000,
        1_000,
        500,
        500,
    ]


def test_each_kind_holds_beside_the_others() -> None:
    limits = _limits(
        {"kind": "statistical", "limit": 50}, {"kind": "house", "limit": 500}, {"limit": 1_000}
    )
    found = limits_in_force(limits, _readings({}, {"position_id": "P-102 DE"})).table
    assert found["kind"].tolist() == ["legal", "house", "statistical"] * 2
    assert found["reading"].tolist() == [0, 0, 0, 1, 1, 1]


def test_limits_that_cannot_be_held_against_a_reading_are_said() -> None:
    limits = _limits(
        {"limit": 10, "limit_unit": "g/h", "position_id": "P-101 DE"},
        {"limit": 1_000},
        {"limit": None},
        {"limit": 5, "position_id": "P-999"},
        {"citation": ""},
        {"limit": 7, "valid_to": "1999-01-01"},
    )
    readings = _readings({}, {"reading_unit": "mL/h"}, {"reading_unit": "mL/h", "density": 0.8})
    found = limits_in_force(limits, readings)
    assert found.table["limit"].tolist() == [1_000, 12.5]
    assert found.table["reading"].tolist() == [0, 2]
    assert "density of 0.8" in found.table["conversion"].iloc[1]
    said = found.messages.groupby("limit_row")["message"].apply(" | ".join).to_dict()
    assert "not a rate" in said[0]
    assert "density, which is not given" in said[0]
    assert "readings in ml/h" in said[1]
    assert "has no limit" in said[2]
    assert "meets no reading" in said[3]
    assert "without a citation" in said[4]
    assert 5 in said
    told = found.messages.set_index("limit_row").loc[1, "readings"]
    assert int(told) == 2


def test_no_limits_and_no_readings() -> None:
    none = exceedances(_limits(), _readings({}))
    assert len(none) == 0
    assert none.counts["no_limit"].tolist() == [1, 1, 1]
    assert len(exceedances(_limits({}), _readings().iloc[:0])) == 0


def test_over_cannot_tell_and_below() -> None:
    """At the limit is over; a scale that ends below it, or a coarse instrument, cannot tell."""
    bounds = [
        (1_000.0, 1_000.0, "over"),
        (999.9, 999.9, None),
        (500.0, np.inf, "cannot tell"),
        (1_000.0, np.inf, "over"),
        (0.0, 2_000.0, "cannot tell"),
        (0.0, 1_000.0, None),
    ]
    readings = _readings(
        *({"low": a, "high": b, "position_id": f"P-{i}"} for i, (a, b, _) in enumerate(bounds))
    )
    found = exceedances(_limits({}), readings)
    got = found.table.set_index("reading")["verdict"].to_dict()
    assert got == {i: word for i, (_, _, word) in enumerate(bounds) if word}
    legal = found.counts.set_index("kind").loc["legal"]
    assert legal.tolist() == [6, 2, 2, 2, 0]


def test_legal_first_then_house_newest_first() -> None:
    limits = _limits(
        {"kind": "statistical", "limit": 10},
        {"kind": "house", "limit": 100},
        {"kind": "legal", "limit": 1_000},
    )
    readings = _readings(
        {"date": "2020-01-01"},
        {"date": "2024-01-01", "low": 50, "high": 50},
        {"date": "2022-01-01"},
    )
    table = exceedances(limits, readings).table
    assert table["kind"].tolist() == ["legal"] * 2 + ["house"] * 2 + ["statistical"] * 3
    assert table["date"].dt.year.tolist() == [2022, 2020, 2022, 2020, 2024, 2022, 2020]


def test_open_until_below_or_renewed() -> None:
    over, fine = {"low": 2_000, "high": 2_000}, {"low": 5, "high": 5}
    rows = [
        {"life": "a", "date": "2024-01-01", **over},
        {"life": "a", "date": "2024-02-01", **fine},
        {"life": "b", "date": "2024-01-01", **fine},
        {"life": "b", "date": "2024-02-01", **over},
        {"life": "c", "date": "2024-01-01", "life_end": "2024-01-09", **over},
        {"life": "d", "date": "2024-01-01", **over},
        {"life": "d", "date": "2024-02-01", "low": 500, "high": np.inf},
        # a method that sees less does not close it; nor does a second, lower reading of a day
        {"life": "e", "date": "2024-01-01", **over},
        {"life": "e", "date": "2024-02-01", "method": "other", **fine},
        {"life": "f", "date": "2024-01-01", **over},
        {"life": "f", "date": "2024-01-01", **fine},
        {"life": None, "date": "2024-01-01", "position_id": "P-7", **over},
        {"life": None, "date": "2024-02-01", "position_id": "P-7", **fine},
    ]
    found = exceedances(_limits({}), _readings(*rows)).table.set_index("reading")["state"]
    assert found.sort_index().to_dict() == {
        0: "closed: below since",
        3: "open",
        4: "closed: renewed",
        5: "open",
        6: "open",
        7: "open",
        9: "open",
        11: "closed: below since",
    }


def test_the_list_carries_its_caution_and_no_filter() -> None:
    import inspect

    found = exceedances(_limits({}), _readings({}))
    assert found.note == ACT_NOW
    assert "acted on now" in ACT_NOW
    assert found.table["citation"].tolist() == ["a rule"]
    assert list(inspect.signature(exceedances).parameters) == ["limits", "readings", "drop_ml"]


@given(
    st.lists(
        st.tuples(
            st.integers(0, 3), st.integers(0, 700), st.floats(0, 5_000), st.sampled_from([0.0, 1e9])
        ),
        max_size=25,
    ),
    st.randoms(use_true_random=False),
)
def test_no_reading_over_is_left_out_and_order_makes_no_difference(
    rows: list[tuple[int, int, float, float]], random: Any
) -> None:
    day = pd.Timestamp("2022-01-01")
    readings = _readings(
        *(
            {
                "position_id": f"P-{p}",
                "date": day + pd.Timedelta(days=d),
                "low": v,
                "high": v + more,
            }
            for p, d, v, more in rows
        )
    ).iloc[: len(rows)]
    limits = _limits({}, {"kind": "house", "limit": 300, "position_id": "P-1"})
    found = exceedances(limits, readings)
    legal = set(found.table.loc[found.table["kind"] == "legal", "reading"])
    expected = {i for i, (_, _, v, more) in enumerate(rows) if v >= 1_000 or v < 1_000 < v + more}
    assert legal == expected
    counts = found.counts.set_index("kind")
    parts = counts[["over", "cannot_tell", "below"]].sum(axis=1)
    assert (parts == counts["readings"]).all()
    assert (counts["readings"] + counts["no_limit"] == len(rows)).all()
    mixed = list(range(len(rows)))
    random.shuffle(mixed)
    again = exceedances(limits, readings.loc[mixed])
    key = ["kind", "reading"]
    pd.testing.assert_frame_equal(
        again.table.sort_values(key, ignore_index=True),
        found.table.sort_values(key, ignore_index=True),
    )


@pytest.mark.parametrize(
    ("limit", "where"),
    [
        ({"kind": "habit"}, "limits.kind, row 0"),
        ({"limit": -1}, "limits.limit, row 0"),
        ({"limit": "many"}, "limits.limit, row 0"),
        ({"valid_from": "soon"}, "limits.valid_from"),
        ({"valid_from": "2024-01-01", "valid_to": "2023-01-01"}, "limits.valid_to, row 0"),
    ],
)
def test_bad_limits_say_where(limit: dict[str, Any], where: str) -> None:
    with pytest.raises(InputError) as caught:
        limits_in_force(_limits(limit), _readings({}))
    assert caught.value.where == where


def test_bad_readings_say_where() -> None:
    with pytest.raises(InputError, match="limits: has no column kind"):
        limits_in_force(_limits({}).drop(columns="kind"), _readings({}))
    with pytest.raises(InputError, match="readings: has no column low"):
        exceedances(_limits({}), _readings({}).drop(columns="low"))
    with pytest.raises(InputError, match=r"readings\.index"):
        limits_in_force(_limits({}), _readings({}, {}).set_axis([0, 0]))
    with pytest.raises(InputError, match=r"readings\.date"):
        limits_in_force(_limits({}), _readings({"date": "soon"}))
    for low, high in ((5.0, 1.0), (np.nan, 1.0)):
        with pytest.raises(InputError, match="low and high of reading 0"):
            exceedances(_limits({}), _readings({"low": low, "high": high}))
    for bad in ({"density": 0.0}, {"drop_ml": -1.0}):
        with pytest.raises(InputError, match="not above zero"):
            conversion("g/h", "mL/h", **bad)


def test_input_is_left_as_it_was() -> None:
    limits, readings = _limits({}, {"limit": None}), _readings({}, {"density": 0.8})
    before = limits.copy(), readings.copy()
    exceedances(limits, readings)
    pd.testing.assert_frame_equal(limits, before[0])
    pd.testing.assert_frame_equal(readings, before[1])
