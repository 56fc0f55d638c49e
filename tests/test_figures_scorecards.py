"""Forecasts against what came: ranges, outcomes, what is not judged; chances against shares."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from leakfigures import words

from seallife.errors import InputError
from seallife.figures.scorecards import calibration_figure, scorecard_figure
from seallife.scorecard import Scorecard
from seallife.scorecard.summary import summed_chances

DAYS = pd.to_datetime(["2018-12-31", "2019-12-31", "2020-12-31", "2021-12-31"])


def _forecasts() -> pd.DataFrame:
    rows = [
        (day, by, group, seen, 10.0, 5.0, 15.0, status)
        for by, groups in (("all", ["all"]), ("pool", ["M1", "<b>M2", "M3"]))
        for k, group in enumerate(groups)
        for day, seen, status in zip(
            DAYS, [15, 16 + k, 4, 9], ["ok", "ok", "records missing", "ok"], strict=True
        )
    ]
    columns = ["origin", "by", "group", "observed", "expected", "low", "high", "status"]
    return pd.DataFrame(rows, columns=columns).assign(kind="failures", months=12, message="")


def _seals(n: int, chance: float, failed: int) -> pd.DataFrame:
    happened = np.arange(n) < failed
    return pd.DataFrame({"chance": chance, "happened": happened, "fate": "running", "months": 12})


@pytest.fixture(scope="module")
def card() -> Scorecard:
    forecasts = _forecasts()
    table = forecasts.drop_duplicates(["kind", "by", "months"])[["kind", "by", "months"]]
    table["message"] = "40 happened, 30.0 were foretold."
    seals = pd.concat([_seals(50, 0.08, 4), _seals(60, 0.25, 30), _seals(40, 0.4, 4)])
    bands, chances = summed_chances(seals, 0.9)
    assert bands["status"].tolist() == ["ok", "too low", "too high"]
    return Scorecard(table, 0.9, "", "", forecasts, seals, bands, chances, pd.DataFrame(), 1)


def drawn(figure, axis: str = "x"):
    return {t.name: t for t in figure.data if (t.xaxis or "x") == axis}


def test_ranges_and_outcomes_are_those_of_the_forecasts(card) -> None:
    figure = scorecard_figure(card)
    marks = drawn(figure)
    assert list(marks["inside"].y) == [15, 9]
    assert list(marks["outside"].y) == [16]
    assert list(marks["outside"].x) == ["2019-12-31"]
    assert list(marks["not judged"].y) == [4]
    assert list(marks["range"].y[:2]) == [4.6, 15.4]
    assert list(marks["range, not judged"].x[:2]) == ["2020-12-31"] * 2
    assert list(marks["expected"].y) == [10.0] * 4
    assert "<b>all seals</b>: 2 of 3 held" in words(figure)
    assert "at 90%" in words(figure)
    assert "× not judged" in words(figure)
    assert "seals that failed in 12 months" in figure.layout.yaxis.title.text
    assert "40 happened, 30.0 were foretold." in figure.layout.meta["alt"]
    assert "records missing" in marks["not judged"].customdata[0]
    assert marks["inside"].marker.symbol != marks["outside"].marker.symbol


def test_ticks_name_years_only_where_all_forecasts_are_of_their_last_day(card) -> None:
    assert list(scorecard_figure(card).layout.xaxis.ticktext) == ["2018", "2019", "2020", "2021"]
    assert "at the end of that year" in words(scorecard_figure(card))
    days = card.forecasts.assign(origin=card.forecasts["origin"] - pd.Timedelta(days=1))
    figure = scorecard_figure(replace(card, forecasts=days))
    assert figure.layout.xaxis.ticktext[0] == "30 Dec<br>2018"
    assert "at the end of that day" in words(figure)


def test_groups_have_panels_those_of_most_events_first(card) -> None:
    figure = scorecard_figure(card, "pool")
    heads = [a.text for a in figure.layout.annotations if " held" in a.text]
    assert [h.split(":")[0] for h in heads] == ["<b>M3</b>", "<b>&lt;b&gt;M2</b>", "<b>M1</b>"]
    assert list(drawn(figure, "x2")["outside"].y) == [17]
    few = scorecard_figure(card, "pool", most=1)
    assert "… and 2 more, with fewer events" in words(few)
    assert not drawn(few, "x2")


def test_one_forecast_and_none_judged(card) -> None:
    one = card.forecasts.query("by == 'all'").head(1).assign(status="too little record")
    figure = scorecard_figure(replace(card, forecasts=one))
    assert "none judged" in words(figure)
    assert "inside" not in drawn(figure)
    low, high = (pd.Timestamp(d) for d in figure.layout.xaxis.range)
    assert low < DAYS[0] < high


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({"by": "colour"}, "by: is 'colour'; known here: all, pool"),
        ({"kind": "leaks"}, "kind: is 'leaks'; known here: failures"),
        ({"months": 7}, "months: is 7; known here: 12"),
    ],
)
def test_what_was_not_forecast_is_refused(card, asked, says) -> None:
    with pytest.raises(InputError, match=says):
        scorecard_figure(card, **asked)


def test_shares_stand_against_the_chances_given(card) -> None:
    figure = calibration_figure(card)
    marks = drawn(figure)
    bands = card.bands.set_index("status")
    for status in ("ok", "too low", "too high"):
        np.testing.assert_allclose(marks[status].x, bands.loc[[status], "chance"], atol=1e-5)
        np.testing.assert_allclose(marks[status].y, bands.loc[[status], "share"], atol=1e-5)
    interval = marks["interval"]
    assert list(interval.y[0::3]) == card.bands["share_low"].tolist()
    assert list(interval.y[1::3]) == card.bands["share_high"].tolist()
    assert list(marks["as foretold"].x) == list(marks["as foretold"].y)
    assert len({marks[s].marker.symbol for s in ("ok", "too low", "too high")}) == 3
    assert figure.layout.xaxis.range == figure.layout.yaxis.range


def test_counts_of_each_band_stand_beside_it(card) -> None:
    figure = calibration_figure(card)
    texts = [a.text for a in figure.layout.annotations]
    first = texts.index("chance")
    assert texts[first + 1 : first + 4] == card.bands["band"][::-1].tolist()
    failed = texts.index("failed")
    assert texts[failed + 1 : failed + 4] == ["▼ 4", "▲ 30", "4"]
    of = texts.index("of")
    assert texts[of + 1 : of + 4] == ["40", "60", "50"]
    assert "Of 150 seals asked 38 failed" in figure.layout.meta["alt"]


def test_no_bands_and_one_band(card) -> None:
    none = calibration_figure(replace(card, bands=pd.DataFrame(), chances=pd.DataFrame()))
    assert "No chances of single seals were given." in words(none)
    one = calibration_figure(replace(card, bands=card.bands.head(1)))
    assert "▲" not in words(one)
    assert list(drawn(one)) == ["as foretold", "interval", "ok"]
    with pytest.raises(InputError, match="months: is 24; known here: 12"):
        calibration_figure(card, 24)
