"""From drops to a rate: what a count at the gland amounts to.

In: counts. Out: rates. Next: later analyses of leakage.
"""

from __future__ import annotations

from typing import overload

import numpy as np
import numpy.typing as npt

from seallife.errors import InputError

__all__ = ["WATER_DROP_ML", "drops_to_ml_per_h", "ml_to_g_per_h"]

WATER_DROP_ML = 0.05
"""Volume of one drop of water [mL], 20 drops = 1 mL (pharmacopoeial convention, from memory)."""

Floats = npt.NDArray[np.float64]


@overload
def drops_to_ml_per_h(drops_per_min: float, drop_ml: float = ...) -> float: ...
@overload
def drops_to_ml_per_h(drops_per_min: Floats, drop_ml: float = ...) -> Floats: ...
def drops_to_ml_per_h(
    drops_per_min: float | Floats, drop_ml: float = WATER_DROP_ML
) -> float | Floats:
    """How much is a leak counted in drops?

    Parameters
    ----------
    drops_per_min : float or ndarray
        [1/min]
    drop_ml : float
        Volume of one drop [mL]. Hydrocarbons form smaller drops, about 0.02 to 0.035 mL (from
        memory): the size follows surface tension. Part of a leak evaporates before it drops.

    Returns
    -------
    float or ndarray
        [mL/h]

    Raises
    ------
    InputError
        A drop without volume.

    Examples
    --------
    >>> drops_to_ml_per_h(1.0)
    3.0
    """
    if not drop_ml > 0:
        raise InputError(f"is {drop_ml}, not a volume above zero", where="drop_ml")
    return drops_per_min * drop_ml * 60.0


def ml_to_g_per_h(ml_per_h: float, density: float) -> float:
    """What does a leak weigh?

    Parameters
    ----------
    ml_per_h : float
        [mL/h]
    density : float
        [g/mL] at the temperature of the leak, not of the pump.

    Returns
    -------
    float
        [g/h]
    """
    if not density > 0:
        raise InputError(f"is {density}, not a density above zero", where="density")
    return ml_per_h * density
