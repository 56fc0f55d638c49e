"""Which rows belong together: the only place that knows grouping.

In: one label per row. Out: `Groups`. Next: `seallife.life.lifedata`.

Rows are put so that each group is one run of a flat array; a group is then two numbers, its
first row and the row after its last. A sum over each group is one call for all groups.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError

__all__ = [
    "Groups",
    "binned",
    "group_rows",
    "order_within",
    "running_sum",
    "segment_max",
    "segment_min",
    "segment_sum",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Groups:
    """Rows gathered into groups, groups sorted by label.

    Attributes
    ----------
    labels : ndarray, shape (g,)
        Label of each group, sorted.
    offsets : ndarray of int, shape (g + 1,)
        Rows of group i are ``offsets[i]:offsets[i + 1]`` once the rows are gathered.
    order : ndarray of int, shape (n,), or None
        Row numbers of the caller in gathered order, stable inside a group; None where the
        caller's rows were gathered already.
    """

    labels: NDArray[Any]
    offsets: Ints
    order: Ints | None = None

    def __len__(self) -> int:
        return len(self.labels)

    @property
    def sizes(self) -> Ints:
        """Rows per group, shape (g,)."""
        return np.diff(self.offsets)

    @property
    def codes(self) -> Ints:
        """Group number of each gathered row, shape (n,)."""
        return np.repeat(np.arange(len(self)), self.sizes)

    def gather(self, values: NDArray[Any]) -> NDArray[Any]:
        """Caller's rows in gathered order."""
        return values if self.order is None else values[self.order]

    def keep(self, rows: NDArray[np.bool_]) -> Groups:
        """Same groups with only the gathered rows where ``rows`` is true; some may be empty."""
        chosen = np.flatnonzero(rows)
        order = chosen if self.order is None else self.order[chosen]
        return Groups(self.labels, np.searchsorted(chosen, self.offsets), order)

    def sum(self, values: NDArray[Any]) -> Floats:
        """Sum of gathered rows per group, shape (g,); 0 for an empty group."""
        return segment_sum(values, self.offsets)

    def spread(self, per_group: NDArray[Any]) -> NDArray[Any]:
        """Value of its group on each gathered row, shape (n,)."""
        return np.repeat(per_group, self.sizes)

    def label_list(self) -> list[Any]:
        """Labels as plain Python values, ready for a table."""
        values: list[Any] = self.labels.tolist()
        return values


def group_rows(group: ArrayLike | None, n: int) -> Groups:
    """Gather rows by label.

    Parameters
    ----------
    group : array_like, shape (n,), or None
        Any labels that can be sorted: text, numbers, categories. None puts all rows into one
        group named ``"all"``.
    n : int
        Number of rows.

    Returns
    -------
    Groups

    Raises
    ------
    InputError
        If the number of labels differs from ``n`` or a label is missing.

    Examples
    --------
    >>> groups = group_rows(["b", "a", "b"], 3)
    >>> groups.labels.tolist(), groups.sizes.tolist(), groups.order.tolist()
    (['a', 'b'], [1, 2], [1, 0, 2])
    """
    if group is None:
        return Groups(np.array(["all"], dtype=object), np.array([0, n]))
    array = np.asarray(group)
    if array.dtype.kind in "US" and not hasattr(group, "dtype"):
        # numpy would make a missing label beside words the word "nan", and a number one more word
        array = np.asarray(group, dtype=object)
    if array.shape != (n,):
        raise InputError(
            f"has shape {array.shape} where {n} rows need shape ({n},)",
            where="group",
            hint="give one label per life",
        )
    if array.dtype.kind in "iub" and n and bool(np.all(array[1:] >= array[:-1])):
        first = np.concatenate(([0], np.flatnonzero(array[1:] != array[:-1]) + 1))
        return Groups(array[first], np.append(first, n).astype(np.int64))
    try:
        codes, labels = pd.factorize(array, sort=True)
    except TypeError as error:
        raise InputError(
            f"holds labels that cannot be put in order ({error})",
            where="group",
            hint="give words only, or numbers only",
        ) from None
    if n and codes.min() < 0:
        raise InputError(
            "a label is missing",
            where=f"group[{int(np.argmin(codes))}]",
            hint="give unknown classes a name of their own, such as 'unknown'",
        )
    offsets = np.concatenate(([0], np.cumsum(np.bincount(codes, minlength=len(labels)))))
    if bool(np.all(codes[1:] >= codes[:-1])):
        return Groups(np.asarray(labels), offsets)
    return Groups(np.asarray(labels), offsets, stable_order(codes, len(labels)))


def stable_order(codes: NDArray[Any], count: int) -> Ints:
    """Order that gathers equal codes: two bytes are enough for numpy's linear-time radix sort."""
    small = codes.astype(np.uint16) if count <= 65536 else codes
    return np.argsort(small, kind="stable")


def order_within(values: Floats, offsets: Ints) -> Ints:
    """Row numbers that sort finite values inside each run.

    Runs of like length are sorted side by side as the rows of a matrix: many short sorts in the
    cache are several times as fast as one long one, and what follows reads memory in order.
    """
    order = np.arange(len(values))
    sizes = np.diff(offsets)
    kind = np.ceil(np.log2(np.maximum(sizes, 1)))
    for k in np.unique(kind[sizes > 1]):
        chosen = (kind == k) & (sizes > 1)
        rows = np.flatnonzero(np.repeat(chosen, sizes))
        inside = np.arange(sizes[chosen].max()) < sizes[chosen][:, None]
        block = np.full(inside.shape, np.inf)
        block[inside] = values[rows]
        order[rows] = (np.argsort(block, axis=1) + offsets[:-1][chosen][:, None])[inside]
    return order


def segment_sum(values: NDArray[Any], offsets: Ints) -> Floats:
    """Sum of each run ``offsets[i]:offsets[i + 1]``; 0 for an empty run."""
    return _reduce(np.add, values, offsets, 0.0)


def segment_max(values: Floats, offsets: Ints) -> Floats:
    """Largest value of each run; -inf for an empty run."""
    return _reduce(np.maximum, values, offsets, -np.inf)


def segment_min(values: Floats, offsets: Ints) -> Floats:
    """Smallest value of each run; +inf for an empty run."""
    return _reduce(np.minimum, values, offsets, np.inf)


def _reduce(ufunc: np.ufunc, values: NDArray[Any], offsets: Ints, empty: float) -> Floats:
    """`ufunc.reduceat` returns the element itself for an empty run; this returns ``empty``."""
    out = np.full(len(offsets) - 1, empty)
    filled = offsets[1:] > offsets[:-1]
    if filled.any():
        # bool + bool is "or" in numpy, and a count is meant
        dtype = np.int64 if values.dtype == np.bool_ else None
        out[filled] = ufunc.reduceat(values, offsets[:-1][filled], dtype=dtype)
    return out


def binned(values: Floats, index: Ints, count: int) -> Floats:
    """Sum of the rows with each number, shape (count, ...): one pass over all columns."""
    flat = values.reshape(len(values), -1)
    width = flat.shape[1]
    place = (index[:, None] * width + np.arange(width)).ravel()
    total = np.bincount(place, flat.ravel(), count * width)
    return np.asarray(total.reshape(count, *values.shape[1:]), dtype=np.float64)


def running_sum(values: Floats, offsets: Ints) -> Floats:
    """Running sum inside each run, starting afresh at each run.

    The total of the run before is taken off at each start, so the running figure stays as small
    as one run and rounding does not grow with the number of groups.
    """
    if not len(values):
        return np.zeros(0)
    start = offsets[:-1][offsets[1:] > offsets[:-1]]
    total = np.add.reduceat(values, start)
    reset = np.array(values, dtype=np.float64)
    reset[start[1:]] -= total[:-1]
    return np.cumsum(reset)
