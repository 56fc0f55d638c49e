"""The invented fleet follows its law, and its truth is what an analysis can be held against."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from seallife.demo import scenario as sc
from seallife.demo.layout import positions_table
from seallife.demo.simulate import TrueFleet, simulate_fleet, simulate_lives
from seallife.demo.truth import (
    draw_class_lives,
    law_figures,
    single_weibull_limit,
    stacked_lives,
    true_life_table,
    weibull_limit,
    window_totals,
)

# Scenario table: class -> mean [h], B10 [h], R(8,760 h), R(25,000 h), and shape and scale [h] of
# the single Weibull without censoring (400,000 draws each, hence the rounding).
LAW = {
    "HC-HOT": (23_600, 4_270, 0.820, 0.433, 1.42, 25_600),
    "HC-FLASH": (23_200, 2_890, 0.760, 0.392, 1.18, 24_400),
    "HC-GEN": (40_100, 6_720, 0.880, 0.690, 1.40, 43_400),
    "SOUR": (23_200, 3_170, 0.779, 0.406, 1.25, 24_700),
    "CORR": (16_400, 2_030, 0.664, 0.223, 1.16, 17_200),
    "CHEM": (26_700, 3_440, 0.799, 0.474, 1.23, 28_300),
    "WATER": (37_400, 7_120, 0.884, 0.678, 1.47, 40_700),
    "BFW/HOTW": (26_100, 4_580, 0.836, 0.514, 1.48, 28_400),
    "SLURRY": (9_900, 2_030, 0.563, 0.006, 1.58, 10_900),
}


@pytest.fixture(scope="module")
def fleet() -> TrueFleet:
    return simulate_fleet()


@pytest.fixture(scope="module")
def clean() -> dict[str, np.ndarray]:
    return stacked_lives(60, seed=31)


@pytest.fixture(scope="module")
def totals() -> pd.DataFrame:
    return window_totals(range(7_000, 7_060))


@pytest.mark.parametrize("name", LAW)
def test_law_figures_against_scenario_table(name: str) -> None:
    row = law_figures().set_index("service_class").loc[name]
    mean, b10, short, long, _, _ = LAW[name]
    assert row["mean_h"] == pytest.approx(mean, rel=0.004)
    assert row["b10_h"] == pytest.approx(b10, rel=0.02)
    assert row["survival_8760"] == pytest.approx(short, abs=0.0021)
    assert row["survival_25000"] == pytest.approx(long, abs=0.002)


@pytest.mark.parametrize("name", LAW)
def test_draws_follow_the_law(name: str) -> None:
    draws = 400_000
    ages = draw_class_lives(name, draws, seed=3)
    row = law_figures().set_index("service_class").loc[name]
    assert abs(ages.mean() - row["mean_h"]) < 4 * ages.std() / draws**0.5
    for hours, survival in ((8_760, row["survival_8760"]), (25_000, row["survival_25000"])):
        error = (survival * (1 - survival) / draws) ** 0.5
        assert abs((ages > hours).mean() - survival) < 4 * error + 1e-5
    assert abs((ages <= row["b10_h"]).mean() - 0.10) < 4 * (0.09 / draws) ** 0.5


@pytest.mark.parametrize("name", LAW)
def test_single_weibull_without_censoring(name: str) -> None:
    ages = draw_class_lives(name, 400_000, seed=5)
    shape, scale = weibull_limit(np.zeros_like(ages), ages, np.ones(ages.size, dtype=bool))
    assert shape == pytest.approx(LAW[name][4], abs=0.011)
    assert scale == pytest.approx(LAW[name][5], rel=0.006)


def test_single_weibull_limit_depends_on_the_censoring() -> None:
    shape, scale = single_weibull_limit("HC-HOT", replicates=60)
    # Late lives are cut off, so the infant part weighs more than without censoring.
    assert 1.20 < shape < LAW["HC-HOT"][4]
    assert 25_000 < scale < 30_000


def test_weibull_limit_recovers_a_weibull_with_late_entry() -> None:
    rng = np.random.default_rng(8)
    age = 20_000 * rng.weibull(2.2, 200_000)
    entry = 15_000 * rng.random(age.size)
    seen = age > entry
    end = np.minimum(age, entry + 12_000)
    shape, scale = weibull_limit(entry[seen], end[seen], (age <= entry + 12_000)[seen])
    assert shape == pytest.approx(2.2, rel=0.01)
    assert scale == pytest.approx(20_000, rel=0.01)


def test_totals_of_many_fleets(totals: pd.DataFrame) -> None:
    mean = totals.mean()
    # Scenario: 924 +- 26 failures in about 1,710 lives; rebuilt seals (hazard x 1.25) add some.
    assert mean["failures"] == pytest.approx(924, rel=0.03)
    assert 20 < totals["failures"].std() < 36
    assert mean["lives"] == pytest.approx(1_710, rel=0.02)
    assert mean["failures Skarrow Point"] == pytest.approx(620, rel=0.04)
    assert mean["failures Merrowfen"] == pytest.approx(300, rel=0.04)
    assert mean["other pump part"] + mean["planned by age"] == pytest.approx(211, rel=0.04)
    assert mean["planned in outage"] == pytest.approx(130, rel=0.04)
    assert mean["upgrade"] == pytest.approx(24, abs=0.4)
    assert mean["in service"] + mean["pump retired"] == pytest.approx(420, rel=0.01)
    assert mean["left_truncated"] == pytest.approx(420 - sc.NEW_POSITIONS, abs=3)


@pytest.mark.parametrize("name", sc.CLASSES)
def test_failures_per_class(totals: pd.DataFrame, name: str) -> None:
    expected = sc.EXPECTED_FAILURES[name]
    counts = totals[f"failures {name}"]
    error = counts.std() / len(counts) ** 0.5
    # 7 % for what the scenario table leaves open (rebuilt seals, start-up dates, bad actor).
    assert abs(counts.mean() - expected) < 0.07 * expected + 3 * error


def test_class_without_failures(fleet: TrueFleet) -> None:
    table = true_life_table(fleet)
    oil = table[table["service_class"] == "OIL"]
    assert len(oil) >= 12
    assert not (oil["end"] == "failed").any()


@pytest.mark.parametrize("name", ["HC-GEN", "WATER", "SLURRY", "BFW/HOTW"])
def test_late_entry_gives_back_the_law(clean: dict[str, np.ndarray], name: str) -> None:
    mine = clean["service_class"] == name
    entry, age, failed = (clean[c][mine] for c in ("entry_age_h", "exit_age_h", "failed"))
    deaths = np.sort(age[failed & (age <= 8_760)])
    at_risk = np.searchsorted(np.sort(entry), deaths) - np.searchsorted(np.sort(age), deaths)
    survival = np.exp(np.log1p(-1.0 / at_risk).sum())
    error = survival * np.sqrt((1.0 / at_risk**2).sum())
    law = law_figures().set_index("service_class").loc[name, "survival_8760"]
    assert abs(survival - law) < 4 * error
    assert error < 0.02


def test_life_table_contract(fleet: TrueFleet) -> None:
    table = true_life_table(fleet)
    assert set(table["end"]) == {"failed", "withdrawn", "in service"}
    assert table["life_id"].is_unique
    assert table["age_known"].all()
    assert (table["exit_age_h"] > table["entry_age_h"]).all()
    assert (table["entry_age_h"] >= 0).all()
    late = table["entry_age_d"] > 0
    windows = table["site"].map({s: pd.Timestamp(w[0]) for s, w in sc.WINDOWS.items()})
    assert (table["start"][late] < windows[late]).all()
    assert (table["start"][~late] >= windows[~late]).all()
    assert (table["end_date"] <= pd.Timestamp(sc.DATA_END)).all()
    failed = table["end"] == "failed"
    assert set(table["cause"][failed]) == {"infant", "random", "age", "lot"}
    assert table.groupby("position_id")["end"].apply(lambda e: (e == "in service").sum()).max() == 1


def test_gap_cuts_exposure_and_nothing_else(fleet: TrueFleet) -> None:
    whole, cut = true_life_table(fleet), true_life_table(fleet, cut_gap=True)
    skarrow = whole["site"] == sc.SKARROW
    pd.testing.assert_frame_equal(whole[skarrow], cut[cut["site"] == sc.SKARROW])

    def years(table: pd.DataFrame) -> float:
        return float((table["exit_age_d"] - table["entry_age_d"]).sum() / 365.25)

    # 108 positions for 92 days, less the few hours in which pumps stood under repair.
    assert years(whole) - years(cut) == pytest.approx(108 * 92 / 365.25, rel=0.02)
    assert (cut["end"] == "lost").sum() == pytest.approx(108, abs=4)
    lost = cut[cut["end"] == "lost"]
    assert (lost["end_date"] == pd.Timestamp(sc.GAP[0])).all()
    there = whole[~skarrow]
    before, after = there["start"] < "2020-03-01", there["end_date"] >= "2020-06-01"
    inside = (there["start"] >= "2020-03-01") & (there["end_date"] < "2020-06-01")
    assert len(cut) == len(whole) + (before & after).sum() - inside.sum()
    assert cut["life_id"].is_unique


def test_same_seed_same_fleet_and_copies_differ() -> None:
    first, again = simulate_fleet(4), simulate_fleet(4)
    pd.testing.assert_frame_equal(first.lives, again.lives)
    assert not first.lives.equals(simulate_fleet(5).lives)
    _, lives = simulate_lives(4, False, 3)
    copy = lives["position"] // len(positions_table())
    hours = [lives["hours"][copy == c].sum() for c in range(3)]
    assert len(set(hours)) == 3


def test_without_stories_only_the_law_remains() -> None:
    plain = simulate_fleet(9, stories=False)
    assert not plain.lives[["lot", "rebuilt"]].to_numpy().any()
    assert not plain.lives["ending"].isin(["lot", "upgrade", "pump retired"]).any()
    first = plain.positions["first_start_d"]
    assert (first < sc.day_number(sc.WINDOWS[sc.SKARROW][0])).all()


def test_duty_keeps_the_class_mean() -> None:
    places = pd.concat([simulate_fleet(s).positions for s in range(20)])
    assert places["duty"].between(0.15, 0.95).all()
    mean = places.groupby("service_class")["duty"].mean()
    for name, law in sc.CLASSES.items():
        assert mean[name] == pytest.approx(law.duty, abs=0.02)
    pairs = positions_table().drop_duplicates("tag")["sharing"].value_counts()
    assert pairs["alternating"] == 2 * 60
    assert pairs["main"] == pairs["spare"] == 40
