"""Small panels: their grid, heads, counts and foot."""

from __future__ import annotations

import pytest

from seallife.errors import InputError
from seallife.figures.panels import at_risk_row, chosen, foot, grid, head, place_of


@pytest.mark.parametrize(
    ("count", "columns", "rows"), [(1, 3, 1), (10, 3, 4), (4, 2, 2), (0, 3, 1)]
)
def test_panels_have_the_height_asked_for(count: int, columns: int, rows: int) -> None:
    spots, height, margin = grid(count, columns, 150, 3, between=70)
    inner = height - margin["t"] - margin["b"]
    assert inner == rows * 150 + (rows - 1) * 70
    assert len(spots) == count
    for _, _, y in spots:
        assert (y[1] - y[0]) * inner == pytest.approx(150)
    assert grid(count, columns, 150, 4)[2]["b"] > margin["b"]


def test_columns_and_classes_that_are_not_there_are_refused() -> None:
    with pytest.raises(InputError, match="columns"):
        grid(3, 0, 150, 1)
    with pytest.raises(InputError, match="no class 'c'"):
        chosen(["a", "b"], ["b", "c"])
    assert chosen(["a", "b"], ["b"]) == [1]
    assert chosen(["a", "b"], None) == [0, 1]


def test_head_counts_and_foot() -> None:
    assert place_of("2") == {"xref": "x2 domain", "yref": "y2 domain"}
    note = head({"n": 1, "failures": 1200}, "A", place_of(""))
    assert note["text"] == "<b>A</b><br>1 life, 1,200 failures"
    row = at_risk_row([0.0, 0.5], [1000, 3], place_of(""))
    assert [(n["x"], n["text"]) for n in row] == [(0.0, "1,000"), (0.5, "3")]
    assert foot(["a", "b"])["text"] == "a<br>b"
