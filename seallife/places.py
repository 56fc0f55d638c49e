"""Which pump and which of its seals does a work order mean?

In: work orders, `Register`. Out: pump_key and position_id. Next: `seallife.orders`.

The tag comes first, then the text, then serial numbers; an order is never counted for two pumps.
"""

from __future__ import annotations

import re
from typing import Literal

import numpy as np
import pandas as pd

from seallife.findings import make_findings
from seallife.register import Register, match_tags, tag_key

__all__ = ["match_pumps", "pumps_from_text_or_serial", "which_seal"]

_IN_TEXT = re.compile(
    r"(?<!\bto )(?<!\bauf )(?<!\bsur )(?<![\w-])"
    r"(?:\d{1,4}-)?[A-Za-z]{1,4}[-/.]?\d{2,}[A-Za-z]?(?!\w)"
)  # a tag; "swapped to P-101B" names the pump that ran on
_SURE = ("same", "other format", "position name", "unit number in front")


def match_pumps(orders: pd.DataFrame, register: Register) -> pd.DataFrame:
    """Match tags; one digit for another names another pump and is no slip of the pen."""
    got = match_tags(orders["tag"], orders["site"], register)
    near = got["how"] == "one character off"
    key = orders["tag"].map(tag_key)
    of_pump = register.table.drop_duplicates("pump_key").set_index("pump_key")["tag"].map(tag_key)
    other = np.array(
        [
            n and _other_number(a, of_pump[p])
            for n, a, p in zip(near, key, got["pump_key"], strict=True)
        ],
        dtype=bool,
    )
    got["pump_key"] = got["pump_key"].mask(other, "")
    got["how"] = got["how"].mask(other, "not in register")
    return got.rename(columns={"how": "tag_match"})


def _other_number(a: str, b: str) -> bool:
    """Do two keys of one length differ in one digit?"""
    differ = [(x, y) for x, y in zip(a, b, strict=False) if x != y]
    return len(a) == len(b) and len(differ) == 1 and all(c.isdigit() for c in differ[0])


def pumps_from_text_or_serial(
    orders: pd.DataFrame, register: Register
) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    """Where the tag names no pump, take the only one the text names, or that held the serial."""
    lost = orders["pump_key"] == ""
    if not lost.any():
        return orders, []
    text = (orders["short_text"] + " . " + orders["long_text"])[lost]
    named = text.map(lambda t: list(dict.fromkeys(_IN_TEXT.findall(t)))).explode().dropna()
    got = match_tags(named, orders["site"].reindex(named.index), register)
    got = got[got["how"].isin(_SURE)]
    by = got["pump_key"].groupby(level=0)
    only = by.first()[by.min() == by.max()]
    found = only.reindex(orders.index, fill_value="").astype(object)
    held = _held_serial(orders[lost & (found == "")], orders[~lost], "pump_key")
    found = found.mask(found == "", held.reindex(orders.index, fill_value=""))
    said = make_findings(
        "pump found by serial or text",
        "doubt",
        orders.loc[found != "", "record_id"],
        [
            f"the order's tag '{tag}' names no pump; its text or serial number means {pump}"
            for tag, pump in zip(orders.loc[found != "", "tag"], found[found != ""], strict=True)
        ],
        column="tag",
        value=orders.loc[found != "", "tag"],
        action="read as that pump",
    )
    return orders.assign(pump_key=orders["pump_key"].mask(lost, found)), [said]


def _held_serial(lost: pd.DataFrame, known: pd.DataFrame, place: str) -> pd.Series:
    """Where does a serial number say that a seal was: last put in there, or next taken out?

    Returns
    -------
    pandas.Series
        Place by index of ``lost``; only where both directions that tell agree.
    """
    moves = pd.concat(
        [
            known[["end", place]].assign(serial=known["serial_in"], way="in"),
            known[["end", place]].assign(serial=known["serial_out"], way="out"),
        ]
    )
    moves = moves[(moves["serial"] != "") & (moves[place] != "")].sort_values("end", kind="stable")
    told: list[pd.Series] = []
    ways: list[tuple[str, str, Literal["backward", "forward"]]] = [
        ("serial_out", "in", "backward"),
        ("serial_in", "out", "forward"),
    ]
    for column, way, direction in ways:
        asked = lost.loc[lost[column] != "", ["end", column]].rename(columns={column: "serial"})
        asked = asked.sort_values("end", kind="stable")
        got = pd.merge_asof(asked, moves, on="end", by="serial", direction=direction).set_axis(
            asked.index
        )
        place_then = got.loc[got["way"] == way, place]
        told.append(place_then.reindex(lost.index, fill_value="").astype(object))
    before, after = told
    agreed = before.mask(before == "", after)
    sure = (agreed != "") & ((before == "") | (after == "") | (before == after))
    return agreed[sure]


def which_seal(orders: pd.DataFrame, register: Register) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    """Which seal of its pump does each order mean?

    The only one of the pump, or that of the end, position name or serial number; '' where none
    tells. An order on both seals becomes two rows.
    """
    findings: list[pd.DataFrame] = []
    positions = register.table[["pump_key", "seal_end", "position_id", "site"]]
    count = positions.groupby("pump_key")["position_id"].transform("size")
    single = positions[count == 1].set_index("pump_key")["position_id"]
    by_end = positions[count > 1].set_index(["pump_key", "seal_end"])["position_id"]
    by_end = by_end[~by_end.index.duplicated()]
    site = positions.drop_duplicates("pump_key").set_index("pump_key")["site"]
    end = orders["seal_end"].where(orders["seal_end"] != "", orders["end_named"])
    end = end.mask(orders["kind"] == "pump retired", "both")
    both = (end == "both") | ((end == "") & (orders["seals"] == 2))
    both &= orders["kind"].isin(["removal", "pump retired"])
    rows = pd.concat(
        [
            orders.assign(end_used=end.where(~both, "DE")),
            orders[both].assign(end_used="NDE", serial_out="", serial_in=""),
        ]
    )
    rows["second_of_two"] = np.r_[np.zeros(len(orders), bool), np.ones(int(both.sum()), bool)]
    keys = pd.MultiIndex.from_frame(rows[["pump_key", "end_used"]])
    alone = rows["pump_key"].isin(single.index)
    named = by_end.reindex(keys).to_numpy()
    found = pd.Series(np.where(alone, rows["pump_key"].map(single), named), index=rows.index)
    by_name = dict(
        zip(positions["position_id"].map(tag_key), positions["position_id"], strict=True)
    )
    is_name = rows["tag_match"] == "position name"
    whole = rows["tag"].map(lambda t: by_name.get(tag_key(t), "")).where(is_name, "")
    chosen = rows["set_position"].isin(positions["position_id"])
    found = found.mask(found.isna(), "").mask(whole != "", whole)
    rows["position_id"] = found.mask(chosen, rows["set_position"])
    rows["site"] = rows["pump_key"].map(site)
    rows = rows[~((alone | chosen | (whole != "")) & rows["second_of_two"])]
    rows = rows.sort_values("record_id", kind="stable").reset_index(drop=True)
    removal = rows["kind"] == "removal"
    held = _ends_by_serial(rows, positions)
    rows.loc[held.index, "position_id"] = held
    # Of two seals changed in one job one failed; the other went with it, unless the text says so.
    went_along = rows["second_of_two"] & (rows["reason"] == "seal failed")
    rows["reason"] = rows["reason"].mask(went_along, "other pump part")
    two = rows["second_of_two"] & removal
    findings.append(
        make_findings(
            "two seals in one order",
            "doubt",
            rows.loc[two, "record_id"],
            "both seals were renewed; the second is taken as renewed with the first",
            action="second seal withdrawn, not failed",
        )
    )
    findings.append(
        make_findings(
            "end found by serial",
            "doubt",
            rows.loc[held.index, "record_id"],
            "the order does not name the pump's end; the serial number was last at {value}",
            column="serial_out",
            value=held,
            action="read as that end",
        )
    )
    lost = (rows["position_id"] == "") & removal
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
    findings.append(_ends_not_in_register(orders.assign(end=end), positions))
    return rows, findings


def _ends_not_in_register(orders: pd.DataFrame, positions: pd.DataFrame) -> pd.DataFrame:
    """Of which pumps do orders name two ends, and the register one seal?"""
    ends = ("DE", "NDE")
    single = positions[~positions["pump_key"].duplicated(keep=False)].set_index("pump_key")
    told = orders[(orders["kind"] == "removal") & orders["end"].isin([*ends, "both"])]
    told = told[told["pump_key"].isin(single.index)]
    own = told["pump_key"].map(single["seal_end"])
    other = (told["end"] == "both") | (own.isin(ends) & (own != told["end"]))
    several = told.groupby("pump_key")["end"].transform("nunique") > 1
    first = told[other | several].drop_duplicates("pump_key")
    return make_findings(
        "register lacks an end of the pump",
        "ask",
        first["record_id"],
        [
            f"orders name both ends of pump '{tag}', and the register has one seal there: two "
            "seals counted as one halve its MTBR; give the register a row for each end"
            for tag in first["tag"]
        ],
        column="seal_end",
        value=first["end"],
        action="counted on the one seal",
    )


def _ends_by_serial(rows: pd.DataFrame, positions: pd.DataFrame) -> pd.Series:
    """Find the position of removals without an end; each one found may lead to the next."""
    of_position = positions.set_index("position_id")["pump_key"]
    rows = rows[rows["kind"] == "removal"].copy()
    found: list[pd.Series] = []
    while True:
        blind = rows["position_id"] == ""
        held = _held_serial(rows[blind], rows[~blind], "position_id")
        held = held[held.map(of_position) == rows.loc[held.index, "pump_key"]]
        found.append(held)
        if held.empty:
            ends: pd.Series = pd.concat(found)
            return ends
        rows.loc[held.index, "position_id"] = held
