"""Units in which leakage is read and limited, and which of them say the same thing.

In: two units as written. Out: a factor, or why there is none. Next: `seallife.leakage.limits`.
"""

from __future__ import annotations

from dataclasses import dataclass

from seallife.errors import InputError
from seallife.leakage.conversions import WATER_DROP_ML

__all__ = ["Conversion", "conversion"]

# quantity -> unit without case, blanks, full stops -> how many of the first one
_UNITS: dict[str, dict[str, float]] = {
    "concentration": {
        "ppmv": 1.0,
        "ppm": 1.0,
        "ppm(v)": 1.0,
        "vppm": 1.0,
        "ml/m3": 1.0,
        "ppb": 1e-3,
        "ppbv": 1e-3,
        "vol%": 1e4,
        "vol-%": 1e4,
        "%vol": 1e4,
        "%(v/v)": 1e4,
        "%v/v": 1e4,
    },
    "volume rate": {
        "ml/h": 1.0,
        "cc/h": 1.0,
        "cm3/h": 1.0,
        "l/h": 1e3,
        "ml/min": 60.0,
        "cc/min": 60.0,
        "cm3/min": 60.0,
        "l/min": 6e4,
        "ml/d": 1 / 24,
        "ml/day": 1 / 24,
        "l/d": 1e3 / 24,
        "l/day": 1e3 / 24,
    },
    "drops": {
        "drops/min": 1.0,
        "drop/min": 1.0,
        "dpm": 1.0,
        "drops/h": 1 / 60,
        "drops/s": 60.0,
    },
    "mass rate": {
        "g/h": 1.0,
        "kg/h": 1e3,
        "g/min": 60.0,
        "mg/s": 3.6,
        "g/d": 1 / 24,
        "g/day": 1 / 24,
        "kg/d": 1e3 / 24,
        "kg/day": 1e3 / 24,
    },
}
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
        of many seals only.

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
    found = [next((k for k, units in _UNITS.items() if u in units), "") for u in (a, b)]
    for kind, plain, written in zip(found, (a, b), (unit, to), strict=True):
        if not kind:
            hint = _HINTS.get(plain, "write it in a unit known here")
            return Conversion(None, f"{written or 'an empty unit'!s} is not known here: {hint}")
    scale = _UNITS[found[0]][a] / _UNITS[found[1]][b]
    if found[0] == found[1]:
        return Conversion(scale)
    if "concentration" in found:
        return Conversion(
            None, "a concentration at a point is not a rate, and no equation holds for one seal"
        )
    said = []
    into, out_of = _per_ml(found[0], density, drop_ml), _per_ml(found[1], density, drop_ml)
    if into is None or out_of is None:
        return Conversion(None, "volume and mass differ by the density, which is not given")
    if "drops" in found:
        said.append(f"with {drop_ml:g} mL a drop")
    if "mass rate" in found:
        said.append(f"with a density of {density:g} g/mL")
    return Conversion(scale * into / out_of, ", ".join(said))


def _per_ml(kind: str, density: float | None, drop_ml: float) -> float | None:
    """ML/h in one first unit of a kind."""
    if kind == "drops":
        return drop_ml * 60.0
    if kind == "mass rate":
        return None if density is None else 1.0 / density
    return 1.0


def _plain(unit: str) -> str:
    text = "".join(str(unit).casefold().split()).replace("³", "3").replace(".", "")
    return text.replace("hour", "h").replace("hr", "h").replace("minute", "min")
