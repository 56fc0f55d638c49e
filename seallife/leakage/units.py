"""What a reading of leakage measures, by its unit: a concentration, a rate, a volume, a pressure.

In: units as written. Out: quantity, our unit, factor. Next: `seallife.leakage.readings`.

A concentration is not a rate, and the rate of a liquid not that of its mass: none is turned into
another. Each keeps its own scale, and its own trend.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.leakage.conversions import WATER_DROP_ML, drops_to_ml_per_h

__all__ = ["QUANTITIES", "Conversion", "conversion", "read_units"]

QUANTITIES: dict[str, tuple[str, dict[str, float]]] = {
    "concentration": (
        "ppmv",
        {
            **dict.fromkeys(("ppm", "ppmv", "ppmvol", "ppm(v)", "ppm(vol)", "vppm", "ml/m3"), 1.0),
            **dict.fromkeys(("cm3/m3", "umol/mol"), 1.0),
            **dict.fromkeys(("%", "vol%", "%vol", "%(v/v)", "%v/v", "vol-%", "volpercent"), 1e4),
            **dict.fromkeys(("ppb", "ppbv"), 1e-3),
        },
    ),
    "liquid rate": (
        "mL/h",
        {
            **dict.fromkeys(("ml/h", "cm3/h", "cc/h", "ccm/h"), 1.0),
            **dict.fromkeys(("l/h", "lph", "dm3/h"), 1e3),
            **dict.fromkeys(("ml/min", "cc/min", "cm3/min"), 60.0),
            "l/min": 6e4,
            **dict.fromkeys(("ml/d", "ml/day", "cc/d", "cc/day", "cm3/d"), 1 / 24),
            **dict.fromkeys(("l/d", "l/day", "l/tag"), 1e3 / 24),
        },
    ),
    "drops": (
        "drops/min",
        {
            **dict.fromkeys(("drops/min", "drop/min", "dpm", "drips/min", "tropfen/min"), 1.0),
            **dict.fromkeys(("tr/min", "gouttes/min", "gotas/min", "gocce/min"), 1.0),
            "druppels/min": 1.0,
            "drops/h": 1 / 60,
            "drops/s": 60.0,
        },
    ),
    "mass rate": (
        "g/h",
        {
            "g/h": 1.0,
            "kg/h": 1e3,
            "g/min": 60.0,
            "mg/s": 3.6,
            **dict.fromkeys(("g/d", "g/day"), 1 / 24),
            **dict.fromkeys(("kg/d", "kg/day"), 1e3 / 24),
        },
    ),
    "gas rate": (
        "NL/h",
        {
            **dict.fromkeys(("nl/h", "l(n)/h"), 1.0),
            **dict.fromkeys(("nl/min", "l(n)/min"), 60.0),
            **dict.fromkeys(("nm3/h", "m3(n)/h"), 1e3),
        },
    ),
    "volume added": (
        "mL",
        {
            **dict.fromkeys(("ml", "cc", "cm3", "ccm"), 1.0),
            **dict.fromkeys(("l", "ltr", "liter", "litre", "litres", "dm3"), 1e3),
        },
    ),
    "level": ("mm", {"mm": 1.0, "cm": 10.0, "m": 1e3, "in": 25.4, "inch": 25.4, '"': 25.4}),
    "pressure": (
        "bar",
        {
            **dict.fromkeys(("bar", "barg", "bar(g)", "bara", "bar(a)"), 1.0),
            **dict.fromkeys(("kpa", "kpag", "kpaa"), 0.01),
            **dict.fromkeys(("mpa", "mpag", "mpaa"), 10.0),
            **dict.fromkeys(("psi", "psig", "psia"), 0.0689475729),
            **dict.fromkeys(("kg/cm2", "kgf/cm2"), 0.980665),
        },
    ),
}
"""Quantity -> our unit, and the factor to it from each unit as written.

A pressure counts from the atmosphere unless the unit says absolute (common practice, no source). A
% without more is read as % by volume, the worst that it can be; as a limit it is refused."""

_ABSOLUTE = ("bara", "bar(a)", "kpaa", "mpaa", "psia")
_ATMOSPHERE_BAR = 1.01325
_SIGNS = str.maketrans({"³": "3", "²": "2", "µ": "u", "μ": "u", "°": "", "^": "", ".": ""})
_RATES = ("liquid rate", "drops", "mass rate")
_HINTS = {
    "%": "say whether % by volume (vol %) or % of the lower explosive limit",
    "%lel": "give the lower explosive limit and write it in ppmv",
    "mg/m3": "needs the molar mass: write it in ppmv",
}


@dataclass(frozen=True)
class Conversion:
    """From one unit to another.

    Attributes
    ----------
    factor : float or None
        What a value is multiplied by; None where the two do not say the same thing.
    message : str
        Why there is none, or what the factor rests on; empty where nothing is to be said.
    """

    factor: float | None
    message: str = ""


def _plain(unit: str) -> str:
    text = "".join(str(unit).translate(_SIGNS).casefold().split())
    return text.replace("hour", "h").replace("hr", "h").replace("minute", "min")


def read_units(unit: pd.Series) -> pd.DataFrame:
    """What do readings in these units measure?

    Parameters
    ----------
    unit : pandas.Series of str, shape (n,)

    Returns
    -------
    pandas.DataFrame
        quantity, measured_in (our unit), factor, offset: value in our unit = value as written
        times factor plus offset; '' and NaN where the unit is not known.

    Examples
    --------
    >>> read_units(pd.Series(["ppm", "L / day", "bar g", "furlong"])).round(4).values.tolist()
    ... # doctest: +NORMALIZE_WHITESPACE
    [['concentration', 'ppmv', 1.0, 0.0], ['liquid rate', 'mL/h', 41.6667, 0.0],
     ['pressure', 'bar', 1.0, 1.0132], ['', '', nan, 0.0]]
    """
    codes, written = pd.factorize(unit.astype(str))
    rows = [_known(_plain(u)) for u in written]
    columns = ["quantity", "measured_in", "factor", "offset"]
    return pd.DataFrame([rows[c] for c in codes], columns=columns, index=unit.index)


def _known(plain: str) -> tuple[str, str, float, float]:
    for quantity, (ours, factors) in QUANTITIES.items():
        if plain in factors:
            gauge = quantity == "pressure" and plain not in _ABSOLUTE
            return quantity, ours, factors[plain], _ATMOSPHERE_BAR if gauge else 0.0
    return "", "", float("nan"), 0.0


def conversion(
    unit: str, to: str, *, density: float | None = None, drop_ml: float = WATER_DROP_ML
) -> Conversion:
    """By what is a value in one unit multiplied to be in the other?

    Parameters
    ----------
    unit, to : str
        As written: case, blanks and full stops make no difference.
    density : float, optional
        [g/mL], to go between volume and mass.
    drop_ml : float
        Volume of one drop [mL], to go between drops and volume; hydrocarbons form smaller drops
        than water.

    Returns
    -------
    Conversion
        A concentration is never turned into a rate: what is published for that holds for totals
        of many seals only. A pressure is not converted.

    Raises
    ------
    InputError
        A density or a drop that is not above 0.

    Examples
    --------
    >>> conversion("L/h", "mL/min").factor
    16.666666666666668
    """
    for value, name in ((density, "density"), (drop_ml, "drop_ml")):
        if value is not None and not value > 0:
            raise InputError(f"is {value}, not above zero", where=name)
    a, b = _plain(unit), _plain(to)
    if a == b and a:
        return Conversion(1.0)
    found = [("", "", np.nan, 0.0) if p in _HINTS else _known(p) for p in (a, b)]
    for (kind, _, _, _), plain, written in zip(found, (a, b), (unit, to), strict=True):
        if not kind:
            hint = _HINTS.get(plain, "write it in a unit known here")
            return Conversion(None, f"{written or 'an empty unit'!s} is not known here: {hint}")
    scale = found[0][2] / found[1][2]
    kinds = [kind for kind, _, _, _ in found]
    if kinds[0] == kinds[1] != "pressure":
        return Conversion(scale)
    if "concentration" in kinds:
        return Conversion(
            None, "a concentration at a point is not a rate, and no equation holds for one seal"
        )
    if not all(kind in _RATES for kind in kinds):
        return Conversion(None, f"a {kinds[0]} is not a {kinds[1]}")
    into, out_of = (_per_ml(kind, density, drop_ml) for kind in kinds)
    if into is None or out_of is None:
        return Conversion(None, "volume and mass differ by the density, which is not given")
    said = []
    if "drops" in kinds:
        said.append(f"with {drop_ml:g} mL a drop")
    if "mass rate" in kinds:
        said.append(f"with a density of {density:g} g/mL")
    return Conversion(scale * into / out_of, ", ".join(said))


def _per_ml(kind: str, density: float | None, drop_ml: float) -> float | None:
    """Find mL/h in one of our units of a kind."""
    if kind == "drops":
        return drops_to_ml_per_h(1.0, drop_ml)
    if kind == "mass rate":
        return None if density is None else 1.0 / density
    return 1.0
