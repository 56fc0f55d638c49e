"""Dated changes of positions: which configuration a seal ran in, and what was renewed for it.

In: `Fleet`, `Register`, `Removals`. Out: `Changes`. Next: `seallife.lives`.

The register says what a position is today. Each date on its list of changes begins a new epoch of
the position; epoch 1 is what it was before the first.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from seallife.events import Removals
from seallife.findings import join_findings, make_findings
from seallife.intake import Fleet
from seallife.observation import was_packed
from seallife.register import Register, match_tags

__all__ = [
    "Changes",
    "name_upgrades",
    "read_changes",
    "record_breaks",
    "removals_named",
    "with_epochs",
]

_NEAR = pd.Timedelta(days=14)  # a removal so near a change was made for it
_RENEWING = ("seal", "flush plan")  # changes for which a seal may be renewed; others leave it


@dataclass(frozen=True)
class Changes:
    """Changes of positions.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a change in use, by position and date: position_id, date, what, begins (date from
        which the new configuration counts: the seal's removal where it was renewed for it),
        from_state, to_state (as written), epoch (2, 3, ...), removal_id ('' where no removal
        belongs to it), new_seal (the change says itself that the seal is another), record_id.
    findings : pandas.DataFrame
        Changes that cannot be placed.
    """

    table: pd.DataFrame
    findings: pd.DataFrame


def read_changes(fleet: Fleet, register: Register, removals: Removals) -> Changes:
    """When did each position become what it is, and which removals were part of it?"""
    raw = fleet["changes"]
    place = _positions(raw, register)
    other = raw["what"] == "records"
    lost = (place == "") & ~other
    dateless = raw["date"].isna() & ~lost & ~other
    findings = [
        make_findings(
            "change of an unknown position",
            "ask",
            raw.loc[lost, "record_id"],
            "'{value}' is not in the register, or is a pump with two seals; name the position",
            column="position_id",
            value=raw.loc[lost, "position_id"],
            action="set aside",
            set_aside=True,
        ),
        make_findings(
            "change without date",
            "ask",
            raw.loc[dateless, "record_id"],
            "the change has no date; find it",
            column="date",
            action="set aside",
            set_aside=True,
        ),
        make_findings(
            "change of records",
            "note",
            raw.loc[other, "record_id"],
            "the change is one of the records, not of the position",
            column="what",
            action="set aside",
            set_aside=True,
        ),
    ]
    rows = raw.assign(position_id=place, packed=was_packed(raw))[~lost & ~dateless & ~other]
    rows = rows.sort_values(["position_id", "date", "record_id"], kind="stable")
    rows = rows.reset_index(drop=True)
    at_it = _removal_at(rows, removals.table)
    begins = rows["date"].mask(at_it["end"] < rows["date"], at_it["end"])
    new = rows["position_id"].ne(rows["position_id"].shift()) | rows["date"].ne(
        rows["date"].shift()
    )
    table = rows[["position_id", "date", "what", "from_state", "to_state"]].assign(
        begins=begins.groupby([rows["position_id"], rows["date"]]).transform("min"),
        epoch=new.groupby(rows["position_id"]).cumsum().astype(np.int64) + 1,
        removal_id=at_it["removal_id"].fillna(""),
        new_seal=(rows["what"] == "seal") & ~rows["packed"],
        record_id=rows["record_id"],
    )
    return Changes(table, join_findings(findings))


def record_breaks(fleet: Fleet) -> tuple[pd.Timestamp, ...]:
    """On which days did it change what is recorded, in order? Figures on two sides do not mix."""
    raw = fleet["changes"]
    told = raw.loc[raw["what"] == "records", "date"].dropna()
    return tuple(sorted(set(told)))


def name_upgrades(removals: Removals, changes: Changes) -> Removals:
    """Which removals of unknown reason were made for a change of the position?

    Their reason becomes 'upgrade'; a reason that the records give stays.
    """
    table, at_change = removals.table, changes.table["removal_id"]
    named = (table["reason"] == "unknown") & table["removal_id"].isin(at_change[at_change != ""])
    return removals_named(removals, named, "upgrade", "its reason is on the list of changes")


def removals_named(removals: Removals, named: pd.Series, reason: str, why: str) -> Removals:
    """Give removals of unknown reason one that tells of a seal in good order, and say so."""
    count = int(named.sum())
    if not count:
        return removals
    table = removals.table.copy()
    table.loc[named, ["reason", "ended"]] = [reason, "withdrawn"]
    moved = removals.waterfall["step"].map(
        {"reason unknown": -count, "withdrawn in good order": count}
    )
    findings = make_findings(
        "reason from elsewhere",
        "note",
        table.loc[named, "record_id"],
        f"the order does not say why the seal came out; {why}",
        column="reason",
        value=reason,
        action=f"taken as {reason}",
    )
    return replace(
        removals,
        table=table,
        findings=join_findings([removals.findings, findings]),
        waterfall=removals.waterfall.assign(
            count=removals.waterfall["count"] + moved.fillna(0).astype(int)
        ),
    )


def with_epochs(rows: pd.DataFrame, changes: Changes) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    """In which configuration did each life begin, and which lives saw another?"""
    table = changes.table.sort_values("begins", kind="stable")
    began = pd.DataFrame(
        {"position_id": rows["position_id"], "begins": rows["start"].fillna(rows["entry"])}
    )
    ordered = began.sort_values("begins", kind="stable")
    found = pd.merge_asof(
        ordered, table[["position_id", "begins", "epoch"]], on="begins", by="position_id"
    )
    epoch = found["epoch"].set_axis(ordered.index).fillna(1).astype(np.int64)
    alone = changes.table[changes.table["removal_id"] == ""]
    within = alone.merge(rows[["position_id", "entry", "exit"]], on="position_id")
    within = within[(within["date"] > within["entry"]) & (within["date"] < within["exit"])]
    renewed = alone[alone["new_seal"] & alone["record_id"].isin(rows["end_record"])]
    return rows.assign(epoch=epoch), [
        make_findings(
            "change within a life",
            "note",
            within["record_id"],
            "'{value}' was changed and its seal ran on; the life counts where it began",
            column="date",
            value=within["position_id"],
            action="life goes on",
        ),
        make_findings(
            "seal changed without an order",
            "ask",
            renewed["record_id"],
            "the list of changes tells of another seal at '{value}', and no order does; find it",
            column="date",
            value=renewed["position_id"],
            action="life ends as upgrade; no removal counted",
        ),
    ]


def _positions(raw: pd.DataFrame, register: Register) -> pd.Series:
    """Find the position of each change: by its name, or by the tag of a pump with one seal."""
    table = register.table
    name = raw["position_id"]
    pumps = match_tags(name, pd.Series("", index=raw.index, dtype=object), register)
    single = table[~table["pump_key"].duplicated(keep=False)].set_index("pump_key")["position_id"]
    return name.where(name.isin(table["position_id"]), pumps["pump_key"].map(single)).fillna("")


def _removal_at(rows: pd.DataFrame, events: pd.DataFrame) -> pd.DataFrame:
    """Find the removal nearest to each change that may have been made for it."""
    pairs = rows.loc[rows["what"].isin(_RENEWING), ["position_id", "date"]].reset_index()
    columns = ["position_id", "removal_id", "end_low", "end", "back"]
    pairs = pairs.merge(events[columns], on="position_id")
    first = pairs["end_low"].fillna(pairs["end"])  # a removal may be known to the month only
    near = (pairs["date"] >= first - _NEAR) & (pairs["date"] <= pairs["back"] + _NEAR)
    pairs = pairs[near].assign(off=(pairs["date"] - pairs["end"]).abs())
    nearest = pairs.sort_values(["index", "off"]).drop_duplicates("index").set_index("index")
    return nearest[["removal_id", "end"]].reindex(rows.index)
