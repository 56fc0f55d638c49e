"""Seals drawn from the store, held against seals taken out.

In: `Records`. Out: findings, and the table of `reconcile`.

A table ``issues`` (date, wo_no, material_no, qty, tag) is used where a fleet has one; else the
part on each order is the issue.
"""

from __future__ import annotations

import pandas as pd

from seallife.checks.records import Records
from seallife.findings import make_findings
from seallife.intake.worktext import read_evidence

__all__ = ["bulk_issues", "reconcile", "sources_disagree"]

_GAP = 0.20  # of the larger count; more, and one source is incomplete
_FEWEST = 5  # pieces a year; below, one piece is more than the gap


def bulk_issues(records: Records) -> pd.DataFrame:
    """Which seals were drawn for no pump, as into a workshop's own store?"""
    rows = _issues(records)
    bulk = rows[(rows["tag"].str.strip() == "") & (rows["qty"] > 0)]
    return make_findings(
        "seals issued for no pump",
        "note",
        bulk["record_id"],
        "{value} seal(s) were issued without a tag; they count in the usage of the item only",
        column="tag",
        value=bulk["qty"],
        action="used for reconciliation",
    )


def reconcile(records: Records) -> pd.DataFrame:
    """Do seals taken out and seals drawn from the store agree, item by item and year by year?

    Returns
    -------
    pandas.DataFrame
        pool (stock item; 'all' for each year's sum), year, removed, issued (net), gap (of the
        larger; NaN where both are 0), agrees. Years in full only.
    """
    table = records.register.table.set_index("position_id")
    pump = table.drop_duplicates("pump_key").set_index("pump_key")["pool"]
    events = records.removals.table
    pool = events["position_id"].map(table["pool"]).fillna(events["pump_key"].map(pump))
    removed = pd.DataFrame({"pool": pool, "year": events["end"].dt.year, "removed": 1})
    issues = _issues(records)
    # An item drawn for a pump counts under the item that fits the pump today.
    of_pump = issues["pump_key"].map(pump)
    fits = issues["stock_no"].where(issues["stock_no"].isin(pump), of_pump)
    issued = pd.DataFrame({"pool": fits, "year": issues["date"].dt.year, "issued": issues["qty"]})
    parts = [f[f["pool"].fillna("").ne("") & f["year"].notna()] for f in (removed, issued)]
    both = pd.concat([*parts, *(p.assign(pool="all") for p in parts)])
    out = both.groupby(["pool", "year"], as_index=False)[["removed", "issued"]].sum()
    out = out.astype({"year": int, "removed": int, "issued": float})
    larger = out[["removed", "issued"]].max(axis=1)
    out["gap"] = (out["removed"] - out["issued"]).abs() / larger.where(larger > 0)
    out["agrees"] = ~((out["gap"] > _GAP) & (larger >= _FEWEST))
    return out


def sources_disagree(records: Records) -> pd.DataFrame:
    """For which items and years is more than a fifth of the seals missing on one side?"""
    if not (records.orders["stock_no"] != "").any() and "issues" not in records.fleet.tables:
        return make_findings("removals and issues differ", "ask", [], "")
    table = reconcile(records)
    found = table[~table["agrees"]]
    return make_findings(
        "removals and issues differ",
        "ask",
        ["work_orders"] * len(found),
        [
            f"{year}, {'all items' if pool == 'all' else f'item {pool}'}: {removed} seals taken "
            f"out, {issued:g} drawn from the store; one of the two is incomplete"
            for pool, year, removed, issued in found[
                ["pool", "year", "removed", "issued"]
            ].itertuples(index=False)
        ],
        column="part_qty",
        value=found["gap"].round(2),
        threshold=f"{_GAP:.0%}",
        action="removals counted as found",
    )


def _issues(records: Records) -> pd.DataFrame:
    """One row an issue of a seal: record_id, date, wo_no, stock_no, qty, tag, pump_key."""
    orders = records.orders
    given = records.fleet.tables.get("issues")
    if given is None:
        rows = orders[
            (orders["part"] != "") & ~orders["repeated"] & (orders["status"] != "cancelled")
        ]
        seals = read_evidence(rows["part"])["seal"]
        return rows[seals].assign(
            date=rows["work_start"].fillna(rows["day"]).fillna(rows["closed"]),
            qty=rows["part_qty"].fillna(1.0),
        )
    about = orders.drop_duplicates("wo_no").set_index("wo_no")
    tag = given["wo_no"].map(about["tag"]).fillna("")
    return given.assign(
        stock_no=given["material_no"],
        qty=given["qty"].fillna(1.0),
        tag=given["tag"].where(given["tag"] != "", tag) if "tag" in given else tag,
        pump_key=given["wo_no"].map(about["pump_key"]).fillna(""),
    )
