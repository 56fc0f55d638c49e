"""Failure rates by class and age, and failures expected of seals at their ages."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife.history.agerates import age_rates
from seallife.study import Study


def _lives(rows: list[tuple[str, float, float, bool, bool]]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=["service_class", "entry_age_h", "exit_age_h", "f", "known"])
    return table.assign(
        end=np.where(table["f"], "failed", "in service"),
        age_known=table["known"],
        hours=table["exit_age_h"] - table["entry_age_h"],
    )


@st.composite
def _tables(draw: st.DrawFn) -> pd.DataFrame:
    rows = draw(
        st.lists(
            st.tuples(
                st.sampled_from(["A", "B"]),
                st.floats(0, 5_000),
                st.floats(1, 40_000),
                st.booleans(),
                st.booleans(),
            ),
            min_size=1,
            max_size=40,
        )
    )
    return _lives([(c, entry, entry + length, f, known) for c, entry, length, f, known in rows])


@given(_tables())
def test_what_is_expected_of_all_lives_is_what_failed(lives: pd.DataFrame) -> None:
    rates = age_rates(lives)
    place = rates.classes.get_indexer(pd.Index(lives["service_class"]))
    aged = lives["age_known"].to_numpy()
    entry, age, hours = (lives[c].to_numpy() for c in ("entry_age_h", "exit_age_h", "hours"))
    upto = rates.cumulative(rates.rates, place[aged], age[aged])
    before = rates.cumulative(rates.rates, place[aged], entry[aged])
    expected = (upto - before).sum() + (rates.unaged[place[~aged]] * hours[~aged]).sum()
    assert expected == pytest.approx((lives["end"] == "failed").sum(), rel=1e-9)
    assert (rates.rates >= 0).all()
    assert rates.hours.sum() + rates.hours_unaged.sum() == pytest.approx(hours.sum())


def test_rates_are_failures_over_hours_of_each_band() -> None:
    """Three bands by hand, with failures at 100 and 300 h."""
    lives = _lives(
        [("A", 0, 100, True, True), ("A", 0, 300, True, True), ("A", 50, 250, False, True)]
    )
    rates = age_rates(lives, bands=2)
    assert rates.edges.tolist() == pytest.approx([0, 150, 200])
    assert rates.failures.tolist() == [[1, 0, 1]]
    assert rates.hours[0].tolist() == pytest.approx([100 + 150 + 100, 50 + 50, 100 + 50])
    at = np.zeros(1, dtype=np.int64)
    assert rates.cumulative(rates.rates, at, np.array([250.0])) == pytest.approx(
        [150 / 350 + 50 / 150]
    )


def test_a_class_without_failures_expects_none_but_draws_some_risk() -> None:
    rates = age_rates(_lives([("A", 0, 9_000, False, True), ("B", 0, 900, True, True)]))
    assert (rates.rates[0] == 0).all()
    drawn, unaged = rates.drawn(400, np.random.default_rng(1))
    assert (drawn > 0).all()
    assert (unaged > 0).all()
    assert drawn.shape == (400, 2, len(rates.edges))


def test_drawn_rates_scatter_about_the_counts() -> None:
    rng = np.random.default_rng(2)
    ages = 10_000 * rng.weibull(1.5, 2_000)
    rates = age_rates(_lives([("A", 0, float(a), True, True) for a in ages]))
    drawn, _ = rates.drawn(4_000, rng)
    assert drawn.mean(axis=0) == pytest.approx(rates.rates, rel=0.02)
    spread = drawn.std(axis=0) / rates.rates
    assert spread == pytest.approx(1 / np.sqrt(rates.failures), rel=0.1)


def test_no_lives_at_all() -> None:
    rates = age_rates(_lives([]))
    assert rates.edges.tolist() == [0.0]
    assert rates.rates.shape == (0, 1)


def test_the_mix_of_services_is_allowed_for(demo_study: Study) -> None:
    """Story S11: Merrowfen looks worse by MTBF, and is not at equal class and age."""
    rows = demo_study.history.overall.query("by == 'site'").set_index("group")
    assert rows.loc["Merrowfen", "mtbf_years"] < rows.loc["Skarrow Point", "mtbf_years"] * 0.85
    for site in rows.index:
        assert rows.loc[site, "age_ratio_low"] < 1 < rows.loc[site, "age_ratio_high"]
    whole = demo_study.history.overall.query("by == 'all'").iloc[0]
    assert whole["expected"] == pytest.approx(whole["failures"])
