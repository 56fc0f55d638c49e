"""The year in one page: where we stand, whether it changed, what is asked of whom.

In: `Study`. Out: blocks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from seallife.figures.records import waterfall_figure
from seallife.report.basis import group_row, last_year, rate_basis, unknown_words
from seallife.report.exhibit import Block, Exhibit, Points, Text
from seallife.report.format import count, interval, number, share
from seallife.report.grade import grade_records
from seallife.report.leaktables import breach_words
from seallife.report.yearwords import ahead_in_words, findings_in_words

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["build", "requests", "verdict_texts"]

_VERDICTS = {
    "improved": "Improved: seals failed less often in the last twelve months.",
    "worse": "Worse: seals failed more often in the last twelve months.",
    "no evidence": "No evidence of a change in how often seals fail.",
    "cannot tell yet": "It cannot be told yet whether seals fail more or less often.",
}


def build(study: Study) -> tuple[Block, ...]:
    """Where do we stand, did it change, and what is asked of whom?"""
    grade = grade_records(study)
    steps = study.removals.waterfall
    ahead = ahead_in_words(study)
    return (
        *_over_a_legal_limit(study),
        *verdict_texts(study),
        _where_we_stand(study),
        Points("What the records say", findings_in_words(study)),
        *([Points("What lies ahead", ahead)] if ahead else []),
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


def _over_a_legal_limit(study: Study) -> tuple[Text, ...]:
    """Seals over a legal limit by their last reading: before everything else."""
    words = breach_words(study)
    return (Text(words, strong=True),) if words else ()


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
        *_target(study),
    )


def _target(study: Study) -> tuple[Text, ...]:
    """Will the target be met, where the site has set one?"""
    rules = study.settings.rules
    if rules.target_mtbf_years is None and rules.target_mtbr_years is None:
        return ()
    forecast = study.trends.target
    rows = forecast.table[
        (forecast.table["group"] == "all") & forecast.table["probability"].notna()
    ]
    return tuple(
        Text(
            f"Target, {r['measure']} {number(r['target_years'])} y by {forecast.until:%d %b %Y}: "
            f"reached with a probability of {share(r['probability'])} if nothing changes; "
            f"{interval(r['mean_years'], r['mean_years_low'], r['mean_years_high'], 'y')} expected."
        )
        for r in rows.to_dict("records")
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
