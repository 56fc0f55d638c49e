"""`seallife.life.fits`: from a table of lives to a row per class."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from seallife import life
from seallife.errors import InputError
from seallife.life.tablefits import mixtures_of_lives


@pytest.fixture
def lives():
    rng = np.random.default_rng(0)
    n = 120
    entry = np.where(rng.random(n) < 0.3, rng.uniform(0, 4000, n), 0.0)
    age = entry + 20_000 * rng.weibull(1.4, n)
    return pd.DataFrame(
        {
            "life_id": [f"L{i}" for i in range(n)],
            "service_class": rng.choice(["HC-HOT", "WATER"], n),
            "entry_age_h": entry,
            "exit_age_h": age,
            "exit_low_h": np.nan,
            "entry_age_d": entry / 20,
            "exit_age_d": age / 20,
            "end": rng.choice(["failed", "withdrawn", "in service", "lost"], n),
            "age_known": True,
        }
    )


def test_a_class_is_fitted_as_its_arrays_are(lives):
    fits = life.fit_lives(lives, survival_at=[8760])
    rows = lives[lives["service_class"] == "HC-HOT"]
    plain = life.fit_weibull(
        rows["exit_age_h"],
        rows["end"] == "failed",
        entry_age=rows["entry_age_h"],
        resamples=400,
    )["all"]
    row = fits["HC-HOT"]
    assert row["scale_h"] == pytest.approx(plain["scale"], rel=1e-10)
    assert row["b10_low_h"] == pytest.approx(plain["b10_low"], rel=1e-8)
    assert row["shape_high"] == pytest.approx(plain["shape_high"], rel=1e-8)
    assert row["n"] == len(rows)
    at = fits.survival.set_index("service_class").loc["HC-HOT"]
    law = life.fit_weibull(
        rows["exit_age_h"],
        rows["end"] == "failed",
        entry_age=rows["entry_age_h"],
        survival_at=[8760],
        resamples=400,
    ).survival.iloc[0]
    km = life.kaplan_meier(
        rows["exit_age_h"], rows["end"] == "failed", entry_age=rows["entry_age_h"]
    ).at([8760.0])
    assert at["weibull"] == pytest.approx(law["survival"], rel=1e-10)
    assert at["weibull_high"] == pytest.approx(law["high"], rel=1e-8)
    for column in ("survival", "low", "high", "at_risk"):
        assert at[column] == pytest.approx(km[column].iloc[0], rel=1e-12)
    assert fits.curves["HC-HOT"]["failures"] == row["failures"]
    assert fits.unit == "h"
    assert "run hours" in fits.summary()


def test_mixtures_are_those_of_the_same_arrays(lives):
    got = mixtures_of_lives(lives, level=0.9)
    rows = lives[lives["service_class"] == "HC-HOT"]
    plain = life.hides_mixture(
        rows["exit_age_h"], rows["end"] == "failed", entry_age=rows["entry_age_h"]
    )["all"]
    row = got["HC-HOT"]
    assert row["chi2"] == pytest.approx(plain["chi2"], rel=1e-6)
    assert row["verdict"] == plain["verdict"]
    assert set(got.table["group"]) == set(life.fit_lives(lives).table["service_class"])


def test_no_age_is_without_its_unit(lives):
    for clock, unit in (("run_h", "h"), ("calendar_d", "d")):
        table = life.fit_lives(lives, clock=clock, fractions=[0.1, 0.025]).table
        ages = ("scale", "mean", "sd", "b", "exposure", "oldest")
        named = [c for c in table if c.startswith(ages)]
        assert len(named) == 6 + 2 + 6 + 1
        assert all(c.endswith(f"_{unit}") for c in named)
    a, b = life.fit_lives(lives)["WATER"], life.fit_lives(lives, clock="calendar_d")["WATER"]
    assert a["scale_h"] / 20 == pytest.approx(b["scale_d"], rel=1e-8)


def test_every_life_is_used_or_named(lives):
    lives.loc[0, "age_known"] = False
    lives.loc[1, "exit_age_h"] = np.nan
    lives.loc[2, ["entry_age_h", "exit_age_h"]] = [500.0, 500.0]
    lives.loc[3, ["entry_age_h", "exit_age_h"]] = [-5.0, 500.0]
    fits = life.fit_lives(lives)
    assert fits.lives == len(lives) == fits.used + len(fits.excluded_ids)
    assert fits.excluded_ids["life_id"].tolist() == ["L0", "L1", "L2", "L3"]
    assert fits.excluded_ids["reason"].tolist() == [
        "age not known",
        "run hours not known",
        "no run hours lived under observation",
        "run hours at entry below 0",
    ]
    assert fits.table["excluded"].sum() == 4
    assert fits.table["n"].sum() == len(lives) - 4


def test_every_class_has_its_row(lives):
    lives.loc[:4, "service_class"] = "SLURRY"
    lives.loc[:4, "age_known"] = False
    lives.loc[5:6, "service_class"] = None
    fits = life.fit_lives(lives)
    assert fits.table["service_class"].tolist() == ["HC-HOT", "SLURRY", "WATER", "unknown"]
    assert fits["SLURRY"]["status"] == "no lives"
    assert fits["SLURRY"]["excluded"] == 5
    assert fits["unknown"]["n"] == 2


def test_interval_ends_are_used(lives):
    exact = life.fit_lives(lives)["WATER"]
    failed = lives["end"] == "failed"
    lives["exit_low_h"] = np.where(failed, lives["exit_age_h"] * 0.999, np.nan)
    narrow = life.fit_lives(lives)["WATER"]
    assert narrow["shape"] == pytest.approx(exact["shape"], rel=0.01)
    assert narrow["shape"] != exact["shape"]
    # known good at its entry whatever the record says
    lives["exit_low_h"] = np.where(failed, 0.0, np.nan)
    assert life.fit_lives(lives)["WATER"]["failures"] == exact["failures"]


def test_a_fixed_shape_reaches_every_class(lives):
    lives["exit_low_h"] = np.where(lives["end"] == "failed", lives["exit_age_h"] * 0.9, np.nan)
    fits = life.fit_lives(lives, fixed_shape=1.4)
    assert (fits.table["shape"] == 1.4).all()
    assert (fits.table["scale_low_h"] < fits.table["scale_h"]).all()
    assert "scale_if_one_failed_h" in fits.table


def test_the_table_given_is_left_as_it_was(lives):
    before = lives.copy(deep=True)
    life.fit_lives(lives)
    pd.testing.assert_frame_equal(lives, before)


def test_bad_tables_are_refused(lives):
    with pytest.raises(InputError, match="exit_age_h"):
        life.fit_lives(lives.drop(columns="exit_age_h"))
    with pytest.raises(InputError, match="broken"):
        life.fit_lives(lives.assign(end="broken"))
    with pytest.raises(InputError, match="clock"):
        life.fit_lives(lives, clock="starts")


def test_survival_of_a_class_without_failures_has_a_lower_limit_only():
    """None of n failed: the exact lower limit of a share, alpha^(1/n)."""
    n = 12
    lives = pd.DataFrame(
        {
            "life_id": [f"L{i}" for i in range(n)],
            "service_class": "OIL",
            "entry_age_h": 0.0,
            "exit_age_h": np.linspace(9_000, 20_000, n),
            "end": "in service",
            "age_known": True,
        }
    )
    row = life.fit_lives(lives, survival_at=[8760, 25_000]).survival
    assert row.loc[0, ["survival", "high", "at_risk"]].tolist() == [1.0, 1.0, n]
    assert row.loc[0, "low"] == pytest.approx(0.05 ** (1 / n))
    assert row.loc[1, ["survival", "low", "high"]].isna().all()
    assert row["weibull"].isna().all()


def test_rates_of_a_table_are_those_of_its_arrays(lives):
    """Asked along with the fits, on the same drawings, or alone: the same limits."""
    exact = lives.assign(exit_low_h=np.nan)
    got = life.fit_lives(exact, survival_at=[8760.0], hazards=True, resamples=60).hazards
    ages = got.hazard["age"].unique()
    assert len(ages) == 12
    known = exact[exact["age_known"]]
    alone = life.weibull_hazard(
        known["exit_age_h"],
        known["end"] == "failed",
        ages,
        group=known["service_class"],
        entry_age=known["entry_age_h"],
        resamples=60,
    )
    columns = ["hazard", "low", "high"]
    both = alone.hazard.merge(got.hazard, on=["group", "age"], suffixes=("", "_got"))
    assert both["low"].notna().any()
    for name in columns:
        np.testing.assert_allclose(both[name], both[f"{name}_got"], rtol=1e-6)
    assert life.fit_lives(exact, resamples=0).hazards.hazard.empty
