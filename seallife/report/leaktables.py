"""Tables of the page on leakage, as a reader wants them: over a limit, rising, foretold.

In: `Study`. Out: exhibits. Next: `seallife.report.pages.leakage`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from seallife.report.exhibit import Exhibit
from seallife.report.format import CANNOT_TELL, count, date_text, level_text, number, share_interval

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = [
    "READING_UNIT",
    "breach_words",
    "over_limits",
    "over_limits_in_words",
    "record_by_class",
    "rising_seals",
]

READING_UNIT = "Unit: one reading at one seal position, by one method."
_SHOWN = 40
_NEVER_FIRST = (
    "One reading over a legal limit is a leak under the rule, whatever the statistics say; report "
    "and repair under your own procedure and its deadlines. Limits are the site's own entries; "
    "this list is no record of compliance."
)


def over_limits_in_words(study: Study) -> str:
    """How many seals stand over a limit by their last reading; '' where nothing was read."""
    if not len(study.readings.table):
        return ""
    if not len(study.leakage.limits):
        return (
            "No limits of leakage are given, so no reading is held against one. Fill in the table "
            "leak_limits for each position, with the rule it comes from."
        )
    told = []
    for kind, words in (("legal", "a legal"), ("house", "a house")):
        sure, perhaps = _sure_and_perhaps(study.leakage.open_breaches(kind))
        part = (
            f"{count(len(sure), 'seal in service stands', 'seals in service stand')} over "
            f"{words} limit{_names(sure)}"
        )
        if len(perhaps):
            more = count(len(perhaps), "more", "more")
            part += f", of {more} it cannot be told{_names(perhaps)}"
        told.append(part)
    return f"By their last readings {'; '.join(told)}."


def _sure_and_perhaps(breaches: pd.DataFrame) -> tuple[list[str], list[str]]:
    """Positions over for sure, and others of which the readings cannot tell."""
    over = breaches["verdict"] == "over"
    sure = set(breaches.loc[over, "position_id"])
    return sorted(sure), sorted(set(breaches.loc[~over, "position_id"]) - sure)


def _names(names: list[str]) -> str:
    """Positions in brackets, the rest counted."""
    if not names:
        return ""
    more = f" and {len(names) - 6:,} more" if len(names) > 6 else ""
    return f" ({', '.join(names[:6])}{more})"


def breach_words(study: Study) -> str:
    """What comes before everything else: seals over a legal limit; '' where none is."""
    if not study.leakage.limited:
        return ""
    sure, perhaps = _sure_and_perhaps(study.leakage.breaches)
    told = []
    if sure:
        told.append(f"Over a legal limit of leakage by the last reading: {', '.join(sure)}.")
    if perhaps:
        names = ", ".join(perhaps)
        told.append(f"May be over a legal limit, the last reading cannot tell: {names}; re-read.")
    if told:
        told.append("Act now, by your own procedure and its deadlines.")
    return " ".join(told)


def over_limits(study: Study) -> Exhibit | None:
    """Every reading over a limit, legal ones first; nothing of it can be left out."""
    found = study.leakage.exceedances
    table = found.table
    if not len(study.leakage.limits):
        return None
    # all legal ones and all that are open stand on the page, of the rest the newest
    must = (table["kind"] == "legal") | (table["state"] == "open")
    rest = table[~must].head(max(_SHOWN - int(must.sum()), 0))
    rows = pd.concat([table[must], rest]).sort_index()
    left = len(table) - len(rows)
    shown = pd.DataFrame(
        {
            "Limit": rows["kind"].astype(str),
            "Seal position": rows["position_id"].astype(str),
            "Read on": [date_text(d) for d in rows["date"]],
            "Reading": [
                _bounds(a, b, u)
                for a, b, u in zip(rows["low"], rows["high"], rows["reading_unit"], strict=True)
            ],
            "Limit at": [
                f"{number(v)} {u}" for v, u in zip(rows["limit"], rows["reading_unit"], strict=True)
            ],
            "Over": rows["verdict"].astype(str),
            "State": rows["state"].astype(str),
            "By": rows["citation"].astype(str),
        }
    )
    counts = found.counts.set_index("kind")
    told = "; ".join(
        f"{kind}: {count(r['readings'], 'reading')} held against one, {r['over']:,} over, "
        f"{r['cannot_tell']:,} cannot tell"
        for kind, r in counts.iterrows()
        if r["readings"]
    )
    unheld = int(counts["no_limit"].min()) if len(counts) else 0
    messages = " ".join(f"{m}." for m in found.messages["message"].astype(str).head(4))
    return Exhibit(
        "over-limits",
        "Readings over a limit",
        f"{_NEVER_FIRST} {told or 'No reading meets a limit'}. "
        + f"{count(unheld, 'reading has', 'readings have')} no limit of any kind. " * bool(unheld)
        + "State: open where the seal is still in and its last reading is not below; closed where "
        "a later reading is below, or the seal was renewed. "
        + (
            f"{count(left, 'closed row', 'closed rows')} of house limits more in the file. "
            * bool(left)
        )
        + (f"To be mended: {messages} " if messages else "")
        + READING_UNIT,
        table,
        shown=shown,
        rests_on=("lives",),
    )


def _bounds(low: float, high: float, unit: str) -> str:
    if np.isinf(high):
        return f"above {number(low)} {unit}"
    if low < high:
        return f"{number(low)} to {number(high)} {unit}"
    return f"{number(low)} {unit}"


def rising_seals(study: Study) -> Exhibit:
    """Seals in service whose leakage rises, with what to do next."""
    table = study.leakage.rising
    ahead = study.leakage.forecast
    rules = study.settings.rules
    unit = table["measured_in"].astype(str)
    shown = pd.DataFrame(
        {
            "Seal position": table["position_id"].astype(str),
            "Class": table["service_class"].astype(str),
            "Leakage": table["state"].astype(str),
            "Level before": [
                f"{number(v)} {u}" for v, u in zip(table["baseline"], unit, strict=True)
            ],
            "Level now": [
                _level(v, u) for v, u in zip(table["ahead_level_now"], unit, strict=True)
            ],
            "Doubles in, days": [
                _days(*v) for v in zip(*(table[f"ahead_doubling_{e}"] for e in _ENDS), strict=True)
            ],
            "Limit": [
                f"{number(v)} {u}" if np.isfinite(v) else "none given"
                for v, u in zip(table["ahead_limit"], unit, strict=True)
            ],
            "Days to it": [
                _days(*v)
                for v in zip(
                    table["ahead_days"],
                    table["ahead_days_low"],
                    table["ahead_days_high"],
                    strict=True,
                )
            ],
            "Next": table["next_step"].astype(str),
        }
    )
    alarms = study.leakage.alarms.values()
    noise = "; ".join(
        f"{name}: readings of one level scatter by a factor of {np.exp(a.sigma):.1f}"
        for name, a in study.leakage.alarms.items()
        if np.isfinite(a.sigma)
    )
    watched = sum(a.months for a in alarms)
    return Exhibit(
        "rising",
        "Seals whose leakage rises",
        "Those over a limit first, then by the earliest time. Rising: the readings up to the last "
        f"one speak for a rise, at {rules.false_alarms:g} false alarms in 100 position-months "
        f"({watched:,.0f} watched, so some {rules.false_alarms * watched / 100:,.0f} by chance "
        "over the whole record); confirmed: two of three readings in a row above the warning "
        "line. Days to the limit: of the level were it to rise on as it does, counted from the "
        f"last reading, {level_text(rules.level)}; never a reason to wait, and no statement on one "
        f"seal. {noise}. Method: {ahead.method}. {READING_UNIT}",
        table,
        shown=shown,
        rests_on=("lives",),
    )


_ENDS = ("days", "low", "high")


def _level(value: float, unit: str) -> str:
    return f"{number(value)} {unit}" if np.isfinite(value) else CANNOT_TELL


def _days(value: float, low: float, high: float) -> str:
    """Days with their range."""
    if np.isfinite(value):
        tail = f"{high:,.0f}" if np.isfinite(high) else "open"
        return f"{value:,.0f} ({low:,.0f}\u2013{tail})"
    return f"{low:,.0f} or more" if np.isfinite(low) else CANNOT_TELL


def record_by_class(study: Study) -> Exhibit:
    """What share of failures leakage foretold, by class."""
    record = study.leakage.record
    table = record.table
    shown = pd.DataFrame(
        {
            "Class": table["group"].replace("all", "whole fleet").astype(str),
            "Failures of seals read": [f"{n:,}" for n in table["failures"]],
            "Foretold": [
                f"{k:,}: {share_interval(v, a, b)}" if np.isfinite(v) else CANNOT_TELL
                for k, v, a, b in zip(
                    table["foretold"],
                    table["share"],
                    table["share_low"],
                    table["share_high"],
                    strict=True,
                )
            ],
            f"In time ({record.lead_d:.0f} d)": [
                share_interval(v, a, b) if np.isfinite(v) else CANNOT_TELL
                for v, a, b in zip(
                    table["in_time_share"],
                    table["in_time_share_low"],
                    table["in_time_share_high"],
                    strict=True,
                )
            ],
            "By chance": [
                f"{100 * v:.0f} %" if np.isfinite(v) else CANNOT_TELL
                for v in table["time_in_alarm"]
            ],
            "No warning": [f"{n:,}" for n in table["silent"]],
            "Not read": [f"{n:,}" for n in table["not_read"]],
            "Half of the leads, days": [
                f"{m:,.0f} ({a:,.0f}\u2013{b:,.0f})" if np.isfinite(m) else CANNOT_TELL
                for m, a, b in zip(
                    table["lead_median"], table["lead_low"], table["lead_high"], strict=True
                )
            ],
            "False alarms in 100 months": [
                f"{number(v)} ({number(a)}\u2013{number(b)})" if np.isfinite(v) else CANNOT_TELL
                for v, a, b in zip(
                    table["false_per_100"],
                    table["false_per_100_low"],
                    table["false_per_100_high"],
                    strict=True,
                )
            ],
        }
    )
    return Exhibit(
        "alarm-record-by-class",
        "Did leakage foretell failures here, by class?",
        "Alarms as they would have been given with the readings up to each day. In time: at least "
        f"{record.lead_d:.0f} days before. By chance: share of readings in alarm, which random "
        "alarms would foretell. No warning: read within "
        f"{record.stale_d:.0f} days, and quiet. False: no failure of that seal within "
        f"{record.window_d:.0f} days. Exact limits, {level_text(record.level)}, each by itself. "
        "Leads: middle half in brackets. Seals that were pulled on rising leakage count as failed. "
        + READING_UNIT,
        table,
        shown=shown,
        rests_on=("lives",),
    )
