"""Rates by age and the fitted law over them are the result's, inside the ages seen."""

from __future__ import annotations

from functools import cache
from typing import Any

import lifesets
import numpy as np
import pandas as pd
import pytest

from seallife import life
from seallife.errors import InputError
from seallife.figures.hazard import hazard_figure

YEAR = 8766.0
EDGES = YEAR * np.array([0, 0.25, 0.5, 1, 2, 3, 9])


@cache
def results() -> tuple[life.WeibullHazards, pd.DataFrame, life.LawHazards]:
    age, failed, more = lifesets.arrays()
    at = YEAR * np.array([0.05, 0.2, 0.5, 1, 1.5, 2, 3, 5])
    hazards = life.weibull_hazard(age, failed, at, resamples=0, **more)
    rates = life.exposure_table(age, failed, EDGES, **more)
    others = life.law_hazards(age, failed, at, ["lognormal", "gamma"], **more)
    return hazards, rates, others


def drawn(**more: Any) -> Any:
    hazards, rates, _ = results()
    return hazard_figure(hazards, rates, **more)


def named(figure: Any) -> dict[str, Any]:
    return {t.name: t for t in figure.data}


def texts(figure: Any) -> list[str]:
    return [a.text for a in figure.layout.annotations]


def bands_of(group: str) -> pd.DataFrame:
    rates = results()[1]
    seen = rates[(rates["group"] == group) & (rates["exposure"] > 0)]
    oldest = results()[0][group]["oldest_age"]
    return seen.assign(upper=np.minimum(seen["upper"], oldest))


def test_counted_rates_stand_over_their_bands() -> None:
    traces, seen = named(drawn()), bands_of("MANY")
    some = seen[seen["failures"] > 0]
    np.testing.assert_allclose(traces["MANY counted"].y, some["rate"] * YEAR)
    np.testing.assert_allclose(traces["MANY counted"].x, (some["lower"] + some["upper"]) / 2 / YEAR)
    np.testing.assert_allclose(traces["MANY bands"].x[0::3], some["lower"] / YEAR)
    np.testing.assert_allclose(traces["MANY bands"].x[1::3], some["upper"] / YEAR)
    np.testing.assert_allclose(traces["MANY bands"].y[0::3], some["rate"] * YEAR)


def test_uprights_are_the_exact_limits() -> None:
    figure, seen = drawn(), bands_of("MANY")
    uprights = named(figure)["MANY limits"]
    np.testing.assert_allclose(uprights.y[1::3], seen["rate_high"] * YEAR)
    some = (seen["failures"] > 0).to_numpy()
    np.testing.assert_allclose(
        np.array(uprights.y[0::3], dtype=float)[some], seen["rate_low"][some] * YEAR
    )


def test_a_band_without_failures_has_a_triangle_at_its_upper_limit_and_no_rate() -> None:
    figure, seen = drawn(), bands_of("NONE")
    traces = named(figure)
    np.testing.assert_allclose(traces["NONE none failed"].y, seen["rate_high"] * YEAR)
    assert traces["NONE none failed"].marker.symbol == "triangle-up"
    assert len(traces["NONE counted"].x) == 0
    # the upright comes from below the axis: a log axis has no 0
    bottom = 10 ** figure.layout.yaxis.range[0]
    assert max(traces["NONE limits"].y[0::3]) < bottom


def test_bands_in_which_nobody_lived_are_not_drawn() -> None:
    rates = results()[1]
    empty = rates[(rates["group"] == "EMPTIED") & (rates["exposure"] == 0)]
    assert len(empty)
    assert empty["rate"].isna().all()
    traces = named(drawn())
    count = len(traces["EMPTIED counted"].x) + len(traces["EMPTIED none failed"].x)
    assert count == len(bands_of("EMPTIED"))
    for trace in traces.values():
        values = np.array([v for v in trace.y if v is not None], dtype=float)
        assert np.isfinite(values).all()
        assert (values > 0).all()


def test_line_and_band_are_the_fitted_rate_inside_the_ages_seen() -> None:
    hazards, traces = results()[0], named(drawn())
    law = hazards.hazard[hazards.hazard["group"] == "MANY"]
    law = law[law["age"] <= hazards["MANY"]["oldest_age"]]
    assert len(law) < (hazards.hazard["group"] == "MANY").sum()
    np.testing.assert_allclose(traces["MANY Weibull"].x, law["age"] / YEAR)
    np.testing.assert_allclose(traces["MANY Weibull"].y, law["hazard"] * YEAR)
    band, n = traces["MANY Weibull interval"], len(law)
    assert band.fill == "toself"
    np.testing.assert_allclose(band.y[:n], law["high"] * YEAR, atol=1e-4)
    np.testing.assert_allclose(band.y[n:][::-1], law["low"] * YEAR, atol=1e-4)


@pytest.mark.parametrize(
    ("group", "words"),
    [
        ("NONE", "no failure:<br>upper limits only"),
        ("ONE", "one failure<br>tells no shape:<br>no line"),
        ("FEW", "3 failures:<br>too few for a line"),
    ],
)
def test_thin_classes_have_no_line_and_say_why(group: str, words: str) -> None:
    figure = drawn(groups=[group])
    assert not [n for n in named(figure) if "Weibull" in n]
    assert words in texts(figure)
    assert f"{group} limits" in named(figure)


def test_other_laws_are_thin_named_and_end_with_the_ages_seen() -> None:
    hazards, rates, others = results()
    figure = hazard_figure(hazards, rates, others)
    traces = named(figure)
    at = others.hazard
    at = at[(at["group"] == "MANY") & (at["law"] == "lognormal")]
    at = at[at["age"] <= hazards["MANY"]["oldest_age"]]
    np.testing.assert_allclose(traces["MANY lognormal"].y, at["hazard"] * YEAR)
    assert traces["MANY lognormal"].line.width < traces["MANY Weibull"].line.width
    assert traces["MANY lognormal"].line.dash != traces["MANY gamma"].line.dash
    assert any("without limits: dashes lognormal, dots gamma" in t for t in texts(figure))
    assert "NONE gamma" not in traces


def test_axes_units_heads_and_level() -> None:
    figure = drawn()
    assert figure.layout.yaxis.title.text == "per seal and year"
    assert figure.layout.yaxis.type == "log"
    assert any(
        "years of running (8,766 h)" in t and "per seal and year" in t for t in texts(figure)
    )
    assert any("exact limits at 90 %" in t for t in texts(figure))
    seen = bands_of("MANY")
    failures, years = seen["failures"].sum(), seen["exposure"].sum() / YEAR
    assert f"<b>MANY</b><br>{failures:.0f} failures in {years:,.0f} y" in texts(figure)
    other = drawn(unit="starts")
    assert any("age in starts" in t for t in texts(other))
    assert other.layout.yaxis.title.text == "per seal and starts"
    assert any("calendar years" in t for t in texts(drawn(unit="d")))


def test_all_rates_lie_on_the_axis() -> None:
    figure = drawn()
    low, high = figure.layout.yaxis.range
    for name, trace in named(figure).items():
        if name.endswith(("counted", "Weibull")):
            heights = np.log10(np.array(trace.y, dtype=float))
            assert ((heights > low) & (heights < high)).all(), name


def test_alt_text_tells_each_class() -> None:
    alt = drawn().layout.meta["alt"]
    assert f"MANY: 60 failures, fitted shape {results()[0]['MANY']['shape']:.2f}" in alt
    assert "NONE: 0 failures, no failures" in alt
    assert "per seal and year" in alt


def test_a_single_life_and_markup_are_drawn() -> None:
    hazards = life.weibull_hazard([5.0], [False], [1.0, 2.0], group=["<img src=x>"])
    rates = life.exposure_table([5.0], [False], [0, 10], group=["<img src=x>"])
    figure = hazard_figure(hazards, rates, unit="km")
    figure.layout.meta = None  # plain text, not read as markup
    assert "<img" not in figure.to_json().replace("\\u003c", "<")
    assert any(t.startswith("no failure") for t in texts(figure))


def test_rates_of_other_classes_and_bad_requests_are_refused() -> None:
    hazards, rates, _ = results()
    with pytest.raises(InputError, match="rates: has no class"):
        hazard_figure(hazards, rates[rates["group"] != "MANY"])
    with pytest.raises(InputError, match="nobody"):
        drawn(groups=["nobody"])
    with pytest.raises(InputError, match="columns"):
        drawn(columns=0)
