"""The verdict on the last year: what it counts, and what failures without a place do to it."""

from __future__ import annotations

import pandas as pd
import pytest
from builders import fleet_of, seal_order
from hypothesis import given
from hypothesis import strategies as st

from seallife.history.recent import recent_verdicts
from seallife.study import run_study

MONTHS = pd.date_range("2020-01-01", periods=60, freq="MS")
NOTHING = pd.DataFrame({"site": [], "end": pd.to_datetime([])})


def _monthly(before: int, after: int) -> pd.DataFrame:
    """Two sites, one class; failures a month at each site in the years before and the last."""
    failures = [before] * 48 + [after] * 12
    site = pd.DataFrame({"month": MONTHS, "failures": failures, "exposure_years": 10.0})
    # seals half as old in the last year, whose like fail half as often
    site["expected"] = [2.0] * 48 + [1.0] * 12
    whole = site.assign(
        failures=2 * site["failures"], exposure_years=20.0, expected=2 * site["expected"]
    )
    return pd.concat(
        [
            whole.assign(by="all", group="all"),
            site.assign(by="site", group="North"),
            site.assign(by="site", group="South"),
            whole.assign(by="service_class", group="WATER"),
        ],
        ignore_index=True,
    )


def _lost(site: str, *days: str | None) -> pd.DataFrame:
    return pd.DataFrame({"site": site, "end": pd.to_datetime(pd.Series(days, dtype=object))})


def _verdicts(got: pd.DataFrame) -> dict[str, str]:
    return dict(zip(got["group"], got["verdict"], strict=True))


def test_three_years_stand_against_the_last() -> None:
    got = recent_verdicts(_monthly(3, 1), NOTHING).set_index("group")
    assert got.loc["North", ["failures_before", "failures_after"]].tolist() == [108, 12]
    assert got.loc["North", ["years_before", "years_after"]].tolist() == [360.0, 120.0]
    assert got.loc["all", "failures_after"] == 24
    assert set(got["verdict"]) == {"improved"}
    assert got["unplaced_after"].tolist() == [0, 0, 0, 0]


def test_younger_seals_are_no_improvement() -> None:
    got = recent_verdicts(_monthly(6, 3), NOTHING).set_index("group").loc["all"]
    assert got["ratio"] == 0.5
    assert got["verdict"] == "improved"
    assert got["age_ratio"] == 1.0
    assert got["age_ratio_low"] < 1 < got["age_ratio_high"]


def test_failures_without_a_place_can_undo_a_verdict_at_their_site_only() -> None:
    lost = _lost("North", *["2024-06-01"] * 20)
    got = recent_verdicts(_monthly(3, 1), lost)
    assert _verdicts(got) == {
        "all": "improved",  # 24 + 20 of 216 in three years is still fewer
        "North": "cannot tell yet",
        "South": "improved",
        "WATER": "improved",
    }
    row = got.set_index("group").loc["North"]
    assert "20 more that may be failures lack a pump or a date" in row["message"]
    assert row["ratio"] == pytest.approx(12 / 36)  # the figures themselves stay those placed


def test_a_rise_is_undone_by_what_is_missing_before() -> None:
    got = recent_verdicts(_monthly(1, 2), _lost("North", *["2022-03-05"] * 40))
    assert _verdicts(got)["North"] == "cannot tell yet"
    assert _verdicts(got)["South"] == "worse"


@pytest.mark.parametrize(("before", "after"), [(3, 1), (1, 2)])
def test_what_has_no_date_may_lie_on_either_side(before: int, after: int) -> None:
    got = recent_verdicts(_monthly(before, after), _lost("", *[None] * 60)).set_index("group")
    assert got.loc["all", ["unplaced_before", "unplaced_after"]].tolist() == [60, 60]
    assert got.loc["South", "unplaced_after"] == 60  # no site: it may be any
    assert got.loc["WATER", "unplaced_after"] == 60  # the only class
    assert set(got["verdict"]) == {"cannot tell yet"}


def test_what_lies_before_all_that_is_compared_changes_nothing() -> None:
    lost = _lost("North", "2019-01-01", "2020-06-01", "2025-02-01")
    got = recent_verdicts(_monthly(3, 1), lost)
    assert got[["unplaced_before", "unplaced_after"]].to_numpy().sum() == 0


@given(st.integers(0, 40), st.integers(1, 4), st.integers(0, 4))
def test_more_without_a_place_never_make_a_verdict_bolder(lost: int, n0: int, n1: int) -> None:
    bare = _verdicts(recent_verdicts(_monthly(n0, n1), NOTHING))
    with_lost = _verdicts(recent_verdicts(_monthly(n0, n1), _lost("North", *["2024-03-03"] * lost)))
    for group, verdict in with_lost.items():
        assert verdict in {bare[group], "cannot tell yet"}


def test_a_change_of_the_records_cuts_the_time_compared() -> None:
    """Two years before the last one are left; a month cut by the change is on neither side."""
    lost = _lost("North", "2022-12-31", "2023-06-01")
    for day in ("2023-01-01", "2022-12-02"):
        got = recent_verdicts(_monthly(3, 1), lost, breaks=[pd.Timestamp(day)])
        row = got.set_index("group").loc["North"]
        assert row[["failures_before", "failures_after"]].tolist() == [36, 12]
        assert row["years_before"] == 120.0
        assert row["verdict"] == "improved"
        assert f"the records changed on {day}, and only the time since" in row["message"]
        assert row["since"] == pd.Timestamp(day)
    assert row["unplaced_before"] == 2
    assert recent_verdicts(_monthly(3, 1), lost, breaks=[pd.Timestamp("2023-01-01")])[
        "unplaced_before"
    ].iloc[1] == 1  # fmt: skip


@pytest.mark.parametrize("day", ["2024-01-01", "2024-06-15", "2024-12-20"])
def test_a_change_of_the_records_in_the_last_year_leaves_nothing_to_compare(day: str) -> None:
    got = recent_verdicts(_monthly(3, 1), NOTHING, breaks=[pd.Timestamp(day)])
    assert set(got["verdict"]) == {"cannot tell yet"}
    assert (got["failures_before"] == 0).all()
    assert got["message"].str.contains("nothing before that can be compared").all()
    assert got["more_years"].isna().all()


def test_changes_outside_the_four_years_move_nothing() -> None:
    plain = recent_verdicts(_monthly(3, 1), NOTHING)
    outside = [pd.Timestamp(d) for d in ("2019-05-01", "2021-01-01", "2025-01-01", "2030-01-01")]
    pd.testing.assert_frame_equal(plain, recent_verdicts(_monthly(3, 1), NOTHING, breaks=outside))


def test_failures_that_cluster_make_a_verdict_less_sure() -> None:
    plain = recent_verdicts(_monthly(3, 2), NOTHING).set_index("group")
    wide = recent_verdicts(_monthly(3, 2).assign(mtbf_dispersion=2.5), NOTHING).set_index("group")
    assert wide["ratio"].tolist() == pytest.approx(plain["ratio"].tolist())
    assert (wide["high"] > plain["high"]).all()
    assert (wide["age_ratio_low"] < plain["age_ratio_low"]).all()
    assert plain.loc["all", "verdict"] == "improved"
    assert wide.loc["all", "verdict"] != "improved"


def test_orders_of_a_study_without_a_pump_reach_the_verdict() -> None:
    """Planned ones do not count: they are no failures wherever they belong."""
    positions = [{"tag": f"P-{n}A", "site": "Site"} for n in range(101, 141)]
    fine = [
        seal_order(f"P-{n}A", f"{year}-{1 + n % 9}-10")
        for year in range(2021, 2025)
        for n in range(101, 141, 2)
    ]
    lost = [seal_order("X-999", f"2025-02-{d:02d}") for d in range(1, 21)]
    lost += [
        seal_order(
            "X-998", "2025-02-03", short_text="", long_text="PM: renewed seal", wo_type="planned"
        )
    ]
    with_lost = run_study(fleet_of(positions, work_orders=fine + lost))
    without = run_study(fleet_of(positions, work_orders=fine))
    assert without.history.recent["verdict"].iloc[0] == "improved"
    row = with_lost.history.recent.iloc[0]
    assert row["verdict"] == "cannot tell yet"
    assert row["unplaced_after"] == 20
    assert len(with_lost.removals.unplaced) == 21
    assert set(with_lost.removals.unplaced["why"]) == {"not in register"}
