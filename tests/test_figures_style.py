"""The look of all figures: bands, labels, panels, and no trace left on plotly itself."""

from __future__ import annotations

import numpy as np
import pytest

from seallife.figures.style import (
    LEAD,
    OTHER,
    band,
    draw,
    faint,
    label,
    line,
    log_ticks,
    panel_axes,
    plain,
    points,
)


def test_a_figure_carries_our_template_and_leaves_plotlys_default_alone() -> None:
    import plotly.io as pio

    before = pio.templates.default
    figure = draw([line([0, 1], [1, 0], "a")], {"xaxis": {"title": {"text": "age (y)"}}})
    assert pio.templates.default == before
    assert figure.layout.template.layout.plot_bgcolor == "white"
    assert figure.layout.showlegend is None
    assert figure.layout.template.layout.showlegend is False


def test_band_goes_out_above_and_back_below() -> None:
    trace = band([0, 1, 2], np.array([0.1, 0.2, 0.3]), np.array([0.5, 0.6, 0.7]), "b")
    assert trace["x"] == [0, 1, 2, 2, 1, 0]
    assert trace["y"] == [0.5, 0.6, 0.7, 0.3, 0.2, 0.1]
    assert trace["fill"] == "toself"


def test_band_breaks_where_a_limit_is_missing() -> None:
    low, high = np.array([0.1, np.nan, 0.3, 0.4]), np.array([0.5, 0.6, 0.7, np.inf])
    trace = band([0, 1, 2, 3], low, high, "b")
    assert trace["x"] == [0, 0, None, 2, 2]
    assert trace["y"] == [0.5, 0.1, None, 0.7, 0.3]


def test_band_of_steps_holds_each_level_to_the_next_age() -> None:
    trace = band(
        [0.0, 1.0, 2.0], np.array([3.0, 2.0, 1.0]), np.array([6.0, 5.0, 4.0]), "b", step=True
    )
    assert trace["x"][:5] == [0, 1, 1, 2, 2]
    assert trace["y"][:5] == [6, 6, 5, 5, 4]


def test_band_of_steps_holds_its_last_level_to_where_the_next_is_missing() -> None:
    low, high = np.array([1.0, np.nan, 3.0]), np.array([2.0, np.nan, 4.0])
    trace = band([0.0, 5.0, 6.0], low, high, "b", step=True)
    assert trace["x"] == [0, 5, 5, 5, 5, 0, None, 6, 6]
    assert trace["y"] == [2, 2, 2, 1, 1, 1, None, 4, 3]


def test_band_over_months_has_dates_plotly_reads() -> None:
    months = np.array(["2020-01-01", "2020-02-01"], dtype="datetime64[ns]")
    assert band(months, np.ones(2), 2 * np.ones(2), "b")["x"][0] == "2020-01-01"


def test_names_from_records_are_text_and_fit_a_panel() -> None:
    assert plain("<img src=x>") == "&lt;img src=x&gt;"
    assert plain("A & B") == "A &amp; B"
    assert len(plain("x" * 80)) == 22


@pytest.mark.parametrize(("count", "columns"), [(1, 1), (4, 3), (10, 3), (2, 2)])
def test_panels_stay_on_the_page_and_apart(count: int, columns: int) -> None:
    spots = panel_axes(count, columns)
    assert [k for k, _, _ in spots] == ["", *map(str, range(2, count + 1))]
    for _, x, y in spots:
        assert 0 <= x[0] < x[1] <= 1 + 1e-12
        assert 0 <= y[0] < y[1] <= 1 + 1e-12
    boxes = [(tuple(x), tuple(y)) for _, x, y in spots]
    for i, (x, y) in enumerate(boxes):
        for u, v in boxes[i + 1 :]:
            assert x[1] <= u[0] or u[1] <= x[0] or y[0] >= v[1] or v[0] >= y[1]


def test_lead_and_other_differ_in_grey_by_dash_and_marker_and_not_only_hue() -> None:
    assert faint(LEAD) == "rgba(0,114,178,0.18)"
    assert line([0], [0], "a", colour=OTHER, dash="dash")["line"]["dash"] == "dash"


def test_label_has_no_arrow() -> None:
    assert label("t", 0, 1, xref="paper")["showarrow"] is False


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [
        (0, 1, [1, 2, 5, 10]),
        (-1, 3, [0.1, 1, 10, 100, 1000]),
        (np.log10(0.66), np.log10(2), [0.7, 1, 1.5, 2]),
        (np.log10(0.9), np.log10(1.3), [1, 1.2, 0.9]),
    ],
)
def test_short_log_axes_have_ticks_too(low: float, high: float, ticks: list[float]) -> None:
    found = log_ticks(low, high)
    assert set(np.round(ticks, 9)) <= set(np.round(found, 9))
    assert 3 <= len(found) <= 8
    assert len(log_ticks(low, high, least=1)) <= len(found)


def test_figure_carries_its_words_and_marks_their_rim() -> None:
    mark = points([1], [2], "a", colour=OTHER, symbol="diamond", hoverinfo="skip")
    figure = draw([mark], {}, alt="a <b> in words")
    assert figure.layout.meta == {"alt": "a <b> in words"}
    assert figure.data[0].marker.line.color == OTHER
    assert figure.data[0].marker.color == "white"
    assert draw([mark], {}).layout.meta is None
