"""Totals of emissions: published figures, known truth, what must never be had from them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife.errors import InputError
from seallife.leakage import (
    above_background,
    emission_factors,
    emission_rate,
    population_emissions,
)
from seallife.leakage.emissionlimits import lasting_share

PETROLEUM, SOCMI = "petroleum pump", "SOCMI light liquid pump"
YEAR = {"edges": ["2023-01-01", "2024-01-01"], "until": "2024-01-01"}
ONE_SEAL = np.log(10) / 1.959964


def _rate(ppmv: Any, family: Any = PETROLEUM, **marks: Any) -> list[float]:
    return emission_rate(ppmv, family=family, **marks).tolist()


def test_equations_of_the_quebec_clean_air_regulation() -> None:
    """Q-2, r. 4.1, schedule E: 5.03e-5 SV^0.610 and 1.90e-5 SV^0.824; values in g/h by arithmetic.

    1,000 ppmv is the 5.6 g/h of API Std 682 by the second equation only.
    """
    grams = [1_000 * r for r in _rate([500, 1_000, 10_000])]
    assert grams == pytest.approx([2.2, 3.4, 13.9], abs=0.05)
    grams = [1_000 * r for r in _rate([500, 1_000, 10_000], SOCMI)]
    assert grams == pytest.approx([3.2, 5.6, 37.6], abs=0.05)
    assert 1_000 * _rate([2_265])[0] == pytest.approx(5.6, abs=0.005)


@pytest.mark.parametrize(
    ("family", "zero", "at_10000", "at_100000"),
    [(PETROLEUM, 2.4e-5, 0.074, 0.16), (SOCMI, 7.5e-6, 0.14, 0.62)],
)
def test_default_zero_and_pegged(
    family: str, zero: float, at_10000: float, at_100000: float
) -> None:
    """2.4e-5: Q-2, r. 4.1, schedule E; the others EPA-453/R-95-017, from memory."""
    assert _rate([1.0], family, nondetect=[True]) == [zero]
    assert _rate([10_000, 100_000], family, pegged=[1, 1]) == [at_10000, at_100000]
    # background was taken off the end of the scale
    assert _rate([9_996, 99_996], family, pegged=[1, 1]) == [at_10000, at_100000]
    # the equations end at 100,000 ppmv
    assert _rate([250_000], family) == [at_100000]


def test_average_factors_and_every_figure_says_where_it_is_from() -> None:
    """EPA-453/R-95-017, from memory."""
    table = emission_factors()
    average = table[table["quantity"] == "average factor"].set_index("family")["value"]
    assert average.to_dict() == {
        SOCMI: 0.0199,
        "SOCMI heavy liquid pump": 0.00862,
        "refinery light liquid pump": 0.114,
        "refinery heavy liquid pump": 0.021,
    }
    assert set(table["checked"]) == {"read", "from memory"}
    assert (table["source"].str.len() > 20).all()
    assert (table.loc[table["source"].str.startswith("EPA"), "checked"] == "from memory").all()


def test_a_coarse_instrument_counts_half_its_limit() -> None:
    """Default zero only where the limit is at most 1 ppmv above background."""
    assert _rate([10.0], nondetect=[True]) == _rate([5.0])
    assert _rate([1.01], nondetect=[True]) == _rate([0.505])


def test_a_scale_between_the_two_published_gives_the_larger_of_both() -> None:
    assert _rate([20_000], pegged=[True]) == [0.074]
    assert _rate([50_000], SOCMI, pegged=[True]) == pytest.approx([0.1415], abs=5e-5)


def test_background_is_taken_off_always_or_from_a_share() -> None:
    """From 5 % of the reading: API Publ. 4653 (1997), abstract."""
    assert above_background([100.0, 100.0], [4.0, 5.0]).tolist() == [96.0, 95.0]
    assert above_background([100.0, 100.0], [4.0, 5.0], from_share=0.05).tolist() == [100.0, 95.0]
    assert above_background(3.0, 5.0).tolist() == 0.0


@given(st.lists(st.floats(0.01, 99_999), min_size=2, max_size=30))
def test_more_ppmv_is_more_kg(values: list[float]) -> None:
    rates = emission_rate(sorted(values), family=PETROLEUM)
    assert (np.diff(rates) >= 0).all()
    assert (rates < 0.16).all()


def _even(positions: int, ppmv: Any, times: int = 4) -> dict[str, Any]:
    """Every position read ``times`` in 2023, at the middle of equal parts of the year."""
    days = (np.arange(times) + 0.5) / times * 365
    when = pd.Timestamp("2023-01-01") + pd.to_timedelta(np.tile(days, positions), unit="D")
    sv = np.broadcast_to(np.asarray(ppmv, dtype=float), positions * times)
    name = np.repeat([f"P-{i:03d}" for i in range(positions)], times)
    return {"position": name, "time": when, "low": sv, "high": sv}


def _totals(data: dict[str, Any], **given_: Any) -> pd.Series[Any]:
    options = {"family": PETROLEUM, "resamples": 400, **YEAR, **given_}
    return population_emissions(**data, **options).table.iloc[0]


def test_equal_readings_all_year_are_rate_times_hours() -> None:
    got = _totals(_even(20, 1_000))
    assert got["kg"] == pytest.approx(20 * 8_760 * 5.03e-5 * 1_000**0.61, rel=1e-12)
    assert (got["positions"], got["monitored"], got["not_monitored"]) == (20, 20, 0)
    assert got["share_monitored"] == 1.0
    assert got["kg_low"] < got["kg"] < got["kg_high"]
    assert _totals(_even(20, 1_000), run_share=0.5)["kg"] == pytest.approx(got["kg"] / 2)


def test_a_reading_stands_for_half_the_time_to_its_neighbours() -> None:
    """Two seals, read 30 days into the year and 90 days later, reach 60 days."""
    when = ["2023-01-31", "2023-05-01"] * 2
    sv = [100.0, 10_000.0] * 2
    data = {"position": ["A", "A", "B", "B"], "time": when, "low": sv, "high": sv}
    got = _totals(data, reach_days=60, average_factor=0.01)
    first, second = _rate([100.0, 10_000.0])
    assert got["kg_monitored"] == pytest.approx(2 * 24 * ((30 + 45) * first + (45 + 60) * second))
    assert got["hours_monitored"] == 2 * 24 * 180
    assert got["hours_not_monitored"] == 2 * 24 * 185
    assert got["kg_not_monitored"] == pytest.approx(2 * 24 * 185 * 0.01)
    assert got["kg"] == pytest.approx(got["kg_monitored"] + got["kg_not_monitored"])


def test_positions_without_readings_are_counted_and_take_the_average_factor() -> None:
    data = _even(20, 1_000)
    names = [*sorted(set(data["position"])), "P-900", "P-901"]
    everyone = pd.DataFrame({"position_id": names})
    left = _totals(data, population=everyone)
    assert (left["positions"], left["monitored"], left["not_monitored"]) == (22, 20, 2)
    assert left["status"] == "part"
    assert np.isnan(left["kg_not_monitored"])
    full = _totals(data, population=everyone, average_factor="refinery light liquid pump")
    assert full["kg"] == pytest.approx(left["kg"] + 2 * 8_760 * 0.114)
    assert full["kg_low"] == pytest.approx(left["kg_low"] + 2 * 8_760 * 0.114)
    assert full["status"] == "ok"


def test_members_count_while_they_belong_to_the_population() -> None:
    data = _even(12, 1_000)
    everyone = pd.DataFrame({"position_id": sorted(set(data["position"]))})
    everyone["start"] = pd.NaT
    everyone.loc[0, "start"] = pd.Timestamp("2023-07-02")
    everyone["run_share"] = [np.nan] * 11 + [0.25]
    got = _totals(data, population=everyone)
    assert got["hours_monitored"] == pytest.approx(24 * (10 * 365 + 183 + 365 / 4))


def test_years_and_the_end_of_records() -> None:
    data = _even(12, 50.0)
    later = {**data, "time": data["time"] + pd.Timedelta(days=365)}
    both = {k: [*data[k], *later[k]] for k in data}
    table = population_emissions(**both, family=PETROLEUM, resamples=200).table
    assert table["year"].tolist() == ["2023", "2024"]
    assert table["status"].tolist() == ["ok", "to date"]
    assert table["readings"].tolist() == [48, 48]
    # nothing is counted after the last day read, 15 November 2024
    assert table["hours_monitored"].iloc[1] == pytest.approx(12 * 24 * 320.375, rel=1e-3)


def test_no_rate_of_a_single_seal_can_be_had() -> None:
    alone = population_emissions(**_even(1, 5_000.0), family=PETROLEUM, resamples=200, **YEAR)
    row = alone.table.iloc[0]
    assert row["status"] == "single seal"
    assert np.isnan(row[["kg", "kg_monitored", "kg_low", "kg_high"]].astype(float)).all()
    assert "unit of its readings" in row["message"]
    many = population_emissions(**_even(12, 5_000.0), family=PETROLEUM, resamples=200, **YEAR)
    assert "position_id" not in many.table
    assert len(many.table) == 1
    assert "published equation fits" in many.note


def test_few_positions_are_said() -> None:
    assert _totals(_even(9, 10.0))["status"] == "few positions"


def test_pegged_and_not_detected_are_counted() -> None:
    data = _even(12, 100.0)
    low, high = data["low"].copy(), data["high"].copy()
    low[:3], high[:3] = 10_000, np.inf
    low[5:7], high[5:7] = 0, 1.0
    got = _totals({**data, "low": low, "high": high})
    assert (got["pegged"], got["nondetect"], got["readings"]) == (3, 2, 48)
    hours = 8_760 / 4
    zero, hundred = 2.4e-5, _rate([100.0])[0]
    assert got["kg"] == pytest.approx(hours * (3 * 0.074 + 2 * zero + 43 * hundred))


def test_same_figures_in_any_order_and_with_more_years() -> None:
    rng = np.random.default_rng(5)
    data = _even(15, rng.lognormal(4, 2, 60))
    first = _totals(data)
    mixed = rng.permutation(60)
    again = _totals({k: np.asarray(v)[mixed] for k, v in data.items()})
    columns = ["kg", "kg_low", "kg_high"]
    assert again[columns].to_list() == pytest.approx(first[columns].to_list(), rel=1e-12)
    longer = _totals(data, edges=["2023-01-01", "2024-01-01", "2025-01-01"])
    assert longer[columns].to_list() == first[columns].to_list()


def test_a_wider_scatter_widens_the_interval_and_leaves_the_total() -> None:
    data = _even(30, np.random.default_rng(6).lognormal(4, 2, 120))
    rows = [_totals(data, scatter=s) for s in (1.0, 3.0, 10.0)]
    widths = [r["kg_high"] - r["kg_low"] for r in rows]
    assert widths[0] < widths[1] < widths[2]
    assert len({r["kg"] for r in rows}) == 1


def test_the_share_of_differences_that_lasts() -> None:
    member, hours = np.repeat(np.arange(400), 4), np.ones(1_600)
    rng = np.random.default_rng(7)
    passing = rng.normal(10, 1, 1_600)
    for_good = np.repeat(rng.normal(0, 1, 400), 4)
    # three standard errors of a ratio of variances with 399 and 1,200 degrees of freedom
    assert lasting_share(member, hours, passing) < 3 * np.sqrt(2 / 399 + 2 / 1_200)
    # 1 of variance between, 1 / 4 within the mean of four
    assert lasting_share(member, hours, passing + for_good) == pytest.approx(0.8, abs=0.06)
    assert lasting_share(member, hours, 5 + for_good) == 1.0
    assert np.isnan(lasting_share(np.arange(400), np.ones(400), for_good[::4]))


def _invented(
    rng: np.random.Generator, positions: int, lasting: float, times: int
) -> tuple[float, dict[str, Any]]:
    """Seals of which the truth is known: its scatter lasts, its readings last or pass."""
    parts = 36
    level = rng.normal(4, lasting, positions)[:, None]
    ppmv = np.exp(level + rng.normal(0, np.sqrt(4 - lasting**2), (positions, parts)))
    ppmv = np.minimum(ppmv, 99_999.0)  # where the equations end
    single = np.exp(ONE_SEAL * rng.standard_normal(positions) - ONE_SEAL**2 / 2)
    rate = 5.03e-5 * ppmv**0.61
    truth = float((rate.mean(axis=1) * single).sum() * 8_760)
    at = ((np.arange(times) + 0.5) / times * parts).astype(int)
    return truth, _even(positions, ppmv[:, at].ravel(), times)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("positions", "lasting", "times"),
    [(60, 0.0, 4), (200, 0.0, 4), (60, 1.0, 4), (60, 2.0, 4), (200, 1.8, 12)],
)
def test_intervals_hold_the_truth_in_90_of_100_populations(
    positions: int, lasting: float, times: int
) -> None:
    """1,000 invented populations: 88 to 92 %, whether differences of positions last or pass."""
    rng = np.random.default_rng(20)
    held = 0
    for i in range(1_000):
        truth, data = _invented(rng, positions, lasting, times)
        row = _totals(data, seed=i, resamples=1_000)
        held += row["kg_low"] <= truth <= row["kg_high"]
    assert 880 <= held <= 920


def test_intervals_hold_the_truth_in_most_of_150_populations() -> None:
    """The same in short: 90 % less four standard errors of 2.4."""
    rng = np.random.default_rng(21)
    held = 0
    for i in range(150):
        truth, data = _invented(rng, 60, 1.0, 4)
        row = _totals(data, seed=i, resamples=400)
        held += row["kg_low"] <= truth <= row["kg_high"]
    assert 0.80 <= held / 150 < 0.99


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"low": [-1.0, 1.0]}, "low[0]"),
        ({"low": [5.0, 1.0]}, "low[0]"),
        ({"low": [np.nan, 1.0]}, "low[0]"),
        ({"low": [0.0, 1.0], "high": [0.0, 1.0]}, "ppmv[0]"),
        ({"high": [1.0]}, "high"),
        ({"position": ["A"]}, "position"),
        ({"time": ["2023-01-01", "soon"]}, "time"),
        ({"time": ["2023-01-01", None]}, "time[1]"),
        ({"time": [1.0, 2.0]}, "time"),
        ({"low": [1_000.0, 1.0], "high": [np.inf, 1.0]}, "ppmv[0]"),
        ({"family": "gland packing"}, "family"),
        ({"average_factor": "gland packing"}, "family"),
        ({"average_factor": -1.0}, "average_factor"),
        ({"level": 1.0}, "level"),
        ({"resamples": 5}, "resamples"),
        ({"reach_days": 0.0}, "reach_days"),
        ({"run_share": 0.0}, "run_share"),
        ({"scatter": 0.5}, "scatter"),
        ({"edges": ["2023-01-01"]}, "edges"),
        ({"edges": ["2024-01-01", "2023-01-01"]}, "edges"),
        ({"population": pd.DataFrame({"tag": ["A", "B"]})}, "population"),
        ({"population": pd.DataFrame({"position_id": ["A"]})}, "position[1]"),
        ({"population": pd.DataFrame({"position_id": ["A", "A", "B"]})}, "population"),
        (
            {"population": pd.DataFrame({"position_id": ["A", "B"], "run_share": [1.0, 2.0]})},
            "population.run_share",
        ),
        (
            {
                "population": pd.DataFrame(
                    {
                        "position_id": ["A", "B"],
                        "start": ["2023-02-01"] * 2,
                        "end": ["2023-01-01"] * 2,
                    }
                )
            },
            "population.end",
        ),
    ],
)
def test_bad_input_says_where(change: dict[str, Any], where: str) -> None:
    plain: dict[str, Any] = {
        "position": ["A", "B"],
        "time": ["2023-01-01", "2023-02-01"],
        "low": [1.0, 1.0],
        "high": [1.0, 1.0],
        "family": PETROLEUM,
    }
    population_emissions(**plain)
    with pytest.raises(InputError) as caught:
        population_emissions(**{**plain, **change})
    assert caught.value.where.startswith(where)


def test_no_reading_is_said() -> None:
    with pytest.raises(InputError, match="no reading"):
        population_emissions([], np.array([], "datetime64[D]"), [], [], family=PETROLEUM)


@pytest.mark.parametrize(
    ("values", "marks", "what"),
    [
        ([0.0], {}, "reading of 0"),
        ([0.0], {"nondetect": [1]}, "limit of detection of 0"),
        ([5.0], {"nondetect": [1], "pegged": [1]}, "both"),
        ([5.0], {"nondetect": [2]}, "neither yes nor no"),
        ([5.0], {"nondetect": [1, 0]}, "for 1 records"),
        ([5_000.0], {"pegged": [1]}, "below 10,000"),
        (["x"], {}, "no number"),
        ([[1.0]], {}, "shape"),
        ([-1.0], {}, "not a reading"),
    ],
)
def test_bad_screening_values_say_what(values: Any, marks: dict[str, Any], what: str) -> None:
    with pytest.raises(InputError, match=what):
        emission_rate(values, family=PETROLEUM, **marks)
    with pytest.raises(InputError, match="from_share"):
        above_background([1.0], [0.0], from_share=2.0)


def test_input_is_left_as_it_was() -> None:
    data = _even(12, 10.0)
    low = np.array(data["low"])
    before = low.copy()
    people = pd.DataFrame({"position_id": sorted(set(data["position"]), reverse=True)})
    copy = people.copy()
    _totals({**data, "low": low, "high": low}, population=people)
    assert (low == before).all()
    pd.testing.assert_frame_equal(people, copy)
