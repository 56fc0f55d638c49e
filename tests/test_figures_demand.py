"""Seals needed: bars and whiskers are those of the forecast, the record beside, groups in order."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from leakfigures import words
from sparesets import NOW, ahead_of, weibull_draws

from seallife.errors import InputError
from seallife.figures.demand import demand_figure
from seallife.figures.demandyears import demand_years_figure
from seallife.figures.rows import short_count, spans
from seallife.spares.demand import Demand, forecast_demand

EVIL = "<b>M2 & Co"


@pytest.fixture(scope="module")
def demand() -> Demand:
    laws = weibull_draws([2.5, 1.0], [900.0, 1500.0], draws=4, spread=0.1)
    place, age = [0] * 30 + [1] * 20, [300.0] * 30 + [10.0] * 20
    pool = ["M1"] * 30 + [EVIL] * 15 + ["M3"] * 5
    ahead = ahead_of(laws, place, age, planned=0.0002, pool=pool, outage=(200.0, 0.3))
    return forecast_demand(ahead, months=24)


def drawn(figure):
    return {t.name: t for t in figure.data}


def test_bars_and_whiskers_are_the_months_of_the_forecast(demand) -> None:
    ahead = demand.by_month("pool", "M1")
    figure = demand_figure(demand, "pool", "M1")
    marks = drawn(figure)
    for name, column in (("failed", "failed"), ("planned with other work", "planned")):
        np.testing.assert_allclose(marks[name].y, ahead[column], atol=1e-4)
    outage = [v for v in marks["planned in outage"].y if v is not None]
    np.testing.assert_allclose(outage, [ahead["outage"].max()], atol=1e-4)
    whiskers = marks["range of the count"]
    assert list(whiskers.y[0::3]) == ahead["low"].tolist()
    assert list(whiskers.y[1::3]) == ahead["high"].tolist()
    assert figure.layout.barmode == "stack"
    assert figure.layout.yaxis.range[1] > ahead["high"].max()
    assert "on record" not in marks
    assert not figure.layout.shapes
    assert "at 90%" in words(figure)


def test_the_constant_rate_is_that_of_the_table(demand) -> None:
    figure = demand_figure(demand)
    row = demand.table.query("by == 'all' and months == 24").iloc[0]
    rate = drawn(figure)["constant rate"]
    assert rate.y[0] == rate.y[1] == pytest.approx(row["constant_rate"] / 24)
    assert f"rate: {short_count(rate.y[0])}" in words(figure)
    assert rate.line.dash == "dash"


def test_the_last_whole_months_on_record_stand_before_today(demand) -> None:
    months = pd.date_range("2022-06-01", "2026-03-01", freq="MS")
    past = pd.DataFrame({"month": months, "needed": np.arange(len(months), dtype=float)})
    figure = demand_figure(demand, past=past.sample(frac=1, random_state=1))
    bars = drawn(figure)["on record"]
    whole = past[past["month"] < NOW].tail(36)
    assert list(bars.y) == whole["needed"].tolist()
    assert pd.Timestamp(bars.x[-1]) < NOW
    assert figure.layout.xaxis.range[0] == "2023-01-01"
    assert figure.layout.shapes[0].x0 == "2026-01-01"
    assert "today, 1 Jan 2026" in words(figure)
    assert "36 months on record" in figure.layout.meta["alt"]
    with pytest.raises(InputError, match="past: has no column needed"):
        demand_figure(demand, past=past.drop(columns="needed"))
    none = demand_figure(demand, past=past.head(0))
    assert "on record" not in drawn(none)


def test_kinds_differ_without_colour(demand) -> None:
    marks = drawn(demand_figure(demand))
    assert marks["planned in outage"].marker.pattern.shape == "/"
    assert marks["failed"].marker.color != marks["planned with other work"].marker.color


def test_one_month_of_one_seal_and_no_group(demand) -> None:
    one = forecast_demand(ahead_of(weibull_draws([1.0], [1e7]), [0], [1.0]), months=1)
    figure = demand_figure(one)
    assert "failed" not in drawn(figure)
    assert figure.layout.yaxis.range[1] >= 1
    assert "No seal is expected" not in words(demand_years_figure(one))
    with pytest.raises(InputError, match="group: there is no 'M9'; known: "):
        demand_figure(demand, "pool", "M9")
    with pytest.raises(InputError, match="by: is 'colour'; known here: all"):
        demand_figure(demand, "colour", "M9")


def test_groups_stand_in_order_of_their_need(demand) -> None:
    figure = demand_years_figure(demand)
    rows = demand.table.query("by == 'pool' and months == 12")
    rows = rows.sort_values("need", ascending=False)
    marks = drawn(figure)
    np.testing.assert_allclose(marks["needed"].x, rows["need"], atol=1e-4)
    np.testing.assert_allclose(marks["constant rate"].x, rows["constant_rate"], atol=1e-4)
    np.testing.assert_allclose(marks["range"].x[1::3], rows["high"] + 0.4)
    np.testing.assert_allclose(marks["range"].x[0::3], np.maximum(rows["low"] - 0.4, 0))
    assert "&lt;b&gt;M2 &amp; Co" in figure.layout.yaxis.ticktext
    assert "seals needed in 12 months" in figure.layout.xaxis.title.text
    assert f"{EVIL}: " in figure.layout.meta["alt"]
    texts = [a.text for a in figure.layout.annotations]
    assert [t for t in texts if t in ("30", "15", "5")] == ["30", "15", "5"]


def test_what_is_not_drawn_is_counted(demand) -> None:
    figure = demand_years_figure(demand, months=24, most=1)
    rest = demand.table.query("by == 'pool' and months == 24").sort_values("need")["need"][:-1]
    assert f"… and 2 more, which need {short_count(rest.sum())} together" in words(figure)
    with pytest.raises(InputError, match="months: are 7; known here: 3, 12, 24"):
        demand_years_figure(demand, months=7)
    with pytest.raises(InputError, match="by: is 'colour'"):
        demand_years_figure(demand, "colour")


def test_bars_want_both_limits() -> None:
    assert spans([0, np.nan, 2], [1, 1, np.inf], [5, 6, 7]) == ([0, 1, None], [5, 5, None])
