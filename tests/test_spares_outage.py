"""The outage list: figures by hand, order and words, what is not known, bad input."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lawsets import HOT, KNOTS, law_draws, weibull_draws
from scipy.integrate import trapezoid

from seallife.errors import InputError
from seallife.spares.outage import OutageList, outage_list
from seallife.spares.outagewords import LIST_CAUTION

LAWS = law_draws(
    {
        "steep": weibull_draws(3.0, 20_000, 0.03),
        "unsure": weibull_draws(1.5, 20_000, 0.15),
        "constant": weibull_draws(1.0, 20_000, 0.03),
        "hot": [HOT] * 200,
    }
)
SEALS = pd.DataFrame(
    {
        "life_id": [f"L{i}" for i in range(8)],
        "position_id": [f"P{i}" for i in range(8)],
        "tag": [f"P-10{i}" for i in range(8)],
        "site": "North",
        "unit": ["100", "100", "100", "100", "200", "200", "200", "300"],
        "service_class": ["steep", "steep", "steep", "constant", "hot", "unsure", "odd", "steep"],
        "pool": "M1",
        "criticality": list("ABCABCAB"),
        "age_h": [15_000.0, 1_000.0, np.nan, 15_000.0, 25_000.0, 10_000.0, 5_000.0, 5_000.0],
        "hours_a_day": 15.0,
        "factor": [1.0, 1.0, 1.0, 1.0, 1.5, 1.0, 1.0, 1.0],
        "days_to_outage": [100.0] * 7 + [np.nan],
    }
)
SPACING = pd.DataFrame(
    {"site": "North", "unit": ["100", ""], "days_between": [400.0, 800.0]},
)


def listed(seals: pd.DataFrame = SEALS, **more: object) -> OutageList:
    asked = {"planned_cost": 1.0, "failure_cost": 6.0, "spacing": SPACING, **more}
    return outage_list(seals, LAWS, **asked)


def test_figures_of_a_seal_are_those_worked_out_by_hand() -> None:
    one = law_draws({"steep": weibull_draws(3.0, 20_000, 0.0, draws=2)})
    row = outage_list(SEALS[:1], one, planned_cost=1, failure_cost=6, spacing=SPACING)["L0"]

    def total(x: np.ndarray) -> np.ndarray:
        return np.interp(x, KNOTS, (KNOTS / 20_000) ** 3)

    h = total(np.array([15_000, 16_500, 22_500, 6_000]))
    assert row["age_then"] == 16_500
    assert row["days_between"] == 400
    assert row["chance_before"] == pytest.approx(1 - np.exp(h[0] - h[1]), rel=1e-9)
    assert row["chance_left"] == pytest.approx(1 - np.exp(h[1] - h[2]), rel=1e-9)
    assert row["chance_renewed"] == pytest.approx(1 - np.exp(-h[3]), rel=1e-9)
    x = np.linspace(16_500, 22_500, 10_001)
    run = trapezoid(np.exp(h[1] - total(x)), x)
    ages = 6_000.0 * np.arange(1, 9)
    failed = 1 - np.exp(-total(ages))
    y = np.linspace(0, ages, 20_001)
    rate = (1 + 5 * failed) / trapezoid(np.exp(-total(y)), y, axis=0)
    assert row["cost_leaving"] == pytest.approx(5 * row["chance_left"], rel=1e-9)
    assert row["cost_renewing"] == pytest.approx(rate.min() * run, rel=1e-6)
    assert row["gain"] == pytest.approx(row["cost_leaving"] - row["cost_renewing"], rel=1e-9)


def test_the_list_is_in_order_and_its_line_is_where_renewing_pays() -> None:
    result = listed()
    verdicts = dict(zip(result.table["life_id"], result.table["verdict"], strict=True))
    assert verdicts["L0"] == "renew"
    assert verdicts["L1"] == "leave"
    assert verdicts["L3"] == "leave"
    assert verdicts["L5"] == "cannot tell yet"
    table = result.table
    assert result.line == (table["verdict"] == "renew").sum()
    assert (table["verdict"].iloc[: result.line] == "renew").all()
    assert table["rank"].tolist()[:5] == [1, 2, 3, 4, 5]
    assert np.isnan(table["rank"].iloc[5:]).all()
    for word in ("renew", "cannot tell yet", "leave"):
        assert table.loc[table["verdict"] == word, "gain"].is_monotonic_decreasing
    for name in ("chance_before", "chance_left", "chance_renewed", "gain"):
        known = table[table["gain"].notna()]
        assert (known[f"{name}_low"] <= known[name] + 1e-12).all()
        assert (known[name] <= known[f"{name}_high"] + 1e-12).all()
    row = result["L0"]
    assert f"{row['chance_left']:.0%} are expected to fail between" in row["message"]
    # the simple rule would renew the seal that does not age
    assert result["L3"]["simple_rule"]
    assert not result["L3"]["gain"] > 0


def test_early_failures_count_against_renewal() -> None:
    row = listed()["L4"]
    assert row["chance_renewed"] > 1 - (0.95 + 0.05 * np.exp(-((12_000 / 1_200) ** 0.8))) ** 1.5


def test_what_is_not_known_is_said_and_nothing_is_dropped() -> None:
    result = listed()
    assert len(result) == len(SEALS)
    for life, status, words in (
        ("L2", "age not known", "age is not known"),
        ("L6", "no law", "No law of life"),
        ("L7", "no outage ahead", "No outage of this unit"),
    ):
        row = result[life]
        assert (row["status"], row["verdict"]) == (status, "")
        assert words in row["message"]
        assert np.isnan(row["chance_left"])
    assert listed(SEALS.assign(hours_a_day=np.nan))["L0"]["status"] == "run not known"
    nothing = listed(SEALS.assign(age_h=np.nan))
    assert nothing.totals["asked"].eq(0).all()
    assert nothing.totals["before"].isna().all()
    assert listed(SEALS[:0]).totals["service_class"].tolist() == ["all"]


def test_days_between_outages_by_unit_by_site_or_by_default() -> None:
    days = listed().table.set_index("life_id")[["days_between", "days_between_from"]]
    assert days.loc["L0"].tolist() == [400, "given"]
    assert days.loc["L4"].tolist() == [800, "given"]
    plain = listed(spacing=None, default_days=700)
    assert plain.table["days_between"].eq(700).all()
    assert plain.table["days_between_from"].eq("default").all()
    assert "1.9 years" in plain.method


def test_without_costs_criticality_and_chance_give_the_order() -> None:
    table = listed(failure_cost={"A": 6.0}).table
    assert table["life_id"].tolist()[:2] == ["L0", "L3"]
    rest = table[table["verdict"] == "no cost given"]
    assert rest["criticality"].tolist() == ["B", "B", "C"]
    assert rest["life_id"].tolist()[:2] == ["L4", "L1"]
    assert rest["status"].eq("no cost given").all()
    assert rest["gain"].isna().all()
    assert rest["chance_left"].notna().all()
    assert "Costs are not given" in rest["message"].iloc[0]


def test_a_seal_in_alarm_comes_first_whatever_its_figures() -> None:
    states = SEALS.assign(
        leak_state=["none", "in alarm", "in alarm", *["not read"] * 5],
        alarm_chance=[np.nan, 0.7, 0.7, 0.001, *[np.nan] * 4],
    )
    result, plain = listed(states), listed()
    assert result.table["verdict"].tolist()[:2] == ["act on the leak"] * 2
    assert result.table["life_id"].tolist()[:2] == ["L1", "L2"]
    assert result.table["rank"].tolist()[:2] == [1, 2]
    assert result["L1"]["chance_left"] == pytest.approx(0.7)
    assert result["L1"]["chance_before"] == pytest.approx(0.7)
    assert result["L1"]["gain"] > plain["L1"]["gain"]
    assert "act on the leak now" in result["L1"]["message"]
    assert "age is not known" in result["L2"]["message"]
    # a chance below that of the law changes nothing
    assert result["L3"]["chance_left"] == plain["L3"]["chance_left"]
    assert result.line == plain.line + 2
    assert "never a reason to leave a leaking seal in" in LIST_CAUTION


def test_classes_not_known_to_age_are_never_advised() -> None:
    row = listed(not_by_age=["steep"])["L0"]
    assert row["verdict"] == "cannot tell yet"
    assert "not known to grow with age" in row["message"]


def test_totals_are_the_sums_of_the_rows() -> None:
    result = listed()
    totals = result.totals.set_index("service_class")
    table = result.table
    assert totals.loc["all", "seals"] == len(SEALS)
    assert totals.loc["all", "asked"] == 5
    assert totals.loc["steep", "seals"] == 4
    assert totals.loc["all", "before"] == pytest.approx(table["chance_before"].sum())
    by_class = totals.drop("all")
    for name in ("seals", "asked", "marked", "before", "after_left", "after_renewed"):
        assert by_class[name].sum() == pytest.approx(totals.loc["all", name])
    assert totals.loc["all", "after_renewed"] < totals.loc["all", "after_left"]
    assert np.isnan(totals.loc["odd", "before"])
    spread = totals.loc[["all", "steep", "unsure", "constant"]]
    assert (spread["after_left_low"] < spread["after_left"]).all()
    assert (spread["after_left"] < spread["after_left_high"]).all()


def test_laws_in_days_take_ages_in_days() -> None:
    hours = law_draws({"steep": weibull_draws(3.0, 20_000, 0.03)})
    days = law_draws({"steep": weibull_draws(3.0, 20_000, 0.03)}, unit="d")
    seals = SEALS[:2].assign(hours_a_day=1.0, age_d=SEALS["age_h"], days_to_outage=1_500.0)
    one, two = (
        outage_list(s, laws, planned_cost=1, failure_cost=6, default_days=6_000)
        for s, laws in ((seals, hours), (seals.drop(columns=["age_h", "hours_a_day"]), days))
    )
    np.testing.assert_allclose(one.table["gain"], two.table["gain"])


@settings(max_examples=25)
@given(st.lists(st.floats(0, 40_000), min_size=1, max_size=12), st.floats(0, 24))
def test_any_set_of_seals_has_chances_that_are_shares(ages: list[float], hours: float) -> None:
    seals = pd.DataFrame(
        {
            "life_id": range(len(ages)),
            "position_id": "p",
            "tag": "t",
            "site": "s",
            "unit": None,
            "service_class": "hot",
            "criticality": None,
            "age_h": ages,
            "hours_a_day": hours,
            "factor": 1.0,
            "days_to_outage": 30.0,
        }
    )
    before = seals.copy()
    table = outage_list(seals, LAWS, planned_cost=1, failure_cost=6).table
    pd.testing.assert_frame_equal(seals, before)
    for name in ("chance_before", "chance_left", "chance_renewed"):
        assert table[name].between(0, 1).all()
    assert table["rank"].tolist() == list(range(1, len(ages) + 1))
    assert table["gain"].notna().all()
    if hours == 0:
        assert table["verdict"].eq("leave").all()


def test_many_seals_are_worked_on_in_blocks_with_the_same_answer() -> None:
    many = pd.concat([SEALS[:1]] * 150).assign(life_id=range(150))
    gain = listed(many).table["gain"]
    np.testing.assert_allclose(gain, listed(SEALS[:1]).table["gain"].iloc[0], rtol=1e-12)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: listed(SEALS.drop(columns="tag")), "seals: has no column tag"),
        (lambda: listed(SEALS.assign(life_id="L1")), "'L1' is there twice"),
        (lambda: listed(SEALS.assign(age_h=-1)), "seals.age_h: is -1"),
        (lambda: listed(SEALS.assign(factor=np.nan)), "seals.factor: is not known"),
        (lambda: listed(SEALS.assign(leak_state="wet")), "seals.leak_state: is 'wet'"),
        (lambda: listed(SEALS.assign(alarm_chance=1.2)), "seals.alarm_chance: is above 1"),
        (lambda: listed(spacing=SPACING.drop(columns="unit")), "spacing: has no column unit"),
        (lambda: listed(spacing=SPACING.assign(days_between=0)), "spacing.days_between: is not"),
        (lambda: listed(spacing=None, default_days=0), "default_days: is 0"),
        (lambda: listed(planned_cost=0), "planned_cost: is 0"),
        (lambda: listed(level=2), "level: is 2"),
    ],
)
def test_bad_input_is_refused_in_one_sentence(call: Callable[[], object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        call()
