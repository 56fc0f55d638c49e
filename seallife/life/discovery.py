"""How sure is each of many findings, given that many were looked for?

In: p-values. Out: p-values adjusted for their number. Next: `seallife.life.tablefits`,
`seallife.history`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.life.groups import Floats

__all__ = ["discovery_rate"]


def discovery_rate(p: ArrayLike, *, dependent: bool = False) -> Floats:
    """At which false discovery rate would each finding still be called one?

    Parameters
    ----------
    p : array_like, shape (n,)
        p-values; NaN where nothing was tested, which counts as no test.
    dependent : bool
        Whether the tests lean on each other in whatever way; if not, they are taken as independent
        or alike in direction.

    Returns
    -------
    ndarray, shape (n,)
        Adjusted values, never below ``p``; NaN where ``p`` is.

    Raises
    ------
    InputError
        If a value lies outside 0 to 1.

    Examples
    --------
    >>> discovery_rate([0.01, 0.04, 0.5, float("nan")]).round(3).tolist()
    [0.03, 0.06, 0.5, nan]

    Source
    ------
    Benjamini & Hochberg (1995), JRSS B 57, 289-300; dependent: Benjamini & Yekutieli (2001),
    Annals of Statistics 29, 1165-1188.
    """
    values = np.asarray(p, dtype=np.float64)
    known = np.isfinite(values)
    if ((values[known] < 0) | (values[known] > 1)).any() or np.isinf(values).any():
        raise InputError("must lie between 0 and 1", where="p")
    out = np.full(values.shape, np.nan)
    tested = values[known]
    order = np.argsort(tested, kind="stable")
    m = len(tested)
    rank = np.arange(1, m + 1)
    steps = tested[order] * m / rank * ((1 / rank).sum() if dependent else 1.0)
    least = np.minimum.accumulate(steps[::-1])[::-1]
    adjusted = np.empty(m)
    adjusted[order] = np.minimum(least, 1.0)
    out[known] = adjusted
    return out
