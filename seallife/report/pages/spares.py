"""Spares: what to order, how many seals the years ahead will need, and how such forecasts fared.

In: `Study`. Out: blocks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.figures.demand import demand_figure
from seallife.figures.scorecards import calibration_figure, scorecard_figure
from seallife.figures.stockroom import stock_figure
from seallife.report.exhibit import Block, Exhibit, Points, Text
from seallife.report.format import count, interval, level_text, number
from seallife.report.sparestables import (
    budget_by_year,
    lain_too_long,
    orders_in_words,
    storeroom_rows,
)
from seallife.scorecard.ours import our_scorecard
from seallife.spares.stock import COMMON_CAUSE

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["build"]

_HORIZONS = (12,)
_ORIGINS = 7
_CARE = (
    COMMON_CAUSE,
    "Forecasts say what happens if nothing is changed: rates are those of the whole record, and "
    "renewals with other work go on as in the last three years.",
    "A shelf that was enough for last year says little about the next: see the months ahead "
    "against the steady rate.",
    "That one item fits another pump must be confirmed on drawings; nothing here infers it.",
)


def build(study: Study) -> tuple[Block, ...]:
    """What to order, and what will the years ahead need?"""
    if not study.spares.can_forecast:
        return (
            Text("No seal has failed on record, or none is in service.", strong=True),
            Text("Without failures nothing says how many seals will be needed."),
        )
    blocks: list[Block] = []
    if len(study.spares.items):
        blocks += [
            Text(orders_in_words(study), strong=True),
            storeroom_rows(study),
            Exhibit(
                "stock-against-need",
                "What is there against what is needed",
                "Bar: seals needed before one ordered today can come, low, middle and high. Full "
                "mark: in the store; open mark: with what is on order. Items to be ordered first "
                "on top; all are in the file.",
                study.spares.advice.table,
                stock_figure(study.spares.advice),
                alt="Seals needed over the lead time against stock, by item.",
                rests_on=("lives", "positions"),
            ),
        ]
    else:
        blocks.append(
            Text(
                "No stock was given. With a table stores (item, number on hand, lead time) this "
                "page says what to order by when."
            )
        )
    blocks += [_demand(study)]
    if len(study.spares.items):
        shelf = lain_too_long(study)
        blocks += [budget_by_year(study), *([shelf] if shelf is not None else [])]
    return (*blocks, *_scorecard(study), Points("Read with care", _CARE))


def _demand(study: Study) -> Exhibit:
    """Months ahead, whole fleet."""
    demand = study.spares.demand
    whole = demand.table[demand.table["by"] == "all"].set_index("months")
    told = []
    for months, row in whole.iterrows():
        if months in (3, 12, 24, 36):
            told.append(
                f"{months} months: {row['need']:,.0f} ({row['low']:,.0f}–{row['high']:,.0f}), "
                f"at the steady rate {row['constant_rate']:,.0f}"
            )
    years = study.spares.ahead.years_alike
    common = (
        f"Years on record differ by some {100 / np.sqrt(years):.0f} % beyond chance, which is in "
        "the ranges."
        if np.isfinite(years)
        else "Years on record differ no more than by chance."
    )
    return Exhibit(
        "demand",
        "Seals needed in the months ahead",
        f"{'; '.join(told)}. Bars: expected seals by reason; whiskers: "
        f"{level_text(demand.level)} range of each month's count. Steady rate: long-run need of "
        "these classes at any ages; where the fleet was renewed at one time the months differ "
        f"from it for years. {common} Method: {demand.method}. By item: see the file.",
        demand.table,
        demand_figure(demand, past=_past_months(study)),
        alt="Expected seals needed in each of the months ahead with ranges.",
        rests_on=("lives", "positions"),
    )


def _past_months(study: Study) -> pd.DataFrame:
    """Seals that came out in each of the last 36 months."""
    monthly = study.history.monthly
    rows = monthly[monthly["by"] == "all"]
    return pd.DataFrame({"month": rows["month"], "needed": rows["removals"]}).tail(36)


def _scorecard(study: Study) -> tuple[Block, ...]:
    """How such forecasts would have fared in earlier years."""
    try:
        card = our_scorecard(study, horizons=_HORIZONS, most=_ORIGINS)
    except InputError as err:
        return (Text(f"How such forecasts would have fared cannot be told yet: {err}."),)
    points = []
    for row in card.table.to_dict("records"):
        if row["by"] not in ("all", "pool") and row["kind"] != "failures":
            continue
        by = {"all": "whole fleet", "site": "by site", "service_class": "by class"}
        name = by.get(row["by"], "by stock item")
        points.append(
            f"{str(row['kind']).capitalize()}, {name}, {count(row['forecasts'], 'forecast')}: "
            f"{row['inside']:,.0f} within the {level_text(card.level)} range "
            f"({number(row['inside_due'], 0)} due); happened over foretold "
            f"{interval(row['ratio'], row['ratio_low'], row['ratio_high'], decimals=2)}; "
            f"{row['verdict']}; against the constant rate: {row['verdict_rate']}."
        )
    words = " ".join(card.chances["message"].astype(str))
    return (
        Points("How such forecasts would have fared, made each New Year's Eve", tuple(points)),
        Exhibit(
            "scorecard",
            "Forecasts of earlier years against what happened",
            "Each forecast made from what was on record that evening, twelve months ahead: range "
            f"({level_text(card.level)}) and what then happened. A renewal of many seals at once, "
            "a bad lot or a poor crew is in no forecast. "
            f"Method: {card.method}.",
            card.forecasts,
            scorecard_figure(card, by="all", kind="failures", months=_HORIZONS[0]),
            alt="Ranges of yearly forecasts with the outcome.",
            rests_on=("lives", "removals"),
        ),
        Exhibit(
            "calibration",
            "Chances of seals against what happened",
            f"Seals in service each evening by their chance to fail in twelve months. {words}",
            card.bands,
            calibration_figure(card, months=_HORIZONS[0]),
            alt="Share that failed against the chance foretold.",
            rests_on=("lives",),
        ),
    )
