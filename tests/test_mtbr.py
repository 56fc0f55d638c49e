"""MTBR and MTBF: published factors first, then known truth, then the history of small fleets."""

from __future__ import annotations

from pathlib import Path

import fleets
import numpy as np
import pandas as pd
import pytest
from builders import fleet_of, seal_order
from hypothesis import given
from hypothesis import strategies as st

from seallife.errors import InputError
from seallife.figures.ageratio import age_ratio_figure
from seallife.figures.history import rolling_figure
from seallife.history import compare_rates, mtbr
from seallife.intake import read_fleet
from seallife.report.basis import group_row
from seallife.report.pages import trend, year
from seallife.study import Study, run_study

NIST = "NIST/SEMATECH e-Handbook of Statistical Methods, sec. 8.4.5.1"


def test_MT_01_two_failures_in_800_h() -> None:
    """NIST e-Handbook 8.4.5.1, R program (read in a public copy); more digits by scipy."""
    row = mtbr([800.0], [2], level=0.90).iloc[0]
    assert row["mean_time"] == 400.0
    assert row["low"] == pytest.approx(127.0690, abs=5e-5)
    assert row["high"] == pytest.approx(2251.229, abs=5e-4)
    assert row["low"] == pytest.approx(127.06896827, abs=1e-7)
    assert row["high"] == pytest.approx(2251.22861063, abs=1e-6)


FACTORS = {
    # failures: {level: (lower, upper)}. Formula read in NIST 8.4.5.1; digits by scipy 1.17.1;
    # that NIST prints the same is from memory.
    1: {
        0.60: (0.3340, 4.4814),
        0.80: (0.2571, 9.4912),
        0.90: (0.2108, 19.4957),
        0.95: (0.1795, 39.4979),
    },
    2: {
        0.60: (0.4674, 2.4260),
        0.80: (0.3758, 3.7607),
        0.90: (0.3177, 5.6281),
        0.95: (0.2768, 8.2573),
    },
    5: {
        0.60: (0.6324, 1.6184),
        0.80: (0.5391, 2.0554),
        0.90: (0.4756, 2.5379),
        0.95: (0.4285, 3.0798),
    },
    10: {
        0.60: (0.7326, 1.3719),
        0.80: (0.6491, 1.6074),
        0.90: (0.5895, 1.8432),
        0.95: (0.5438, 2.0853),
    },
    20: {
        0.60: (0.8088, 1.2367),
        0.80: (0.7395, 1.3769),
        0.90: (0.6882, 1.5089),
        0.95: (0.6475, 1.6371),
    },
    3: {
        0.60: (0.5440, 1.9543),
        0.80: (0.4490, 2.7222),
        0.90: (0.3869, 3.6689),
        0.95: (0.3422, 4.8491),
    },
    4: {
        0.60: (0.5952, 1.7416),
        0.80: (0.5004, 2.2926),
        0.90: (0.4370, 2.9276),
        0.95: (0.3906, 3.6702),
    },
    6: {
        0.60: (0.6611, 1.5370),
        0.80: (0.5697, 1.9036),
        0.90: (0.5067, 2.2962),
        0.95: (0.4594, 2.7249),
    },
    8: {0.90: (0.5542, 2.0096)},
    15: {0.90: (0.6494, 1.6223)},
    30: {0.95: (0.7005, 1.4821)},
    50: {0.95: (0.7585, 1.3473)},
    100: {0.95: (0.8222, 1.2290)},
}


@pytest.mark.parametrize(
    ("failures", "level"), [(n, level) for n, row in FACTORS.items() for level in row]
)
def test_MT_02_and_03_factor_tables(failures: int, level: float) -> None:
    row = mtbr([float(failures)], [failures], level=level).iloc[0]
    low, high = FACTORS[failures][level]
    assert row["low"] == pytest.approx(low, abs=5e-5)
    assert row["high"] == pytest.approx(high, abs=5e-5)


@pytest.mark.parametrize(
    ("confidence", "low"),
    [(0.50, 1442.695), (0.60, 1091.357), (0.90, 434.294), (0.95, 333.808)],
)
def test_MT_04_no_failure_in_1000_h(confidence: float, low: float) -> None:
    """NIST 8.4.5.1, zero fails: T / -ln(alpha) (formula read); digits computed."""
    row = mtbr([1000.0], [0], level=confidence, sides="lower").iloc[0]
    assert row["low"] == pytest.approx(low, abs=5e-4)
    assert np.isinf(row["high"])
    assert np.isnan(row["mean_time"])
    assert row["status"] == "no events"
    assert f"{confidence:g}" in row["message"]


def test_MT_05_failure_truncated() -> None:
    """Epstein & Sobel 1953: 2r degrees of freedom on both sides; digits by scipy."""
    row = mtbr([1000.0], [10], level=0.95, truncated_by="failure").iloc[0]
    assert row["low"] == pytest.approx(58.53154839, abs=1e-8)
    assert row["high"] == pytest.approx(208.53366919, abs=1e-8)


@pytest.mark.parametrize(
    ("events", "years", "low", "high"),
    [(4, 20, 2.2, 14.6), (10, 50, 2.9, 9.2), (38, 190, 3.8, 6.7)],
)
def test_the_same_5_years_from_ever_more_data(
    events: int, years: float, low: float, high: float
) -> None:
    row = mtbr([years], [events]).iloc[0]
    got = [round(row[c], 1) for c in ("mean_time", "low", "high")]
    assert got == [5.0, low, high]


def test_limits_cover_the_truth_at_their_level() -> None:
    """Exact limits cover at least at their level at any mean, and not wildly more."""
    rng = np.random.default_rng(20260101)
    for mean in (0.7, 3.0, 12.0, 60.0):
        counts = rng.poisson(mean, 20_000)
        got = mtbr(np.full(counts.shape, mean), counts, level=0.90)
        cover = ((got["low"] <= 1.0) & (got["high"] >= 1.0)).mean()
        assert cover >= 0.90 - 3 * np.sqrt(0.09 / 20_000)
        assert cover <= 0.985


@given(st.floats(1e-9, 1e9), st.integers(0, 10_000), st.floats(0.51, 0.999), st.floats(1e-6, 1e6))
def test_another_unit_scales_every_figure(
    exposure: float, events: int, level: float, unit: float
) -> None:
    a = mtbr([exposure], [events], level=level).iloc[0]
    b = mtbr([exposure * unit], [events], level=level).iloc[0]
    for column in ("mean_time", "low", "high"):
        assert b[column] == pytest.approx(a[column] * unit, rel=1e-9, nan_ok=True)
    assert a["low"] > 0
    if events:
        assert a["low"] < a["mean_time"] < a["high"]


@pytest.mark.parametrize(
    ("exposure", "events", "kwargs", "where"),
    [
        ([-1.0], [1], {}, "exposure"),
        ([float("nan")], [1], {}, "exposure"),
        ([1.0], [-1], {}, "events"),
        ([1.0], [float("inf")], {}, "events"),
        ([1.0], [1], {"level": 1.0}, "level"),
        ([1.0], [0], {"truncated_by": "failure"}, "events"),
    ],
)
def test_bad_input_is_one_sentence(
    exposure: list[float], events: list[float], kwargs: dict[str, object], where: str
) -> None:
    with pytest.raises(InputError, match=where):
        mtbr(exposure, events, **kwargs)  # type: ignore[arg-type]


def test_no_exposure_says_nothing() -> None:
    row = mtbr([0.0], [0]).iloc[0]
    assert row["status"] == "no exposure"
    assert row["low"] == 0.0


def test_planted_upgrade_is_seen() -> None:
    """57 failures in 153 position-years before, 15 in 87 after: ratio 0.46."""
    got = compare_rates((57, 15), (153, 87))
    assert got["ratio"] == pytest.approx(0.463, abs=5e-4)
    assert got["verdict"] == "improved"
    assert (round(float(got["low"]), 2), round(float(got["high"]), 2)) == (0.27, 0.76)


@pytest.mark.parametrize(
    ("events", "exposure", "verdict"),
    [
        ((20, 60), (100, 100), "worse"),
        ((60, 55), (100, 100), "no evidence"),
        ((2, 1), (10, 10), "cannot tell yet"),
        ((0, 0), (10, 10), "cannot tell yet"),
        ((6, 0), (100, 100), "improved"),
    ],
)
def test_verdicts(events: tuple[int, int], exposure: tuple[int, int], verdict: str) -> None:
    assert compare_rates(events, exposure)["verdict"] == verdict


def test_ratio_limits_cover_and_a_still_fleet_is_left_in_peace() -> None:
    """Two equal rates: at most 10 % are called improved or worse at level 0.90."""
    rng = np.random.default_rng(7)
    called = 0
    for n0, n1 in rng.poisson((30.0, 10.0), (2_000, 2)):
        called += compare_rates((n0, n1), (3.0, 1.0))["verdict"] in {"improved", "worse"}
    assert called / 2_000 <= 0.10 + 3 * np.sqrt(0.09 / 2_000)


def test_valve_seats_are_counted_over_all_their_time(tmp_path: Path) -> None:
    """41 engines, 48 replacements (Nelson & Doganaksoy 1989): all days of all engines count."""
    folder = fleets.write_valve_seats(tmp_path)
    history = run_study(read_fleet(folder)).history
    row = history.overall.iloc[0]
    assert (row["failures"], row["removals"], row["positions"]) == (48, 48, 41)
    rows = fleets.published("valve_seat.csv")
    days = rows.groupby("id")["time"].max().sum()
    assert row["exposure_years"] == pytest.approx(days / 365.25, rel=1e-12)
    assert history.monthly.query("by == 'all'")["failures"].sum() == 48
    assert history.monthly.query("by == 'all'")["exposure_years"].sum() == pytest.approx(
        days / 365.25
    )


def test_each_way_of_grouping_sums_to_the_whole(tmp_path: Path) -> None:
    history = run_study(read_fleet(fleets.write_braking_grids(tmp_path))).history
    sums = history.monthly.groupby("by")[["exposure_years", "exposure_h", "removals", "failures"]]
    for by, row in sums.sum().iterrows():
        assert row["exposure_years"] == pytest.approx(history.overall.iloc[0]["exposure_years"]), by
        assert row["failures"] == 50
    rolling = history.rolling.query("by == 'all'")
    monthly = history.monthly.query("by == 'all'").set_index("month")["failures"]
    for row in rolling.itertuples():
        year = monthly[: row.month].iloc[-12:]
        assert (row.failures, len(year)) == (year.sum(), 12)
    # The records end on the first day of the last month, so it holds no time at risk.
    assert len(rolling) == len(monthly) - 12


def test_a_pump_in_the_workshop_is_not_at_risk() -> None:
    order = seal_order("P-1", "2018-01-01", work_end="2018-01-31")
    study = run_study(fleet_of([{"tag": "P-1"}], work_orders=[order]))
    row = study.history.overall.iloc[0]
    assert row["exposure_years"] == pytest.approx((3653 - 30) / 365.25)
    monthly = study.history.monthly.query("by == 'all'").set_index("month")
    month = monthly.loc[pd.Timestamp("2018-01-01")]
    assert month["exposure_years"] == pytest.approx(1 / 365.25)
    assert (month["removals"], month["failures"]) == (1, 1)


def test_time_at_risk_is_that_of_the_lives(demo_study: Study) -> None:
    total = demo_study.history.overall.set_index("by").loc["all"]
    lives = demo_study.lives.table
    assert total["exposure_years"] == pytest.approx(lives["days"].sum() / 365.25)
    assert total["exposure_h"] == pytest.approx(lives["hours"].sum())


def test_a_month_that_is_not_over_is_in_no_year(tmp_path: Path) -> None:
    """Records that end on 3 October: the last twelve months are those to the end of September."""
    orders = [seal_order("P-1", "2025-10-02"), seal_order("P-1", "2025-03-02")]
    history = run_study(fleet_of([{"tag": "P-1"}], end="2025-10-03", work_orders=orders)).history
    recent = history.recent.iloc[0]
    assert recent["failures_after"] == 1
    assert recent["years_after"] == pytest.approx(365 / 365.25, abs=0.01)
    assert history.rolling["month"].max() == pd.Timestamp("2025-09-01")
    assert history.overall.iloc[0]["failures"] == 2


def _changed(*days: str) -> Study:
    """Thirty pumps with a failure every other year, and records that changed on some days."""
    positions = [{"tag": f"P-{n}", "arrangement": "1" if n % 3 else ""} for n in range(30)]
    orders = [
        seal_order(f"P-{n}", f"{year}-{1 + n % 12:02d}-10")
        for n in range(30)
        for year in range(2016 + n % 2, 2026, 2)
    ]
    changes = [{"position_id": "", "date": day, "what": "records"} for day in days]
    return run_study(fleet_of(positions, work_orders=orders, changes=changes))


def test_a_change_of_the_records_breaks_rolling_years_and_comparisons() -> None:
    plain, study = _changed(), _changed("2023-07-01")
    months = group_row(study.history.rolling)["month"]
    assert study.history.breaks == (pd.Timestamp("2023-07-01"),)
    lost = set(group_row(plain.history.rolling)["month"]) - set(months)
    assert lost == set(pd.date_range("2023-07-01", "2024-05-01", freq="MS"))
    row = group_row(study.history.recent).iloc[0]
    assert row["years_before"] == pytest.approx(30 * 1.5, rel=0.02)
    assert "2023-07-01" in row["message"]
    # both lines and bands stop before the change and begin again a year after it
    for figure in (
        rolling_figure(group_row(study.history.rolling)),
        age_ratio_figure(group_row(study.history.rolling)),
    ):
        trace = next(t for t in figure.data if t.mode == "lines" and t.fill is None)
        gap = [y for x, y in zip(trace.x, trace.y, strict=True) if "2023-07" <= x[:7] <= "2024-05"]
        assert len(gap) == 11
        assert all(y is None or np.isnan(y) for y in gap)
        assert not trace.connectgaps
        assert None in next(t for t in figure.data if t.fill == "toself").x


def test_pages_say_that_the_records_changed() -> None:
    study = _changed("2025-03-01")
    blocks = {b.name: b for b in (*trend.build(study), *year.build(study)) if hasattr(b, "name")}
    for name in ("rolling", "verdicts"):
        assert "the records changed" in blocks[name].caption
        assert "1 Mar 2025" in blocks[name].caption
    shown = blocks["where-we-stand"].shown
    assert (shown["last 12 months"] == "no twelve whole months on record").all()
    assert set(blocks["verdicts"].shown["Verdict"]) == {"cannot tell yet"}


def test_arrangement_and_pump_type_are_groups_and_blanks_are_not_known() -> None:
    history = _changed().history
    kinds = group_row(history.overall, "arrangement").set_index("group")
    assert kinds["positions"].to_dict() == {"arrangement 1": 20, "not known": 10}
    assert kinds["failures"].sum() == group_row(history.overall)["failures"].iloc[0]
    assert group_row(history.overall, "pump_type")["group"].tolist() == ["not known"]
    assert len(group_row(history.rolling, "arrangement")) == 2 * len(group_row(history.rolling))
