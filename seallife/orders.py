"""What each work order is about: which seal, when, and whether one was taken out.

In: `Fleet`, `Register`. Out: one row an order, and what was set aside. Next: `seallife.jobs`,
`seallife.events`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.findings import Severity, join_findings, make_findings, set_aside_findings
from seallife.intake import Fleet
from seallife.intake.damage import leak_path, read_damage
from seallife.intake.lots import read_lot
from seallife.intake.orderdates import order_dates
from seallife.intake.worktext import read_evidence, read_work
from seallife.places import match_pumps, pumps_from_text_or_serial, which_seal
from seallife.register import Register
from seallife.schema import LEAKAGE_CODES

__all__ = ["UNPLACED", "Orders", "read_orders"]

UNPLACED = ("record_id", "site", "end", "reason", "why")
"""What is known of a removal that could not be placed; ``why`` is the check that says so."""

_MANY = 10  # fewer orders that meet no pump may be chance
_TEXT_COLUMNS = ("wo_no", "tag", "seal_end", "short_text", "long_text", "part", "part_qty")
_DATE_COLUMNS = ("date_raised", "malfunction_start", "work_start", "work_end", "closed")
_COLUMNS: dict[str, Any] = {
    "record_id": object,
    "wo_no": object,
    "pump_key": object,
    "site": object,
    "position_id": object,
    "end": "datetime64[ns]",
    "end_low": "datetime64[ns]",
    "back": "datetime64[ns]",
    "date_kind": object,
    "reason": object,
    "confidence": float,
    "evidence": object,
    "fitting_fault": bool,
    "damage": object,
    "damage_evidence": object,
    "leak_path": object,
    "serial_out": object,
    "serial_in": object,
    "lot": object,
    "crew": object,
    "kind": object,
    "renewed": bool,
    "seal_drawn": bool,
    "rework": bool,
}


@dataclass(frozen=True)
class Orders:
    """Work orders as understood.

    Attributes
    ----------
    table : pandas.DataFrame
        One row for each order that tells of a seal removal, two where it tells of both seals of
        a pump: record_id, wo_no, pump_key, site, position_id ('' where the end is not known),
        end (date), end_low (NaT where the day is known), back, date_kind, reason, confidence,
        evidence, fitting_fault, damage and damage_evidence (what was found wrong with the seal, see
        `seallife.schema.DAMAGE`), leak_path, serial_out, serial_in; lot and crew (of the seal that
        went in, '' where not told); kind ('removal', 'pump
        retired'; 'seal change mentioned' and 'rework' go with another order's removal), renewed
        (something says that a seal went in), seal_drawn (the store's issue says it), rework.
    findings : pandas.DataFrame
        One or more for every order that is not in the table, and doubts about those that are.
    counts : pandas.DataFrame
        step, records: how many orders left at each step; they sum to the orders read.
    unplaced : pandas.DataFrame
        Orders that tell of a removal and were set aside for want of a pump or a date: columns
        `UNPLACED`.
    """

    table: pd.DataFrame
    findings: pd.DataFrame
    counts: pd.DataFrame
    unplaced: pd.DataFrame


def read_orders(fleet: Fleet, register: Register) -> Orders:
    """Which orders tell of a seal taken out, of which position, when and why?

    Every order read is either in the table or has a finding that sets it aside.

    Raises
    ------
    InputError
        Most orders on a seal name no pump of the register.
    """
    orders = fleet["work_orders"]
    findings: list[pd.DataFrame] = []
    steps: list[tuple[str, int]] = []
    unplaced: list[pd.DataFrame] = []

    def set_aside(
        check: str, severity: Severity, gone: pd.Series, message: str, column: str = ""
    ) -> None:
        """Take rows out of the run of orders, with a finding each."""
        nonlocal orders
        steps.append((check, int(gone.sum())))
        findings.append(set_aside_findings(check, severity, orders[gone], message, column))
        if severity == "ask":
            unplaced.append(orders[gone].assign(why=check)[list(UNPLACED)])
        orders = orders[~gone]

    if orders.empty:
        nothing = pd.DataFrame(columns=["step", "records"])
        table = _typed(pd.DataFrame(columns=list(_COLUMNS)))
        return Orders(table, join_findings([]), nothing, pd.DataFrame(columns=list(UNPLACED)))
    same = [*_TEXT_COLUMNS, *_DATE_COLUMNS]
    again = orders.duplicated(subset=same) & (orders["wo_no"] != "")
    set_aside("duplicate row", "note", again, "the same order stands in an earlier row")
    set_aside("cancelled order", "note", orders["status"] == "cancelled", "it was cancelled")
    orders = orders.join(match_pumps(orders, register))
    near = orders["tag_match"] == "one character off"
    findings.append(
        make_findings(
            "tag one character off",
            "doubt",
            orders.loc[near, "record_id"],
            "'{value}' is not in the register; read as the one tag that differs by a character",
            column="tag",
            value=orders.loc[near, "tag"],
            action="matched to the nearest tag",
        )
    )
    orders = orders.join(_what_was_done(orders, fleet, register))
    orders = _as_set_by_hand(orders, register)
    known = register.table.loc[register.table["retired"].notna(), "pump_key"]
    retires = (orders["kind"] == "pump retired") & orders["pump_key"].isin({*known, ""})
    orders["kind"] = orders["kind"].mask(retires, "pump taken out of service")
    findings += _doubts(orders, register)
    for kind, sentence in _NOT_REMOVALS.items():
        set_aside(kind, "note", orders["kind"] == kind, sentence)
    dates, said = order_dates(orders, fleet.settings.data_end)
    findings += said
    orders = orders.join(dates)
    set_aside(
        "no usable date",
        "ask",
        orders["end"].isna(),
        "the order tells of a seal removal but has no date it can be placed by; find it",
    )
    orders, said = pumps_from_text_or_serial(orders, register)
    findings += said
    for how, sentence in _NO_PUMP.items():
        gone = (orders["tag_match"] == how) & (orders["pump_key"] == "")
        set_aside(how, "ask", gone, sentence, "tag")
    rows, said = which_seal(orders, register)
    findings += said
    rows = rows.drop(columns="lot").rename(columns={"seal_lot": "lot"})
    found = _what_was_found(rows)
    table = rows[[c for c in _COLUMNS if c not in found]].join(found)
    steps.append(("seal removals", len(orders)))
    counts = pd.DataFrame(steps, columns=["step", "records"])
    _most_meet_the_register(unplaced, len(orders))
    return Orders(
        _typed(table[list(_COLUMNS)]), join_findings(findings), counts, pd.concat(unplaced)
    )


def _most_meet_the_register(unplaced: list[pd.DataFrame], placed: int) -> None:
    """Refuse orders of which most name no pump of the register: no figure could be right."""
    lost = sum(int(part["why"].isin(_NO_PUMP).sum()) for part in unplaced)
    if lost >= _MANY and lost > placed:
        raise InputError(
            f"only {placed:,} of {placed + lost:,} orders on a seal name a pump of the register",
            where="work_orders",
            hint="look in fleet.toml which column holds the tag, in orders and in the register; "
            "if both are right, the register lacks pumps",
        )


_NOT_REMOVALS = {
    "set by hand: no removal": "a person says that no seal came out",
    "text tells nothing": "the text does not say what was done; if a seal came out, set it by hand",
    "other work": "not about a shaft seal",
    "seal support": "about the seal's supply system; the seal stayed in",
    "seal looked at": "the seal was looked at or adjusted; it stayed in",
    "pump taken out of service": "the pump was taken out for good; the register has its date",
}
_NO_PUMP = {
    "pair or unit tag": "'{value}' names a pair or unit, not one pump; say which pump it was",
    "tag at several sites": "'{value}' stands at several sites; give orders their site",
    "not in register": "'{value}' is not in the register; add it or mend the tag",
}


def _what_was_done(orders: pd.DataFrame, fleet: Fleet, register: Register) -> pd.DataFrame:
    """Read the texts; a seal drawn from the store or a serial number put in counts as evidence."""
    text = orders["short_text"] + " . " + orders["long_text"]
    part = read_evidence(orders["part"])
    is_seal = part["seal"] & (orders["part"] != "")
    quantity = orders["part_qty"].fillna(1.0).where(is_seal, 0.0)
    # Lines of one order count together: what went back to the store was not fitted.
    order = orders["wo_no"].mask(orders["wo_no"] == "", orders["record_id"])
    net = quantity.groupby([order, orders["tag"]]).transform("sum")
    drawn = is_seal & (quantity > 0) & (net > 0)
    fitted = drawn | (orders["serial_in"] != "")
    returned = is_seal & (net <= 0)
    outage = _in_outage(orders, fleet, register)
    code = orders["mode_code"]
    coded = code.str.upper().isin(LEAKAGE_CODES) | read_evidence(code)["failure"]
    read = read_work(text, orders["wo_type"], fitted, outage, returned, coded)
    read["kind"] = read["kind"].mask(
        (read["kind"] == "other work") & read["silent"], "text tells nothing"
    )
    read["seals"] = np.where(quantity >= 2, 2, 1)
    read["seal_drawn"] = fitted
    read["returned"] = returned
    # A lot of grease or bearings is none of the seal.
    read["seal_lot"] = read_lot(orders["lot"], orders["part"].where(drawn, ""))
    return read


def _what_was_found(rows: pd.DataFrame) -> pd.DataFrame:
    """Read what was wrong with each seal that came out: words first, then codes."""
    text = rows["short_text"] + " . " + rows["long_text"]
    found = read_damage(text, rows["mechanism_code"], rows["cause_code"], rows["site"])
    return found.assign(leak_path=leak_path(rows["mode_code"]))


def _as_set_by_hand(orders: pd.DataFrame, register: Register) -> pd.DataFrame:
    """Follow what a person has set; where nothing was, the columns may be missing."""
    blank = pd.Series("", index=orders.index, dtype=object)
    kind, reason, position = (orders.get(f"set_{c}", blank) for c in ("kind", "reason", "position"))
    removal = (kind == "removal") | ((reason != "") & (kind == ""))
    out = orders.assign(
        kind=orders["kind"]
        .mask(removal, "removal")
        .mask(kind == "not a removal", "set by hand: no removal"),
        reason=orders["reason"].mask(removal & (orders["reason"] == ""), "unknown"),
        confidence=orders["confidence"].mask(removal, orders["confidence"].fillna(0.5)),
        set_position=position,
    )
    out["renewed"] |= removal
    out["reason"] = out["reason"].mask(reason != "", reason)
    out["confidence"] = out["confidence"].mask(reason != "", 1.0)
    pump = position.map(register.table.set_index("position_id")["pump_key"])
    out["pump_key"] = pump.fillna(out["pump_key"])
    return out


def _doubts(orders: pd.DataFrame, register: Register) -> list[pd.DataFrame]:
    """Say what is odd about orders that are used or set aside for other reasons."""
    removal = orders["kind"] == "removal"
    silent = removal & orders["silent"] & (orders["confidence"] < 1)  # 1: set by hand
    named = orders["set_position"] != ""
    strange = named & ~orders["set_position"].isin(register.table["position_id"])
    against = removal & orders["against_type"]
    retires = orders["kind"] == "pump retired"
    return [
        make_findings(
            "part returned",
            "note",
            orders.loc[orders["returned"], "record_id"],
            "the seal drawn went back to the store: no sign of a removal",
            column="part_qty",
            value=orders.loc[orders["returned"], "part_qty"],
        ),
        make_findings(
            "text tells nothing",
            "note",
            orders.loc[silent, "record_id"],
            "the text does not say what was done; a seal drawn from the store does",
            column="short_text",
            value=orders.loc[silent, "short_text"],
            action="reason from the failure code or a planned order type, else unknown",
        ),
        make_findings(
            "text against order type",
            "note",
            orders.loc[against, "record_id"],
            "the order's type is '{value}', its words say otherwise; the words count",
            column="wo_type",
            value=orders.loc[against, "wo_type"],
            action="reason from the words",
        ),
        make_findings(
            "position set by hand not in register",
            "ask",
            orders.loc[strange, "record_id"],
            "'{value}' is not in the register; mend the name set by hand",
            column="set_position",
            value=orders.loc[strange, "set_position"],
            action="read as if it were not set",
        ),
        make_findings(
            "pump retired in an order",
            "ask",
            orders.loc[retires, "record_id"],
            "the order takes '{value}' out for good and the register does not say so; give it "
            "the date under retired",
            column="tag",
            value=orders.loc[retires, "tag"],
            action="life and time at risk end here, unless a later removal shows it running",
        ),
    ]


def _in_outage(orders: pd.DataFrame, fleet: Fleet, register: Register) -> pd.Series:
    """Did the work fall into an outage of the pump's unit?"""
    outages = fleet["outages"]
    day = orders["work_start"].fillna(orders["date_raised"])
    where = register.table.drop_duplicates("pump_key").set_index("pump_key")[["site", "unit"]]
    place = where.reindex(orders["pump_key"]).set_axis(orders.index)
    hit = pd.Series(False, index=orders.index)
    for o in outages.itertuples():
        there = (place["site"] == o.site) & ((o.unit == "") | (place["unit"] == o.unit))
        hit |= there & day.between(o.start, o.end)
    return hit


def _typed(table: pd.DataFrame) -> pd.DataFrame:
    """Give columns their kind, which a table without rows would lose."""
    return table.astype(_COLUMNS)
