"""Leakage: what is over a limit, what rises, and whether that foretells failure here.

In: `Study`. Out: blocks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from seallife.figures.alarmrecord import alarm_record_figure
from seallife.figures.leakreadings import readings_figure
from seallife.figures.leakstrip import leak_strip_figure
from seallife.figures.timetolimit import time_to_limit_figure
from seallife.leakage.foretell import cheapest_rate
from seallife.report.exhibit import Block, Exhibit, Points, Text
from seallife.report.format import (
    CANNOT_TELL,
    count,
    interval,
    level_text,
    number,
    share,
    share_interval,
)
from seallife.report.leaktables import (
    READING_UNIT,
    over_limits,
    over_limits_in_words,
    record_by_class,
    rising_seals,
)
from seallife.schema import DAYS_PER_YEAR

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["build"]

_MOST_PANELS = 8
_MONTHS = DAYS_PER_YEAR / 30  # slopes are told for 30 days
_COSTS = (5.0, 20.0, 100.0)  # of a failure not foretold, in false alarms
_BIAS = (
    "A seal under suspicion is read more often, and readings end where a seal is taken out, often "
    "for its leakage: the share of high readings is not the share of seals that leak, and rises "
    "are cut short.",
    "Seals that run dry, flash or break give no warning in any reading. No threshold brings those "
    "back: see 'No warning'.",
    "No reading is a reason to go near a turning coupling, or to a pump that leaks what is hot or "
    "toxic.",
)


def build(study: Study) -> tuple[Block, ...]:
    """What leaks, what rises, and what does that foretell?"""
    if not len(study.readings.table):
        return (
            Text("No readings of leakage were given.", strong=True),
            Text(
                "With a table leak_readings (tag, date, value, unit) this page shows what is over "
                "a limit, which seals leak more and more, and whether that foretells failures."
            ),
        )
    blocks: list[Block] = [Text(over_limits_in_words(study), strong=True)]
    limits = over_limits(study)
    blocks += [limits] if limits is not None else []
    if not study.leakage.any:
        blocks.append(Text("No reading can be followed over time: see the findings."))
        return tuple(blocks)
    return (
        *blocks,
        *_rising(study),
        *_foretold(study),
        *_fleet(study),
        Points("Read with care", _BIAS),
    )


def _rising(study: Study) -> tuple[Block, ...]:
    """Seals in service whose leakage rises."""
    table = study.leakage.rising
    states = pd.concat([a.table["state"] for a in study.leakage.alarms.values()])
    if table.empty:
        quiet = int((states == "quiet").sum())
        return (
            Text(
                f"No seal in service shows a rise ({count(quiet, 'seal life', 'seal lives')} read "
                "often enough to tell, of those on record)."
            ),
        )
    rising = table["state"].str.startswith("rising")
    confirmed = int((table["state"] == "rising, confirmed").sum())
    told = (
        f"{count(rising.sum(), 'seal in service shows', 'seals in service show')} a rise, "
        f"{confirmed:,} of them confirmed"
    )
    others = int((~rising).sum())
    if others:
        told += f"; {count(others, 'other stands', 'others stand')} at a limit or near it"
    blocks: list[Block] = [
        Text(f"{told}. Each has its next step."),
        rising_seals(study),
    ]
    shown = table["position_id"].drop_duplicates().head(_MOST_PANELS).tolist()
    readings = study.readings.table
    drawn = readings[readings["position_id"].isin(shown)]
    since = study.readings.table["date"].max() - pd.Timedelta(days=730)
    blocks.append(
        Exhibit(
            "rising-readings",
            "Their readings of the last two years",
            "Dots: readings; open triangles: below detection, at the limit of the instrument; "
            "full triangles: off the scale; crosses: in doubt. Upright lines: renewals. Level "
            f"lines: limits in force. One scale a unit. {READING_UNIT}",
            drawn[drawn["date"] >= since],
            readings_figure(
                study.readings,
                shown,
                limits=study.leakage.in_force,
                rising=study.leakage.forecast,
                since=since,
            ),
            alt=f"Readings of {', '.join(shown)} over the last two years.",
            rests_on=("lives",),
        )
    )
    ranked = study.leakage.forecast.ranked()
    if len(ranked):
        names = table.set_index("segment")["position_id"].astype(str).to_dict()
        blocks.append(
            Exhibit(
                "time-to-limit",
                "When their level would be at the limit",
                "Were it to rise on as it does. Dot: middle; bar: "
                f"{level_text(study.leakage.forecast.level)}. A seal is renewed well before, or at "
                "once where a reading is over; no date here is a reason to wait. Held to this in "
                "simulation: see 'Are the verdicts right?' in the README.",
                ranked,
                time_to_limit_figure(study.leakage.forecast, names=names),
                alt="Days to the limit with their ranges, one line a seal.",
                rests_on=("lives",),
            )
        )
    return tuple(blocks)


def _foretold(study: Study) -> tuple[Block, ...]:
    """Does leakage foretell failure here?"""
    records, record = study.leakage.records, study.leakage.record
    row = record["all"]
    read = int(row["foretold"] + row["silent"])
    if not read:
        return (
            Text("No seal that was read has failed: it cannot be told what leakage foretells."),
        )
    points = [
        f"Of {count(read, 'failure')} of seals that were read, {row['foretold']:,} stood in alarm: "
        f"{share_interval(row['share'], row['share_low'], row['share_high'])}. Seals were in alarm "
        f"at {share(row['time_in_alarm'])} of all readings: so many would chance foretell.",
        f"{row['silent']:,} gave no warning.",
    ]
    if np.isfinite(row["lead_median"]):
        points.append(
            f"Half of the warnings came {row['lead_median']:,.0f} days or more before the failure."
        )
    hazard = study.leakage.hazard.table
    told = hazard[(hazard["status"] == "ok") & np.isfinite(hazard["ratio"])]
    points += [
        f"While in alarm seals fail {interval(r['ratio'], r['low'], r['high'])} times as often as "
        "others of their class and age (Cox, alarm as it stood at each reading)."
        for r in told.to_dict("records")
    ]
    costs = []
    for ratio in _COSTS:
        best = cheapest_rate(records, ratio, 1.0)
        best = best[best["cheapest"]]
        costs.append(f"{number(best['rate'].iloc[0])} where it costs {ratio:g} times as much")
    points.append(
        "How loud to set the alarm depends on what a failure that was not foretold costs against a "
        "false alarm: of the rates looked at, cheapest is, in 100 months, " + "; ".join(costs) + "."
    )
    table = pd.concat([r.table.assign(stated_rate=rate) for rate, r in records.items()])
    return (
        Points("Does leakage foretell failure here?", tuple(points)),
        Exhibit(
            "alarm-record",
            "Failures foretold, against false alarms",
            "Each point: one setting of the alarm, its stated rate beside it; as it would have "
            "stood with the readings up to each day. Bars: exact limits, "
            f"{level_text(record.level)}. Quiet line: what random alarms as long would foretell. "
            "Below: days from alarm to failure at the site's own setting.",
            table,
            alarm_record_figure(records, chosen=study.settings.rules.false_alarms),
            alt="Share of failures foretold in time against false alarms per 100 position-months.",
            rests_on=("lives",),
        ),
        record_by_class(study),
    )


def _fleet(study: Study) -> tuple[Block, ...]:
    """All seals at a glance, slopes by class, yearly totals."""
    slopes = study.leakage.slopes
    table = slopes.table
    factor = {
        c: np.exp(table[c] * _MONTHS)
        for c in ("mean", "mean_low", "mean_high", "seal_low", "seal_high")
    }
    shown = pd.DataFrame(
        {
            "Class": table["group"].astype(str),
            "Seal lives": [f"{n:,}" for n in table["n"]],
            "Level after a year, times": [
                interval(v, a, b, decimals=2) if np.isfinite(v) else CANNOT_TELL
                for v, a, b in zip(
                    factor["mean"], factor["mean_low"], factor["mean_high"], strict=True
                )
            ],
            "Another seal of the class": [
                f"{a:.2f} to {b:.2f}" if np.isfinite(a) else CANNOT_TELL
                for a, b in zip(factor["seal_low"], factor["seal_high"], strict=True)
            ],
        }
    )
    blocks: list[Block] = [
        Exhibit(
            "leak-strip",
            "All seals at a glance",
            "One row a seal position, one cell a quarter: middle of its readings, darker is more; "
            "lightest: all below detection; blank: not read. Ticks: renewals. By class, the "
            "highest of the last year on top.",
            study.readings.for_trends[
                ["position_id", "service_class", "date", "low", "high", "kind", "measured_in"]
            ],
            leak_strip_figure(study.readings),
            alt="Middle leakage of each seal position by quarter.",
            rests_on=("lives",),
        ),
        Exhibit(
            "leak-slopes",
            "How leakage goes on over a seal's life, by class",
            "Factor by which the level changes in a year, over whole seal lives; 1 is no change. "
            f"Method: {slopes.method}; readings below detection by their bounds. "
            f"{level_text(slopes.level)}. Rises at the end of a life are short and hardly show.",
            table,
            shown=shown,
            rests_on=("lives",),
        ),
    ]
    totals = study.leakage.emissions
    if totals is not None:
        t = totals.table
        blocks.append(
            Exhibit(
                "emissions",
                "What all seals let out, by year",
                f"{totals.note} Method: {totals.method}.",
                t,
                shown=pd.DataFrame(
                    {
                        "Year": t[t.columns[0]].astype(str),
                        "kg": [
                            interval(v, a, b)
                            for v, a, b in zip(t["kg"], t["kg_low"], t["kg_high"], strict=True)
                        ],
                        "Status": t["status"].astype(str),
                    }
                ),
                rests_on=("lives",),
            )
        )
    return tuple(blocks)
