"""Where do the points of a probability plot lie, and which line runs through them?

In: ages and ends of one group. Out: `RankLine`, for a plot. Never for inference: the line weighs
all points alike, knows nothing of late entry, and has no honest interval. Fits come from
`seallife.life.weibull`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.life.lifedata import read_lives

__all__ = ["RankLine", "rank_line"]


@dataclass(frozen=True, eq=False)
class RankLine:
    """Points and line of a Weibull probability plot.

    Attributes
    ----------
    table : DataFrame
        Per failure: ``age``, ``rank`` (adjusted for censored lives), ``failed`` (plotting
        position), ``log10_age``, ``log10_hazard`` = log10(-ln(1 - failed)).
    shape, scale : float
        Weibull parameters of the line.
    intercept : float
        Of log10 hazard on log10 age.
    r2 : float
        Squared correlation of the points.
    method : str
        Ranks and direction.
    source : str
        Where it is described.
    """

    table: pd.DataFrame
    shape: float
    scale: float
    intercept: float
    r2: float
    method: str
    source: str


def rank_line(
    age: ArrayLike,
    failed: ArrayLike,
    *,
    ranks: Literal["benard", "median"] = "benard",
    regress: Literal["y on x", "x on y"] = "y on x",
) -> RankLine:
    """Which line runs through the points of a Weibull probability plot?

    For the plot only, never for inference: use `fit_weibull` for any figure that is relied on.

    Parameters
    ----------
    age : array_like, shape (n,)
        Age at failure or at the end of observation.
    failed : array_like of bool, shape (n,)
        Whether the life ended in failure.
    ranks : {'benard', 'median'}
        Benard's (i - 0.3) / (n + 0.4), or exact median ranks.
    regress : {'y on x', 'x on y'}
        Least squares in the vertical or in the horizontal.

    Returns
    -------
    RankLine

    Raises
    ------
    InputError
        If the data cannot be used, or fewer than two failures have different ages.

    Examples
    --------
    >>> line = rank_line([10, 20, 30, 30], [1, 1, 1, 0])
    >>> round(line.shape, 3)
    1.544

    Source
    ------
    Benard & Bos-Levenbach (1953); Johnson (1964), The Statistical Treatment of Fatigue Experiments
    (ranks adjusted for censored lives); NIST/SEMATECH e-Handbook, section 8.2.2.1.
    """
    from scipy.special import betaincinv

    if ranks not in ("benard", "median"):
        raise InputError(f"is {ranks!r}", where="ranks", hint="use 'benard' or 'median'")
    if regress not in ("y on x", "x on y"):
        raise InputError(f"is {regress!r}", where="regress", hint="use 'y on x' or 'x on y'")
    data = read_lives(age, failed)
    n = len(data.age)
    # a failure at the same age as a censored life came before it
    order = np.lexsort((~data.failed, data.age))
    ages, ends = data.age[order], data.failed[order]
    at = np.flatnonzero(ends)
    if len(np.unique(ages[at])) < 2:
        raise InputError(
            "has fewer than two failures of different age", where="age", hint="no line can be drawn"
        )
    # with k lives from here on, each failure takes 1 / (k + 1) of the ranks that are left
    left = np.cumprod(np.where(ends, (n - np.arange(n)) / (n - np.arange(n) + 1), 1.0))
    rank = (n + 1) * (1 - left[at])
    benard = ranks == "benard"
    share = (rank - 0.3) / (n + 0.4) if benard else betaincinv(rank, n - rank + 1, 0.5)
    x, y = np.log10(ages[at]), np.log10(-np.log1p(-share))
    dx, dy = x - x.mean(), y - y.mean()
    slope = dx @ dy / (dx @ dx) if regress == "y on x" else dy @ dy / (dx @ dy)
    intercept = y.mean() - slope * x.mean()
    table = pd.DataFrame(
        {"age": ages[at], "rank": rank, "failed": share, "log10_age": x, "log10_hazard": y}
    )
    return RankLine(
        table,
        float(slope),
        float(10 ** (-intercept / slope)),
        float(intercept),
        float((dx @ dy) ** 2 / ((dx @ dx) * (dy @ dy))),
        f"{ranks} ranks, {regress}; for the plot only",
        "NIST/SEMATECH e-Handbook of Statistical Methods, section 8.2.2.1",
    )
