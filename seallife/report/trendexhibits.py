"""What the trends say: over the whole record, at equal ages, ahead, month by month.

In: `Study`. Out: blocks. Next: `seallife.report.pages.trend`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from seallife.figures.ageratio import age_ratio_figure
from seallife.figures.growth import growth_figure
from seallife.figures.recurrence import recurrence_figure
from seallife.report.basis import break_words, limit_words
from seallife.report.exhibit import Block, Exhibit
from seallife.report.format import (
    CANNOT_TELL,
    count,
    date_text,
    interval,
    intervals,
    level_text,
    share,
)

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["at_equal_ages", "signals", "target", "whole_record"]


def whole_record(study: Study) -> tuple[Block, ...]:
    """Did the failure rate change over the whole record, and when?"""
    growth = study.trends.growth
    table = growth.table
    told = table[(table["failures"] > 0) & table["by"].isin(["all", "site"])]
    if told.empty:
        return ()
    name = table["group"].astype(str).mask(table["by"] == "all", "whole fleet")
    changed = table["changed"].fillna(False).astype(bool)
    when = [
        date_text(d) + (f" ({date_text(a)} to {date_text(b)})" if a == a and b == b else "")
        if c
        else "none stands out"
        for c, d, a, b in zip(
            changed, table["change"], table["change_low"], table["change_high"], strict=True
        )
    ]
    three = zip(*(table[f"yearly{end}"] for end in ("", "_low", "_high")), strict=True)
    shown = pd.DataFrame(
        {
            "Group": name,
            "Failures": [
                f"{n:,} in {y:,.0f} y"
                for n, y in zip(table["failures"], table["exposure_years"], strict=True)
            ],
            "Rate a year, times": [
                interval(v, a, b, decimals=2) if np.isfinite(v) else CANNOT_TELL
                for v, a, b in three
            ],
            "Change of rate": when,
            "Verdict": table["verdict"].astype(str),
        }
    )
    groups = told["group"].tolist()
    sites = told.loc[told["by"] == "site", "group"]
    if len(sites) == 1:
        groups = groups[:1]
    blocks: list[Block] = [
        Exhibit(
            "whole-record",
            "Over the whole record",
            "Rate a year: by how many times the failure rate changed with each year on record; "
            "below 1 is better. It holds with positions that differ and seals that are renewed. "
            "Figure: failures against time at risk; straight where the rate never changed. Of "
            f"{len(table)} groups about {(1 - growth.level) * len(table):.0f} would show a change "
            f"by chance alone. Level {level_text(growth.level)}. Method: {growth.method}. Clock: "
            "calendar. Unit: one seal position.",
            table,
            growth_figure(growth, groups[:12]),
            shown,
            alt="; ".join(
                f"{n}: {m}" for n, m in zip(name, table["message"], strict=True) if str(m)
            ),
            rests_on=("removals", "lives"),
        )
    ]
    curves = study.trends.recurrence
    if (curves.table["events"] > 0).any():
        blocks.append(
            Exhibit(
                "recurrence",
                "How many failures a position has had",
                "Mean cumulative number of failures a position, by class: steeper is worse, a bend "
                f"is a change. Limits {level_text(curves.level)}, robust to positions that differ. "
                f"Method: {curves.method}. Clock: calendar. Unit: one seal position.",
                curves.table,
                recurrence_figure(curves, dates=True, counts="failures", of="position"),
                alt="Mean cumulative failures a position, by class and date.",
                rests_on=("removals", "lives"),
            )
        )
    return tuple(blocks)


def at_equal_ages(study: Study) -> tuple[Block, ...]:
    """Failures over those expected of the seals' classes and ages."""
    rolling = study.history.rolling
    rows = rolling[rolling["by"].isin(["all", "site"])]
    if rows["group"].nunique() == 2:  # one site: the same twice
        rows = rows[rows["by"] == "all"]
    if rows.empty:
        return ()
    return (
        Exhibit(
            "at-equal-ages",
            "Is it the seals' ages?",
            "Failures over those expected of seals of these classes at these ages, at the rates of "
            "the whole record; above 1 is worse. Young seals after a large renewal, and a mix of "
            "hard services, move MTBF and not this. Expected: failures over run hours by class and "
            f"band of age.{break_words(study)} {limit_words(study, 'MTBF')} "
            "Unit: one seal position.",
            rows,
            age_ratio_figure(rows),
            alt="Failures over expected failures in rolling twelve months, whole fleet and sites.",
            rests_on=("lives", "removals"),
        ),
    )


def target(study: Study) -> Exhibit:
    """Where MTBF and MTBR will stand, and whether the target will be met."""
    forecast = study.trends.target
    table = forecast.table
    given = table["target_years"].notna()
    shown: dict[str, list[str]] = {
        "": [
            f"{m}, {'whole fleet' if g == 'all' else g}"
            for m, g in zip(table["measure"], table["group"], strict=True)
        ],
        "On record so far": [f"{n:,}" for n in table["seen"]],
        "Still to come": intervals(table, "expected", ("low", "high"), decimals=0),
        "Then, y": intervals(table, "mean_years"),
    }
    if given.any():
        shown["Target, y"] = [
            f"{t:g}" if g else "–" for t, g in zip(table["target_years"], given, strict=True)
        ]
        shown["Chance of meeting it"] = [
            share(p) if g else "–" for p, g in zip(table["probability"], given, strict=True)
        ]
        shown["What it takes"] = table["message"].astype(str).tolist()
        asked = ""
    else:
        asked = " No target is set: give target_mtbf_years or target_mtbr_years under [rules]."
    return Exhibit(
        "target",
        f"Where this leads by {date_text(forecast.until)}",
        f"The twelve months that end then, if nothing changes: failures and removals on record in "
        "them, and expected from each seal's class and age today, seals that replace them "
        f"included; range of the count, {level_text(forecast.level)}. Renewals planned in an "
        f"outage or upgrade ahead are not in it.{asked} Method: {forecast.method}. Clock: run "
        "hours at the pace of the last year. Unit: one seal position.",
        table,
        shown=pd.DataFrame(shown),
        rests_on=("lives",),
    )


def signals(study: Study) -> tuple[str, ...]:
    """Months out of line and long runs, whole fleet and sites."""
    out = []
    charts = study.trends.signals
    sites = [g for g in charts if g != "all"]
    for group, chart in charts.items():
        if group != "all" and len(sites) == 1:
            continue
        name = "Whole fleet" if group == "all" else group
        found = chart.table[chart.table["verdict"] == "more than chance"]
        if (chart.table["verdict"] == "cannot tell yet").all():
            out.append(f"{name}: cannot tell yet. {chart.table['message'].iloc[0]}")
        elif found.empty:
            out.append(f"{name}: no month and no run of months stands out.")
        for r in found.to_dict("records"):
            when = f"{r['first']:%B %Y}"
            if r["months"] > 1:
                when += f" to {r['last']:%B %Y}, {r['months']} months in a row"
            side = {"run above": "each above", "run below": "each below"}.get(
                r["signal"], "against"
            )
            out.append(
                f"{name}, {when}: {count(r['failures'], 'failure')}, {side} what is expected "
                f"({r['expected']:.1f} in all; p = {r['p']:.2g})."
            )
    out.append(
        "Held against what is expected of the seals' classes and ages; of charts without a change "
        f"at most {1 - study.history.level:.0%} show a signal."
    )
    return tuple(out)
