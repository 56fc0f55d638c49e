"""On Weibull paper points, line and law are where their formulas say."""

from __future__ import annotations

import numpy as np
import pytest

from seallife.figures.ranks import probability_figure
from seallife.life.ranks import rank_line

AGES = [54.0, 187.0, 216.0, 240.0, 500.0, 500.0]
FAILED = [True, True, True, True, False, False]


def test_points_are_the_ranks_and_the_line_has_their_slope() -> None:
    ranks = rank_line(AGES, FAILED)
    figure = probability_figure(ranks, "A <b>", "h")
    points, through = figure.data
    np.testing.assert_allclose(points.x, ranks.table["age"])
    np.testing.assert_allclose(points.y, ranks.table["log10_hazard"])
    slope = np.diff(through.y)[0] / np.diff(np.log10(through.x))[0]
    assert slope == pytest.approx(ranks.shape)
    assert figure.layout.xaxis.title.text == "age (h), log scale"
    assert "A &lt;b&gt;: 4 failures" in figure.layout.annotations[0].text


def test_fitted_law_is_dashed_and_straight_through_its_scale() -> None:
    figure = probability_figure(rank_line(AGES, FAILED), "A", "h", law=(1.4, 424.0))
    law = figure.data[2]
    assert law.line.dash == "dash"
    np.testing.assert_allclose(law.y, 1.4 * np.log10(np.array(law.x) / 424.0))


def test_ticks_are_shares_failed() -> None:
    axis = probability_figure(rank_line(AGES, FAILED), "A", "h").layout.yaxis
    for value, text in zip(axis.tickvals, axis.ticktext, strict=True):
        assert 100 * (1 - np.exp(-(10**value))) == pytest.approx(float(text.split()[0]))
