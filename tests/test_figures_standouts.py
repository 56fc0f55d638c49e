"""Figures of units that stand out hold the numbers of the result and name those listed."""

from __future__ import annotations

import numpy as np
import pytest

from seallife.errors import InputError
from seallife.figures.standouts import exceedance_figure, funnel_figure, standout_forest
from seallife.history.standouts import StandOuts, stand_out


@pytest.fixture(scope="module")
def result() -> StandOuts:
    rng = np.random.default_rng(4)
    counts = np.r_[[14, 12, 0], rng.poisson(4.0, 80)]
    exposure = np.r_[[10.0, 10.0, 60.0], np.full(80, 10.0)]
    names = ["P-1 <b>A", "P-2", "P-3", *(f"P-{i}" for i in range(10, 90))]
    return stand_out(counts, exposure, label=names)


def texts(figure) -> list[str]:
    return [a.text for a in figure.layout.annotations]


@pytest.mark.parametrize(
    ("draw", "height"), [(exceedance_figure, "observed"), (funnel_figure, "ratio")]
)
def test_every_unit_is_one_point_of_its_kind(result, draw, height):
    figure = draw(result)
    drawn = {t.name: t for t in figure.data}
    table = result.table
    kinds = {
        "worse than its class": table["verdict"] == "worse than its class",
        "better than its class": table["verdict"] == "better than its class",
    }
    kinds["not listed"] = ~(kinds["worse than its class"] | kinds["better than its class"])
    assert kinds["worse than its class"].any()
    assert kinds["better than its class"].any()
    for name, rows in kinds.items():
        np.testing.assert_allclose(drawn[name].x, table.loc[rows, "expected"])
        np.testing.assert_allclose(drawn[name].y, table.loc[rows, height])
    symbols = {drawn[name].marker.symbol for name in kinds}
    assert len(symbols) == 3, "told apart in grey"
    top = figure.layout.yaxis.range[1]
    assert top > table.loc[kinds["worse than its class"], height].max()


def test_bands_are_the_limits_of_the_result(result):
    limits = result.funnel
    grid = limits["expected"].to_numpy()
    for draw, factor in ((funnel_figure, np.ones(len(grid))), (exceedance_figure, grid)):
        drawn = {t.name: t for t in draw(result).data}
        for name, low, high in (
            ("90 % of units by chance", "low", "high"),
            ("99.8 % of units by chance", "far_low", "far_high"),
        ):
            y = np.array(drawn[name].y, dtype=float)
            np.testing.assert_allclose(y[: len(grid)], limits[high] * factor, atol=1e-4)
            np.testing.assert_allclose(y[len(grid) :][::-1], limits[low] * factor, atol=1e-4)


def test_listed_are_named_with_how_sure_it_is(result):
    for draw in (exceedance_figure, funnel_figure):
        words = " ".join(texts(draw(result)))
        for _, row in result.listed.iterrows():
            sure = row["prob_above"] if row["ratio_shrunk"] > 1 else row["prob_below"]
            assert f"{100 * sure:.0f} %" in words
        assert "P-2" in words
        assert "&lt;b&gt;" in words
        assert f"{len(result.table):,} units" in words
        assert "beyond 1.5 times" in words


def test_names_do_not_lie_on_each_other():
    rng = np.random.default_rng(7)
    counts = np.r_[np.full(30, 20), rng.poisson(3.0, 300)]
    many = stand_out(counts, np.full(330, 10.0), label=[f"U{i:03d}" for i in range(330)])
    assert len(many.listed) > 8
    figure = exceedance_figure(many)
    named = [a for a in figure.layout.annotations if a.text.startswith("<b>U")]
    assert 1 <= len(named) <= 8
    places = [(a.x, a.y, a.yshift) for a in named]
    assert len(set(places)) == len(places)


def test_forest_is_the_list(result):
    figure = standout_forest(result)
    rows = result.listed
    drawn = {t.name: t for t in figure.data}
    np.testing.assert_allclose(drawn["shrunk"].x, rows["ratio_shrunk"])
    np.testing.assert_allclose(drawn["interval at 90 %"].x[0::3], rows["ratio_low"])
    np.testing.assert_allclose(drawn["interval at 90 %"].x[1::3], rows["ratio_high"])
    counted = rows.loc[rows["ratio"] > 0, "ratio"]
    np.testing.assert_allclose(drawn["as counted"].x, counted)
    words = texts(figure)
    for _, row in rows.iterrows():
        assert f"{row['observed']:,} / {row['expected']:,.1f}" in words
        assert f"{row['again_expected']:,.1f}" in words
    low, high = 10 ** np.array(figure.layout.xaxis.range)
    assert low < rows["ratio_low"].min()
    assert high > rows["ratio_high"].max()


def test_names_of_points_say_whose_they_are(result):
    figure = standout_forest(result)
    drawn = {t.name: t for t in figure.data}
    ticks = list(figure.layout.yaxis.ticktext)
    assert list(drawn["shrunk"].customdata) == ticks
    assert list(drawn["as counted"].customdata) == [
        t for t, r in zip(ticks, result.listed["ratio"], strict=True) if r > 0
    ]


def test_nothing_to_draw_is_said():
    none = stand_out([0, 0, 0], [1.0, 1.0, 2.0])
    with pytest.raises(InputError, match="no unit expects failures"):
        exceedance_figure(none)
    with pytest.raises(InputError, match="no unit is listed"):
        standout_forest(none)
    quiet = stand_out([3, 4, 5, 4], [10.0] * 4)
    assert len(funnel_figure(quiet).data) == 6
    assert not any("beyond" in t for t in texts(funnel_figure(quiet)))
