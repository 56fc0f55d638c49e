"""The store as a picture: need against stock, what is due, service and cost by level."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from leakfigures import words
from storepaths import steady_paths

from seallife.errors import InputError
from seallife.figures.stockcurve import stock_curve_figure
from seallife.figures.stockroom import stock_figure
from seallife.spares.advice import OrderAdvice, order_advice
from seallife.spares.stocklevels import PATH_MEASURES, LevelChoices, choose_levels

PATHS = steady_paths([6.0, 2.0, 0.5, 3.0, 1.0], 300)
STORES = pd.DataFrame(
    {
        "pool": [f"item {i}" for i in range(5)],
        "on_hand": [1.0, 1.0, 3.0, np.nan, 2.0],
        "on_order": [1.0, 0.0, 0.0, 0.0, 1.0],
        "stock_low": [2.0, 1.0, 2.0, 2.0, 2.0],
        "stock_high": [3.0, 2.0, 3.0, 3.0, 3.0],
        "unit_cost": [1_000.0, 1_000.0, np.nan, 500.0, 800.0],
        "lead_time_d": [120.0, 120.0, 120.0, 120.0, np.nan],
        "repairable": False,
        "repair_time_d": np.nan,
        "reject_share": np.nan,
    }
)


@pytest.fixture(scope="module")
def advice() -> OrderAdvice:
    found = order_advice(PATHS, STORES)
    actions = ["order now", "order now", "enough", "cannot tell yet", "cannot tell yet"]
    assert found.table["action"].tolist() == actions
    return found


@pytest.fixture(scope="module")
def levels() -> LevelChoices:
    return choose_levels(PATHS, STORES, shortage_cost_per_day=20.0)


def drawn(figure, axis: str = "x"):
    return {t.name: t for t in figure.data if (t.xaxis or "x") == axis}


def test_need_and_stock_are_those_of_the_advice_and_orders_due_stand_on_top(advice) -> None:
    figure = stock_figure(advice)
    rows = advice.table.set_index("pool").loc[list(figure.layout.yaxis.ticktext)]
    rank = rows["action"].map({"order now": 0, "order later": 1, "enough": 2})
    assert rank.is_monotonic_increasing
    marks = drawn(figure)
    assert list(marks["on hand"].x) == rows["on_hand"].tolist()
    assert list(marks["level asked"].x) == rows["level"].tolist()
    assert list(marks["middle need"].x) == rows["need"].tolist()
    np.testing.assert_allclose(marks["need"].x[0::3], np.maximum(rows["need_low"] - 0.4, 0))
    np.testing.assert_allclose(marks["need"].x[1::3], rows["need_high"] + 0.4)
    coming = rows[rows["on_order"] > 0]
    both = (coming["on_hand"] + coming["on_order"]).tolist()
    assert list(marks["with what is on order"].x) == both
    assert marks["on hand"].marker.color != marks["with what is on order"].marker.color == "white"
    first = rows.iloc[0]
    said = words(figure)
    assert f"<b>order {first['order']:.0f} now</b>" in said
    assert f"{first['no_shortage_before']:.0%}" in said
    assert "range at 80%" in said
    assert "95% of futures" in said
    assert first["why"] in marks["on hand"].customdata[0]


def test_pools_of_which_nothing_can_be_told_are_counted(advice) -> None:
    said = words(stock_figure(advice))
    assert "Cannot tell yet, and not drawn: " in said
    untold = advice.table[advice.table["action"] == "cannot tell yet"]
    for status in untold["status"]:
        assert f"1 {status}" in said
    none = replace(advice, table=untold)
    assert "No stock can be judged." in words(stock_figure(none))
    assert "No stock can be judged." in words(stock_figure(replace(advice, table=untold.head(0))))


def test_orders_beyond_the_page_are_never_left_without_a_word(advice) -> None:
    due = advice.table[advice.table["action"] == "order now"]
    many = pd.concat([due.head(1)] * 9, ignore_index=True)
    figure = stock_figure(replace(advice, table=many), most=4)
    assert len(figure.layout.yaxis.ticktext) == 4
    assert "… and 5 pools more, 5 of them to be ordered now" in words(figure)
    alt = figure.layout.meta["alt"]
    assert "9 order now" in alt


def test_one_row_and_hostile_names(advice) -> None:
    one = advice.table.head(1).assign(pool="<b>M & 1", why="<script>")
    figure = stock_figure(replace(advice, table=one))
    assert list(figure.layout.yaxis.ticktext) == ["&lt;b&gt;M &amp; 1"]
    assert not any("<script" in c for t in figure.data if t.customdata for c in t.customdata)


def test_service_and_cost_are_those_of_the_curve(levels) -> None:
    figure = stock_curve_figure(levels, "item 0", currency="crowns")
    curve = levels.curve[levels.curve["pool"] == "item 0"]
    row = levels.table.iloc[0]
    left, right = drawn(figure), drawn(figure, "x2")
    assert list(left["levels"].x) == curve["stock"].tolist()
    np.testing.assert_allclose(left["levels"].y, curve["months_without_shortage"], atol=1e-5)
    np.testing.assert_allclose(right["costs"].y, curve["cost_per_year"], atol=0.01)
    np.testing.assert_allclose(right["waiting"].y, curve["shortage_per_year"], atol=0.01)
    assert list(left["chosen"].x) == list(right["chosen2"].x) == [row["stock"]]
    assert list(left["cheapest"].x) == list(right["cheapest2"].x) == [row["cheapest"]]
    assert list(left["asked"].y) == [0.95, 0.95]
    assert left["in use"].x[0] == row["stock_now"]
    assert "crowns" in figure.layout.yaxis2.title.text
    assert {right["on the shelf"].line.dash, right["waiting"].line.dash} == {"dash", "dot"}
    above = sum(a.text == "▲" for a in figure.layout.annotations)
    assert above == (curve["cost_per_year"] > figure.layout.yaxis2.range[1]).sum()
    assert figure.layout.yaxis2.range[1] > row["cheapest_cost"]


@pytest.mark.parametrize("measure", PATH_MEASURES)
def test_the_measure_asked_is_the_one_drawn(measure: str) -> None:
    levels = choose_levels(PATHS, STORES, measure=measure)
    figure = stock_curve_figure(levels, "item 1")
    assert measure in figure.layout.yaxis.title.text.replace("<br>", " ")
    chosen = drawn(figure)["chosen"]
    assert chosen.y[0] >= 0.95


def test_without_a_cost_there_is_one_panel_and_the_reason(levels) -> None:
    figure = stock_curve_figure(levels, "item 2")
    assert not drawn(figure, "x2")
    assert "No yearly cost: The price is not known" in words(figure)
    assert "cheapest" not in drawn(figure)
    silent = stock_curve_figure(levels, "item 4")
    assert not silent.data
    assert "item 4" in words(silent)
    with pytest.raises(InputError, match="pool: there is no 'item 9'; known here: item 0"):
        stock_curve_figure(levels, "item 9")


@pytest.mark.parametrize("daily", [0.0, 20.0])
def test_where_the_shelf_costs_nothing_the_axis_still_holds_the_costs(daily: float) -> None:
    free = choose_levels(PATHS, STORES, holding_share=0.0, shortage_cost_per_day=daily)
    figure = stock_curve_figure(free, "item 0")
    assert figure.layout.yaxis2.range[1] > max(drawn(figure, "x2")["costs"].y)
    assert "▲" not in words(figure)


def test_markup_in_the_name_of_a_pool_is_text(levels) -> None:
    evil = "<b>x"
    table, curve = (
        t[t["pool"] == "item 0"].assign(pool=evil) for t in (levels.table, levels.curve)
    )
    figure = stock_curve_figure(replace(levels, table=table, curve=curve), evil, currency="<i>")
    assert "<b>&lt;b&gt;x</b>" in words(figure)
    assert "<i>" not in figure.layout.yaxis2.title.text
