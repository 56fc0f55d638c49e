"""Early failures over those that could have failed early, and stretches of bad fitting."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from seallife.errors import InputError
from seallife.history import early_failures, early_stretches
from seallife.lives import LifeTable


def _lives(rows: list[tuple[float, float, str, bool]]) -> LifeTable:
    table = pd.DataFrame(rows, columns=["entry_age_d", "exit_age_d", "end", "age_known"])
    return LifeTable(table.assign(service_class="A"), pd.DataFrame(), "failed")


def test_only_installations_watched_long_enough_or_failed_before_count() -> None:
    lives = _lives(
        [
            (0, 20, "failed", True),  # early
            (0, 90, "failed", True),  # early: within 90 days
            (0, 91, "failed", True),  # late
            (0, 400, "in service", True),  # watched long enough
            (0, 50, "in service", True),  # not watched long enough
            (0, 50, "withdrawn", True),  # nor this one
            (
                30,
                60,
                "failed",
                True,
            ),  # installed before the records: its like may have failed unseen
            (0, 20, "failed", False),  # age not known
        ]
    )
    row = early_failures(lives, 90).iloc[0]
    assert (row["installs"], row["early"]) == (4, 2)
    assert row["early_share"] == 0.5


def test_no_installation_gives_no_share() -> None:
    row = early_failures(_lives([(0, 5, "in service", True)]), 90).iloc[0]
    assert row["installs"] == 0
    assert np.isnan(row["early_share"])
    assert np.isnan(row["early_share_low"])


def _site(early: list[bool], months: list[int], site: str = "North") -> pd.DataFrame:
    """Lives fitted in given months after January 2016, each watched for long."""
    fitted = pd.Timestamp("2016-01-01") + pd.to_timedelta(np.array(months) * 30.4375 + 9, unit="D")
    return pd.DataFrame(
        {
            "site": site,
            "service_class": "A",
            "start": fitted,
            "entry_age_d": 0.0,
            "exit_age_d": np.where(early, 30.0, 900.0),
            "end": np.where(early, "failed", "in service"),
            "age_known": True,
        }
    )


def _table(*sites: pd.DataFrame) -> LifeTable:
    return LifeTable(pd.concat(sites, ignore_index=True), pd.DataFrame(), "failed")


def test_a_year_of_bad_fitting_is_found_where_it_was() -> None:
    rng = np.random.default_rng(5)
    month = rng.integers(0, 120, 500)
    bad = (month >= 60) & (month < 71)
    early = rng.random(500) < np.where(bad, 0.40, 0.04)
    row = early_stretches(_table(_site(early.tolist(), month.tolist())), 90).table.iloc[0]
    assert row["verdict"] == "more than chance"
    assert row["p"] <= 0.01
    assert pd.Timestamp("2020-10-01") <= row["first"] <= pd.Timestamp("2021-03-01")
    assert pd.Timestamp("2021-09-01") <= row["last"] <= pd.Timestamp("2022-02-01")
    assert row["ratio"] > 4
    assert row["early_in"] > row["expected_in"]


def test_sites_without_a_bad_stretch_raise_an_alarm_as_seldom_as_said() -> None:
    """120 sites at level 0.90: 4 to 21 alarms by chance (binomial, 99.9 %)."""
    rng = np.random.default_rng(11)
    sites = []
    for i in range(120):
        month = np.sort(rng.integers(0, 60, 150))
        sites.append(_site((rng.random(150) < 0.08).tolist(), month.tolist(), f"S{i:03d}"))
    found = early_stretches(_table(*sites), 90, resamples=99).table
    told = found[found["verdict"] != "cannot tell yet"]
    alarms = int((told["verdict"] == "more than chance").sum())
    low, high = stats.binom.ppf([0.0005, 0.9995], len(told), 0.10)
    assert len(told) > 110
    assert low <= alarms <= high


def test_two_early_failures_tell_of_no_stretch() -> None:
    early = [True, True] + [False] * 30
    row = early_stretches(_table(_site(early, list(range(32)))), 90).table.iloc[0]
    assert row["verdict"] == "cannot tell yet"
    assert pd.isna(row["first"])


def test_quarters_add_up_and_carry_exact_limits() -> None:
    early = [True] + [False] * 9 + [True, True] + [False] * 8
    got = early_stretches(_table(_site(early, [0] * 10 + [4] * 10)), 90)
    assert got.quarters["early"].tolist() == [1, 2]
    assert got.quarters["installs"].tolist() == [10, 10]
    exact = stats.binomtest(2, 10).proportion_ci(0.90, method="exact")
    last = got.quarters.iloc[1]
    assert (last["early_share_low"], last["early_share_high"]) == pytest.approx(
        (exact.low, exact.high), abs=1e-9
    )


def test_order_of_rows_changes_nothing_and_few_resamples_are_refused() -> None:
    rng = np.random.default_rng(3)
    table = _site((rng.random(80) < 0.2).tolist(), rng.integers(0, 40, 80).tolist())
    one = early_stretches(_table(table), 90, resamples=99).table
    other = early_stretches(_table(table.sample(frac=1, random_state=1)), 90, resamples=99).table
    pd.testing.assert_frame_equal(one, other)
    with pytest.raises(InputError, match="resamples"):
        early_stretches(_table(table), 90, resamples=5)


def test_no_lives_give_an_empty_table() -> None:
    empty = _site([], [])
    got = early_stretches(_table(empty.astype({"start": "datetime64[ns]"})), 90)
    assert got.table.empty
    assert got.quarters.empty
