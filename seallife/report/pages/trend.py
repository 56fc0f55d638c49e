"""Are we getting better? Rolling figures, months against expectation, verdicts.

In: `Study`. Out: blocks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from seallife.figures.history import Span, monthly_figure, rolling_figure, rolling_panels
from seallife.history import expected_counts
from seallife.report.basis import break_words, group_row, rate_basis
from seallife.report.exhibit import Block, Exhibit, Points, Text
from seallife.report.format import date_text, interval, level_text
from seallife.report.pages.year import verdict_texts
from seallife.report.projects import project_verdicts
from seallife.report.trendexhibits import at_equal_ages, signals, target, whole_record

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["build", "shown_verdicts"]

_NO_TREND_TEST = (
    "Neighbouring points share eleven of their twelve months: a slow swing of the line is no "
    "trend, and no trend test may be made on it."
)
_KINDS = {"all": "whole fleet", "site": "site", "unit": "unit", "service_class": "service class"}


def build(study: Study) -> tuple[Block, ...]:
    """Do seals fail less often than they did, beyond chance?"""
    history = study.history
    outages = outage_spans(study)
    marked = " Grey strips: outages." if outages else ""
    rolling = group_row(history.rolling)
    blocks: list[Block] = [*verdict_texts(study)]
    if len(rolling):
        blocks.append(
            Exhibit(
                "rolling",
                "Rolling twelve months: MTBF and MTBR",
                f"Bands: limits at {level_text(history.level)}.{marked}{break_words(study)} "
                f"{_NO_TREND_TEST} " + rate_basis(study, "MTBF", "MTBR"),
                rolling,
                rolling_figure(rolling, outages),
                alt=_ends(rolling),
                rests_on=("removals",),
            )
        )
        sites = group_row(history.rolling, "site")
        if len(sites["group"].unique()) > 1:
            blocks.append(
                Exhibit(
                    "rolling-sites",
                    "Rolling twelve months by site: MTBF",
                    f"All panels on one scale.{marked}{break_words(study)} Sites run "
                    "different services: a shorter MTBF alone does not make a worse site. "
                    + rate_basis(study, "MTBF"),
                    sites,
                    rolling_panels(sites, outages),
                    alt="MTBF over rolling twelve months, one panel a site.",
                    rests_on=("removals",),
                )
            )
    else:
        blocks.append(Text("No twelve whole months are on record, so no rolling figure is drawn."))
    blocks += at_equal_ages(study)
    blocks += whole_record(study)
    blocks.append(target(study))
    expected = expected_counts(group_row(history.monthly), history.level)
    blocks.append(Points("What the months show beyond chance", signals(study)))
    if len(expected):
        blocks.append(_months(study, expected, outages, marked))
    blocks += project_verdicts(study)
    blocks.append(_verdicts(study))
    return tuple(blocks)


def outage_spans(study: Study) -> tuple[Span, ...]:
    """Outages of the fleet folder, where it lists them."""
    if "outages" not in study.fleet.tables:
        return ()
    table = study.fleet["outages"].dropna(subset=["start", "end"])
    spans = table[["start", "end"]].drop_duplicates().sort_values(["start", "end"])
    return tuple(spans.itertuples(index=False, name=None))


def _ends(rolling: pd.DataFrame) -> str:
    """First and last point of the rolling line in words."""
    words = []
    for _, r in rolling.iloc[[0, -1]].iterrows():
        mtbf = interval(r["mtbf_years"], r["mtbf_years_low"], r["mtbf_years_high"], "years")
        words.append(f"MTBF {mtbf} in the year to {r['month']:%B %Y}")
    return "; ".join(dict.fromkeys(words)) + "."


def _months(
    study: Study, expected: pd.DataFrame, outages: tuple[Span, ...], marked: str
) -> Exhibit:
    """Counts of each month against what exposure lets one expect."""
    out, n = int(expected["outside"].sum()), len(expected)
    level = study.history.level
    table = expected.merge(_ids(study), on="month", how="left")
    table["removal_ids"] = table["removal_ids"].fillna("")
    return Exhibit(
        "months",
        "Failures month by month",
        f"{out:,} of {n:,} months lie outside the range; up to {(1 - level) * n:.0f} would by "
        f"chance alone if the rate had never changed. Range: exact Poisson, "
        f"{level_text(level)}, around time at risk of the month times the rate of the whole "
        f"record. One month says nothing about MTBF.{marked} " + rate_basis(study, "MTBF"),
        table,
        monthly_figure(expected, outages),
        alt=f"{int(expected['failures'].sum()):,} failures in {n} months, {out} months outside "
        "the expected range.",
        rests_on=("removals",),
    )


def _ids(study: Study) -> pd.DataFrame:
    """Removals counted as failures in each month."""
    events = study.removals.table
    ended = events["ended"].replace("unknown", study.history.unknown_as)
    failed = events[ended == "failed"]
    month = failed["end"].dt.to_period("M").dt.to_timestamp()
    ids = failed["removal_id"].astype(object).groupby(month).agg(" ".join)
    return ids.rename_axis("month").rename("removal_ids").reset_index()


def _verdicts(study: Study) -> Exhibit:
    recent = study.history.recent
    # types are held against their class under 'Where it hurts'; here they would only add rows
    recent = recent[recent["by"].isin(_KINDS)]
    level = study.history.level
    since = recent["since"].dropna()
    cut = (
        f"Only the time since {date_text(since.iloc[0])}: the records changed. "
        if len(since)
        else ""
    )
    table = study.history.clustered
    clustered = (table.loc[table["measure"] == "MTBF", "used"] > 1).any()
    widened = "; widened where failures cluster at one pump" if clustered else ""
    decided = recent["verdict"].isin(["improved", "worse"])
    testable = int((recent["verdict"] != "cannot tell yet").sum())
    return Exhibit(
        "verdicts",
        "Last twelve months against the three years before",
        f"{cut}Failures in position-years. Ratio of failure rates with its exact "
        f"{level_text(level)} interval (binomial, given the total{widened}): below 1 is better. "
        "At equal ages: the same of failures over those expected of the seals' classes and ages. "
        f"{int(decided.sum())} of {len(recent)} rows show a change; of {testable} rows that "
        f"could, about {(1 - level) * testable:.1f} would by chance alone. "
        "Look at a row because you asked about it, not because it stands out. Not placed: "
        "failures that lack a pump or a date, before and after; a change they could undo is none. "
        "Clock: calendar. Unit: one seal position.",
        recent,
        shown=shown_verdicts(recent),
        rests_on=("removals",),
    )


def shown_verdicts(recent: pd.DataFrame) -> pd.DataFrame:
    """Table of verdicts as a reader wants it."""
    ratio = [
        interval(r, a, b, decimals=2) if np.isfinite(r) else "cannot tell"
        for r, a, b in zip(recent["ratio"], recent["low"], recent["high"], strict=True)
    ]
    aged = [
        interval(r, a, b, decimals=2) if np.isfinite(r) else "cannot tell"
        for r, a, b in zip(*(recent[f"age_ratio{e}"] for e in ("", "_low", "_high")), strict=True)
    ]
    return pd.DataFrame(
        {
            "Group": recent["group"].astype(str).where(recent["by"] != "all", "whole fleet"),
            "Kind": recent["by"].map(_KINDS),
            "Three years before": _seen(recent["failures_before"], recent["years_before"]),
            "Last 12 months": _seen(recent["failures_after"], recent["years_after"]),
            "Not placed": _unplaced(recent["unplaced_before"], recent["unplaced_after"]),
            "Ratio of rates": ratio,
            "At equal ages": aged,
            "Verdict": recent["verdict"],
            "Why": [
                f"needs about {y:,.0f} position-years more"
                if v == "cannot tell yet" and 0 < y < np.inf
                else m
                for v, y, m in zip(
                    recent["verdict"], recent["more_years"], recent["message"], strict=True
                )
            ],
        }
    )


def _unplaced(before: pd.Series, after: pd.Series) -> list[str]:
    """Failures that lack a pump or a date, before and after; nothing where there are none."""
    return [f"{a:,} and {b:,}" if a or b else "–" for a, b in zip(before, after, strict=True)]


def _seen(failures: pd.Series, years: pd.Series) -> list[str]:
    """Failures and the time at risk they were seen in."""
    return [f"{n:,.0f} in {y:,.0f} y" for n, y in zip(failures, years, strict=True)]
