"""Do the intervals and tests of the history hold? The table of the study, and a part repeated."""

from __future__ import annotations

from typing import Any

import history_coverage as study
import pandas as pd
import pytest

ROBUST = ("trend by position", "change by position", "lewis_robinson, by position")
IN_SERVICE = ("steady", "come and go")
POISSON = ("laplace, by position", "mil_hdbk, by position")


@pytest.fixture(scope="module")
def table() -> pd.DataFrame:
    return pd.read_csv(study.TABLE)


def rows(table: pd.DataFrame, what: str, **where: Any) -> pd.DataFrame:
    out = table[table["what"] == what]
    for column, value in where.items():
        out = out[out[column].isin(value if isinstance(value, tuple) else (value,))]
    assert len(out)
    return out


def error(share: float, fleets: pd.Series | int, times: float = 4.0) -> Any:
    """Four standard errors of a share: of some 500 cells one may be off by three and a half."""
    return times * (share * (1 - share) / fleets) ** 0.5


def test_mean_cumulative_limits_cover(table: pd.DataFrame) -> None:
    """90 % on average and from 40 positions on; some 88 % at ten that differ by 70 %."""
    mine = rows(table, "mean cumulative number")
    assert mine["cover"].mean() == pytest.approx(0.90, abs=0.01)
    assert mine["cover"].between(0.86, 0.95).all(), mine
    many = mine[mine["positions"] >= 40]
    assert ((many["cover"] - 0.90).abs() <= error(0.9, many["fleets"])).all(), many
    few = mine[mine["positions"] < 40].groupby(["positions", "events", "differ"])["cover"].mean()
    assert few.between(0.88, 0.94).all(), few


def test_differences_ring_seldom_and_cover(table: pd.DataFrame) -> None:
    for what in ("difference over the whole time", "largest gap"):
        mine = rows(table, what)
        assert (mine["rings_5"] <= 0.05 + error(0.05, mine["fleets"])).all(), mine
        assert 0.03 <= mine["rings_5"].mean() <= 0.06
    for what in ("difference half way", "difference at the end"):
        mine = rows(table, what)
        assert (mine["cover"] >= 0.90 - error(0.9, mine["fleets"])).all(), mine


@pytest.mark.parametrize("what", ROBUST)
def test_tests_by_position_hold_at_random_events_and_at_renewal(
    table: pd.DataFrame, what: str
) -> None:
    mine = rows(table, what, positions=(10, 40, 100), watched=IN_SERVICE)
    assert (mine["rings_5"] <= 0.05 + error(0.05, mine["fleets"])).all(), mine
    assert mine.groupby("shape")["rings_5"].mean().between(0.035, 0.06).all()


def test_trend_by_position_covers(table: pd.DataFrame) -> None:
    mine = rows(table, "trend by position", watched=IN_SERVICE)
    assert ((mine["cover"] - 0.90).abs() <= error(0.9, mine["fleets"])).all(), mine
    assert mine["cover"].mean() == pytest.approx(0.90, abs=0.01)


@pytest.mark.parametrize("what", POISSON)
def test_laplace_and_the_handbook_test_hold_at_random_events_only(
    table: pd.DataFrame, what: str
) -> None:
    at_random = rows(table, what, shape=1.0, watched=IN_SERVICE)
    off = (at_random["rings_5"] - 0.05).abs()
    assert (off <= error(0.05, at_random["fleets"])).all(), at_random
    together = at_random["fleets"].sum()
    assert at_random["rings_5"].mean() == pytest.approx(0.05, abs=error(0.05, together, 3))
    assert rows(table, what, shape=1.5, watched=IN_SERVICE)["rings_5"].max() < 0.045
    assert rows(table, what, shape=0.8, watched=IN_SERVICE)["rings_5"].mean() > 0.07


def test_where_all_positions_are_new_only_the_tests_of_gaps_hold(table: pd.DataFrame) -> None:
    where = {"shape": 1.5, "watched": "new", "positions": (40, 100)}
    for what in ("lewis_robinson, by position", "reversals, by position"):
        mine = rows(table, what, **where)
        assert (mine["rings_5"] <= 0.05 + error(0.05, mine["fleets"])).all(), mine
    assert rows(table, "trend by position", **where)["rings_5"].mean() > 0.25


def test_pooled_exposure_fails_where_positions_differ_and_come_and_go(table: pd.DataFrame) -> None:
    what = "laplace, pooled exposure"
    mixed = rows(table, what, shape=1.0, differ=0.7, watched="come and go")
    steady = rows(table, what, shape=1.0, watched="steady")
    assert mixed["rings_5"].mean() > 0.055
    assert ((steady["rings_5"] - 0.05).abs() <= error(0.05, steady["fleets"])).all()


def test_a_date_of_change_is_held(table: pd.DataFrame) -> None:
    mine = rows(table, "date of a halved rate")
    found = (mine["fleets"] * mine["rings_5"]).clip(lower=1)
    assert (mine["cover"] >= 0.90 - error(0.9, found)).all(), mine


def test_power_law_limits_cover_where_handbook_limits_do_not(table: pd.DataFrame) -> None:
    for what in ("power law: shape", "power law: rate at end"):
        mine = rows(table, what, events=(5, 10, 30, 100))
        assert mine["cover"].between(0.88, 0.92).all(), mine
    handbook = rows(table, "power law: handbook limits", events=(3, 5))
    assert handbook["cover"].min() > 0.94
    fit = rows(table, "power law: fit", events=(10, 30, 100))
    assert ((fit["rings_5"] - 0.05).abs() <= error(0.05, fit["fleets"])).all()


def test_mtbf_limits_cover_at_random_events_and_with_repeats(table: pd.DataFrame) -> None:
    """88 to 92 % over the record from 40 positions on; of ten, clustering is missed too often.

    Positions may differ: the interval speaks of these. Counts are whole, so that exact limits of
    some ten failures in a year cover more than their level.
    """
    mine = rows(table, "MTBF, record", shape=1.0)
    assert mine["cover"].mean() == pytest.approx(0.90, abs=0.005)
    assert mine["cover"].between(0.87, 0.93).all(), mine
    many = mine[mine["positions"] >= 40]
    assert ((many["cover"] - 0.90).abs() <= 0.02 + error(0.9, many["fleets"], 2)).all(), many
    few = mine[mine["positions"] < 40].groupby(["differ", "repeat"])["cover"].mean()
    assert few.between(0.875, 0.925).all(), few
    for what, most in (("MTBF, 3 years", 0.945), ("MTBF, year", 0.965)):
        assert rows(table, what, shape=1.0)["cover"].between(0.895, most).all()


def test_exact_mtbf_limits_stay_so_unless_repairs_cluster(table: pd.DataFrame) -> None:
    still = rows(table, "MTBF, record", shape=1.0, repeat=0.0)
    assert (still["rings_5"] <= 0.075).all()
    assert still["rings_5"].mean() == pytest.approx(0.05, abs=0.01)
    # unwidened they would hold the truth too seldom
    assert rows(table, "MTBF, record, exact", shape=1.0, repeat=0.3)["cover"].max() < 0.82
    apart = rows(table, "MTBF, record", shape=1.5)
    assert (apart["rings_5"] < 0.01).all()
    assert (apart["cover"] > 0.96).all()


def test_mtbf_limits_cover_less_where_repeats_come_years_later(table: pd.DataFrame) -> None:
    """Gaps of shape 0.8 cluster over years, which a repeat within a year does not show."""
    mine = rows(table, "MTBF, record", shape=0.8)
    assert mine["cover"].between(0.84, 0.885).all(), mine
    plain = rows(table, "MTBF, record, exact", shape=0.8)
    assert mine["cover"].mean() > plain["cover"].mean() + 0.01


@pytest.mark.parametrize(("differ", "repeat"), [(0.7, 0.0), (0.0, 0.3), (0.7, 0.3)])
def test_mtbf_limits_repeated(differ: float, repeat: float) -> None:
    """Other fleets: 500 of 50 positions."""
    got = study.mtbf_limits(50, 150, 1.0, differ, repeat, "come and go", 500, seed=34)
    got = got.set_index("what")
    assert got.loc["MTBF, record", "cover"] == pytest.approx(0.90, abs=error(0.9, 500, 3))
    widened = got.loc["MTBF, record", "rings_5"]
    assert widened > 0.95 if repeat else widened <= 0.05 + error(0.05, 500, 3)
    if repeat:
        assert got.loc["MTBF, record, exact", "cover"] < 0.84


@pytest.mark.parametrize(
    ("shape", "watched"), [(1.0, "come and go"), (1.5, "new"), (1.5, "come and go")]
)
def test_mean_cumulative_repeated(shape: float, watched: str) -> None:
    """Other fleets: 400 of 20 positions that differ."""
    got = study.cell(study.recurrence, (20, 80), shape, 0.7, watched, 400, seed=31).iloc[0]
    assert got["cover"] == pytest.approx(0.90, abs=error(0.9, 400, 3))


@pytest.mark.parametrize("shape", [1.0, 1.5])
def test_false_alarms_repeated(shape: float) -> None:
    """Other fleets: 200 of 25 positions that differ, come and go."""
    size = (25, 90)
    got = study.cell(study.trends, size, shape, 0.7, "come and go", 200, seed=32)
    other = study.cell(study.changes, size, shape, 0.7, "come and go", 200, seed=32)
    rings = pd.concat([got, other]).set_index("what")["rings_5"]
    for what in ROBUST:
        assert rings[what] <= 0.05 + error(0.05, 200, 3), what
    assert rings["trend by position"] >= 0.01
    covered = got.set_index("what").loc["trend by position", "cover"]
    assert covered == pytest.approx(0.90, abs=error(0.9, 200, 3))


def test_power_law_repeated() -> None:
    """Other fleets: 600 of three systems with ends of their own."""
    got = study.law(12, 0.8, (100.0, 50.0, 20.0), 600, seed=33).set_index("what")
    for what in ("power law: shape", "power law: rate at end"):
        assert got.loc[what, "cover"] == pytest.approx(0.90, abs=error(0.9, 600, 3))
    assert got.loc["power law: fit", "rings_5"] == pytest.approx(0.05, abs=error(0.05, 600, 3))
