"""Failures and time at risk of each group, as the growth functions take them.

In: `Removals`, `LifeTable`, `Register`. Out: `GrowthData`. Next: `seallife.history.growth`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from seallife.clocks import day_number
from seallife.events import Removals
from seallife.history.mtbr import position_groups
from seallife.history.trendtests import gap_tests
from seallife.history.watch import Watch, read_watch
from seallife.life.groups import Floats, Ints
from seallife.lives import LifeTable
from seallife.register import Register
from seallife.schema import ENDED_BY, HOURS_PER_DAY

__all__ = ["Clock", "GrowthData", "events_placed", "growth_data", "spans_at_risk"]

Clock = Literal["calendar", "run"]
_NEAR = 31  # days between a failure and the position's time at risk that are a slip of dates


@dataclass(frozen=True, eq=False)
class GrowthData:
    """Failures and time at risk, gathered by group.

    Attributes
    ----------
    names : DataFrame
        ``by`` and ``group`` of each group, in the order in which ways of grouping were asked for.
    watch : Watch
        Positions, their time at risk and failures, in days; groups numbered as in ``names``.
    new : ndarray of int, shape (g,)
        Positions of each group that were new when their time at risk began.
    left_out : ndarray of int, shape (g,)
        Failures of each group on a day far from any time at risk of their position.
    unplaced : list of (ndarray, int)
        Days (NaN where not known) of failures without position or day that may belong to each
        group, and how many of them to take: all of a site's; of a unit or class, whose they are is
        not known, as many as the group has of all failures.
    gaps : dict
        Columns of `seallife.history.trendtests.gap_tests` for each group: gaps between failures of
        one position, watched without a break.
    """

    names: pd.DataFrame
    watch: Watch
    new: Ints
    left_out: Ints
    unplaced: list[tuple[Floats, int]]
    gaps: dict[str, Floats | Ints]


def growth_data(
    removals: Removals,
    lives: LifeTable,
    register: Register,
    service_class: pd.Series,
    by: Sequence[str],
    clock: Clock,
    resamples: int,
    seed: int,
) -> GrowthData:
    """Gather what `seallife.history.growth.growth_of_groups` works on."""
    spans = spans_at_risk(lives, clock)
    counted = {"failed": True, "withdrawn": False, "unknown": lives.unknown_as == "failed"}
    failures = events_placed(removals, register, spans, counted)
    groups = position_groups(register, service_class).astype(str)
    # by name, so that the order of the register changes no draw
    groups = groups[groups.index.isin(spans["position_id"])].sort_index()
    parts = [
        groups[way].drop_duplicates().sort_values().to_frame("group").assign(by=way) for way in by
    ]
    names = pd.concat(parts, ignore_index=True)
    # One number a group and position: a position stands once in each way of grouping.
    table = names.assign(number=np.arange(len(names)))
    member = pd.concat(
        [
            groups[way].rename("group").rename_axis("position_id").reset_index().assign(by=way)
            for way in by
        ]
    ).merge(table, on=["by", "group"])
    member = member[["position_id", "number"]].reset_index(drop=True)
    member["unit"] = np.arange(len(member))
    watch = _watch(spans, failures, member)
    lost = failures[failures["time"].isna()].merge(member, on="position_id")
    left_out = np.bincount(lost["number"], minlength=len(names))
    begun = lives.table.sort_values("entry", kind="stable").drop_duplicates("position_id")
    fresh = begun.loc[begun["start_kind"] == "commissioned", "position_id"]
    new = member.loc[member["position_id"].isin(fresh), "number"]
    return GrowthData(
        names,
        watch,
        np.bincount(new, minlength=len(names)),
        left_out,
        _unplaced(removals, names, np.diff(watch.group_events), len(failures)),
        _gap_columns(lives, member, len(names), resamples, seed),
    )


def spans_at_risk(lives: LifeTable, clock: Clock = "calendar") -> pd.DataFrame:
    """Stretches at risk of each position, in days, and exposure a day in each."""
    table = lives.table
    start, end = day_number(table["entry"]), day_number(table["exit"])
    worth = np.ones(len(table))
    if clock == "run":
        worth = table["hours"].to_numpy(dtype=float) / ((end - start) * HOURS_PER_DAY)
    spans = pd.DataFrame(
        {"position_id": table["position_id"], "start": start, "end": end, "worth": worth}
    )
    return spans.sort_values(["position_id", "start"]).reset_index(drop=True)


def events_placed(
    removals: Removals, register: Register, spans: pd.DataFrame, ended: Mapping[str, bool]
) -> pd.DataFrame:
    """When was each removal that counts, in the time at risk of its position?

    Parameters
    ----------
    spans : DataFrame
        From `spans_at_risk`.
    ended : mapping
        Which of 'failed', 'withdrawn' and 'unknown' count.

    Returns
    -------
    DataFrame
        ``position_id``, ``day`` and ``time``: that day, or the nearest at risk if the seal was
        said to be out; NaN where none is within 31 days (common practice, no source).
    """
    events = removals.table[removals.table["ended"].map(ended).astype(bool)]
    first = register.table.drop_duplicates("pump_key").set_index("pump_key")["position_id"]
    # Where the end of the pump is not named, its first seal stands for it.
    named = events["position_id"] != ""
    position = events["position_id"].where(named, events["pump_key"].map(first))
    rows = pd.DataFrame({"position_id": position.astype(object), "day": day_number(events["end"])})
    rows = rows.sort_values("day", kind="stable").reset_index(drop=True)
    by_end = spans.sort_values("end", kind="stable")
    ahead, back = (
        pd.merge_asof(rows, by_end, by="position_id", left_on="day", right_on="end", direction=way)
        for way in ("forward", "backward")
    )
    day, start = rows["day"].to_numpy(), ahead["start"].to_numpy()
    since, until = day - back["end"].to_numpy(), start - day
    time = np.full(len(rows), np.nan)
    time[until <= _NEAR] = np.nextafter(start[until <= _NEAR], np.inf)
    time[since <= _NEAR] = back["end"].to_numpy()[since <= _NEAR]
    # a stretch holds its end and not its start
    time[start < day] = day[start < day]
    return rows.assign(time=time)


def _watch(spans: pd.DataFrame, failures: pd.DataFrame, member: pd.DataFrame) -> Watch:
    """All groups' positions at once, each position once in each of its groups."""
    stretch = spans.merge(member, on="position_id")
    event = failures[failures["time"].notna()].merge(member, on="position_id")
    return read_watch(
        event["time"],
        event["unit"],
        stretch["start"],
        stretch["end"],
        stretch["unit"],
        group=stretch["number"],
        worth=stretch["worth"],
    )


def _unplaced(
    removals: Removals, names: pd.DataFrame, failures: Ints, total: int
) -> list[tuple[Floats, int]]:
    """Days of perhaps failures without position or day, for each group."""
    table = removals.unplaced
    rows = table[table["reason"].map(ENDED_BY) != "withdrawn"]
    day, site = day_number(rows["end"]), rows["site"].to_numpy(dtype=object)
    out = []
    for name, way, n in zip(names["group"], names["by"], failures.tolist(), strict=True):
        if way == "site":
            mine = day[(site == name) | (site == "")]
            out.append((mine, len(mine)))
        else:
            share = 1.0 if way == "all" else n / max(total, 1)
            out.append((day, math.ceil(len(day) * share - 1e-9)))
    return out


def _gap_columns(
    lives: LifeTable, member: pd.DataFrame, groups: int, resamples: int, seed: int
) -> dict[str, Floats | Ints]:
    """Tests of the gaps between failures of one position, watched without a break."""
    table = lives.table.sort_values(["position_id", "entry"], kind="stable")
    fresh = (table["start_kind"] != "renewed") | table["position_id"].ne(
        table["position_id"].shift()
    )
    sequence = fresh.cumsum()
    spent = table["days"].groupby(sequence).cumsum()
    failed = (table["end"] == "failed").to_numpy()
    marks = pd.DataFrame(
        {"position_id": table["position_id"], "sequence": sequence, "spent": spent}
    )[failed]
    marks["gap"] = marks.groupby("sequence")["spent"].diff()
    gaps = marks.dropna(subset="gap").merge(member, on="position_id")
    gaps = gaps.sort_values(["number", "sequence", "spent"], kind="stable")
    new = gaps["number"].ne(gaps["number"].shift()) | gaps["sequence"].ne(gaps["sequence"].shift())
    first = np.flatnonzero(new.to_numpy())
    offsets = np.append(first, len(gaps)).astype(np.int64)
    owner = gaps["number"].to_numpy()[first]
    sequences = np.searchsorted(owner, np.arange(groups + 1)).astype(np.int64)
    values = gaps["gap"].to_numpy(dtype=np.float64)
    return gap_tests(values, offsets, sequences, resamples=resamples, seed=seed)
