"""Incidence panels show the curves of the result, tell causes apart without colour, and say what is
missing."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from seallife import life
from seallife.errors import InputError
from seallife.figures.causes import incidence_figure


def two_classes(causes=("fitting", "ageing", "dry running")):
    """Two classes with failures and one without."""
    rng = np.random.default_rng(4)
    n = 160
    scale = np.linspace(20_000, 60_000, len(causes))
    t = scale[:, None] * rng.exponential(size=(len(causes), n))
    stop = rng.uniform(1_000, 40_000, n)
    age = np.minimum(t.min(axis=0), stop)
    names = np.array([*causes, ""], dtype=object)
    cause = names[np.where(t.min(axis=0) <= stop, t.argmin(axis=0), len(causes))]
    group = np.repeat(["HOT", "COLD", "NONE"], [90, 60, 10])
    return life.cumulative_incidence(age, np.where(group == "NONE", "", cause), group=group)


def texts(figure):
    return [a.text for a in figure.layout.annotations]


def test_steps_are_the_curve_in_years():
    seen = two_classes()
    drawn = {t.name: t for t in incidence_figure(seen).data}
    solid, thin = drawn["HOT, fitting"], drawn["HOT, fitting, few at risk"]
    curve = seen.curves.query("group == 'HOT' and cause == 'fitting'")
    x, y = np.r_[solid.x[:-1], thin.x[1:]], np.r_[solid.y[:-1], thin.y[1:]]
    np.testing.assert_allclose(x[1:-1], curve["age"] / 8766, atol=1e-4)
    np.testing.assert_allclose(y[1:-1], curve["incidence"], atol=1e-5)
    assert (y[0], solid.line.shape, thin.line.shape) == (0, "hv", "hv")
    # thin from the first age at which fewer than five are at risk, without a gap
    first = curve[curve["at_risk"] < 5].iloc[0]
    assert thin.x[0] == solid.x[-1] == pytest.approx(first["age"] / 8766, abs=1e-4)
    assert thin.y[0] == solid.y[-1]
    assert thin.line.width < solid.line.width


def test_band_holds_the_limits():
    seen = two_classes()
    band = next(t for t in incidence_figure(seen).data if t.name == "COLD, ageing interval")
    curve = seen.curves.query("group == 'COLD' and cause == 'ageing'")
    assert max(v for v in band.y if v is not None) == pytest.approx(curve["high"].max(), abs=1e-5)
    axis = incidence_figure(seen).layout.yaxis
    assert axis.range[1] >= seen.high[np.isfinite(seen.high)].max()


def test_causes_differ_in_dash_and_are_named_with_their_failures():
    seen = two_classes()
    figure = incidence_figure(seen)
    dashes = {t.name: t.line.dash for t in figure.data if t.name.startswith("HOT, ")}
    plain = [d for n, d in dashes.items() if "interval" not in n and "few" not in n]
    assert len(set(plain)) == len(plain) == 3
    count = seen.curves.groupby(["group", "cause"])["events"].sum()
    for (group, cause), number in count.items():
        if group != "NONE":
            assert f"{cause} ({number:,.0f})" in texts(figure)
    # the sample of the dash beside each name
    assert {s.line.dash for s in figure.layout.shapes} == set(plain)


def test_names_at_line_ends_stand_apart():
    notes = [a for a in incidence_figure(two_classes()).layout.annotations if a.xshift == 34]
    by_panel = pd.DataFrame({"panel": [a.yref for a in notes], "y": [a.y for a in notes]})
    for _, panel in by_panel.groupby("panel"):
        assert np.diff(np.sort(panel["y"])).min() >= 0.129
        assert panel["y"].between(0, 1).all()


def test_at_risk_figures_stand_under_each_panel():
    seen = two_classes()
    figure = incidence_figure(seen)
    ticks = np.array(figure.layout.xaxis.tickvals) * 8766
    first = seen.table["group"].iloc[0]
    rows = seen.at(ticks).set_index(["group", "cause"]).loc[(first, "ageing")]
    wanted = [f"{n:,.0f}" for n in rows["at_risk"]][1:]
    notes = [a.text for a in figure.layout.annotations if a.xref == "x domain" and a.yshift == -20]
    assert notes == wanted


def test_caption_names_clock_level_and_counts():
    seen = two_classes()
    figure = incidence_figure(seen)
    row = seen["HOT"]
    assert f"<b>HOT</b><br>90 lives, {row['failures']} failures" in texts(figure)
    assert any("years of running" in t and "90 % interval" in t for t in texts(figure))
    assert any("calendar years" in t for t in texts(incidence_figure(seen, unit="d")))
    plain = incidence_figure(seen, unit="km")
    assert any(t.startswith("age in km;") for t in texts(plain))
    assert plain.layout.xaxis.tickvals[-1] >= seen.table["oldest_age"].max()


def test_class_without_failures_says_so_and_keeps_its_axes():
    figure = incidence_figure(two_classes())
    assert "no failures" in texts(figure)
    assert {t.xaxis for t in figure.data} == {"x", "x2", "x3"}
    nothing = life.cumulative_incidence([5.0, 6.0], ["", ""])
    assert len(incidence_figure(nothing, columns=1).data) == 1
    assert len(incidence_figure(life.cumulative_incidence([], [])).data) == 1


def test_causes_beyond_the_fourth_are_named_and_not_drawn():
    seen = two_classes(causes=("a", "b", "c", "d", "e", "f"))
    figure = incidence_figure(seen)
    drawn = {t.name.split(", ")[1] for t in figure.data if t.name.startswith("HOT, ")}
    drawn = {name.removesuffix(" interval") for name in drawn}
    assert len(drawn) == 4
    said = next(t for t in texts(figure) if "not drawn" in t)
    total = seen.curves.groupby("cause")["events"].sum()
    for cause in total.nsmallest(2).index:
        assert cause not in drawn
        assert f"{cause} ({total[cause]:,.0f})" in said


def test_markup_in_names_is_text():
    seen = life.cumulative_incidence(
        [1.0, 2, 3], ["<img src=x>", "", "b"], group=["<img src=y>"] * 3
    )
    assert "<img" not in incidence_figure(seen).to_json().replace("\\u003c", "<")


def test_no_columns_is_told():
    with pytest.raises(InputError, match="columns"):
        incidence_figure(two_classes(), columns=0)
