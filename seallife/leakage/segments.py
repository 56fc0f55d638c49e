"""Readings of leakage by segment: one seal life read by one method.

In: times and bounds of readings with a label each. Out: `Readings`. Next:
`seallife.leakage.kendall`, `seallife.leakage.slopes`, `seallife.leakage.tobit`.

A reading is a pair of bounds: equal for an exact one, (0, limit) or (-inf, limit) below
detection, (scale end, inf) above scale. What is not certain stays open; no value is put in.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError
from seallife.life.groups import Floats, Groups, Ints, group_rows, segment_max, segment_min

__all__ = [
    "FEW",
    "MOST",
    "Bools",
    "Readings",
    "batches",
    "column",
    "flags",
    "labelled",
    "read_readings",
    "words",
]

Bools = NDArray[np.bool_]

FEW = 4
"""Readings of a segment below which its figures are marked."""
MOST = 2_000
"""Readings of a segment that are compared pair by pair within the memory meant for it."""
_CELLS = 1_000_000  # of n by n tables held at once: 8 MB a table of floats


@dataclass(frozen=True, eq=False)
class Readings:
    """Readings gathered by segment and put in order of time.

    Attributes
    ----------
    groups : Groups
        Segments; rows are gathered.
    time : ndarray, shape (n,)
        [d]
    low, high : ndarray, shape (n,)
        Bounds of each reading.
    """

    groups: Groups
    time: Floats
    low: Floats
    high: Floats

    def __len__(self) -> int:
        return len(self.groups)

    @property
    def exact(self) -> Bools:
        """Rows whose value is known."""
        return np.asarray(self.low == self.high)

    @property
    def below(self) -> Bools:
        """Rows below detection: nothing but a limit from above is known."""
        open_below = (self.low == 0) | np.isneginf(self.low)
        return np.asarray((self.low < self.high) & open_below)

    @property
    def above(self) -> Bools:
        """Rows above scale."""
        return np.asarray(np.isposinf(self.high))


def read_readings(
    time: ArrayLike, low: ArrayLike, high: ArrayLike, segment: ArrayLike | None = None
) -> Readings:
    """Which readings belong together, in order of time?

    Parameters
    ----------
    time : array_like, shape (n,)
        [d], counted from any day.
    low, high : array_like, shape (n,)
        Bounds of each reading, see the head of this module.
    segment : array_like, shape (n,), optional
        Label of the segment of each reading; None for one segment.

    Returns
    -------
    Readings

    Raises
    ------
    InputError
        If lengths differ, a number is missing, bounds are the wrong way round, a reading says
        nothing, or a segment holds more readings than can be compared pair by pair.
    """
    t, lo, hi = (
        column(values, name) for values, name in ((time, "time"), (low, "low"), (high, "high"))
    )
    for values, name in ((lo, "low"), (hi, "high")):
        if len(values) != len(t):
            raise InputError(
                f"has {len(values)} values where time has {len(t)}",
                where=name,
                hint="give one for each reading",
            )
    for bad, name, what in (
        (~np.isfinite(t), "time", "is not a time"),
        (np.isnan(lo) | np.isposinf(lo), "low", "is not a bound from below"),
        (np.isnan(hi) | np.isneginf(hi), "high", "is not a bound from above"),
        (lo > hi, "low", "is more than high"),
        (np.isinf(lo) & np.isinf(hi), "low", "and high leave the reading open at both ends"),
    ):
        if bad.any():
            raise InputError(
                what,
                where=f"{name}[{int(np.argmax(bad))}]",
                hint="correct or leave out the reading",
            )
    groups = labelled(segment, len(t), "segment")
    codes = groups.codes
    gathered = groups.order if groups.order is not None else np.arange(len(t))
    # the bounds too, so that readings of one time stand in one order whatever order they came in
    inside = np.lexsort((hi[gathered], lo[gathered], t[gathered], codes))
    order = gathered[inside]
    most = int(groups.sizes.max()) if len(groups) else 0
    if most > MOST:
        raise InputError(
            f"segment {groups.labels[int(np.argmax(groups.sizes))]!r} holds {most} readings, "
            f"more than {MOST}",
            where="segment",
            hint="give one reading a day or a week of it",
        )
    return Readings(Groups(groups.labels, groups.offsets, order), t[order], lo[order], hi[order])


def labelled(labels: ArrayLike | None, n: int, name: str) -> Groups:
    """Rows gathered by label; what is wrong with labels is said of the argument by its name."""
    try:
        return group_rows(labels, n)
    except InputError as error:
        where = error.where.replace("group", name, 1)
        hint = "give one label for each reading"
        raise InputError(error.what, where=where, hint=hint) from None


def column(values: ArrayLike, name: str) -> Floats:
    """One column of numbers."""
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError(f"holds what is no number ({error})", where=name) from None
    if array.ndim != 1:
        raise InputError(f"has shape {array.shape}", where=name, hint="give one row of numbers")
    return array


def flags(values: ArrayLike | None, n: int, name: str) -> Bools:
    """Yes or no for each reading."""
    if values is None:
        return np.zeros(n, dtype=bool)
    array = np.asarray(values)
    if array.shape != (n,):
        raise InputError(
            f"has shape {array.shape} where {n} readings need shape ({n},)",
            where=name,
            hint="give yes or no for each reading",
        )
    bad = ~np.isin(array, (0, 1))
    if bad.any():
        raise InputError("is neither yes nor no", where=f"{name}[{int(np.argmax(bad))}]")
    return array.astype(bool)


def batches(readings: Readings, chosen: Bools | None = None) -> Iterator[tuple[Ints, Ints]]:
    """Segments of one size at a time: their numbers, shape (g,), and rows, shape (g, n).

    Segments of one size make a matrix without padding; so few at a time that an n by n table for
    each fits into memory. Sizes are walked, not readings.
    """
    sizes, start = readings.groups.sizes, readings.groups.offsets[:-1]
    wanted = sizes > 0 if chosen is None else (sizes > 0) & chosen
    for n in np.unique(sizes[wanted]).tolist():
        ids = np.flatnonzero(wanted & (sizes == n))
        room = max(1, _CELLS // n**2)
        for at in range(0, len(ids), room):
            some = ids[at : at + room]
            yield some, start[some][:, None] + np.arange(n)


def words(readings: Readings) -> list[tuple[Bools, str, str]]:
    """What keeps a segment from telling anything, as cases for `worded_status`."""
    groups = readings.groups
    n = groups.sizes
    below, above, exact = (
        groups.sum(rows) for rows in (readings.below, readings.above, readings.exact)
    )
    span = segment_max(readings.time, groups.offsets) - segment_min(readings.time, groups.offsets)
    top, bottom = (
        segment_max(readings.low, groups.offsets),
        segment_min(readings.high, groups.offsets),
    )
    return [
        (n == 0, "no readings", "No reading."),
        (
            (n > 0) & (below == n),
            "not detected",
            "All readings are below detection: nothing is known but that.",
        ),
        ((n > 0) & (above == n), "above scale", "All readings are above scale."),
        ((n > 1) & (span <= 0), "one time", "All readings are of one time."),
        (
            (n > 1) & (exact == n) & (top == bottom),
            "no spread",
            "All readings are the same: the method may be too coarse to show a change.",
        ),
        (
            (n > 0) & (n < FEW),
            "few readings",
            f"Fewer than {FEW} readings: no trend would show, whatever it is.",
        ),
    ]
