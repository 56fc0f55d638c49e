"""Turn a column of text into dates, with day and month in the order the whole column shows.

In: a column of text. Out: `ParsedDates`. Next: `seallife.intake.read`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.settings import DateOrder

__all__ = ["NULL_DATES", "ParsedDates", "parse_dates"]

NULL_DATES = frozenset({"", "-", "0", "00.00.0000", "00/00/0000", "0000-00-00", "n/a", "na"})
"""Text that stands for no date."""

_FILLER_DATES = ("1900-01-01", "1899-12-30", "9999-12-31")
_MONTHS = {
    m: i + 1
    for i, names in enumerate(
        (
            "jan ene gen janv januar january",
            "feb fev fév févr februar february",
            "mar mär mars mrt märz maart march",
            "apr abr avr avril april",
            "may mai mei mag maj maggio",
            "jun giu juin juni june",
            "jul lug juil juli july",
            "aug ago aoû août aout august",
            "sep set sept september",
            "oct okt ott out oktober october",
            "nov november",
            "dec dez dic déc december dezember",
        )
    )
    for m in names.split()
}
_PATTERN = (
    r"^(?P<a>\d{1,4})[./\- ](?P<b>\d{1,2}|[^\W\d_]{3,9})\.?[./\- ](?P<c>\d{1,4})"
    r"(?:[T ,]+(?P<time>\d{1,2}:\d{2}(?::\d{2})?)(?:\.\d+)?(?:Z|[+-]\d\d:?\d\d)?)?$"
)
_TWO_DIGIT_PIVOT = 70  # 69 -> 2069, 70 -> 1970


@dataclass(frozen=True)
class ParsedDates:
    """Dates of one column.

    Attributes
    ----------
    dates : pandas.Series of datetime64
        NaT where there is no date or none could be read.
    unreadable : pandas.Series of bool
        True where text stands that is no date.
    filler : pandas.Series of bool
        True where the date is one that programs write for "none" (1900, 9999); NaT in ``dates``.
    order : str
        Order of day and month used.
    """

    dates: pd.Series
    unreadable: pd.Series
    filler: pd.Series
    order: str


def parse_dates(text: pd.Series, order: DateOrder = "auto", *, where: str = "") -> ParsedDates:
    """Which dates does this column hold?

    Parameters
    ----------
    text : pandas.Series of str, shape (n,)
        Cells; the index is the row number used in messages.
    order : {'auto', 'year first', 'day first', 'month first'}
        ``auto``: a value above 12 in one place decides for the whole column.
    where : str
        File and column, for messages.

    Returns
    -------
    ParsedDates

    Raises
    ------
    InputError
        ``auto`` cannot decide: some dates can be read both ways and none can be read one way
        only, or both orders occur.

    Examples
    --------
    >>> parse_dates(pd.Series(["31/05/2023", "05/04/2023"])).dates.dt.strftime("%Y-%m-%d").tolist()
    ['2023-05-31', '2023-04-05']
    """
    unique = pd.Series(pd.unique(text.astype(str)), dtype=object)
    folded = unique.str.strip().str.casefold()
    null = folded.isin(NULL_DATES)
    compact = folded.str.fullmatch(r"\d{8}")
    spelled = folded.where(~compact, folded.str[:4] + "-" + folded.str[4:6] + "-" + folded.str[6:8])
    parts = spelled.str.extract(_PATTERN)
    a = pd.to_numeric(parts["a"])
    b = pd.to_numeric(parts["b"], errors="coerce").fillna(parts["b"].map(_MONTHS))
    c = pd.to_numeric(parts["c"])
    named_month = parts["b"].str.contains(r"[^\d]", na=False)
    year_first = parts["a"].str.len() == 4
    slots = ~year_first & ~named_month & a.notna()
    used = _decide_order(unique[slots], a[slots], b[slots], order, text, where)
    month_first = slots & (used == "month first")
    year = a.where(year_first, _full_year(c, parts["c"]))
    month = b.where(~month_first, a)
    day = c.where(year_first, a.where(~month_first, b))
    dates = _to_dates(year, month, day, parts["time"])
    iso = dates.dt.strftime("%Y-%m-%d").fillna("")
    filler = iso.isin(_FILLER_DATES) | ((year == 9999) | (year == 1900)) & ~null
    unreadable = dates.isna() & ~null & ~filler
    lookup = pd.DataFrame(
        {"date": dates.mask(filler), "bad": unreadable, "filler": filler}
    ).set_axis(unique.to_numpy())
    out = lookup.reindex(text.astype(str).tolist()).set_axis(text.index)
    return ParsedDates(out["date"], out["bad"], out["filler"], used)


def _full_year(c: pd.Series, text: pd.Series) -> pd.Series:
    """Two-digit years: 70-99 belong to the last century."""
    short = text.str.len() <= 2
    return c.where(~short, c + np.where(c < _TWO_DIGIT_PIVOT, 2000, 1900))


def _to_dates(year: pd.Series, month: pd.Series, day: pd.Series, time: pd.Series) -> pd.Series:
    """Put the parts together; NaT where they are no date of the calendar."""
    ok = year.between(1800, 2261) & month.between(1, 12) & day.between(1, 31)
    parts = pd.DataFrame({"year": year, "month": month, "day": day}).where(ok)
    out = pd.Series(pd.NaT, index=year.index, dtype="datetime64[ns]")
    if ok.any():
        out[ok] = pd.to_datetime(parts[ok].astype(int), errors="coerce")
        clock = time.where(time.isna() | (time.str.count(":") == 2), time + ":00")
        out = out + pd.to_timedelta(clock, errors="coerce").fillna(pd.Timedelta(0))
    return out


def _decide_order(
    shown: pd.Series,
    a: pd.Series,
    b: pd.Series,
    order: DateOrder,
    text: pd.Series,
    where: str,
) -> str:
    """Day or month first? One date that can be read one way only decides for the column."""
    if order != "auto":
        return order
    day = shown[(a > 12) & (a <= 31) & (b <= 12)]
    month = shown[(b > 12) & (b <= 31) & (a <= 12)]
    open_ = shown[(a <= 12) & (b <= 12) & (a != b)]
    hint = "set date_order for this file in fleet.toml"
    if len(day) and len(month):
        raise InputError(
            f"some dates have the day first ('{day.iloc[0]}', row {_row(text, day.iloc[0])}), "
            f"others the month ('{month.iloc[0]}', row {_row(text, month.iloc[0])})",
            where=where,
            hint=f"split the file or {hint}",
        )
    if len(open_) and not len(day) and not len(month):
        raise InputError(
            f"day and month cannot be told apart, e.g. '{open_.iloc[0]}' "
            f"(row {_row(text, open_.iloc[0])})",
            where=where,
            hint=hint,
        )
    return "month first" if len(month) else "day first"


def _row(text: pd.Series, value: str) -> object:
    """Row of the first cell with this text."""
    return text.index[(text.astype(str) == value).to_numpy()][0]
