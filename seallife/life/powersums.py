"""What a Weibull likelihood needs from the data: one sum per group and shape.

In: `LifeData`. Out: `PowerSums`. Next: `seallife.life.profile`.

Ages t, entry ages e and weights w reach the likelihood of a Weibull life only through

    S(b) = sum of w (t^b - e^b)

and its derivatives in the shape b. Everything else in this package about shape, scale and their
intervals is arithmetic on a few numbers per group, so these passes are the only ones whose cost
grows with the data.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats, Ints, segment_max, segment_sum
from seallife.life.lifedata import LifeData

__all__ = ["PowerSums", "power_sums"]

CHUNK = 16_384  # rows: the arrays of one chunk stay in a core's own cache


@dataclass(frozen=True, eq=False)
class _Rows:
    """Log ages, gathered by group, summed in chunks that fit the cache."""

    x: Floats
    weight: Floats | None
    offsets: Ints

    @cached_property
    def pieces(self) -> list[tuple[slice, slice, Ints, Ints, NDArray[np.bool_] | None]]:
        """Rows cut at every chunk and group: (rows, groups, starts, lengths, filled groups)."""
        out = []
        n = len(self.x)
        for start in range(0, n, CHUNK):
            stop = min(start + CHUNK, n)
            first = int(np.searchsorted(self.offsets, start, side="right")) - 1
            last = int(np.searchsorted(self.offsets, stop, side="left"))
            edges = np.clip(self.offsets[first : last + 1], start, stop) - start
            lengths = np.diff(edges)
            # an empty group would take its neighbour's first row
            filled = None if lengths.all() else lengths > 0
            starts = edges[:-1] if filled is None else edges[:-1][filled]
            out.append((slice(start, stop), slice(first, last), starts, lengths, filled))
        return out

    def add_sums(self, shape: Floats, out: Floats, sign: float) -> None:
        """Add ``sign`` times sum of w x^k exp(shape x) to ``out[k]``, k = 0, 1, ..."""
        buffer = np.empty(min(CHUNK, len(self.x)))
        for rows, groups, starts, lengths, filled in self.pieces:
            x = self.x[rows]
            z = buffer[: len(x)]
            np.multiply(x, np.repeat(shape[groups], lengths), out=z)
            np.exp(z, out=z)
            if self.weight is not None:
                z *= self.weight[rows]
            for k in range(len(out)):
                if k:
                    z *= x
                part = np.add.reduceat(z, starts)
                if filled is None:
                    out[k, groups] += sign * part
                else:
                    out[k, groups][filled] += sign * part

    def take(self, keep: NDArray[np.bool_]) -> _Rows:
        """Only the rows of the chosen groups."""
        sizes = np.diff(self.offsets)
        rows = np.flatnonzero(np.repeat(keep, sizes))
        offsets = np.concatenate(([0], np.cumsum(sizes[keep]))).astype(np.int64)
        return _Rows(self.x[rows], None if self.weight is None else self.weight[rows], offsets)


@dataclass(frozen=True, eq=False)
class PowerSums:
    """The data of a Weibull likelihood, per group.

    Log ages are taken from the log of the oldest age of the group, ``centre``: powers then lie
    between 0 and 1 whatever the unit, and nothing overflows.

    Attributes
    ----------
    centre : ndarray, shape (g,)
        Log of the oldest age.
    failures : ndarray, shape (g,)
        Failures with an exact age.
    log_age_sum : ndarray, shape (g,)
        Sum of their centred log ages.
    log_age_spread : ndarray, shape (g,)
        Standard deviation of their log ages, near enough for a first guess.
    failed_share : ndarray, shape (g,)
        Share of lives that failed.
    from_new : ndarray of bool, shape (g,)
        Whether any life was watched from new.
    """

    ages: _Rows
    entries: _Rows
    centre: Floats
    failures: Floats
    log_age_sum: Floats
    log_age_spread: Floats
    failed_share: Floats
    from_new: NDArray[np.bool_]

    def sums(self, shape: Floats, order: int = 0) -> Floats:
        """S(b) and its first ``order`` derivatives at one shape per group, shape (order + 1, g)."""
        out = np.zeros((order + 1, len(self.centre)))
        self.ages.add_sums(shape, out, 1.0)
        if len(self.entries.x):
            self.entries.add_sums(shape, out, -1.0)
        return out

    def take(self, keep: NDArray[np.bool_]) -> PowerSums:
        """Only the chosen groups."""
        if keep.all():
            return self
        return PowerSums(
            self.ages.take(keep),
            self.entries.take(keep),
            self.centre[keep],
            self.failures[keep],
            self.log_age_sum[keep],
            self.log_age_spread[keep],
            self.failed_share[keep],
            self.from_new[keep],
        )

    def log_window_sum(self) -> Floats:
        """Sum of w log(t / e) per group: the slope of S(b) at b = 0 where all entered late."""
        every = _total(self.ages.x, self.ages)
        return every - _total(self.entries.x, self.entries)


def power_sums(data: LifeData) -> PowerSums:
    """Reduce lives to the sums of their Weibull likelihood.

    An interval-ended life counts to the age at which it was last good; its failure is left to
    `seallife.life.locationscale`.
    """
    groups, weight, offsets = data.groups, data.weight, data.groups.offsets
    exact, known = data.failed, None
    if data.low is None:
        x = np.log(data.age)
    else:
        exact = data.failed & ~data.interval
        # a life last seen good at age 0 has added nothing yet
        reach = np.where(data.interval, data.low, data.age)
        known = reach > 0
        x = np.log(np.where(known, reach, 1.0))
        x[~known] = -np.inf
    centre = segment_max(x, offsets)
    centre = np.where(np.isfinite(centre), centre, 0.0)
    x -= groups.spread(centre)
    ages = _Rows(x, weight, offsets) if known is None else _kept(x, weight, offsets, known)
    entries = _Rows(np.zeros(0), None, np.zeros(len(groups) + 1, np.int64))
    from_new = np.ones(len(groups), bool)
    if data.entry is not None:
        late = data.entry > 0
        entries = _kept(data.entry, weight, offsets, late)
        np.log(entries.x, out=entries.x)
        np.subtract(entries.x, np.repeat(centre, np.diff(entries.offsets)), out=entries.x)
        from_new = groups.sum(~late if known is None else known & ~late) > 0
    failed = _kept(x, weight, offsets, exact)
    failures = data.count(exact)
    total, square = _total(failed.x, failed), _total(failed.x**2, failed)
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = np.sqrt(np.maximum(square / failures - (total / failures) ** 2, 0.0))
        share = failures / data.count()
    return PowerSums(ages, entries, centre, failures, total, spread, share, from_new)


def _kept(x: Floats, weight: Floats | None, offsets: Ints, keep: NDArray[np.bool_]) -> _Rows:
    """Rows where ``keep``, still by group; by number, which is five times as fast as by mask."""
    rows = np.flatnonzero(keep)
    kept = np.searchsorted(rows, offsets)
    return _Rows(x[rows], None if weight is None else weight[rows], kept)


def _total(values: Floats, rows: _Rows) -> Floats:
    """Weighted sum per group."""
    return segment_sum(values if rows.weight is None else values * rows.weight, rows.offsets)
