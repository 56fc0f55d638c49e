"""Are we getting better? Rolling figures, months against expectation, verdicts.

In: `Study`. Out: blocks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from seallife.figures.ageratio import age_ratio_figure
from seallife.figures.history import Span, monthly_figure, rolling_figure, rolling_panels
from seallife.history import expected_counts
from seallife.report.basis import group_row, rate_basis
from seallife.report.exhibit import Block, Exhibit, Points, Text
from seallife.report.format import count, date_text, interval, level_text, share
from seallife.report.pages.year import verdict_texts
from seallife.report.projects import project_verdicts

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
                f"Bands: limits at {level_text(history.level)}.{marked} {_NO_TREND_TEST} "
                + rate_basis(study, "MTBF", "MTBR"),
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
                    f"All panels on one scale.{marked} Sites run different services: a shorter "
                    "MTBF alone does not make a worse site. " + rate_basis(study, "MTBF"),
                    sites,
                    rolling_panels(sites, outages),
                    alt="MTBF over rolling twelve months, one panel a site.",
                    rests_on=("removals",),
                )
            )
    else:
        blocks.append(Text("No twelve whole months are on record, so no rolling figure is drawn."))
    blocks += _at_equal_ages(study)
    blocks.append(_target(study))
    expected = expected_counts(group_row(history.monthly), history.level)
    blocks.append(Points("What the months show beyond chance", _signals(study)))
    if len(expected):
        blocks.append(_months(study, expected, outages, marked))
    blocks += project_verdicts(study)
    blocks.append(_verdicts(study))
    return tuple(blocks)


def _at_equal_ages(study: Study) -> tuple[Block, ...]:
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
            f"band of age. Bands: exact Poisson, {level_text(study.history.level)}. Unit: one seal "
            "position.",
            rows,
            age_ratio_figure(rows),
            alt="Failures over expected failures in rolling twelve months, whole fleet and sites.",
            rests_on=("lives", "removals"),
        ),
    )


def _target(study: Study) -> Exhibit:
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
        "Still to come": _spans(table, "expected", ("low", "high"), 0),
        "Then, y": _spans(table, "mean_years", ("mean_years_low", "mean_years_high"), None),
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


def _spans(
    table: pd.DataFrame, name: str, limits: tuple[str, str], decimals: int | None
) -> list[str]:
    three = zip(table[name], *(table[x] for x in limits), strict=True)
    return [interval(v, a, b, decimals=decimals) for v, a, b in three]


def _signals(study: Study) -> tuple[str, ...]:
    """Months out of line and long runs, whole fleet and sites."""
    out = []
    signals = study.trends.signals
    sites = [g for g in signals if g != "all"]
    for group, chart in signals.items():
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
    level = study.history.level
    decided = recent["verdict"].isin(["improved", "worse"])
    testable = int((recent["verdict"] != "cannot tell yet").sum())
    return Exhibit(
        "verdicts",
        "Last twelve months against the three years before",
        "Failures in position-years. Ratio of failure rates with its exact "
        f"{level_text(level)} interval (binomial, given the total): below 1 is better. At equal "
        "ages: the same of failures over those expected of the seals' classes and ages. "
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
