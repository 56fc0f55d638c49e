"""On probability paper points, limits, line and band are the result's; thin classes say so."""

from __future__ import annotations

from typing import Any

import lifesets
import numpy as np
import pytest
from studies import hostile, no_failures

from seallife import life
from seallife.errors import InputError
from seallife.figures.probability import probability_figure

YEAR = 8766.0


def named(figure: Any) -> dict[str, Any]:
    return {t.name: t for t in figure.data}


def texts(figure: Any) -> list[str]:
    return [a.text for a in figure.layout.annotations]


def failed_share(height: Any) -> np.ndarray:
    """Share failed that stands at a height of the paper."""
    values = np.array([np.nan if v is None else v for v in height], dtype=float)
    return 1 - np.exp(-(10**values))


def rank_lines() -> dict[str, life.RankLine]:
    age, failed, more = lifesets.arrays()
    rows = more["group"] == "MANY"
    return {"MANY": life.rank_line(age[rows], failed[rows])}


def test_circles_are_the_failures_at_the_middle_of_their_steps() -> None:
    fits = lifesets.fits()
    circles = named(probability_figure(fits, groups=["MANY"]))["MANY failures"]
    at = fits.curves.plotting_positions()
    at = at[at["group"] == "MANY"]
    np.testing.assert_allclose(circles.x, at["age"] / YEAR)
    np.testing.assert_allclose(failed_share(circles.y), at["failed"], rtol=1e-9)
    told = np.array(circles.customdata, dtype=float)
    np.testing.assert_allclose(told, at[["failed", "low", "high", "at_risk"]])


def test_small_panels_draw_some_of_many_failures_all_of_them_true() -> None:
    fits = lifesets.fits()
    circles = named(probability_figure(fits))["MANY failures"]
    at = fits.curves.plotting_positions()
    at = at[at["group"] == "MANY"]
    assert len(at) // 3 < len(circles.x) <= len(at)
    share = dict(zip((at["age"] / YEAR).round(9), at["failed"], strict=True))
    np.testing.assert_allclose(
        failed_share(circles.y), [share[round(x, 9)] for x in circles.x], rtol=1e-9
    )
    assert circles.x[0] == at["age"].iloc[0] / YEAR


def test_thin_steps_are_the_limits_of_kaplan_meier() -> None:
    fits = lifesets.fits()
    drawn = named(probability_figure(fits))
    curve = fits.curves.curves
    curve = curve[curve["group"] == "MANY"]
    for side, other in (("low", "high"), ("high", "low")):
        steps = drawn[f"MANY {side} limit"]
        np.testing.assert_allclose(steps.x[0::2], curve["age"] / YEAR)
        np.testing.assert_allclose(steps.x[1:-1:2], curve["age"][1:] / YEAR)
        assert steps.x[-1] == pytest.approx(fits["MANY"]["oldest_age_h"] / YEAR)
        for height in (steps.y[0::2], steps.y[1::2]):
            np.testing.assert_allclose(failed_share(height), 1 - curve[other], atol=1e-9)
        assert steps.line.width < drawn["MANY Weibull"].line.width


def test_line_is_the_fit_and_ends_at_the_oldest_seal() -> None:
    fits = lifesets.fits()
    row = fits["MANY"]
    law = named(probability_figure(fits))["MANY Weibull"]
    hours = np.array(law.x) * YEAR
    expected = 1 - np.exp(-((hours / row["scale_h"]) ** row["shape"]))
    np.testing.assert_allclose(failed_share(law.y), expected)
    assert law.x[-1] == pytest.approx(row["oldest_age_h"] / YEAR)


def test_band_holds_the_limits_of_the_fit_inside_the_ages_seen() -> None:
    fits = lifesets.fits()
    band = named(probability_figure(fits))["MANY Weibull interval"]
    at = fits.survival[fits.survival["service_class"] == "MANY"]
    at = at[at["age_h"] <= fits["MANY"]["oldest_age_h"] * (1 + 1e-9)]
    n = len(at)
    assert n >= 10
    np.testing.assert_allclose(band.x[:n], at["age_h"] / YEAR, atol=1e-4)
    np.testing.assert_allclose(failed_share(band.y[:n]), 1 - at["weibull_low"], rtol=1e-4)
    np.testing.assert_allclose(failed_share(band.y[n:])[::-1], 1 - at["weibull_high"], rtol=1e-4)
    assert band.fill == "toself"


def test_few_ages_have_bars_not_a_band() -> None:
    fits = lifesets.fits(band=False)
    bars = named(probability_figure(fits))["MANY Weibull interval"]
    at = fits.survival[fits.survival["service_class"] == "MANY"]
    np.testing.assert_allclose(bars.x[::3], at["age_h"] / YEAR)
    np.testing.assert_allclose(failed_share(bars.y[0::3]), 1 - at["weibull_high"])
    np.testing.assert_allclose(failed_share(bars.y[1::3]), 1 - at["weibull_low"])
    assert bars.y[2] is None
    assert bars.fill is None


def test_line_through_ranks_is_thin_dashed_and_called_a_comparison() -> None:
    ranks = rank_lines()
    figure = probability_figure(lifesets.fits(), ranks)
    trace = named(figure)["MANY line through ranks, a comparison only"]
    hours = np.array(trace.x) * YEAR
    expected = 1 - np.exp(-((hours / ranks["MANY"].scale) ** ranks["MANY"].shape))
    np.testing.assert_allclose(failed_share(trace.y), expected)
    assert (trace.line.dash, trace.line.width) == ("dash", 1)
    assert any("comparison only" in t for t in texts(figure))
    assert not any("comparison only" in t for t in texts(probability_figure(lifesets.fits())))


def test_few_failures_have_points_and_limits_but_no_line() -> None:
    figure = probability_figure(lifesets.fits(), {"FEW": rank_lines()["MANY"]})
    drawn = named(figure)
    assert {"FEW failures", "FEW low limit", "FEW high limit"} <= set(drawn)
    assert not [n for n in drawn if n.startswith("FEW") and ("Weibull" in n or "ranks" in n)]
    assert len(drawn["FEW failures"].x) == 3
    assert any(t.startswith("3 failures:") for t in texts(figure))


def test_one_failure_is_one_point_and_a_sentence() -> None:
    figure = probability_figure(lifesets.fits(), groups=["ONE"])
    drawn = named(figure)
    assert len(drawn["ONE failures"].x) == 1
    assert not [n for n in drawn if "Weibull" in n]
    assert any(t.startswith("one failure<br>tells no shape") for t in texts(figure))


def test_no_failure_has_only_an_upper_bound() -> None:
    fits = lifesets.fits()
    figure = probability_figure(fits)
    drawn = {n: t for n, t in named(figure).items() if n.startswith("NONE")}
    assert list(drawn) == ["NONE upper bound"]
    bound = drawn["NONE upper bound"]
    hours = np.array(bound.x) * YEAR
    seen = fits.curves.running(hours)
    low = seen.loc[seen["group"] == "NONE", "low"].to_numpy()
    known = np.array([v is not None for v in bound.y])
    np.testing.assert_allclose(failed_share(bound.y)[known], 1 - low[known])
    np.testing.assert_array_equal(known, low > 0)
    assert any("below the line" in t for t in texts(figure))


def test_what_follows_an_emptied_risk_set_is_counted_and_not_drawn() -> None:
    figure = probability_figure(lifesets.fits())
    assert len(named(figure)["EMPTIED failures"].x) == 1
    assert "risk set<br>emptied: 9<br>not drawn" in texts(figure)


def test_at_risk_figures_stand_at_the_ticks() -> None:
    fits = lifesets.fits()
    figure = probability_figure(fits, groups=["MANY"])
    ticks = np.array(figure.layout.xaxis.tickvals)
    at = fits.curves.at(ticks * YEAR)
    wanted = [f"{n:,.0f}" for n in at.loc[at["group"] == "MANY", "at_risk"]]
    notes = [a for a in figure.layout.annotations if a.xref == "x domain" and a.yshift == -20]
    assert [a.text for a in notes] == wanted
    low, high = figure.layout.xaxis.range
    np.testing.assert_allclose([a.x for a in notes], (np.log10(ticks) - low) / (high - low))


def test_axes_have_units_and_ticks_are_shares() -> None:
    figure = probability_figure(lifesets.fits())
    assert figure.layout.xaxis.type == "log"
    assert figure.layout.yaxis.title.text == "share failed"
    for value, text in zip(figure.layout.yaxis.tickvals, figure.layout.yaxis.ticktext, strict=True):
        assert 100 * failed_share([value])[0] == pytest.approx(float(text.removesuffix(" %")))
    assert any("years of running (8,766 h), log scale" in t for t in texts(figure))
    assert any("limits at 90 %" in t for t in texts(figure))
    days = probability_figure(lifesets.fits("calendar_d"))
    assert any("calendar years" in t for t in texts(days))


def test_missing_values_break_lines_and_are_never_zero() -> None:
    figure = probability_figure(lifesets.fits(), rank_lines())
    for trace in figure.data:
        values = [v for v in (*(trace.x or ()), *(trace.y or ())) if v is not None]
        assert np.isfinite(np.array(values, dtype=float)).all()
        assert min((v for v in trace.x if v is not None), default=1.0) > 0


def test_alt_text_tells_each_class() -> None:
    alt = probability_figure(lifesets.fits()).layout.meta["alt"]
    shape = lifesets.fits()["MANY"]["shape"]
    assert f"MANY: 60 failures of 90, shape {shape:.2f}" in alt
    assert "NONE: 0 failures of 9, no failures" in alt
    assert "FEW: 3 failures of 12, few failures" in alt


def test_only_failures_without_a_bound_still_has_axes_and_words() -> None:
    fits = no_failures().fits
    figure = probability_figure(fits)
    assert {t.xaxis for t in figure.data} == {"x"}
    assert any(t.startswith("no failure") for t in texts(figure))


def test_markup_in_names_is_text() -> None:
    for fits in (hostile().fits, lifesets.fits()):
        figure = probability_figure(fits)
        figure.layout.meta = None  # plain text, not read as markup
        assert "<img" not in figure.to_json().replace("\\u003c", "<")


@pytest.mark.parametrize("bad", [{"groups": ["nobody"]}, {"columns": 0}])
def test_bad_requests_are_refused(bad: dict[str, Any]) -> None:
    with pytest.raises(InputError, match=r"nobody|columns"):
        probability_figure(lifesets.fits(), **bad)
