"""The pooling figure shows both tables, joins them, and says what each class borrowed."""

from __future__ import annotations

import numpy as np
import pytest

from seallife import life
from seallife.errors import InputError
from seallife.figures.pooling import pooling_figure


def pooled(level: float = 0.9) -> life.PooledWeibull:
    rng = np.random.default_rng(3)
    sizes = {"CORR": 4, "HOT": 40, "OIL": 8, "<b>SOUR": 90}
    group = np.repeat(list(sizes), list(sizes.values()))
    age = 1000 * rng.weibull(1.5, len(group))
    end = np.where(group == "OIL", 0.3 * age, rng.uniform(300, 2500, len(group)))
    return life.pool_weibull(np.minimum(age, end), age <= end, group=group, level=level)


@pytest.fixture(scope="module")
def result() -> life.PooledWeibull:
    return pooled()


@pytest.mark.parametrize("quantity", ["b10", "shape"])
def test_points_bars_and_joins_are_the_tables(result, quantity):
    by = 10.0 if quantity == "b10" else 1.0
    figure = pooling_figure(result, quantity, divide_by=10.0, unit="dozen hours")
    drawn = {t.name: t for t in figure.data}
    low, high = 10 ** np.array(figure.layout.xaxis.range)
    table, alone = result.table, result.alone
    np.testing.assert_allclose(drawn["pooled"].x, table[quantity] / by)
    np.testing.assert_allclose(drawn["pooled interval"].x[0::3], table[f"{quantity}_low"] / by)
    np.testing.assert_allclose(drawn["pooled interval"].x[1::3], table[f"{quantity}_high"] / by)
    own = alone[alone[quantity].notna()]
    np.testing.assert_allclose(drawn["alone"].x, own[quantity] / by)
    clipped = np.clip(own[f"{quantity}_high"] / by, low, high)
    np.testing.assert_allclose(drawn["alone interval"].x[1::3], clipped)
    assert len(drawn["joined"].x) == 3 * len(own)
    np.testing.assert_allclose(drawn["joined"].x[0::3], drawn["alone"].x)
    assert figure.layout.xaxis.type == "log"
    title = figure.layout.xaxis.title.text
    assert ("dozen hours" in title) == (quantity == "b10")


def test_failures_and_shares_borrowed_stand_in_columns(result):
    texts = [a.text for a in pooling_figure(result, "shape").layout.annotations]
    for row in result.table.itertuples():
        assert f"{row.failures:,}" in texts
        assert f"{100 * row.borrowed_shape:.0f} %" in texts
    assert "shape<br>borrowed" in texts
    assert any("90 %" in t for t in texts)
    assert "scale<br>borrowed" in [a.text for a in pooling_figure(result).layout.annotations]
    assert any("80 %" in a.text for a in pooling_figure(pooled(0.8)).layout.annotations)


def test_a_class_without_a_fit_of_its_own_says_why(result):
    notes = pooling_figure(result).layout.annotations
    row = result.table["group"].tolist().index("OIL")
    note = next(a for a in notes if a.text == "alone: no failures")
    assert abs(note.y - row) < 0.5


def test_nothing_to_pool_is_said_and_nothing_drawn():
    none = life.pool_weibull([5, 6, 7], [0, 0, 0], group=[1, 1, 2])
    figure = pooling_figure(none)
    assert not any(len(t.x) for t in figure.data)
    assert sum(a.text == "pooled: nothing to pool" for a in figure.layout.annotations) == 2


def test_marks_differ_without_colour(result):
    drawn = {t.name: t for t in pooling_figure(result).data}
    assert drawn["alone"].marker.symbol != drawn["pooled"].marker.symbol
    assert drawn["alone"].marker.color == "white"
    assert drawn["pooled interval"].line.width > 2 * drawn["alone interval"].line.width
    assert drawn["joined"].line.dash == "dot"


def test_markup_in_names_is_text(result):
    assert "&lt;b&gt;SOUR" in pooling_figure(result).layout.yaxis.ticktext


@pytest.mark.parametrize("bad", [{"quantity": "b99"}, {"divide_by": 0.0}, {"divide_by": np.nan}])
def test_bad_requests_are_refused(result, bad):
    with pytest.raises(InputError):
        pooling_figure(result, **bad)


def test_shape_1_is_marked_and_the_axis_has_ticks(result):
    figure = pooling_figure(result, "shape")
    assert list({t.name: t for t in figure.data}["shape 1"].x) == [1.0, 1.0]
    assert len(figure.layout.xaxis.tickvals) >= 3
    assert "shape 1" not in {t.name for t in pooling_figure(result).data}
