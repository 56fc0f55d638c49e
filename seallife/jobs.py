"""Which orders are one job? Join the orders of each seal into removals.

In: rows of `Orders` and of a site's own list. Out: one row a removal. Next: `seallife.events`.

Orders on one seal whose work touches are one removal, but each seal drawn from the store is one of
its own where the pump had been handed back before. Orders that only go with another order's job
(rework without a new seal, alignment after the change) join that job and move no date or reason.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from seallife.findings import join_findings, make_findings
from seallife.intake.damage import how_telling
from seallife.schema import ENDED_BY, LEAK_PATHS

__all__ = ["MENTIONS", "join_orders"]

MENTIONS = ("seal change mentioned", "rework")
"""Kinds of orders that tell of no removal of their own."""

_REWORK_DAYS = 7  # rework this soon after the return belongs to the job before
_REPEATS = (30, 90)
_SORTED = ["seal", "end", "back", "reason", "evidence", "wo_no", "record_id"]


def join_orders(
    rows: pd.DataFrame, gap_days: int
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Which rows tell of one removal, and what do they say together?

    Parameters
    ----------
    rows : pandas.DataFrame
        Columns of `seallife.orders.Orders.table`.
    gap_days : int
        Orders this close are one job.

    Returns
    -------
    table : pandas.DataFrame
        One row a removal, see `seallife.events.Removals`.
    findings : pandas.DataFrame
    alone : pandas.DataFrame
        Rows of the kinds `MENTIONS` that touch no removal: they are in none.
    """
    # A site's own list of removals has been through this already: each row stands for itself.
    own = rows["record_id"].str.startswith("removals:")
    seal = rows["position_id"].where(rows["position_id"] != "", "? " + rows["pump_key"])
    seal = seal.where(~own, seal + " " + rows["record_id"])
    rows = rows.assign(seal=seal, back=rows["back"].fillna(rows["end"]))
    mention = rows["kind"].isin(MENTIONS)
    rework = rows["rework"] & ~rows["renewed"]
    blind = (rows["position_id"] == "") & ~rows["seal_drawn"]
    rows["reach"] = np.where(rework, max(_REWORK_DAYS, gap_days), gap_days)
    goes_with = mention | rework | blind
    jobs = _jobs(rows[~goes_with], gap_days)
    joined = _touching(rows[goes_with], jobs, gap_days)
    # What goes with nothing stands for itself, but a mere mention does not.
    free = goes_with & ~rows.index.isin(joined.index) & ~mention
    jobs = _jobs(rows[~goes_with | free], gap_days)
    joined = _touching(rows[goes_with & ~free], jobs, gap_days)
    with_job = rows.loc[joined.index].assign(event=joined)
    alone = rows.loc[mention & ~rows.index.isin(joined.index)]
    table = _summed(jobs, with_job)
    more = pd.concat([jobs[jobs["event"].duplicated()], with_job])
    findings = [
        make_findings(
            "part of one removal",
            "note",
            more["record_id"].sort_values(),
            "its work touches another order on the same seal and tells of no second one",
            threshold=f"{gap_days} days",
            action="joined to one removal",
        )
    ]
    failed = table["reason"].map(ENDED_BY) == "failed"
    after = 0
    for days in _REPEATS:
        again = failed & (table["repeat_days"] > after) & (table["repeat_days"] <= days)
        again |= failed & (after == 0) & (table["repeat_days"] <= 0)
        findings.append(
            make_findings(
                f"repeat within {days} days",
                "note",
                table.loc[again, "record_id"],
                "the seal failed {value} days after the pump's return from its last renewal",
                column="end",
                value=table.loc[again, "repeat_days"],
                threshold=f"{days} days",
            )
        )
        after = days
    return table, join_findings(findings), alone


def _jobs(rows: pd.DataFrame, gap_days: int) -> pd.DataFrame:
    """Number the jobs of each seal: orders that touch, parted where a second seal went in."""
    rows = rows.sort_values(_SORTED, kind="stable")
    last_back = rows["back"].groupby(rows["seal"]).cummax().groupby(rows["seal"]).shift()
    new = last_back.isna() | (rows["end"] > last_back + pd.Timedelta(days=gap_days))
    rows = rows.assign(event=np.cumsum(new.to_numpy()) - 1)
    drawn = rows[rows["seal_drawn"]]
    by = drawn.groupby("event")
    before = by["back"].shift()
    handed_over = (drawn["serial_out"] != "") & (drawn["serial_out"] == by["serial_in"].shift())
    same_day = drawn["end"] == before
    month = drawn["end_low"].notna() & by["end_low"].shift().notna()
    second = (
        (drawn["end"] > before)
        | (same_day & (drawn["fitting_fault"] | month))
        | (before.notna() & handed_over)
    )
    new |= second.reindex(rows.index, fill_value=False)
    return rows.assign(event=np.cumsum(new.to_numpy()) - 1)


def _touching(loose: pd.DataFrame, jobs: pd.DataFrame, gap_days: int) -> pd.Series:
    """Find the job of the same seal or pump that each loose order's work touches.

    Returns
    -------
    pandas.Series
        Number of the job, by index of those that touch one.
    """
    gap = pd.Timedelta(days=gap_days)
    listed = jobs[~jobs["record_id"].str.startswith("removals:")]
    first = listed["end_low"].fillna(listed["end"])
    spans = (
        listed.assign(first=first)
        .groupby("event")
        .agg(
            pump_key=("pump_key", "first"),
            job_seal=("seal", "first"),
            first=("first", "min"),
            last=("back", "max"),
        )
        .reset_index()
    )
    pairs = loose.reset_index(names="row").merge(spans, on="pump_key")
    same = (
        (pairs["job_seal"] == pairs["seal"])
        | (pairs["position_id"] == "")
        | pairs["job_seal"].str.startswith("? ")
    )
    reach = pd.to_timedelta(pairs["reach"], unit="D")
    near = (pairs["end"] <= pairs["last"] + reach) & (pairs["back"] >= pairs["first"] - gap)
    pairs = pairs[same & near]
    away = (pairs["end"] - pairs["first"]).abs()
    pairs = pairs.assign(away=away).sort_values(["row", "away", "event"], kind="stable")
    return pairs.drop_duplicates("row").set_index("row")["event"]


def _summed(jobs: pd.DataFrame, with_job: pd.DataFrame) -> pd.DataFrame:
    """Earliest end, latest return, the reason with the best evidence, the most telling damage."""
    order = ["event", "confidence", "seal_drawn"]
    best = jobs.sort_values(order, ascending=[True, False, False], kind="stable")
    best = best.drop_duplicates("event").set_index("event")
    by = jobs.groupby("event", sort=True)
    first = by["record_id"].first()
    everything = pd.concat([jobs, with_job[with_job["kind"] != "seal change mentioned"]])
    ids = pd.concat([jobs, with_job.sort_values("record_id")])[["event", "record_id"]]
    several = ids[ids["event"].duplicated(keep=False)].groupby("event")["record_id"].agg(" ".join)
    found = _found(everything)
    table = best.assign(
        end=by["end"].min(),
        back=everything.groupby("event")["back"].max(),
        fitting_fault=by["fitting_fault"].any(),
        damage=found["damage"],
        damage_evidence=found["damage_evidence"],
        leak_path=found["leak_path"],
        serial_out=_given(jobs, "serial_out"),
        **{c: _given(jobs, c) for c in ("serial_in", "lot", "crew")},
        record_id=first,
        record_ids=several.reindex(first.index).fillna(first),
        orders=ids.groupby("event").size(),
    )
    # A stretch is only kept where no order of the event knows the day.
    known_day = jobs["end_low"].isna().groupby(jobs["event"]).any()
    table["end_low"] = table["end_low"].mask(known_day)
    # A pump taken out for good does not return.
    table["back"] = table["back"].mask(table["reason"] == "pump retired")
    table = table.sort_values(["seal", "end", "back", "reason", "record_id"], kind="stable")
    again = table["position_id"] != ""
    before = table["back"].where(again).groupby(table["seal"]).shift()
    table["repeat_days"] = (table["end"] - before).dt.days.astype(float)
    table = table.sort_values(["end", "position_id", "record_id"], kind="stable")
    table = table.reset_index(drop=True)
    table.insert(0, "removal_id", [f"R{i + 1}" for i in table.index])
    return table.drop(columns=["seal", "reach", "kind", "renewed", "seal_drawn", "rework"])


def _found(rows: pd.DataFrame) -> pd.DataFrame:
    """What all orders of each event say together of the damage and the leak path.

    Words go before codes, and among them the group that tells most; a leak to the outside goes
    before one inside.
    """
    telling = how_telling(rows["damage"], rows["damage_evidence"])
    path = rows["leak_path"].map({p: i for i, p in enumerate(LEAK_PATHS.values())})
    columns = ["damage", "damage_evidence", "leak_path"]
    rows = rows[["event", *columns]].assign(telling=telling, path=path.fillna(len(LEAK_PATHS)))

    def best(by: str) -> pd.DataFrame:
        first = rows.sort_values(["event", by], kind="stable").drop_duplicates("event")
        return first.set_index("event")[columns]

    return best("telling").assign(leak_path=best("path")["leak_path"])


def _given(jobs: pd.DataFrame, column: str) -> pd.Series:
    """Last value of each event that is not empty; '' where none is given."""
    given = jobs[jobs[column] != ""].drop_duplicates("event", keep="last")
    last = given.set_index("event")[column]
    return last.reindex(pd.RangeIndex(jobs["event"].max() + 1 if len(jobs) else 0), fill_value="")
