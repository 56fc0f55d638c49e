"""Readings of leakage: what was read at which seal, between which bounds, and what cannot be used.

In: `Fleet`, `Register`, `LifeTable`, `Changes`, `RunClock`. Out: `Readings`. Next:
`seallife.leakage.trend`, `seallife.leakage.alarms`, `seallife.leakage.limits`.

A reading below detection lies between nothing and the limit, one off the scale between the scale's
end and infinity; neither is ever given a value. A segment holds the readings of one seal life by
one method and instrument; it ends with the seal, and where the position was changed around it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from seallife.changes import Changes
from seallife.clocks import RunClock, day_number
from seallife.findings import Severity, join_findings, make_findings, set_aside_findings
from seallife.intake import Fleet
from seallife.leakage.bounds import READ_AS_RATE, with_bounds
from seallife.leakage.placing import place_in_lives, place_readings
from seallife.leakage.supplies import SUPPLY, with_supply_rates
from seallife.leakage.units import read_units
from seallife.leakage.words import WORD_SCALE, read_words
from seallife.lives import LifeTable
from seallife.register import Register

__all__ = ["Readings", "read_leakage"]


@dataclass(frozen=True)
class Readings:
    """Leakage as read.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a reading, by position and date: record_id, position_id, site, unit (of the plant),
        service_class, life_id ('' where no seal is on record), segment (number; -1 without seal),
        date, day (number), method, quantity, measured_in (unit of the bounds), value (as written,
        converted; NaN for words), low, high (bounds, less the local background), kind ('exact',
        'below', 'above', 'word', 'reference': a record of a barrier system that tells no loss by
        itself), age_d, age_h (of the seal, NaN where not known), to_end_d (days
        until the life's end), at (see `seallife.leakage.placing.place_in_lives`), doubt ('' or why
        the reading is kept out of trends).
    findings : pandas.DataFrame
        Readings set aside, and doubts.
    detection : pandas.DataFrame
        method, measured_in, limit, from: what each method can see, and how that is known.
    """

    table: pd.DataFrame
    findings: pd.DataFrame
    detection: pd.DataFrame

    @property
    def for_trends(self) -> pd.DataFrame:
        """Readings of a running seal that trends may rest on."""
        t = self.table
        good = (t["doubt"] == "") & (t["segment"] >= 0) & (t["kind"] != "reference")
        return t[good & t["quantity"].isin([*READ_AS_RATE, SUPPLY])]


def read_leakage(
    fleet: Fleet,
    register: Register,
    lives: LifeTable,
    changes: Changes,
    clock: RunClock,
    service_class: pd.Series,
) -> Readings:
    """What was read at each seal, and which readings cannot be used?

    Parameters
    ----------
    fleet, register, lives, changes, clock
        See the modules that make them.
    service_class : pandas.Series
        Position -> class.

    Returns
    -------
    Readings
        Every reading is in ``table`` or has a finding that sets it aside. A reading that may be
        over a limit is in ``table`` whatever doubt there is of it.
    """
    pumps = register.table.drop_duplicates("pump_key").set_index("pump_key")
    rows, findings = _placed(fleet, register, pumps["tag"])
    rows = rows.join(place_in_lives(rows, lives, changes, clock))
    lone = (rows["at"] == "no seal on record") & (rows["held"] == "")
    findings += _of_places(rows, lone)
    rows["doubt"] = rows["held"].mask(lone, "no seal on record")
    rows["segment"] = _segments(rows)
    rows, said, detection = with_bounds(rows, subtract=fleet.settings.rules.subtract_background)
    findings += said
    rows, said = with_supply_rates(rows, clock)
    findings += said
    rows = rows.drop(columns=["site", "unit"]).join(pumps[["site", "unit"]], on="pump_key")
    first = rows["pump_key"].map(pumps["position_id"])
    rows["service_class"] = rows["position_id"].map(service_class).fillna(first.map(service_class))
    rows["day"] = day_number(rows["date"])
    table = rows[list(_COLUMNS)].reset_index(drop=True)
    return Readings(table, join_findings(findings), detection)


_COLUMNS = (
    *("record_id", "position_id", "site", "unit", "service_class", "life_id", "segment"),
    *("date", "day", "method", "quantity", "measured_in", "value", "low", "high", "kind"),
    *("age_d", "age_h", "to_end_d", "at", "doubt"),
)


def _placed(
    fleet: Fleet, register: Register, tags: pd.Series
) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    """Readings that have a position, a date, a unit and a value; the others are set aside.

    ``tags`` are those of the pumps, by their keys.
    """
    rows = fleet["leak_readings"]
    findings: list[pd.DataFrame] = []

    def set_aside(
        check: str, severity: Severity, gone: pd.Series, message: str, column: str = ""
    ) -> None:
        nonlocal rows
        findings.append(set_aside_findings(check, severity, rows[gone], message, column))
        rows = rows[~gone]

    again = rows.drop(columns="record_id").duplicated()
    set_aside("duplicate row", "note", again, "the same reading stands in an earlier row")
    rows = rows.join(place_readings(rows, register))
    lost = rows["pump_key"] == ""
    set_aside(
        "not in register", "ask", lost, "'{value}' is not in the register; add or mend it", "tag"
    )
    set_aside("no usable date", "ask", rows["date"].isna(), "the reading has no date; find it")
    rows = rows.assign(held="")
    blind = rows["position_id"] == ""
    end = fleet.settings.data_end
    past = pd.Timestamp.max if end is None else pd.Timestamp(end) + pd.Timedelta(days=1)
    late = rows["date"] >= past
    for check, which, sentence, column in (
        (
            "end of pump not named",
            blind,
            "'{value}' has two seals; say at which end the leakage was read",
            "tag",
        ),
        (
            "reading after the end of data",
            late & ~blind,
            "read on {value}; is data_end right, or the date?",
            "date",
        ),
    ):
        findings.append(
            make_findings(
                check,
                "ask",
                rows.loc[which, "record_id"],
                sentence,
                column=column,
                value=rows.loc[which, column],
                action="kept out of trends; held against limits",
            )
        )
        rows["held"] = rows["held"].mask(which, check)
    # one of the two seals leaks: no limit may lose it for want of the end
    tag = rows["pump_key"].map(tags)
    rows["position_id"] = rows["position_id"].mask(blind, tag + " (end not named)")
    word = read_words(rows["word"]).codes
    told = word.notna() & rows["value"].isna()
    puzzling = rows["value"].isna() & word.isna() & (rows["word"] != "")
    set_aside(
        "word for leakage not understood",
        "doubt",
        puzzling,
        "'{value}' is none of the words for how much leaks: " + ", ".join(WORD_SCALE),
        "word",
    )
    rows = rows.assign(code=word.astype("Float64").astype(float), is_word=told)
    empty = rows["value"].isna() & ~rows["is_word"] & (rows["flag"] == "")
    set_aside("reading without value", "note", empty, "nothing was measured")
    rows = rows.join(read_units(rows["unit"]))
    strange = (rows["quantity"] == "") & ~rows["is_word"]
    set_aside(
        "unit not known",
        "ask",
        strange,
        "'{value}' is no unit of leakage known here; translate it under [codes.unit] in fleet.toml",
        "unit",
    )
    negative = (rows["value"] < 0) & (rows["quantity"] != "pressure")
    set_aside(
        "negative reading",
        "ask",
        negative,
        "{value} cannot be; was the background taken off before? write the reading as it stood",
        "value",
    )
    for column in ("quantity", "measured_in"):
        rows[column] = rows[column].mask(rows["is_word"], "word")
    rows["method"] = rows["method"].mask(rows["method"] == "", rows["quantity"])
    rows = rows.sort_values(["position_id", "method", "date", "record_id"], kind="stable")
    return rows.reset_index(drop=True), findings


def _of_places(rows: pd.DataFrame, none: pd.Series) -> list[pd.DataFrame]:
    """Say which readings fall outside the lives on record, or on the day of a change."""
    change = rows["at"].isin(["day of change", "seal out"])
    return [
        make_findings(
            "reading without a seal",
            "doubt",
            rows.loc[none, "record_id"],
            "no seal is on record at '{value}' on that day: before it was in use, after it was "
            "retired, or in a gap of the records",
            column="date",
            value=rows.loc[none, "position_id"],
            action="kept out of trends; held against limits",
        ),
        make_findings(
            "read while the seal was changed",
            "note",
            rows.loc[change, "record_id"],
            "the reading of {value} falls between a seal's end and its successor's start",
            column="date",
            value=rows.loc[change, "date"],
            action="the first or highest belongs to the seal that came out",
        ),
    ]


def _segments(rows: pd.DataFrame) -> pd.Series:
    """Number the runs of readings that may be held against each other; -1 without a seal."""
    key = ["position_id", "life_id", "method", "measured_in", "instrument_no", "epoch"]
    number = rows[rows["life_id"] != ""].groupby(key, sort=True).ngroup()
    return number.reindex(rows.index).fillna(-1).astype(np.int64)
