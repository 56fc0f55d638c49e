"""Numbers as a reader should see them: "5.0 (3.8–6.7) y", and words where there is no number.

In: figures of results. Out: text. Next: `seallife.report.pages`.

Nothing here ever returns "nan" or "inf".
"""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pandas as pd

from seallife.schema import DAYS_PER_YEAR, HOURS_PER_YEAR

__all__ = [
    "CANNOT_TELL",
    "cell",
    "count",
    "date_text",
    "interval",
    "intervals",
    "level_text",
    "number",
    "share",
    "share_interval",
    "share_of",
    "shares",
    "years_from_days",
    "years_from_hours",
]

CANNOT_TELL = "cannot tell"
_NO_VALUE = "–"


def years_from_hours(hours: float) -> float:
    """Return hours as years of 8,766 h."""
    return hours / HOURS_PER_YEAR


def years_from_days(days: float) -> float:
    """Return days as years of 365.25 days."""
    return days / DAYS_PER_YEAR


def number(value: float, decimals: int | None = None) -> str:
    """How is a number written?

    Parameters
    ----------
    value : float
    decimals : int, optional
        Found from the size where None: 123, 12, 5.0, 0.46.

    Examples
    --------
    >>> number(5), number(1234.5), number(0.456), number(float("nan"))
    ('5.0', '1,234', '0.46', 'cannot tell')
    """
    if value is None or math.isnan(value):
        return CANNOT_TELL
    if math.isinf(value):
        return "no upper limit" if value > 0 else "no lower limit"
    return f"{value:,.{_decimals(value) if decimals is None else decimals}f}"


def _decimals(value: float) -> int:
    """Two figures after all for small values, none from ten on."""
    size = abs(value)
    return 0 if size >= 9.95 else 1 if size >= 0.995 else 2


def interval(
    value: float, low: float, high: float, unit: str = "", decimals: int | None = None
) -> str:
    """How is an estimate with its interval written?

    Parameters
    ----------
    value, low, high : float
        NaN or infinite where there is none.
    unit : str
    decimals : int, optional
        Found from the size where None.

    Examples
    --------
    >>> interval(5.0, 3.8, 6.7, "y")
    '5.0 (3.8–6.7) y'
    >>> interval(float("nan"), 8.01, float("inf"), "y")
    'more than 8.0 y'
    >>> interval(float("nan"), float("nan"), float("nan"))
    'cannot tell'
    """
    tail = f" {unit}" if unit else ""
    has_value, has_low, has_high = (bool(np.isfinite(v)) for v in (value, low, high))
    if not has_value:
        if has_low and low > 0:
            return f"more than {number(low)}{tail}"
        return CANNOT_TELL
    places = _decimals(value) if decimals is None else decimals
    if not has_low and not has_high:
        return f"{number(value, places)}{tail} (limits: {CANNOT_TELL})"
    # A limit that rounds to nothing at the value's precision keeps figures of its own.
    low_places = max(places, _decimals(low)) if has_low and round(low, places) == 0 else places
    first = number(low, low_places) if has_low else "no lower limit"
    last = number(high, places) if has_high else "no upper limit"
    dash = "–" if has_low and has_high else " – "
    return f"{number(value, places)} ({first}{dash}{last}){tail}"


def count(n: float, noun: str = "", plural: str = "") -> str:
    """How is a number of things written?

    Examples
    --------
    >>> count(1, "failure"), count(1234, "life", "lives"), count(0, "removal")
    ('1 failure', '1,234 lives', 'no removals')
    """
    many = plural or (f"{noun}s" if noun else "")
    if noun and n == 0:
        return f"no {many}"
    return f"{n:,.0f} {noun if n == 1 else many}".strip()


def share(value: float) -> str:
    """How is a share written?

    Examples
    --------
    >>> share(0.256), share(0.004), share(0.997), share(float("nan"))
    ('26 %', 'under 1 %', 'over 99 %', 'cannot tell')
    """
    if value is None or not np.isfinite(value):
        return CANNOT_TELL
    if 0 < value < 0.01:
        return "under 1 %"
    if 0.99 < value < 1:
        return "over 99 %"
    return f"{100 * value:.0f} %"


def share_of(part: float, whole: float, nouns: str = "") -> str:
    """How is a part of a whole written?

    Examples
    --------
    >>> share_of(12, 48, "removals"), share_of(0, 0)
    ('12 of 48 removals (25 %)', 'none to count')
    """
    if whole == 0:
        return "none to count"
    named = f" {nouns}" if nouns else ""
    return f"{part:,.0f} of {whole:,.0f}{named} ({share(part / whole)})"


def share_interval(value: float, low: float, high: float) -> str:
    """How is a share with its interval written?

    Examples
    --------
    >>> share_interval(0.82, 0.74, 0.881)
    '82 % (74–88)'
    """
    if not np.isfinite(value):
        return CANNOT_TELL
    if not (np.isfinite(low) and np.isfinite(high)):
        return share(value)
    places = 1 if 0 < 100 * value < 1 else 0
    return f"{100 * value:.{places}f} % ({100 * low:.{places}f}–{100 * high:.{places}f})"


def shares(table: pd.DataFrame, column: str) -> list[str]:
    """Shares of a column with those of its ``_low`` and ``_high``, as text."""
    three = zip(*(table[f"{column}{end}"] for end in ("", "_low", "_high")), strict=True)
    return [share_interval(v, a, b) for v, a, b in three]


def intervals(
    table: pd.DataFrame,
    column: str,
    limits: tuple[str, str] | None = None,
    decimals: int | None = None,
) -> list[str]:
    """Figures of a column with their ``limits``, ``_low`` and ``_high`` of it unless named."""
    low, high = limits or (f"{column}_low", f"{column}_high")
    three = zip(table[column], table[low], table[high], strict=True)
    return [interval(v, a, b, decimals=decimals) for v, a, b in three]


def level_text(level: float) -> str:
    """Level of an interval as a reader knows it.

    Examples
    --------
    >>> level_text(0.9)
    '90 %'
    """
    return f"{100 * level:.4g} %"


def date_text(day: dt.date | pd.Timestamp) -> str:
    """Date as 31 Dec 2025: no country reads it otherwise."""
    months = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
    return f"{day.day} {months[day.month - 1]} {day.year}"


def cell(value: object) -> str:
    """How is any value written in a table meant for reading?

    Examples
    --------
    >>> cell(float("nan")), cell(True), cell(1200), cell(pd.Timestamp("2025-12-31"))
    ('–', 'yes', '1,200', '31 Dec 2025')
    """
    if isinstance(value, str):
        return value
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if value is None or value is pd.NaT:
        return _NO_VALUE
    if isinstance(value, (int, np.integer)):
        return f"{value:,}"
    if isinstance(value, (float, np.floating)):
        return _NO_VALUE if math.isnan(value) else number(float(value))
    if isinstance(value, (dt.date, pd.Timestamp)):
        return date_text(value)
    return str(value)
