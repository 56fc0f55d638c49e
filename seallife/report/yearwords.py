"""The few things that the records say first, in a sentence each.

In: `Study`. Out: sentences. Next: `seallife.report.pages.year`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from seallife.history import mtbr
from seallife.report.basis import group_row
from seallife.report.classtable import class_table
from seallife.report.format import (
    count,
    date_text,
    interval,
    level_text,
    number,
    share,
    share_interval,
    share_of,
)
from seallife.report.sparestables import orders_in_words

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["ahead_in_words", "findings_in_words"]

_WORTH_SAYING = 0.02  # a smaller share moves no figure that is shown
_FINDINGS = 4
_FEW_INSTALLS = 20  # a share of fewer says nothing worth a place on the first page


def findings_in_words(study: Study) -> tuple[str, ...]:
    """Which few things do the records say first?"""
    table = class_table(study)
    out = [
        sentence
        for sentence in (
            _projects(study),
            _stand_out(study),
            _bad_stretch(study),
            _shortest_class(study),
            _early(study, table),
            _unknown_reason(study),
            _with_age(table),
            _unknown_age(study),
        )
        if sentence
    ]
    return tuple(out[:_FINDINGS])


def ahead_in_words(study: Study) -> tuple[str, ...]:
    """What do the coming months need: seals, orders, renewals?"""
    spares = study.spares
    if not spares.can_forecast:
        return ()
    demand = spares.demand.table
    year = demand[(demand["by"] == "all") & (demand["months"] == 12)].iloc[0]
    out = [
        f"In twelve months {year['need']:,.0f} seals will be needed "
        f"({level_text(spares.demand.level)} range {year['low']:,.0f} to {year['high']:,.0f}), "
        f"{year['failed']:,.0f} of them for failures."
    ]
    if len(spares.items):
        out.append(orders_in_words(study))
    begin = spares.outage.table["days_to_outage"]
    if begin.notna().any():
        first = spares.ahead.now + pd.Timedelta(days=float(np.floor(begin.min())))
        listed = spares.outage.table["verdict"].isin(["renew", "cannot tell yet"])
        out.append(
            f"The next outage on record begins {date_text(first)}; "
            f"renewing pays, or may pay, for {count(int(listed.sum()), 'seal')} in the coming "
            "outages: see 'What to renew, and when'."
        )
    return tuple(out)


def _projects(study: Study) -> str:
    """Verdicts on the changes of positions."""
    table = study.trends.improvements.table
    named = table[~table["project"].str.startswith("no project")]
    if named.empty:
        return ""
    told = "; ".join(
        f"{r['project']}: {r['verdict']}"
        + (
            f", failure rate {interval(r['ratio'], r['low'], r['high'], decimals=2)} times"
            if np.isfinite(r["ratio"])
            else ""
        )
        for r in named.to_dict("records")
    )
    return f"Changes held against unchanged positions at equal age of the seals. {told}."


def _stand_out(study: Study) -> str:
    """Positions, lots and crews whose seals fail more often than their class explains."""
    named = []
    for by, word in (("position_id", ""), ("lot", "lot "), ("crew", "crew ")):
        part = study.trends.standouts.get(by)
        if part is None:
            continue
        worse = part.table[part.table["verdict"] == "worse than its class"]
        named += [
            f"{word}{r[by]} ({r['observed']:.0f} failures, {number(r['expected'])} expected)"
            for r in worse.head(3).to_dict("records")
        ]
        if len(worse) > 3:
            named.append(f"{len(worse) - 3} more {'positions' if not word else word.strip() + 's'}")
    if not named:
        return "No seal position fails more often than its class explains, beyond chance."
    return f"More failures than their class explains, beyond chance: {', '.join(named)}."


def _bad_stretch(study: Study) -> str:
    """A stretch of months in which seals were fitted worse."""
    table = study.trends.early.table
    found = table[table["verdict"] == "more than chance"]
    if found.empty:
        return ""
    r = found.sort_values("p", kind="stable").iloc[0]
    return (
        f"{r['site']}, seals fitted from {r['first']:%B %Y} to {r['last']:%B %Y}: "
        f"{r['early_in']:.0f} of {r['installs_in']:.0f} failed within "
        f"{study.settings.rules.early_days} days, {r['expected_in']:.1f} expected."
    )


def _shortest_class(study: Study) -> str:
    """Class with the shortest MTBF, told against its share of the time at risk."""
    rows = group_row(study.history.overall, "service_class")
    rows = rows[rows["failures"] > 0]
    if len(rows) < 2:
        return ""
    r = rows.sort_values("mtbf_years", kind="stable").iloc[0]
    whole = group_row(study.history.overall).iloc[0]
    return (
        f"{r['group']} seals fail most often: MTBF "
        f"{interval(r['mtbf_years'], r['mtbf_years_low'], r['mtbf_years_high'], 'y')}. They are "
        f"{share(r['exposure_years'] / whole['exposure_years'])} of the time at risk and "
        f"{share(r['failures'] / whole['failures'])} of the failures."
    )


def _early(study: Study, table: pd.DataFrame) -> str:
    """Early failures over installations that were watched long enough."""
    installs, early = int(table["installs"].sum()), int(table["early"].sum())
    if installs < _FEW_INSTALLS:
        return ""
    from seallife.history import share_limits

    low, high = share_limits([early], [installs], study.settings.rules.level)
    told = share_interval(early / installs, low[0], high[0])
    return (
        f"{early:,} of {count(installs, 'installation')} failed within "
        f"{study.settings.rules.early_days} days: {told}. Early failures point to the seal as "
        "fitted and started, not to its age."
    )


def _unknown_reason(study: Study) -> str:
    """What unknown reasons do to MTBF."""
    row = group_row(study.history.overall)
    if row.empty or row["unknown"].iloc[0] < _WORTH_SAYING * row["removals"].iloc[0]:
        return ""
    r = row.iloc[0]
    if not r["unknown"]:
        return ""
    failed = study.history.unknown_as == "failed"
    other = int(r["failures"]) + (-1 if failed else 1) * int(r["unknown"])
    taken = mtbr(
        [r["exposure_years"]],
        [other],
        level=study.history.level,
        dispersion=r["mtbf_dispersion"],
    ).iloc[0]
    return (
        f"{share_of(r['unknown'], r['removals'], 'removals')} do not say "
        f"why the seal came out. They count {'as failures' if failed else 'as withdrawn'}; the "
        f"other way MTBF would be {interval(taken['mean_time'], taken['low'], taken['high'], 'y')} "
        f"instead of {number(r['mtbf_years'])} y."
    )


def _with_age(table: pd.DataFrame) -> str:
    """Classes whose failures come with age beyond chance."""
    fitted = table[table["status"] == "ok"]
    if fitted.empty:
        return ""
    aged = fitted.loc[fitted["shape_low"] > 1, "service_class"]
    return (
        f"In {len(aged)} of {count(len(fitted), 'class', 'classes')} with enough failures the "
        "failure rate rises with age by more than chance explains."
    )


def _unknown_age(study: Study) -> str:
    """Lives whose begin nobody knows."""
    known = study.lives.table["age_known"]
    if not len(known) or known.all():
        return ""
    lost = share_of(int((~known).sum()), len(known), "seal lives")
    return f"{lost} began at a date nobody knows. They count in MTBF, not in lives by age."
