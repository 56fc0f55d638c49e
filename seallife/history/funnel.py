"""How far may a count lie from what is expected, by chance alone?

In: expected counts. Out: limits of the ratio observed over expected. Next:
`seallife.history.standouts`, figures.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
import numpy.typing as npt

from seallife.errors import InputError

__all__ = ["funnel_limits"]

Floats = npt.NDArray[np.float64]


def funnel_limits(
    expected: npt.ArrayLike,
    level: float = 0.90,
    *,
    method: Literal["interpolated", "chi-square"] = "interpolated",
    dispersion: float = 1.0,
) -> tuple[Floats, Floats]:
    """Between which ratios of observed over expected does chance alone leave a count?

    Parameters
    ----------
    expected : array_like, shape (n,)
        Expected counts, above 0.
    level : float
        Two-sided level.
    method : {'interpolated', 'chi-square'}
        'interpolated': limits of the count, read between the steps of the Poisson law.
        'chi-square': exact limits of the mean, given a count of ``expected``; wider.
    dispersion : float
        Variance of a count over its mean: 1 for the Poisson law, less where failures come more
        regularly.

    Returns
    -------
    low, high : ndarray, shape (n,)
        Never below 0.

    Raises
    ------
    InputError
        If ``expected``, ``level``, ``method`` or ``dispersion`` cannot be used.

    Examples
    --------
    >>> low, high = funnel_limits([20.0], 0.95)
    >>> low.round(3).tolist(), high.round(3).tolist()
    ([0.56], [1.437])

    Source
    ------
    Spiegelhalter (2005), Statistics in Medicine 24, 1185-1202, appendix A.1.1.
    """
    from scipy.special import chdtri, pdtr, pdtrik

    mean = np.asarray(expected, dtype=np.float64)
    if (~np.isfinite(mean) | (mean <= 0)).any():
        raise InputError("must be above 0", where="expected", hint="leave out what has no exposure")
    if not 0 < level < 1:
        raise InputError(f"is {level!r}", where="level", hint="give a share such as 0.90")
    if not (np.isfinite(dispersion) and dispersion > 0):
        raise InputError(f"is {dispersion!r}", where="dispersion", hint="give a number above 0")
    if method not in ("interpolated", "chi-square"):
        raise InputError(f"is {method!r}", where="method", hint="use 'interpolated'")
    mean = mean / dispersion
    alpha = (1 - level) / 2
    if method == "chi-square":
        return (
            chdtri(2 * mean, 1 - alpha) / (2 * mean),
            chdtri(2 * (mean + 1), alpha) / (2 * mean),
        )
    limits = []
    for share in (alpha, 1 - alpha):
        first = np.maximum(np.ceil(np.nan_to_num(pdtrik(share, mean)) - 1e-9), 0)
        # the inverse is continuous: one count less may do already
        less = np.maximum(first - 1, 0)
        first = np.where(pdtr(less, mean) >= share, less, first)
        reached = pdtr(first, mean)
        below = np.where(first > 0, pdtr(np.maximum(first - 1, 0), mean), 0.0)
        limits.append((first - (reached - share) / (reached - below)) / mean)
    return np.maximum(limits[0], 0.0), limits[1]
