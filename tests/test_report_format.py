"""Numbers are written for readers: intervals, words for what is not there, never nan or inf."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife.report.format import (
    cell,
    count,
    date_text,
    interval,
    level_text,
    number,
    share,
    share_interval,
    share_of,
    years_from_days,
    years_from_hours,
)

NAN, INF = float("nan"), float("inf")


@pytest.mark.parametrize(
    ("values", "text"),
    [
        ((5.0, 3.8, 6.7, "y"), "5.0 (3.8–6.7) y"),
        ((5.0, 2.2, 14.6, "y"), "5.0 (2.2–14.6) y"),
        ((0.456, 0.31, 0.66, ""), "0.46 (0.31–0.66)"),
        ((1234.0, 900.0, 1600.0, "h"), "1,234 (900–1,600) h"),
        ((5.0, 3.8, INF, "y"), "5.0 (3.8 – no upper limit) y"),
        ((5.0, NAN, 6.7, "y"), "5.0 (no lower limit – 6.7) y"),
        ((NAN, 8.01, INF, "y"), "more than 8.0 y"),
        ((NAN, NAN, NAN, "y"), "cannot tell"),
        ((5.0, NAN, NAN, "y"), "5.0 y (limits: cannot tell)"),
        ((50.0, 0.3, 900.0, "y"), "50 (0.30–900) y"),
    ],
)
def test_interval(values: tuple[float, float, float, str], text: str) -> None:
    assert interval(*values) == text


numbers = st.one_of(st.floats(), st.just(NAN), st.just(INF), st.just(-INF))


shares = st.one_of(st.floats(0, 1), st.just(NAN), st.just(INF), st.just(-INF))


@given(numbers, numbers, numbers, shares, shares)
def test_nothing_ever_reads_nan_or_inf(
    value: float, low: float, high: float, part: float, limit: float
) -> None:
    texts = [interval(value, low, high, "y"), number(value), cell(value)]
    texts += [share(part), share_interval(part, limit, part)]
    for text in texts:
        assert "nan" not in text
        assert "inf" not in text


def test_counts_and_shares() -> None:
    assert [count(n, "failure") for n in (0, 1, 2_000)] == [
        "no failures",
        "1 failure",
        "2,000 failures",
    ]
    assert count(2, "life", "lives") == "2 lives"
    assert share_of(7, 1247, "removals") == "7 of 1,247 removals (under 1 %)"
    assert [share(v) for v in (0.0, 0.004, 0.5, 0.996, 1.0)] == [
        "0 %",
        "under 1 %",
        "50 %",
        "over 99 %",
        "100 %",
    ]
    assert share_interval(0.0, 0.0, 0.06) == "0 % (0–6)"
    assert share_interval(0.004, 0.001, 0.02) == "0.4 % (0.1–2.0)"


def test_years_are_8766_hours() -> None:
    assert years_from_hours(8766) == 1
    assert years_from_days(365.25) == 1


def test_cells() -> None:
    assert cell(None) == cell(pd.NaT) == cell(NAN) == "–"
    assert cell(np.int64(1200)) == "1,200"
    assert (cell(True), cell(np.bool_(False))) == ("yes", "no")
    assert cell(dt.date(2025, 12, 31)) == "31 Dec 2025"
    assert cell(("a", 1)) == "('a', 1)"


def test_dates_and_levels() -> None:
    assert date_text(dt.date(2026, 1, 5)) == "5 Jan 2026"
    assert level_text(0.9) == "90 %"
    assert level_text(0.995) == "99.5 %"
