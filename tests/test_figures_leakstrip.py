"""The strip of the whole fleet: cells, shades, marks, words."""

from __future__ import annotations

import json

import numpy as np
import pytest
from leakfigures import NONE, read, reading, words

from seallife.figures.leakstrip import leak_strip_figure
from seallife.figures.shades import SHADES, shade_key, shade_span

ROWS = [
    reading("A<b>", "2023-01-05", 10.0, life="a1", to_end=100.0),
    reading("A<b>", "2023-04-05", 9_000.0, np.inf, life="a1", to_end=10.0),
    reading("A<b>", "2023-11-05", 40.0, life="a2"),
    reading("B", "2023-01-05", 0.0, 50.0),
    reading("B", "2023-11-05", 4.0),
    reading("C", "2023-11-05", 1.0, group="W"),
    reading("C", "2023-11-06", 1.0, group="W", doubt="unit in doubt"),
]


def drawn(figure):
    return {t.name: t for t in figure.data}


def test_cells_are_the_levels_and_blank_where_nothing_was_read() -> None:
    figure = leak_strip_figure(read(ROWS))
    cells = drawn(figure)["level"]
    assert list(cells.x) == ["2023-01-01", "2023-04-01", "2023-07-01", "2023-10-01", "2024-01-01"]
    z = np.array(cells.z, dtype=float)
    assert np.isnan(z[:, 2]).all()
    np.testing.assert_allclose(z[0, [0, 1, 3]], np.log10([10, 9_000, 40]), atol=0.006)
    assert z[1, 0] == pytest.approx(cells.zmin, abs=0.006), "below 50 is the lightest"
    assert "below 50" in cells.text[1][0]
    assert cells.text[0][1].startswith("A&lt;b&gt;: 1 read")
    assert "over 9000" in cells.text[0][1]


def test_marks_stand_in_their_row() -> None:
    marks = drawn(leak_strip_figure(read(ROWS)))
    assert list(marks["off the scale"].y) == [0]
    assert "2023-04-01" < marks["off the scale"].x[0] < "2023-07-01"
    assert list(marks["another seal"].x) == ["2023-04-15", "2023-04-15", None]
    assert list(marks["another seal"].y) == [-0.5, 0.5, None]


def test_classes_and_rows_are_named_and_what_is_not_drawn_is_said() -> None:
    said = words(leak_strip_figure(read(ROWS)))
    for part in ("<b>HC</b>", "2 positions", "A&lt;b&gt;", "all below detection", "off the scale",
                 "ppmv", "1 reading in doubt", "may not show"):  # fmt: skip
        assert part in said, part
    cut = words(leak_strip_figure(read(ROWS), most=1))
    assert "and 2 more positions" in cut


def test_many_rows_keep_to_the_page_and_name_the_first_of_each_class() -> None:
    rows = [
        reading(f"P-{i}", f"{2016 + k // 4}-{1 + 3 * (k % 4):02d}-09", 5.0 + i, group=f"G{i % 3}")
        for i in range(96)
        for k in range(40)
    ]
    figure = leak_strip_figure(read(rows))
    assert figure.layout.height <= 720
    said = [a.text for a in figure.layout.annotations]
    assert sum(t.startswith("P-") for t in said) == 9
    assert len(json.dumps(figure.to_dict(), default=str)) < 400_000


def test_shades_darken_in_grey_and_few_high_cells_do_not_take_them_all() -> None:
    grey = [np.dot([int(c[i : i + 2], 16) for i in (1, 3, 5)], [0.3, 0.59, 0.11]) for c in SHADES]
    assert (np.diff(grey) < -30).all()
    assert grey[0] < 240, "differs from a blank"
    import pandas as pd

    span, cut = shade_span(pd.Series([*np.linspace(5, 50, 300), 9_000.0]))
    assert cut
    assert span[1] < np.log10(60)
    axes = shade_key(span, cut, "t", [0.5, 1])[2]
    assert axes["xaxis2"]["ticktext"][-1].startswith("≥")
    assert shade_span(pd.Series([5.0])) == ((np.log10(5), np.log10(10)), False)


def test_nothing_read_is_said() -> None:
    figure = leak_strip_figure(read(NONE))
    assert not figure.data
    assert "no reading" in words(figure)
    assert leak_strip_figure(read(ROWS[:1])).layout.height < 250
