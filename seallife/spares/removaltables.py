"""When will each seal come out? Chances by month, for seals in service and for those that follow.

In: `FleetAhead`, edges of months. Out: `Removals` of one draw. Next: `seallife.spares.demand`.

A seal in service comes out in month k with chance f(k). The seal that follows it, fitted in the
middle of month j, comes out in month k with chance K(j, k), the same for all positions of a cell:
one class, like pace, like factor, same outages. All removals of a position are then

    m = f + f K + f K K + ... = f (1 - K)^-1

and the pairs of removals among them, which make counts scatter less or more than Poisson's,
follow from the same matrix.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from seallife.life.groups import Floats, Ints
from seallife.spares.ahead import FleetAhead

__all__ = ["PARTS", "Cells", "Timetable", "timetable"]

PARTS = ("failed", "planned", "outage")
"""Why a seal comes out: it fails, it is renewed with other work, or in an outage."""

_PACE_STEP, _FACTOR_STEP = 0.25, 0.3  # of their logs: seals in one cell are as alike as that


@dataclass(frozen=True, eq=False)
class Cells:
    """Seals that new seals at their positions will age like.

    Attributes
    ----------
    order : ndarray of int, shape (n,)
        Seals sorted by cell.
    starts : ndarray of int, shape (cells + 1,)
        Where each cell begins in that order.
    place : ndarray of int, shape (cells,)
    pace : ndarray, shape (cells,)
    share, when : ndarray, shape (cells, k)
        Share of seals renewed in outages of each month, and how much of the month lies before.
    """

    order: Ints
    starts: Ints
    place: Ints
    pace: Floats
    share: Floats
    when: Floats

    def mean(self, values: Floats) -> Floats:
        """Mean of the seals of each cell; values in the order of cells."""
        return np.asarray(np.add.reduceat(values, self.starts[:-1]) / self.size)

    @property
    def size(self) -> Ints:
        """Seals in each cell."""
        return np.diff(self.starts)

    def blocks(self, rows: int) -> list[tuple[int, int]]:
        """First and last cell of blocks of about so many seals, which stay near the processor."""
        block = self.starts[:-1] // rows
        edges = [*np.flatnonzero(np.diff(block, prepend=-1)).tolist(), len(block)]
        return list(pairwise(edges))


@dataclass(frozen=True, eq=False)
class Timetable:
    """What does not change from draw to draw; seals in the order of cells.

    Attributes
    ----------
    edges : ndarray, shape (k + 1,)
        Days from now, the first 0.
    flat, along : ndarray, shape (n, k + 1)
        Cell of the laws' table (class and knot) in which each seal's age lies at each edge, and
        how far along; of seals of known age.
    flat_new, along_new : ndarray, shape (cells, k, k + 1)
        The same of a seal fitted amid month j.
    passed : ndarray, shape (n, k)
        Days of each month in which the seal is in service.
    passed_new : ndarray, shape (k, k)
    share, when : ndarray, shape (n, k)
        Share of each seal renewed in an outage of each month, and how much of the month lies
        before that outage.
    """

    ahead: FleetAhead
    edges: Floats
    cells: Cells
    flat: Ints
    along: Floats
    flat_new: Ints
    along_new: Floats
    passed: Floats
    passed_new: Floats
    share: Floats
    when: Floats

    def first(self, draw: int, rows: slice, factor: Floats) -> Floats:
        """Chance that seals in service come out in each month, by kind, shape (3, rows, k).

        ``factor`` is that of all seals in this draw, in the order of the fleet.
        """
        ahead, seal = self.ahead, self.cells.order[rows]
        place = ahead.place[seal]
        at = _read(ahead.laws.cumulative[draw], self.flat[rows], self.along[rows])
        risk, passed = np.diff(at, axis=1), self.passed[rows]
        unaged = np.flatnonzero(np.isnan(ahead.age[seal]))
        if len(unaged):
            rate = ahead.unaged[draw, place[unaged]] * ahead.pace[seal[unaged]]
            risk[unaged] = rate[:, None] * passed[unaged]
        risk *= factor[seal, None]
        other = ahead.planned[draw, place][:, None] * passed
        return _leaving(risk, other, self.share[rows], self.when[rows])

    def following(self, draw: int, factor: Floats) -> Floats:
        """The same of a seal fitted amid month j, by kind, shape (3, cells, k, k)."""
        ahead, cells = self.ahead, self.cells
        table = ahead.laws.cumulative[draw]
        risk = np.diff(_read(table, self.flat_new, self.along_new), axis=2)
        risk *= cells.mean(factor[cells.order])[:, None, None]
        other = ahead.planned[draw, cells.place][:, None, None] * self.passed_new
        # most seals fitted in an outage's month are fitted in that outage or after it
        share = np.triu(np.broadcast_to(cells.share[:, None], risk.shape), 1)
        return _leaving(risk, other, share, cells.when[:, None])


def timetable(ahead: FleetAhead, edges: Floats) -> Timetable:
    """Look up the ages that seals will have at the edges of months.

    Parameters
    ----------
    ahead : FleetAhead
    edges : ndarray, shape (k + 1,)
        Days from now, the first 0.
    """
    last = len(edges) - 1
    n = len(ahead)
    share, when = np.zeros((2, n, last))
    for day, part in zip(ahead.outage_day.T, ahead.outage_share.T, strict=True):
        rows = np.flatnonzero((day >= 0) & (day < edges[-1]))
        month = np.searchsorted(edges, day[rows], side="right") - 1
        share[rows, month] = 1 - (1 - share[rows, month]) * (1 - part[rows])
        when[rows, month] = (day[rows] - edges[month]) / np.diff(edges)[month]
    cells = _cells(ahead, share, when)
    order = cells.order
    served = np.maximum(edges - ahead.starts[order, None], 0.0)
    age = np.nan_to_num(ahead.age[order, None]) + ahead.pace[order, None] * served
    flat, along = _places(ahead, ahead.place[order], age)
    middle = (edges[1:] + edges[:-1]) / 2
    since = np.maximum(edges - middle[:, None], 0.0)
    flat_new, along_new = _places(ahead, cells.place, cells.pace[:, None, None] * since)
    return Timetable(
        ahead,
        edges,
        cells,
        flat,
        along,
        flat_new,
        along_new,
        np.diff(served, axis=1),
        np.diff(since, axis=1),
        share[order],
        when[order],
    )


def _cells(ahead: FleetAhead, share: Floats, when: Floats) -> Cells:
    """Put seals together whose followers will age alike."""
    factor = ahead.seals["factor"].to_numpy(np.float64)
    with np.errstate(divide="ignore"):
        pace = np.where(ahead.pace > 0, np.round(np.log(ahead.pace) / _PACE_STEP), -999)
    outage = np.zeros(len(ahead), dtype=np.int64)
    if share.any():
        # seals on an outage list have followers like those of their neighbours
        common = np.where(share < 1, share, 0.0)
        outage = np.unique(common.round(3), axis=0, return_inverse=True)[1].ravel()
    key = np.column_stack([ahead.place, pace, np.round(np.log(factor) / _FACTOR_STEP), outage])
    _, of = np.unique(key, axis=0, return_inverse=True)
    of = of.ravel()
    order = np.argsort(of, kind="stable")
    starts = np.append(np.flatnonzero(np.diff(of[order], prepend=-1)), len(of)).astype(np.int64)
    first = order[starts[:-1]]
    mean = np.add.reduceat(ahead.pace[order], starts[:-1]) / np.diff(starts)
    followers = np.where(share < 1, share, 0.0)[first]
    return Cells(order, starts, ahead.place[first], mean, followers, when[first])


def _places(ahead: FleetAhead, place: Ints, age: Floats) -> tuple[Ints, Floats]:
    """Where ages lie between the knots of the laws."""
    knots = ahead.laws.ages
    at = np.clip(np.searchsorted(knots, age, side="right") - 1, 0, len(knots) - 2)
    along = (age - knots[at]) / np.diff(knots)[at]
    shift = (place * len(knots)).reshape(-1, *(1,) * (age.ndim - 1))
    return (at + shift).astype(np.int32), along


def _read(table: Floats, flat: Ints, along: Floats) -> Floats:
    """Cumulative failure rates at the places looked up."""
    values = table.ravel()
    rise = np.diff(values, append=values[-1])
    out = rise[flat]
    out *= along
    out += values[flat]
    return out


def _leaving(risk: Floats, other: Floats, share: Floats, when: Floats) -> Floats:
    """Chance to leave in each month (last axis) by kind, from rates and the outage's share."""
    total = risk + other
    left = np.exp(-total)
    left *= 1 - share
    np.cumprod(left, axis=-1, out=left)
    out = np.empty((3, *total.shape))
    gone = out[1]
    gone[..., 0] = 1 - left[..., 0]
    np.subtract(left[..., :-1], left[..., 1:], out=gone[..., 1:])
    out[2] = 0.0
    for k in np.flatnonzero(share.any(axis=tuple(range(share.ndim - 1)))).tolist():
        before = left[..., k - 1] if k else 1.0
        out[2, ..., k] = before * share[..., k] * np.exp(-when[..., k] * total[..., k])
    gone -= out[2]
    np.divide(risk, total, out=left, where=total > 0)
    np.multiply(gone, left, out=out[0])
    gone -= out[0]
    return out
