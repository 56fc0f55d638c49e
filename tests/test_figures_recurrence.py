"""Pictures of mean cumulative numbers hold the figures of the result and nothing else."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from seallife.errors import InputError
from seallife.figures.recurrence import difference_figure, recurrence_figure
from seallife.history import mean_cumulative, mean_cumulative_difference

ROWS = pd.read_csv(Path(__file__).parent / "published" / "braking_grids.csv")
REPAIRS = ROWS[ROWS["status"] == 1]


def arguments() -> tuple[Any, ...]:
    columns = (ROWS["day1"], ROWS["day2"], ROWS["locomotive"])
    return (REPAIRS["day2"], REPAIRS["locomotive"], *columns)


def curves(groups: int = 2) -> Any:
    group = ROWS["batch"] if groups == 2 else ROWS["locomotive"] % groups
    return mean_cumulative(*arguments(), group="batch " + group.astype(str))


def test_steps_are_the_curve() -> None:
    got = curves()
    figure = recurrence_figure(got, divide_by=1, unit="age, days")
    rows = got.curves[got.curves["group"] == "batch 1"]
    trace = next(t for t in figure.data if t.name == "batch 1")
    assert trace.line.shape == "hv"
    np.testing.assert_allclose(trace.x[1:-1], rows["time"])
    np.testing.assert_allclose(trace.y[1:-1], rows["mean"], atol=1e-4)
    assert (trace.x[0], trace.y[0]) == (0, 0)
    assert trace.x[-1] == got["batch 1"]["last"]


def test_bands_are_the_limits() -> None:
    got = curves()
    figure = recurrence_figure(got, divide_by=1)
    rows = got.curves[got.curves["group"] == "batch 2"]
    trace = next(t for t in figure.data if t.name == "batch 2 interval")
    drawn = np.array([v for v in trace.y if v is not None])
    for wanted in (*rows["low"], *rows["high"]):
        assert np.abs(drawn - wanted).min() < 1e-5


def test_few_groups_stand_in_one_panel_and_are_named_at_their_ends() -> None:
    figure = recurrence_figure(curves(), divide_by=1)
    assert "xaxis2" not in figure.layout
    names = [a.text for a in figure.layout.annotations if a.text.startswith("<b>")]
    assert names == ["<b>batch 1</b><br>24 at 15 positions", "<b>batch 2</b><br>26 at 18 positions"]
    dashes = {t.line.dash for t in figure.data if t.line.width}
    assert len(dashes) == 2, "told apart in grey print too"


def test_more_groups_stand_in_panels_of_one_scale() -> None:
    figure = recurrence_figure(curves(6), divide_by=1)
    assert figure.layout.xaxis6.domain is not None
    assert figure.layout.yaxis.range == figure.layout.yaxis6.range
    assert figure.layout.xaxis.range == figure.layout.xaxis6.range


def test_those_watched_stand_below() -> None:
    got = curves()
    figure = recurrence_figure(got, divide_by=1, of="locomotive")
    texts = [a.text for a in figure.layout.annotations]
    ticks = np.array(figure.layout.xaxis.tickvals)
    counts = got.at(np.clip(ticks, 1e-9, 730))["at_risk"].astype(int).tolist()
    assert [int(t) for t in texts if t.isdigit()] == counts
    assert any("locomotives watched" in t for t in texts)


def test_calendar_days_are_dates() -> None:
    start = [17_000.0, 17_200.0]
    got = mean_cumulative([18_000.0, 18_500], ["a", "b"], start, [19_500.0, 19_400], ["a", "b"])
    figure = recurrence_figure(got, dates=True)
    assert figure.data[-1].x[1] == "2019-04-14"
    assert figure.layout.xaxis.ticktext[0] == "2017"


def test_a_curve_ends_where_one_is_left() -> None:
    got = mean_cumulative([4.0, 5, 8], [1, 2, 1], [0, 0], [9, 6], [1, 2])
    trace = next(t for t in recurrence_figure(got, divide_by=1).data if t.name == "all")
    assert max(trace.x) == 5


def test_no_events_and_one_unit_are_drawn_flat() -> None:
    got = mean_cumulative([], [], [0, 0], [9, 6], [1, 2], group=["<b>x</b>", "y"])
    figure = recurrence_figure(got, divide_by=1)
    assert all(set(t.y) == {0} for t in figure.data)
    assert not any("<b>x</b>" in a.text for a in figure.layout.annotations)


@pytest.mark.parametrize("by", [0.0, -1.0, np.nan])
def test_a_unit_must_be_a_number_above_nought(by: float) -> None:
    with pytest.raises(InputError, match="divide_by"):
        recurrence_figure(curves(), divide_by=by)


def test_difference_is_the_table_with_its_tests() -> None:
    got = mean_cumulative_difference(*arguments(), "batch " + ROWS["batch"].astype(str))
    figure = difference_figure(got, divide_by=1)
    trace = next(t for t in figure.data if t.name == "batch 2 less batch 1")
    np.testing.assert_allclose(trace.x, got.curve["time"])
    np.testing.assert_allclose(trace.y, got.curve["difference"], atol=1e-4)
    assert figure.layout.shapes[0].y0 == 0
    low, high = figure.layout.yaxis.range
    assert low < 0 < high
    words = figure.layout.annotations[0].text
    assert f"p {got.p:.2g}" in words
    assert f"p {got.gap_p:.2g}" in words


def test_nothing_to_compare_is_said_in_the_picture() -> None:
    got = mean_cumulative_difference([], [], [0, 0], [9, 9], ["a", "b"], [1, 2])
    figure = difference_figure(got, dates=True)
    assert figure.layout.annotations[0].text == "nothing to compare"


def test_no_line_is_drawn_over_a_time_when_nobody_was_watched() -> None:
    got = mean_cumulative([4.0, 9, 3, 8], [1, 2, 1, 2], [0, 0, 6, 6], [5, 5, 9, 9], [1, 2, 1, 2])
    figure = recurrence_figure(got, divide_by=1)
    trace = next(t for t in figure.data if t.name == "all")
    pairs = list(zip(trace.x, trace.y, strict=True))
    assert (5.0, None) in pairs
    assert (6.0, 1.0) in pairs
    band = next(t for t in figure.data if t.name == "all interval")
    assert None in band.x
