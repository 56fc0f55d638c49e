"""Rising leakage: known truth, properties, bad input, and a part of the study repeated."""

from __future__ import annotations

from dataclasses import replace

import alarms_study as made
import numpy as np
import pandas as pd
import pytest
from scipy import stats

from seallife.errors import InputError
from seallife.leakage.alarms import LeakAlarms, watch_rises
from seallife.leakage.forecasts import Noise, follow
from seallife.leakage.noise import fit_noise, reading_limits
from seallife.leakage.sequences import read_sequences


def _fleet(
    seals: int = 80, readings: int = 20, seed: int = 3
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    return made.quiet_fleet(seals, readings, 0.0, 0.1, np.random.default_rng(seed))


def _with_ramp(doubling: float = 20.0, last: int = 5) -> tuple[np.ndarray, ...]:
    """Seal 0 rises over its last readings."""
    time, low, high, segment = _fleet()
    rows = np.flatnonzero(segment == 0)[-last:]
    factor = 2.0 ** ((time[rows] - time[rows[0] - 1]) / doubling)
    level = np.exp(np.log(high[segment == 0]).mean())
    low[rows] = high[rows] = level * factor
    return time, low, high, segment


@pytest.fixture(scope="module")
def ramp() -> LeakAlarms:
    time, low, high, segment = _with_ramp()
    return watch_rises(time, low, high, segment=segment)


def test_a_clear_ramp_is_found_confirmed_and_held(ramp: LeakAlarms) -> None:
    seal = ramp[0]
    assert seal["state"] == "rising, confirmed"
    assert seal["kind"] == "ramp"
    rows = ramp.readings[ramp.readings["segment"] == 0]
    assert rows["alarm"].iloc[-5:].any()
    assert seal["since"] == rows.loc[rows["alarm"], "time"].max()
    first = int(np.argmax(rows["rising"].to_numpy()))
    assert rows["rising"].iloc[first:].all(), "no longer on though it still rises"
    held = rows["baseline"].iloc[first:].to_numpy()
    assert (held == held[0]).all(), "baseline moved during the alarm"
    assert seal["baseline_low"] < seal["baseline"] < seal["baseline_high"] < seal["line"]


def test_a_step_is_told_from_a_ramp() -> None:
    time, low, high, segment = _fleet()
    rows = np.flatnonzero(segment == 0)[-8:]
    low[rows] = high[rows] = np.exp(np.log(high[segment == 0]).mean()) * 8.0
    got = watch_rises(time, low, high, segment=segment)
    assert got[0]["state"] == "rising, confirmed", "a plateau stays on watch until renewal"
    assert got[0]["kind"] == "step"


def test_one_high_reading_is_an_alarm_that_ends_and_is_not_confirmed() -> None:
    time, low, high, segment = _fleet()
    mine = np.flatnonzero(segment == 0)
    low[mine] = high[mine] = 10.0
    low[mine[12]] = high[mine[12]] = 80.0
    got = watch_rises(time, low, high, segment=segment)
    rows = got.readings.loc[mine]
    assert rows["alarm"].to_numpy().nonzero()[0].tolist() == [12]
    assert not rows["confirmed"].any()
    assert rows["rising"].to_numpy().nonzero()[0].tolist() == [12, 13]
    assert (got[0]["state"], got[0]["alarms"]) == ("quiet", 1)


def test_a_re_read_confirms_and_is_no_new_evidence() -> None:
    time, low, high, segment = _fleet()
    mine = np.flatnonzero(segment == 0)
    low[mine] = high[mine] = 10.0
    low[mine[-1]] = high[mine[-1]] = 80.0

    def again(value: float) -> LeakAlarms:
        return watch_rises(
            np.append(time, time[mine[-1]] + 3),
            np.append(low, value),
            np.append(high, value),
            segment=np.append(segment, 0),
        )

    alone = watch_rises(time, low, high, segment=segment)
    high_again, low_again = again(70.0), again(9.0)
    assert alone[0]["state"] == low_again[0]["state"] == "rising"
    assert "Read again" in alone[0]["message"]
    assert high_again[0]["state"] == "rising, confirmed"
    assert high_again.readings["use"].iloc[-1] == "re-read"
    assert np.isnan(high_again.readings["score"].iloc[-1])
    columns = ["z", "score", "threshold", "alarm"]
    pd.testing.assert_frame_equal(alone.readings[columns], high_again.readings[columns].iloc[:-1])


def test_each_reading_is_judged_by_earlier_ones_only() -> None:
    """Later readings move the fleet's noise, not what an earlier reading says given it."""
    time, low, high, segment = _with_ramp()
    noise = Noise(2.7, 0.8, 0.5, 0.2)
    data = read_sequences(time, low, high, segment, None, 30.0)
    whole = follow(data, data.low, data.high, noise)
    keep = time < 400
    part = read_sequences(time[keep], low[keep], high[keep], segment[keep], None, 30.0)
    some = follow(replace(part, usual=data.usual), part.low, part.high, noise)
    early = pd.Series(whole.z, data.row)
    rows = np.flatnonzero(keep)[part.row]
    np.testing.assert_allclose(some.z, early.loc[rows], rtol=1e-12)


@pytest.mark.parametrize("phi", [0.0, 0.5])
def test_forecast_errors_are_those_of_the_joint_normal_law(phi: float) -> None:
    """Against the Cholesky factor of the covariance of all readings of one seal."""
    time = np.array([0.0, 30, 60, 120, 150])
    value = np.exp([2.0, 2.9, 3.1, 2.2, 4.0])
    data = read_sequences(time, value, value, None, None, 30.0)
    noise = Noise(2.5, 0.8, 0.5, phi)
    gap = np.abs(time[:, None] - time) / data.usual
    law = 0.8**2 + 0.5**2 * (phi**gap if phi else np.eye(5))
    root = np.linalg.cholesky(law)
    expected = np.linalg.solve(root, np.log(value) - 2.5)
    got = follow(data, data.low, data.high, noise)
    np.testing.assert_allclose(got.z, expected, rtol=1e-9)
    np.testing.assert_allclose(got.sd, np.diag(root), rtol=1e-9)


def test_a_bounded_reading_has_the_score_expected_of_it() -> None:
    """First readings of seals: the mean of a normal cut at the limits."""
    noise = Noise(2.0, 0.6, 0.8, 0.0)
    limit = np.exp(1.5)
    data = read_sequences(
        [0.0, 0.0, 0.0], [0.0, limit, 3.0], [limit, np.inf, 9.0], ["a", "b", "c"], None, 30.0
    )
    got = follow(data, data.low, data.high, noise)
    cut = [(-np.inf, 1.5), (1.5, np.inf), (np.log(3.0), np.log(9.0))]
    laws = [stats.truncnorm(a - 2.0, b - 2.0) for a, b in cut]
    np.testing.assert_allclose(got.z, [law.mean() for law in laws], rtol=1e-8)
    np.testing.assert_allclose(got.worth, [1 - law.var() for law in laws], rtol=1e-7)
    assert (got.worth < 1).all()
    np.testing.assert_allclose(got.level, 2.0 + 0.36 * got.z, rtol=1e-9)


def test_readings_far_beyond_the_limits_stay_finite() -> None:
    noise = Noise(2.0, 0.1, 0.1, 0.0)
    low, high = np.array([1e9, 0.0, 1e5]), np.array([np.inf, 1e-9, 1e5 * (1 + 1e-12)])
    data = read_sequences([0.0, 0.0, 0.0], low, high, ["a", "b", "c"], None, 30.0)
    got = follow(data, data.low, data.high, noise)
    assert np.isfinite(got.z).all()
    assert np.isfinite(got.loglik).all()
    assert got.z[0] > 100
    assert got.z[1] < -100


def test_noise_of_the_fleet_is_found_though_some_seals_rise() -> None:
    rng = np.random.default_rng(5)
    time, low, high, segment = made.quiet_fleet(600, 24, 0.3, 0.3, rng)
    rising = (segment < 30) & (np.arange(len(time)) % 24 >= 21)
    step = 2.0 ** (1 + np.arange(len(time)) % 24 - 21)
    low, high = np.where(rising, low * step, low), np.where(rising, high * step, high)
    high[:24:6], low[:24:6] = np.inf, 1e4
    data = read_sequences(time, low, high, segment, None, 30.0)
    noise = fit_noise(data, "pooled", rng)
    assert noise is not None
    assert noise.sigma == pytest.approx(0.5, rel=0.04)
    assert noise.phi == pytest.approx(0.3, abs=0.05)
    assert noise.spread == pytest.approx(0.8, rel=0.1)
    assert noise.centre == pytest.approx(2.7, abs=0.12)


def test_limits_of_exact_readings_are_those_of_the_seal_or_below_the_reading() -> None:
    data = read_sequences(
        [0.0, 30, 60, 0, 30], [0.0, 4, 2, 1, 9], [3.0, 4, 2, 1, 9], list("aaabb"), None, 30.0
    )
    floor, ceiling = (dict(zip(data.row.tolist(), v, strict=True)) for v in reading_limits(data))
    np.testing.assert_allclose([np.exp(floor[i]) for i in range(5)], [3, 3, 2, 1, 3])
    assert set(ceiling.values()) == {np.inf}


def test_order_of_rows_scale_and_first_day_do_not_matter(ramp: LeakAlarms) -> None:
    time, low, high, segment = _with_ramp()
    shuffled = np.random.default_rng(2).permutation(len(time))
    other = watch_rises(
        time[shuffled] + 12_345.0,
        1_000 * low[shuffled],
        1_000 * high[shuffled],
        segment=segment[shuffled],
    )
    same = ["n", "used", "state", "alarms", "kind", "status", "message"]
    pd.testing.assert_frame_equal(ramp.table[same], other.table[same])
    np.testing.assert_allclose(other.table["baseline"], 1_000 * ramp.table["baseline"], rtol=1e-4)
    np.testing.assert_allclose(
        other.table["first_alarm"], ramp.table["first_alarm"] + 12_345.0, rtol=1e-9
    )
    mine = ramp.readings.iloc[shuffled].reset_index(drop=True)
    np.testing.assert_allclose(other.readings["z"], mine["z"], rtol=1e-3, atol=1e-4)
    assert (other.readings["alarm"] == mine["alarm"]).all()


def test_a_renewal_begins_anew_and_run_in_is_left_out() -> None:
    time, low, high, segment = _with_ramp()
    renewed = np.where((segment == 0) & (time > 400), 1_000, segment)
    got = watch_rises(time, low, high, segment=renewed)
    assert got[1_000]["state"] != "rising, confirmed"
    age = np.where(time < 60, 5.0, 300.0)
    young = watch_rises(time, low, high, segment=segment, age=age)
    assert (young.readings["use"] == np.where(time < 60, "run-in", "used")).all()
    assert young.readings.loc[time < 60, "z"].isna().all()
    assert (young.table["used"] < young.table["n"]).all()


def test_too_few_readings_are_said_to_be_too_few() -> None:
    time, low, high, segment = _fleet()
    few = (segment > 0) | (time < 150)
    got = watch_rises(time[few], low[few], high[few], segment=segment[few])
    assert got[0]["state"] == got[0]["status"] == "cannot tell yet"
    assert "6 readings" in got[0]["message"]
    unseen = watch_rises(time, np.zeros(len(time)), np.ones(len(time)), segment=segment)
    assert set(unseen.table["state"]) == {"cannot tell yet"}
    assert unseen.table["message"].str.contains("Too few exact").all()
    assert np.isnan(unseen.threshold)
    empty = watch_rises([], [], [], segment=np.array([], dtype=object))
    assert len(empty) == len(empty.readings) == 0


def test_result_counts_every_reading_and_repeats_itself(ramp: LeakAlarms) -> None:
    assert ramp.table["n"].sum() == len(ramp.readings) == 1_600
    assert ramp.table["alarms"].sum() == ramp.readings["alarm"].sum()
    assert ramp.table["months"].sum() == pytest.approx(ramp.months)
    assert ramp.simulated == pytest.approx(1.0, rel=0.05)
    assert (ramp.readings["confirmed"] <= ramp.readings["rising"]).all()
    time, low, high, segment = _with_ramp()
    before = low.copy()
    again = watch_rises(time, low, high, segment=segment)
    pd.testing.assert_frame_equal(ramp.table, again.table)
    np.testing.assert_array_equal(low, before)
    assert "level 0.9" in ramp.summary()
    assert ramp.to_dict()["false_alarms"] == 1.0


def test_more_false_alarms_allowed_means_a_lower_threshold() -> None:
    time, low, high, segment = _fleet()
    bars = [
        watch_rises(time, low, high, segment=segment, false_alarms=rate).threshold
        for rate in (0.5, 2.0, 8.0)
    ]
    assert bars[0] > bars[1] > bars[2]


def test_a_large_fleet_is_drawn_in_part_and_keeps_its_rate() -> None:
    time, low, high, segment = made.quiet_fleet(20_000, 13, 0.0, 0.2, np.random.default_rng(8))
    got = watch_rises(time, low, high, segment=segment)
    assert got.simulated == pytest.approx(1.0, rel=0.02)
    assert got.alarm_rate == pytest.approx(1.0, rel=0.15)


def test_a_run_of_close_readings_counts_anew_after_a_week() -> None:
    time = np.r_[np.arange(0.0, 300, 30), 273, 276, 279, 282]
    value = np.ones(len(time))
    data = read_sequences(time, value, value, None, None, 30.0)
    assert data.use[10:].tolist() == ["re-read", "re-read", "used", "re-read"]
    assert data.repeats[10:].tolist() == [9, 9, -1, 12]
    assert data.usual == 30.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"time": [0.0, np.nan]}, r"time\[1\]"),
        ({"time": ["x", "y"]}, "time: holds"),
        ({"low": [1.0]}, "low: has shape"),
        ({"low": [-1.0, 1.0]}, r"low\[0\]: -1"),
        ({"high": [0.5, 1.0]}, r"high\[0\]: 0.5 is below low"),
        ({"high": [np.nan, 1.0]}, r"high\[0\]: nan is below low or missing"),
        ({"low": [0.0, 1.0], "high": [0.0, 1.0]}, "detection limit"),
        ({"low": [0.0, 1.0], "high": [np.inf, 1.0]}, "says nothing"),
        ({"segment": ["a", None]}, r"segment|group"),
        ({"age": [np.nan, 1.0]}, r"age\[0\]"),
        ({"run_in": -1.0}, "run_in"),
        ({"baseline": 1}, "baseline"),
        ({"false_alarms": 0.0}, "false_alarms"),
        ({"correlation": 1.2}, "correlation"),
        ({"correlation": "some"}, "correlation"),
        ({"resamples": 0}, "resamples"),
        ({"level": 1.5}, "level"),
    ],
)
def test_bad_input_is_named(change: dict[str, object], words: str) -> None:
    usual: dict[str, object] = {"time": [0.0, 30.0], "low": [1.0, 1.0], "high": [1.0, 1.0]}
    with pytest.raises(InputError, match=words):
        watch_rises(**(usual | change))  # type: ignore[arg-type]


# The study ---------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def table() -> pd.DataFrame:
    return pd.read_csv(made.TABLE)


def test_the_study_holds_the_rate_of_quiet_fleets_within_a_fifth(table: pd.DataFrame) -> None:
    quiet = table[table["fleet"].str.startswith("quiet")]
    assert len(quiet) == 12
    assert (quiet["months"] * quiet["stated"] / 100 > 400).all(), "alarms enough to tell"
    assert ((quiet["false_rate"] / quiet["stated"]).between(0.8, 1.2)).all()


def test_the_study_holds_the_rate_on_the_demo(table: pd.DataFrame) -> None:
    demo = table[table["fleet"].isin(made.SURVEYS)]
    assert len(demo) == 3 * 3 * len(made.RATES)
    assert ((demo["false_rate"] / demo["stated"]).between(0.8, 1.2)).all()


def test_nobody_sees_four_ramps_in_five_a_fortnight_ahead_from_monthly_readings(
    table: pd.DataFrame,
) -> None:
    """At one false alarm in 100 months; twice the readings bring what no method can."""
    at = table.set_index(["fleet", "watch", "stated"])["early"]
    assert at["demo, monthly", "knows the law", 1.0] < 0.8
    assert at["demo, monthly", "as shipped", 1.0] > 0.5
    assert at["same law, fortnightly", "as shipped", 1.0] > (
        at["same law, monthly", "as shipped", 1.0] + 0.1
    )
    gap = at.xs("knows the law", level="watch") - at.xs("as shipped", level="watch")
    gap = gap.dropna()  # quiet fleets have no ramps
    assert len(gap) == len(made.SURVEYS) * len(made.RATES)
    assert (gap > -0.02).all()
    assert (gap < 0.2).all()


@pytest.mark.parametrize(("phi", "unseen"), [(0.0, 0.0), (0.3, 0.6)])
def test_rate_is_held_on_other_quiet_fleets(phi: float, unseen: float) -> None:
    """Some 540 alarms expected: a fifth is four standard errors and more."""
    rate, months = made.quiet_rate(12, phi, unseen, 5.0, 2, 900)
    expected = 0.05 * months
    assert abs(rate - 5.0) / 5.0 < 0.2, expected
    assert expected > 400


def test_part_of_the_study_repeated_on_another_seed(table: pd.DataFrame) -> None:
    surveys = [made.survey("demo, monthly", seed) for seed in (901, 902)]
    ours = made.watch_row(surveys, 2.0, 6)
    best = made.knowing_row(surveys, 2.0)
    known = table.set_index(["fleet", "watch", "stated"]).loc["demo, monthly", "as shipped", 2.0]
    ramps = float(str(ours["ramps"]))
    error = 3.3 * (known["early"] * (1 - known["early"]) / ramps) ** 0.5
    assert abs(float(str(ours["early"])) - known["early"]) < error
    assert float(str(best["early"])) >= float(str(ours["early"])) - 0.05
    assert 1.4 < float(str(ours["false_rate"])) < 2.6
