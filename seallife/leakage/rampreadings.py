"""Readings of leakage as a forecast needs them: on the log scale, none later than its date.

In: times and bounds of readings, labels, figures per segment. Out: `RampReadings`. Next:
`seallife.leakage.rampnoise`, `seallife.leakage.rampgrid`.

Levels are natural logarithms, counted from a middle of each segment, so that no unit matters.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError
from seallife.life.groups import Floats, Groups, Ints, group_rows, segment_sum

__all__ = ["Bools", "PerSegment", "RampReadings", "per_segment", "read_ramps"]

Bools = NDArray[np.bool_]
PerSegment = float | Mapping[Any, float] | ArrayLike
"""One number for all, a mapping (dict, Series) by segment, or an array in sorted order."""


@dataclass(frozen=True, eq=False)
class RampReadings:
    """Readings up to the date of forecast, gathered by segment, in order of time.

    Attributes
    ----------
    groups : Groups
        Segments; some may have no reading that early.
    now : ndarray, shape (g,)
        Date of forecast [d].
    last : ndarray, shape (g,)
        Time of the last reading used [d]; that of forecast where there is none.
    later : ndarray of int, shape (g,)
        Readings after the date of forecast, not used.
    centre : ndarray, shape (g,)
        Log level from which the levels of a segment are counted.
    time : ndarray, shape (n,)
        [d] from the last reading, 0 or less.
    low, high : ndarray, shape (n,)
        Bounds of log level; equal for an exact reading, -inf or inf where open.
    """

    groups: Groups
    now: Floats
    last: Floats
    later: Ints
    centre: Floats
    time: Floats
    low: Floats
    high: Floats

    @property
    def exact(self) -> Bools:
        """Rows whose value is known."""
        return np.asarray(self.low == self.high)

    @property
    def span(self) -> Floats:
        """Time from first to last reading of each segment [d], 0 where there is none."""
        out = np.zeros(len(self.groups))
        filled = self.groups.sizes > 0
        out[filled] = -self.time[self.groups.offsets[:-1][filled]]
        return out

    def take(self, segments: Ints) -> RampReadings:
        """Some segments only, in the order given."""
        sizes = self.groups.sizes[segments]
        offsets = np.concatenate(([0], np.cumsum(sizes)))
        start = np.repeat(self.groups.offsets[:-1][segments] - offsets[:-1], sizes)
        rows = start + np.arange(offsets[-1])
        return RampReadings(
            groups=Groups(self.groups.labels[segments], offsets),
            now=self.now[segments],
            last=self.last[segments],
            later=self.later[segments],
            centre=self.centre[segments],
            time=self.time[rows],
            low=self.low[rows],
            high=self.high[rows],
        )


def read_ramps(
    time: ArrayLike,
    low: ArrayLike,
    high: ArrayLike,
    segment: ArrayLike | None,
    now: PerSegment | None,
) -> RampReadings:
    """Which readings had been taken by the date of forecast, and what do they say?

    Parameters
    ----------
    time : array_like, shape (n,)
        [d]
    low, high : array_like, shape (n,)
        Bounds of each reading in its unit: equal for an exact one, 0 and the detection limit
        below detection, scale end and inf above scale.
    segment : array_like, shape (n,), or None
        Label of the segment of each reading.
    now : per segment, or None
        Date of forecast [d]; None for the last reading.

    Returns
    -------
    RampReadings

    Raises
    ------
    InputError
        Lengths that differ, a number that is missing, bounds the wrong way round, a reading of
        nought or one that says nothing.
    """
    t, lo, hi = _columns(time, low, high)
    groups = group_rows(segment, len(t))
    gathered = groups.order if groups.order is not None else np.arange(len(t))
    # the bounds too, so that readings of one day stand in one order whatever order they came in
    order = gathered[np.lexsort((hi[gathered], lo[gathered], t[gathered], groups.codes))]
    t, lo, hi = t[order], lo[order], hi[order]
    newest = np.full(len(groups), np.nan)
    newest[groups.sizes > 0] = t[groups.offsets[1:][groups.sizes > 0] - 1]
    at = newest if now is None else per_segment(now, groups.labels, "now", missing=newest)
    known = t <= groups.spread(at)
    kept = groups.keep(known)
    used = Groups(groups.labels, kept.offsets)
    t, lo, hi = t[known], lo[known], hi[known]
    filled = used.sizes > 0
    last = at.copy()
    last[filled] = t[used.offsets[1:][filled] - 1]
    with np.errstate(divide="ignore"):
        lo, hi = np.log(lo), np.log(hi)
    # any one number that the unit cannot move: the mean of what each reading is nearest to
    middle = np.where(np.isfinite(hi), hi, lo)
    centre = segment_sum(middle, used.offsets) / np.maximum(used.sizes, 1)
    away = used.spread(centre)
    later = groups.sizes - used.sizes
    return RampReadings(used, at, last, later, centre, t - used.spread(last), lo - away, hi - away)


def per_segment(
    values: PerSegment, labels: NDArray[Any], where: str, missing: float | Floats
) -> Floats:
    """A figure for each segment, shape (g,); ``missing`` where it is not given or NaN.

    Raises
    ------
    InputError
        A wrong number of figures, or what is no number.
    """
    g = len(labels)
    if isinstance(values, (Mapping, pd.Series)):
        values = [values.get(label, np.nan) for label in labels.tolist()]
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise InputError("holds what is no number", where=where, hint="give numbers") from None
    if array.shape not in ((), (g,)):
        raise InputError(
            f"has shape {array.shape} where there are {g} segments",
            where=where,
            hint="give one number, or a mapping from segment to number",
        )
    if np.isinf(array).any():
        raise InputError("is infinite", where=where, hint="leave it out where there is none")
    array = np.broadcast_to(array, (g,))
    return np.where(np.isnan(array), missing, array)


def _columns(time: ArrayLike, low: ArrayLike, high: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Times and bounds that can be used."""
    columns: list[Floats] = []
    for values, name in ((time, "time"), (low, "low"), (high, "high")):
        try:
            array = np.asarray(values, dtype=np.float64)
        except (TypeError, ValueError):
            raise InputError("holds what is no number", where=name, hint="give numbers") from None
        if array.ndim != 1 or (columns and len(array) != len(columns[0])):
            raise InputError(
                f"has shape {array.shape}", where=name, hint="give one number for each reading"
            )
        columns.append(array)
    t, lo, hi = columns
    mend = "correct or leave out the reading"
    for bad, name, what, hint in (
        (~np.isfinite(t), "time", "is not a time", mend),
        (~(lo >= 0) | np.isinf(lo), "low", "is not a level of nought or more", mend),
        (
            hi == 0,
            "high",
            "is nought",
            "give a reading below detection as low 0 and high the detection limit",
        ),
        (~(hi >= lo), "high", "is missing or less than low", mend),
        ((lo == 0) & np.isinf(hi), "low", "and high leave the reading open at both ends", mend),
    ):
        if bad.any():
            raise InputError(what, where=f"{name}[{int(np.argmax(bad))}]", hint=hint)
    return t, lo, hi
