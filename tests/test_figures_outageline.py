"""The outage list as a picture: order, gains, the line, what has no cost and what has no figure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from lawsets import law_draws, weibull_draws
from leakfigures import words

from seallife.figures.outageline import outage_line_figure
from seallife.spares.outage import OutageList, outage_list
from seallife.spares.outagewords import LIST_CAUTION

LAWS = law_draws(
    {
        "steep": weibull_draws(3.0, 20_000, 0.03),
        "unsure": weibull_draws(1.5, 20_000, 0.15),
        "constant": weibull_draws(1.0, 20_000, 0.03),
    }
)
COSTS = {"A": 6.0, "B": 6.0}


def seals(each: int = 4, **more: object) -> pd.DataFrame:
    group = np.repeat(["steep", "unsure", "constant"], each)
    n = len(group)
    table = pd.DataFrame(
        {
            "life_id": [f"L{i}" for i in range(n)],
            "position_id": [f"P{i}" for i in range(n)],
            "tag": [f"T{i}" for i in range(n)],
            "site": "North",
            "unit": "100",
            "service_class": group,
            "pool": "M1",
            "criticality": "A",
            "age_h": np.where(group == "steep", 16_000.0, 10_000.0) + 10.0 * np.arange(n),
            "hours_a_day": 15.0,
            "factor": 1.0,
            "days_to_outage": 100.0,
        }
    )
    return table.assign(**more)


def listed(table: pd.DataFrame, **more: object) -> OutageList:
    asked: dict[str, object] = {"planned_cost": 1.0, "failure_cost": COSTS, "default_days": 400.0}
    return outage_list(table, LAWS, **(asked | more))


def drawn(figure, axis: str = "x"):
    return {t.name: t for t in figure.data if (t.xaxis or "x") == axis}


def names(figure, axis: str = "yaxis") -> dict[float, str]:
    return dict(zip(figure.layout[axis].tickvals, figure.layout[axis].ticktext, strict=True))


def line_at(figure) -> float:
    return next(s.y0 for s in figure.layout.shapes if s.line.width == 2.5)


def test_gains_stand_in_order_with_their_intervals_and_the_line_between() -> None:
    result = listed(seals())
    verdicts = result.table["verdict"].tolist()
    assert verdicts == ["renew"] * 4 + ["cannot tell yet"] * 4 + ["leave"] * 4
    figure = outage_line_figure(result, currency="crowns")
    marks = drawn(figure)
    for verdict, part in result.table.groupby("verdict"):
        assert list(marks[verdict].x) == part["gain"].tolist()
    bars = marks["interval"]
    np.testing.assert_allclose(bars.x[0::3], result.table["gain_low"], atol=1e-6)
    np.testing.assert_allclose(bars.x[1::3], result.table["gain_high"], atol=1e-6)
    assert max(marks["renew"].y) < line_at(figure) < min(marks["cannot tell yet"].y)
    order = [name for _, name in sorted(names(figure).items())]
    assert order == result.table["position_id"].tolist()
    assert "crowns" in figure.layout.xaxis.title.text
    said = words(figure)
    for word in ("<b>renew</b><br>4 seals", "<b>leave</b>", "money line", "interval at 90%"):
        assert word in said
    assert "4 renew, 4 cannot tell yet, 4 leave" in figure.layout.meta["alt"]
    assert "below the first 4" in figure.layout.meta["alt"]
    assert marks["renew"].marker.color != marks["leave"].marker.color == "white"


def test_the_caution_stands_under_every_list() -> None:
    for result in (listed(seals()), listed(seals(), failure_cost=np.nan)):
        said = words(outage_line_figure(result)).replace("<br>", " ")
        assert LIST_CAUTION in said
        assert "safe" not in said
        assert "remaining" not in said


def test_a_long_list_keeps_its_line_and_counts_what_it_leaves_out() -> None:
    result = listed(seals(40))
    figure = outage_line_figure(result, 12)
    assert len(names(figure)) == 12
    assert words(figure).count("… and 36 more") == 3
    assert "40 seals" in words(figure)
    marks = drawn(figure)
    assert max(marks["renew"].y) < line_at(figure) < min(marks["cannot tell yet"].y)
    first = result.table.query("verdict == 'leave'").iloc[0]["position_id"]
    assert names(figure)[min(marks["leave"].y)] == first
    assert figure.layout.height < 700
    assert len(outage_line_figure(result, 0).layout.yaxis.tickvals) == 3


def test_without_a_cost_the_chances_stand_instead() -> None:
    result = listed(seals(), failure_cost=np.nan)
    figure = outage_line_figure(result)
    marks = drawn(figure)
    np.testing.assert_allclose(marks["if left in"].x, result.table["chance_left"])
    np.testing.assert_allclose(marks["if renewed"].x, result.table["chance_renewed"])
    bars = marks["interval if left in"].x
    np.testing.assert_allclose(bars[1::3], result.table["chance_left_high"], atol=1e-6)
    assert "no cost given" in words(figure)
    assert "money line" not in words(figure) + figure.layout.meta["alt"]
    assert "fail between this outage and the next" in figure.layout.xaxis.title.text
    assert not any(s.line.width == 2.5 for s in figure.layout.shapes)


def test_rows_with_and_without_a_cost_stand_apart() -> None:
    mixed = listed(seals(criticality=["A", "C"] * 6))
    figure = outage_line_figure(mixed)
    assert len(names(figure)) == len(names(figure, "yaxis2")) == 6
    assert "if left in" in drawn(figure, "x2")
    assert "if left in" not in drawn(figure)
    top, bottom = figure.layout.yaxis.domain, figure.layout.yaxis2.domain
    assert 0 <= bottom[0] < bottom[1] < top[0] < top[1] <= 1


def test_leaks_stand_first_even_without_a_figure_and_others_are_counted() -> None:
    table = seals()
    table["leak_state"] = ["none"] * 10 + ["in alarm"] * 2
    table["alarm_chance"] = np.nan
    table.loc[11, "age_h"] = np.nan
    table.loc[[4, 5], "days_to_outage"] = np.nan
    figure = outage_line_figure(listed(table))
    assert names(figure)[0] == "P10"
    assert names(figure)[1] == "P11"
    said = words(figure)
    assert "act on the leak" in said
    assert "above it seals leak, or renewing pays" in said
    assert "no gain: age not known" in said
    assert "No figure, and not drawn: 2 no outage ahead." in said
    many = seals(20, leak_state="in alarm", alarm_chance=np.nan)
    assert "more: act on these too" in words(outage_line_figure(listed(many), 5))


def test_one_row_and_none_and_hostile_names() -> None:
    result = listed(seals().assign(position_id="<img src=x>", service_class="steep"))
    one = outage_line_figure(replace(result, table=result.table.head(1)), currency="<i>")
    assert list(one.layout.yaxis.ticktext) == ["&lt;img src=x&gt;"]
    told = " ".join(c for t in one.data if t.customdata is not None for c in t.customdata)
    for text in (told, one.layout.xaxis.title.text, words(one)):
        assert "<img" not in text
        assert "<i>" not in text
    assert "<b>renew</b>, 1 seal" in words(one)
    none = outage_line_figure(listed(seals(days_to_outage=np.nan)))
    assert "No seal can be put in order." in words(none)
    assert "12 no outage ahead" in words(none)
    empty = replace(result, table=result.table.head(0))
    assert "No seal can be put in order." in words(outage_line_figure(empty))


@pytest.mark.parametrize("planned", [0.01, 5.9])
def test_the_line_holds_its_place_where_all_or_none_pay(planned: float) -> None:
    table = seals().query("service_class == 'steep'")
    result = listed(table, planned_cost=planned)
    figure = outage_line_figure(result)
    above = sum(at < line_at(figure) for at in names(figure))
    assert above == result.line
    assert result.line == (4 if planned == 0.01 else 0)
