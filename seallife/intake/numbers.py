"""Turn a column of text into numbers in our units.

In: a column of text, its decimal sign and unit. Out: values and what could not be read.
Next: `seallife.intake.read`.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from seallife.errors import InputError

if TYPE_CHECKING:
    import pint

__all__ = ["ATMOSPHERE_KPA", "convert_units", "may_be_gauge", "parse_numbers"]

ATMOSPHERE_KPA = 101.325  # what a gauge reads zero at
_EMPTY = frozenset({"", "-", "--", "n/a", "na", "nan", "null", "none", "#n/a"})

# Whole groups of three after the first, so that "1,5", "0,850" or "12345,678" can never be
# taken for thousands. A sign may also stand at the end, as accounting programs print it.
_NUMBER = (
    r"(?P<sign>[+-]?)(?P<whole>\d*|[1-9]\d{{0,2}}(?P<gap>{group})\d{{3}}(?:(?P=gap)\d{{3}})*)"
    r"(?:{point}(?P<part>\d*))?(?P<power>e[+-]?\d{{1,3}})?(?P<minus>-?)"
)
_FRACTION = re.compile(r"(?:(?P<whole>\d+)[ -])?(?P<top>\d+)/(?P<bottom>[1-9]\d*)")

# What sites write, without case, blanks, dots and brackets -> what the unit library reads.
_NAMES = {
    "c": "degC",
    "f": "degF",
    "k": "kelvin",
    "degc": "degC",
    "degf": "degF",
    "degk": "kelvin",
    "bar": "bar",
    "mbar": "millibar",
    "psi": "psi",
    "pa": "pascal",
    "kpa": "kilopascal",
    "mpa": "megapascal",
    "atm": "atmosphere",
    "kg/cm2": "technical_atmosphere",
    "kgf/cm2": "technical_atmosphere",
    "mm": "millimeter",
    "cm": "centimeter",
    "in": "inch",
    "inch": "inch",
    '"': "inch",
    "rpm": "revolutions_per_minute",
    "1/min": "revolutions_per_minute",
    "hz": "revolutions_per_second",
    "cst": "centistokes",
    "mm2/s": "centistokes",
    "l": "liter",
    "cm2": "centimeter ** 2",
    "h": "hour",
    "hr": "hour",
    "hrs": "hour",
    "min": "minute",
    "d": "day",
    "week": "week",
    "weeks": "week",
    "%": "percent",
    "1": "dimensionless",
}
_PRESSURES = ("bar", "mbar", "psi", "pa", "kpa", "mpa", "kg/cm2", "kgf/cm2")


def parse_numbers(text: pd.Series, decimal: str = ".") -> tuple[pd.Series, pd.Series]:
    """Which numbers does this column hold?

    Parameters
    ----------
    text : pandas.Series of str, shape (n,)
        Cells.
    decimal : {'.', ','}
        Decimal sign; the other sign, blanks and apostrophes may group thousands.

    Returns
    -------
    values : pandas.Series of float, shape (n,)
        NaN where there is no number.
    unreadable : pandas.Series of bool, shape (n,)
        True where text stands that is no number.

    Examples
    --------
    >>> parse_numbers(pd.Series(["1.234,5", "7", "", "about 3", "2 1/8"]), ",")[0].tolist()
    [1234.5, 7.0, nan, nan, 2.125]
    """
    group = "[.'\u2019 \u00a0\u202f]" if decimal == "," else "[,'\u2019 \u00a0\u202f]"
    pattern = re.compile(_NUMBER.format(group=group, point=re.escape(decimal)))
    codes, shown = pd.factorize(text.astype(str))
    plain = [t.strip().casefold().replace("\u2212", "-") for t in shown]
    values = np.array([_number(t, pattern) for t in plain], dtype=float)
    bad = np.isnan(values) & ~np.isin(plain, list(_EMPTY))
    return pd.Series(values[codes], index=text.index), pd.Series(bad[codes], index=text.index)


def _number(text: str, pattern: re.Pattern[str]) -> float:
    """Read one number; NaN where the text is none."""
    found = pattern.fullmatch(text)
    if found and (found["whole"] or found["part"]) and not (found["sign"] and found["minus"]):
        whole = re.sub(r"\D", "", found["whole"])
        sign = found["sign"] or found["minus"]
        value = float(f"{sign}{whole or 0}.{found['part'] or 0}{found['power'] or ''}")
        return value if np.isfinite(value) else np.nan
    fraction = _FRACTION.fullmatch(text.rstrip('"'))
    if fraction:
        return int(fraction["whole"] or 0) + int(fraction["top"]) / int(fraction["bottom"])
    return np.nan


def convert_units(values: pd.Series, unit: str, target: str, *, where: str = "") -> pd.Series:
    """What are these values in our unit?

    Parameters
    ----------
    values : pandas.Series of float
        Values in ``unit``.
    unit, target : str
        Unit in the file and ours, e.g. ``'degF'`` and ``'degC'``, ``'barg'`` and ``'kPa'``. A
        pressure unit with a ``g`` at its end counts from the standard atmosphere, any other
        from zero.
    where : str
        File and column, for messages.

    Returns
    -------
    pandas.Series of float

    Raises
    ------
    InputError
        The unit is not known, or is not of the same kind as ours.

    Examples
    --------
    >>> convert_units(pd.Series([350.0]), "degF", "degC").round(1).tolist()
    [176.7]
    >>> convert_units(pd.Series([1.0]), "barg", "kPa").tolist()
    [201.325]
    """
    import pint

    name, gauge = _known_unit(unit, where)
    ours, _ = _known_unit(target, where)
    try:
        out = _registry().Quantity(values.to_numpy(dtype=float), name).to(ours).magnitude
    except pint.errors.DimensionalityError:
        raise InputError(f"the unit '{unit}' cannot be turned into {target}", where=where) from None
    return pd.Series(out + (ATMOSPHERE_KPA if gauge else 0.0), index=values.index)


def may_be_gauge(unit: str) -> bool:
    """Could this pressure unit mean gauge or absolute?

    Examples
    --------
    >>> may_be_gauge("bar"), may_be_gauge("barg"), may_be_gauge("psia"), may_be_gauge("degF")
    (True, False, False, False)
    """
    return _key(unit) in _PRESSURES


def _key(unit: str) -> str:
    return re.sub(r"[\s.()°_]", "", unit.casefold()).replace("²", "2")


def _known_unit(unit: str, where: str) -> tuple[str, bool]:
    """Name the unit as the unit library does, and say whether it counts from the atmosphere."""
    key = _key(unit)
    if key in _NAMES:
        return _NAMES[key], False
    if key[:-1] in _PRESSURES and key[-1] in {"a", "g"}:
        return _NAMES[key[:-1]], key[-1] == "g"
    raise InputError(
        f"the unit '{unit}' is not known",
        where=where,
        hint="write it as for instance degF, barg, psia, in or rpm",
    )


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[Any]:
    """Build the unit registry once: it takes a fifth of a second."""
    import pint

    return pint.UnitRegistry()
