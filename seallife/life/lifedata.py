"""Are these lives usable? The one place where ages, ends and weights are checked.

In: the caller's arrays. Out: `LifeData`. Next: the estimators of `seallife.life`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError
from seallife.life.groups import Floats, Groups, group_rows, segment_max, segment_min

__all__ = ["LifeData", "check_level", "read_lives", "unbounded"]


_WEIGHTS = (1e-9, 1e12)
"""Lives a row may stand for, if any."""


@dataclass(frozen=True, eq=False)
class LifeData:
    """Checked lives, gathered by group.

    Attributes
    ----------
    groups : Groups
    age : ndarray, shape (n,)
        Age at the end of the life or of its observation; latest age for an interval end.
    failed : ndarray of bool, shape (n,)
    entry : ndarray, shape (n,), or None
        Age at which observation began, 0 from new; None where all were watched from new.
    low : ndarray, shape (n,), or None
        Age at which an interval-ended life was last known good, NaN for an exact age.
    weight : ndarray, shape (n,), or None
        Number of lives each row stands for; None where each row is one life.
    """

    groups: Groups
    age: Floats
    failed: NDArray[np.bool_]
    entry: Floats | None = None
    low: Floats | None = None
    weight: Floats | None = None

    @property
    def interval(self) -> NDArray[np.bool_]:
        """Rows whose failure is known only to lie between two ages, shape (n,)."""
        return np.zeros(len(self.age), bool) if self.low is None else ~np.isnan(self.low)

    def take(self, keep: NDArray[np.bool_]) -> LifeData:
        """Only the chosen groups."""
        if keep.all():
            return self
        rows = np.flatnonzero(self.groups.spread(keep))
        sizes = self.groups.sizes[keep]
        offsets = np.concatenate(([0], np.cumsum(sizes))).astype(np.int64)
        columns = (self.entry, self.low, self.weight)
        entry, low, weight = (None if c is None else c[rows] for c in columns)
        groups = Groups(self.groups.labels[keep], offsets)
        return LifeData(groups, self.age[rows], self.failed[rows], entry, low, weight)

    def blocks(self, rows: int = 65_536) -> Iterator[LifeData]:
        """Neighbouring groups of about so many rows in all: their arrays stay in the cache."""
        offsets = self.groups.offsets
        inner = np.searchsorted(offsets, np.arange(rows, len(self.age), rows))
        edges = np.unique(np.concatenate(([0], inner, [len(self.groups)])))
        for first, last in pairwise(edges.tolist()):
            part = slice(offsets[first], offsets[last])
            columns = (self.entry, self.low, self.weight)
            entry, low, weight = (None if c is None else c[part] for c in columns)
            groups = Groups(
                self.groups.labels[first:last], offsets[first : last + 1] - offsets[first]
            )
            yield LifeData(groups, self.age[part], self.failed[part], entry, low, weight)

    def count(self, rows: NDArray[np.bool_] | None = None) -> Floats:
        """Lives per group, of the chosen rows or of all, shape (g,)."""
        if self.weight is None:
            if rows is None:
                return self.groups.sizes.astype(np.float64)
            return self.groups.sum(rows)
        return self.groups.sum(self.weight if rows is None else self.weight * rows)

    def exposure(self) -> Floats:
        """Age lived under watch per group, shape (g,); interval ends count to their middle."""
        lived = self.age if self.entry is None else self.age - self.entry
        if self.low is not None:
            lived = lived - np.where(self.interval, (self.age - np.nan_to_num(self.low)) / 2, 0.0)
        return self.groups.sum(lived if self.weight is None else lived * self.weight)

    def counts(self) -> dict[str, Any]:
        """The columns every result of this data shares."""
        n, failures = self.count(), self.count(self.failed)
        late = np.zeros(len(n)) if self.entry is None else self.count(self.entry > 0)
        oldest = segment_max(self.age, self.groups.offsets)
        return {
            "n": _whole(n),
            "failures": _whole(failures),
            "censored": _whole(n - failures),
            "entered_late": _whole(late),
            "exposure": self.exposure(),
            "oldest_age": np.where(np.isfinite(oldest), oldest, np.nan),
        }


def read_lives(
    age: ArrayLike,
    failed: ArrayLike,
    *,
    group: ArrayLike | None = None,
    entry_age: ArrayLike | None = None,
    age_low: ArrayLike | None = None,
    weight: ArrayLike | None = None,
) -> LifeData:
    """Check the arrays of an estimator and gather them by group.

    Parameters
    ----------
    age : array_like, shape (n,)
        Age at failure, or at the end of observation; above 0.
    failed : array_like of bool or 0/1, shape (n,)
        True where the life ended in failure.
    group : array_like, shape (n,), optional
        Label of each life.
    entry_age : array_like, shape (n,), optional
        Age at which observation began (late entry); 0 from new.
    age_low : array_like, shape (n,), optional
        For a failure known only to lie in ``(age_low, age]``; NaN for an exact age.
    weight : array_like, shape (n,), optional
        Number of lives the row stands for; a row of weight 0 stands for none and counts nowhere.

    Returns
    -------
    LifeData

    Raises
    ------
    InputError
        Naming the argument, the first bad row, its value and the next step.
    """
    ages = _numbers(age, "age", None)
    n = len(ages)
    _refuse(ages <= 0, ages, "age", "must be above 0", "give the age in hours or days since new")
    ends = _flags(failed, n)
    entry = low = weights = None
    if entry_age is not None:
        entry = _numbers(entry_age, "entry_age", n)
        _refuse(entry < 0, entry, "entry_age", "must not be below 0", "use 0 for a life from new")
        _refuse(
            entry >= ages,
            entry,
            "entry_age",
            "must be below the age at the end",
            "a life first seen at its end was never watched: leave it out",
        )
    if age_low is not None:
        low = _numbers(age_low, "age_low", n, allow_nan=True)
        known = ~np.isnan(low)
        hint = "the failure lies in (age_low, age]; NaN for an exact age"
        _refuse(known & ~ends, low, "age_low", "is given for a life that did not fail", hint)
        start = 0.0 if entry is None else entry
        _refuse(low < start, low, "age_low", "must not be below 0 or the entry age", hint)
        _refuse(low > ages, low, "age_low", "must not be above age", hint)
        low = np.where(low == ages, np.nan, low)
    if weight is not None:
        weights = _numbers(weight, "weight", n)
        _refuse(weights < 0, weights, "weight", "must not be below 0", "give the number of lives")
        strange = (weights > 0) & ((weights < _WEIGHTS[0]) | (weights > _WEIGHTS[1]))
        _refuse(strange, weights, "weight", "is no number of lives", "give the number of lives")
    groups = group_rows(group, n)
    data = [ages, ends, entry, low, weights]
    data = [None if column is None else groups.gather(column) for column in data]
    if data[4] is not None and not np.all(data[4] > 0):
        real = data[4] > 0
        data = [None if column is None else column[real] for column in data]
        groups = groups.keep(real)
    if data[2] is not None and not data[2].any():
        data[2] = None
    if data[3] is not None and np.isnan(data[3]).all():
        data[3] = None
    return LifeData(groups, *data)  # type: ignore[arg-type]


def check_level(level: float) -> float:
    """Refuse a confidence level outside 0 to 1.

    Raises
    ------
    InputError
        If it is not between 0 and 1.
    """
    if not 0 < level < 1:
        raise InputError(f"is {level!r}", where="level", hint="give a share such as 0.90")
    return float(level)


def unbounded(data: LifeData) -> NDArray[np.bool_]:
    """Whether a single age would explain all lives of a group, so that no shape is too steep.

    So it is where every failure may have come at an age that no life has outlived: one failure on
    the oldest seal, or all failures at the one oldest age.
    """
    failed = np.flatnonzero(data.failed)
    first = segment_min(data.age[failed], np.searchsorted(failed, data.groups.offsets))
    reach = data.age if data.low is None else np.where(data.interval, data.low, data.age)
    return np.isfinite(first) & (first >= segment_max(reach, data.groups.offsets))


def _no_number(values: ArrayLike) -> tuple[str, object]:
    """Place and value of the first entry that is no number."""
    entries = np.asarray(values, dtype=object)
    for i, value in enumerate(entries.ravel().tolist()):
        try:
            if not isinstance(value, (str, bytes)):
                float(value)
                continue
        except (TypeError, ValueError):
            pass
        return (f"[{i}]" if entries.ndim == 1 else ""), value
    return "", values


_NO_NUMBERS = {
    "c": "complex numbers",
    "M": "dates",
    "m": "spans of time without a unit",
}


def _numbers(values: ArrayLike, name: str, n: int | None, *, allow_nan: bool = False) -> Floats:
    """One-dimensional finite floats of the right length, or a sentence saying which are not."""
    kind = np.asarray(values).dtype.kind
    if kind in _NO_NUMBERS:
        raise InputError(
            f"holds {_NO_NUMBERS[kind]}, not numbers", where=name, hint="give numbers only"
        )
    try:
        if kind in "US":
            raise ValueError
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        place, value = _no_number(values)
        raise InputError(
            f"{value!r} is not a number", where=f"{name}{place}", hint="give numbers only"
        ) from None
    if array.ndim != 1:
        raise InputError(
            f"has shape {array.shape}", where=name, hint="give a one-dimensional array"
        )
    if n is not None and len(array) != n:
        raise InputError(f"has {len(array)} values where age has {n}", where=name, hint="match age")
    bad = np.isinf(array) if allow_nan else ~np.isfinite(array)
    _refuse(bad, array, name, "is not a finite number", "leave the life out or mend its record")
    return array


def _flags(values: ArrayLike, n: int) -> NDArray[np.bool_]:
    """Booleans from booleans or 0/1; anything else is refused, as unknown is not a failure."""
    array = np.asarray(values)
    if array.shape != (n,):
        raise InputError(
            f"has shape {array.shape} where age has shape ({n},)", where="failed", hint="match age"
        )
    if array.dtype == np.bool_:
        return array
    good = np.isin(array, [0, 1]) if array.dtype.kind in "iufO" else np.zeros(n, bool)
    _refuse(
        ~good, array, "failed", "is neither true nor false", "give booleans, or 1 failed and 0 not"
    )
    return array.astype(np.bool_)


def _refuse(bad: NDArray[np.bool_], values: NDArray[Any], name: str, what: str, hint: str) -> None:
    """Raise for the first bad row, and say how many there are."""
    if not bad.any():
        return
    first = int(np.argmax(bad))
    more = int(bad.sum()) - 1
    also = f" (and {more:,} more)" if more else ""
    value = values.tolist()[first] if values.dtype == object else values[first].item()
    raise InputError(f"{value!r} {what}{also}", where=f"{name}[{first}]", hint=hint)


def _whole(values: Floats) -> NDArray[Any]:
    """Counts as integers where they are whole, as they are unless weights are fractions."""
    rounded = np.rint(values)
    return rounded.astype(np.int64) if np.array_equal(rounded, values) else values
