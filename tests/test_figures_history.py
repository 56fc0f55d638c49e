"""Pictures over time hold the figures of the history and nothing else."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from studies import no_failures, two_sites

from seallife.figures.history import monthly_figure, rolling_figure, rolling_panels
from seallife.history import expected_counts

OUTAGE = ((pd.Timestamp("2014-05-01"), pd.Timestamp("2014-06-01")),)


def _rows(by: str = "all") -> pd.DataFrame:
    rolling = two_sites().history.rolling
    return rolling[rolling["by"] == by]


@pytest.mark.parametrize("key", ["mtbf", "mtbr"])
def test_rolling_line_is_the_table(key: str) -> None:
    rows = _rows()
    trace = next(t for t in rolling_figure(rows).data if t.name == key.upper())
    assert list(trace.x) == rows["month"].dt.strftime("%Y-%m-%d").tolist()
    shown = np.array([np.nan if v is None else v for v in trace.y])
    np.testing.assert_allclose(shown, rows[f"{key}_years"], atol=1e-4)


def test_rolling_bands_are_the_limits() -> None:
    rows = _rows()
    figure = rolling_figure(rows)
    trace = next(t for t in figure.data if t.name == "MTBF interval")
    half = len(trace.y) // 2
    high, drawn = rows["mtbf_years_high"].to_numpy(), np.array(trace.y[:half])
    bounded = np.isfinite(high)
    np.testing.assert_allclose(drawn[bounded], high[bounded], atol=1e-5)
    assert (~bounded).any()
    assert (drawn[~bounded] > figure.layout.yaxis.range[1]).all(), "runs off the top"
    np.testing.assert_allclose(trace.y[half:][::-1], rows["mtbf_years_low"], atol=1e-5)


def test_rolling_names_its_lines_directly_and_gives_the_unit() -> None:
    figure = rolling_figure(_rows())
    assert {"<b>MTBF</b>", "<b>MTBR</b>"} <= {a.text for a in figure.layout.annotations}
    assert figure.layout.yaxis.title.text == "calendar years per seal position"
    assert figure.layout.yaxis.range[0] == 0


def test_outage_is_marked_and_does_not_stretch_the_axis() -> None:
    figure = rolling_figure(_rows(), OUTAGE)
    assert figure.layout.shapes[0].x0 == "2014-05-01"
    assert figure.layout.xaxis.range[0] >= "2016"


def test_no_line_is_drawn_across_a_gap_in_the_records() -> None:
    figure = rolling_panels(_rows("site"))
    other = next(t for t in figure.data if t.name == "Other")
    missing = {x for x, y in zip(other.x, other.y, strict=True) if y is None}
    assert "2020-06-01" in missing
    assert not other.connectgaps


def test_panels_share_one_scale() -> None:
    layout = rolling_panels(_rows("site")).layout
    assert layout.yaxis.range == layout.yaxis2.range
    assert layout.xaxis.range == layout.xaxis2.range


def test_without_failures_the_lower_limit_stays_in_view_and_words_say_so() -> None:
    rolling = no_failures().history.rolling
    figure = rolling_figure(rolling[rolling["by"] == "all"])
    low = rolling["mtbf_years_low"].max()
    assert figure.layout.yaxis.range[1] > 1.5 * low
    assert any("only a lower limit" in a.text for a in figure.layout.annotations)


def test_months_outside_the_range_have_a_marker_of_their_own() -> None:
    expected = pd.DataFrame(
        {
            "month": pd.date_range("2020-01-01", periods=4, freq="MS"),
            "failures": [2, 9, 0, 3],
            "expected": 3.0,
            "low": 1.0,
            "high": 6.0,
            "outside": [False, True, True, False],
        }
    )
    figure = monthly_figure(expected)
    by_name = {t.name: t for t in figure.data}
    assert list(by_name["inside"].y) == [2, 3]
    assert list(by_name["outside"].y) == [9, 0]
    assert by_name["inside"].marker.symbol != by_name["outside"].marker.symbol
    assert figure.layout.yaxis.range[0] < 0 < 9 < figure.layout.yaxis.range[1]


def test_every_month_with_exposure_is_drawn_once() -> None:
    history = two_sites().history
    monthly = history.monthly[history.monthly["by"] == "all"]
    figure = monthly_figure(expected_counts(monthly))
    drawn = sum(len(t.x) for t in figure.data if t.name in ("inside", "outside"))
    assert drawn == (monthly["exposure_years"] > 0).sum()
    total = sum(sum(t.y) for t in figure.data if t.name in ("inside", "outside"))
    assert total == monthly["failures"].sum()
