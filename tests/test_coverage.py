"""Do intervals hold the truth as often as they say? The table of the study, and a part repeated."""

from __future__ import annotations

import coverage_study
import pandas as pd
import pytest
from conftest import ROOT

CALIBRATED = "calibrated"


@pytest.fixture(scope="module")
def table() -> pd.DataFrame:
    return pd.read_csv(coverage_study.TABLE)


def test_the_table_is_whole(table: pd.DataFrame) -> None:
    cells = len(coverage_study.FAILURES) * len(coverage_study.PATTERNS)
    cells *= len(coverage_study.SHAPES) * len(coverage_study.QUANTITIES)
    assert (table.groupby("method").size() == cells).all()
    assert set(table["method"]) == {CALIBRATED, "likelihood ratio"}
    assert (table["fleets"] >= 600).all()
    total = table["cover"] + table["too_high"] + table["too_low"]
    assert total.to_numpy() == pytest.approx(1.0, abs=2e-4)


def test_calibrated_intervals_cover_at_their_level(table: pd.DataFrame) -> None:
    """88 to 92 % over the shapes of each pattern, each side's miss 3 to 7 %; single cells too,
    within three standard errors of their 600 fleets."""
    mine = table[table["method"] == CALIBRATED]
    by = mine.groupby(["failures", "pattern", "quantity"])[["cover", "too_high", "too_low"]].mean()
    assert by["cover"].between(0.88, 0.92).all(), by
    assert by[["too_high", "too_low"]].to_numpy().min() >= 0.03
    assert by[["too_high", "too_low"]].to_numpy().max() <= 0.07
    error = (0.9 * 0.1 / mine["fleets"]) ** 0.5
    assert ((mine["cover"] - 0.9).abs() <= 3 * error).all()
    # No wider scatter than that of drawing: no cell is off by itself.
    assert mine["cover"].std() < 1.15 * error.mean()


def test_plain_likelihood_ratios_do_not(table: pd.DataFrame) -> None:
    """What calibration is for: the same fleets without it."""
    plain = table[(table["method"] != CALIBRATED) & (table["failures"] == 5)]
    assert plain.loc[plain["pattern"] == "late entry", "cover"].mean() < 0.85


def test_the_bias_of_the_shape_is_taken_off(table: pd.DataFrame) -> None:
    bias = table[table["method"] == CALIBRATED].groupby("failures")
    assert bias["shape_bias"].mean()[5] > 0.15
    assert (bias["corrected_bias"].mean().abs() < 0.02).all()


@pytest.mark.parametrize(
    ("failures", "pattern"), [(5, "stopped early"), (5, "late entry"), (20, "random censoring")]
)
def test_a_part_of_the_study_repeated(failures: int, pattern: str) -> None:
    """Other fleets, fewer resamples: coverage within three standard errors of the level."""
    fleets = 160
    got = coverage_study.cell(failures, pattern, 1.4, fleets, 200, seed=77)
    error = (0.9 * 0.1 / fleets) ** 0.5
    assert (got["cover"] >= 0.9 - 3 * error).all(), got
    assert (got[["too_high", "too_low"]] <= 0.05 + 3 * error).all().all(), got


def test_readme_shows_the_table_as_it_is() -> None:
    shown = (ROOT / "README.md").read_text("utf-8").splitlines()
    missing = [line for line in coverage_study.readme_lines() if line not in shown]
    assert not missing, "README.md lacks:\n" + "\n".join(missing)
