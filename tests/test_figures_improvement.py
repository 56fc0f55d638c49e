"""The picture of a project holds the figures of its result and nothing else."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from test_improvement import LIGHT_ENDS, judged, small

from seallife.figures.improvement import improvement_figure
from seallife.history.improvement import Improvements
from seallife.study import Study


@pytest.fixture(scope="module")
def demo(demo_study: Study) -> Improvements:
    return judged(demo_study)


def _panel(figure: Any, k: int) -> dict[str, Any]:
    axis = "x" if k == 1 else f"x{k}"
    return {t.name: t for t in figure.data if t.xaxis == axis}


def test_rates_are_the_table(demo: Improvements) -> None:
    figure = improvement_figure(demo)
    at = demo.table["project"].tolist().index(LIGHT_ENDS)
    drawn = _panel(figure, 2 * at + 1)
    mine = demo.rates[demo.rates["project"] == LIGHT_ENDS]
    for group in ("changed", "unchanged"):
        rows = mine[mine["group"] == group]
        points = drawn[group]
        np.testing.assert_allclose(points.y, rows["rate"])
        np.testing.assert_allclose(np.add(points.y, points.error_y.array), rows["high"])
        np.testing.assert_allclose(np.subtract(points.y, points.error_y.arrayminus), rows["low"])
        ends = rows.loc[rows["period"] != "chosen by", "rate"]
        np.testing.assert_allclose(drawn[f"{group}, before to after"].y, ends)
    assert list(drawn["changed"].marker.color).count("white") == 1, "the time left out is open"
    assert list(figure.layout[f"xaxis{2 * at + 1}"].ticktext) == ["before", "left out", "after"]


def test_ratios_are_the_table_and_the_one_used_stands_out(demo: Improvements) -> None:
    figure = improvement_figure(demo)
    for i, project in enumerate(demo.table["project"]):
        rows = demo.views[demo.views["project"] == project]
        drawn = _panel(figure, 2 * i + 2)
        axis = figure.layout[f"yaxis{2 * i + 2}"]
        plain = [t.replace("<b>", "").replace("</b>", "") for t in axis.ticktext]
        assert [t.replace("<br>", " ") for t in plain] == rows["view"].tolist()
        for _, row in rows.iterrows():
            assert drawn[row["view"]].x[0] == pytest.approx(row["ratio"])
            assert list(drawn[f"{row['view']} interval"].x) == pytest.approx(
                [row["low"], row["high"]]
            )
            assert (drawn[row["view"]].marker.color != "white") == row["used"]
        texts = [a.text for a in figure.layout.annotations]
        for row in rows.itertuples():
            assert f"{row.ratio:.2f} ({row.low:.2f}–{row.high:.2f})" in texts


def test_each_project_is_named_with_its_verdict_and_counts(demo: Improvements) -> None:
    texts = " ".join(a.text for a in improvement_figure(demo).layout.annotations)
    for row in demo.table.itertuples():
        assert f"{row.project}: {row.verdict}</b>" in texts
        assert f"{row.failures_before} failures before, {row.failures_after} after" in texts


def test_panels_keep_clear_of_each_other(demo: Improvements) -> None:
    layout = improvement_figure(demo).layout
    domains = sorted(
        {tuple(layout[f"yaxis{k if k > 1 else ''}"].domain) for k in range(1, 2 * len(demo) + 1)}
    )
    assert len(domains) == len(demo)
    for (_, top), (low, _) in pairwise(domains):
        assert low - top > 0.05
    assert domains[0][0] >= 0


def test_an_endless_interval_ends_in_an_arrow(demo: Improvements) -> None:
    views = demo.views.copy()
    mine = (views["project"] == LIGHT_ENDS) & views["used"]
    views.loc[mine, ["ratio", "low", "high"]] = [np.nan, 0.3, np.inf]
    figure = improvement_figure(replace(demo, views=views))
    texts = [a.text for a in figure.layout.annotations]
    assert "▶" in texts
    assert "– (0.30 or more)" in texts


def test_nothing_to_show_says_so() -> None:
    figure = improvement_figure(judged(small(())))
    assert not figure.data
    assert [a.text for a in figure.layout.annotations] == ["no change on record"]


@pytest.mark.parametrize("date", ["2014-05-05", "2026-01-01"])
def test_a_project_without_comparison_is_drawn_as_far_as_it_goes(date: str) -> None:
    figure = improvement_figure(judged(small(date=date)))
    texts = [a.text for a in figure.layout.annotations]
    assert "no comparison" in texts
    assert any("cannot tell yet" in t for t in texts)


def test_markup_in_names_is_text(demo: Improvements) -> None:
    hostile = "<img src=x onerror=alert(1)>"
    made = replace(
        demo,
        table=demo.table.replace({"project": {LIGHT_ENDS: hostile}}),
        views=demo.views.replace({"project": {LIGHT_ENDS: hostile}}),
        rates=demo.rates.replace({"project": {LIGHT_ENDS: hostile}}),
    )
    assert "<img" not in improvement_figure(made).to_json().replace("\\u003c", "<")
