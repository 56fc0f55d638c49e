from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seallife.errors import InputError
from seallife.intake.numbers import convert_units, may_be_gauge, parse_numbers


def _one(cell: str, decimal: str = ".") -> float:
    values, bad = parse_numbers(pd.Series([cell], dtype=object), decimal)
    assert bad.iloc[0] == (math.isnan(values.iloc[0]) and cell.strip() not in {"", "-", "n/a"})
    return float(values.iloc[0])


@pytest.mark.parametrize(
    ("cell", "decimal", "value"),
    [
        ("5.6", ".", 5.6),
        ("5,6", ",", 5.6),
        ("1,234.5", ".", 1234.5),
        ("1.234,5", ",", 1234.5),
        ("1 234 567", ".", 1234567),
        ("1\u00a0234,5", ",", 1234.5),
        ("1'234.5", ".", 1234.5),
        ("-3", ".", -3),
        ("\u22123", ".", -3),
        ("12.50-", ".", -12.5),
        ("+7", ".", 7),
        (".5", ".", 0.5),
        ("5.", ".", 5),
        ("1e-3", ".", 0.001),
        ("1,5E+3", ",", 1500),
        ("2 1/8", ".", 2.125),
        ('2-1/8"', ".", 2.125),
        ("3/4", ".", 0.75),
        (" 8 ", ".", 8),
    ],
)
def test_numbers_as_sites_write_them(cell: str, decimal: str, value: float) -> None:
    assert _one(cell, decimal) == value


@pytest.mark.parametrize(
    ("cell", "decimal"),
    [
        ("5,6", "."),
        ("0,850", "."),  # a comma for the point, not 850
        ("0.850", ","),
        ("12345,678", "."),
        ("1,23,456", "."),
        ("1,234'567", "."),
        ("1.2.3", "."),
        ("12 34", "."),
        ("about 3", "."),
        ("<5", "."),
        ("85%", "."),
        ("12 bar", "."),
        ("inf", "."),
        ("1e999", "."),
        ("0x10", "."),
        ("1_000", "."),
        ("--5", "."),
        ("-5-", "."),
        ("1/0", "."),
        (".", "."),
        ("True", "."),
    ],
)
def test_a_text_that_is_no_number_is_never_guessed(cell: str, decimal: str) -> None:
    assert math.isnan(_one(cell, decimal))


@pytest.mark.parametrize("cell", ["", " ", "-", "n/a"])
def test_empty_cells_are_no_fault(cell: str) -> None:
    values, bad = parse_numbers(pd.Series([cell]))
    assert values.isna().all()
    assert not bad.any()


def test_the_index_is_kept() -> None:
    values, bad = parse_numbers(pd.Series(["1", "x", "1"], index=[5, 7, 9]))
    assert values.index.tolist() == bad.index.tolist() == [5, 7, 9]
    assert bad.tolist() == [False, True, False]


@settings(deadline=None)
@given(st.lists(st.floats(-1e12, 1e12, allow_nan=False), max_size=5), st.sampled_from([".", ","]))
def test_any_number_comes_back(numbers: list[float], decimal: str) -> None:
    other = {".": ",", ",": "."}[decimal]
    swap = str.maketrans({".": decimal, ",": other})
    for form in ("{!r}", "{:.3f}", "{:,.3f}", "{:.6e}"):
        shown = [form.format(x) for x in numbers]
        values, bad = parse_numbers(
            pd.Series([s.translate(swap) for s in shown], dtype=object), decimal
        )
        assert values.tolist() == [float(s.replace(",", "")) for s in shown]
        assert not bad.any()


# --- units -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "unit", "target", "expected"),
    [
        (350.0, "degF", "degC", 176.6667),
        (350.0, "°F", "degC", 176.6667),
        (373.15, "K", "degC", 100.0),
        (60.0, "deg C", "degC", 60.0),
        (1.0, "bar", "kPa", 100.0),
        (1.0, "bara", "kPa", 100.0),
        (1.0, "barg", "kPa", 201.325),
        (1.0, "bar(g)", "kPa", 201.325),
        (-0.3, "Bar g", "kPa", 71.325),
        (100.0, "PSI", "kPa", 689.4757),
        (0.0, "psig", "kPa", 101.325),
        (100.0, "psia", "kPa", 689.4757),
        (1.0, "MPa", "kPa", 1000.0),
        (1.0, "kg/cm²", "kPa", 98.0665),
        (1.0, "kg/cm2g", "kPa", 98.0665 + 101.325),
        (500.0, "mbar", "kPa", 50.0),
        (2.125, "in", "mm", 53.975),
        (2.0, '"', "mm", 50.8),
        (50.0, "Hz", "rpm", 3000.0),
        (2.0, "d", "h", 48.0),
        (3.0, "weeks", "d", 21.0),
        (85.0, "%", "1", 0.85),
        (0.02, "1", "%", 2.0),
        (3.0, "mm2/s", "cSt", 3.0),
    ],
)
def test_units(value: float, unit: str, target: str, expected: float) -> None:
    got = convert_units(pd.Series([value, np.nan]), unit, target)
    assert got.iloc[0] == pytest.approx(expected, rel=1e-6)
    assert math.isnan(got.iloc[1])


@pytest.mark.parametrize(
    ("unit", "target", "sentence"),
    [
        ("furlong", "mm", "the unit 'furlong' is not known"),
        ("", "mm", "the unit '' is not known"),
        ("degF", "kPa", "the unit 'degF' cannot be turned into kPa"),
        ("barg", "mm", "the unit 'barg' cannot be turned into mm"),
    ],
)
def test_a_wrong_unit_is_refused_with_its_place(unit: str, target: str, sentence: str) -> None:
    with pytest.raises(InputError) as err:
        convert_units(pd.Series([1.0]), unit, target, where="f.csv, column 'T'")
    assert str(err.value).startswith(f"f.csv, column 'T': {sentence}")


@pytest.mark.parametrize("unit", ["bar", "psi", "MPa", "kg/cm2", "mbar"])
def test_a_pressure_unit_without_its_zero_is_ambiguous(unit: str) -> None:
    assert may_be_gauge(unit)
    assert not may_be_gauge(f"{unit}g")
    assert not may_be_gauge(f"{unit}a")


def test_temperatures_are_never_gauge() -> None:
    assert not any(map(may_be_gauge, ["degC", "mm", "%", "", "atm"]))
