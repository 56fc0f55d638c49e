"""What renewal by age saves: forest, verdicts, and why there is no figure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from lawsets import law_draws, weibull_draws
from leakfigures import words

from seallife.figures.bestage import replacement_figure
from seallife.spares.replacement import Replacement, replacement_ages

LAWS = law_draws(
    {
        "<b>steep": weibull_draws(2.5, 10_000, 0.05),
        "unsure": weibull_draws(1.4, 20_000, 0.15),
        "constant": weibull_draws(1.0, 20_000, 0.0),
        "new": weibull_draws(1.1, 20_000, 0.01),
    }
)
SHAPES = pd.DataFrame(
    {
        "service_class": ["<b>steep", "unsure", "constant"],
        "shape_low": [2.2, 1.1, 0.9],
        "shape_high": [2.8, 1.8, 1.1],
    }
)


def ages(**more: object) -> Replacement:
    asked = {"planned_cost": 1.0, "failure_cost": 5.0, "early_age": 1_000.0, **more}
    return replacement_ages(LAWS, SHAPES, **asked)


def drawn(figure):
    return {t.name: t for t in figure.data}


@pytest.fixture(scope="module")
def result() -> Replacement:
    return ages()


def test_savings_and_limits_are_those_of_the_table_the_best_on_top(result) -> None:
    figure = replacement_figure(result)
    rows = result.table[result.table["saving"].notna()].sort_values("saving", ascending=False)
    assert len(rows) == 2
    marks = drawn(figure)
    np.testing.assert_allclose(marks["saves"].x, rows["saving"], atol=1e-4)
    np.testing.assert_allclose(marks["saves interval"].x[0::3], rows["saving_low"], atol=1e-4)
    np.testing.assert_allclose(marks["saves interval"].x[1::3], rows["saving_high"], atol=1e-4)
    assert figure.layout.yaxis.ticktext[0] == "&lt;b&gt;steep"
    places = sorted(s.x0 for s in figure.layout.shapes)
    assert places == [0, result.least_saving]
    assert "5% worth having" in words(figure)
    assert "interval at 90%" in figure.layout.xaxis.title.text


def test_every_class_has_its_verdict_and_those_without_a_saving_say_why(result) -> None:
    figure = replacement_figure(result)
    said = words(figure)
    by_row = {a.y: a.text for a in figure.layout.annotations if a.text.startswith("<b>")}
    classes = list(figure.layout.yaxis.ticktext)
    for row in result.table.itertuples():
        name = row.service_class.replace("<b>", "&lt;b&gt;")
        assert by_row[classes.index(name)] == f"<b>{row.verdict}</b>"
    assert "not known to grow with age: shape 0.90 to 1.10" in said
    assert "shape not known" in said
    age = result.table["age"].iloc[0]
    assert f"{age:,.0f} h" in said
    assert "<b>steep: renew by age, saves" in figure.layout.meta["alt"]


def test_without_costs_the_ratio_that_would_do_is_told(result) -> None:
    figure = replacement_figure(ages(failure_cost=np.nan))
    row = ages(failure_cost=np.nan).table.iloc[0]
    assert not figure.data
    told = f"pays if a failure costs {row['ratio_needed']:.1f} renewals"
    assert told in words(figure)
    assert "<b>no cost given</b>" in words(figure)


def test_no_saving_is_drawn_at_nought_and_never_as_less() -> None:
    figure = replacement_figure(ages(failure_cost=1.0))
    assert set(drawn(figure)["saves"].x) == {0.0}
    assert "no age" in words(figure)
    assert "-0%" not in figure.layout.meta["alt"]


def test_one_row_none_and_a_great_loss(result) -> None:
    one = replacement_figure(replace(result, table=result.table.head(1)))
    assert len(one.layout.yaxis.ticktext) == 1
    none = replacement_figure(replace(result, table=result.table.head(0)))
    assert "No class" in words(none)
    loss = result.table.head(1).assign(saving_low=-40.0)
    figure = replacement_figure(replace(result, table=loss))
    assert -1.2 < figure.layout.xaxis.range[0] < 0
    assert drawn(figure)["saves interval"].x[0] >= figure.layout.xaxis.range[0]
