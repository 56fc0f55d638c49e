"""What was read at which seal, and what of it can be used."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from builders import fleet_of, seal_order
from hypothesis import given
from hypothesis import strategies as st

from seallife.intake import Fleet, read_fleet
from seallife.leakage.readings import Readings
from seallife.leakage.units import QUANTITIES, conversion, read_units
from seallife.study import Study, run_study
from seallife.trace import trace_record

TRUTH = Path(__file__).parents[1] / "data_demo" / "truth"
PUMP = {"tag": "P-101A", "seal_end": "DE"}


def _read(rows: list[dict[str, object]], **tables: object) -> Readings:
    positions = tables.pop("positions", [PUMP])
    fleet: Fleet = fleet_of(positions, leak_readings=rows, **tables)  # type: ignore[arg-type]
    got = run_study(fleet).readings
    gone = got.findings.loc[got.findings["set_aside"], "record_id"]
    assert Counter([*got.table["record_id"], *gone]) == Counter(
        f"leak_readings:t.csv:{i + 2}" for i in range(len(rows))
    )
    return got


def _at(day: str, value: float | None = 10.0, **more: object) -> dict[str, object]:
    row = {"tag": "P-101A", "date": day, "unit": "ppm", "value": value, "method": "sniffer"}
    return row | more


def _checks(got: Readings) -> dict[str, list[int]]:
    out: dict[str, list[int]] = {}
    for record, check in zip(got.findings["record_id"], got.findings["check"], strict=True):
        out.setdefault(check, []).append(int(record.split(":")[-1]) if ":" in record else 0)
    return out


def test_bounds_are_those_of_the_instrument_less_the_background() -> None:
    got = _read(
        [
            _at("2020-01-01", 12.0, background=2.0),
            _at("2020-02-01", 5.0, background=2.0, flag="below detection"),
            _at("2020-03-01", 10_000.0, background=4.0, flag="above scale"),
            _at("2020-04-01", 1.5, background=6.0),
            _at("2020-05-01", 0.02, unit="vol %"),
        ]
    )
    bounds = got.table[["low", "high"]].values.tolist()
    assert bounds == [[10, 10], [0, 5], [9_996, np.inf], [0, 6], [200, 200]]
    assert got.table["kind"].tolist() == ["exact", "below", "above", "below", "exact"]
    assert got.detection[["method", "limit"]].values.tolist() == [["sniffer", 5.0]]
    assert _checks(got) == {"reading off the scale": [4], "reading within the background": [5]}


def test_the_background_may_stay_in() -> None:
    got = _read([_at("2020-01-01", 12.0, background=2.0)], rules={"subtract_background": False})
    assert got.table["low"].tolist() == [12.0]


def test_readings_that_cannot_be_used_are_set_aside_with_a_reason() -> None:
    got = _read(
        [
            _at("2020-01-01", 12.0),
            _at("2020-01-01", 12.0),
            _at("2020-01-02", None),
            _at("", 10.0),
            _at("2020-01-03", 10.0, unit="furlong"),
            _at("2020-01-04", -3.0),
            _at("2020-01-05", 9.0, tag="P-999"),
            _at("2031-01-05", 9.0),
            _at("2020-01-07", None, word="odd"),
        ]
    )
    assert _checks(got) == {
        "duplicate row": [3],
        "reading without value": [4],
        "no usable date": [5],
        "unit not known": [6],
        "negative reading": [7],
        "not in register": [8],
        "reading after the end of data": [9],
        "word for leakage not understood": [10],
    }
    assert got.table["doubt"].tolist() == ["", "reading after the end of data"]


def test_flags_without_a_figure_still_tell() -> None:
    rows = [
        _at("2020-01-01", 5.0, flag="below detection"),
        _at("2020-02-01", None, flag="below detection"),
        _at("2020-03-01", None, flag="above scale", background=2.0),
    ]
    got = _read(rows)
    assert got.table["high"].tolist() == [5.0, 5.0, np.inf]
    assert got.table["low"].tolist() == [0.0, 0.0, 0.0]
    assert got.table["doubt"].tolist() == ["", "", "off a scale that is not known"]


def test_signs_beside_figures_are_flags(tmp_path: Path) -> None:
    (tmp_path / "fleet.toml").write_text(
        '[fleet]\nname = "Signs"\ndata_end = 2025-12-31\n'
        '[[sources]]\ntable = "positions"\nfiles = ["p.csv"]\n'
        '[[sources]]\ntable = "leak_readings"\nfiles = ["l.csv"]\n'
        '[[sources]]\ntable = "removals"\nfiles = ["r.csv"]\n'
    )
    (tmp_path / "p.csv").write_text("tag,commissioned\nP-1,2016-01-01\n")
    (tmp_path / "r.csv").write_text("tag,date,reason\nP-1,2018-01-01,seal failed\n")
    lines = "P-1,2020-01-01,>10000,ppm\nP-1,2020-02-01,<5,ppm\nP-1,2020-03-01,12,ppm\n"
    (tmp_path / "l.csv").write_text("tag,date,value,unit\n" + lines)
    got = run_study(read_fleet(tmp_path)).readings.table
    assert got["kind"].tolist() == ["above", "below", "exact"]
    assert got["low"].tolist() == [10_000.0, 0.0, 12.0]


def test_a_pump_with_two_seals_needs_the_end() -> None:
    two = [PUMP, PUMP | {"seal_end": "NDE"}]
    got = _read([_at("2020-01-01"), _at("2020-01-01", seal_end="NDE")], positions=two)
    assert _checks(got) == {"end of pump not named": [2]}
    # one of the two leaks: no limit may lose the reading
    assert got.table["position_id"].tolist() == ["P-101A (end not named)", "P-101A-NDE"]
    assert got.table["doubt"].tolist() == ["end of pump not named", ""]
    assert len(got.for_trends) == 1


def test_one_day_two_seals() -> None:
    orders = [seal_order("P-101A", "2020-03-10"), seal_order("P-101A", "2021-03-10")]
    got = _read(
        [
            _at("2020-03-09", 300.0),
            _at("2020-03-10", 20.0),
            _at("2020-03-10", 900.0),
            _at("2020-03-11", 22.0),
            _at("2021-03-10", 30.0),
            _at("2021-03-10 09:00", 25.0),
        ],
        work_orders=orders,
    )
    lives = got.table.groupby("life_id")["value"].agg(list)
    assert lives.tolist()[0] == [300.0, 900.0]
    assert lives.tolist()[1] == [20.0, 22.0, 30.0]  # the first by the clock is of the old seal
    assert lives.tolist()[2] == [25.0]
    assert _checks(got)["read while the seal was changed"] == [3, 4, 6, 7]


def test_a_reading_while_the_pump_is_out_is_of_the_seal_that_came_out() -> None:
    order = seal_order("P-101A", "2020-03-10") | {"work_end": "2020-03-20"}
    got = _read([_at("2020-03-15", 40.0), _at("2020-03-25", 9.0)], work_orders=[order])
    assert got.table["at"].tolist() == ["seal out", "running"]
    assert got.table["to_end_d"].iloc[0] == -5
    assert got.table["life_id"].nunique() == 2


def test_no_seal_no_trend_but_limits_still() -> None:
    early = PUMP | {"commissioned": "2019-01-01"}
    got = _read([_at("2016-01-01", 5_000.0), _at("2020-01-01")], positions=[early])
    assert _checks(got) == {"reading without a seal": [2]}
    assert got.table["segment"].tolist() == [-1, 0]
    assert got.table["low"].tolist() == [5_000.0, 10.0]
    assert len(got.for_trends) == 1


def test_segments_end_with_the_seal_the_instrument_and_a_change_of_the_position() -> None:
    rows = [
        _at("2019-02-01"),
        _at("2019-03-01", instrument_no="B"),
        _at("2019-04-01", method="bag"),
        _at("2019-08-01"),
        _at("2020-04-01"),
    ]
    change = {"position_id": "P-101A-DE", "date": "2019-06-01", "what": "process"}
    orders = [seal_order("P-101A", "2020-01-10")]
    got = _read(rows, changes=[change], work_orders=orders)
    assert got.table["segment"].nunique() == 5


def test_ages_follow_the_seal() -> None:
    pump = PUMP | {"commissioned": "2019-01-01", "duty_share": 0.5}
    got = _read([_at("2019-01-31"), _at("2016-06-01")], positions=[pump])
    assert got.table["age_d"].tolist()[1] == 30.0
    assert got.table["age_h"].tolist()[1] == pytest.approx(30 * 12)


def test_zeros_are_below_detection_unless_both_neighbours_are_high() -> None:
    values = [20.0, 0.0, 30.0, 800.0, 0.0, 900.0, 0.0]
    rows = [_at(f"2020-{m + 1:02d}-01", v) for m, v in enumerate(values)]
    rows.append(_at("2020-09-01", 5.0, flag="below detection"))
    got = _read(rows)
    assert got.table["kind"].tolist()[1] == "below"
    assert got.table["high"].tolist()[1] == 5.0
    assert got.table["doubt"].tolist()[4] == "zero among high readings"
    assert len(got.for_trends) == 7
    assert _checks(got)["zero taken as not detected"] == [3, 8]


def test_units_off_by_powers_of_ten_are_kept_out_of_trends_and_held_against_limits() -> None:
    rows = [_at(f"2020-{1 + i // 28:02d}-{1 + i % 28:02d}", 10.0 + i % 7) for i in range(100)]
    assert not _checks(_read(rows))
    rows[5] |= {"unit": "%"}
    rows[25] |= {"value": 12_000.0}
    rows[35] |= {"value": 10_000.0, "flag": "above scale"}
    got = _read(rows)
    found = _checks(got)
    assert found == {
        "reading off the scale": [37],
        "unit of a reading looks wrong": [7],
        "reading off by a power of ten": [27],
    }
    by = got.table.set_index("record_id")
    odd = by.loc["leak_readings:t.csv:7"]
    assert (odd["low"], odd["high"]) == (15.0, 150_000.0)
    assert by.loc["leak_readings:t.csv:27", "low"] == 12_000.0
    assert len(got.for_trends) == 98


def test_a_ramp_is_no_error_of_units() -> None:
    rows = [_at(f"2020-01-{i + 1:02d}", 10 * 2.2**i) for i in range(9)]
    rows += [_at(f"2020-02-{i + 1:02d}") for i in range(9)]
    assert "reading off by a power of ten" not in _checks(_read(rows))


def test_the_end_of_a_scale_shows_by_repetition() -> None:
    rows = [
        _at(f"2020-{m:02d}-{d:02d}", v)
        for m in range(1, 12)
        for d, v in ((3, 20.0 + m), (9, 500.0))
    ]
    got = _read(rows)
    assert len(_checks(got)["reading at the end of the scale"]) == 11
    assert (got.table["kind"] == "above").sum() == 11


def test_words_keep_their_order_and_get_no_size() -> None:
    rows = [_at("2020-01-01", None, unit="", word="weep"), _at("2020-02-01", None, word="Tropft")]
    got = _read(rows)
    assert got.table["kind"].tolist() == ["word", "word"]
    assert got.table["low"].tolist() == [2.0, 3.0]
    assert got.table["value"].isna().all()
    assert got.for_trends.empty
    hops = trace_record(run_study(fleet_of([PUMP], leak_readings=rows)), "leak_readings:t.csv:2")
    assert hops.loc[hops["what"] == "reading", "text"].str.startswith("weep").all()


@pytest.mark.parametrize(
    ("unit", "measured_in", "of_two"),
    [
        ("ppmv", "ppmv", 2.0),
        ("Vol.-%", "ppmv", 2e4),
        ("vol %", "ppmv", 2e4),
        ("mL/min", "mL/h", 120.0),
        ("drops/min", "drops/min", 2.0),
        ("L/day", "mL/h", 2e3 / 24),
        ("psig", "bar", 2 * 0.0689475729 + 1.01325),
        ("bara", "bar", 2.0),
        ("Nm³/h", "NL/h", 2e3),
    ],
)
def test_units(unit: str, measured_in: str, of_two: float) -> None:
    row = read_units(pd.Series([unit])).iloc[0]
    assert row["measured_in"] == measured_in
    assert 2 * row["factor"] + row["offset"] == pytest.approx(of_two, nan_ok=True)


@given(st.sampled_from([u for _, units in QUANTITIES.values() for u in units]))
def test_no_unit_means_two_things(unit: str) -> None:
    homes = [ours for ours, units in QUANTITIES.values() if unit in units]
    assert len(homes) == 1
    if homes[0] != "bar" and unit != "%":
        assert (
            conversion(unit.upper(), homes[0]).factor == read_units(pd.Series([unit]))["factor"][0]
        )


def test_the_faults_of_the_demo_fleet_are_found(demo_study: Study) -> None:
    table = demo_study.readings.table.set_index("record_id")
    truth = pd.read_csv(TRUTH / "readings.csv").set_index("record")
    for fault, column, word in (
        ("not detected as 0", "kind", "below"),
        ("pegged", "kind", "above"),
        ("unit error", "doubt", "unit in doubt"),
    ):
        planted = truth.index[truth["defect"] == fault]
        assert (table.loc[planted, column] == word).all()
    assert len(table) == len(demo_study.fleet["leak_readings"])
    assert (table["doubt"] != "").sum() == (truth["defect"] == "unit error").sum()
    placed = truth["position_id"].reindex(table.index).dropna()
    assert (table.loc[placed.index, "position_id"] == placed).all()


def test_pegged_readings_belong_to_the_seal_that_came_out(demo_study: Study) -> None:
    table = demo_study.readings.table
    lives = demo_study.lives.table.set_index("life_id")
    pegged = table[table["kind"] == "above"]
    ends = lives.loc[pegged["life_id"], "exit"].to_numpy()
    days = (pegged["date"].to_numpy() - ends) / np.timedelta64(1, "D")
    assert (np.abs(days) <= 20).all()
    assert (lives.loc[pegged["life_id"], "end"] == "failed").mean() > 0.85


def test_top_ups_become_a_loss_per_running_hour() -> None:
    pump = PUMP | {"duty_share": 0.5}
    filled = [("2020-01-01", 900.0), ("2020-01-21", 480.0), ("2020-02-10", 240.0)]
    rows = [_at(d, v, unit="mL", method="pot") for d, v in filled]
    got = _read(rows, positions=[pump])
    assert got.table["kind"].tolist() == ["reference", "exact", "exact"]
    assert got.table["measured_in"].tolist() == ["mL/h"] * 3
    assert got.table["low"].tolist()[1:] == pytest.approx([2.0, 1.0])
    assert len(got.for_trends) == 2


def test_a_renewal_is_a_new_reference() -> None:
    rows = [_at(f"2020-0{m}-01", 100.0, unit="L", method="pot") for m in (1, 2, 4, 5)]
    got = _read(rows, work_orders=[seal_order("P-101A", "2020-03-01")])
    assert got.table["kind"].tolist() == ["reference", "exact", "reference", "exact"]


def test_levels_fall_by_what_is_lost_and_rise_when_filled() -> None:
    pump = PUMP | {"duty_share": 1.0}
    levels = [
        ("2020-01-01", 200.0),
        ("2020-01-11", 152.0),
        ("2020-01-21", 210.0),
        ("2020-01-31", 209.5),
    ]
    rows = [_at(d, v, unit="mm", method="pot", pot_area=500.0) for d, v in levels]
    got = _read(rows, positions=[pump])
    assert got.table["kind"].tolist() == ["reference", "exact", "reference", "below"]
    assert got.table["low"].iloc[1] == pytest.approx(48 * 500 / 10 / 240)
    assert got.table["high"].iloc[3] == pytest.approx(50 / 240)
    bare = _read([_at(d, v, unit="mm", method="pot") for d, v in levels])
    assert set(bare.table["kind"]) == {"reference"}
    assert len(_checks(bare)["level without the pot's area"]) == 4


def test_a_cooling_vessel_is_no_leak() -> None:
    """10 L at 20 bar: 1 bar at equal temperature is 0.53 L; 10 K cooler fall 0.68 bar by itself."""
    rows = [
        _at(d, p, unit="bara", method="gauge", gas_volume_l=10.0, gas_temp_c=t)
        for d, p, t in (
            ("2020-01-01", 20.0, 20.0),
            ("2020-01-21", 19.0, 20.0),
            ("2020-01-31", 19.0 * 283.15 / 293.15, 10.0),
        )
    ]
    got = _read(rows)
    assert got.table["kind"].tolist() == ["reference", "exact", "below"]
    assert got.table["low"].iloc[1] == pytest.approx(526.3 / 480, rel=1e-3)
    bare = _read([r | {"gas_volume_l": None} for r in rows])
    assert len(_checks(bare)["pressure without gas volume or temperature"]) == 3
