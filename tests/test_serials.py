"""Seals that move, come back, are rebuilt or change places."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from builders import fleet_of

from seallife.serials import rebuild_number
from seallife.study import Study, run_study

PAIR = [
    {"tag": t, "commissioned": "2016-01-01", "duty_share": s}
    for t, s in (("P-101A", 0.5), ("P-101B", 0.25))
]


def _study(*removals: tuple[str, str, str, str, str], gaps: tuple[str, ...] = ()) -> Study:
    rows = [
        {"position_id": p, "date": d, "reason": r, "serial_out": out, "serial_in": put}
        for p, d, r, out, put in removals
    ]
    windows = [(gaps[0], gaps[1])] if gaps else []
    fleet = fleet_of(PAIR, removals=rows, gaps=windows, rules={"lives_across_gaps": "same seal"})
    return run_study(fleet)


def _said(study: Study) -> list[str]:
    mine = {"seal moved", "another serial number came out", "failed seal put in elsewhere"}
    return [c for c in study.findings["check"] if c in mine]


def test_a_good_seal_put_in_elsewhere_lives_on_at_its_age() -> None:
    study = _study(
        ("P-101A", "2018-01-01", "other pump part", "S1", "S2"),
        ("P-101B", "2018-01-11", "seal failed", "S9", "S1"),
        ("P-101B", "2019-01-11", "seal failed", "S1", "S3"),
    )
    lives = study.lives.table.set_index("life_id")
    moved = lives.loc["P-101B 2018-01-11 moved"]
    assert moved["moved_from"] == "P-101A 2016-01-01"
    assert (moved["entry_age_d"], moved["exit_age_d"], moved["days"]) == (731, 731 + 365, 365)
    # Each pump's hours by its own clock: 12 h a day there, 6 h a day here.
    assert moved["entry_age_h"] == pytest.approx(731 * 12)
    assert moved["exit_age_h"] == pytest.approx(731 * 12 + 365 * 6)
    assert (moved["end"], moved["start_kind"]) == ("failed", "moved")
    assert (lives["moved_from"] != "").sum() == 1
    assert _said(study) == ["seal moved"]


def test_long_on_the_shelf_raises_a_doubt_and_its_time_is_no_age() -> None:
    study = _study(
        ("P-101A", "2018-01-01", "planned by age", "S1", "S2"),
        ("P-101B", "2020-01-01", "seal failed", "", "S1"),
    )
    moved = study.lives.table.set_index("life_id").loc["P-101B 2020-01-01 moved"]
    assert moved["entry_age_d"] == 731
    found = study.findings.set_index("check").loc["seal moved"]
    assert found["severity"] == "doubt"


@pytest.mark.parametrize(("reason", "back"), [("seal failed", "S1"), ("other pump part", "S1-R1")])
def test_a_failed_or_rebuilt_seal_begins_anew(reason: str, back: str) -> None:
    study = _study(
        ("P-101A", "2018-01-01", reason, "S1", "S2"),
        ("P-101B", "2018-03-01", "seal failed", "", back),
    )
    assert (study.lives.table["moved_from"] == "").all()
    life = study.lives.table.set_index("life_id").loc["P-101B 2018-03-01"]
    assert life["entry_age_d"] == 0
    assert life["rebuild_no"] == (1 if back.endswith("R1") else 0)


def test_a_seal_found_good_and_refitted_lives_on() -> None:
    study = _study(("P-101A", "2018-01-01", "other pump part", "S1", "S1"))
    lives = study.lives.table
    mine = lives[lives["position_id"] == "P-101A"]
    assert mine["exit_age_d"].tolist() == [731, 731 + 2_922]
    assert mine["moved_from"].tolist() == ["", "P-101A 2016-01-01"]


@pytest.mark.parametrize("reason", ["unknown", "other pump part"])
def test_two_seals_that_change_places_on_one_day(reason: str) -> None:
    study = _study(
        ("P-101A", "2018-01-01", reason, "S1", "S2"),
        ("P-101B", "2018-01-01", reason, "S2", "S1"),
    )
    lives = study.lives.table
    assert lives["end"].tolist() == ["withdrawn", "in service"] * 2
    assert lives["entry_age_h"].tolist() == [0, 731 * 6, 0, 731 * 12]
    assert ("reason from elsewhere" in set(study.findings["check"])) == (reason == "unknown")
    assert study.history.overall.iloc[0]["failures"] == 0


def test_a_seal_that_moves_twice_keeps_all_its_age() -> None:
    study = _study(
        ("P-101A", "2017-01-01", "other pump part", "S1", "S2"),
        ("P-101B", "2017-01-01", "other pump part", "S8", "S1"),
        ("P-101B", "2018-01-01", "other pump part", "S1", "S3"),
        ("P-101A", "2018-01-01", "seal failed", "S2", "S1"),
    )
    last = study.lives.table.set_index("life_id").loc["P-101A 2018-01-01 moved"]
    assert last["entry_age_d"] == 366 + 365
    assert last["entry_age_h"] == pytest.approx(366 * 12 + 365 * 6)


def test_a_moved_seal_carries_its_age_across_a_gap() -> None:
    study = _study(
        ("P-101A", "2018-01-01", "other pump part", "S1", "S2"),
        ("P-101B", "2018-01-01", "seal failed", "", "S1"),
        gaps=("2020-01-01", "2020-12-31"),
    )
    lives = study.lives.table
    after = lives[(lives["position_id"] == "P-101B") & (lives["end"] == "in service")].iloc[0]
    assert (
        after["entry_age_d"] == 731 + (pd.Timestamp("2021-01-01") - pd.Timestamp("2018-01-01")).days
    )


def test_a_serial_that_does_not_fit_is_said_and_moves_nothing() -> None:
    study = _study(
        ("P-101A", "2017-01-01", "seal failed", "", "S1"),
        ("P-101B", "2017-06-01", "seal failed", "", "S2"),
        ("P-101A", "2019-01-01", "other pump part", "S2", "S3"),
        ("P-101B", "2020-01-01", "seal failed", "S1", "S4"),
    )
    assert _said(study) == ["another serial number came out"] * 2
    first = (
        study.findings.set_index("check").loc["another serial number came out", "message"].iloc[0]
    )
    assert "S2 had gone in at P-101B" in first
    assert (study.lives.table["moved_from"] == "").all()


def test_a_failed_seal_in_another_pump_the_same_day_is_asked_about() -> None:
    study = _study(
        ("P-101A", "2018-01-01", "seal failed", "S1", "S2"),
        ("P-101B", "2018-01-01", "seal failed", "S9", "S1"),
    )
    assert _said(study) == ["failed seal put in elsewhere"]
    assert study.history.overall.iloc[0]["failures"] == 2


def test_without_serial_numbers_nothing_changes() -> None:
    study = _study(("P-101A", "2018-01-01", "other pump part", "", ""))
    lives = study.lives.table
    assert (lives["serial"] == "").all()
    assert lives["rebuild_no"].isna().all()
    assert (lives["moved_from"] == "").all()


def test_rebuild_marks() -> None:
    got = rebuild_number(pd.Series(["A12-R3", "A12-r1", "R12", "A12 R", "BR", ""]))
    assert got.tolist()[:5] == [3, 1, 0, 1, 0]
    assert np.isnan(got.iloc[5])
