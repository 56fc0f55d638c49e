"""From removal records to removals: one event each time a seal came out.

In: `Orders` or the site's own removals. Out: `Removals`. Next: `seallife.lives`,
`seallife.history`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from seallife.findings import Severity, join_findings, make_findings, set_aside_findings
from seallife.intake import Fleet
from seallife.intake.damage import leak_path, listed_damage
from seallife.jobs import MENTIONS, join_orders
from seallife.observation import Observation
from seallife.orders import UNPLACED, read_orders
from seallife.register import Register, match_tags
from seallife.schema import ENDED_BY

__all__ = ["Removals", "find_removals"]


@dataclass(frozen=True)
class Removals:
    """Seal removals.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a removal: removal_id, position_id ('' where the end of the pump is not known),
        pump_key, site, end, end_low, back, date_kind, reason, ended ('failed', 'withdrawn',
        'unknown'), confidence, evidence, fitting_fault, damage (what was found wrong with the seal,
        a group of `seallife.schema.DAMAGE`), damage_evidence, leak_path (of
        `seallife.schema.LEAK_PATHS`, or 'unknown'), serial_out, serial_in, lot and crew (of the
        seal that went in, '' where not told), record_id (the first order), record_ids (all, blank
        between), orders (their number), repeat_days (since the pump's return from the last removal
        at this position).
    findings : pandas.DataFrame
        Orders set aside or merged, doubts.
    waterfall : pandas.DataFrame
        step, kind ('total' or 'loss'), count: from rows read to failures.
    unplaced : pandas.DataFrame
        Records of removals that could not be placed, so that they are in no rate: record_id,
        site ('' where not known), end (NaT where not known), reason, why (name of the check).
    """

    table: pd.DataFrame
    findings: pd.DataFrame
    waterfall: pd.DataFrame
    unplaced: pd.DataFrame


def find_removals(fleet: Fleet, register: Register, watched: Observation) -> Removals:
    """Which seals came out, when, why, and in which records does it stand?

    Orders on one position whose work touches within ``merge_gap_days`` are one removal: the
    earliest end, the latest return, and the reason with the best evidence count. See
    `seallife.jobs` for what parts and what joins them.

    Raises
    ------
    InputError
        Most orders on a seal name no pump of the register.
    """
    orders = read_orders(fleet, register)
    own, own_findings, own_counts, lost = _from_removals_table(fleet, register)
    unplaced = [orders.unplaced, lost]
    rows = pd.concat([t for t in (orders.table, own) if len(t)] or [orders.table])
    rows = rows.reset_index(drop=True)
    mentions = rows[rows["kind"].isin(MENTIONS)]
    rows = rows.drop(index=mentions.index)
    counts = pd.concat([orders.counts, own_counts], ignore_index=True)
    findings = [orders.findings, own_findings]
    left = counts[counts["step"] != "seal removals"]
    steps = list(zip(left["step"].astype(str), left["records"].astype(int), strict=True))

    def set_aside(check: str, severity: Severity, gone: pd.Series, message: str) -> None:
        nonlocal rows
        found, rows = rows[gone], rows[~gone]
        # An order on two seals is set aside only when neither is left.
        found = found[~found["record_id"].isin(rows["record_id"])]
        steps.append((check, found["record_id"].nunique()))
        findings.append(set_aside_findings(check, severity, found, message, "end"))
        if severity == "ask":
            unplaced.append(found.drop_duplicates("record_id").assign(why=check)[list(UNPLACED)])

    place = _place(rows, register, watched)
    set_aside(
        "before commissioning",
        "ask",
        rows["end"] < place["commissioned"],
        "the seal came out on {value}, before the position was commissioned; tag used before?",
    )
    place = place.loc[rows.index]
    set_aside(
        "after retirement",
        "ask",
        rows["end"] > place["retired"],
        "the seal came out on {value}, after the position was retired; tag used again?",
    )
    place = place.loc[rows.index]
    findings.append(_after_the_end(rows, place))
    outside = (rows["end"] < place["start"]) | (rows["end"] >= place["stop"])
    set_aside(
        "outside the records",
        "note",
        outside | place["start"].isna(),
        "{value} lies outside the time for which records are complete",
    )
    rows = pd.concat([rows, mentions], ignore_index=True) if len(mentions) else rows
    table, joined, alone = join_orders(rows, fleet.settings.rules.merge_gap_days)
    findings.append(joined)
    free = rows["kind"].where(rows.index.isin(alone.index), "")
    set_aside(
        "seal change mentioned",
        "doubt",
        free == "seal change mentioned",
        "{value}: it speaks of a seal change that no order records; look for that order",
    )
    set_aside(
        "seal looked at",
        "note",
        free.loc[rows.index] == "rework",
        "the seal was looked at or adjusted; it stayed in",
    )
    table["ended"] = table["reason"].map(ENDED_BY)
    read = len(fleet["work_orders"]) + len(fleet["removals"])
    return Removals(
        table,
        join_findings(findings),
        _waterfall(read, steps, rows, table),
        pd.concat([u for u in unplaced if len(u)] or [orders.unplaced], ignore_index=True),
    )


def _after_the_end(rows: pd.DataFrame, place: pd.DataFrame) -> pd.DataFrame:
    """At which sites do removals lie after the end of records, as they do when it is wrong?"""
    late = rows[(rows["end"] >= place["stop"]) & place["retired"].isna()]
    by = late.groupby("site")["end"].agg(["size", "max"])
    return make_findings(
        "removals after the end of records",
        "ask",
        by.index,
        [
            f"{n} removals of {site} lie after the end of its records, the last on {day:%Y-%m-%d}; "
            "is data_end right, and the order of day and month?"
            for site, n, day in zip(by.index, by["size"], by["max"], strict=True)
        ],
        column="end",
        value=by["size"],
        action="not counted",
    )


def _place(rows: pd.DataFrame, register: Register, watched: Observation) -> pd.DataFrame:
    """Dates between which each row can lie: of its position, or of any seal of its pump."""
    at_risk = watched.stretches.groupby("position_id").agg(
        start=("start", "min"), stop=("end", "max")
    )
    dates = register.table[["position_id", "pump_key", "commissioned", "retired"]]
    dates = dates.join(at_risk, on="position_id")
    by_position = dates.set_index("position_id").drop(columns="pump_key")
    by_pump = (
        dates.drop(columns="position_id")
        .groupby("pump_key")
        .agg(
            commissioned=("commissioned", "min"),
            retired=("retired", "max"),
            start=("start", "min"),
            stop=("stop", "max"),
        )
    )
    named = rows["position_id"] != ""
    return pd.concat(
        [
            by_position.reindex(part["position_id"]).set_axis(part.index)
            if is_named
            else by_pump.reindex(part["pump_key"]).set_axis(part.index)
            for is_named, part in rows.groupby(named)
        ]
        or [by_pump.iloc[:0]]
    ).reindex(rows.index)


def _from_removals_table(
    fleet: Fleet, register: Register
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Bring a site's own list of removals into the shape of understood orders."""
    own = fleet["removals"]
    no_counts = pd.DataFrame({"step": pd.Series(dtype=object), "records": pd.Series(dtype=int)})
    if own.empty:
        return own, join_findings([]), no_counts, own.reindex(columns=list(UNPLACED))
    positions = register.table
    pumps = match_tags(own["tag"], own["site"], register)
    name = own["tag"] + np.where(own["seal_end"] != "", "-" + own["seal_end"], "")
    name = own["position_id"].where(own["position_id"] != "", name)
    known = set(positions["position_id"])
    at_site = own["site"] + "/" + name
    name = name.mask(at_site.isin(known), at_site)
    single = positions[~positions["pump_key"].duplicated(keep=False)]
    only = pumps["pump_key"].map(single.set_index("pump_key")["position_id"])
    position = name.where(name.isin(known), only).fillna("")
    by_name = positions.set_index("position_id")
    key = position.map(by_name["pump_key"]).fillna(pumps["pump_key"])
    found = listed_damage(own["damage"], own["cause"])
    rows = pd.DataFrame(
        {
            "record_id": own["record_id"],
            "wo_no": "",
            "pump_key": key,
            "site": key.map(positions.drop_duplicates("pump_key").set_index("pump_key")["site"]),
            "position_id": position,
            "end": own["date"].dt.normalize(),
            "end_low": own["date_low"].dt.normalize(),
            "back": own["back_in_service"].fillna(own["date"]).dt.normalize(),
            "date_kind": "removal date",
            "reason": own["reason"].where(own["reason"] != "", "unknown"),
            "confidence": 0.95,
            "evidence": own["cause"],
            "fitting_fault": False,
            "damage": found["damage"],
            "damage_evidence": found["damage_evidence"],
            "leak_path": leak_path(own["mode_code"]),
            "serial_out": own["serial_out"],
            "serial_in": own["serial_in"],
            "lot": own["lot"].str.upper(),
            "crew": own["crew"],
            "kind": "removal",
            "renewed": True,
            "seal_drawn": False,
            "rework": False,
        }
    )
    lost, dateless = rows["pump_key"] == "", rows["end"].isna()
    again = rows.duplicated(["position_id", "end"]) & (position != "")
    puzzling = (own["damage"] != "") & (rows["damage"] == "unknown")
    puzzling &= own["damage"].str.casefold() != "unknown"
    findings = [
        make_findings(
            "damage not understood",
            "doubt",
            rows.loc[puzzling, "record_id"],
            "'{value}' tells no kind of damage; translate it under [codes.damage] in fleet.toml",
            column="damage",
            value=own.loc[puzzling, "damage"],
            action="damage unknown",
        ),
        make_findings(
            "two removals on one day",
            "doubt",
            rows.loc[again, "record_id"],
            "another removal of '{value}' bears the same date; if it is the same one, take it out",
            column="date",
            value=rows.loc[again, "position_id"],
            action="both counted",
        ),
        make_findings(
            "not in register",
            "ask",
            rows.loc[lost, "record_id"],
            "'{value}' is not in the register; add it or mend the name",
            column="position_id",
            value=name[lost],
            action="set aside",
            set_aside=True,
        ),
        make_findings(
            "no usable date",
            "ask",
            rows.loc[dateless & ~lost, "record_id"],
            "the removal has no date; find it",
            column="date",
            action="set aside",
            set_aside=True,
        ),
    ]
    counts = pd.DataFrame(
        {
            "step": ["not in register", "no usable date"],
            "records": [int(lost.sum()), int((dateless & ~lost).sum())],
        }
    )
    why = np.where(lost, "not in register", "no usable date")
    aside = rows.assign(site=own["site"], why=why)[lost | dateless][list(UNPLACED)]
    return rows[~lost & ~dateless], join_findings(findings), counts, aside


def _waterfall(
    read: int, steps: list[tuple[str, int]], rows: pd.DataFrame, table: pd.DataFrame
) -> pd.DataFrame:
    """Rows read -> removal records -> removals -> failures, with what left on the way."""
    lines: list[tuple[str, str, int]] = [("records read", "total", read)]
    joined: dict[str, int] = {}
    for step, count in steps:
        joined[step] = joined.get(step, 0) + count
    lines += [(step, "loss", count) for step, count in joined.items() if count]
    records = rows["record_id"].nunique()
    lines.append(("records of seal removals", "total", records))
    extra = len(rows) - records
    if extra:
        lines.append(("second seal in one order", "gain", extra))
    lines.append(("joined to another record", "loss", len(rows) - len(table)))
    lines.append(("removals", "total", len(table)))
    for ended in ("withdrawn", "unknown"):
        count = int((table["ended"] == ended).sum())
        lines.append((f"{ended}: reason", "loss", count))
    lines.append(("failures", "total", int((table["ended"] == "failed").sum())))
    names = {"withdrawn: reason": "withdrawn in good order", "unknown: reason": "reason unknown"}
    return pd.DataFrame(
        [(names.get(s, s), k, c) for s, k, c in lines], columns=["step", "kind", "count"]
    )
