"""Tables of the page on outages and renewal by age, as a reader wants them.

In: `Study`. Out: exhibits. Next: `seallife.report.pages.outage`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from seallife.report.exhibit import Exhibit
from seallife.report.format import CANNOT_TELL, count, date_text, level_text, number, share, shares
from seallife.report.sparestables import NONE, whole
from seallife.spares.outagewords import LEAK_FIRST

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["kit_list", "outage_rows", "renewal_by_age"]

_SHOWN = 12


def outage_rows(study: Study) -> Exhibit:
    """Seals to renew in each coming outage, and those of which it cannot be told."""
    spares = study.spares
    found = spares.outage
    table = found.table
    told = table[table["verdict"].isin([LEAK_FIRST, "renew", "cannot tell yet"])]
    if told.empty:
        told = table[table["rank"].notna()]
    told = told.sort_values(["days_to_outage", "rank"], kind="stable")
    rows = told.groupby("days_to_outage", sort=False).head(_SHOWN)
    begins = spares.ahead.now + pd.to_timedelta(np.floor(rows["days_to_outage"]), unit="D")
    shown = pd.DataFrame(
        {
            "Outage": [_unbroken(date_text(d)) for d in begins],
            "Seal position": rows["position_id"].astype(str),
            "Class": rows["service_class"].astype(str),
            "Fails before it": shares(rows, "chance_before"),
            "Left in, fails before the next": shares(rows, "chance_left"),
            "Renewed, fails before the next": shares(rows, "chance_renewed"),
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
        f"with the reason in the file. The first {_SHOWN} of each outage are shown. "
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
            "Early failures a renewal": shares(table, "early_failures"),
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


def _unbroken(text: str) -> str:
    """Text that stays on one line."""
    return text.replace(" ", "\u00a0")


def _signed(text: str) -> str:
    """Figures with a minus sign in place of a hyphen."""
    return text.replace("-", "\u2212")
