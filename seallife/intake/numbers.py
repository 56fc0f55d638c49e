"""Turn a column of text into numbers in our units.

In: a column of text, its decimal sign and unit. Out: values and what could not be read.
Next: `seallife.intake.read`.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from seallife.errors import InputError

if TYPE_CHECKING:
    import pint

__all__ = ["ATMOSPHERE_KPA", "convert_units", "parse_numbers"]

ATMOSPHERE_KPA = 101.325
_EMPTY = frozenset({"", "-", "--", "n/a", "na", "null", "none", "#n/a"})

# What sites write -> what the unit library reads. A gauge unit is its absolute unit with an
# offset of one standard atmosphere; a bare "bar" or "psi" is taken as absolute.
_NAMES = {
    "c": "degC",
    "°c": "degC",
    "degc": "degC",
    "f": "degF",
    "°f": "degF",
    "degf": "degF",
    "k": "kelvin",
    "bara": "bar",
    "barg": "bar",
    "kpag": "kilopascal",
    "kpaa": "kilopascal",
    "mpa": "megapascal",
    "psia": "psi",
    "psig": "psi",
    "kg/cm2": "technical_atmosphere",
    "kg/cm²": "technical_atmosphere",
    "kg/cm2g": "technical_atmosphere",
    "in": "inch",
    "hz": "revolutions_per_second",
    "%": "percent",
    "1": "dimensionless",
}
_GAUGE = frozenset({"barg", "kpag", "psig", "kg/cm2g"})


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
    >>> parse_numbers(pd.Series(["1.234,5", "7", "", "about 3"]), ",")[0].tolist()
    [1234.5, 7.0, nan, nan]
    """
    clean = text.astype(str).str.strip()
    empty = clean.str.casefold().isin(_EMPTY)
    group = "." if decimal == "," else ","
    # A grouping sign must stand before three digits, else "1,5" would become 15.
    clean = clean.str.replace(rf"(?<=\d)[{group}\u00a0\u202f' ](?=\d{{3}}(?!\d))", "", regex=True)
    if decimal == ",":
        clean = clean.where(~clean.str.contains(r"\.", regex=True), "?").str.replace(",", ".")
    values = pd.to_numeric(clean.where(~empty, ""), errors="coerce").astype(float)
    values = values.where(np.isfinite(values))
    return values, values.isna() & ~empty


def convert_units(values: pd.Series, unit: str, target: str, *, where: str = "") -> pd.Series:
    """What are these values in our unit?

    Parameters
    ----------
    values : pandas.Series of float
        Values in ``unit``.
    unit, target : str
        Unit in the file and ours, e.g. ``'degF'`` and ``'degC'``, ``'barg'`` and ``'kPa'``.
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

    key = unit.strip().casefold()
    try:
        registry = _registry()
        quantity = registry.Quantity(values.to_numpy(dtype=float), _NAMES.get(key, unit))
        out = quantity.to(_NAMES.get(target.casefold(), target)).magnitude
    except pint.errors.DimensionalityError:
        raise InputError(f"the unit '{unit}' cannot be turned into {target}", where=where) from None
    except (pint.errors.UndefinedUnitError, pint.errors.DefinitionSyntaxError, ValueError) as err:
        raise InputError(
            f"the unit '{unit}' is not known ({err})",
            where=where,
            hint="write it as for instance degF, barg, psi, in",
        ) from None
    offset = ATMOSPHERE_KPA if key in _GAUGE else 0.0
    return pd.Series(out + offset, index=values.index)


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[Any]:
    """Build the unit registry once: it takes a fifth of a second."""
    import pint

    return pint.UnitRegistry()
