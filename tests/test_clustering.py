"""Repairs that follow each other at one pump: what is counted, and what it does to limits."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from builders import fleet_of

from seallife.errors import InputError
from seallife.history.clustering import clustering, repeat_pairs, widening
from seallife.history.rates import compare_rates, mtbr
from seallife.history.windows import windowed
from seallife.study import Study, run_study

RNG = np.random.default_rng(20260)
YEARS = np.full((400, 120), 1 / 12)


def _counts(rate: np.ndarray, repeat: float, seed: int) -> np.ndarray:
    """Events of each month: a share of them brings another within two months."""
    rng = np.random.default_rng(seed)
    counts = rng.poisson(rate[:, None] * YEARS)
    out, new = counts.copy(), counts
    while new.any():
        again = rng.binomial(new, repeat)
        moved = rng.multinomial(again, [1 / 3] * 3)
        new = np.zeros_like(again)
        for late in (0, 1, 2):
            new[:, late:] += moved[:, : 120 - late, late]
        out += new
    return out


def test_pairs_are_those_counted_by_hand() -> None:
    counts = [[2, 0, 1, 0, 0, 1], [0, 0, 0, 0, 0, 0]]
    pairs = repeat_pairs(counts, np.ones((2, 6)), near=2, far=4)
    # one pair within the first month; two of it with the third, one of the third with the sixth
    assert pairs.near.tolist() == [1, 0]
    assert pairs.all.tolist() == [1 + 2 + 1, 0]
    assert pairs.events.tolist() == [4, 0]
    # 6 halves within a month, then 5, 4, 3 months apart by 1, 2, 3
    assert pairs.share.tolist() == pytest.approx([(3 + 5) / (3 + 5 + 4 + 3)] * 2)


def test_a_gap_of_the_records_holds_no_room_for_pairs() -> None:
    open_, gap = np.ones((1, 48)), np.ones((1, 48))
    gap[0, 12:36] = 0
    shares = [repeat_pairs(np.zeros((1, 48)), t).share[0] for t in (open_, gap)]
    assert shares[1] > shares[0]
    assert repeat_pairs(np.zeros((1, 12)), np.ones((1, 12))).share[0] == 1


@pytest.mark.parametrize("differ", [0.0, 0.7, 1.5])
def test_pumps_that_differ_are_no_cluster(differ: float) -> None:
    law = RNG.gamma(1 / differ**2, differ**2, 400) if differ else np.ones(400)
    got = clustering(repeat_pairs(_counts(0.4 * law, 0.0, 3), YEARS)).iloc[0]
    assert got["dispersion"] == pytest.approx(1, abs=0.15)
    assert got["factor"] == 1.0


def test_rates_that_fall_for_all_are_no_cluster() -> None:
    falling = np.linspace(1.6, 0.4, 120) * YEARS * 0.5
    counts = np.random.default_rng(5).poisson(falling)
    got = clustering(repeat_pairs(counts, YEARS)).iloc[0]
    assert got["dispersion"] == pytest.approx(1, abs=0.1)


def test_repeats_are_found_and_their_size_is_right() -> None:
    """Clumps of a geometric law: variance over mean (1 + q) / (1 - q)."""
    got = clustering(repeat_pairs(_counts(np.full(400, 0.3), 0.3, 4), YEARS)).iloc[0]
    assert got["p"] < 1e-6
    assert got["factor"] == got["dispersion"] == pytest.approx(1.3 / 0.7, rel=0.12)


def test_records_of_a_year_cannot_tell() -> None:
    got = clustering(repeat_pairs(np.ones((5, 12)), np.ones((5, 12)))).iloc[0]
    assert (got["status"], got["factor"]) == ("too short", 1.0)
    assert np.isnan(got["dispersion"])
    none = clustering(repeat_pairs(np.zeros((5, 60)), np.ones((5, 60)))).iloc[0]
    assert (none["status"], none["factor"]) == ("no events", 1.0)


def test_a_group_has_its_own_factor_only_beyond_chance_among_many() -> None:
    rows = [
        ("all", "all", 1.10, 0.03, 1.10),
        *(("unit", f"U{i}", 1.4, 0.04, 1.4) for i in range(1)),
        *(("unit", f"V{i}", 1.0, 0.5, 1.0) for i in range(20)),
        ("site", "S", 1.8, 1e-5, 1.8),
        ("site", "T", 0.7, 0.99, 1.0),
    ]
    table = pd.DataFrame(rows, columns=["by", "group", "dispersion", "p", "factor"])
    used = widening(table.assign(status="ok")).set_index("group")["used"]
    assert used[["all", "U0", "V3", "S", "T"]].tolist() == [1.10, 1.10, 1.10, 1.8, 1.10]


def test_shapes_that_do_not_fit_are_refused() -> None:
    with pytest.raises(InputError, match="counts"):
        repeat_pairs(np.zeros((2, 3)), np.zeros((2, 4)))
    with pytest.raises(InputError, match="near"):
        repeat_pairs(np.zeros((2, 3)), np.zeros((2, 3)), near=5, far=5)


def test_dispersion_one_leaves_limits_exact_and_above_it_widens_them() -> None:
    exact, same, wide = (
        mtbr([100.0] * 3, [20, 1, 0], dispersion=d) for d in (1.0, np.ones(3), [2.0] * 3)
    )
    pd.testing.assert_frame_equal(exact, same)
    assert (wide["low"] < exact["low"]).all()
    assert (wide["high"].iloc[:2] > exact["high"].iloc[:2]).all()
    assert np.isinf(wide["high"].iloc[2])
    # as if ten clusters had been seen in half of the time
    like = mtbr([50.0], [10])
    assert wide["low"].iloc[0] == pytest.approx(like["low"].iloc[0])
    with pytest.raises(InputError, match="dispersion"):
        mtbr([1.0], [1], dispersion=0.0)


def test_a_ratio_of_rates_is_widened_alike() -> None:
    plain, wide = (compare_rates((40, 20), (100, 100), dispersion=d) for d in (1.0, 3.0))
    assert plain["ratio"] == wide["ratio"] == 0.5
    assert wide["low"] < plain["low"] < plain["high"] < wide["high"]  # type: ignore[operator]
    assert (plain["verdict"], wide["verdict"]) == ("improved", "cannot tell yet")


def test_demo_failures_keep_exact_limits_and_pairs_of_seals_widen_those_of_mtbr(
    demo_study: Study,
) -> None:
    table = demo_study.history.clustered.set_index(["measure", "by", "group"])["used"]
    assert (table["MTBF"] == 1).all()
    assert 1 < table["MTBR", "all", "all"] < 1.15
    # both seals of a pump between bearings come out in one job
    assert table["MTBR", "pump_type", "BB1"] > 1.5
    overall = demo_study.history.overall.set_index(["by", "group"])
    for by, group in (("all", "all"), ("pump_type", "BB1"), ("pump_type", "OH1")):
        row = overall.loc[(by, group)]
        for name, years, n in (
            ("mtbr", "exposure_years", "removals"),
            ("mtbf", "exposure_years", "failures"),
        ):
            size = row[f"{name}_dispersion"]
            assert size == table[name.upper(), by, group]
            want = mtbr([row[years]], [row[n]], dispersion=size).iloc[0]
            assert row[f"{name}_years_low"] == pytest.approx(want["low"])
    quarters = windowed(demo_study.history.monthly, 3, apart=True)
    assert quarters.set_index("group").loc["BB1", "mtbr_dispersion"].min() > 1.5


def test_seals_of_one_pump_are_looked_at_together() -> None:
    """A removal of both seals on one day is a repeat; of two pumps it is none."""
    positions = [
        {"tag": f"P-{i}", "seal_end": end, "pump_type": "BB1" if i % 2 else ""}
        for i in range(30)
        for end in ("DE", "NDE")
    ]
    removals = [
        {"position_id": f"P-{i}-{end}", "date": f"{2017 + i % 8}-0{1 + i % 9}-10",
         "reason": "seal failed"}
        for i in range(30)
        for end in ("DE", "NDE")
    ]  # fmt: skip
    rows = [p | {"position_id": f"{p['tag']}-{p['seal_end']}"} for p in positions]
    history = run_study(fleet_of(rows, removals=removals)).history
    row = history.clustered.query("measure == 'MTBF' and by == 'all'").iloc[0]
    assert (row["events"], row["repeats"]) == (60, 30)
    assert row["used"] > 1.5
    assert set(history.overall.query("by == 'pump_type'")["group"]) == {"BB1", "not known"}
    assert set(history.overall.query("by == 'arrangement'")["group"]) == {"not known"}
