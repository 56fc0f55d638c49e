"""Do some years bring more failures than others, all over the fleet, beyond chance?

In: lives, the laws of their classes. Out: how alike years are. Next: `seallife.spares.fleetahead`.

A poor crew, a bad lot or an upset strikes many seals at once. What years have differed in the past
is taken to go on: without it ranges of the whole fleet would be too narrow.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from seallife.history.ageshape import likeness_of
from seallife.life.groups import Floats, Ints
from seallife.spares.lawdraws import LawDraws

__all__ = ["likeness_of_years"]

_FEWEST = 4  # years that can tell
_SHORTEST = 0.5  # of a year on record


def likeness_of_years(
    lives: pd.DataFrame,
    place: Ints,
    entry: Floats,
    age: Floats,
    unaged_due: Floats,
    laws: LawDraws,
) -> float:
    """How alike are the years on record, given the ages of the seals that ran in them?

    Parameters
    ----------
    lives : DataFrame, shape (n, ...)
        ``entry``, ``exit``, ``end``.
    place : ndarray of int, shape (n,)
        Number of the class of each life in ``laws``.
    entry, age : ndarray, shape (n,)
        Ages at entry and exit; NaN where the age is not known.
    unaged_due : ndarray, shape (n,)
        Failures due in the whole life of those.
    laws : LawDraws
        One draw: the middle of the laws.

    Returns
    -------
    float
        Shape of the gamma law, mean 1, of what is common to a year; infinite where years scatter
        no more than chance lets them, or fewer than four are on record.
    """
    start, end = lives["entry"].to_numpy("datetime64[D]"), lives["exit"].to_numpy("datetime64[D]")
    if not len(lives):
        return np.inf
    span = np.maximum((end - start).astype(float), 1.0)
    failed = (lives["end"] == "failed").to_numpy()
    last = end.max()
    years = int((last - start.min()).astype(float) // 365)
    had, due = np.zeros((2, max(years, 0)))
    for k in range(years):  # years before the last day, so that each is whole
        high = last - np.timedelta64(365 * k, "D")
        low = high - np.timedelta64(365, "D")
        first, then = (
            np.clip((edge - start).astype(float) / span, 0.0, 1.0) for edge in (low, high)
        )
        some = then > first
        known = some & ~np.isnan(age)
        lived = age[known] - entry[known]
        risk = laws.hazard_between(
            place[known], entry[known] + lived * first[known], entry[known] + lived * then[known]
        )
        due[k] = risk.sum() + (unaged_due * (then - first))[some & ~known].sum()
        had[k] = (failed & (end > low) & (end <= high)).sum()
    told = due > _SHORTEST * due.max(initial=0.0)
    return likeness_of(had[told], due[told]) if told.sum() >= _FEWEST else np.inf
