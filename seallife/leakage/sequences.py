"""Are these readings usable, and which of them count? The readings of all seals side by side.

In: the caller's arrays. Out: `Sequences`. Next: `seallife.leakage.forecasts`.

Readings that count are stored step by step: the first reading of every seal, then the second of
every seal that has one, longest first. A step is then one slice, its seals the first so many, and
one pass over the steps serves all seals at once without padding.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError
from seallife.life.groups import Floats, Ints, group_rows

__all__ = ["REREAD_DAYS", "Sequences", "read_sequences"]

REREAD_DAYS = 7.0
"""A reading so soon after another [d] repeats it (less where readings are usually closer)."""
_LARGEST = 1e150

Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Sequences:
    """Readings that count, step by step.

    Attributes
    ----------
    labels : ndarray, shape (s,)
        Label of each segment, sorted.
    order : ndarray of int, shape (s,)
        Segment numbers, most readings first: the order inside a step.
    steps : ndarray of int, shape (t + 1,)
        Readings of step i are ``steps[i]:steps[i + 1]``.
    row : ndarray of int, shape (m,)
        The caller's row of each reading.
    low, high : ndarray, shape (m,)
        Log of the bounds; equal for an exact reading, infinite where there is none.
    time, gap : ndarray, shape (m,)
        Day of the reading, and days since the reading before it (infinite at the first).
    usual : float
        Usual gap of the fleet [d].
    code : ndarray of int, shape (n,)
        Segment number of each of the caller's rows.
    use : ndarray of object, shape (n,)
        What became of each of the caller's rows: 'used', 'run-in', 're-read'.
    repeats : ndarray of int, shape (n,)
        Caller's row of the reading that a re-read repeats; -1 for all others.
    """

    labels: NDArray[np.object_]
    order: Ints
    steps: Ints
    row: Ints
    low: Floats
    high: Floats
    time: Floats
    gap: Floats
    usual: float
    code: Ints
    use: NDArray[np.object_]
    repeats: Ints

    def slices(self) -> list[slice]:
        """Readings of each step."""
        ends = self.steps.tolist()
        return [slice(a, b) for a, b in pairwise(ends)]

    @property
    def seal(self) -> Ints:
        """Place of each reading's segment in ``order``, shape (m,)."""
        return np.arange(len(self.row)) - np.repeat(self.steps[:-1], np.diff(self.steps))

    @property
    def step(self) -> Ints:
        """Number of each reading in its segment, from 0, shape (m,)."""
        return np.repeat(np.arange(len(self.steps) - 1), np.diff(self.steps))

    @property
    def sizes(self) -> Ints:
        """Readings of each segment that count, in the order of ``order``, shape (s,)."""
        return np.bincount(self.seal, minlength=len(self.order)).astype(np.int64)

    def part(self, chosen: Flags) -> Sequences:
        """Only the chosen segments (places in ``order``); the caller's rows stay as they are."""
        keep = chosen[self.seal]
        inside = np.add.reduceat(keep, self.steps[:-1]) if len(self.row) else np.zeros(0, np.int64)
        steps = np.append(0, np.cumsum(inside[inside > 0])).astype(np.int64)
        values = {k: getattr(self, k)[keep] for k in ("row", "low", "high", "time", "gap")}
        return replace(self, order=self.order[chosen], steps=steps, **values)


def read_sequences(
    time: ArrayLike,
    low: ArrayLike,
    high: ArrayLike,
    segment: ArrayLike | None,
    age: ArrayLike | None,
    run_in: float,
) -> Sequences:
    """Check readings and put them in order of segment and time.

    Raises
    ------
    InputError
        Naming the argument, the first bad row, its value and the next step.
    """
    when = _numbers(time, "time")
    n = len(when)
    _refuse(~np.isfinite(when), when, "time", "is not a day", "leave out readings without a date")
    lower, upper = _numbers(low, "low", n), _numbers(high, "high", n)
    _refuse(
        ~((lower >= 0) & (lower < _LARGEST)),
        lower,
        "low",
        "is not a bound of a reading",
        "give 0 for a reading below detection",
    )
    _refuse(
        ~(upper >= lower), upper, "high", "is below low or missing", "give both bounds of a reading"
    )
    _refuse(
        ~(upper > 0),
        upper,
        "high",
        "leaves no leakage at all",
        "give the detection limit for a reading of nothing",
    )
    _refuse(
        (lower == 0) & np.isinf(upper), upper, "high", "says nothing of the leakage", "leave it out"
    )
    if not run_in >= 0:
        raise InputError(f"is {run_in}", where="run_in", hint="give days, 0 or more")
    groups = group_rows(segment, n)
    order = np.arange(n) if groups.order is None else groups.order
    code = np.empty(n, np.int64)
    code[order] = groups.codes
    use = np.full(n, "used", dtype=object)
    if age is not None:
        old = _numbers(age, "age", n)
        _refuse(np.isnan(old), old, "age", "is missing", "leave age out if it is not known")
        use[old < run_in] = "run-in"
    # readings of one day: the more exact and then the lower first, whatever order they came in
    sort = np.lexsort((lower, upper, when, code))
    sort = sort[use[sort] == "used"]
    repeats, usual = _repeats(when[sort], code[sort])
    again = np.full(n, -1, np.int64)
    again[sort[repeats >= 0]] = sort[repeats[repeats >= 0]]
    use[again >= 0] = "re-read"
    sort = sort[repeats < 0]
    return _stepwise(groups.labels, code, sort, (when, lower, upper), usual, use, again)


def _stepwise(
    labels: NDArray[np.object_],
    code: Ints,
    sort: Ints,
    columns: tuple[Floats, Floats, Floats],
    usual: float,
    use: NDArray[np.object_],
    repeats: Ints,
) -> Sequences:
    """Readings in order of step, then of segment from the longest to the shortest."""
    when, lower, upper = (c[sort] for c in columns)
    of = code[sort]
    sizes = np.bincount(of, minlength=len(labels))
    order = np.argsort(-sizes, kind="stable").astype(np.int64)
    place = np.empty(len(labels), np.int64)
    place[order] = np.arange(len(labels))
    first = np.concatenate([[0], np.cumsum(sizes)])[:-1]
    step = np.arange(len(sort)) - first[of]
    gap = np.full(len(sort), np.inf)
    gap[1:] = np.where(of[1:] == of[:-1], np.diff(when), np.inf)
    to = np.lexsort((place[of], step))
    with np.errstate(divide="ignore"):
        low, high = np.log(lower[to]), np.log(upper[to])
    steps = np.append(0, np.cumsum(np.bincount(step))).astype(np.int64)
    return Sequences(
        labels, order, steps, sort[to], low, high, when[to], gap[to], usual, code, use, repeats
    )


def _repeats(when: Floats, code: Ints) -> tuple[Ints, float]:
    """Which sorted reading each one repeats (-1: none), and the usual gap [d]."""
    n = len(when)
    same = np.zeros(n, bool)
    same[1:] = code[1:] == code[:-1]
    gap = np.zeros(n)
    gap[1:] = np.diff(when)
    apart = gap[same & (gap > 0)]
    usual = float(np.median(apart)) if len(apart) else 30.4375
    soon = min(REREAD_DAYS, usual / 2)
    # re-reads do not count in what is usual
    usual = float(np.median(apart[apart > soon])) if len(apart) else usual
    repeats = np.full(n, -1, np.int64)
    close = same & (gap <= soon)
    # a run of close readings counts anew once it is longer than the limit: rare, so one by one
    base = 0
    for i in np.flatnonzero(close).tolist():
        if not close[i - 1]:
            base = i - 1
        if when[i] - when[base] <= soon:
            repeats[i] = base
        else:
            base = i
    return repeats, usual


def _numbers(values: ArrayLike, where: str, n: int | None = None) -> Floats:
    """One flat array of floats, as many as there are times."""
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError(
            f"holds something that is not a number ({error})",
            where=where,
            hint="give numbers only",
        ) from None
    if array.ndim != 1 or (n is not None and len(array) != n):
        wanted = "one value a reading" if n is None else f"{n} values, as time has"
        raise InputError(f"has shape {array.shape}", where=where, hint=f"give {wanted}")
    return array


def _refuse(bad: Flags, values: Floats, where: str, what: str, hint: str) -> None:
    """Raise for the first bad value, and say how many there are."""
    if bad.any():
        first, more = int(np.argmax(bad)), int(bad.sum()) - 1
        also = f" (and {more:,} more)" if more else ""
        raise InputError(f"{values[first]:g} {what}{also}", where=f"{where}[{first}]", hint=hint)
