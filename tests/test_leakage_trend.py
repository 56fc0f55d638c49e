"""Trends of whole fleets of segments: false alarms, coverage, properties, words, bad input."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from leaksets import leaks

from seallife.errors import InputError
from seallife.leakage import trend


@pytest.mark.parametrize("phi", [0.0, 0.3, 0.6])
@pytest.mark.parametrize("n", [8, 15, 30])
def test_false_alarms_keep_to_5_percent(n: int, phi: float) -> None:
    """Monthly readings without a trend, 30 % below detection.

    With 10,000 segments 3.6 (8 readings, 0: S moves in steps) to 6.1 % (30 readings, 0.6); without
    the correction up to 27 %.
    """
    d = leaks(4_000, n, phi=phi, below=0.3)
    got = trend(d.time, d.value, nondetect=d.nondetect, segment=d.segment)
    p = got.table["p"].dropna()
    assert len(p) > 3_900
    assert 0.027 <= (p <= 0.05).mean() <= 0.069
    rising = got.table["p_rising"].dropna()
    assert 0.027 <= (rising <= 0.05).mean() <= 0.069
    slope = got.table[got.table["slope_per_day"].notna()]
    covered = ((slope["slope_low"] <= 0) & (slope["slope_high"] >= 0)).mean()
    assert 0.875 <= covered <= 0.935


def test_without_the_correction_alarms_are_false() -> None:
    d = leaks(1_000, 30, phi=0.6, below=0.3)
    got = trend(d.time, d.value, nondetect=d.nondetect, segment=d.segment, correlation="none").table
    assert (got["p"] <= 0.05).mean() > 0.2
    assert (got["inflation"] == 1).all()


def test_false_alarms_at_uneven_times() -> None:
    d = leaks(2_000, 15, phi=0.5, below=0.3, times=(7.0, 30.0, 30.0, 60.0, 120.0))
    got = trend(d.time, d.value, nondetect=d.nondetect, segment=d.segment).table
    assert 0.032 <= (got["p"] <= 0.05).mean() <= 0.065
    assert got["inflation"].std() > 0.1


def test_a_leak_that_doubles_is_seen() -> None:
    d = leaks(500, 12, slope=np.log(2) / 60, below=0.2)
    got = trend(d.time, d.value, nondetect=d.nondetect, segment=d.segment).table
    assert (got["p_rising"] < 0.05).mean() > 0.9
    assert got["doubling_days"].median() == pytest.approx(60, rel=0.05)
    assert (got["doubling_soonest"] <= got["doubling_days"])[got["slope_per_day"] > 0].all()


def test_line_at_the_start() -> None:
    days = np.arange(8) * 30.0
    got = trend(days + 18_000, 4 * 2 ** (days / 60))["all"]
    assert (got["start"], got["days"]) == (18_000, 210)
    assert got["intercept"] == pytest.approx(4, rel=1e-9)
    assert got["doubling_days"] == pytest.approx(60, rel=1e-9)
    straight = trend(days, 3 + 0.1 * days, log=False)["all"]
    assert straight["slope_per_day"] == pytest.approx(0.1, rel=1e-9)
    assert straight["intercept"] == pytest.approx(3, rel=1e-9)
    assert np.isnan(straight["doubling_days"])


@given(st.integers(0, 5_000), st.floats(-1e4, 1e4), st.sampled_from([0.01, 3.0, 1e4]))
def test_order_day_and_unit_change_nothing(seed: int, day: float, unit: float) -> None:
    d = leaks(6, 9, phi=0.4, below=0.3, seed=seed, times=(7.0, 30.0, 45.0))
    order, shift = np.random.default_rng(seed).permutation(54), np.round(day)
    one = trend(d.time, d.value, nondetect=d.nondetect, segment=d.segment)
    two = trend(
        d.time[order] + shift,
        unit * d.value[order],
        nondetect=d.nondetect[order],
        segment=d.segment[order],
    )
    assert one.phi["all"] == pytest.approx(two.phi["all"], abs=1e-9)
    for name in ("s", "n", "n_nondetect", "status", "days"):
        assert one.table[name].tolist() == two.table[name].tolist()
    for name in ("p", "p_rising", "slope_per_day", "slope_low", "slope_high", "inflation"):
        np.testing.assert_allclose(two.table[name], one.table[name], rtol=1e-6, atol=1e-10)
    np.testing.assert_allclose(two.table["intercept"], unit * one.table["intercept"], rtol=1e-6)


def test_pools_have_a_correlation_of_their_own() -> None:
    wild, calm = leaks(300, 15, phi=0.6, seed=2), leaks(300, 15, seed=3)
    time = np.concatenate([wild.time, calm.time])
    value = np.concatenate([wild.value, calm.value])
    segment = np.concatenate([wild.segment, calm.segment + 300])
    pool = np.repeat(["drops", "sniffer"], 4_500)
    got = trend(time, value, segment=segment, pool=pool)
    assert got.phi["drops"] == pytest.approx(0.58, abs=0.06)
    assert got.phi["sniffer"] < 0.06
    assert got[0]["pool"] == "drops"
    assert "drops: correlation" in got.correlation
    alone = trend(wild.time, wild.value, segment=wild.segment)
    assert got.phi["drops"] == alone.phi["all"]
    with pytest.raises(InputError, match="more than one pool"):
        trend(time, value, segment=segment, pool=np.resize(["a", "b"], 9_000))


def test_what_was_done_about_correlation_is_said() -> None:
    d = leaks(2, 8)
    got = trend(d.time, d.value, segment=d.segment)
    assert "14 pairs of neighbouring readings are too few" in got.correlation
    assert got.correlation in got.method
    assert (got.table["inflation"] == 1).all()
    given_ = trend(d.time, d.value, segment=d.segment, correlation=0.5)
    assert "given as 0.5" in given_.correlation
    assert (given_.table["inflation"] > 1.5).all()
    assert (given_.table["p"] >= got.table["p"]).all()
    json.dumps(got.to_dict())


def test_words_for_every_kind_of_segment() -> None:
    days = np.tile(np.arange(6) * 30.0, 5)
    value = np.array(
        [[5, 5, 5, 5, 5, 5], [9] * 6, [4] * 6, [2, 2, 2, 2, 2, 7], [1, 2, 1, 3, 5, 8]], float
    ).ravel()
    nondetect = np.array([[1] * 6, [0] * 6, [0] * 6, [1, 1, 1, 1, 1, 0], [0] * 6], bool).ravel()
    pegged = np.array([[0] * 6, [1] * 6, [0] * 6, [0] * 6, [0] * 6], bool).ravel()
    label = np.repeat(["nd", "top", "flat", "open", "well"], 6)
    got = trend(days, value, nondetect=nondetect, pegged=pegged, segment=label)
    status = dict(zip(got.table["segment"], got.table["status"], strict=True))
    assert status == {
        "nd": "not detected",
        "top": "above scale",
        "flat": "no spread",
        "open": "slope open",
        "well": "ok",
    }
    assert got["nd"]["n_nondetect"] == 6
    assert got["top"]["n_pegged"] == 6
    assert got["open"]["p"] < 1
    for name in ("nd", "top", "open"):
        assert np.isnan(got[name]["slope_per_day"])
        assert got[name]["message"]
    assert got["flat"]["slope_per_day"] == 0
    assert got["flat"]["doubling_days"] == np.inf


def test_no_reading_at_all() -> None:
    assert trend([], [])["all"]["status"] == "no readings"
    assert len(trend([], [], segment=[], pool=[])) == 0


def test_zero_is_a_reading_only_without_log() -> None:
    got = trend(np.arange(6.0), [0, 0, 1, 2, 2, 4], log=False)["all"]
    assert (got["status"], got["n_nondetect"]) == ("ok", 0)
    with pytest.raises(InputError, match=r"value\[0\]: is 0, which has no logarithm"):
        trend(np.arange(6.0), [0, 0, 1, 2, 2, 4])


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"time": [0, np.nan, 2]}, r"time\[1\]: is not a time"),
        ({"time": [0, 1]}, "low: has 3 values where time has 2"),
        ({"value": [1, -2, 3]}, r"value\[1\]: is negative"),
        ({"value": [1, 2, np.nan]}, r"value\[2\]: is not a number"),
        ({"value": [1, 2, np.inf]}, r"value\[2\]: is not a number"),
        ({"value": ["a", 2, 3]}, "value: holds what is no number"),
        ({"nondetect": [1, 0]}, r"nondetect: has shape \(2,\)"),
        ({"pegged": [0, 2, 0]}, r"pegged\[1\]: is neither"),
        ({"nondetect": [1, 0, 0], "pegged": [1, 0, 0]}, r"value\[0\]: is both"),
        ({"nondetect": [1, 0, 0], "value": [0, 1, 2]}, r"value\[0\]: is a limit of detection of 0"),
        ({"segment": ["a", None, "a"]}, r"segment\[1\]: a label is missing"),
        ({"pool": ["a", "a"]}, r"pool: has shape \(2,\)"),
        ({"level": 0.0}, "level: is 0"),
        ({"correlation": 1.0}, "correlation: is 1"),
        ({"correlation": "all"}, "correlation: is 'all'"),
    ],
)
def test_bad_input(change: dict, where: str) -> None:
    given_ = {"time": [0, 1, 2], "value": [1.0, 2.0, 3.0]} | change
    with pytest.raises(InputError, match=where):
        trend(**given_)
