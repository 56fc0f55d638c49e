"""Turn a column of text into dates, with day and month in the order the whole column shows.

In: a column of text. Out: `ParsedDates`. Next: `seallife.intake.read`.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.sections import DateOrder

__all__ = ["NULL_DATES", "ParsedDates", "parse_dates"]

NULL_DATES = frozenset({"", "-", "--", "n/a", "na", "nan", "nat", "none", "null", "#n/a"})
"""Text that stands for no date, besides any date written in zeros alone ("00.00.0000")."""

# Month names and short forms in en, de, fr, es, pt, it and nl, without accents.
_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan ene gen janv january januar janner janvier enero janeiro gennaio januari",
            "feb fev fevr february februar fevrier febrero fevereiro febbraio februari",
            "mar mrz mrt march marz maerz mars marzo marco maart",
            "apr abr avr april avril abril aprile",
            "may mai mei mag mayo maio maggio",
            "jun giu june juni juin junio junho giugno",
            "jul lug juil july juli juillet julio julho luglio",
            "aug ago aou aout august agosto augustus",
            "sep set sept september septembre septiembre setembro settembre",
            "oct okt ott out october oktober octobre octubre outubro ottobre",
            "nov november novembre noviembre novembro",
            "dec dez dic december dezember decembre diciembre dezembro dicembre",
        ),
        start=1,
    )
    for name in names.split()
}
_GAP = r"(?:\. |\.?[./\- ])"
_PATTERN = (
    rf"^(?P<a>\d{{4}}|\d{{1,2}}){_GAP}(?P<b>\d{{1,2}}|[^\W\d_]{{3,10}}){_GAP}(?P<c>\d{{4}}|\d{{1,2}})"
    r"(?:[t ,]+(?P<time>\d{1,2}:\d{2}(?::\d{2})?)(?:[.,]\d+)?(?: ?(?P<half>[ap])\.?m\.?)?"
    r"(?: ?(?:z|utc|[+-]\d\d:?\d\d))?)?$"
)
_ZEROS = r"[0 .:/t-]*0[0 .:/t-]*"
_SERIAL = r"[2-6]\d{4}(?:[.,]\d+)?"  # days as spreadsheets count them: 1954 to 2091
# A spreadsheet's day 1 is 1 January 1900 and it believes in 29 February 1900; or day 0 is
# 1 January 1904.
_SERIAL_START = {"1900": pd.Timestamp("1899-12-30"), "1904": pd.Timestamp("1904-01-01")}
_FILLER_YEARS = (1, 1899, 1900, 9999)
_MANY = 3  # dates against the order given; fewer may be slips
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
    serial : pandas.Series of bool
        True where the cell held a spreadsheet's day number instead of a date.
    order : str
        Order of day and month used.
    """

    dates: pd.Series
    unreadable: pd.Series
    filler: pd.Series
    serial: pd.Series
    order: str


def parse_dates(
    text: pd.Series, order: DateOrder = "auto", *, where: str = "", days_from: str = "1900"
) -> ParsedDates:
    """Which dates does this column hold?

    Parameters
    ----------
    text : pandas.Series of str, shape (n,)
        Cells; the index is the row number used in messages.
    order : {'auto', 'year first', 'day first', 'month first'}
        ``auto``: a value above 12 in one place decides for the whole column.
    where : str
        File and column, for messages.
    days_from : {'1900', '1904'}
        From which year the day numbers of a spreadsheet count.

    Returns
    -------
    ParsedDates

    Raises
    ------
    InputError
        ``auto`` cannot decide: some dates can be read both ways and none can be read one way
        only, or both orders occur. Or the order given is plainly not that of the column.

    Examples
    --------
    >>> parse_dates(pd.Series(["31/05/2023", "05/04/2023"])).dates.dt.strftime("%Y-%m-%d").tolist()
    ['2023-05-31', '2023-04-05']
    """
    codes, values = pd.factorize(text.astype(str))
    shown = pd.Series(values, dtype=object)
    folded = shown.map(_fold)
    null = folded.isin(NULL_DATES) | folded.str.fullmatch(_ZEROS)
    serial = folded.str.fullmatch(_SERIAL)
    compact = folded.str.fullmatch(r"\d{8}")
    spelled = folded.where(~compact, folded.str[:4] + "-" + folded.str[4:6] + "-" + folded.str[6:])
    parts = spelled.mask(null).astype(object).str.extract(_PATTERN)
    a, b, c = (pd.to_numeric(parts[k], errors="coerce") for k in "abc")
    named_month = b.isna() & parts["b"].notna()
    b = b.fillna(parts["b"].map(_MONTHS).astype(float))
    year_first = (parts["a"].str.len() == 4) | ((order == "year first") & ~named_month)
    slots = ~year_first & ~named_month & a.notna()
    used = _decide_order(shown[slots], a[slots], b[slots], order, text, where)
    month_first = slots & (used == "month first")
    year = _full_year(c.where(~year_first, a), parts["c"].where(~year_first, parts["a"]))
    month = b.where(~month_first, a)
    day = c.where(year_first, a.where(~month_first, b))
    filler = year.isin(_FILLER_YEARS)
    dates = _to_dates(year.mask(filler), month, day, parts["time"], parts["half"])
    if serial.any():
        days = pd.to_numeric(folded[serial].str.replace(",", "."))
        dates[serial] = _SERIAL_START[days_from] + pd.to_timedelta(days, unit="D").dt.round("s")
    unreadable = dates.isna() & ~null & ~filler

    def per_cell(found: pd.Series) -> pd.Series:
        return pd.Series(found.to_numpy()[codes], index=text.index)

    return ParsedDates(
        per_cell(dates), per_cell(unreadable), per_cell(filler), per_cell(serial), used
    )


def _fold(text: str) -> str:
    """Leave case, accents and doubled blanks out."""
    plain = unicodedata.normalize("NFKD", text.casefold())
    return " ".join("".join(c for c in plain if not unicodedata.combining(c)).split())


def _full_year(c: pd.Series, text: pd.Series) -> pd.Series:
    """Two-digit years: 70-99 belong to the last century."""
    short = text.str.len() <= 2
    return c.where(~short, c + np.where(c < _TWO_DIGIT_PIVOT, 2000, 1900))


def _to_dates(
    year: pd.Series, month: pd.Series, day: pd.Series, time: pd.Series, half: pd.Series
) -> pd.Series:
    """Put the parts together; NaT where they are no date of the calendar."""
    ok = year.between(1800, 2261) & month.between(1, 12) & day.between(1, 31)
    parts = pd.DataFrame({"year": year, "month": month, "day": day})[ok].astype(int)
    out = pd.Series(pd.NaT, index=year.index, dtype="datetime64[ns]")
    if ok.any():
        out[ok] = pd.to_datetime(parts, errors="coerce")
        clock = time.where(time.isna() | (time.str.count(":") == 2), time + ":00")
        passed = pd.to_timedelta(clock, errors="coerce").fillna(pd.Timedelta(0))
        noon = pd.Timedelta(hours=12)
        passed = passed.mask(half.notna() & (passed >= noon), passed - noon)
        out = out + passed.mask(half == "p", passed + noon)
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
    if order == "year first":
        return order
    day = shown[a.between(13, 31) & b.between(1, 12)]
    month = shown[b.between(13, 31) & a.between(1, 12)]
    open_ = shown[a.between(1, 12) & b.between(1, 12) & (a != b)]
    hint = "set date_order for this file in fleet.toml"
    if order != "auto":
        wrong, right = (month, day) if order == "day first" else (day, month)
        if len(wrong) >= _MANY and len(wrong) > len(right):
            raise InputError(
                f"date_order says {order}, and {len(wrong)} different dates can only be read the "
                f"other way, e.g. '{wrong.iloc[0]}' (row {_row(text, wrong.iloc[0])})",
                where=where,
                hint="mend date_order in fleet.toml, or leave it out",
            )
        return order
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
    return text.index[int((text.astype(str) == value).to_numpy().argmax())]
