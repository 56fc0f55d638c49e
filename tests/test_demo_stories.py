"""The planted stories are in the fleet, as strong as the scenario says."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from seallife.demo import scenario as sc
from seallife.demo.draws import Draws
from seallife.demo.leaks import leak_readings, ramped_lives
from seallife.demo.ledger import peers
from seallife.demo.simulate import TrueFleet, _life_hours, _Parameters, simulate_fleet
from seallife.demo.stories import decoy_positions, evidence
from seallife.demo.truth import law_figures, true_life_table


@pytest.fixture(scope="module")
def fleet() -> TrueFleet:
    return simulate_fleet()


@pytest.fixture(scope="module")
def many() -> pd.DataFrame:
    seen = [evidence(simulate_fleet(s)).assign(seed=s) for s in range(900, 940)]
    return (
        pd.concat(seen).groupby(["story", "figure"])[["expected", "obtained"]].agg(["mean", "std"])
    )


def _obtained(fleet: TrueFleet, story: str) -> list[float]:
    table = evidence(fleet)
    return table.loc[table["story"] == story, "obtained"].tolist()


@pytest.mark.parametrize("story", ["S1", "S2", "S3", "S4", "S7", "S8", "S9"])
def test_stories_over_many_fleets(many: pd.DataFrame, story: str) -> None:
    for _, row in many.loc[story].iterrows():
        error = row[("obtained", "std")] / 40**0.5
        expected = row[("expected", "mean")]
        assert abs(row[("obtained", "mean")] - expected) < 0.07 * expected + 3 * error


def test_wrong_lot_over_many_fleets(many: pd.DataFrame) -> None:
    rows = many.loc["S5"]["obtained"]["mean"]
    # More installations than the scenario guessed fall in the seven months.
    assert rows["seals of the wrong lot"] == pytest.approx(33, abs=4)
    assert rows["failed by it"] / rows["seals of the wrong lot"] == pytest.approx(21 / 28, abs=0.05)


def test_shipped_fleet_shows_each_story(fleet: TrueFleet) -> None:
    before, after = _obtained(fleet, "S1")
    assert (after / 87) / (before / 153) == pytest.approx(0.46, abs=0.08)
    chosen, later = _obtained(fleet, "S2")
    assert chosen >= 18
    assert later <= 5
    assert 12 <= _obtained(fleet, "S3")[0] <= 22
    installed, early = _obtained(fleet, "S4")
    assert 66 <= installed <= 88
    assert 9 <= early <= 17
    seals, failed = _obtained(fleet, "S5")
    assert 23 <= seals <= 33
    assert failed / seals > 0.6
    assert 160 <= _obtained(fleet, "S7")[0] <= 208
    assert _obtained(fleet, "OIL") == [0]


def test_decoy_changes_nothing_and_was_chosen_by_bad_luck(fleet: TrueFleet) -> None:
    chosen = decoy_positions(fleet)
    places = fleet.positions.iloc[chosen]
    assert len(chosen) == 10
    assert set(places["service_class"]) <= set(sc.DECOY_CLASSES)
    assert not places["tag"].str.startswith(sc.BAD_ACTOR_PUMP).any()
    lives = fleet.lives[fleet.lives["position"].isin(chosen)]
    assert not (lives["ending"] == "upgrade").any()


def test_wrong_lot_fails_in_a_narrow_band_of_ages(fleet: TrueFleet) -> None:
    lot = fleet.lives[fleet.lives["ending"] == "lot"]
    assert lot["hours"].between(1_000, 7_000).all()
    days = lot["end_d"] - lot["start_d"]
    assert 200 < days.median() < 500


def test_rebuilt_seals_have_a_higher_hazard() -> None:
    places = simulate_fleet(1).positions
    law = _Parameters.of(places, stories=False)
    at = np.repeat(np.flatnonzero((places["service_class"] == "CHEM").to_numpy()), 5_000)
    none = np.zeros(at.size)
    survival = []
    for hazard in (1.0, sc.REBUILT_HAZARD):
        args = (np.full(at.size, hazard), none, law.random_h[at], none > 0)
        hours, _, _ = _life_hours(Draws(1, 99), law, at, *args)
        survival.append((hours > 12_000).mean())
    assert survival[1] == pytest.approx(survival[0] ** 1.25, abs=0.005)


def test_no_trend_at_merrowfen() -> None:
    counts = np.zeros(8)
    for seed in range(60, 100):
        fleet = simulate_fleet(seed)
        there = (fleet.positions["site"] == sc.MERROWFEN).to_numpy()[fleet.lives["position"]]
        end = fleet.lives.loc[there & fleet.lives["failed"], "end_d"]
        counts += np.histogram(end, bins=365.25 * np.arange(13, 22))[0]
    mean = counts.mean()
    slope = np.polyfit(np.arange(8), counts / mean, 1)[0]
    assert abs(slope) < 3 * (1 / mean) ** 0.5 / 42**0.5 + 0.002


def test_mix_explains_the_gap_between_the_sites(fleet: TrueFleet) -> None:
    lives = true_life_table(fleet)
    lives = lives.assign(
        failed=lives["end"] == "failed",
        days=lives["exit_age_d"] - lives["entry_age_d"],
        hours=lives["exit_age_h"] - lives["entry_age_h"],
    )
    by_site = lives.groupby("site")[["failed", "days"]].sum()
    mtbf = by_site["days"] / by_site["failed"] / 365.25
    assert mtbf["Merrowfen"] < 0.85 * mtbf["Skarrow Point"]
    both = lives[lives["service_class"].isin(["WATER", "BFW/HOTW"])]
    rate = both.groupby("service_class")[["failed", "hours"]].sum()
    expected = both["hours"] * both["service_class"].map(rate["failed"] / rate["hours"])
    ratio = both.groupby("site")["failed"].sum() / expected.groupby(both["site"]).sum()
    assert ratio.between(0.75, 1.25).all()


def test_only_some_age_failures_announce_themselves(fleet: TrueFleet) -> None:
    lives, ramped = fleet.lives, ramped_lives(fleet)
    monitored = fleet.positions["service_class"].isin(sc.MONITORED_CLASSES).to_numpy()
    seen = monitored[lives["position"]] & (lives["end_d"] > 4_100)
    assert set(lives["ending"][ramped]) == {"age", "in service"}
    # one that runs at the end of the records is on its way if it would fail of age
    assert np.isfinite(lives["aged_d"][ramped & (lives["ending"] == "in service")]).all()
    age = seen & (lives["ending"] == "age")
    assert ramped[age].mean() == pytest.approx(sc.RAMP_SHARE, abs=0.12)
    assert ramped[seen & lives["failed"]].mean() < 0.5


def test_ramps_rise_above_their_baseline(fleet: TrueFleet) -> None:
    readings = leak_readings(fleet)
    flat = np.log(readings.loc[~readings["ramp"] & (readings["defect"] == ""), "true_ppm"])
    ramp = np.log(readings.loc[readings["ramp"], "true_ppm"])
    assert ramp.mean() > flat.mean() + 0.6
    assert (readings["defect"] == "pegged").sum() == 28


def test_peers_carry_their_ratio() -> None:
    sites = (
        peers()
        .groupby("site")[["expected", "failures", "true_ratio"]]
        .agg({"expected": "sum", "failures": "sum", "true_ratio": "first"})
    )
    assert (sites["expected"] == 60).all()
    assert np.allclose(sites["failures"] / sites["expected"], sites["true_ratio"], atol=0.03)
    outside = abs(sites["failures"] - 60) > 3.09 * 60**0.5
    assert sites.index[outside].tolist() == ["Site F"]
    assert len(law_figures()) == 10
