"""Classes side by side: every mark and bar is the result's, bounds are arrows, the order is B10."""

from __future__ import annotations

from functools import cache
from typing import Any

import lifesets
import numpy as np
import pytest
from studies import no_failures

from seallife.errors import InputError
from seallife.figures.classes import class_figure
from seallife.life.fits import LifeFits, fit_lives

YEAR = 8766.0


@cache
def bounds() -> LifeFits:
    return fit_lives(lifesets.lives(), fixed_shape=1.4)


def named(figure: Any) -> dict[str, Any]:
    return {t.name: t for t in figure.data}


def texts(figure: Any) -> list[str]:
    return [a.text for a in figure.layout.annotations]


def order(figure: Any) -> list[str]:
    return list(figure.layout.yaxis.ticktext)


def test_rows_stand_in_order_of_b10_with_the_rest_below() -> None:
    figure, table = class_figure(lifesets.fits()), lifesets.fits().table
    fitted = table[(table["failures"] >= 5)].sort_values("b10_h")["service_class"].tolist()
    names = [n.replace("&lt;", "<").replace("&gt;", ">") for n in order(figure)]
    assert names[: len(fitted)] == fitted
    assert set(names) == set(table["service_class"])


def test_b10_and_shape_are_the_fits() -> None:
    fits = lifesets.fits()
    figure = class_figure(fits)
    table = fits.table[fits.table["failures"] >= 5].sort_values("b10_h")
    marks, bars = (named(figure)[f"<b>B10</b> 10 % failed{s}"] for s in ("", " interval"))
    np.testing.assert_allclose(marks.x, table["b10_h"] / YEAR)
    np.testing.assert_allclose(bars.x[0::3], table["b10_low_h"] / YEAR)
    np.testing.assert_allclose(bars.x[1::3], table["b10_high_h"] / YEAR)
    marks, bars = (named(figure)[f"<b>shape</b> of the Weibull{s}"] for s in ("", " interval"))
    np.testing.assert_allclose(marks.x, table["shape"])
    np.testing.assert_allclose(bars.x[0::3], table["shape_low"])
    np.testing.assert_allclose(bars.x[1::3], table["shape_high"])
    np.testing.assert_allclose(marks.y, np.arange(len(table)))
    assert list(named(figure)["1"].x) == [1.0, 1.0]


@pytest.mark.parametrize("age", [1.0, 3.0])
def test_shares_are_kaplan_meier(age: float) -> None:
    fits = lifesets.fits()
    figure = class_figure(fits)
    seen = fits.curves.running([age * YEAR]).set_index("group")
    marks, bars = (named(figure)[f"<b>running</b> at {age:g} run y{s}"] for s in ("", " interval"))
    i = order(figure).index("MANY")
    at = list(marks.y).index(i)
    row = seen.loc["MANY"]
    assert marks.x[at] == pytest.approx(row["survival"])
    at = list(bars.y).index(i)
    assert tuple(bars.x[at : at + 2]) == pytest.approx((row["low"], row["high"]))


def test_without_a_failure_the_share_has_a_bound_and_an_arrow() -> None:
    fits = lifesets.fits()
    figure = class_figure(fits)
    i = order(figure).index("NONE")
    name = "<b>running</b> at 1 run y"
    assert i not in named(figure)[name].y
    bars = named(figure)[f"{name} interval"]
    at = list(bars.y).index(i)
    seen = fits.curves.running([YEAR]).set_index("group").loc["NONE"]
    assert bars.x[at] == pytest.approx(seen["low"])
    assert bars.x[at + 1] == figure.layout.xaxis.range[1]
    arrows = [(a.xref, a.y) for a in figure.layout.annotations if a.text == "▶"]
    assert ("x", i) in arrows
    assert any("none failed: the truth lies to the right" in t for t in texts(figure))


def test_a_shape_taken_from_elsewhere_gives_a_dotted_bound() -> None:
    figure = class_figure(lifesets.fits(), bounds())
    row = bounds()["NONE"]
    bars = named(figure)["<b>B10</b> 10 % failed under a shape taken interval"]
    i = order(figure).index("NONE")
    at = list(bars.y).index(i)
    assert bars.x[at] == pytest.approx(row["b10_low_h"] / YEAR)
    assert bars.x[at + 1] == pytest.approx(10 ** figure.layout.xaxis3.range[1])
    assert bars.line.dash == "dot"
    assert ("x3", i) in [(a.xref, a.y) for a in figure.layout.annotations if a.text == "▶"]
    few = named(figure)["<b>B10</b> 10 % failed under a shape taken"]
    assert order(figure).index("FEW") in few.y
    assert order(figure).index("NONE") not in few.y
    assert texts(figure).count("taken as 1.4") == 3
    assert any("dotted: if the shape is 1.4" in t for t in texts(figure))


def test_thin_classes_say_why_they_have_no_fit() -> None:
    figure = class_figure(lifesets.fits())
    assert texts(figure).count("few failures") == 4
    assert texts(figure).count("no failures") == 2
    marks = named(figure)["<b>B10</b> 10 % failed"]
    for name in ("FEW", "ONE", "NONE"):
        assert order(figure).index(name) not in marks.y


def test_what_was_not_seen_or_cannot_be_told_is_in_words() -> None:
    figure = class_figure(lifesets.fits(), ages=(0.7, 40.0))
    assert texts(figure).count("not seen") == len(order(figure))
    assert "cannot tell" in texts(figure)
    for trace in figure.data:
        values = [v for v in (*trace.x, *trace.y) if v is not None]
        assert np.isfinite(np.array(values, dtype=float)).all()


def test_all_failed_says_none_left() -> None:
    t = lifesets.lives()
    t = t[(t["service_class"] == "EMPTIED") & (t["entry_age_h"] > 0)].assign(entry_age_h=0.0)
    figure = class_figure(fit_lives(t, resamples=0), ages=(24_000 / YEAR,))
    assert "none left" in texts(figure)


def test_axes_have_units_and_failures_stand_beside() -> None:
    fits = lifesets.fits()
    figure = class_figure(fits)
    layout = figure.layout
    assert layout.xaxis.title.text == layout.xaxis2.title.text == "% of seals"
    assert layout.xaxis3.title.text == "run years, log"
    assert layout.xaxis4.title.text == "no unit, log"
    for i, name in enumerate(n for n in order(figure) if "lt;" not in n):
        count = f"{fits[name]['failures']:,}"
        assert count in [a.text for a in layout.annotations if a.xref == "paper"], i
    assert any("90 % intervals" in t for t in texts(figure))
    days = class_figure(lifesets.fits("calendar_d"))
    assert days.layout.xaxis3.title.text == "calendar years, log"


def test_alt_text_tells_each_class() -> None:
    row = lifesets.fits()["MANY"]
    alt = class_figure(lifesets.fits(), bounds()).layout.meta["alt"]
    assert f"MANY: 60 failures, B10 {row['b10_h'] / YEAR:.2f}" in alt
    assert f"NONE: 0 failures, B10 above {bounds()['NONE']['b10_low_h'] / YEAR:.2f} years" in alt
    assert "NONE: 0 failures, no failures" in class_figure(lifesets.fits()).layout.meta["alt"]


def test_a_fleet_without_failures_is_drawn() -> None:
    figure = class_figure(no_failures().fits)
    assert any(a.text == "▶" for a in figure.layout.annotations)
    assert not any(len(t.x) for t in figure.data if t.name.startswith("<b>B10"))


def test_markup_in_names_is_text() -> None:
    figure = class_figure(lifesets.fits())
    figure.layout.meta = None  # plain text, not read as markup
    assert "<img" not in figure.to_json().replace("\\u003c", "<")


@pytest.mark.parametrize("ages", [(), (0.0,), (np.nan, 1.0), ((1.0,),)])
def test_bad_ages_are_refused(ages: Any) -> None:
    with pytest.raises(InputError, match="ages"):
        class_figure(lifesets.fits(), ages=ages)


def test_bounds_of_other_lives_are_refused() -> None:
    for other in (no_failures().fits, lifesets.fits("calendar_d")):
        with pytest.raises(InputError, match="bounds"):
            class_figure(lifesets.fits(), other)
