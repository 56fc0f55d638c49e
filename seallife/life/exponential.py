"""How long do seals last, if age does not matter?

In: ages and ends. Out: `ExponentialFits`. Next: comparison with the laws in which age matters.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.life.fewfailures import exact_limits
from seallife.life.lifedata import check_level, read_lives
from seallife.life.result import TableResult, worded_status

__all__ = ["ExponentialFits", "fit_exponential"]


@dataclass(frozen=True, eq=False)
class ExponentialFits(TableResult):
    """Exponential fits of all groups.

    Attributes
    ----------
    table : DataFrame
        Per group: counts, ``exposure``, ``mean`` and ``rate`` with limits, ``loglik``, ``aic``,
        ``status``, ``message``.
    """


def fit_exponential(
    age: ArrayLike,
    failed: ArrayLike,
    *,
    group: ArrayLike | None = None,
    entry_age: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    level: float = 0.90,
    ends_at_failure: bool = False,
) -> ExponentialFits:
    """What is the mean life of each group, if a seal fails as readily old as new?

    Parameters
    ----------
    age, failed, group, entry_age, weight
        As for `fit_weibull`.
    level : float
        Two-sided level; the level of the one-sided lower bound without failures.
    ends_at_failure : bool
        Whether watching ended at the last failure rather than at a set time.

    Returns
    -------
    ExponentialFits

    Raises
    ------
    InputError
        If the data or ``level`` cannot be used.

    Examples
    --------
    >>> row = fit_exponential([400, 400], [1, 1])["all"]
    >>> float(row["mean"]), round(float(row["mean_low"]), 3)
    (400.0, 127.069)

    Source
    ------
    Epstein & Sobel (1953), JASA 48, 486-502: exact chi-square limits of a mean life.
    """
    data = read_lives(age, failed, group=group, entry_age=entry_age, weight=weight)
    check_level(level)
    failures, total = data.count(data.failed), data.exposure()
    low, high = exact_limits(failures, level, ends_at_failure=ends_at_failure)
    some = failures > 0
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        rate = failures / total
        mean = np.where(some, total / failures, np.nan)
        loglik = np.where(some, failures * np.log(rate) - failures, 0.0)
        limits = np.where(total > 0, total * low, np.nan), np.where(some, total, np.nan) * high
        rates = np.where(some, 1 / limits[1], 0.0), 1 / limits[0]
    status = worded_status(
        len(failures),
        [
            (data.count() == 0, "no lives", "No life with a known age in this group."),
            (
                ~some,
                "no failures",
                f"No failure: there is no mean; the lower limit is one-sided at {level:g}.",
            ),
            (failures < 5, "few failures", "Fewer than 5 failures: the limits are wide."),
        ],
    )
    table = pd.DataFrame(
        {
            "group": data.groups.label_list(),
            **data.counts(),
            "mean": mean,
            "mean_low": limits[0],
            "mean_high": limits[1],
            "rate": rate,
            "rate_low": rates[0],
            "rate_high": rates[1],
            "loglik": loglik,
            "aic": 2 - 2 * loglik,
            "status": status[0],
            "message": status[1],
        }
    )
    method = "exponential, exact chi-square limits"
    return ExponentialFits(table, level, method, "Epstein & Sobel (1953), JASA 48, 486-502")
