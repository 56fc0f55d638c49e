"""Do these groups last equally long?

In: ages, ends, groups. Out: `LogRank`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.life.lifedata import read_lives
from seallife.life.result import TableResult

__all__ = ["LogRank", "log_rank"]

_SOURCE = "Mantel (1966); Klein & Moeschberger (1997), Survival Analysis, section 7.3"


@dataclass(frozen=True, eq=False)
class LogRank(TableResult):
    """Log-rank test of equal survival.

    Attributes
    ----------
    table : DataFrame
        Per group: ``n``, ``observed`` failures, ``expected`` if all groups lasted equally long.
    chi2 : float
        Test statistic, hypergeometric variance; NaN where the groups were never at risk together.
    df : int
        Degrees of freedom.
    p : float
        Probability of a statistic this large if the groups last equally long.
    message : str
        Why there is no test, or nothing.
    """

    chi2: float
    df: int
    p: float
    message: str


def log_rank(
    age: ArrayLike,
    failed: ArrayLike,
    group: ArrayLike,
    *,
    entry_age: ArrayLike | None = None,
    weight: ArrayLike | None = None,
) -> LogRank:
    """Do the groups last equally long, beyond chance?

    Parameters
    ----------
    age : array_like, shape (n,)
        Age at failure or at the end of observation.
    failed : array_like of bool, shape (n,)
        Whether the life ended in failure.
    group : array_like, shape (n,)
        Class of each life, two classes or more.
    entry_age : array_like, shape (n,), optional
        Age at which watching began.
    weight : array_like, shape (n,), optional
        Number of lives each row stands for.

    Returns
    -------
    LogRank

    Raises
    ------
    InputError
        If the data cannot be used or hold fewer than two groups.

    Examples
    --------
    >>> test = log_rank([1, 2, 3, 4, 5, 6], [1, 1, 1, 1, 1, 1], list("aaabbb"))
    >>> test.df, round(test.chi2, 3)
    (1, 5.052)

    Source
    ------
    Klein & Moeschberger (1997), Survival Analysis, eq. 7.3.3 and 7.3.4.
    """
    from scipy.special import gammaincc

    data = read_lives(age, failed, group=group, entry_age=entry_age, weight=weight)
    groups = data.groups
    if len(groups) < 2:
        raise InputError("holds one label", where="group", hint="give two groups or more")
    weights = np.ones(len(data.age)) if data.weight is None else data.weight
    times = np.unique(data.age[data.failed])
    risk, died = np.zeros((len(groups), len(times))), np.zeros((len(groups), len(times)))
    for g in range(len(groups)):
        rows = slice(groups.offsets[g], groups.offsets[g + 1])
        ages, w, ends = data.age[rows], weights[rows], data.failed[rows]
        entry = np.zeros(len(ages)) if data.entry is None else data.entry[rows]
        risk[g] = _below(entry, w, times) - _below(ages, w, times)
        np.add.at(died[g], np.searchsorted(times, ages[ends]), w[ends])
    n, d = risk.sum(axis=0), died.sum(axis=0)
    share = risk / n
    expected = share * d
    spread = np.where(n > 1, d * (n - d) / np.maximum(n - 1, 1e-300), 0.0)
    variance = np.diag((share * spread).sum(axis=1)) - (share * spread) @ share.T
    observed = died.sum(axis=1)
    gap = observed - expected.sum(axis=1)
    rank = int(np.linalg.matrix_rank(variance)) if variance.any() else 0
    chi2 = p = np.nan
    message = "The groups were never at risk together: there is nothing to compare."
    if rank:
        chi2 = float(gap @ np.linalg.pinv(variance, hermitian=True) @ gap)
        p, message = float(gammaincc(rank / 2, chi2 / 2)), ""
    table = pd.DataFrame(
        {
            "group": groups.label_list(),
            "n": data.count(),
            "observed": observed,
            "expected": expected.sum(axis=1),
        }
    )
    # no interval is reported, so no level is used
    return LogRank(table, np.nan, "log-rank test", _SOURCE, chi2, rank, p, message)


def _below(
    values: ArrayLike, weight: ArrayLike, times: ArrayLike
) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Weight of values below each time."""
    v, w = np.asarray(values, dtype=np.float64), np.asarray(weight, dtype=np.float64)
    order = np.argsort(v, kind="stable")
    total = np.concatenate(([0.0], np.cumsum(w[order])))
    return np.asarray(total[np.searchsorted(v[order], times, side="left")], dtype=np.float64)
