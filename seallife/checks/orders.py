"""Work orders as a whole: how they are kept, and what they leave out.

In: `Records`. Out: findings.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from seallife.checks.records import Records
from seallife.findings import join_findings, make_findings, no_findings
from seallife.intake.damage import DEFAULT_ORDERS, DEFAULT_SHARE

__all__ = [
    "closed_in_a_batch",
    "dates_to_the_month",
    "default_cause",
    "fitted_at_commissioning",
    "no_orders",
    "raised_long_before",
    "seal_type_changed",
    "unknown_tags",
]

_BATCH = 10  # orders closed on one day, and five times those of other days
_MONTH_SHARE = 0.10  # of orders on the first of a month; one in thirty is chance
_RAISED_DAYS = 30
_NEW_DAYS = 30  # orders so near commissioning may have built the pump


def closed_in_a_batch(records: Records) -> pd.DataFrame:
    """On which days were so many orders closed that the day tells nothing?"""
    orders = records.orders
    counts = orders.groupby(["site", "closed"]).size().rename("orders").reset_index()
    usual = counts.groupby("site")["orders"].transform("median")
    found = counts[(counts["orders"] >= _BATCH) & (counts["orders"] >= 5 * usual)]
    return make_findings(
        "closed in a batch",
        "note",
        found["site"],
        [
            f"{n} orders of {site} were closed on {day:%Y-%m-%d}; closing dates tell nothing there"
            for site, day, n in found.itertuples(index=False)
        ],
        column="closed",
        value=found["orders"],
        threshold=f"{_BATCH} a day",
        action="closing dates are no event dates",
    )


def dates_to_the_month(records: Records) -> pd.DataFrame:
    """At which site, and in which years, were dates written to the month only?"""
    orders = records.orders
    days = orders[["date_raised", "malfunction_start", "work_start"]]
    rows = orders[orders["seal_removal"] & (days.notna().sum(axis=1) >= 2)]
    days = days.loc[rows.index].apply(lambda d: d.dt.day)
    rows = rows.assign(first=((days == 1) | days.isna()).all(axis=1), year=rows["day"].dt.year)
    by = rows.groupby(["site", "year"])["first"].agg(["sum", "mean", "size"]).reset_index()
    found = by[(by["sum"] >= 5) & (by["mean"] >= _MONTH_SHARE)]
    return make_findings(
        "dates to the month only",
        "doubt",
        found["site"],
        [
            f"{n} of {size} seal orders of {site} in {year} have all dates on the first of a "
            "month: known to the month only"
            for site, year, n, _, size in found.itertuples(index=False)
        ],
        column="work_start",
        value=found["sum"],
        threshold=f"{_MONTH_SHARE:.0%}",
        action="days are doubtful by two weeks",
    )


def default_cause(records: Records) -> pd.DataFrame:
    """Where does the cause code say the same whatever happened?"""
    rows = records.orders[records.orders["seal_removal"] & (records.orders["cause_code"] != "")]
    found = []
    for site, part in rows.groupby("site"):
        codes = part["cause_code"]
        share = codes.value_counts(normalize=True)
        if len(codes) >= DEFAULT_ORDERS and share.iloc[0] >= DEFAULT_SHARE:
            used = share.to_numpy(dtype=float)
            alike = float(np.exp(-(used * np.log(used)).sum()))
            found.append((str(site), str(share.index[0]), share.iloc[0], alike, len(codes)))
    return make_findings(
        "one cause code for most",
        "doubt",
        [f[0] for f in found],
        [
            f"'{code}' is the cause of {share:.0%} of {n} coded removals at {site}; the codes tell "
            f"as much as {alike:.1f} used evenly would: first item of a list?"
            for site, code, share, alike, n in found
        ],
        column="cause_code",
        value=[f[1] for f in found],
        threshold=f"{DEFAULT_SHARE:.0%}",
        action="no damage is read from this code",
    )


def unknown_tags(records: Records) -> pd.DataFrame:
    """Which tags have orders and are not in the register?"""
    rows = records.orders
    rows = rows[(rows["how"] == "not in register") & (rows["tag"].str.strip() != "")]
    tags = rows.groupby(["site", "tag"]).size().rename("orders").reset_index()
    found = tags.sort_values("orders", ascending=False, kind="stable").groupby("site", sort=True)
    named = [
        (
            str(site) or "work_orders",
            part["tag"].head(8).tolist(),
            len(part),
            int(part["orders"].sum()),
        )
        for site, part in found
    ]
    return make_findings(
        "tags that the register lacks",
        "note",
        [n[0] for n in named],
        [
            f"{orders} orders name {count} tags that are not in the register: {', '.join(tags)}"
            + (", ..." if count > len(tags) else "")
            for _, tags, count, orders in named
        ],
        column="tag",
        value=[n[2] for n in named],
        action="each order on a seal is asked about by itself",
    )


def no_orders(records: Records) -> pd.DataFrame:
    """Which pumps have no order of any kind?"""
    if records.fleet["work_orders"].empty:
        return join_findings([])
    seen = set(records.orders["pump_key"]) | set(records.removals.table["pump_key"])
    at_risk = records.register.table["position_id"].isin(records.watched.stretches["position_id"])
    known = records.register.table[at_risk]
    silent = known[~known["pump_key"].isin(seen)]
    return make_findings(
        "no orders at all",
        "note",
        silent["record_id"],
        "no order of any kind names the pump of '{value}'; never touched, or booked elsewhere?",
        column="tag",
        value=silent["position_id"],
        action="kept: time at risk without an event",
    )


def raised_long_before(records: Records) -> pd.DataFrame:
    """Which seals ran on for long after the order was raised?"""
    rows = records.orders[records.orders["seal_removal"]]
    seen = rows["malfunction_start"].fillna(rows["date_raised"])
    waited = (rows["work_start"] - seen).dt.days
    found = rows[(waited > _RAISED_DAYS) & (rows["wo_type"] == "corrective")]
    return make_findings(
        "raised long before the work",
        "note",
        found["record_id"],
        "the seal came out {value} days after the fault was seen or the order raised",
        column="work_start",
        value=waited[found.index].astype(int),
        threshold=f"{_RAISED_DAYS} days",
        action="the life ends when the fault was seen, else when work began",
    )


def seal_type_changed(records: Records) -> pd.DataFrame:
    """Where was another stock item fitted than before, and is the change on the list?

    The register shows each position as it is today; without the list of changes it is taken to
    have been so always.
    """
    events = records.removals.table[["record_id", "record_ids", "position_id", "end"]]
    if events.empty:
        return no_findings()
    drawn = records.orders.set_index("record_id")[["stock_no", "part", "part_qty"]]
    rows = events.assign(record=events["record_ids"].str.split()).explode("record")
    rows = rows.join(drawn, on="record")
    rows = rows[(rows["position_id"] != "") & rows["stock_no"].fillna("").ne("")]
    rows = rows[rows["part_qty"].fillna(1.0) > 0].sort_values(["position_id", "end"], kind="stable")
    same = rows["position_id"] == rows["position_id"].shift()
    other = same & (rows["stock_no"] != rows["stock_no"].shift())
    # A single odd item between two of the usual kind is a slip or a stopgap, not another design.
    lasting = rows["stock_no"] != rows["stock_no"].shift(2).where(
        same & same.shift(fill_value=False)
    )
    said = rows["part"].str.contains(r"(?i)\bnew type\b|\bupgrade", regex=True)
    found = rows[(other & lasting) | said].drop_duplicates("record")
    listed = records.changes.table[["position_id", "date"]].merge(found, on="position_id")
    near = (listed["date"] - listed["end"]).dt.days.between(-60, 60)
    known = found["record"].isin(listed.loc[near, "record"])
    parts = [
        make_findings(
            "seal type changed",
            "note",
            found.loc[known, "record"],
            "another seal than before went in, as the list of changes says",
            column="part",
            value=found.loc[known, "stock_no"],
            action="a new epoch begins",
        ),
        make_findings(
            "seal type changed unlisted",
            "doubt",
            found.loc[~known, "record"],
            "another stock item than before, {value}, went in; if the design changed, put it on "
            "the list of changes",
            column="part",
            value=found.loc[~known, "stock_no"],
            action="taken as the design of today",
        ),
    ]
    return join_findings(parts)


def fitted_at_commissioning(records: Records) -> pd.DataFrame:
    """Which removals may be seals issued to build the pump?"""
    events = records.removals.table
    table = records.register.table.set_index("position_id")
    begun = events["position_id"].map(table["commissioned"])
    orders = records.orders.set_index("record_id")
    project = events["record_id"].map(orders["wo_type"]).eq("project")
    near = (events["end"] - begun).dt.days.between(0, _NEW_DAYS)
    found = events[near & (project | (events["reason"] == "unknown"))]
    return make_findings(
        "seal issued at commissioning",
        "ask",
        found["record_id"],
        "the seal 'came out' on {value}, within a month of commissioning, and no failure is told: "
        "was it issued to build the pump?",
        column="work_start",
        value=found["end"],
        threshold=f"{_NEW_DAYS} days",
        action="counted as a removal",
    )
