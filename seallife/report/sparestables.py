"""Tables of the pages on spares and outages, as a reader wants them.

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
    number,
    share,
    share_interval,
)
from seallife.spares.outagewords import LEAK_FIRST

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = [
    "budget_by_year",
    "kit_list",
    "lain_too_long",
    "money",
    "orders_in_words",
    "outage_rows",
    "renewal_by_age",
    "storeroom_rows",
]

_SHOWN, _SHOWN_OUTAGE = 40, 12
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
    soon = sheet["order_by"] < study.spares.ahead.now + pd.Timedelta(days=_SOON_D)
    later = int(((sheet["action"] == "order later") & soon).sum())
    silent = int((sheet["action"] == "cannot tell yet").sum())
    told += f"; {count(later, 'more is', 'more are')} due within {_SOON_D} days" if later else ""
    told += f". Of {count(silent, 'item')} it cannot be told" if silent else ""
    return f"{told}. Asked: no shortage in {share(service)} of futures until a new one can come."


def storeroom_rows(study: Study) -> Exhibit:
    """One line a stock item: what it needs, what to order, by when, why."""
    spares = study.spares
    sheet = spares.sheet
    due = sheet["order_by"] < spares.ahead.now + pd.Timedelta(days=_SOON_D)
    rows = sheet[(sheet["action"] != "enough") & (due | sheet["order_by"].isna())].head(_SHOWN)
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
    quiet = table["status"].isin(["ok", "none in the store", "does not age"])
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


def outage_rows(study: Study) -> Exhibit:
    """Seals to renew in each coming outage, and those of which it cannot be told."""
    spares = study.spares
    found = spares.outage
    table = found.table
    told = table[table["verdict"].isin([LEAK_FIRST, "renew", "cannot tell yet"])]
    if told.empty:
        told = table[table["rank"].notna()]
    told = told.sort_values(["days_to_outage", "rank"], kind="stable")
    rows = told.groupby("days_to_outage", sort=False).head(_SHOWN_OUTAGE)
    begins = spares.ahead.now + pd.to_timedelta(np.floor(rows["days_to_outage"]), unit="D")
    shown = pd.DataFrame(
        {
            "Outage": [_unbroken(date_text(d)) for d in begins],
            "Seal position": rows["position_id"].astype(str),
            "Class": rows["service_class"].astype(str),
            "Fails before it": _shares(rows, "chance_before"),
            "Left in, fails before the next": _shares(rows, "chance_left"),
            "Renewed, fails before the next": _shares(rows, "chance_renewed"),
            "Gain of renewing": [
                _signed(f"{v:,.0f} ({a:,.0f} to {b:,.0f})") if np.isfinite(v) else CANNOT_TELL
                for v, a, b in zip(rows["gain"], rows["gain_low"], rows["gain_high"], strict=True)
            ],
            "Verdict": rows["verdict"].astype(str),
        }
    )
    counts = table["verdict"].value_counts()
    words = ", ".join(f"{n:,} {word}" for word, n in counts.items() if word)
    unit = study.settings.costs.currency
    without = int((table["verdict"] == "").sum())
    return Exhibit(
        "outage-list",
        "Seals to renew in the coming outages",
        "Share of seals alike in class, age and position that is expected to fail before the "
        "outage, and of those that still run then, before the one after, left in or renewed "
        f"({level_text(found.level)} limits: what the records leave open). Gain: expected cost "
        f"saved by renewing{f', in {unit}' if unit else ''}, a new seal's early failures and the "
        f"time given away counted. In all: {words}; {count(without, 'seal')} without a figure, "
        f"with the reason in the file. The first {_SHOWN_OUTAGE} of each outage are shown. "
        f"Method: {found.method}.",
        table,
        shown=shown,
        rests_on=("lives", "positions"),
    )


def kit_list(study: Study) -> Exhibit | None:
    """Seals that must lie ready when an outage begins."""
    kit = study.spares.kit
    if kit.empty:
        return None
    shown = pd.DataFrame(
        {
            "Outage": [_unbroken(date_text(d)) for d in kit["starts"]],
            "Site": kit["site"].astype(str),
            "Item": kit["pool"].astype(str),
            "Renew": [f"{n:,}" for n in kit["renew"]],
            "Perhaps": [f"{n:,}" for n in kit["maybe"]],
            "Lead time, d": [whole(v) for v in kit["lead_time_d"]],
            "Order by": [NONE if pd.isna(d) else date_text(d) for d in kit["order_by"]],
            "Note": kit["message"].astype(str),
        }
    )
    return Exhibit(
        "outage-kit",
        "Seals for the outages, to be ordered on top",
        "Renew: marked in the list above. Perhaps: of which it cannot be told yet. What is in the "
        "store is not taken off: it serves failures until then. Order by: so early that 19 in 20 "
        "deliveries come in time.",
        kit,
        shown=shown,
        rests_on=("positions",),
    )


def renewal_by_age(study: Study) -> Exhibit:
    """Whether to renew by age, class by class."""
    found = study.spares.replacement
    table = found.table
    shown = pd.DataFrame(
        {
            "Class": table["service_class"].astype(str),
            "Verdict": table["verdict"].astype(str),
            "Shape": [
                f"{a:.2f} to {b:.2f}"
                for a, b in zip(table["shape_low"], table["shape_high"], strict=True)
            ],
            "Failure costs, times a renewal": [
                number(v) if np.isfinite(v) else "no cost given"
                for v in table["failure_cost"] / table["planned_cost"]
            ],
            "Needed for a saving": [
                number(v) if np.isfinite(v) else "no ratio does" for v in table["ratio_needed"]
            ],
            "Early failures a renewal": _shares(table, "early_failures"),
            "Why": table["message"].astype(str),
        }
    )
    return Exhibit(
        "renewal-by-age",
        "Is it worth renewing seals by age?",
        "Only where failures grow with age (shape above 1) and cost much more than a renewal. "
        "Needed: how many times a renewal a failure must cost for renewal at the best age to save "
        f"{share(found.least_saving)}. Early failures: share of new seals expected to fail within "
        f"{found.early_age:,.0f} {found.unit}: each needless renewal brings that. Verdicts at "
        f"{level_text(found.level)}. Method: {found.method}. No interval fixed by law or critical "
        "to safety is lengthened on these figures.",
        table,
        shown=shown,
        rests_on=("lives",),
    )


def _ranges(table: pd.DataFrame, column: str) -> list[str]:
    """Means of counts with their ranges."""
    three = zip(*(table[f"{column}{e}"] for e in ("", "_low", "_high")), strict=True)
    return [f"{v:,.0f} ({a:,.0f}–{b:,.0f})" for v, a, b in three]


def _shares(table: pd.DataFrame, column: str) -> list[str]:
    three = zip(*(table[f"{column}{e}"] for e in ("", "_low", "_high")), strict=True)
    return [share_interval(v, a, b) for v, a, b in three]


def _unbroken(text: str) -> str:
    """Text that stays on one line."""
    return text.replace(" ", "\u00a0")


def _signed(text: str) -> str:
    """Figures with a minus sign in place of a hyphen."""
    return text.replace("-", "\u2212")
