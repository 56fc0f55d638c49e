"""What each work order is about: which seal, when, and whether one was taken out.

In: `Fleet`, `Register`. Out: one row an order, and what was set aside. Next: `seallife.events`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from seallife.findings import Severity, join_findings, make_findings
from seallife.intake import Fleet
from seallife.intake.worktext import read_evidence, read_work
from seallife.register import Register, match_tags

__all__ = ["Orders", "read_orders"]

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
    "early": bool,
    "serial_out": object,
    "serial_in": object,
}
_CLOSING_SHARE = 0.95  # share of orders closed within the delay assumed where only closing is known
_SWAP_DAYS = 60  # start and end this far the wrong way round are taken as swapped


@dataclass(frozen=True)
class Orders:
    """Work orders as understood.

    Attributes
    ----------
    table : pandas.DataFrame
        One row for each order that tells of a seal removal: record_id, wo_no, pump_key, site,
        position_id ('' where the end is not known), end (date), end_low (NaT where the day is
        known), back, date_kind, reason, confidence, evidence, early, seals, serial_out,
        serial_in.
    findings : pandas.DataFrame
        One or more for every order that is not in the table, and doubts about those that are.
    counts : pandas.DataFrame
        step, records: how many orders left at each step; they sum to the orders read.
    """

    table: pd.DataFrame
    findings: pd.DataFrame
    counts: pd.DataFrame


def read_orders(fleet: Fleet, register: Register) -> Orders:
    """Which orders tell of a seal taken out, of which position, when and why?

    Every order read is either in the table or has a finding that sets it aside.
    """
    orders = fleet["work_orders"]
    findings: list[pd.DataFrame] = []
    steps: list[tuple[str, int]] = []

    def set_aside(
        check: str, severity: Severity, gone: pd.Series, message: str, column: str = ""
    ) -> None:
        """Take rows out of the run of orders, with a finding each."""
        nonlocal orders
        steps.append((check, int(gone.sum())))
        findings.append(
            make_findings(
                check,
                severity,
                orders.loc[gone, "record_id"],
                message,
                column=column,
                value=orders.loc[gone, column] if column else "",
                action="set aside",
                set_aside=True,
            )
        )
        orders = orders[~gone]

    if orders.empty:
        nothing = pd.DataFrame(columns=["step", "records"])
        return Orders(_typed(pd.DataFrame(columns=list(_COLUMNS))), join_findings([]), nothing)
    same = [*_TEXT_COLUMNS, *_DATE_COLUMNS]
    again = orders.duplicated(subset=same) & (orders["wo_no"] != "")
    set_aside("duplicate row", "note", again, "the same order stands in an earlier row")
    set_aside("cancelled order", "note", orders["status"] == "cancelled", "it was cancelled")
    pumps = match_tags(orders["tag"], orders["site"], register)
    orders = orders.assign(pump_key=pumps["pump_key"], tag_match=pumps["how"]).drop(columns="site")
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
    for kind, sentence in _NOT_REMOVALS.items():
        set_aside(kind, "note", orders["kind"] == kind, sentence)
    for how, sentence in _NO_PUMP.items():
        set_aside(how, "ask", orders["tag_match"] == how, sentence, "tag")
    orders = orders.join(_when(orders, findings))
    set_aside(
        "no usable date",
        "ask",
        orders["end"].isna(),
        "the order tells of a seal removal but has no date it can be placed by; find it",
    )
    table = _which_seal(orders, register, findings)
    steps.append(("seal removals", len(orders)))
    counts = pd.DataFrame(steps, columns=["step", "records"])
    return Orders(table, join_findings(findings), counts)


_NOT_REMOVALS = {
    "other work": "not about a shaft seal",
    "seal support": "about the seal's supply system; the seal stayed in",
    "seal looked at": "the seal was looked at or adjusted; it stayed in",
}
_NO_PUMP = {
    "pair or unit tag": "'{value}' names a pair or unit, not one pump; say which pump it was",
    "tag at several sites": "'{value}' stands at several sites; give orders their site",
    "not in register": "'{value}' is not in the register; add it or mend the tag",
}


def _what_was_done(orders: pd.DataFrame, fleet: Fleet, register: Register) -> pd.DataFrame:
    """Read the texts; a seal drawn from the store or a serial number put in counts as evidence."""
    text = orders["short_text"] + " . " + orders["long_text"]
    drawn = orders["part_qty"].fillna(1.0) > 0
    seal_part = read_evidence(orders["part"])["seal"]
    part = (seal_part & drawn & (orders["part"] != "")) | (orders["serial_in"] != "")
    read = read_work(text, orders["wo_type"], part, _in_outage(orders, fleet, register))
    read["seals"] = np.where(orders["part_qty"].fillna(1) >= 2, 2, 1)
    return read


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


def _when(orders: pd.DataFrame, findings: list[pd.DataFrame]) -> pd.DataFrame:
    """Date of the end of the seal's life and of the pump's return.

    The leak's first sight comes first, then the start of work, then the order's date. The
    closing date is administrative and often months late: it only bounds the date from above.
    """
    start, back = orders["work_start"], orders["work_end"]
    swapped = (back < start) & (start - back <= pd.Timedelta(days=_SWAP_DAYS))
    findings.append(
        make_findings(
            "end before start",
            "doubt",
            orders.loc[swapped, "record_id"],
            "work ends before it starts; the two dates were taken as swapped",
            column="work_end",
            value=orders.loc[swapped, "work_end"],
            action="dates swapped",
        )
    )
    start, back = start.mask(swapped, back), back.mask(swapped, start)
    end = orders["malfunction_start"].fillna(start).fillna(orders["date_raised"])
    kind = pd.Series("", index=orders.index, dtype=object)
    for column, word in (
        ("date_raised", "order raised"),
        ("work_start", "work start"),
        ("malfunction_start", "fault seen"),
    ):
        kind[orders[column].notna()] = word
    only_end = end.isna() & back.notna()
    end, kind = end.fillna(back), kind.mask(only_end, "work end")
    only_closed = end.isna() & orders["closed"].notna()
    delay = _closing_delay(orders)
    low = pd.Series(pd.NaT, index=orders.index, dtype="datetime64[ns]")
    low[only_closed] = orders["closed"][only_closed] - delay
    end, kind = end.fillna(orders["closed"]), kind.mask(only_closed, "closed")
    findings.append(
        make_findings(
            "only the closing date",
            "doubt",
            orders.loc[only_closed, "record_id"],
            f"only the closing date {{value}} is known; the removal lies in the {delay.days} days "
            "before it",
            column="closed",
            value=orders.loc[only_closed, "closed"],
            threshold=f"{_CLOSING_SHARE:.0%} of orders here close within {delay.days} days",
            action="end of life known as a stretch",
        )
    )
    late = back < end
    return pd.DataFrame(
        {
            "end": end.dt.normalize(),
            "end_low": low.dt.normalize(),
            "back": back.mask(late).fillna(start.where(start >= end)).fillna(end).dt.normalize(),
            "date_kind": kind,
        }
    )


def _closing_delay(orders: pd.DataFrame) -> pd.Timedelta:
    """How long after the work do orders here close? Half a year where none can tell."""
    worked = orders["work_end"].fillna(orders["work_start"])
    delay = (orders["closed"] - worked).dt.days
    delay = delay[delay >= 0]
    days = int(np.ceil(delay.quantile(_CLOSING_SHARE))) if len(delay) >= 20 else 182
    return pd.Timedelta(days=max(days, 1))


def _which_seal(
    orders: pd.DataFrame, register: Register, findings: list[pd.DataFrame]
) -> pd.DataFrame:
    """Find the position: the only one of the pump, or by the end that is named."""
    positions = register.table[["pump_key", "seal_end", "position_id", "site"]]
    count = positions.groupby("pump_key")["position_id"].transform("size")
    single = positions[count == 1].set_index("pump_key")["position_id"]
    by_end = positions[count > 1].set_index(["pump_key", "seal_end"])["position_id"]
    by_end = by_end[~by_end.index.duplicated()]
    site = positions.drop_duplicates("pump_key").set_index("pump_key")["site"]
    end = orders["seal_end"].where(orders["seal_end"] != "", orders["end_named"])
    both = (end == "both") | ((end == "") & (orders["seals"] == 2))
    rows = pd.concat(
        [
            orders.assign(end_used=end.where(~both, "DE")),
            orders[both].assign(end_used="NDE"),
        ]
    )
    rows["second_of_two"] = np.r_[np.zeros(len(orders), bool), np.ones(int(both.sum()), bool)]
    keys = pd.MultiIndex.from_frame(rows[["pump_key", "end_used"]])
    alone = rows["pump_key"].isin(single.index)
    named = by_end.reindex(keys).to_numpy()
    rows["position_id"] = np.where(alone, rows["pump_key"].map(single), named)
    rows["position_id"] = rows["position_id"].mask(rows["position_id"].isna(), "")
    rows["site"] = rows["pump_key"].map(site)
    rows = rows[~(alone & rows["second_of_two"])].sort_values("record_id", kind="stable")
    # Of two seals changed in one job one failed; the other went with it, unless the text says so.
    went_along = rows["second_of_two"] & (rows["reason"] == "seal failed")
    rows["reason"] = rows["reason"].mask(went_along, "other pump part")
    findings.append(
        make_findings(
            "two seals in one order",
            "doubt",
            rows.loc[rows["second_of_two"], "record_id"],
            "both seals were renewed; the second is taken as renewed with the first",
            action="second seal withdrawn, not failed",
        )
    )
    lost = rows["position_id"] == ""
    findings.append(
        make_findings(
            "end of pump not named",
            "ask",
            rows.loc[lost, "record_id"],
            "the pump has two seals and the order does not say which; it counts for the pump's "
            "MTBR, and both seals' ages are unknown from there on",
            column="seal_end",
            action="counted as an event, not as a life",
        )
    )
    return _typed(rows[list(_COLUMNS)].reset_index(drop=True))


def _typed(table: pd.DataFrame) -> pd.DataFrame:
    """Give columns their kind, which a table without rows would lose."""
    return table.astype(_COLUMNS)
