"""Loss of barrier liquid and leakage in words: worked values, balances, bad input."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife.errors import InputError
from seallife.leakage import (
    WORD_SCALE,
    face_leakage_ml_per_h,
    pressure_decay_rate,
    read_words,
    top_up_rate,
    volume_lost_l,
)
from seallife.leakage.words import _words


@pytest.mark.parametrize(
    ("gap", "ml_per_h", "within"),
    [(0.3, 0.93, 0.005), (0.5, 4.3, 0.05), (1.0, 35.0, 0.5), (2.0, 276.0, 0.5)],
)
def test_leakage_goes_with_the_cube_of_the_gap(gap: float, ml_per_h: float, within: float) -> None:
    """Lubrication theory (from memory): faces 26 to 29 mm, 10 bar, 0.5 mPa s; arithmetic."""
    assert face_leakage_ml_per_h(gap, 10, 0.5, 26, 29) == pytest.approx(ml_per_h, abs=within)


def test_doubling_the_gap_is_eightfold() -> None:
    one, two = face_leakage_ml_per_h(np.array([0.4, 0.8]), 7, 0.9, 30, 34)
    assert two / one == pytest.approx(8, rel=1e-12)


def test_gas_that_expands_at_equal_temperature() -> None:
    """Ideal gas: 10 L from 20 to 19 bar abs is 10 / 19 L; over 20 days 1.1 mL/h."""
    lost = float(volume_lost_l(10, 20, 15, 19, 15))
    assert lost == pytest.approx(0.526, abs=5e-4)
    assert lost == pytest.approx(10 / 19, rel=1e-12)
    assert 1_000 * lost / (20 * 24) == pytest.approx(1.1, abs=0.05)


def test_a_vessel_that_cools_does_not_leak() -> None:
    """From 293 to 283 K the pressure falls 0.68 bar; without temperature it would read 0.35 L."""
    cold = 20 * 283 / 293
    assert 20 - cold == pytest.approx(0.68, abs=0.005)
    assert float(volume_lost_l(10, 20, 293 - 273.15, cold, 283 - 273.15)) == pytest.approx(
        0, abs=1e-12
    )
    assert float(volume_lost_l(10, 20, 20, cold, 20)) == pytest.approx(0.35, abs=0.005)


def test_top_ups_between_equal_states() -> None:
    """240 mL in 10 days and 480 mL in 20 days are 1 mL/h; the first refill is a reference."""
    got = top_up_rate([0, 10, 30], [500, 240, 480])
    assert got.table["ml_per_h"].tolist() == [1.0, 1.0]
    assert got.totals[["records", "hours", "volume_ml", "ml_per_h"]].iloc[0].tolist() == [
        2,
        720,
        720,
        1.0,
    ]
    assert got.clock == "calendar hours"
    assert "inner seal, the outer seal" in got.method
    assert len(got) == 2


def test_top_ups_go_by_running_hours() -> None:
    got = top_up_rate([0, 10, 30], [500, 240, 480], run_hours=[1_000, 1_120, 1_120])
    assert got.clock == "running hours"
    assert got.table["ml_per_h"].iloc[0] == 2.0
    assert got.table["status"].tolist() == ["ok", "no hours"]
    assert np.isnan(got.table["ml_per_h"].iloc[1])
    assert got.totals["ml_per_h"].iloc[0] == 720 / 120


def test_a_renewal_begins_a_new_reference() -> None:
    dates = ["2023-01-01", "2023-01-11", "2023-01-21", "2023-01-31"]
    volume = [500, 240, 3_000, 120]
    got = top_up_rate(dates, volume, run_hours=[0, 240, 10, 250], reset=[0, 0, 1, 0])
    assert got.table["ml_per_h"].tolist() == [1.0, 0.5]
    assert got.table["start"].tolist() == [pd.Timestamp("2023-01-01"), pd.Timestamp("2023-01-21")]
    assert got.totals["volume_ml"].tolist() == [240, 120]
    by_life = top_up_rate(dates, volume, segment=["a", "a", "b", "b"])
    assert by_life.table["segment"].tolist() == ["a", "b"]
    assert by_life.table["ml_per_h"].tolist() == [1.0, 0.5]


@given(
    st.lists(
        st.tuples(st.integers(0, 24_000).map(lambda h: h / 24), st.floats(0, 5_000)),
        min_size=2,
        max_size=20,
    ),
    st.randoms(use_true_random=False),
)
def test_totals_balance_and_order_makes_no_difference(
    rows: list[tuple[float, float]], random: Any
) -> None:
    rows = sorted({t: (t, v) for t, v in rows}.values())
    time, volume = map(list, zip(*rows, strict=True))
    got = top_up_rate(time, volume)
    assert got.totals["volume_ml"].sum() == pytest.approx(sum(volume[1:]))
    assert got.totals["hours"].sum() == pytest.approx(24 * (time[-1] - time[0]))
    random.shuffle(rows)
    mixed, volume = map(list, zip(*rows, strict=True))
    again = top_up_rate(mixed, volume)
    assert [mixed[i] for i in again.table["row"]] == [time[i] for i in got.table["row"]]
    pd.testing.assert_frame_equal(again.table.drop(columns="row"), got.table.drop(columns="row"))


def _vessel(days: Any, ml_per_h: float, celsius: Any, refill_at: Any = ()) -> list[float]:
    """Pressure of 10 L of gas at 20 bar and 20 degC that loses liquid at a steady rate."""
    out = []
    since = 0.0
    for day, warmth in zip(days, celsius, strict=True):
        if day in refill_at:
            since = day
        volume = 10 + ml_per_h * 24 * (day - since) / 1_000
        out.append(20 * 10 / volume * (warmth + 273.15) / 293.15)
    return out


def test_pressure_decay_finds_the_rate_through_cold_nights_and_refills() -> None:
    days = np.arange(0.0, 60.0, 2.0)
    warmth = 15 + 12 * np.sin(days)
    pressure = _vessel(days, 1.5, warmth, refill_at=(20.0, 40.0))
    # the gas of later stretches is at 20 bar and 20 degC too, whatever the gauge shows
    got = pressure_decay_rate(days, pressure, warmth, 10)
    assert len(got.totals) == 3
    assert got.table["ml_per_h"].to_numpy() == pytest.approx(1.5, rel=0.02)
    assert got.totals["ml_per_h"].to_numpy() == pytest.approx(1.5, rel=0.02)
    told = pressure_decay_rate(days, pressure, warmth, 10, refill=np.isin(days, (20.0, 40.0)))
    pd.testing.assert_frame_equal(told.table, got.table)


def test_volume_is_counted_from_the_reference_not_from_the_last_reading() -> None:
    """Gas that grew from 10 to 11 L loses more liquid for the same ratio of pressures."""
    got = pressure_decay_rate([0, 10, 20], [22.0, 20.0, 18.0], [20, 20, 20], 10)
    assert got.table["volume_ml"].tolist() == pytest.approx([1_000, 10_000 * (22 / 18 - 22 / 20)])
    whole = float(volume_lost_l(10, 22, 20, 18, 20)) * 1_000
    assert got.totals["volume_ml"].iloc[0] == pytest.approx(whole)


def test_less_than_a_step_of_the_gauge_is_said() -> None:
    got = pressure_decay_rate([0, 1, 2], [20.0, 19.95, 19.0], [20, 20, 20], 10)
    assert got.table["status"].tolist() == ["within a step", "ok"]
    assert "less than the gauge" in got.table["message"].iloc[0]


def test_no_record_gives_empty_tables() -> None:
    assert len(top_up_rate([], [])) == 0
    assert len(pressure_decay_rate([], [], [], 10)) == 0


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"time": [0, np.nan]}, "time[1]"),
        ({"time": ["2023-01-01", "soon"]}, "time"),
        ({"volume_ml": [1.0]}, "volume_ml"),
        ({"volume_ml": [1.0, -1.0]}, "volume_ml[1]"),
        ({"volume_ml": ["a", "b"]}, "volume_ml"),
        ({"run_hours": [5.0, 4.0]}, "run_hours[1]"),
        ({"reset": [0, 2]}, "reset[1]"),
        ({"reset": [0]}, "reset"),
    ],
)
def test_bad_refills_say_where(change: dict[str, Any], where: str) -> None:
    with pytest.raises(InputError) as caught:
        top_up_rate(**{"time": [0, 1], "volume_ml": [1.0, 1.0], **change})
    assert caught.value.where == where


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"pressure_bar_abs": [20.0, 0.0]}, "pressure_bar_abs[1]"),
        ({"temp_c": [20.0, -300.0]}, "temp_c[1]"),
        ({"gas_volume_l": 0.0}, "gas_volume_l"),
        ({"gauge_step_bar": -1.0}, "gauge_step_bar"),
        ({"refill": [1]}, "refill"),
    ],
)
def test_bad_pressures_say_where(change: dict[str, Any], where: str) -> None:
    plain: dict[str, Any] = {
        "time": [0, 1],
        "pressure_bar_abs": [20.0, 19.0],
        "temp_c": [20.0, 20.0],
        "gas_volume_l": 10.0,
    }
    with pytest.raises(InputError) as caught:
        pressure_decay_rate(**{**plain, **change})
    assert caught.value.where == where


def test_bad_formula_input_says_where() -> None:
    with pytest.raises(InputError, match="pressure_bar_abs_end"):
        volume_lost_l(10, 20, 20, 0, 20)
    with pytest.raises(InputError, match="temp_c_start"):
        volume_lost_l(10, 20, -274, 19, 20)
    with pytest.raises(InputError, match="outer_radius_mm"):
        face_leakage_ml_per_h(1, 10, 0.5, 29, 26)
    with pytest.raises(InputError, match="gap_um"):
        face_leakage_ml_per_h(0, 10, 0.5, 26, 29)


@pytest.mark.parametrize(
    ("cells", "word"),
    [
        (["none", "Dry", "no leak", "keine", "trocken", "sec", "Néant", "ninguna", "seco"], "none"),
        (["stain", "Fleck", "tache", "mancha", "umido", "vlek"], "stain"),
        (["weeping", "schwitzt", "suintement", "rezuma", "trasuda", "zweet"], "weep"),
        (
            ["drip ", "Tropft.", "goutte à goutte", "gotea", "pingando", "gocciola", "druppelt"],
            "drip",
        ),
        (["stream", "läuft", "coule", "chorro", "jato", "getto", "straal"], "stream"),
    ],
)
def test_words_of_seven_languages(cells: list[str], word: str) -> None:
    got = read_words(pd.Series(cells))
    assert set(got.codes) == {WORD_SCALE.index(word)}
    assert got.unknown.empty


def test_words_not_understood_are_handed_back() -> None:
    cells = pd.Series(
        ["drip", None, "no longer dripping", "", "5 dpm", "5 dpm"], index=list("abcdef"), name="v"
    )
    got = read_words(cells)
    assert got.codes.index.tolist() == list("abcdef")
    assert got.codes.notna().tolist() == [True, *[False] * 5]
    assert got.unknown.to_dict() == {"5 dpm": 2, "no longer dripping": 1}
    assert read_words(pd.Series([], dtype=object)).codes.empty


def test_no_word_stands_twice() -> None:
    import tomllib
    from importlib.resources import files

    lists = tomllib.loads((files("seallife.leakage") / "words.toml").read_text("utf-8"))
    assert tuple(lists) == WORD_SCALE
    assert sum(map(len, lists.values())) == len(_words())
