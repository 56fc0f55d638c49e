"""Spares and the scorecard as lines for a terminal.

In: `Study`, `Scorecard`. Out: text. Next: `seallife.cli`.
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import pandas as pd

from seallife.report.format import count, interval, level_text
from seallife.report.sparestables import money, orders_in_words, whole

if TYPE_CHECKING:
    from seallife.scorecard import Scorecard
    from seallife.study import Study

__all__ = ["scorecard_text", "spares_text"]

_SHOWN = 20
_WIDTH = 96


def spares_text(study: Study) -> str:
    """What to order, line by line, and what the year ahead needs."""
    spares = study.spares
    if not spares.can_forecast:
        return "No seal has failed on record, or none is in service: nothing can be forecast."
    lines = []
    if len(spares.items):
        lines += [orders_in_words(study), "", *_items(study)]
    else:
        lines.append("No stock was given (table stores): seals needed are told without orders.")
    whole_fleet = spares.demand.table[spares.demand.table["by"] == "all"]
    lines += ["", "Seals needed, whole fleet:"]
    for row in whole_fleet.to_dict("records"):
        lines.append(
            f"  {row['months']:>3} months  {row['need']:6,.0f}  "
            f"({level_text(spares.demand.level)}: {row['low']:,.0f} to {row['high']:,.0f}), "
            f"of them {row['failed']:,.0f} failures; steady rate {row['constant_rate']:,.0f}"
        )
    if len(spares.items):
        year = spares.budget.table.iloc[0]
        spend = f"{whole(year['spend_low'])} to {whole(year['spend_high'])}"
        cost = f"Cost of the first twelve months: {money(study, year['spend'])} ({spend})."
        lines.append(f"{cost} {year['message']}".strip())
    return "\n".join(lines)


def _items(study: Study) -> list[str]:
    """Stock items with an order due, each with its reason."""
    sheet = study.spares.sheet
    rows = sheet[sheet["action"].isin(["order now", "cannot tell yet"])]
    lines = []
    for row in rows.head(_SHOWN).to_dict("records"):
        order = f"order {row['order']:,.0f} now" if row["action"] == "order now" else "cannot tell"
        lines.append(f"{row['pool']:<10} {order:<14} {row['description']}")
        why = " ".join(t for t in (row["why"], row["notes"]) if t)
        lines += textwrap.wrap(why, _WIDTH, initial_indent=" " * 11, subsequent_indent=" " * 11)
    left = len(rows) - _SHOWN
    if left > 0:
        lines.append(f"... and {count(left, 'item')} more.")
    later = sheet[sheet["action"] == "order later"]
    if len(later):
        first = later.iloc[0]
        day = pd.Timestamp(first["order_by"])
        lines.append(
            f"{count(len(later), 'item')} can wait; the next order is due {day:%Y-%m-%d} "
            f"(item {first['pool']})."
        )
    return lines


def scorecard_text(card: Scorecard) -> str:
    """How forecasts came out, one block a kind and horizon."""
    lines = [f"{card.method.capitalize()}; {level_text(card.level)} ranges."]
    kinds = {"all": "whole fleet", "site": "sites", "service_class": "classes", "pool": "items"}
    for row in card.table.to_dict("records"):
        name = f"{row['kind']}, {kinds.get(row['by'], row['by'])}, {row['months']} months ahead"
        lines += [
            "",
            f"{name} ({count(row['forecasts'], 'forecast')})",
            f"  in range: {row['inside']:.0f}, due {row['inside_due']:.0f}; {row['ranges']}",
            f"  happened over foretold: "
            f"{interval(row['ratio'], row['ratio_low'], row['ratio_high'], decimals=2)} "
            f"({row['leaning']})",
            f"  {row['verdict']}; against the constant rate: {row['verdict_rate']}",
        ]
    lines.append("")
    for row in card.chances.to_dict("records"):
        lines.append(f"Seals in service, {row['months']} months ahead: {row['message']}")
    skipped = card.origins[card.origins["status"] != "ok"]
    if len(skipped):
        told = "; ".join(
            f"{day:%Y-%m-%d}, {months} months: {status}"
            for day, months, status in zip(
                skipped["origin"], skipped["months"], skipped["status"], strict=True
            )
        )
        lines.append(f"Not judged: {told}.")
    return "\n".join(lines)
