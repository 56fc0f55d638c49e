"""`seallife.life.todate`: a table of lives asked for the share running at the next outage."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from seallife import life
from seallife.clocks import day_number
from seallife.errors import InputError
from seallife.outages import time_ahead


@pytest.fixture
def lives():
    """Two classes, 80 lives, 24 of them in service, three of unknown age."""
    rng = np.random.default_rng(3)
    n = 80
    age = 9_000 * rng.weibull(1.4, n)
    end = np.array(["failed", "withdrawn", "failed", "in service", "lost"] * 16)
    end[:8] = "in service"
    table = pd.DataFrame(
        {
            "life_id": [f"L{i}" for i in range(n)],
            "position_id": [f"P{i}" for i in range(n)],
            "service_class": np.repeat(["WATER", "SOUR"], 40),
            "site": "North",
            "unit": "1",
            "entry_age_h": 0.0,
            "exit_age_h": age,
            "exit_low_h": np.nan,
            "entry_age_d": 0.0,
            "exit_age_d": age / 12,
            "end": end,
            "age_known": True,
        }
    )
    out = np.flatnonzero(end == "in service")[[0, 1, -1]]
    table.loc[out, "age_known"] = False
    table.loc[out, ["exit_age_h", "exit_age_d", "entry_age_h", "entry_age_d"]] = np.nan
    return table


@pytest.fixture
def ahead(lives):
    seals = lives.loc[lives["end"] == "in service", ["life_id"]].reset_index(drop=True)
    return seals.assign(
        until=pd.Timestamp("2026-07-01"),
        until_from="next outage",
        days_ahead=180.0,
        hours_ahead=2_000.0,
    )


@pytest.mark.parametrize("clock", ["run_h", "calendar_d"])
def test_a_class_is_asked_as_its_arrays_are(lives, ahead, clock):
    got = life.seals_to_date(lives, ahead, clock=clock)
    unit, stretch = ("h", 2_000.0) if clock == "run_h" else ("d", 180.0)
    for name in ("WATER", "SOUR"):
        mine = lives[(lives["service_class"] == name) & lives["age_known"]]
        now = mine.loc[mine["end"] == "in service", f"exit_age_{unit}"]
        plain = life.share_running(
            mine[f"exit_age_{unit}"],
            mine["end"] == "failed",
            now=now,
            ahead=np.full(len(now), stretch),
        )["all"]
        names = ["seals", "beyond", "asked", "share_running", "share_running_low"]
        names += ["predicted_failures_low", "predicted_failures_high", "failures_seen", "n"]
        assert got[name][names].tolist() == pytest.approx(plain[names].tolist(), nan_ok=True)
    assert ("run hours" if unit == "h" else "calendar days") in got.method
    assert f"now_{unit}" in got.seals


def test_seals_of_unknown_age_are_counted_and_said(lives, ahead):
    got = life.seals_to_date(lives, ahead)
    table = got.table.set_index("service_class")
    assert table["left_out"].to_dict() == {"SOUR": 1, "WATER": 2}
    assert (table["in_service"] == table["left_out"] + table["seals"]).all()
    assert (
        "2 of 15 seals in service are left out: age not known." in (table.loc["WATER", "message"])
    )
    each = got.seals
    assert len(each) == (lives["end"] == "in service").sum()
    assert (each["left_out"] == "age not known").sum() == 3
    assert each.loc[each["left_out"] != "", "share_of_like"].isna().all()
    assert got.no_date == 0
    both = got.together()
    assert both["seals"] == len(each) - 3


def test_a_class_of_unknown_ages_alone_keeps_its_row(lives, ahead):
    alone = lives.assign(
        service_class=lives["service_class"].mask(~lives["age_known"], "LOST AGES")
    )
    row = life.seals_to_date(alone, ahead)["LOST AGES"]
    assert row["status"] == "left out"
    assert row["message"] == "3 of 3 seals in service are left out: age not known."
    assert np.isnan(row["share_running"])


def test_a_part_of_the_plant_keeps_the_curve_of_its_class(lives, ahead):
    whole = life.seals_to_date(lives, ahead)
    part = life.seals_to_date(lives, ahead.iloc[4:9])
    assert part.no_date == len(ahead) - 5
    assert part.table["in_service"].sum() == 5
    chosen = whole.seals["life_id"].isin(part.seals["life_id"])
    assert part.seals["share_of_like"].tolist() == pytest.approx(
        whole.seals.loc[chosen, "share_of_like"].tolist(), nan_ok=True
    )


def test_dates_and_where_they_are_from(lives, ahead):
    water = ahead.index < 15
    mixed = ahead.assign(
        until=ahead["until"].where(water, pd.Timestamp("2027-01-01")),
        until_from=ahead["until_from"].where(water & (ahead.index > 3), "look ahead"),
    )
    table = life.seals_to_date(lives, mixed).table.set_index("service_class")
    assert table["until_from"].to_dict() == {"SOUR": "look ahead", "WATER": "both"}
    assert table.loc["WATER", "until_last"] == pd.Timestamp("2026-07-01")
    assert table.loc["SOUR", "until_first"] == pd.Timestamp("2027-01-01")


def test_hours_ahead_not_known_leave_a_seal_out_on_that_clock_alone(lives, ahead):
    bare = ahead.assign(hours_ahead=ahead["hours_ahead"].mask(ahead.index == 5))
    got = life.seals_to_date(lives, bare)
    assert got.seals.loc[5, "left_out"] == "hours ahead not known"
    assert (
        "3 of 15 seals in service are left out: age not known, hours ahead not known."
        in (got["WATER"]["message"])
    )
    assert life.seals_to_date(lives, bare, clock="calendar_d").seals.loc[5, "left_out"] == ""


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (lambda a: a.drop(columns="hours_ahead"), "ahead: has no column hours_ahead; build it"),
        (lambda a: pd.concat([a, a.iloc[:1]]), "ahead: 'L0' is named twice"),
        (lambda a: a.assign(life_id="L9"), "ahead: 'L9'"),
        (lambda a: a.assign(life_id=["nobody", *a["life_id"][1:]]), "'nobody' is no life in serv"),
    ],
)
def test_dates_that_do_not_fit_are_refused(lives, ahead, change, sentence):
    with pytest.raises(InputError, match=sentence):
        life.seals_to_date(lives, change(ahead))


def test_a_life_table_without_places_is_refused(lives, ahead):
    with pytest.raises(InputError, match="lives: has no column site"):
        life.seals_to_date(lives.drop(columns="site"), ahead)


def test_nobody_in_service(lives, ahead):
    ended = lives.assign(end="failed")
    got = life.seals_to_date(ended, ahead.iloc[:0])
    assert (got.table["status"] == "no seals in service").all()
    assert got.seals.empty


def as_of(study, day):
    """Lives as they stood on a day, and what became of the seals then in service."""
    table = study.lives.table
    table = table[table["entry"] < day].copy()
    later = table["exit"] > day
    became = table.loc[later, ["life_id", "end", "exit"]]
    at = np.full(len(table), day_number(pd.Series([day]))[0])
    then, last = (
        study.clock.at(table["position_id"], d)[0] for d in (at, day_number(table["exit"]))
    )
    table["exit_age_h"] -= np.where(later, last - then, 0.0)
    table["exit_age_d"] -= np.where(later, day_number(table["exit"]) - at, 0.0)
    table.loc[later, ["exit_low_h", "exit_low_d"]] = np.nan
    table["end"] = table["end"].mask(table["end"] == "in service", "lost").mask(later, "in service")
    table["exit"] = table["exit"].mask(later, day)
    return table, became


@pytest.mark.parametrize("clock", ["run_h", "calendar_d"])
def test_on_past_days_the_demo_fleet_failed_as_often_as_was_foretold(demo_study, clock):
    """Five years of the demo fleet, class by class: 90 % and no fewer, within what chance allows.

    Its laws are mixtures, its hours from meters and duty, its records as a plant keeps them.
    """
    right = total = 0
    for day in pd.to_datetime([f"{year}-01-01" for year in range(2021, 2026)]):
        table, became = as_of(demo_study, day)
        no_outage = demo_study.fleet["outages"].iloc[:0]
        dates = time_ahead(table, no_outage, demo_study.clock, look_ahead_days=365)
        got = life.seals_to_date(table, dates, clock=clock)
        seals = got.seals[(got.seals["left_out"] == "") & ~got.seals["beyond"]]
        seals = seals.merge(became, on="life_id")
        failed = (seals["end"] == "failed") & (seals["exit"] <= day + pd.Timedelta(days=365))
        count = failed.groupby(seals["service_class"]).sum()
        rows = got.table[got.table["asked"] > 0].set_index("service_class")
        count = count.reindex(rows.index)
        inside = count.between(rows["predicted_failures_low"], rows["predicted_failures_high"])
        right, total = right + int(inside.sum()), total + len(rows)
    assert total >= 40
    assert right >= binom.ppf(0.001, total, 0.90)
