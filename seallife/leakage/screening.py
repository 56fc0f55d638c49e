"""From a screening value to a rate of emission, for totals of a population.

In: readings of a sniffer. Out: kg/h. Next: `seallife.leakage.emissions`.

A sniffer reads a concentration at a point. What a seal emits at that reading was measured once, on
other plants, by bagging seals: the published equations give the mean of many. One seal lies about
a factor of ten either way (from memory). So figures of this module are added up over a population
and never read for one seal; the trend of a seal is followed in the unit of its readings.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files
from typing import Literal, get_args

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.leakage.records import Bools, marks
from seallife.life.groups import Floats

__all__ = [
    "Family",
    "above_background",
    "emission_factors",
    "emission_rate",
    "factor",
    "from_bounds",
]

Family = Literal["petroleum pump", "SOCMI light liquid pump"]

_ZERO_LIMIT = 1.0  # ppmv above background, up to which "not detected" is taken as default zero
_SCALES = (10_000.0, 100_000.0)  # ppmv, ends of scale with a published rate
_SLACK = 0.95  # share of a scale that still is its end, once background was taken off


def emission_factors() -> pd.DataFrame:
    """Which published figures do totals of emissions rest on?

    Returns
    -------
    pandas.DataFrame
        family, quantity, value, unit, source, checked ('read' or 'from memory').
    """
    with (files("seallife.leakage") / "emissions.csv").open(encoding="utf-8") as file:
        return pd.read_csv(file)


def factor(family: str, quantity: str) -> float:
    """Which figure is published for this family?

    Parameters
    ----------
    family, quantity : str
        As in `emission_factors`.

    Raises
    ------
    InputError
        If there is none.
    """
    found = _factors()
    if (family, quantity) not in found:
        known = ", ".join(f for f, q in found if q == quantity)
        raise InputError(
            f"there is no {quantity} of {family!r}", where="family", hint=f"known here: {known}"
        )
    return found[family, quantity]


@lru_cache(maxsize=1)
def _factors() -> dict[tuple[str, str], float]:
    table = emission_factors()
    keys = zip(table["family"].tolist(), table["quantity"].tolist(), strict=True)
    return dict(zip(keys, table["value"].tolist(), strict=True))


def above_background(
    reading: ArrayLike, background: ArrayLike, *, from_share: float = 0.0
) -> Floats:
    """What is left of readings once the local background is taken off?

    Parameters
    ----------
    reading, background : array_like, shape (n,)
        [ppmv]
    from_share : float
        Take it off only where it is this share of the reading or more. 0 takes it off always; one
        published study (API Publ. 4653) took 0.05.

    Returns
    -------
    ndarray, shape (n,)
        [ppmv], never below 0. A 0 is a reading that cannot be told from its background: give it
        on as not detected.

    Raises
    ------
    InputError
        If a value is missing or negative, or the share is not between 0 and 1.
    """
    if not 0 <= from_share <= 1:
        raise InputError(f"is {from_share}", where="from_share", hint="give a share such as 0.05")
    read, local = np.broadcast_arrays(
        _numbers(reading, "reading"), _numbers(background, "background")
    )
    return np.where(local >= from_share * read, np.maximum(read - local, 0.0), read)


def emission_rate(
    ppmv: ArrayLike,
    *,
    family: Family,
    nondetect: ArrayLike | None = None,
    pegged: ArrayLike | None = None,
) -> Floats:
    """What would many seals at these readings emit, each on average?

    For totals of a population only: one seal lies about a factor of ten either way.

    Parameters
    ----------
    ppmv : array_like, shape (n,)
        Readings above background [ppmv]; of one not detected the limit of detection, of one above
        scale the end of the scale.
    family : {'petroleum pump', 'SOCMI light liquid pump'}
        Whose equation: refineries and petroleum, or synthetic organic chemicals.
    nondetect, pegged : array_like of bool, shape (n,), optional
        Readings not detected and above scale.

    Returns
    -------
    ndarray, shape (n,)
        Total organic compounds [kg/h].

    Raises
    ------
    InputError
        If a reading is missing, negative, or 0 without being marked as not detected; both not
        detected and above scale; above a scale for which nothing is published (below 10,000
        ppmv); or if the family is none of those named.

    Notes
    -----
    Not detected by an instrument whose limit is at most 1 ppmv above background: the default zero
    rate, which is not nought. By a coarser one: the equation at half the limit.

    Above scale: the published mean of seals above 10,000 or 100,000 ppmv, not the equation. Of
    a scale that ends between the two, the larger of the rate at 10,000 and the equation. Readings
    of 100,000 ppmv and more count as above that scale: the equations end there (from memory).

    Examples
    --------
    >>> rates = emission_rate([500, 1_000, 10_000], family="petroleum pump")
    >>> [f"{1_000 * r:.1f} g/h" for r in rates]
    ['2.2 g/h', '3.4 g/h', '13.9 g/h']

    Source
    ------
    Québec, Clean Air Regulation (Q-2, r. 4.1), schedule E; EPA-453/R-95-017 (from memory). Which
    figure stands on which is in `emission_factors`.
    """
    if family not in get_args(Family):
        raise InputError(
            f"is {family!r}", where="family", hint=f"give one of {', '.join(get_args(Family))}"
        )
    value = np.atleast_1d(_numbers(ppmv, "ppmv"))
    below, above = (
        marks(given, len(value), name)
        for given, name in ((nondetect, "nondetect"), (pegged, "pegged"))
    )
    for bad, what, hint in (
        (below & above, "is both not detected and above scale", "mark it as one of the two"),
        (below & (value == 0), "is a limit of detection of 0", "give the limit of the instrument"),
        (
            ~below & (value == 0),
            "is a reading of 0",
            "give the limit of detection and mark it as not detected",
        ),
        (
            above & (value < _SLACK * _SCALES[0]),
            f"is the end of a scale below {_SCALES[0]:,.0f} ppmv, for which no rate is published",
            "read such seals with an instrument of a wider scale",
        ),
    ):
        if bad.any():
            raise InputError(what, where=f"ppmv[{int(np.argmax(bad))}]", hint=hint)
    one = np.where(below, value / 2, value)
    rate = factor(family, "coefficient") * one ** factor(family, "exponent")
    rate[below & (value <= _ZERO_LIMIT)] = factor(family, "default zero")
    first, last = (factor(family, f"pegged at {scale:.0f}") for scale in _SCALES)
    rate = np.where(above, np.maximum(rate, first), rate)
    top = (above & (value >= _SLACK * _SCALES[1])) | (~below & (value >= _SCALES[1]))
    return np.where(top, last, rate)


def from_bounds(low: ArrayLike, high: ArrayLike) -> tuple[Floats, Bools, Bools]:
    """Which value goes for each reading, which is not detected, which is above scale?

    Parameters
    ----------
    low, high : array_like, shape (n,)
        Equal for an exact reading, (0, limit of detection) below it, (end of scale, inf) above.

    Returns
    -------
    value, nondetect, pegged : ndarray, shape (n,)
        As `emission_rate` takes them.

    Raises
    ------
    InputError
        If lengths differ or bounds are neither of the three.
    """
    lo, hi = (np.atleast_1d(np.asarray(v, dtype=np.float64)) for v in (low, high))
    if lo.shape != hi.shape or lo.ndim != 1:
        raise InputError(
            f"has shape {hi.shape} where low has shape {lo.shape}",
            where="high",
            hint="give both for each reading",
        )
    above, below = np.isposinf(hi) & (lo > 0), (lo == 0) & (hi > 0) & np.isfinite(hi)
    bad = ~(above | below | ((lo == hi) & np.isfinite(lo)))
    if bad.any():
        at = int(np.argmax(bad))
        raise InputError(
            f"and high are {lo[at]} and {hi[at]}",
            where=f"low[{at}]",
            hint="give equal bounds, (0, limit of detection) or (end of scale, inf)",
        )
    return np.where(below, hi, lo), below, above


def _numbers(values: ArrayLike, name: str) -> Floats:
    """Numbers that are there and not negative."""
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError(f"holds what is no number ({error})", where=name) from None
    if array.ndim > 1:
        raise InputError(f"has shape {array.shape}", where=name, hint="give one row of numbers")
    bad = np.atleast_1d(~np.isfinite(array) | (array < 0))
    if bad.any():
        at = int(np.argmax(bad))
        found = np.atleast_1d(array)[at]
        raise InputError(
            f"is {found}, not a reading",
            where=f"{name}[{at}]",
            hint="correct the reading or leave it out",
        )
    return array
