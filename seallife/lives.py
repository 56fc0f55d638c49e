"""From removals to seal lives: one row each, with entry age, both clocks and an honest end.

In: `Register`, `Observation`, `Removals`, `Changes`, `RunClock`. Out: `LifeTable`. Next:
`seallife.life`, `seallife.history`.

A life begins with an installation and is on record from its entry age to its exit age. It ends
'failed', 'withdrawn' (pulled in good order), 'in service' (still running at the end of data) or
'lost' (records stop, the position is retired, or nobody knows which of two seals came out).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from seallife.changes import Changes, with_epochs
from seallife.clocks import RunClock, day_number
from seallife.events import Removals
from seallife.findings import join_findings, make_findings
from seallife.observation import Observation
from seallife.register import Register
from seallife.serials import carry_ages
from seallife.settings import Rules

__all__ = ["LifeTable", "build_lives", "with_unknown_as"]


@dataclass(frozen=True)
class LifeTable:
    """Seal lives.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a life, ordered by position and start of record: life_id, position_id, site,
        unit, tag, seal_end, pump_type, arrangement, duty, service_class, start (installation, NaT
        where not
        known), entry, exit (dates between which it was on record), age_known, entry_age_d,
        exit_age_d, exit_low_d (youngest age at the end, where the day is not known),
        entry_age_h, exit_age_h, exit_low_h, days, hours (on record), hours_low, hours_high
        (bounds of the hours, see `RunClock.spread`), metered (share of the hours seen by a meter),
        hours_from, end, reason, confidence, fitting_fault, damage and leak_path (of lives that
        failed, '' for others; see `seallife.events.Removals`), removal_id, start_record,
        end_record, start_kind, lot and crew (of the seal and of its fitting, '' where not told),
        serial, rebuild_no (NaN without serial number), moved_from (the life that the same seal had
        before; its age goes on), epoch (number of the position's configuration at the life's
        start).
    findings : pandas.DataFrame
        Lives whose begin is not known, lives without length, moved seals, changes within lives.
    unknown_as : str
        How a removal of unknown reason ends a life here.
    found : pandas.DataFrame
        damage and leak_path by row of ``table``, whatever the life's end.
    """

    table: pd.DataFrame
    findings: pd.DataFrame
    unknown_as: str
    found: pd.DataFrame = field(default_factory=pd.DataFrame)


def build_lives(
    register: Register,
    watched: Observation,
    removals: Removals,
    clock: RunClock,
    service_class: pd.Series,
    rules: Rules,
    changes: Changes,
) -> LifeTable:
    """How long did each seal live, from when is it on record, and how did it end?

    Each stretch of observation opens with the seal then in service; each removal closes one life
    and opens the next. Where the end of the pump is not named, the lives of both its seals are
    lost and both begin again with unknown age. Where an order took the pump out for good and no
    later removal shows it running, no life begins again. A change of the position closes a life
    only where the seal was renewed for it.
    """
    marks = _marks(register, watched, removals, changes)
    rows = _between(marks, rules)
    ages, findings = _with_ages(rows, clock)
    ages, spans = with_epochs(ages, changes)
    findings += spans
    about = register.table.set_index("position_id")[list(_POSITION_COLUMNS)]
    ages = ages.join(about, on="position_id")
    ages["service_class"] = ages["position_id"].map(service_class)
    found = ages[["damage", "leak_path"]]
    resolved = _resolve_unknown(ages, rules.unknown_reason, found)
    return LifeTable(resolved, join_findings(findings), rules.unknown_reason, found)


_POSITION_COLUMNS = ("site", "unit", "tag", "seal_end", "pump_type", "arrangement", "duty")


def with_unknown_as(lives: LifeTable, ended: str) -> LifeTable:
    """What would the lives be if every removal of unknown reason were a failure, or none?

    Parameters
    ----------
    ended : {'failed', 'withdrawn'}
    """
    table = _resolve_unknown(lives.table, ended, lives.found)
    return LifeTable(table, lives.findings, ended, lives.found)


def _resolve_unknown(table: pd.DataFrame, ended: str, found: pd.DataFrame) -> pd.DataFrame:
    """Give removals of unknown reason an end; only what failed has a damage."""
    end = table["end"].mask(table["reason"] == "unknown", ended)
    damage = {c: found[c].where(end == "failed", "") for c in found.columns}
    return table.assign(end=end, **damage)


def _marks(
    register: Register, watched: Observation, removals: Removals, changes: Changes
) -> pd.DataFrame:
    """All points in time at which a life opens: begins of stretches, and removals."""
    positions = register.table
    about = positions.set_index("position_id")
    opens = watched.stretches.assign(mark=0, at=watched.stretches["start"])
    first = ~opens["position_id"].duplicated()
    installed = opens["position_id"].map(about["seal_installed"])
    commissioned = opens["position_id"].map(about["commissioned"])
    known = opens["starts_with"] == "commissioned"
    begun = installed.where(installed <= opens["start"]).where(first)
    # A seal date before commissioning can only be that of another machine.
    begun = begun.mask(begun < commissioned)
    opens["opens_at"] = begun.mask(known, opens["start"])
    opens["start_kind"] = np.where(
        known, "commissioned", np.where(begun.notna(), "last renewal known", "not known")
    )
    opens["start_record"] = opens["position_id"].map(about["record_id"])
    events = removals.table
    named = events[events["position_id"] != ""]
    blind = events[events["position_id"] == ""].drop(columns="position_id")
    blind = blind.merge(positions[["pump_key", "position_id"]], on="pump_key")
    silent = dict.fromkeys(("reason", "removal_id", "damage", "leak_path", "lot", "crew"), "")
    blind = blind.assign(ended="lost", **silent)
    blind["back"] = pd.NaT
    both = pd.concat([t for t in (named, blind) if len(t)] or [named])
    closes = pd.DataFrame(
        {
            "position_id": both["position_id"],
            "mark": 1,
            "at": both["end"],
            "opens_at": both["back"],
            "start_kind": np.where(both["back"].isna(), "not known", "renewed"),
            "start_record": both["record_ids"].str.split().str[-1],
            **{c: both[c] for c in _FROM_REMOVALS},
            "end_record": both["record_id"],
        }
    )
    marks = pd.concat([opens, closes, _unrecorded(changes)], ignore_index=True)
    marks = marks.sort_values(["position_id", "at", "mark"], kind="stable").reset_index(drop=True)
    # A removal belongs to the stretch that opened last before it.
    filled = marks.groupby("position_id")[["start", "end", "ends_with"]].ffill()
    marks[["start", "end", "ends_with"]] = filled
    inside = (marks["mark"] == 0) | ((marks["at"] >= marks["start"]) & (marks["at"] < marks["end"]))
    return marks[inside].reset_index(drop=True)


_FROM_REMOVALS = (
    "end_low",
    "ended",
    "reason",
    "confidence",
    "fitting_fault",
    "damage",
    "leak_path",
    "removal_id",
    "serial_out",
    "serial_in",
    "lot",
    "crew",
)


def _unrecorded(changes: Changes) -> pd.DataFrame:
    """Renewals that only the list of changes knows: the seal became another, without an order."""
    bare = changes.table[changes.table["new_seal"] & (changes.table["removal_id"] == "")]
    bare = bare.drop_duplicates(["position_id", "date"])
    return pd.DataFrame(
        {
            "position_id": bare["position_id"],
            "mark": 1,
            "at": bare["date"],
            "opens_at": bare["date"],
            "start_kind": "renewed",
            "start_record": bare["record_id"],
            "ended": "withdrawn",
            "reason": "upgrade",
            "fitting_fault": False,
            "damage": "",
            "leak_path": "",
            "removal_id": "",
            **dict.fromkeys(("serial_out", "serial_in", "lot", "crew"), ""),
            "end_record": bare["record_id"],
        }
    )


def _between(marks: pd.DataFrame, rules: Rules) -> pd.DataFrame:
    """Pair each mark with the next of its stretch: that is one life."""
    after = marks.shift(-1)
    closed = (after["position_id"] == marks["position_id"]) & (after["mark"] == 1)
    rows = pd.DataFrame(
        {
            "position_id": marks["position_id"],
            "start": marks["opens_at"],
            "entry": marks["opens_at"].fillna(marks["at"]).clip(lower=marks["start"]),
            "exit": after["at"].where(closed, marks["end"]),
            "exit_low": after["end_low"].where(closed),
            "end": after["ended"].where(closed, marks["ends_with"].map(_STRETCH_ENDS)),
            "reason": np.where(closed, after["reason"], ""),
            "confidence": after["confidence"].where(closed),
            "fitting_fault": closed & (after["fitting_fault"] == True),  # noqa: E712  (object column with gaps)
            "damage": after["damage"].where(closed, ""),
            "leak_path": after["leak_path"].where(closed, ""),
            "removal_id": np.where(closed, after["removal_id"], ""),
            "start_kind": marks["start_kind"],
            "start_record": marks["start_record"],
            "end_record": np.where(closed, after["end_record"], ""),
            **{c: marks[c].fillna("") for c in ("lot", "crew", "serial_in")},
            "serial_out": after["serial_out"].where(closed).fillna(""),
        }
    )
    if rules.lives_across_gaps == "same seal":
        carried = marks["mark"].eq(0) & marks["position_id"].eq(marks["position_id"].shift())
        before = rows["start"].shift().where(carried)
        rows["start"] = rows["start"].fillna(before)
        rows["start_kind"] = rows["start_kind"].mask(carried & before.notna(), "taken across a gap")
        for c in ("lot", "crew"):
            rows[c] = rows[c].mask(carried, rows[c].shift())
    return rows[~_after_retirement(marks)]


def _after_retirement(marks: pd.DataFrame) -> pd.Series:
    """Which marks open no life, as the position's last removal took the pump out for good?"""
    last = marks[marks["mark"] == 1].groupby("position_id").tail(1)
    gone = last[last["reason"] == "pump retired"].set_index("position_id")["at"]
    after = marks["at"] >= marks["position_id"].map(gone)
    return after.astype(bool)


_STRETCH_ENDS = {"data end": "in service", "gap": "lost", "retired": "lost"}


def _with_ages(rows: pd.DataFrame, clock: RunClock) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    """Add both clocks; a life without length is no life, and is said."""
    empty = rows["exit"] <= rows["entry"]
    # Where records stop before a seal is back in service there is nothing to ask: no life yet.
    same_day = rows[empty & (rows["removal_id"] != "")]
    findings = [
        make_findings(
            "life without length",
            "ask",
            same_day["end_record"],
            "the seal came out on {value}, the day it went in or before; look at both dates",
            column="end",
            value=same_day["exit"],
            action="no life; the removal still counts in rates",
        )
    ]
    rows = rows[~empty].reset_index(drop=True)
    rows["age_known"] = rows["start"].notna()
    origin, day_in, day_out = (day_number(rows[c]) for c in ("start", "entry", "exit"))
    day_low = day_number(rows["exit_low"])
    rows["entry_age_d"] = day_in - origin
    rows["exit_age_d"] = day_out - origin
    low = np.where(np.isnan(day_low), np.nan, np.maximum(day_low, day_in))
    rows["exit_low_d"] = low - origin
    rows["days"] = day_out - day_in
    h_origin, _ = clock.at(rows["position_id"], origin)
    h_in, m_in = clock.at(rows["position_id"], day_in)
    h_out, m_out = clock.at(rows["position_id"], day_out)
    h_low, _ = clock.at(rows["position_id"], low)
    rows["entry_age_h"] = h_in - h_origin
    rows["exit_age_h"] = h_out - h_origin
    rows["exit_low_h"] = h_low - h_origin
    rows["hours"] = h_out - h_in
    low_h, high_h = clock.spread(rows["position_id"], h_out - h_in, m_out - m_in)
    rows["hours_low"], rows["hours_high"] = low_h, high_h
    with np.errstate(invalid="ignore", divide="ignore"):
        rows["metered"] = np.where(rows["hours"] > 0, (m_out - m_in) / rows["hours"], 0.0)
    rows["hours_from"] = rows["position_id"].map(clock.source)
    rows.insert(0, "life_id", rows["position_id"] + " " + rows["entry"].dt.strftime("%Y-%m-%d"))
    rows, moves = carry_ages(rows)
    findings += moves
    unknown = rows[~rows["age_known"] & (rows["end_record"] != "")]
    findings.append(
        make_findings(
            "age not known",
            "note",
            unknown["end_record"],
            "nobody knows when the seal that came out went in; it counts in rates, not by age",
            action="kept out of fits by age",
        )
    )
    return rows, findings
