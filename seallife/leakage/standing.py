"""Which reading stands for a position at each hour of each year?

In: dates of readings and members of a population. Out: `Standing`. Next:
`seallife.leakage.emissions`.

A reading stands for half of the time to its neighbours, and at most ``reach_days`` either way.
What no reading reaches is not monitored, and is counted as such.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError
from seallife.leakage.records import to_days
from seallife.life.groups import Floats, Ints, group_rows
from seallife.schema import HOURS_PER_DAY

__all__ = [
    "Members",
    "Standing",
    "members_of",
    "standing",
    "year_edges",
    "year_names",
]


@dataclass(frozen=True, eq=False)
class Members:
    """Positions of a population.

    Attributes
    ----------
    labels : ndarray, shape (p,)
        Sorted.
    start, end : ndarray, shape (p,)
        When each belongs to it [d since 1970], -inf and inf where open.
    share : ndarray, shape (p,)
        Share of the time that counts.
    """

    labels: NDArray[np.object_]
    start: Floats
    end: Floats
    share: Floats

    def hours(self, edges: Floats) -> Floats:
        """Hours of each member in each year that count, shape (p, m)."""
        return self.share[:, None] * _overlap(self.start, self.end, edges) * HOURS_PER_DAY


@dataclass(frozen=True, eq=False)
class Standing:
    """Hours each reading stands for.

    Attributes
    ----------
    member : ndarray of int, shape (n,)
        Member of each reading, in the order of the caller.
    hours : ndarray, shape (n, m)
        Hours of each year.
    """

    member: Ints
    hours: Floats


def members_of(
    position: NDArray[np.object_], population: pd.DataFrame | None, run_share: float, until: float
) -> Members:
    """Who belongs to the population, when, and for which share of the time?

    Parameters
    ----------
    position : ndarray, shape (n,)
        Position of each reading.
    population : DataFrame, optional
        ``position_id``; ``start``, ``end`` and ``run_share`` where there. None for the positions
        that were read.
    run_share : float
        Of members without their own.
    until : float
        End of the records [d since 1970]: nobody belongs to it from then on.

    Raises
    ------
    InputError
        If a position was read that is no member, one stands twice, its end is not after its
        start, or a share is not above 0 and at most 1.
    """
    table = (
        pd.DataFrame({"position_id": pd.unique(pd.Series(position))})
        if population is None
        else population
    )
    if "position_id" not in table:
        raise InputError("has no column position_id", where="population")
    table = table.sort_values("position_id", kind="stable")
    labels = table["position_id"].to_numpy(dtype=object)
    twice = pd.Series(labels).duplicated()
    if twice.any():
        raise InputError(f"holds {labels[int(twice.argmax())]!r} twice", where="population")
    stranger = ~np.isin(position.astype(str), labels.astype(str))
    if stranger.any():
        at = int(np.argmax(stranger))
        raise InputError(
            f"is {position[at]!r}, which population does not hold",
            where=f"position[{at}]",
            hint="add it there or leave its readings out",
        )
    p = len(labels)
    start, end = (
        to_days(table[c], f"population.{c}", blank=open_) if c in table else np.full(p, open_)
        for c, open_ in (("start", -np.inf), ("end", np.inf))
    )
    share = np.full(p, float(run_share))
    if "run_share" in table:
        own = table["run_share"].to_numpy(dtype=np.float64)
        share = np.where(np.isnan(own), share, own)
    for bad, column, what in (
        (~(end > start), "end", "is not after its start"),
        (~((share > 0) & (share <= 1)), "run_share", "is not above 0 and at most 1"),
    ):
        if bad.any():
            where = f"population.{column}, {labels[int(np.argmax(bad))]!r}"
            raise InputError(what, where=where)
    return Members(labels, start, np.minimum(end, until), share)


def standing(
    position: NDArray[np.object_],
    day: Floats,
    members: Members,
    edges: Floats,
    reach_days: float,
) -> Standing:
    """How many hours of each year does each reading stand for?

    Parameters
    ----------
    position : ndarray, shape (n,)
    day : ndarray, shape (n,)
        [d since 1970]
    members : Members
    edges : ndarray, shape (m + 1,)
        [d since 1970]
    reach_days : float
        Most days a reading stands for, before it and after it.
    """
    groups = group_rows(position.astype(str), len(day))
    gathered = groups.gather(np.arange(len(day)))
    order = gathered[np.lexsort((day[gathered], groups.codes))]
    t, code = day[order], groups.codes
    names = np.array([str(v) for v in members.labels], dtype=object)
    place = {name: i for i, name in enumerate(names.tolist())}
    member = np.array([place[str(v)] for v in groups.labels.tolist()], dtype=np.int64)[code]
    follows = code[1:] == code[:-1]
    middle = (t[1:] + t[:-1]) / 2
    before, after = t - reach_days, t + reach_days
    before[1:] = np.where(follows, np.maximum(before[1:], middle), before[1:])
    after[:-1] = np.where(follows, np.minimum(after[:-1], middle), after[:-1])
    before = np.maximum(before, members.start[member])
    after = np.minimum(after, members.end[member])
    hours = members.share[member][:, None] * _overlap(before, after, edges) * HOURS_PER_DAY
    back_member, back_hours = np.empty_like(member), np.empty_like(hours)
    back_member[order], back_hours[order] = member, hours
    return Standing(back_member, back_hours)


def year_edges(edges: ArrayLike | None, day: Floats) -> Floats:
    """Edges of the years [d since 1970]; of those in which readings were taken, if not given."""
    if edges is None:
        first, last = (
            pd.Timestamp(0) + pd.Timedelta(days=float(d)) for d in (day.min(), day.max())
        )
        dates = [pd.Timestamp(y, 1, 1) for y in range(first.year, last.year + 2)]
        return to_days(dates, "edges")
    found = to_days(edges, "edges")
    if len(found) < 2 or (np.diff(found) <= 0).any():
        raise InputError("are not two dates or more in order of time", where="edges")
    return found


def year_names(dates: pd.DatetimeIndex) -> list[str]:
    """A calendar year by its number, any other stretch by its dates."""
    return [
        str(a.year)
        if a == pd.Timestamp(a.year, 1, 1) and b == pd.Timestamp(a.year + 1, 1, 1)
        else f"{a.date()} to {b.date()}"
        for a, b in pairwise(dates)
    ]


def _overlap(start: Floats, end: Floats, edges: Floats) -> Floats:
    """Days of each stretch in each year, shape (n, m)."""
    first = np.maximum(start[:, None], edges[:-1])
    last = np.minimum(end[:, None], edges[1:])
    return np.asarray(np.maximum(last - first, 0.0), dtype=np.float64)
