"""What the cells of a column look like, and whether they fit a column of the schema.

In: the text cells of one column. Out: `Content`; a `Fit`. Next: `seallife.intake.guess`.
"""

from __future__ import annotations

import re
from collections.abc import Set
from dataclasses import dataclass
from typing import Literal

import pandas as pd

from seallife.errors import InputError
from seallife.intake.codewords import known_share
from seallife.intake.dates import parse_dates
from seallife.intake.names import name_key
from seallife.intake.numbers import convert_units, parse_numbers
from seallife.schema import Column
from seallife.sections import DateOrder

__all__ = ["Content", "Fit", "can_convert", "content_of", "fit_of", "looks_like"]

Fit = Literal["yes", "open", "empty", "no"]

_SAMPLE = 1_000  # different values looked at
_MOST_CODES = 60
_MOST = 0.9
_TAG = re.compile(r"(?=.*\d)(?=.*[a-z])[a-z0-9]+([ ._/\-]{1,3}[a-z0-9]+)*", re.IGNORECASE)
_PATTERNS = {
    "seal_end": r"n?de",
    "flush_plan": r"(?:plan |p)?\d{2}[a-c]?(?:\s?[/+]\s?(?:plan |p)?\d{2}[a-c]?)*",
    "pump_type": r"(?:oh|bb|vs)\d\w?(?:\W.*)?",
    "elastomer": r"(?:fkm|ffkm|epdm|nbr|hnbr|fepm|graphite|ptfe|cr|viton)\b.*",
}
"""Values that give a column away, whatever its name."""
_IDS = {"tag", "wo_no", "position_id", "material_no", "serial_out", "serial_in", "pool"}
_PROSE = {"short_text", "long_text", "description", "service_text", "seal_type", "fluid"}


@dataclass(frozen=True)
class Content:
    """What stands in one column.

    Attributes
    ----------
    filled : int
        Cells that are not empty.
    values : tuple of str
        Different values, the most frequent first.
    dates, numbers, tags : float
        Share of the different values that are dates, numbers, or look like tags.
    decimals : bool
        True where a number is not whole.
    series : pandas.Series of float
        The numbers.
    length : float
        Mean length of the different values.
    """

    filled: int
    values: tuple[str, ...]
    dates: float
    numbers: float
    tags: float
    decimals: bool
    series: pd.Series
    length: float


def content_of(cells: pd.Series, decimal: str, skip_first: bool = False) -> Content:
    """What stands in this column?

    Parameters
    ----------
    cells : pandas.Series of str
    decimal : str
        Decimal sign; '' reads as '.'.
    skip_first : bool
        True where the first row holds units, not a record.
    """
    text = cells.iloc[1:] if skip_first else cells
    counts = text[text != ""].value_counts(sort=True)
    # Equal counts keep the order of the file, which must not matter.
    order = sorted(counts.index, key=lambda v: (-counts[v], v))[:_SAMPLE]
    values = pd.Series(order, dtype=object)
    if values.empty:
        return Content(0, (), 0.0, 0.0, 0.0, False, pd.Series(dtype=float), 0.0)
    numbers, bad = parse_numbers(values, decimal or ".")
    known = numbers.dropna()
    return Content(
        int(counts.sum()),
        tuple(order),
        _date_share(values),
        1 - float(bad.mean()) if len(known) else 0.0,
        float(values.map(lambda v: bool(_TAG.fullmatch(v)) and len(v) <= 30).mean()),
        bool((known % 1 != 0).any()),
        known,
        float(values.str.len().mean()),
    )


def _date_share(values: pd.Series) -> float:
    """Share that are dates in the better order; a day number alone is no sign of a date."""
    best = 0.0
    if not values.head(200).str.contains(r"\d{4}|\d\D+\w+\D+\d").any():
        return 0.0
    orders: tuple[DateOrder, ...] = ("day first", "month first")
    for order in orders:
        try:
            got = parse_dates(values, order)
        except InputError:
            continue
        best = max(best, float((~got.unreadable & ~got.serial).mean()))
        if not (got.dates.notna() & ~got.serial).any():
            return 0.0
    return best


def can_convert(unit: str, column: Column) -> bool:
    """Can this unit be turned into the column's?"""
    if not unit or column.unit in {"", "see unit"}:
        return False
    try:
        convert_units(pd.Series([1.0]), unit, column.unit)
    except InputError:
        return False
    return True


def fit_of(content: Content, column: Column, unit: str, tags: Set[str]) -> tuple[Fit, str]:
    """Do these cells fit this column, and what says so?

    Parameters
    ----------
    content : Content
    column : Column
    unit : str
        Unit stated for the column; empty where none.
    tags : set of str
        Tags of the register, where it is known, as `name_key` leaves them.

    Returns
    -------
    fit : {'yes', 'open', 'empty', 'no'}
        'open': nothing speaks for or against it.
    evidence : str
    """
    if not content.filled:
        return "empty", "no cell is filled"
    if column.kind == "date":
        share = f"{content.dates:.0%} of the values are dates"
        return ("yes" if content.dates >= _MOST else "no"), share
    if column.kind == "number":
        return _fits_number(content, column, unit)
    if content.dates >= _MOST and column.name != "flush_plan":
        return "no", f"{content.dates:.0%} of the values are dates"
    if column.kind == "code":
        return _fits_code(content, column)
    return _fits_text(content, column, tags)


def _fits_number(content: Content, column: Column, unit: str) -> tuple[Fit, str]:
    if content.numbers < 0.8:
        return "no", f"only {content.numbers:.0%} of the values are numbers"
    values = content.series
    if can_convert(unit, column):
        values = convert_units(values, unit, column.unit)
    low = -float("inf") if column.low is None else column.low
    high = float("inf") if column.high is None else column.high
    inside = float(values.between(low, high).mean())
    shown = f"{values.min():g} to {values.max():g}"
    if column.unit not in {"", "1", "see unit"}:
        shown += f" {column.unit}"
    if inside < 0.5:
        return "no", f"numbers from {shown}, most out of range"
    return ("yes" if inside >= _MOST else "open"), f"numbers from {shown}"


def _fits_code(content: Content, column: Column) -> tuple[Fit, str]:
    few = len(content.values) <= _MOST_CODES and content.length <= 40
    shown = ", ".join(content.values[:4])
    if not few:
        return "no", f"{len(content.values)} different values are no short list of codes"
    if not column.choices:
        return "yes", f"few different values: {shown}"
    share = known_share(column, content.values)
    return ("yes" if share >= 0.5 else "open"), f"{share:.0%} of its codes known: {shown}"


def _fits_text(content: Content, column: Column, tags: Set[str]) -> tuple[Fit, str]:
    if column.name == "tag" and tags:
        met = sum(name_key(v) in tags for v in content.values) / len(content.values)
        return ("yes" if met >= 0.4 else "no"), f"{met:.0%} of the values are tags of the register"
    if column.name in _IDS:
        if content.decimals or content.length > 60:
            return "no", f"'{content.values[0]}' is no number or name of an item"
        named = column.name in {"tag", "position_id"} and content.tags >= 0.8
        many = len(content.values) > 0.5 * content.filled
        fit: Fit = (
            "yes" if named or (many and column.name not in {"tag", "position_id"}) else "open"
        )
        return fit, f"values such as '{content.values[0]}'"
    if column.name in _PROSE and content.numbers >= _MOST:
        return "no", "numbers, not words"
    if column.name == "site" and len(content.values) > 50:
        return "no", f"{len(content.values)} different values are too many for sites"
    return "yes", f"text such as '{content.values[0][:40]}'"


def looks_like(content: Content, column: Column) -> str:
    """Which evidence do the values alone give for this column? Empty where none."""
    if not content.filled or not content.values:
        return ""
    if column.name == "tag" and content.tags >= 0.95 and len(content.values) >= 5:
        return f"{content.tags:.0%} of the values look like tags: '{content.values[0]}'"
    pattern = _PATTERNS.get(column.name)
    if pattern:
        fits = [bool(re.fullmatch(pattern, v, re.IGNORECASE)) for v in content.values]
        plain = content.numbers >= _MOST  # "11" and "70" are numbers before they are plans
        if sum(fits) >= 0.8 * len(fits) and not plain:
            return f"values such as {', '.join(content.values[:3])}"
    telling = column.kind == "code" and len(column.choices) > 1 and not content.numbers
    if telling and 2 <= len(content.values) <= 12 and known_share(column, content.values) >= 0.8:
        return f"its codes: {', '.join(content.values[:4])}"
    return ""
