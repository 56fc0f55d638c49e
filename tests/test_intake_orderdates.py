"""Dates of orders: known to the month, in the future, years apart."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from seallife.intake.orderdates import order_dates

_DATES = ("date_raised", "malfunction_start", "work_start", "work_end", "closed")


def _orders(rows: list[dict[str, str]]) -> pd.DataFrame:
    table = pd.DataFrame({c: pd.to_datetime([r.get(c) for r in rows]) for c in _DATES})
    return table.assign(record_id=[f"work_orders:a.csv:{i + 2}" for i in range(len(rows))])


def _checks(found: list[pd.DataFrame]) -> dict[str, int]:
    return pd.concat(found)["check"].value_counts().to_dict()


def test_too_many_dates_on_the_first_are_known_to_the_month() -> None:
    rng = np.random.default_rng(3)
    days = [f"2019-{m:02d}-{d:02d}" for m, d in rng.integers((1, 2), (13, 29), (60, 2))]
    rows = [{"work_start": d, "work_end": d} for d in days]
    rows += [
        {"work_start": f"2018-{m:02d}-01", "work_end": f"2018-{m:02d}-01"} for m in range(1, 13)
    ]
    rows += [{"work_start": "2018-02-01", "work_end": "2018-02-04"}]
    rows += [{"work_start": "2018-02-01", "closed": "2018-02-11"}]
    dates, found = order_dates(_orders(rows), None)
    monthly = dates[dates["date_kind"] == "month only"]
    assert monthly.index.tolist() == [*range(60, 72), 73]
    assert dates.loc[61, ["end_low", "end"]].tolist() == [
        pd.Timestamp("2018-02-01"),
        pd.Timestamp("2018-02-28"),
    ]
    assert dates.loc[73, "end"] == pd.Timestamp("2018-02-11")  # closed after the work
    assert _checks(found) == {"only the month": 13}


def test_a_few_dates_on_the_first_are_chance() -> None:
    rows = [{"work_start": f"2018-03-{d:02d}"} for d in range(1, 29)] + [
        {"work_start": "2018-05-01"}
    ]
    dates, found = order_dates(_orders(rows), None)
    assert dates["end_low"].isna().all()
    assert _checks(found) == {}


def test_dates_that_cannot_be_are_left_out_and_said() -> None:
    rows = [
        {"work_start": "2020-05-05", "work_end": "2031-05-09"},
        {"work_start": "2020-05-05", "work_end": "2019-05-09"},
        {"work_start": "2020-05-05", "work_end": "2026-01-09"},
    ]
    dates, found = order_dates(_orders(rows), dt.date(2025, 12, 31))
    assert dates["back"].dt.strftime("%Y-%m-%d").tolist() == [
        "2020-05-05",
        "2020-05-05",
        "2026-01-09",
    ]
    assert _checks(found) == {"date in the future": 1, "end before start": 1}
