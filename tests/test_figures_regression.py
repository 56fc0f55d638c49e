"""The forest of ratios shows what is in the result, and says in words what is not."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from test_life_regression import sample

from seallife.figures.regression import time_ratio_figure
from seallife.life import fit_cox_factors, fit_weibull_factors


def fitted(fit=fit_weibull_factors, **more: object):
    t = sample(1)
    t["kind"] = t["kind"].replace("top", "<b>top</b>")
    t.loc[t["kind"] == "low", "failed"] = False
    arguments = (t["age"], t["failed"], t[["a", "b", "kind"]])
    return fit(*arguments, entry_age=t["entry"], steps={"a": (10, "10 °C")}, **more)


def texts(figure) -> list[str]:
    return [a.text for a in figure.layout.annotations]


def test_each_row_has_its_ratio_interval_and_failures() -> None:
    result = fitted()
    figure = time_ratio_figure(result)
    marks = [t for t in figure.data if t.mode == "markers"]
    bars = [t for t in figure.data if t.name == "interval"]
    known = result.table[result.table["ratio"].notna()]
    np.testing.assert_allclose([m.x[0] for m in marks], known["ratio"])
    np.testing.assert_allclose([b.x for b in bars], known[["low", "high"]])
    assert figure.layout.xaxis.type == "log"
    for row in known.to_dict("records"):
        assert f"{row['ratio']:.2f} ({row['low']:.2f}–{row['high']:.2f})" in texts(figure)
        assert f"{row['failures']:,}" in texts(figure)
    reference = next(t for t in figure.data if t.name == "no effect")
    assert list(reference.x) == [1.0, 1.0]


def test_both_ends_are_in_words_and_tell_lives_from_rates() -> None:
    assert {"◀ shorter life", "longer life ▶"} <= set(texts(time_ratio_figure(fitted())))
    rates = time_ratio_figure(fitted(fit_cox_factors))
    assert {"◀ lower rate", "higher rate ▶"} <= set(texts(rates))
    assert "failure rate" in rates.layout.xaxis.title.text
    assert "ratio (80 %)" in texts(time_ratio_figure(fitted(level=0.8)))


def test_a_row_without_a_ratio_says_so_and_markup_is_text() -> None:
    figure = time_ratio_figure(fitted())
    assert "no ratio: no failures" in texts(figure)
    assert any("&lt;b&gt;top" in t for t in figure.layout.yaxis.ticktext)
    assert not any("<b>" in t for t in figure.layout.yaxis.ticktext)


def test_filled_only_where_the_interval_leaves_out_one() -> None:
    result = fitted()
    marks = [t for t in time_ratio_figure(result).data if t.mode == "markers"]
    known = result.table[result.table["ratio"].notna()]
    clear = (known["low"] > 1) | (known["high"] < 1)
    assert [m.marker.color != "white" for m in marks] == clear.tolist()


def test_wide_intervals_end_in_arrows_inside_the_axis_and_few_failures_are_dotted() -> None:
    t = sample(2, n=40)
    t["failed"] &= np.cumsum(t["failed"]) <= 6
    result = fit_weibull_factors(t["age"], t["failed"], t[["b"]], steps={"b": (6, "6 units")})
    figure = time_ratio_figure(result)
    bar = next(trace for trace in figure.data if trace.name == "interval")
    assert bar.line.dash == "dot"
    low, high = figure.layout.xaxis.range
    assert 10**low <= min(bar.x) <= max(bar.x) <= 10**high
    assert {"◀", "▶"} & set(texts(figure))


@pytest.mark.parametrize("rows", [0, 1])
def test_no_factor_at_all_is_drawn_too(rows: int) -> None:
    t = sample(3)
    result = fit_weibull_factors(t["age"], t["failed"], pd.DataFrame({"a": t["a"]}).iloc[:, :rows])
    assert len(time_ratio_figure(result).layout.yaxis.ticktext or ()) == rows


def test_a_ratio_far_out_is_on_the_axis_and_long_names_have_two_lines() -> None:
    t = sample(2, n=200)
    t["failed"] = True
    values = t[["b"]].rename(columns={"b": "a factor of a very long name"})
    age = t["age"] * 20.0 ** values.iloc[:, 0]
    result = fit_weibull_factors(age, t["failed"], values)
    ratio = result.table["ratio"].iloc[0]
    assert ratio > 8
    figure = time_ratio_figure(result)
    mark = next(trace for trace in figure.data if trace.mode == "markers")
    low, high = 10 ** np.array(figure.layout.xaxis.range)
    assert low < mark.x[0] == ratio < high
    assert "<br>" in figure.layout.yaxis.ticktext[0]
    assert f"{ratio:.3g}" in next(t for t in texts(figure) if t.startswith(f"{ratio:.3g}"))
