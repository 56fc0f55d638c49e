"""Shelf lives: the periods as published, then every status once."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from storepaths import paths_of

from seallife.errors import InputError
from seallife.spares.shelf import ASSEMBLED, shelf_group, shelf_life

NOW = pd.Timestamp("2025-12-31")


def _items(**columns: object) -> pd.DataFrame:
    usual = {"elastomer": "FKM", "cure_date": pd.Timestamp("2020-04-01"), "on_hand": 2.0}
    return pd.DataFrame({"pool": ["a"]} | {k: [v] for k, v in (usual | columns).items()})


def _row(paths: object = None, **columns: object) -> pd.Series:
    return shelf_life(_items(**columns), NOW, paths=paths)["a"]


@pytest.mark.parametrize(
    ("materials", "group", "first", "extended"),
    [
        ("NR IR BR SBR AU EU", "A", "2025-04-01", "2027-04-01"),
        ("ACM ECO CR HNBR IIR NBR", "B", "2027-04-01", "2030-04-01"),
        ("CSM EPDM FKM FFKM VMQ FVMQ", "C", "2030-04-01", "2035-04-01"),
    ],
)
def test_periods_of_the_standard(materials: str, group: str, first: str, extended: str) -> None:
    """ISO 2230:2002 as restated by makers: 5 + 2, 7 + 3 and 10 + 5 years from the cure date."""
    for name in materials.split():
        row = _row(elastomer=name)
        assert (row["group"], str(row["limit_date"].date())) == (group, first)
        assert str(row["extended_date"].date()) == extended


def test_materials_as_people_write_them() -> None:
    written = {
        "fkm": "C",
        "EPDM (peroxide)": "C",
        "Nitrile rubber": "B",
        "FFKM / NBR": "B",
        "PTFE wedge, FKM": "C",
        "graphite": "ageless",
        "O-ring": "",
        "FKMX": "",
    }
    assert {text: shelf_group(text) for text in written} == written


def test_each_status() -> None:
    runs = 10
    lane = np.repeat(np.arange(runs), 2)
    day = np.tile([50.0, 300.0], runs)
    paths = paths_of(lane, day, 1, runs, 1_000.0)
    paths = type(paths)(**{**paths.__dict__, "pools": pd.Index(["a"])})
    old = {"cure_date": pd.Timestamp("2016-07-01")}  # over on 2026-07-01, in 182 d
    cases = [
        ({"elastomer": ""}, "elastomer not given"),
        ({"elastomer": "special"}, "elastomer not in the table"),
        ({"elastomer": "graphite"}, "does not age"),
        ({"cure_date": pd.NaT}, "cure date not given"),
        ({"on_hand": 0.0}, "none in the store"),
        ({"cure_date": pd.Timestamp("2014-01-01")}, "over its first limit"),
        ({"cure_date": pd.Timestamp("2014-01-01"), "inspected": True}, "ok"),
        ({"cure_date": pd.Timestamp("2010-01-01")}, "expired"),
        (old | {"lead_time_d": 200.0}, "expires before a new one could arrive"),
        (old | {"lead_time_d": 90.0}, "expires before expected use"),
        (old | {"lead_time_d": 90.0, "on_hand": 1.0}, "ok"),
        ({}, "ok"),
        ({"shelf_years": 5.0}, "expired"),
        ({"elastomer": "", "shelf_years": 8.0}, "ok"),
    ]
    for columns, status in cases:
        row = _row(paths, **columns)
        assert row["status"] == status, columns
        assert bool(row["message"]) or status in ("ok", "none in the store", "does not age")
    assert _row(paths, **old)["used_before"] == 0
    assert _row(paths, **old, on_hand=1.0)["used_before"] == 1
    assert np.isnan(_row(paths)["used_before"])  # beyond what is foreseen
    assert _row(None, **old)["status"] == "ok"
    assert _row(paths, **old)["message"] == (
        "Over on 2026-07-01; by then the stock is used up in 0% of futures."
    )


def test_assembled_cartridges_carry_a_caution() -> None:
    assert _row()["caution"] == ASSEMBLED
    assert _row(assembled=True)["caution"] == ASSEMBLED
    assert _row(assembled=False)["caution"] == ""


@given(
    cured=st.dates(pd.Timestamp("1990-01-01").date(), pd.Timestamp("2030-12-31").date()),
    years=st.integers(1, 30),
)
def test_a_limit_is_the_same_day_years_later(cured: object, years: int) -> None:
    day = pd.Timestamp(cured)
    got = _row(cure_date=day, shelf_years=float(years))["limit_date"]
    want = pd.Timestamp(day.year + years, day.month, 1) + pd.Timedelta(days=day.day - 1)
    assert got == want


def test_many_items_and_bad_input() -> None:
    table = pd.concat([_items(), _items(elastomer=None).assign(pool="b")])
    before = table.copy(deep=True)
    got = shelf_life(table, NOW)
    assert got.table["pool"].tolist() == ["a", "b"]
    assert got.table["status"].tolist() == ["ok", "elastomer not given"]
    pd.testing.assert_frame_equal(table, before)
    with pytest.raises(InputError, match="no column cure_date"):
        shelf_life(table.drop(columns="cure_date"), NOW)
    with pytest.raises(InputError, match="shelf_years"):
        shelf_life(_items(shelf_years=0.0), NOW)
