"""The ladder of rises: over the limit first, intervals, next steps, nothing that says to wait."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from leakfigures import words

from seallife.figures.timetolimit import time_to_limit_figure
from seallife.leakage.forecast import TimeToLimit, time_to_limit

DAYS = np.array([0.0, 30, 61, 90, 121, 150, 182, 211, 225, 239])
RISING = np.array([10.0, 13, 9, 11, 10, 14, 9, 22, 41, 64])
FLAT = np.array([10.0, 13, 9, 11, 10, 14, 9, 12, 10, 8])
SEGMENTS = {
    "over": np.append(FLAT[:-1], 600.0),
    "was": np.append(FLAT[:-2], [600.0, 12.0]),
    "ok": RISING,
    "wide": np.append(FLAT[:-2], [30.0, 36.0]),
    "flat": FLAT,
}


@pytest.fixture(scope="module")
def forecast() -> TimeToLimit:
    labels = np.repeat(list(SEGMENTS), len(DAYS))
    values = np.concatenate(list(SEGMENTS.values()))
    found = time_to_limit(
        np.tile(DAYS, len(SEGMENTS)), values, values, 500.0, segment=labels, now=245.0, sigma=0.3
    )
    wanted = {"over": "over the limit now", "was": "was over the limit", "ok": "ok",
              "wide": "too wide to say", "flat": "not rising"}  # fmt: skip
    assert found.table.set_index("segment")["status"].to_dict() == wanted
    return found


def drawn(figure):
    return {t.name: t for t in figure.data}


def test_over_the_limit_stands_on_top_at_nought_and_says_act(forecast) -> None:
    figure = time_to_limit_figure(forecast)
    mark = drawn(figure)["over the limit now"]
    assert (list(mark.x), list(mark.y)) == ([0.0], [0])
    assert mark.marker.color == mark.marker.line.color == "#222222"
    steps = {a.y: a.text for a in figure.layout.annotations if a.x == 1}
    assert steps[0] == "<b>over the limit now: act</b>"
    assert list(drawn(figure)["was over the limit"].y) == [1]
    top, bottom = figure.layout.yaxis.range[::-1]
    assert top < 0 < bottom


def test_intervals_are_those_of_the_result(forecast) -> None:
    figure = time_to_limit_figure(forecast, names={"ok": "P-1 <b>"})
    marks = drawn(figure)
    rows = forecast.ranked()
    at = rows.index[rows["status"] == "ok"][0]
    row = rows.loc[at]
    assert list(marks["middle"].x) == [row["days"]]
    assert list(marks["middle"].y) == [at]
    bar = marks["earliest to latest"]
    k = list(bar.y).index(at)
    assert list(bar.x[k : k + 2]) == [row["days_low"], row["days_high"]]
    assert "P-1 &lt;b&gt;" in words(figure)
    assert "6 d ago" in words(figure)
    arrow = marks["latest beyond the page or not known"]
    wide = rows.index[rows["status"] == "too wide to say"][0]
    assert list(arrow.y) == [wide]
    assert arrow.x[0] <= figure.layout.xaxis.range[1]


def test_every_row_has_its_next_step(forecast) -> None:
    figure = time_to_limit_figure(forecast)
    said = words(figure).replace("<br>", " ")
    for step in forecast.ranked()["next_step"][2:]:
        assert step in said
    assert "Not drawn: 1 not rising." in said
    assert "leak at once" in said
    assert not any(word in said.lower() for word in ("wait", "safe", "until", "remaining"))


def test_rows_not_drawn_are_counted_with_those_over_the_limit(forecast) -> None:
    rows = forecast.ranked()
    many = pd.concat([rows.head(1)] * 40 + [rows.tail(1)] * 5, ignore_index=True)
    many["rank"] = np.arange(1.0, 46.0)
    figure = time_to_limit_figure(replace(forecast, table=many))
    assert "and 20 more, 15 of them over the limit, or perhaps over it: act" in words(figure)
    assert len(drawn(figure)["over the limit now"].x) == 25
    assert figure.layout.height < 1_100


def test_what_lies_years_ahead_is_cut_with_an_arrow(forecast) -> None:
    rows = forecast.ranked().query("status == 'ok'")
    far = rows.assign(days_low=300.0, days=500.0, days_high=900.0)
    figure = time_to_limit_figure(replace(forecast, table=far))
    assert figure.layout.xaxis.range[1] == 366
    assert "middle" not in drawn(figure)
    assert list(drawn(figure)["latest beyond the page or not known"].y) == [0]
    farther = replace(forecast, table=rows.assign(days_low=500.0, days=600.0, days_high=900.0))
    bar = drawn(time_to_limit_figure(farther))["earliest to latest"]
    assert bar.x[0] <= bar.x[1] <= 366


def test_one_row_and_none(forecast) -> None:
    one = replace(forecast, table=forecast.ranked().head(1))
    assert len(time_to_limit_figure(one).data) == 1
    flat = replace(forecast, table=forecast.table.query("status == 'not rising'"))
    said = words(time_to_limit_figure(flat))
    assert "No segment is over a limit" in said
    assert "1 not rising" in said
    assert "Many failures show nothing before." in said
    empty = replace(forecast, table=forecast.table.head(0))
    assert "No segment is over a limit" in words(time_to_limit_figure(empty))
