"""MTBR and MTBF over windows of any length, on both clocks: quarters, years, three years.

In: `MtbrHistory.monthly`. Out: one row a group and window. Next: `seallife.report`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.errors import InputError
from seallife.history.rates import mtbr
from seallife.schema import HOURS_PER_YEAR

__all__ = ["WIDENED", "spells", "window_sums", "windowed", "with_means"]

_SUMS = ["exposure_years", "exposure_h", "expected", "removals", "failures", "unknown"]
_COUNTS = ["removals", "failures", "unknown"]

WIDENED = ("mtbr_dispersion", "mtbf_dispersion")
"""Variance over mean of the counts of removals and of failures, by which limits are widened."""


def windowed(
    monthly: pd.DataFrame,
    months: int,
    *,
    apart: bool = False,
    breaks: Sequence[pd.Timestamp] = (),
    level: float = 0.90,
) -> pd.DataFrame:
    """How did MTBR and MTBF go over windows of so many months?

    Parameters
    ----------
    monthly : DataFrame
        `MtbrHistory.monthly`.
    months : int
        Length of a window: 3 for quarters, 12 or 36 for rolling figures.
    apart : bool
        Only windows that do not overlap, from January on: quarters, half years, years.
    breaks : sequence of Timestamp
        Days on which what is recorded or counted changed: no window reaches across one.
    level : float
        Two-sided level of the limits.

    Returns
    -------
    DataFrame
        ``by``, ``group``, ``month`` (first day of the window's last month), sums, and the columns
        of `with_means`. A window with a month without time at risk, as in a gap of the
        records, is left out. Overlapping windows share most of their months: never test them for
        a trend.

    Raises
    ------
    InputError
        Fewer than 1 month, or windows apart whose length does not divide a year.

    Source
    ------
    Limits: `seallife.history.rates.mtbr`, `seallife.history.clustering.clustering`.

    Examples
    --------
    >>> months = pd.date_range("2024-01-01", periods=6, freq="MS")
    >>> table = pd.DataFrame({"by": "all", "group": "all", "month": months, "exposure_years": 10.0,
    ...                       "exposure_h": 50_000.0, "expected": 2.0, "removals": 3,
    ...                       "failures": 2, "unknown": 0})
    >>> windowed(table, 3, apart=True)[["month", "failures", "mtbf_years"]].values.tolist()
    [[Timestamp('2024-03-01 00:00:00'), 6, 5.0], [Timestamp('2024-06-01 00:00:00'), 6, 5.0]]
    """
    if months < 1:
        raise InputError(f"is {months}", where="months", hint="give 1 or more")
    if apart and 12 % months and months % 12:
        raise InputError(
            f"is {months}, which parts no year evenly",
            where="months",
            hint="give 1, 2, 3, 4, 6 or 12 for windows apart",
        )
    rows = monthly.sort_values(["by", "group", "month"], kind="stable")
    out = window_sums(rows, months, apart=apart, breaks=breaks)
    return with_means(out, level)


def with_means(table: pd.DataFrame, level: float) -> pd.DataFrame:
    """How long between removals and between failures, on both clocks?

    Parameters
    ----------
    table : DataFrame
        exposure_years, exposure_h, expected, removals, failures; ``mtbr_dispersion`` and
        ``mtbf_dispersion``, by which limits are widened: exact Poisson limits where it is 1, or
        where a table has none.
    level : float
        Two-sided level of the limits.

    Returns
    -------
    DataFrame
        The table with ``mtbr_years``, ``mtbf_years`` (calendar), ``mtbr_run_years``,
        ``mtbf_run_years`` (run hours, 8,766 h a year) and ``age_ratio`` (failures over those
        expected), each with ``_low`` and ``_high``.
    """
    run, some = table["exposure_h"] / HOURS_PER_YEAR, table["expected"] > 0
    new: dict[str, npt.NDArray[np.float64]] = {}
    ones = pd.Series(1.0, index=table.index)
    of_removals, of_failures = (table.get(name, ones) for name in WIDENED)
    for name, exposure, count, size in (
        ("mtbr_years", table["exposure_years"], table["removals"], of_removals),
        ("mtbf_years", table["exposure_years"], table["failures"], of_failures),
        ("mtbr_run_years", run, table["removals"], of_removals),
        ("mtbf_run_years", run, table["failures"], of_failures),
    ):
        got = mtbr(exposure, count, level=level, dispersion=size)
        for end, column in (("", "mean_time"), ("_low", "low"), ("_high", "high")):
            new[f"{name}{end}"] = got[column].to_numpy()
    expected = table["expected"].where(some, 1.0)
    got = mtbr(expected, table["failures"], level=level, dispersion=of_failures)
    # mtbr gives expected over failures; wanted is failures over expected
    for end, other in (("", "mean_time"), ("_low", "high"), ("_high", "low")):
        new[f"age_ratio{end}"] = np.where(some, 1 / got[other].to_numpy(), np.nan)
    none = (some & (table["failures"] == 0)).to_numpy()
    new["age_ratio"] = np.where(none, 0.0, new["age_ratio"])
    return table.assign(**new)


def window_sums(
    monthly: pd.DataFrame,
    months: int,
    *,
    apart: bool = False,
    breaks: Sequence[pd.Timestamp] = (),
) -> pd.DataFrame:
    """What came together in each whole window of so many months?

    Parameters
    ----------
    monthly : DataFrame
        As for `windowed`, the months of a group in order.
    months, apart, breaks
        As for `windowed`.

    Returns
    -------
    DataFrame
        ``by``, ``group``, ``month``, what limits are widened by, and sums, in the order of
        ``monthly``.
    """
    rows = monthly.reset_index(drop=True)
    by = [rows["by"], rows["group"], spells(rows["month"], breaks)]
    grouped = rows.groupby(by, sort=False)
    sums = grouped[_SUMS].rolling(months).sum().droplevel([0, 1, 2]).reindex(rows.index)
    least = grouped["exposure_years"].rolling(months).min().droplevel([0, 1, 2])
    number = rows["month"].dt.year * 12 + rows["month"].dt.month
    # months must follow each other: a group may be missing from some
    first = number.groupby(by, sort=False).shift(months - 1)
    whole = (least.reindex(rows.index) > 0) & (number - first == months - 1)
    if apart:
        whole &= number % months == 0
    told = ["by", "group", "month", *(c for c in WIDENED if c in rows)]
    out: pd.DataFrame = rows[told].join(sums)[whole].reset_index(drop=True)
    out[_COUNTS] = out[_COUNTS].round().astype(int)
    return out


def spells(month: pd.Series, breaks: Sequence[pd.Timestamp]) -> pd.Series:
    """Number of breaks before each month; the month of a break within it stands alone."""
    days = np.sort(pd.to_datetime(list(breaks)).to_numpy(dtype="datetime64[ns]"))
    first = month.to_numpy(dtype="datetime64[ns]")
    last = (month + pd.offsets.MonthEnd(0)).to_numpy(dtype="datetime64[ns]")
    # a break on the first of a month parts it from the one before and no more
    before = np.searchsorted(days, first, side="right")
    after = np.searchsorted(days, last, side="right")
    return pd.Series(before + after, index=month.index)
