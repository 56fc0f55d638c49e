"""Pictures of the records: bars add up, positions at risk are the exposure."""

from __future__ import annotations

import numpy as np
import pandas as pd
from studies import two_sites

from seallife.figures.records import at_risk_figure, waterfall_figure

STEPS = pd.DataFrame(
    [
        ("records read", "total", 1000),
        ("other work", "loss", 400),
        ("no date", "loss", 3),
        ("not in register", "loss", 2),
        ("records of seal removals", "total", 595),
        ("second seal in one order", "gain", 10),
        ("joined to another record", "loss", 0),
        ("removals", "total", 605),
        ("failures", "total", 605),
    ],
    columns=["step", "kind", "count"],
)


def test_waterfall_bars_start_where_the_last_ended() -> None:
    bars = waterfall_figure(STEPS).data[0]
    names = [row[0] for row in bars.customdata]
    assert names == [
        "records read", "other work", "2 smaller steps", "records of seal removals",
        "second seal in one order", "removals", "failures",
    ]  # fmt: skip
    assert list(bars.x) == [1000, 400, 5, 595, 10, 605, 605]
    assert list(bars.base) == [0, 600, 595, 0, 595, 0, 0]


def test_waterfall_labels_say_the_count_and_its_sign() -> None:
    texts = [a.text for a in waterfall_figure(STEPS).layout.annotations]
    assert texts == [
        "<b>1,000</b>", "−400", "−5", "<b>595</b>", "+10", "<b>605</b>", "<b>605</b>",
    ]  # fmt: skip


def test_waterfall_names_every_step_in_full() -> None:
    names = waterfall_figure(STEPS).layout.yaxis.ticktext
    assert "<b>records of seal removals</b>" in names
    assert "second seal in one order" in names


def test_waterfall_tells_losses_from_totals_without_colour() -> None:
    marker = waterfall_figure(STEPS).data[0].marker
    assert list(marker.pattern.shape) == ["", "/", "/", "", "/", "", ""]


def test_waterfall_of_nothing_is_drawn() -> None:
    empty = STEPS.assign(count=0)
    assert list(waterfall_figure(empty).data[0].x) == [0, 0, 0, 0]


def test_at_risk_counts_positions_and_shows_the_gap() -> None:
    monthly = two_sites().history.monthly
    figure = at_risk_figure(monthly)
    by_name = {t.name: t for t in figure.data}
    assert set(by_name) == {"Site", "Other"}
    other = dict(zip(by_name["Other"].x, by_name["Other"].y, strict=True))
    assert other["2020-04-01"] == 0
    assert np.isclose(other["2021-04-01"], 12)
    assert by_name["Site"].line.dash != by_name["Other"].line.dash
    assert figure.layout.yaxis.title.text == "seal positions at risk"
