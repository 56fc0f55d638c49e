"""Two formulas of the trade: gas that expands behind a leak, liquid between two faces.

In: numbers. Out: volumes and rates. Next: `seallife.leakage.barrier`.
"""

from __future__ import annotations

import numpy as np

from seallife.errors import InputError
from seallife.leakage.records import positive
from seallife.life.groups import Floats

__all__ = ["KELVIN", "face_leakage_ml_per_h", "volume_lost_l"]

KELVIN = 273.15


def volume_lost_l(
    gas_volume_l: float | Floats,
    pressure_bar_abs_start: float | Floats,
    temp_c_start: float | Floats,
    pressure_bar_abs_end: float | Floats,
    temp_c_end: float | Floats,
) -> Floats:
    """How much liquid left an accumulator whose gas pressure fell?

    Parameters
    ----------
    gas_volume_l : float or ndarray
        Volume of the gas at the start [L].
    pressure_bar_abs_start, pressure_bar_abs_end : float or ndarray
        Absolute pressure of the gas [bar]: a gauge reads about 1 bar less.
    temp_c_start, temp_c_end : float or ndarray
        Temperature of the gas [degC]. Without it a cold night reads as a leak.

    Returns
    -------
    ndarray
        [L]; negative where liquid was filled in. ``V1 ((p1/T1)(T2/p2) - 1)``.

    Raises
    ------
    InputError
        If a volume or an absolute pressure is not above 0, or a temperature is below absolute
        zero.

    Examples
    --------
    >>> f"{volume_lost_l(10, 20, 20, 19, 20):.3f} L"
    '0.526 L'

    Source
    ------
    Ideal gas law; gas that dissolves in the liquid or passes the bladder counts as loss.
    """
    v, p1, p2 = (
        positive(x, name)
        for x, name in (
            (gas_volume_l, "gas_volume_l"),
            (pressure_bar_abs_start, "pressure_bar_abs_start"),
            (pressure_bar_abs_end, "pressure_bar_abs_end"),
        )
    )
    t1, t2 = (
        positive(np.asarray(x, dtype=np.float64) + KELVIN, name)
        for x, name in ((temp_c_start, "temp_c_start"), (temp_c_end, "temp_c_end"))
    )
    return np.asarray(v * ((p1 / t1) * (t2 / p2) - 1.0), dtype=np.float64)


def face_leakage_ml_per_h(
    gap_um: float | Floats,
    dp_bar: float | Floats,
    viscosity_mpa_s: float | Floats,
    inner_radius_mm: float | Floats,
    outer_radius_mm: float | Floats,
) -> Floats:
    """How does leakage go with the gap between the faces?

    To see that it goes with the cube of the gap, and why its logarithm is followed. Real gaps are
    neither parallel nor steady: no figure for a seal.

    Parameters
    ----------
    gap_um : float or ndarray
        [um]
    dp_bar : float or ndarray
        Pressure difference over the faces [bar].
    viscosity_mpa_s : float or ndarray
        Of the film [mPa s].
    inner_radius_mm, outer_radius_mm : float or ndarray
        Of the faces [mm].

    Returns
    -------
    ndarray
        [mL/h]: ``pi h^3 dp / (6 mu ln(ro / ri))``.

    Raises
    ------
    InputError
        If an argument is not above 0 or the radii are the wrong way round.

    Examples
    --------
    >>> gaps = np.array([0.5, 1.0, 2.0])
    >>> [f"{q:.1f}" for q in face_leakage_ml_per_h(gaps, 10, 0.5, 26, 29)]
    ['4.3', '34.5', '276.2']

    Source
    ------
    Laminar flow of a liquid between parallel discs, lubrication theory (from memory).
    """
    h, dp, mu, inner, outer = (
        positive(x, name)
        for x, name in (
            (gap_um, "gap_um"),
            (dp_bar, "dp_bar"),
            (viscosity_mpa_s, "viscosity_mpa_s"),
            (inner_radius_mm, "inner_radius_mm"),
            (outer_radius_mm, "outer_radius_mm"),
        )
    )
    if not np.all(outer > inner):
        raise InputError("is not more than the inner radius", where="outer_radius_mm")
    m3_per_s = np.pi * (h * 1e-6) ** 3 * (dp * 1e5) / (6 * (mu * 1e-3) * np.log(outer / inner))
    return np.asarray(m3_per_s * 1e6 * 3_600.0, dtype=np.float64)
