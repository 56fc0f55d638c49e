"""What would positions chosen for their failures have had without the change?

In: failures and time at risk of all positions of the classes before a change. Out: `Shrunk`.
Next: `seallife.history.improvement`.

A position's own record and its class's rate are weighed against each other, so that a run of bad
luck counts for what it is. The record by which positions were chosen can then stay in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from seallife.history.ageshape import likeness_of
from seallife.life.groups import Floats, Ints

__all__ = ["Shrunk", "shrunk_rates"]


@dataclass(frozen=True, eq=False)
class Shrunk:
    """Failure rates of positions, each leaning on its class.

    Attributes
    ----------
    rate, variance : ndarray, shape (n,)
        Mean and variance of the rate of each position; NaN where its class had no time at risk.
    likeness : float
        Shape of the gamma law of rates around the class's; infinite where positions do not differ.
    """

    rate: Floats
    variance: Floats
    likeness: float


def shrunk_rates(failures: Floats, time: Floats, group: Ints) -> Shrunk:
    """Which failure rate has each position, seen as one of its class?

    Parameters
    ----------
    failures, time : ndarray, shape (n,)
        Of all positions of the classes, chosen ones and others, over one time.
    group : ndarray of int, shape (n,)
        Class of each.

    Source
    ------
    Hauer (1997), Observational Before-After Studies in Road Safety, chapter 11 (empirical Bayes);
    here with one gamma shape for all classes, most likely under the negative binomial law.

    Examples
    --------
    >>> got = shrunk_rates(np.array([6.0, 0, 1, 1, 0, 1]), np.full(6, 2.0), np.zeros(6, int))
    >>> bool(0.75 < got.rate[0] < 3.0)
    True
    """
    size = int(group.max(initial=-1)) + 1
    whole = np.bincount(group, time, size)
    seen = whole > 0
    mean = np.bincount(group, failures, size) / np.where(seen, whole, 1.0)
    due = mean[group] * time
    k = likeness_of(failures[due > 0], due[due > 0])
    m = np.where(seen, mean, np.nan)[group]
    if np.isinf(k):
        return Shrunk(m, np.zeros(len(m)), k)
    with np.errstate(invalid="ignore", divide="ignore"):
        # gamma with shape k + failures and rate k / m + time
        return Shrunk(m * (k + failures) / (k + due), m**2 * (k + failures) / (k + due) ** 2, k)
