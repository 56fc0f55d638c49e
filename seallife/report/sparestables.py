"""Tables of the page on spares, as a reader wants them.

In: `Study`. Out: exhibits. Next: `seallife.report.pages`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from seallife.report.exhibit import Exhibit
from seallife.report.format import (
    CANNOT_TELL,
    count,
    date_text,
    level_text,
    share,
)
from seallife.spares.shelf import QUIET

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = [
    "NONE",
    "budget_by_year",
    "lain_too_long",
    "money",
    "orders_in_words",
    "storeroom_rows",
    "whole",
]

_SHOWN = 40
_SOON_D = 60  # orders due within so many days stand on the page
NONE = "–"


def money(study: Study, value: float) -> str:
    """Amount with its currency."""
    if not np.isfinite(value):
        return CANNOT_TELL
    return f"{value:,.0f} {study.settings.costs.currency}".strip()


def whole(value: float) -> str:
    """Number of pieces."""
    return f"{value:,.0f}" if np.isfinite(value) else CANNOT_TELL


def orders_in_words(study: Study) -> str:
    """What to order now, in one or two sentences."""
    sheet = study.spares.sheet
    now = sheet[sheet["action"] == "order now"]
    service = study.settings.costs.service
    if not len(now):
        told = "No order is due today"
    else:
        cost = money(study, float(now["order_cost"].sum()))
        blank = int(now["order_cost"].isna().sum())
        told = (
            f"Order now: {count(now['order'].sum(), 'seal')} of "
            f"{count(len(now), 'stock item')}, {cost}"
        )
        told += f" and {count(blank, 'item')} without a price" if blank else ""
    later = int(((sheet["action"] == "order later") & _due_soon(study)).sum())
    silent = int((sheet["action"] == "cannot tell yet").sum())
    told += f"; {count(later, 'more is', 'more are')} due within {_SOON_D} days" if later else ""
    told += f". Of {count(silent, 'item')} it cannot be told" if silent else ""
    return f"{told}. Asked: no shortage in {share(service)} of futures until a new one can come."


def _due_soon(study: Study) -> pd.Series:
    """Which items of the sheet must be ordered within the time that the page looks ahead."""
    until = study.spares.ahead.now + pd.Timedelta(days=_SOON_D)
    return study.spares.sheet["order_by"] < until


def storeroom_rows(study: Study) -> Exhibit:
    """One line a stock item: what it needs, what to order, by when, why."""
    spares = study.spares
    sheet = spares.sheet
    due = _due_soon(study) | sheet["order_by"].isna()
    rows = sheet[(sheet["action"] != "enough") & due].head(_SHOWN)
    shown = pd.DataFrame(
        {
            "Item": rows["pool"].astype(str),
            "What": rows["description"].astype(str),
            "Seals": [f"{n:,.0f}" for n in rows["positions"]],
            "In store": [whole(v) for v in rows["on_hand"]],
            "On order": [whole(v) for v in rows["on_order"]],
            "Need": [
                f"{m:,.0f} ({a:,.0f}–{b:,.0f})" if np.isfinite(m) else CANNOT_TELL
                for m, a, b in zip(rows["need"], rows["need_low"], rows["need_high"], strict=True)
            ],
            "Enough": [whole(v) for v in rows["enough"]],
            "Order": [f"{v:,.0f}" if v > 0 else NONE for v in rows["order"]],
            "By": [
                NONE if pd.isna(d) else "today" if d <= spares.ahead.now else date_text(d)
                for d in rows["order_by"]
            ],
            "Why": [
                " ".join(t for t in (w, n) if t)
                for w, n in zip(rows["why"], rows["notes"], strict=True)
            ],
        }
    )
    left = len(sheet) - len(rows)
    advice = spares.advice
    return Exhibit(
        "storeroom",
        "What to order, by when and why",
        "Need: seals that the store must find before one ordered today can come (middle and "
        f"{level_text(advice.level)} range), repaired ones counted as back. Enough: so many that "
        f"it does not run out until then in {share(advice.share)} of futures; what is on order "
        "counts as there. By: last day "
        "on which that still holds. Positions belong to an item as the register says; that a seal "
        "fits elsewhere is never inferred. "
        f"{count(left, 'item')} with nothing due soon {'is' if left == 1 else 'are'} in the file "
        "and the workbook, with levels, service and costs. Method: "
        f"{advice.method}, at {spares.ahead.laws.draws} sets of laws that the records allow.",
        sheet,
        shown=shown,
        rests_on=("lives", "positions"),
    )


def budget_by_year(study: Study) -> Exhibit:
    """Seals and money, year by year."""
    budget = study.spares.budget
    table = budget.table
    first = study.spares.ahead.now
    years = [first + pd.DateOffset(years=int(k) - 1) for k in table["year"]]
    shown = pd.DataFrame(
        {
            "Twelve months from": [date_text(d) for d in years],
            "Seals needed": _ranges(table, "seals"),
            "New ones": [f"{v:,.0f}" for v in table["new"]],
            "Cost": [
                f"{v:,.0f} ({a:,.0f}–{b:,.0f})" if np.isfinite(v) else CANNOT_TELL
                for v, a, b in zip(
                    table["spend"], table["spend_low"], table["spend_high"], strict=True
                )
            ],
            "Note": table["message"].astype(str),
        }
    )
    unit = study.settings.costs.currency
    return Exhibit(
        "seal-budget",
        "What the seals of the coming years will cost",
        f"{level_text(budget.level)} ranges; at today's prices{f' in {unit}' if unit else ''}, "
        "work not counted. Planned renewals in outages are those of the share renewed in the "
        f"site's last outage. Method: {budget.method}, {budget.runs:,} of them.",
        table,
        shown=shown,
        rests_on=("lives", "positions"),
    )


def lain_too_long(study: Study) -> Exhibit | None:
    """Stock that is over its shelf life, or will be before it is used."""
    shelf = study.spares.shelf
    table = shelf.table
    about = study.spares.items.set_index("pool")
    quiet = table["status"].isin(QUIET)
    rows = table[~quiet].sort_values("days_left", kind="stable")
    if rows.empty:
        return None
    held = [whole(about["on_hand"].get(p, np.nan)) for p in rows["pool"]]
    shown = pd.DataFrame(
        {
            "Item": rows["pool"].astype(str),
            "Elastomer": rows["elastomer"].astype(str),
            "In store": held,
            "Oldest cured": [NONE if pd.isna(d) else date_text(d) for d in rows["cure_date"]],
            "Limit": [NONE if pd.isna(d) else date_text(d) for d in rows["limit_in_force"]],
            "What": [
                m or s for s, m in zip(rows["status"], rows["message"].astype(str), strict=True)
            ],
        }
    )
    return Exhibit(
        "shelf-life",
        "Stock that has lain too long, or will have",
        f"From the cure date of the oldest piece. {table['caution'].iloc[0]} Source: "
        f"{shelf.source}.",
        table,
        shown=shown,
        rests_on=("positions",),
    )


def _ranges(table: pd.DataFrame, column: str) -> list[str]:
    """Means of counts with their ranges."""
    three = zip(*(table[f"{column}{e}"] for e in ("", "_low", "_high")), strict=True)
    return [f"{v:,.0f} ({a:,.0f}–{b:,.0f})" for v, a, b in three]
