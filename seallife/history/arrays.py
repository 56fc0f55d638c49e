"""Are these arrays usable? Numbers and labels as `seallife.history` takes them.

In: the caller's arrays. Out: plain numpy arrays, or one sentence saying which value is bad.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError

__all__ = ["count_up_to", "labels", "match", "numbers", "refuse"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def numbers(values: ArrayLike, where: str, n: int | None = None, beside: str = "") -> Floats:
    """One-dimensional finite floats, as many as the argument ``beside`` has.

    Raises
    ------
    InputError
        Naming the argument, the first bad value and the next step.
    """
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        hint = "give numbers only, such as days since a date"
        raise InputError(
            f"holds something that is not a number ({error})", where=where, hint=hint
        ) from None
    if array.ndim != 1:
        raise InputError(f"has shape {array.shape}", where=where, hint="give a flat array")
    if n is not None and len(array) != n:
        raise InputError(
            f"has {len(array)} values where {beside} has {n}", where=where, hint=f"match {beside}"
        )
    refuse(~np.isfinite(array), array, where, "is not a finite number", "mend or leave it out")
    return array


def labels(
    values: ArrayLike, n: int, where: str, beside: str
) -> tuple[NDArray[Any], NDArray[np.int64]]:
    """Sorted distinct labels, and the number of each row's label.

    Raises
    ------
    InputError
        Where the length differs from that of ``beside`` or a label is missing.
    """
    array = np.asarray(values)
    if array.shape != (n,):
        raise InputError(
            f"has shape {array.shape} where {beside} has shape ({n},)",
            where=where,
            hint=f"give one label for each row of {beside}",
        )
    codes, known = pd.factorize(array, sort=True)
    if n and codes.min() < 0:
        hint = "give the unknown a name of its own"
        raise InputError("a label is missing", where=f"{where}[{int(np.argmin(codes))}]", hint=hint)
    return np.asarray(known), codes.astype(np.int64)


def match(known: NDArray[Any], values: ArrayLike, n: int, where: str, beside: str) -> Ints:
    """Number of each row's label among labels that are known.

    Raises
    ------
    InputError
        Where the length differs from that of ``beside`` or a label is not among the known.
    """
    array = np.asarray(values)
    if array.shape != (n,):
        raise InputError(
            f"has shape {array.shape} where {beside} has shape ({n},)",
            where=where,
            hint=f"give one label for each row of {beside}",
        )
    if not n:
        return np.zeros(0, np.int64)
    codes = pd.Index(known).get_indexer(pd.Index(array)).astype(np.int64)
    refuse(codes < 0, array, where, "was never watched", "give the time over which it was watched")
    return codes


def refuse(bad: NDArray[np.bool_], values: NDArray[Any], where: str, what: str, hint: str) -> None:
    """Raise for the first bad value, and say how many there are."""
    if not bad.any():
        return
    first = int(np.argmax(bad))
    more = int(bad.sum()) - 1
    also = f" (and {more:,} more)" if more else ""
    value = values.tolist()[first]
    raise InputError(f"{value!r} {what}{also}", where=f"{where}[{first}]", hint=hint)


def count_up_to(known: Floats, offsets: Ints, value: Floats, group: Ints) -> Ints:
    """How many of a group's known values are at or below each value?

    Parameters
    ----------
    known : ndarray, shape (k,)
        Rising inside each group.
    offsets : ndarray of int, shape (g + 1,)
        Known values of group i are ``offsets[i]:offsets[i + 1]``.
    value : ndarray, shape (n,)
    group : ndarray of int, shape (n,)
        Group number of each value.
    """
    k, n = len(known), len(value)
    of_known = np.repeat(np.arange(len(offsets) - 1), np.diff(offsets))
    kind = np.concatenate([np.zeros(k, np.int8), np.ones(n, np.int8)])
    both = np.concatenate([known, value])
    order = np.lexsort((kind, both, np.concatenate([of_known, group])))
    place = np.empty(k + n, np.int64)
    place[order] = np.cumsum(kind[order] == 0)
    return np.asarray(place[k:] - offsets[group], dtype=np.int64)
