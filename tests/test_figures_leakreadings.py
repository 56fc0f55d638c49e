"""Readings at each seal: marks of their kind, limits, changes of the seal, rises."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from leakfigures import NONE, read, reading, words

from seallife.errors import InputError
from seallife.figures.leakreadings import readings_figure
from seallife.figures.style import GREY
from seallife.leakage.forecast import TimeToLimit, time_to_limit
from seallife.leakage.limits import limits_in_force

ROWS = [
    reading("A", "2023-01-05", 10.0, life="a1", to_end=30.0),
    reading("A", "2023-03-05", 0.0, 5.0, life="a2", segment=1),
    reading("A", "2023-04-05", 9_000.0, np.inf, life="a2", segment=1),
    reading("A", "2023-05-05", 20.0, 2e5, life="a2", segment=1, doubt="unit in doubt"),
    reading("A", "2023-06-05", 2.0, life="a2", kind="word", measured_in="word", quantity="word"),
    reading("B<i>", "2023-01-05", 30.0, segment=2),
    reading("B<i>", "2023-02-05", 40.0, segment=2),
]
LIMITS = pd.DataFrame(
    [("A", "legal", 500.0), ("A", "house", 100.0), ("B<i>", "legal", 400.0)],
    columns=["position_id", "kind", "limit"],
)


def rise(limit: float = 500.0, last: float = 64.0) -> tuple[list[dict], TimeToLimit]:
    days = [0, 30, 61, 90, 121, 150, 182, 211, 225, 239]
    ppm = [10, 13, 9, 11, 10, 14, 9, 22, 41, last]
    dates = [pd.Timestamp("2023-01-01") + pd.Timedelta(days=d) for d in days]
    rows = [
        reading("R", str(d.date()), float(v), segment=7) for d, v in zip(dates, ppm, strict=True)
    ]
    table = read(rows).table
    return rows, time_to_limit(
        table["day"], table["low"], table["high"], limit, segment=table["segment"], sigma=0.3
    )


def panel(figure, axis: str) -> dict:
    return {t.name: t for t in figure.data if t.xaxis == axis}


def test_each_reading_is_a_mark_of_its_kind() -> None:
    figure = readings_figure(read(ROWS), ["A", "B<i>"])
    marks = panel(figure, "x")
    assert (list(marks["read"].x), list(marks["read"].y)) == (["2023-01-05"], [10.0])
    assert marks["below detection"].marker.symbol == "triangle-down"
    assert marks["below detection"].marker.color == "white"
    assert list(marks["below detection"].y) == [5.0]
    assert marks["off the scale"].marker.symbol == "triangle-up"
    assert list(marks["off the scale"].y) == [9_000.0]
    assert marks["in doubt"].marker.line.color == GREY
    crosses = [y for t in figure.data if t.name == "in doubt" for y in t.y]
    assert crosses == [20.0, 2e5]
    assert list(panel(figure, "x2")["read"].y) == [30.0, 40.0]


def test_panels_of_one_unit_have_one_range_that_no_doubt_stretches() -> None:
    rows = [*ROWS, reading("D", "2023-02-01", 3.0, quantity="drops", measured_in="drops/min")]
    layout = readings_figure(read(rows), ["A", "B<i>", "D"], limits=LIMITS).layout
    assert layout.yaxis.range == layout.yaxis2.range
    assert layout.yaxis3.range != layout.yaxis.range
    assert np.log10(9_000) < layout.yaxis.range[1] < np.log10(1e5)
    assert layout.xaxis.range == layout.xaxis3.range
    assert layout.yaxis3.title.text.startswith("drops/min")


def test_heads_count_and_changes_of_seal_are_lines() -> None:
    figure = readings_figure(read(ROWS), ["A", "B<i>"])
    assert "<b>A</b> HC<br>5 readings, 1 below detection, 1 not drawn" in words(figure)
    assert "<b>B&lt;i&gt;</b>" in words(figure)
    assert [(s.x0, s.xref) for s in figure.layout.shapes] == [("2023-02-04", "x")]
    later = readings_figure(read(ROWS), ["A"], since="2023-03-01")
    assert "4 readings" in words(later)
    assert "since 01 Mar 2023" in words(later)


def test_limits_are_lines_labelled_where_they_stand() -> None:
    figure = readings_figure(read(ROWS), ["A", "B<i>"], limits=LIMITS)
    first = panel(figure, "x")
    assert set(first["legal limit"].y) == {500.0}
    assert first["legal limit"].line.dash == "solid"
    assert first["house limit"].line.dash == "dash"
    assert {"legal 500", "house 100", "legal 400"} <= {a.text for a in figure.layout.annotations}
    assert "house limit" not in panel(figure, "x2")
    with pytest.raises(InputError, match="no column limit"):
        readings_figure(read(ROWS), ["A"], limits=LIMITS.drop(columns="limit"))


def test_limits_in_force_have_a_step_where_they_changed() -> None:
    table = read(ROWS).table.assign(site="", unit="", method="sniffer")
    blank = dict.fromkeys(["site", "unit", "service_class", "position_id", "method"], "")
    given = pd.DataFrame(
        [
            blank | {"limit": v, "limit_unit": "ppmv", "kind": "legal", "citation": "c",
                     "valid_from": begin, "valid_to": end}
            for v, begin, end in ((1_000.0, "", "2023-03-31"), (500.0, "2023-04-01", ""))
        ]
    )  # fmt: skip
    rows = table[table["measured_in"] == "ppmv"].rename(columns={"measured_in": "reading_unit"})
    figure = readings_figure(read(ROWS), ["A"], limits=limits_in_force(given, rows))
    limit = panel(figure, "x")["legal limit"]
    assert list(limit.y) == [1_000.0, 500.0, 500.0]
    assert list(limit.x)[:2] == ["2023-01-05", "2023-04-05"]


def test_a_rise_is_drawn_as_fitted_with_its_dates_at_the_limit() -> None:
    rows, found = rise()
    row = found.table.iloc[0]
    assert row["status"] == "ok"
    figure = readings_figure(read(rows), ["R"], rising=found)
    marks = panel(figure, "x")
    begin, bend, last = (pd.Timestamp(d) for d in marks["fitted level"].x)
    assert begin < bend < last
    assert last == rows[-1]["date"]
    np.testing.assert_allclose(marks["fitted level"].y[:2], row["baseline"], rtol=0.05)
    assert marks["fitted level"].y[2] == pytest.approx(row["level_now"])
    assert marks["foretold"].y[-1] == row["limit"]
    bar = marks["dates at the limit"]
    assert list(bar.y) == [500.0, 500.0]
    days = [(pd.Timestamp(d) - last).days for d in bar.x]
    np.testing.assert_allclose(days, [row["days_low"], row["days_high"]], atol=1)
    assert pd.Timestamp(figure.layout.xaxis.range[1]) > pd.Timestamp(bar.x[1])
    assert row["next_step"] in words(figure)
    assert "leak at once" in words(figure)


def test_over_the_limit_is_said_first_and_nothing_foretold() -> None:
    rows, found = rise(limit=50.0)
    figure = readings_figure(read(rows), ["R"], rising=found)
    assert "<b>over the limit now: act</b>" in words(figure)
    assert "dates at the limit" not in panel(figure, "x")
    quiet = readings_figure(read(ROWS), ["A"], rising=found)
    assert "fitted level" not in panel(quiet, "x")


def test_one_none_and_many() -> None:
    assert "no seal position" in words(readings_figure(read(ROWS), []))
    assert "no reading" in words(readings_figure(read(NONE), ["A"]))
    both = readings_figure(read(ROWS), ["A", "Z"])
    assert "no reading that can be drawn" in words(both)
    one = readings_figure(read(ROWS), "A")
    assert one.layout.xaxis.domain == (0, 1)
    rows = [reading(f"P{i}", "2023-01-05", 3.0 + i) for i in range(15)]
    many = readings_figure(read(rows), [f"P{i}" for i in range(15)])
    assert "xaxis12" in many.layout.to_plotly_json()
    assert "xaxis13" not in many.layout.to_plotly_json()
    assert "and 3 more positions" in words(many)
    with pytest.raises(InputError, match="since"):
        readings_figure(read(ROWS), ["A"], since="soon")
