"""What a reading of leakage measures, by its unit: a concentration, a rate, a volume, a pressure.

In: units as written. Out: quantity, our unit, factor. Next: `seallife.leakage.readings`.

A concentration is not a rate, and the rate of a liquid not that of its mass: none is turned into
another. Each keeps its own scale, and its own trend.
"""

from __future__ import annotations

import pandas as pd

from seallife.leakage.conversions import WATER_DROP_ML

__all__ = ["QUANTITIES", "convert_to", "read_units"]

QUANTITIES: dict[str, tuple[str, dict[str, float]]] = {
    "concentration": (
        "ppmv",
        {
            **dict.fromkeys(
                ("ppm", "ppmv", "ppmvol", "ppm(v)", "ppm(vol)", "ml/m3", "cm3/m3"), 1.0
            ),
            **dict.fromkeys(("umol/mol", "ppmc", "ppmc1"), 1.0),
            **dict.fromkeys(("%", "vol%", "vol.%", "%vol", "%(v/v)", "vol-%", "volpercent"), 1e4),
            **dict.fromkeys(("ppb", "ppbv"), 1e-3),
        },
    ),
    "liquid rate": (
        "mL/h",
        {
            **dict.fromkeys(("ml/h", "ml/hr", "cm3/h", "cc/h", "cc/hr", "ccm/h"), 1.0),
            **dict.fromkeys(("l/h", "l/hr", "lph", "dm3/h"), 1e3),
            **dict.fromkeys(("ml/min", "cc/min", "cm3/min"), 60.0),
            **dict.fromkeys(("ml/d", "ml/day", "cc/day", "cm3/d"), 1 / 24),
            **dict.fromkeys(("l/d", "l/day", "l/tag"), 1e3 / 24),
            **dict.fromkeys(("drops/min", "drop/min", "dpm", "drips/min"), 60 * WATER_DROP_ML),
            **dict.fromkeys(("tropfen/min", "tr/min", "gouttes/min"), 60 * WATER_DROP_ML),
            **dict.fromkeys(("gotas/min", "gocce/min", "druppels/min"), 60 * WATER_DROP_ML),
        },
    ),
    "mass rate": ("g/h", {"g/h": 1.0, "g/hr": 1.0, "kg/h": 1e3, "kg/d": 1e3 / 24, "mg/s": 3.6}),
    "gas rate": (
        "NL/h",
        {
            **dict.fromkeys(("nl/h", "nl/hr", "l(n)/h"), 1.0),
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
"""Quantity -> our unit, and the factor to it from each unit as written; one drop of water 0.05 mL.

A pressure counts from the atmosphere unless the unit says absolute (common practice, no source)."""

_ABSOLUTE = ("bara", "bar(a)", "kpaa", "mpaa", "psia")
_ATMOSPHERE_BAR = 1.01325
_SIGNS = str.maketrans({"³": "3", "²": "2", "µ": "u", "μ": "u", "°": "", "^": ""})


def _plain(unit: str) -> str:
    return "".join(unit.translate(_SIGNS).casefold().split())


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


def convert_to(value: float, unit: str, measured_in: str) -> float:
    """What is a value, a limit for instance, in the unit in which readings are kept?

    Returns
    -------
    float
        NaN where the two units measure different things.

    Examples
    --------
    >>> convert_to(0.2, "vol %", "ppmv"), convert_to(5.6, "g/h", "ppmv")
    (2000.0, nan)
    """
    _, ours, factor, offset = _known(_plain(unit))
    return value * factor + offset if ours == measured_in else float("nan")
