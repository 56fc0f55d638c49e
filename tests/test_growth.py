"""Growth of real studies: one row a group, counts that are those of MTBR, a still site in peace."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest
from builders import fleet_of, seal_order
from studies import grids, hostile, no_failures, one_position, seven_months, two_sites

from seallife.errors import InputError
from seallife.history import Growth, growth_of_groups, mean_cumulative_of_groups
from seallife.study import Study, run_study


def growth(study: Study, **kwargs: Any) -> Growth:
    return growth_of_groups(
        study.removals, study.lives, study.register, classes(study), resamples=199, **kwargs
    )


def classes(study: Study) -> pd.Series:
    return study.classes.table.set_index("position_id")["service_class"]


@pytest.fixture(scope="module")
def demo_growth(demo_study: Study) -> Growth:
    return growth(demo_study)


def test_failures_and_exposure_are_those_of_mtbf(demo_study: Study, demo_growth: Growth) -> None:
    table = demo_growth.table
    overall = demo_study.history.overall
    overall = overall[overall["by"].isin(table["by"])]
    assert table["group"].tolist() == overall["group"].tolist()
    assert (table["failures"] + table["left_out"]).tolist() == overall["failures"].tolist()
    np.testing.assert_allclose(table["exposure_years"], overall["exposure_years"])
    assert table["positions"].tolist() == overall["positions"].tolist()


def test_merrowfen_where_nothing_changed_is_left_in_peace(demo_growth: Growth) -> None:
    """Story S10 of the invented fleet, by every test at 5 % and by the verdict at 90 %."""
    row = demo_growth["Merrowfen"]
    assert row["verdict"] == "no evidence"
    assert not row["changed"]
    tests = ("p", "lewis_robinson_p", "reversals_p", "laplace_p", "mil_hdbk_p", "change_p")
    assert (row[[*tests]].astype(float) > 0.05).all()
    assert row["shape_low"] < 1 < row["shape_high"]
    mine = demo_growth.table["group"].str.startswith("Merrowfen")
    assert not demo_growth.table.loc[mine, "verdict"].isin(["improved", "worse"]).any()
    assert not demo_growth.table.loc[mine, "changed"].any()


def test_no_more_verdicts_than_chance_brings(demo_growth: Growth) -> None:
    """The stories of the demo touch parts of units only; no group as a whole got much better."""
    told = demo_growth.table["verdict"].isin(["improved", "worse"]).sum()
    assert demo_growth.by_chance == pytest.approx(2.5)
    assert told <= 5


def test_a_planted_step_is_found(demo_study: Study) -> None:
    """Three in five of Skarrow's failures from March 2021 on taken out."""
    removals = demo_study.removals
    rows = removals.table
    late = (rows["end"] >= "2021-03-01") & (rows["site"] == "Skarrow Point")
    gone = late & (rows["ended"] != "withdrawn") & (np.arange(len(rows)) % 5 < 3)
    study = replace(demo_study, removals=replace(removals, table=rows[~gone]))
    got = growth(study, by=("site",))
    row = got["Skarrow Point"]
    assert row["verdict"] == "improved"
    assert row["ratio_high"] < 1
    assert row["changed"]
    assert row["change_low"] <= pd.Timestamp("2021-03-15")
    assert row["change_high"] >= pd.Timestamp("2021-03-01")
    assert row["change_ratio"] == pytest.approx(0.4, abs=0.12)
    assert row["shape_high"] < 1
    assert got["Merrowfen"]["verdict"] == "no evidence"


def test_unplaced_failures_can_hold_a_verdict_back(demo_study: Study) -> None:
    """One unit of the demo rose by the records placed; two of the unplaced could undo it."""
    row = growth(demo_study, by=("unit",))["Skarrow Point / 300"]
    assert row["ratio_low"] > 1
    assert row["verdict"] == "cannot tell yet"
    assert row["message"].startswith("worse by the failures placed, but 2 more")
    bare = replace(demo_study.removals, unplaced=demo_study.removals.unplaced.iloc[:0])
    study = replace(demo_study, removals=bare)
    assert growth(study, by=("unit",))["Skarrow Point / 300"]["verdict"] == "worse"


def test_run_hours_are_another_exposure(demo_study: Study, demo_growth: Growth) -> None:
    run = growth(demo_study, by=("all",), clock="run")
    hours = demo_study.history.overall.iloc[0]["exposure_h"]
    assert run["all"]["exposure_years"] == pytest.approx(hours / 8766, rel=1e-9)
    assert run["all"]["failures"] == demo_growth["all"]["failures"]


def test_failures_against_exposure_end_at_all_of_both(demo_growth: Growth) -> None:
    rows = demo_growth.failures("Merrowfen")
    row = demo_growth["Merrowfen"]
    assert rows["number"].iloc[-1] == row["failures"]
    assert rows["exposure_years"].is_monotonic_increasing
    assert rows["exposure_years"].iloc[-1] <= row["exposure_years"]
    ends = demo_growth.exposure_at(
        "Merrowfen", pd.Series([row["first"], pd.Timestamp("2030-01-01")])
    )
    assert ends.tolist() == pytest.approx([0.0, row["exposure_years"]])
    # nobody was watched in the gap of spring 2020: exposure stands still
    gap = demo_growth.exposure_at(
        "Merrowfen", pd.Series(pd.to_datetime(["2020-03-05", "2020-05-25"]))
    )
    assert gap[0] == pytest.approx(gap[1])


def test_grids_get_one_row_a_group() -> None:
    """Real records: 33 locomotives, all watched from new, whose grids wear: more come with age."""
    got = growth(grids())
    assert got.table["by"].tolist() == ["all", "site", "unit", "service_class", "service_class"]
    assert got["all"]["failures"] == 50
    assert got["all"]["left_out"] == 0
    assert got["all"]["new"] == 33


def test_a_fleet_that_was_new_gets_a_caution_beside_its_verdict() -> None:
    """Twelve pumps started in 2017, whose first seals last six years: of course more fail later."""
    positions = [{"tag": f"P-{i}", "commissioned": "2017-03-01"} for i in range(12)]
    orders = [
        seal_order(f"P-{i}", f"{2022 + i % 4}-{1 + i % 12:02d}-15", wo_no=f"{i}") for i in range(12)
    ]
    got = growth(run_study(fleet_of(positions, work_orders=orders)), by=("all",))["all"]
    assert (got["new"], got["verdict"]) == (12, "worse")
    assert "12 of 12 positions were new when their records began" in got["message"]
    assert "nan" not in got["message"]
    old = [p | {"commissioned": "2009-03-01"} for p in positions]
    row = growth(run_study(fleet_of(old, work_orders=orders)), by=("all",))["all"]
    assert (row["new"], row["verdict"]) == (0, "worse")
    assert "were new" not in row["message"]


@pytest.mark.parametrize("study", [no_failures, one_position, seven_months, hostile, two_sites])
def test_small_and_strange_studies_get_rows_in_words(study: Any) -> None:
    got = growth(study())
    verdicts = {"improved", "worse", "no evidence", "cannot tell yet"}
    assert set(got.table["verdict"]) <= verdicts
    assert (got.table["message"] != "").all()
    assert (got.table["change_message"] != "").all()
    none = got.table[got.table["failures"] == 0]
    assert (none["verdict"] == "cannot tell yet").all()
    assert none["ratio"].isna().all()


def test_a_failure_while_the_seal_was_said_to_be_out_is_moved_not_lost() -> None:
    """In on 31 January, out again the day before by its own order: counted at the nearest day."""
    orders = [
        seal_order("P-1", "2018-01-01", work_end="2018-01-31"),
        seal_order("P-2", "2019-03-01"),
    ]
    study = run_study(fleet_of([{"tag": "P-1"}, {"tag": "P-2"}], work_orders=orders))
    rows = study.removals.table.copy()
    rows.loc[rows["position_id"] == "P-1", "end"] = pd.Timestamp("2018-01-20")
    moved = replace(study, removals=replace(study.removals, table=rows))
    got = growth(moved, by=("all",))
    assert (got["all"]["failures"], got["all"]["left_out"]) == (2, 0)
    assert pd.Timestamp("2018-01-01") in got.failures("all")["day"].tolist()
    rows.loc[rows["position_id"] == "P-1", "end"] = pd.Timestamp("1990-01-20")
    far = replace(study, removals=replace(study.removals, table=rows))
    got = growth(far, by=("all",))
    assert (got["all"]["failures"], got["all"]["left_out"]) == (1, 1)


@pytest.mark.parametrize(
    ("kwargs", "where"),
    [
        ({"by": ("colour",)}, "by"),
        ({"by": ()}, "by"),
        ({"clock": "sand"}, "clock"),
        ({"level": 2.0}, "level"),
    ],
)
def test_bad_input_is_one_sentence(kwargs: dict[str, Any], where: str) -> None:
    with pytest.raises(InputError, match=f"^{where}"):
        growth(two_sites(), **kwargs)


def test_a_group_that_is_not_there_is_named() -> None:
    with pytest.raises(InputError, match="no group 'nowhere'"):
        growth(two_sites()).failures("nowhere")


# --- mean cumulative numbers of the same studies -------------------------------------------------


def cumulative(study: Study, **kwargs: Any) -> Any:
    return mean_cumulative_of_groups(
        study.removals, study.lives, study.register, classes(study), **kwargs
    )


@cache
def grid_curves() -> Any:
    return cumulative(grids(), by="service_class", scale="age")


def test_grids_by_age_are_the_published_curve() -> None:
    """Doganaksoy & Nelson 1998 (see MCF-02), through a fleet folder: days move by at most one."""
    got = grid_curves()
    assert got.table["units"].tolist() == [15, 18]
    assert got.table["events"].tolist() == [24, 26]
    rows = got.at([200, 300, 400])
    one = rows[rows["group"] == "BATCH 1"]["mean"].tolist()
    assert one == pytest.approx([2 / 15, 5 / 15, 10 / 15])


def test_counts_of_the_demo_are_those_of_mtbr(demo_study: Study) -> None:
    overall = demo_study.history.overall.query("by == 'site'")
    for counts in ("failures", "removals"):
        got = cumulative(demo_study, by="site", counts=counts).table
        assert (got["events"] + got["left_out"]).tolist() == overall[counts].tolist()
        assert got["units"].tolist() == overall["positions"].tolist()
    merrowfen = got.iloc[0]
    assert merrowfen["status"] == "nobody watched"
    assert "from 2020-03-01 to 2020-06-01" in merrowfen["message"]


def test_positions_without_an_age_are_counted(demo_study: Study) -> None:
    got = cumulative(demo_study, by="all", scale="age").table.iloc[0]
    assert got["units"] + got["no_age"] == 420
    assert got["no_age"] > 0


@pytest.mark.parametrize(
    ("kwargs", "where"),
    [({"by": "colour"}, "by"), ({"counts": "leaks"}, "counts"), ({"scale": "moon"}, "scale")],
)
def test_strange_words_are_refused(kwargs: dict[str, Any], where: str) -> None:
    with pytest.raises(InputError, match=f"^{where}"):
        cumulative(two_sites(), **kwargs)


def test_no_age_at_all_is_said() -> None:
    study = run_study(fleet_of([{"tag": "P-1", "commissioned": ""}], removals=[]))
    with pytest.raises(InputError, match="commissioning"):
        cumulative(study, scale="age")
