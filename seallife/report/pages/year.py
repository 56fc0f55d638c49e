"""The year in one page: where we stand, whether it changed, what is asked of whom.

In: `Study`. Out: blocks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from seallife.figures.records import waterfall_figure
from seallife.history import mtbr
from seallife.report.basis import group_row, last_year, rate_basis, unknown_words
from seallife.report.classtable import class_table
from seallife.report.exhibit import Block, Exhibit, Points, Text
from seallife.report.format import count, interval, number, share, share_interval, share_of
from seallife.report.grade import grade_records

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["build", "findings_in_words", "requests", "verdict_texts"]

_VERDICTS = {
    "improved": "Improved: seals failed less often in the last twelve months.",
    "worse": "Worse: seals failed more often in the last twelve months.",
    "no evidence": "No evidence of a change in how often seals fail.",
    "cannot tell yet": "It cannot be told yet whether seals fail more or less often.",
}


_WORTH_SAYING = 0.02  # a smaller share moves no figure that is shown
_FINDINGS = 4
_FEW_INSTALLS = 20  # a share of fewer says nothing worth a place on the first page


def build(study: Study) -> tuple[Block, ...]:
    """Where do we stand, did it change, and what is asked of whom?"""
    grade = grade_records(study)
    steps = study.removals.waterfall
    return (
        *verdict_texts(study),
        _where_we_stand(study),
        Points("What the records say", findings_in_words(study)),
        Points("What is asked for", requests(study)),
        Text(f"{grade.sentence} The rule and all lines stand under 'How far to trust this'."),
        Exhibit(
            "waterfall",
            "From records to failures",
            "Solid: what is left; hatched: what left on the way, small steps summed. Records set "
            "aside are listed one by one, with the reason, among the findings. A failure is a "
            "removal because the seal "
            f"could no longer do its job. {unknown_words(study)} "
            "Unit: one removal at one seal position.",
            steps,
            waterfall_figure(steps),
            alt=_steps_in_words(steps),
            rests_on=("removals", "findings"),
        ),
    )


def _steps_in_words(steps: pd.DataFrame) -> str:
    """Waterfall for who cannot see it."""
    pairs = zip(steps["step"], steps["count"], strict=True)
    return "Bars from records to failures: " + "; ".join(f"{s}: {n:,}" for s, n in pairs) + "."


def verdict_texts(study: Study) -> tuple[Text, ...]:
    """Is the last year better or worse than the three before, in words?"""
    row = group_row(study.history.recent)
    if row.empty:
        return (Text("There is no time on record to compare.", strong=True),)
    r = row.iloc[0]
    counts = (
        f"{count(r['failures_after'], 'failure')} in {r['years_after']:,.0f} position-years, "
        f"against {r['failures_before']:,} in {r['years_before']:,.0f} in up to three years before"
    )
    ratio = ""
    if np.isfinite(r["ratio"]):
        ratio = (
            f"; the failure rate is {interval(r['ratio'], r['low'], r['high'])} times what it was"
        )
    return (
        Text(_VERDICTS[str(r["verdict"])], strong=True),
        Text(f"{counts[0].upper()}{counts[1:]}{ratio}: {r['message']}."),
    )


def _where_we_stand(study: Study) -> Exhibit:
    """MTBF and MTBR of the last twelve months and of the whole record."""
    recent, whole = last_year(study), group_row(study.history.overall)
    parts = [("last 12 months", recent), ("whole record", whole)]
    rows: list[tuple[str, str, int, float, list[float]]] = []
    for period, part in parts:
        for key, counted in (("mtbf", "failures"), ("mtbr", "removals")):
            values = (
                [float(part[f"{key}_years{s}"].iloc[0]) for s in ("", "_low", "_high")]
                if len(part)
                else [np.nan] * 3
            )
            rows.append(
                (
                    key.upper(),
                    period,
                    int(part[counted].iloc[0]) if len(part) else 0,
                    float(part["exposure_years"].iloc[0]) if len(part) else 0.0,
                    values,
                )
            )
    table = pd.DataFrame(
        [(*row[:4], *row[4]) for row in rows],
        columns=["measure", "period", "events", "exposure_years", "years", "low", "high"],
    )
    shown: dict[str, list[str]] = {"": ["MTBF: between failures", "MTBR: between removals"]}
    for measure, period, events, exposure, (value, low, high) in rows:
        noun = "failure" if measure == "MTBF" else "removal"
        told = f"{interval(value, low, high, 'y')} from {count(events, noun)}"
        shown.setdefault(period, []).append(
            told if exposure > 0 else "no twelve whole months on record"
        )
    caption = rate_basis(study, "MTBF", "MTBR")
    if len(recent):
        month = recent["month"].iloc[-1]
        caption = f"Last 12 months: those that end with {month:%B %Y}. Whole record: {caption}"
    return Exhibit(
        "where-we-stand",
        "Where we stand",
        caption,
        table,
        shown=pd.DataFrame(shown),
        rests_on=("removals", "lives"),
    )


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
    """Positions that fail more often than their class explains."""
    table = study.trends.standouts["position_id"].table
    worse = table[table["verdict"] == "worse than its class"]
    if worse.empty:
        return "No seal position fails more often than its class explains, beyond chance."
    names = ", ".join(
        f"{r['position_id']} ({r['observed']:.0f} failures, {number(r['expected'])} expected)"
        for r in worse.head(3).to_dict("records")
    )
    rest = f" and {len(worse) - 3} more" if len(worse) > 3 else ""
    return f"More failures than their class explains, beyond chance: {names}{rest}."


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


def requests(study: Study, most: int = 3) -> tuple[str, ...]:
    """Which mended records would make these figures better, most of them first?"""
    asks = study.findings[study.findings["severity"] == "ask"]
    if asks.empty:
        return ("Nothing: no record waits for a person's decision.",)
    sizes = asks.groupby("check", sort=True).size().sort_values(ascending=False, kind="stable")
    out = []
    for check, size in list(sizes.items())[:most]:
        first = asks[asks["check"] == check].iloc[0]
        message = str(first["message"])
        stop = "" if message.endswith(("?", ".", "!")) else "."
        out.append(
            f"{count(size, 'record')}: {check}. {message[:1].upper()}{message[1:]}{stop} "
            f"(First: {first['record_id']}.)"
        )
    return tuple(out)
