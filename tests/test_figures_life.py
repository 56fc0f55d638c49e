"""Survival panels and forests show the fits and the curves, and words where there is no fit."""

from __future__ import annotations

import lifesets
import numpy as np
import pytest
from studies import grids, hostile, no_failures, two_sites

from seallife.figures.forest import life_forest, rate_forest
from seallife.figures.life import no_fit_words, survival_figure, unit_years


def test_steps_are_the_kaplan_meier_curve_in_years() -> None:
    fits = grids().fits
    lines = {t.name: t for t in survival_figure(fits).data}
    solid, thin = lines["BATCH 1 Kaplan-Meier"], lines["BATCH 1 Kaplan-Meier, few at risk"]
    curve = fits.curves.curves
    curve = curve[curve["group"] == "BATCH 1"]
    x, y = np.r_[solid.x[:-1], thin.x[1:]], np.r_[solid.y[:-1], thin.y[1:]]
    np.testing.assert_allclose(x[1:-1], curve["age"] / 365.25, atol=1e-4)
    np.testing.assert_allclose(y[1:-1], curve["survival"], atol=1e-5)
    assert y[0] == 1
    assert solid.line.shape == thin.line.shape == "hv"
    assert (thin.line.dash, solid.line.dash) == ("dot", "solid")
    # The lines meet, where fewer than five are at risk for the first time.
    assert (solid.x[-1], solid.y[-1]) == (thin.x[0], thin.y[0])
    assert solid.y[-1] == solid.y[-2]
    around = fits.curves.at((thin.x[0] + np.array([-0.001, 0.001])) * 365.25)
    before, after = around.loc[around["group"] == "BATCH 1", "at_risk"]
    assert before >= 5 > after


def test_limits_hold_to_the_next_failure_even_where_that_has_none() -> None:
    fits = lifesets.fits()
    band = next(t for t in survival_figure(fits).data if t.name == "FEW interval")
    curve = fits.curves.curves
    last = curve[curve["group"] == "FEW"].iloc[-1]
    assert np.isnan(last["low"])
    assert max(band.x) == pytest.approx(last["age"] / 8766, abs=1e-4)


def test_a_class_without_failures_has_its_lower_limit_drawn() -> None:
    fits = no_failures().fits
    none = fits.table.loc[fits.table["failures"] == 0, "service_class"].iloc[0]
    drawn = {t.name: t for t in survival_figure(fits).data}
    band = drawn[f"{none} interval"]
    low = np.array([v for v in band.y if v is not None], dtype=float)
    assert 0 < low[np.isfinite(low)].min() < 1


def test_bound_without_failures_holds_up_to_each_age_and_is_dotted_where_few_are_watched() -> None:
    fits = lifesets.fits()
    drawn = {t.name: t for t in survival_figure(fits).data}
    band = drawn["NONE interval"]
    half = len(band.x) // 2
    ages, low = np.array(band.x[half:])[::-1], np.array(band.y[half:])[::-1]
    middle = (ages[:-1] + ages[1:]) / 2
    steps = np.diff(ages) > 1e-3
    seen = fits.curves.running(middle[steps] * 8766).set_index("group")
    np.testing.assert_allclose(low[:-1][steps], seen.loc["NONE", "low"], atol=1e-5)
    assert set(band.y[:half]) == {1.0}
    thin = drawn["NONE Kaplan-Meier, few at risk"]
    at = fits.curves.at([(thin.x[0] + 0.01) * 8766]).set_index("group")
    assert at.loc["NONE", "at_risk"] < 5


def test_steps_end_where_a_risk_set_emptied() -> None:
    fits = lifesets.fits()
    figure = survival_figure(fits)
    drawn = {t.name: t for t in figure.data}
    thin = drawn["EMPTIED Kaplan-Meier, few at risk"]
    assert thin.x[-1] == pytest.approx(5_000 / 8766, abs=1e-4)
    assert thin.y[-1] == 0
    assert "risk set emptied:<br>steps end" in [a.text for a in figure.layout.annotations]


def test_dashed_line_is_the_weibull_law_to_the_oldest_seal_and_no_further() -> None:
    fits = grids().fits
    row = fits["BATCH 2"]
    trace = next(t for t in survival_figure(fits).data if t.name == "BATCH 2 Weibull")
    oldest = row["oldest_age_d"] / 365.25
    assert trace.x[-1] == pytest.approx(oldest, abs=1e-4)
    expected = np.exp(-((oldest * 365.25 / row["scale_d"]) ** row["shape"]))
    assert trace.y[-1] == pytest.approx(expected, abs=1e-4)


def test_at_risk_figures_stand_under_each_panel() -> None:
    fits = grids().fits
    figure = survival_figure(fits)
    ticks = np.array(figure.layout.xaxis.tickvals)
    counts = fits.curves.at(ticks * unit_years(fits))
    wanted = [f"{n:,.0f}" for n in counts.loc[counts["group"] == "BATCH 1", "at_risk"]][1:]
    notes = [a.text for a in figure.layout.annotations if a.xref == "x domain" and a.yshift == -20]
    assert notes == wanted


def test_panel_says_class_lives_and_failures() -> None:
    texts = [a.text for a in survival_figure(grids().fits).layout.annotations]
    assert "<b>BATCH 1</b><br>39 lives, 24 failures" in texts
    assert any("years" in t and "at risk" in t for t in texts)


def test_class_without_fit_says_so_and_has_no_law() -> None:
    fits = no_failures().fits
    assert all(no_fit_words(fits.table))
    figure = survival_figure(fits)
    assert not [t for t in figure.data if t.name.endswith("Weibull")]
    assert any(a.text.startswith("no fit") for a in figure.layout.annotations)


def test_law_through_a_handful_of_failures_is_not_drawn() -> None:
    fits = two_sites().fits
    assert fits["FEW"]["failures"] < 5
    names = {t.name for t in survival_figure(fits).data}
    assert "FEW Weibull" not in names
    assert {"FEW Kaplan-Meier", "MANY Weibull"} <= names


def test_every_panel_has_its_own_axes_even_without_data() -> None:
    figure = survival_figure(no_failures().fits)
    used = {t.xaxis for t in figure.data}
    assert len(used) == len(no_failures().fits.table)


def test_forest_points_and_bars_are_the_table() -> None:
    fits = grids().fits
    figure = life_forest(fits)
    bars = next(t for t in figure.data if t.name == "10 % failed interval")
    points = next(t for t in figure.data if t.name == "10 % failed")
    year = 365.25
    np.testing.assert_allclose(points.x, fits.table["b10_d"] / year)
    np.testing.assert_allclose(bars.x[0::3], fits.table["b10_low_d"] / year)
    np.testing.assert_allclose(bars.x[1::3], fits.table["b10_high_d"] / year)
    assert list(figure.layout.yaxis.ticktext) == ["BATCH 1", "BATCH 2"]
    assert {"24", "26"} <= {a.text for a in figure.layout.annotations}


def test_forest_says_in_words_what_cannot_be_fitted() -> None:
    figure = life_forest(no_failures().fits)
    assert any(a.text.startswith("no fit") for a in figure.layout.annotations)
    assert not any(len(t.x) for t in figure.data)


def test_rate_without_failure_has_an_arrow_and_no_point() -> None:
    overall = no_failures().history.overall
    figure = rate_forest(overall[overall["by"] == "service_class"])
    point = next(t for t in figure.data if t.name == "MTBF")
    bar = next(t for t in figure.data if t.name == "MTBF interval")
    assert len(point.x) == 0
    assert bar.x[0] == pytest.approx(float(overall["mtbf_years_low"].iloc[0]))
    assert any(a.text == "▶" for a in figure.layout.annotations)


def test_markup_in_names_is_text() -> None:
    for figure in (survival_figure(hostile().fits), life_forest(hostile().fits)):
        assert "<img" not in figure.to_json().replace("\\u003c", "<")
