"""Columns of records kept by hand: checked, and put in order of time.

In: what a caller gives. Out: arrays. Next: `seallife.leakage.barrier`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError
from seallife.life.groups import Floats, Ints, group_rows

__all__ = ["Bools", "dates", "in_order", "marks", "numbers", "positive", "times", "to_days"]

Bools = NDArray[np.bool_]


def dates(column: pd.Series[Any], where: str) -> pd.Series[Any]:
    """Dates of a column, missing where blank.

    Parameters
    ----------
    column : Series
        Dates, or text as year, month, day: in 05/04/2023 the month cannot be told.
    where : str
        Name of the column, for the error.

    Raises
    ------
    InputError
        If something is no date.
    """
    if pd.api.types.is_numeric_dtype(column.dtype) and column.notna().any():
        raise InputError("holds numbers, not dates", where=where, hint="give dates")
    if pd.api.types.is_datetime64_dtype(column.dtype):
        return column.astype("datetime64[ns]")
    given = [None if pd.isna(v) or v == "" else v for v in column.tolist()]
    try:
        read = pd.to_datetime(pd.Series(given, dtype=object), format="ISO8601")
        found = pd.DatetimeIndex(read)
    except (TypeError, ValueError):
        raise InputError(
            "holds what is no date", where=where, hint="write dates as year-month-day"
        ) from None
    if found.tz is not None:
        found = found.tz_localize(None)
    return pd.Series(found.to_numpy(dtype="datetime64[ns]"), index=column.index)


def to_days(values: Any, name: str, *, blank: float | None = None) -> Floats:
    """Dates as days since 1970.

    Parameters
    ----------
    values : array_like, shape (n,)
        Dates.
    name : str
        Of the argument, for the error.
    blank : float, optional
        What a missing date stands for; None where none may be missing.

    Raises
    ------
    InputError
        If something is no date.
    """
    days = (dates(pd.Series(np.asarray(values)), name) - pd.Timestamp(0)) / pd.Timedelta(days=1)
    out = np.asarray(days, dtype=np.float64)
    missing = np.isnan(out)
    if missing.any():
        if blank is None:
            raise InputError("is not a date", where=f"{name}[{int(np.argmax(missing))}]")
        out = np.where(missing, blank, out)
    return out


def times(values: ArrayLike) -> tuple[Floats, pd.Series[Any]]:
    """Times as days, and as the caller wrote them.

    Parameters
    ----------
    values : array_like, shape (n,)
        Dates, or days counted from any day.
    """
    given = pd.Series(np.asarray(values))
    if pd.api.types.is_bool_dtype(given.dtype) or not pd.api.types.is_numeric_dtype(given.dtype):
        days = to_days(values, "time")
        return days, pd.Series(pd.Timestamp(0) + pd.to_timedelta(days, unit="D"))
    days = numbers(values, len(given), "time")
    return days, pd.Series(days)


def numbers(values: ArrayLike, n: int, name: str, *, low: float = -np.inf) -> Floats:
    """Numbers, one for each record, none missing and none below ``low``."""
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError(f"holds what is no number ({error})", where=name) from None
    if array.shape != (n,):
        raise InputError(
            f"has shape {array.shape} where time has {n} values",
            where=name,
            hint="give one for each record",
        )
    bad = ~np.isfinite(array) | (array < low)
    if bad.any():
        at = int(np.argmax(bad))
        raise InputError(
            f"is {array[at]}", where=f"{name}[{at}]", hint="correct the record or leave it out"
        )
    return array


def marks(values: ArrayLike | None, n: int, name: str) -> Bools:
    """Yes or no for each record; no where nothing is given."""
    if values is None:
        return np.zeros(n, dtype=bool)
    array = np.asarray(values)
    if array.shape != (n,):
        raise InputError(
            f"has shape {array.shape} for {n} records",
            where=name,
            hint="give one for each record",
        )
    good = np.isin(array, (0, 1))
    if not good.all():
        raise InputError("is neither yes nor no", where=f"{name}[{int(np.argmin(good))}]")
    return array.astype(bool)


def positive(values: ArrayLike, name: str) -> Floats:
    """Numbers above 0."""
    array = np.asarray(values, dtype=np.float64)
    bad = np.atleast_1d(~(np.isfinite(array) & (array > 0)))
    if bad.any():
        at = int(np.argmax(bad))
        where = name if array.ndim == 0 else f"{name}[{at}]"
        found = np.atleast_1d(array)[at]
        raise InputError(f"is {found:g} in absolute terms, not above 0", where=where)
    return array


def in_order(day: Floats, segment: ArrayLike | None) -> tuple[NDArray[Any], Ints, Bools]:
    """Records by segment and time.

    Returns
    -------
    label : ndarray, shape (n,)
        Segment of each record, in the order of the caller.
    order : ndarray of int, shape (n,)
        Records of a segment together, in order of time.
    follows : ndarray of bool, shape (n,)
        In that order: whether the record before is of the same segment.
    """
    n = len(day)
    groups = group_rows(segment, n)
    gathered = groups.gather(np.arange(n))
    inside = np.lexsort((gathered, day[gathered], groups.codes))
    order = gathered[inside]
    follows = np.zeros(n, dtype=bool)
    follows[1:] = groups.codes[1:] == groups.codes[:-1]
    label = np.empty(n, dtype=object)
    label[gathered] = groups.labels[groups.codes]
    return label, order, follows
