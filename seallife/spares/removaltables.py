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
    of : ndarray of int, shape (n,)
        Cell of each seal.
    order : ndarray of int, shape (n,)
        Seals sorted by cell.
    starts : ndarray of int, shape (cells + 1,)
        Where each cell begins in that order.
    place : ndarray of int, shape (cells,)
    pace : ndarray, shape (cells,)
    share, when : ndarray, shape (cells, k)
        Share of seals renewed in outages of each month, and how much of the month lies before.
    """

    of: Ints
    order: Ints
    starts: Ints
    place: Ints
    pace: Floats
    share: Floats
    when: Floats

    def mean(self, values: Floats) -> Floats:
        """Mean of the seals of each cell."""
        return np.asarray(np.add.reduceat(values[self.order], self.starts[:-1]) / self.size)

    @property
    def size(self) -> Ints:
        """Seals in each cell."""
        return np.diff(self.starts)


@dataclass(frozen=True, eq=False)
class Timetable:
    """What does not change from draw to draw.

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

    def first(self, draw: int) -> tuple[Floats, Floats]:
        """Chance that a seal in service comes out in each month, shape (n, k), and of each kind.

        Returns
        -------
        total : ndarray, shape (n, k)
        kinds : ndarray, shape (3, n, k)
        """
        ahead = self.ahead
        table = ahead.laws.cumulative[draw]
        risk = np.diff(_read(table, self.flat, self.along), axis=1)
        unaged = np.flatnonzero(np.isnan(ahead.age))
        if len(unaged):
            rate = ahead.unaged[draw, ahead.place[unaged]] * ahead.pace[unaged]
            risk[unaged] = rate[:, None] * self.passed[unaged]
        risk *= ahead.factor(draw)[:, None]
        other = ahead.planned[draw, ahead.place][:, None] * self.passed
        kinds = _leaving(risk, other, self.share, self.when)
        return kinds.sum(axis=0), kinds

    def following(self, draw: int) -> Floats:
        """The same of a seal fitted amid month j, by kind, shape (3, cells, k, k)."""
        ahead, cells = self.ahead, self.cells
        table = ahead.laws.cumulative[draw]
        risk = np.diff(_read(table, self.flat_new, self.along_new), axis=2)
        risk *= cells.mean(ahead.factor(draw))[:, None, None]
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
    served = np.maximum(edges - ahead.starts[:, None], 0.0)
    known = np.where(np.isnan(ahead.age), 0.0, ahead.age)
    flat, along = _places(ahead, ahead.place, known[:, None] + ahead.pace[:, None] * served)
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
        share,
        when,
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
    return Cells(of, order, starts, ahead.place[first], mean, followers, when[first])


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
    stay = np.exp(-total)
    before = np.ones_like(total)
    np.cumprod((stay * (1 - share))[..., :-1], axis=-1, out=before[..., 1:])
    out = np.empty((3, *total.shape))
    out[2] = before * share * np.exp(-when * total)
    gone = before * (1 - (1 - share) * stay) - out[2]
    with np.errstate(divide="ignore", invalid="ignore"):
        failed = np.where(total > 0, risk / total, 0.0)
    out[0] = gone * failed
    out[1] = gone - out[0]
    return out
