from __future__ import annotations

import re

import pytest

from seallife.intake.numbers import convert_units
from seallife.schema import (
    DAYS_PER_YEAR,
    ENDS,
    HOURS_PER_YEAR,
    REASONS,
    TABLES,
    Column,
    column_table,
)

COLUMNS = [(t.name, c) for t in TABLES.values() for c in t.columns]
_UNIT_SUFFIX = {"_c": "degC", "_kpa": "kPa", "_h": "h", "_d": "d", "_mm": "mm", "_rpm": "rpm"}


def test_year() -> None:
    assert HOURS_PER_YEAR == DAYS_PER_YEAR * 24 == 8766


def test_every_name_is_plain_and_stands_once() -> None:
    for table in TABLES.values():
        assert len(set(table.names)) == len(table.names)
        assert "record_id" not in table.names
        assert all(re.fullmatch(r"[a-z][a-z_]*", n) for n in (table.name, *table.names))


@pytest.mark.parametrize(("table", "column"), COLUMNS, ids=lambda x: getattr(x, "name", x))
def test_every_column_is_complete(table: str, column: Column) -> None:
    assert column.meaning
    assert TABLES[table][column.name] is column
    if column.kind != "number":
        assert (column.unit, column.low, column.high) == ("", None, None)
    if column.kind != "code":
        assert column.choices == ()
    if column.low is not None and column.high is not None:
        assert column.low < column.high


@pytest.mark.parametrize(("table", "column"), COLUMNS, ids=lambda x: getattr(x, "name", x))
def test_a_unit_in_the_name_is_the_unit_and_can_be_read(table: str, column: Column) -> None:
    import pandas as pd

    for suffix, unit in _UNIT_SUFFIX.items():
        if column.name.endswith(suffix) and column.kind == "number":
            assert column.unit == unit
    if column.unit not in {"", "see unit"}:
        assert convert_units(pd.Series([2.0]), column.unit, column.unit).tolist() == [2.0]


def test_synonyms_lead_to_one_column_of_a_table() -> None:
    for table in TABLES.values():
        words = [
            re.sub(r"\W", "", w).casefold()
            for c in table.columns
            for w in {re.sub(r"\W", "", s).casefold() for s in (c.name, *c.synonyms)}
        ]
        assert len(set(words)) == len(words), table.name


def test_reasons_lead_to_known_ends() -> None:
    assert {end for end, _ in REASONS.values()} <= {*ENDS, "unknown"}
    assert TABLES["removals"]["reason"].choices == tuple(REASONS)


def test_the_minimum_of_a_fleet() -> None:
    assert [t.name for t in TABLES.values() if t.need == "required"] == ["positions"]


def test_an_unknown_column_is_a_key_error() -> None:
    with pytest.raises(KeyError, match="'nonsense'"):
        TABLES["positions"]["nonsense"]


def test_the_printed_table_holds_every_column() -> None:
    rows = column_table()
    assert [(r["table"], r["column"]) for r in rows] == [(t, c.name) for t, c in COLUMNS]
    assert all(set(r) == set(rows[0]) for r in rows)
