"""Did the change work? The planted stories, and what is said where nothing can be."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import improvement_study as made
import numpy as np
import pandas as pd
import pytest
from builders import fleet_of
from hypothesis import given, settings
from hypothesis import strategies as st

from seallife.errors import InputError
from seallife.history.improvement import Improvements, improvements_of
from seallife.history.improvementwords import say
from seallife.history.projectviews import AGE_ALONE, BY_AGE, RAW, SHRUNK, UNCHANGED, WITHOUT
from seallife.study import Study, run_study

LIGHT_ENDS, DECOY = "Light ends barrier seals", "Seal upgrade 2020"
SCENARIOS = {s.name: s for s in made.SCENARIOS}


def judged(study: Study, **how: Any) -> Improvements:
    return improvements_of(
        study.changes,
        study.fleet["changes"],
        study.lives,
        study.removals,
        study.watched,
        study.classes,
        **how,
    )


@pytest.fixture(scope="module")
def demo(demo_study: Study) -> Improvements:
    return judged(demo_study)


# --- the planted stories -------------------------------------------------------------------------


def test_the_change_that_worked_is_found(demo: Improvements) -> None:
    row = demo[LIGHT_ENDS]
    assert row["verdict"] == "improved"
    assert row["positions"] == 24
    assert row["low"] < 0.46 < row["high"] < 1
    assert 49 <= row["failures_before"] <= 65
    assert 11 <= row["failures_after"] <= 19


def test_the_upgrade_of_the_ten_worst_is_not_called_improved(demo: Improvements) -> None:
    row = demo[DECOY]
    assert row["verdict"] == "no evidence"
    assert row["low"] < 1 < row["high"]
    assert (row["chosen"], row["window"]) == ("by failures", "left out")
    assert row["window_start"] == pd.Timestamp("2018-01-01")
    views = demo.views[demo.views["project"] == DECOY].set_index("view")
    assert views.loc[RAW, "high"] < 1, "raw counts alone would praise it"
    assert views.loc[[WITHOUT, SHRUNK, UNCHANGED, BY_AGE], "high"].min() > 1


def test_the_sentence_names_the_raw_counts_and_why_they_mislead(demo: Improvements) -> None:
    row = demo[DECOY]
    for words in (
        "Seal upgrade 2020: no evidence.",
        f"Raw counts: {row['failures_before']} failures in {row['years_before']:.0f} "
        "position-years before",
        "60 % fewer a year",
        f"They mislead: {row['failures_window']} of the {row['failures_before']} failures before",
        "from 2018-01 by which the positions were chosen, and a run of bad luck ends by itself",
        "That time is left out",
    ):
        assert words in row["message"], words
    assert "mislead" not in demo[LIGHT_ENDS]["message"]


def test_changes_of_no_project_stand_together(demo: Improvements) -> None:
    row = demo["no project, seal: new seal type"]
    assert row["positions"] == 11
    assert row["at_change"] == 11
    assert row["verdict"] in {"no evidence", "cannot tell yet"}


def test_views_rates_and_table_tell_the_same(demo: Improvements) -> None:
    used = demo.views[demo.views["used"]].set_index("project")
    table = demo.table.set_index("project")
    pd.testing.assert_frame_equal(
        used.loc[table.index, ["ratio", "low", "high"]], table[["ratio", "low", "high"]]
    )
    changed = demo.rates[demo.rates["group"] == "changed"]
    sums = changed[changed["period"] != "after"].groupby("project")[["failures", "years"]].sum()
    assert sums.loc[table.index, "failures"].tolist() == table["failures_before"].tolist()
    np.testing.assert_allclose(sums.loc[table.index, "years"], table["years_before"])
    assert (demo.rates["low"] <= demo.rates["rate"]).all()
    assert (demo.rates["rate"] <= demo.rates["high"]).all()
    assert demo.level == 0.90
    assert demo.to_dict()["seed"] == 1


def test_exposure_of_all_positions_is_that_of_the_study(demo_study: Study) -> None:
    """A project of every position, decided before the records: all failures are after it."""
    lives = demo_study.lives.table
    ids = sorted(lives["position_id"].unique())
    rows = [
        {"position_id": i, "date": "2015-01-01", "what": "operation", "project": "All"} for i in ids
    ]
    changes = demo_study.changes
    table = pd.DataFrame(rows)
    table = table.assign(
        date=pd.to_datetime(table["date"]),
        begins=pd.to_datetime(table["date"]),
        epoch=2,
        removal_id="",
        new_seal=False,
        record_id=[f"changes:x.csv:{i}" for i in range(len(table))],
    )
    raw = table[["record_id", "project"]].assign(to_state="", reason="")
    got = improvements_of(
        replace(changes, table=table.drop(columns="project")),
        raw,
        demo_study.lives,
        demo_study.removals,
        demo_study.watched,
        demo_study.classes,
    )["All"]
    assert got["failures_after"] == int((lives["end"] == "failed").sum())
    assert got["years_after"] == pytest.approx(lives["days"].sum() / 365.25)
    assert (got["verdict"], got["status"]) == ("cannot tell yet", "no record before")


# --- the window that chose the positions ---------------------------------------------------------


def test_a_window_that_is_given_goes_before_all_else(demo_study: Study) -> None:
    kept = judged(demo_study, selection={DECOY: None})[DECOY]
    assert (kept["chosen"], kept["window"]) == ("otherwise", "none")
    assert kept["failures_window"] == 0
    assert kept["ratio"] < 1, "with the bad luck in, the decoy looks good"
    given_ = judged(demo_study, selection={DECOY: ("2017-01-01", "2019-12-31")})[DECOY]
    assert (given_["chosen"], given_["window"]) == ("given", "left out")
    assert given_["window_start"] == pd.Timestamp("2017-01-01")
    raw = demo_study.fleet["changes"].copy()
    mine = raw["project"] == DECOY
    raw.loc[mine, "chosen_from"] = pd.Timestamp("2017-01-01")
    raw.loc[mine, "chosen_to"] = pd.Timestamp("2019-12-31")
    written = replace(
        demo_study,
        fleet=replace(demo_study.fleet, tables={**demo_study.fleet.tables, "changes": raw}),
    )
    again = judged(written)[DECOY]
    assert again["ratio"] == given_["ratio"]


def test_with_the_bad_luck_in_the_shrunk_record_still_keeps_the_decoy_from_praise(
    demo_study: Study,
) -> None:
    row = judged(demo_study, selection={DECOY: None})[DECOY]
    assert row["high"] < 1
    assert row["verdict"] == "cannot tell yet"
    assert f"'{SHRUNK}' the rate went the other way" in row["message"]


# --- small fleets --------------------------------------------------------------------------------

CLASS = {"fluid": "water", "service_class": "A", "commissioned": "2016-01-31", "duty_share": 0.5}


@cache
def small(
    changed: tuple[int, ...] = (0, 1, 2),
    date: str = "2021-01-01",
    reason: str = "all pumps",
    *,
    failing: bool = True,
) -> Study:
    """Positions of one class that fail at random every other year, some of them changed."""
    positions = [CLASS | {"tag": f"P-{i}"} for i in range(16)]
    rng = np.random.default_rng(5)
    gaps = np.cumsum(30 + rng.exponential(700, (16, 20)), axis=1)
    fails = [
        {"position_id": f"P-{i}", "date": str(day.date()), "reason": "seal failed"}
        for i, ages in enumerate(gaps if failing else gaps[:0])
        for day in pd.Timestamp("2016-01-31") + pd.to_timedelta(ages, unit="D")
        if day < pd.Timestamp("2025-12-01")
    ]
    change = {"date": date, "what": "flush plan", "project": "New plan", "reason": reason}
    changes = [change | {"position_id": f"P-{i}"} for i in changed]
    return run_study(fleet_of(positions, removals=fails, changes=changes))


def test_no_changes_give_an_empty_result() -> None:
    got = judged(small(()))
    assert len(got) == len(got.views) == len(got.rates) == 0
    assert "verdict" in got.table
    assert isinstance(got.summary(), str)


def test_a_change_before_the_records() -> None:
    row = judged(small(date="2014-05-05"))["New plan"]
    assert (row["verdict"], row["status"]) == ("cannot tell yet", "no record before")
    assert "begin after the change" in row["message"]
    assert np.isnan(row["ratio"])


def test_a_change_with_nothing_after_it() -> None:
    row = judged(small(date="2026-01-01"))["New plan"]
    assert (row["verdict"], row["status"]) == ("cannot tell yet", "no record after")
    assert row["years_after"] == 0
    assert "No time after the change" in row["message"]


def test_a_record_that_lies_in_the_window_alone() -> None:
    row = judged(small(date="2017-06-01", reason="three worst positions"))["New plan"]
    assert (row["verdict"], row["status"]) == ("cannot tell yet", "nothing left before")
    assert "say in the list of changes how they were chosen" in row["message"]


def test_all_positions_changed_leaves_nothing_to_compare_with() -> None:
    row = judged(small(tuple(range(16))))["New plan"]
    assert row["status"] == "no unchanged positions"
    assert "No unchanged position stands beside it" in row["message"]
    assert np.isfinite([row["ratio"], row["low"], row["high"]]).all()
    assert row["low"] < 1 < row["high"]
    views = judged(small(tuple(range(16)))).views.set_index("view")
    assert np.isnan(views.loc[UNCHANGED, "ratio"])
    assert views.index[views["used"]].tolist() == [AGE_ALONE]


def test_one_position_tells_nothing_yet_and_says_what_it_would_take() -> None:
    row = judged(small((3,)))["New plan"]
    assert row["positions"] == 1
    assert row["verdict"] == "cannot tell yet"
    assert "to tell a ratio of 0.5" in row["message"]


def test_positions_without_any_failure() -> None:
    row = judged(small(failing=False))["New plan"]
    assert row["verdict"] == "cannot tell yet"
    assert np.isnan(row["p"])
    assert "0 failures in" in row["message"]


def test_two_changes_at_one_position_bound_each_other() -> None:
    positions = [CLASS | {"tag": f"P-{i}"} for i in range(4)]
    changes = [
        {"position_id": "P-0", "date": d, "what": "operation", "project": p, "reason": "all"}
        for d, p in (("2018-01-01", "First"), ("2022-01-01", "Second"))
    ]
    got = judged(run_study(fleet_of(positions, removals=[], changes=changes)))
    assert got["First"]["years_after"] == pytest.approx(4.0, abs=0.02)
    assert got["Second"]["years_before"] == pytest.approx(4.0, abs=0.02)


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"level": 1.5}, "level"),
        ({"resamples": 10}, "resamples: is 10"),
        ({"selection_days": -1}, "selection_days: is -1"),
        ({"clock": "moon"}, "clock: is 'moon'"),
        ({"selection": {"Old plan": None}}, "names no project 'Old plan'; known are New plan"),
        ({"selection": {"New plan": ("2020-01-01", "2019-01-01")}}, "is no first and last day"),
        ({"selection": {"New plan": "2019"}}, "is no first and last day"),
    ],
)
def test_bad_input_gets_a_sentence(how: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        judged(small(), **how)


def test_missing_columns_are_named() -> None:
    study = small()
    bare = replace(study.lives, table=study.lives.table.drop(columns="hours"))
    with pytest.raises(InputError, match="lives: has no column hours"):
        judged(replace(study, lives=bare))


def test_run_hours_that_are_not_known_are_asked_for_and_days_will_do() -> None:
    study = small()
    table = study.lives.table.assign(hours=np.nan)
    study = replace(study, lives=replace(study.lives, table=table))
    with pytest.raises(InputError, match="hours: are not known for a life at 'P-0'"):
        judged(study)
    assert len(judged(study, clock="calendar_d")) == 1


# --- properties ----------------------------------------------------------------------------------


def _fleet(seed: int, name: str = "rate 0.7 times") -> dict[str, Any]:
    return made.fleet(SCENARIOS[name], seed)


@settings(max_examples=5)
@given(seed=st.integers(0, 10_000))
def test_the_order_of_rows_changes_nothing(seed: int) -> None:
    data = _fleet(seed)
    rng = np.random.default_rng(seed)

    def mixed(table: pd.DataFrame) -> pd.DataFrame:
        return table.iloc[rng.permutation(len(table))].reset_index(drop=True)

    other = {
        **data,
        "raw": mixed(data["raw"]),
        "lives": replace(data["lives"], table=mixed(data["lives"].table)),
        "removals": replace(data["removals"], table=mixed(data["removals"].table)),
        "changes": replace(data["changes"], table=mixed(data["changes"].table)),
    }
    one, two = (improvements_of(**d, resamples=400) for d in (data, other))
    pd.testing.assert_frame_equal(one.table, two.table)
    pd.testing.assert_frame_equal(one.views, two.views)


@settings(max_examples=5)
@given(seed=st.integers(0, 10_000), factor=st.floats(0.1, 10))
def test_the_unit_of_run_hours_changes_nothing(seed: int, factor: float) -> None:
    data = _fleet(seed)
    table = data["lives"].table
    scaled = table.assign(hours=factor * table["hours"], entry_age_h=factor * table["entry_age_h"])
    other = {**data, "lives": replace(data["lives"], table=scaled)}
    one, two = (improvements_of(**d, resamples=400).table for d in (data, other))
    np.testing.assert_allclose(
        one[["ratio", "low", "high"]].to_numpy(),
        two[["ratio", "low", "high"]].to_numpy(),
        rtol=1e-6,
    )


@settings(max_examples=5)
@given(seed=st.integers(0, 10_000))
def test_callers_tables_stay_as_they_are_and_verdicts_keep_to_their_intervals(seed: int) -> None:
    data = _fleet(seed, "rate 0.4 times")
    tables = [data["raw"], *(data[k].table for k in ("changes", "lives", "removals", "classes"))]
    before = [pd.util.hash_pandas_object(t).sum() for t in tables]
    got = improvements_of(**data, resamples=400).table.iloc[0]
    assert [pd.util.hash_pandas_object(t).sum() for t in tables] == before
    assert 0 <= got["low"] <= got["high"]
    assert got["verdict"] in {"improved", "worse", "no evidence", "cannot tell yet"}
    if got["verdict"] == "improved":
        assert got["high"] < 1
    assert got["p_adjusted"] >= got["p"]


def test_one_project_more_leaves_the_draws_of_the_others_alone(demo_study: Study) -> None:
    """Each has a seed of its own name; what is compared with is the same."""
    one, two = judged(demo_study, seed=3), judged(demo_study, seed=3)
    pd.testing.assert_frame_equal(one.table, two.table)
    other = judged(demo_study, seed=4)
    assert (other.table["ratio"] != one.table["ratio"]).any()
    np.testing.assert_allclose(other.table["ratio"], one.table["ratio"], rtol=0.05)


# --- words ---------------------------------------------------------------------------------------

ROW: dict[str, Any] = {
    "project": "New plan",
    "positions": 10,
    "chosen": "not said",
    "window": "left out",
    "window_start": pd.Timestamp("2019-01-01"),
    "failures_before": 30,
    "years_before": 60.0,
    "failures_window": 15,
    "years_window": 20.0,
    "failures_after": 8,
    "years_after": 50.0,
    "ratio": 0.4,
    "low": 0.2,
    "high": 0.8,
    "p": 0.01,
    "p_adjusted": 0.02,
    "needed_years": 0.0,
    "at_change": 0,
    "no_life": 0,
    "unplaced_before": 0,
    "unplaced_after": 0,
    "status": "ok",
    "undone": False,
    "age_factor": 1.0,
    "change_meanwhile": 1.0,
}


def _said(unchanged: float = 0.5, shrunk: float = 0.6, **row: Any) -> tuple[str, str]:
    views = pd.DataFrame(
        [(RAW, 0.32, 0.2, 0.6), (UNCHANGED, unchanged, 0.2, 0.9), (SHRUNK, shrunk, 0.4, 0.9)],
        columns=["view", "ratio", "low", "high"],
    )
    return say(ROW | row, views, 0.90, 3)


@pytest.mark.parametrize(
    ("row", "verdict", "words"),
    [
        ({}, "improved", "0.40 times that before (0.20 to 0.80)"),
        ({"p_adjusted": 0.2}, "no evidence", "with 3 projects looked at"),
        ({"unchanged": 1.2}, "no evidence", "the rate went the other way (1.20 times)"),
        ({"shrunk": 1.1}, "no evidence", "the rate went the other way (1.10 times)"),
        ({"undone": True, "unplaced_after": 2}, "cannot tell yet", "2 more that may be failures"),
        ({"high": 1.2}, "no evidence", "New plan: no evidence."),
        ({"high": 1.2, "needed_years": 31.2}, "cannot tell yet", "About 31 more position-years"),
        ({"high": 1.2, "low": 0.55, "needed_years": 31.2}, "no evidence", "no evidence"),
        ({"high": 1.2, "needed_years": np.inf}, "cannot tell yet", "however long one waits"),
        ({"low": 1.2, "high": 3.0, "ratio": 2.0, "unchanged": 2.0, "shrunk": 1.5}, "worse",
         "2.00 times that before"),
        ({"low": 1.2, "high": 3.0, "ratio": 2.0, "unchanged": 2.0, "shrunk": 1.5, "at_change": 6},
         "cannot tell yet", "changed when their seal failed"),
        ({"status": "no unchanged positions"}, "improved", "changed everywhere is in the ratio"),
        ({"ratio": np.nan, "low": 0.3, "high": np.inf}, "no evidence", "the ratio is 0.30 or more"),
        ({"no_life": 1}, "improved", "1 failure on the day of fitting not counted"),
        ({"change_meanwhile": 0.7}, "improved", "unchanged positions went to 0.70 times"),
        ({"age_factor": 0.5}, "improved", "the ages of the seals alone make it 0.50 times"),
        ({"window": "kept"}, "improved", "so the whole record before counts"),
    ],
)  # fmt: skip
def test_verdict_and_words(row: dict[str, Any], verdict: str, words: str) -> None:
    got = _said(**row)
    assert got[0] == verdict, got
    assert words in got[1]
