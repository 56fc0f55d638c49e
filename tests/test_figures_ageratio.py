"""Failures over expected ones, and early failures by quarter, as pictures."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from seallife.figures.ageratio import age_ratio_figure
from seallife.figures.early import early_figure
from seallife.history.early import EarlyStretches


def _rolling(groups: list[str], missing: int = 0) -> pd.DataFrame:
    months = pd.date_range("2020-01-01", periods=24, freq="MS")
    frames = [
        pd.DataFrame(
            {
                "by": "site",
                "group": g,
                "month": months,
                "age_ratio": np.linspace(0.8, 1.3, 24),
                "age_ratio_low": np.linspace(0.5, 1.0, 24),
                "age_ratio_high": np.linspace(1.2, 1.8, 24),
            }
        )
        for g in groups
    ]
    table = pd.concat(frames, ignore_index=True)
    return table.drop(index=list(range(5, 5 + missing)))


def test_line_and_limits_are_those_of_the_table() -> None:
    figure = age_ratio_figure(_rolling(["A"]))
    trace = next(t for t in figure.data if t.name == "failures over expected")
    assert list(trace.y) == pytest.approx(np.linspace(0.8, 1.3, 24))
    assert any(t.name == "limits" for t in figure.data)
    assert figure.layout.yaxis.type == "log"
    assert figure.layout.yaxis.title.text == "failures over expected"


def test_no_line_runs_across_a_gap() -> None:
    figure = age_ratio_figure(_rolling(["A"], missing=3))
    trace = next(t for t in figure.data if t.name == "failures over expected")
    y = np.array(trace.y, dtype=float)
    assert len(y) == 24
    assert np.isnan(y[5:8]).all()


@pytest.mark.parametrize("groups", [[], ["A", "B", "<b>C"]])
def test_none_or_several_groups(groups: list[str]) -> None:
    rows = _rolling(groups) if groups else _rolling(["A"]).iloc[:0]
    figure = age_ratio_figure(rows)
    lines = [t for t in figure.data if t.name == "failures over expected"]
    assert len(lines) == len(groups)
    assert not any("<b><b>C" in str(a.text) for a in figure.layout.annotations)


def _stretches(verdict: str) -> EarlyStretches:
    quarters = pd.DataFrame(
        {
            "site": "A",
            "quarter": pd.date_range("2020-01-01", periods=4, freq="QS"),
            "installs": [10, 8, 9, 2],
            "early": [1, 0, 4, 1],
            "early_share": [0.1, 0.0, 4 / 9, 0.5],
            "early_share_low": [0.01, 0.0, 0.2, 0.05],
            "early_share_high": [0.4, 0.3, 0.7, 0.95],
        }
    )
    table = pd.DataFrame(
        {
            "site": ["A"],
            "installs": [29],
            "early": [6],
            "first": [pd.Timestamp("2020-07-01")],
            "last": [pd.Timestamp("2020-09-01")],
            "early_in": [4.0],
            "expected_in": [1.0],
            "verdict": [verdict],
        }
    )
    return EarlyStretches(table, pd.DataFrame(), quarters, 90, 0.9, 99, 1)


def test_only_a_stretch_beyond_chance_is_shaded() -> None:
    assert len(early_figure(_stretches("more than chance")).layout.shapes) == 1
    assert len(early_figure(_stretches("no evidence")).layout.shapes) == 0


def test_points_and_limits_of_quarters() -> None:
    points = early_figure(_stretches("no evidence")).data[0]
    assert list(points.y) == pytest.approx([0.1, 0.0, 4 / 9, 0.5])
    up = np.array(points.error_y.array) + np.array(points.y)
    assert up == pytest.approx([0.4, 0.3, 0.7, 0.95])


def test_no_installations_give_an_empty_figure() -> None:
    none = _stretches("no evidence")
    empty = EarlyStretches(none.table.iloc[:0], none.months, none.quarters.iloc[:0], 90, 0.9, 99, 1)
    assert len(early_figure(empty).data) == 0
