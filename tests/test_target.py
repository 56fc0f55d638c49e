"""Where MTBF and MTBR will stand at a date ahead: forecasts held against what then happened."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from seallife.clocks import RunClock, day_number
from seallife.demo import simulate_fleet, true_life_table
from seallife.errors import InputError
from seallife.history.agerates import age_rates
from seallife.history.target import TargetForecast, forecast_target
from seallife.study import Study

CUT = pd.Timestamp("2024-01-01")
END = pd.Timestamp("2024-12-31")


def _even_clock(hours_a_day: pd.Series) -> RunClock:
    """Run hours that grow evenly, by position."""
    n = len(hours_a_day)
    days = np.tile([0.0, 40_000.0], n)
    hours = (days.reshape(n, 2) * hours_a_day.to_numpy()[:, None]).ravel()
    share = pd.DataFrame({"share": hours_a_day / 24}, index=hours_a_day.index)
    return RunClock(
        tuple(hours_a_day.index),
        np.arange(0, 2 * n + 1, 2),
        days,
        hours,
        np.zeros(2 * n),
        pd.Series("duty share", index=hours_a_day.index),
        share.assign(share_low=share["share"], share_high=share["share"]),
        pd.Series(np.nan, index=hours_a_day.index),
        pd.DataFrame(),
    )


def _as_of(lives: pd.DataFrame, cut: pd.Timestamp) -> pd.DataFrame:
    """A life table as it stood on a day, from one that knows the future."""
    hours_a_day = (lives["exit_age_h"] - lives["entry_age_h"]) / (
        lives["exit_age_d"] - lives["entry_age_d"]
    )
    entry = lives["start"] + pd.to_timedelta(lives["entry_age_d"], unit="D")
    table = lives.assign(entry=entry, exit=lives["end_date"], reason=lives["cause"])
    table = table[table["entry"] < cut]
    late = table["exit"] >= cut
    age_d = (cut - table["start"]).dt.total_seconds() / 86_400
    return table.assign(
        exit=table["exit"].where(~late, cut),
        end=table["end"].mask(late, "in service"),
        exit_age_d=table["exit_age_d"].mask(late, age_d),
        exit_age_h=table["exit_age_h"].mask(late, age_d * hours_a_day[table.index]),
    ).assign(hours=lambda t: t["exit_age_h"] - t["entry_age_h"])


def _monthly(lives: pd.DataFrame, sites: tuple[str, ...]) -> pd.DataFrame:
    """Months before the cut, with no event in the year ahead."""
    rows = []
    for by, group in (("all", "all"), *(("site", s) for s in sites)):
        part = lives if by == "all" else lives[lives["site"] == group]
        failed, pulled = (int((part["end"] == e).sum()) for e in ("failed", "withdrawn"))
        rows.append((by, group, pd.Timestamp("2020-01-01"), 1.0, failed, failed + pulled))
    columns = ["by", "group", "month", "exposure_years", "failures", "removals"]
    return pd.DataFrame(rows, columns=columns)


def _forecast(seed: int) -> tuple[TargetForecast, pd.DataFrame]:
    lives = true_life_table(simulate_fleet(seed=seed, stories=False))
    known = _as_of(lives, CUT)
    days = (lives["exit_age_d"] - lives["entry_age_d"]).groupby(lives["position_id"]).sum()
    hours = (lives["exit_age_h"] - lives["entry_age_h"]).groupby(lives["position_id"]).sum()
    sites = tuple(sorted(lives["site"].unique()))
    got = forecast_target(
        known, _even_clock(hours / days), age_rates(known), _monthly(known, sites), until=END
    )
    ahead = lives[(lives["end_date"] >= CUT) & (lives["end_date"] <= END)]
    return got, ahead


def test_ranges_hold_the_failures_of_the_year_ahead() -> None:
    """24 fleets without a story, whole fleet and both sites: by chance 90 % or more of 72."""
    held = []
    ratio = []
    for seed in range(2000, 2024):
        got, ahead = _forecast(seed)
        rows = got.table[got.table["measure"] == "MTBF"].set_index("group")
        for group, row in rows.iterrows():
            part = ahead if group == "all" else ahead[ahead["site"] == group]
            failed = int((part["end"] == "failed").sum())
            held.append(row["low"] <= failed <= row["high"])
            if group == "all":
                ratio.append(row["expected"] / failed)
    assert sum(held) >= stats.binom.ppf(0.001, len(held), 0.90)
    assert np.mean(ratio) == pytest.approx(1.0, abs=0.06)


@pytest.mark.parametrize("first", [2024, 2025])  # with and without a leap day
@pytest.mark.parametrize("years", [1, 2, 3])
def test_constant_rates_give_exposure_times_rate(first: int, years: int) -> None:
    """Exponential lives, nothing pulled: a year's failures are hours over mean life, any year."""
    cut, end = pd.Timestamp(first, 1, 1), pd.Timestamp(first + years - 1, 12, 31)
    rng = np.random.default_rng(4)
    n = 40_000
    lives = pd.DataFrame(
        {
            "position_id": [f"P{i}" for i in range(n)],
            "site": "S",
            "service_class": "A",
            "reason": "",
            "age_known": True,
            "entry_age_h": 0.0,
            "exit_age_h": rng.exponential(20_000.0, n),
            "end": "failed",
            "entry": cut - pd.Timedelta(days=900),
            "exit": cut - pd.Timedelta(days=100),
        }
    )
    running = lives.head(400).assign(end="in service", exit_age_h=5_000.0, exit=cut)
    both = pd.concat([lives, running], ignore_index=True)
    both = both.assign(hours=both["exit_age_h"])
    speed = pd.Series(12.0, index=[f"P{i}" for i in range(n)])
    got = forecast_target(
        both, _even_clock(speed), age_rates(both), _monthly(both, ("S",)), until=end
    )
    rate = n / both["hours"].sum()
    row = got.table.iloc[0]
    assert row["expected"] == pytest.approx(400 * 12 * 365 * rate, rel=0.03)
    assert row["expected_low"] < row["expected"] < row["expected_high"]
    assert row["low"] < row["expected_low"]
    assert row["high"] > row["expected_high"]


def test_target_allows_what_it_says(demo_study: Study) -> None:
    s = demo_study
    got = forecast_target(
        s.lives.table,
        s.clock,
        age_rates(s.lives.table),
        s.history.monthly,
        target_mtbf_years=5.0,
    )
    assert got.until == pd.Timestamp("2026-12-31")
    row = got.table.iloc[0]
    assert row["allowed"] == int(row["years"] / 5.0)
    assert 0 < row["probability"] < 1
    assert row["needed_ratio"] == pytest.approx(row["years"] / 5.0 / row["expected"])
    assert row["mean_years_low"] < row["mean_years"] < row["mean_years_high"]
    none = got.table[got.table["measure"] == "MTBR"]
    assert none["probability"].isna().all()


def test_months_on_record_count_towards_the_twelve() -> None:
    lives = _as_of(true_life_table(simulate_fleet(seed=7, stories=False)), CUT)
    speed = pd.Series(12.0, index=lives["position_id"].unique())
    month = pd.DataFrame(
        {
            "by": "all",
            "group": "all",
            "month": [pd.Timestamp("2023-10-01")],
            "exposure_years": [100.0],
            "failures": [7],
            "removals": [9],
        }
    )
    until = pd.Timestamp("2024-06-30")
    row = forecast_target(
        lives, _even_clock(speed), age_rates(lives), month, until=until
    ).table.iloc[0]
    assert row["seen"] == 7
    days = (until - CUT).days
    assert row["years"] == pytest.approx(100.0 + row["positions"] * days / 365.25)


def test_dates_and_targets_that_make_no_sense_are_refused(demo_study: Study) -> None:
    s = demo_study
    given = (s.lives.table, s.clock, age_rates(s.lives.table), s.history.monthly)
    with pytest.raises(InputError, match="records end 2025-12-31"):
        forecast_target(*given, until=pd.Timestamp("2025-06-30"))
    with pytest.raises(InputError, match="within five years"):
        forecast_target(*given, until=pd.Timestamp("2035-06-30"))
    with pytest.raises(InputError, match="target_mtbr_years"):
        forecast_target(*given, target_mtbr_years=0.0)


def test_same_seed_same_figures(demo_study: Study) -> None:
    s = demo_study
    given = (s.lives.table, s.clock, age_rates(s.lives.table), s.history.monthly)
    one, other = (forecast_target(*given, seed=3).table for _ in range(2))
    pd.testing.assert_frame_equal(one, other)
    assert day_number(pd.Series([CUT]))[0] > 0
