"""How long do the seals of each class last, if the logs of their lives are normal?

In: ages and ends. Out: `LognormalFits`. Next: comparison with the Weibull law.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from seallife.life.estimates import Estimates, likelihood_intervals, tables
from seallife.life.groups import Floats
from seallife.life.lifedata import check_level, read_lives, unbounded
from seallife.life.locationscale import LocationScale, normal_noise
from seallife.life.quantities import (
    check_ages,
    check_shares,
    log_lognormal_mean,
    log_sigma_itself,
    quantile,
    standard_age,
)
from seallife.life.region import likelihood_drop
from seallife.life.result import TableResult, worded_status
from seallife.life.weibull import FEW_FAILURES

__all__ = ["LognormalFits", "fit_lognormal"]

_METHOD = "lognormal, maximum likelihood, likelihood-ratio intervals"
_SOURCE = "Meeker & Escobar (1998), Statistical Methods for Reliability Data, chapters 8 and 11"
_SIGMA_RANGE = (0.01, 100.0)


@dataclass(frozen=True, eq=False)
class LognormalFits(TableResult):
    """Lognormal fits of all groups.

    Attributes
    ----------
    table : DataFrame
        Per group: counts; ``sigma``, ``median``, ``b10``, ``mean``, each with ``_low`` and
        ``_high``; ``sd``; ``mu`` = log median, ``se_mu``, ``se_sigma`` from the observed
        information; ``loglik``, ``aic``, ``status``, ``message``.
    survival : DataFrame
        ``group``, ``age``, ``survival``, ``low``, ``high`` at the ages asked for.
    """

    survival: pd.DataFrame


def fit_lognormal(
    age: ArrayLike,
    failed: ArrayLike,
    *,
    group: ArrayLike | None = None,
    entry_age: ArrayLike | None = None,
    age_low: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    level: float = 0.90,
    survival_at: Sequence[float] | NDArray[Any] = (),
    fractions: Sequence[float] = (0.10, 0.50),
    intervals: bool = True,
) -> LognormalFits:
    """Which lognormal law do the lives of each group follow, and how sure is that?

    Parameters
    ----------
    age, failed, group, entry_age, age_low, weight, level, survival_at, fractions, intervals
        As for `fit_weibull`.

    Returns
    -------
    LognormalFits

    Raises
    ------
    InputError
        If the data, ``level``, ``fractions`` or ``survival_at`` cannot be used.

    Examples
    --------
    >>> fits = fit_lognormal([54, 187, 216, 240, 500, 500], [1, 1, 1, 1, 0, 0])
    >>> round(float(fits["all"]["mu"]), 3), round(float(fits["all"]["sigma"]), 3)
    (5.637, 1.049)

    Source
    ------
    Meeker & Escobar (1998), Statistical Methods for Reliability Data, sections 8.4 and 11.5.
    """
    data = read_lives(age, failed, group=group, entry_age=entry_age, age_low=age_low, weight=weight)
    check_level(level)
    shares, ages = check_shares(fractions), check_ages(survival_at)
    failures, endless = data.count(data.failed), unbounded(data)
    wanted = (failures > 0) & ~endless
    found = Estimates.empty(len(wanted), 3 + len(shares) + len(ages))
    if wanted.any():
        from scipy.special import ndtri

        surface = LocationScale.of(data.take(wanted), normal_noise)
        start = np.zeros(int(wanted.sum()))
        top = surface.climb(start, start - 0.5, (np.log(_SIGMA_RANGE[0]), np.log(_SIGMA_RANGE[1])))
        quantities = [
            log_sigma_itself,
            quantile(0.0),
            log_lognormal_mean,
            *(quantile(float(k)) for k in ndtri(shares)),
            *(standard_age(np.log(a) - surface.centre) for a in ages),
        ]
        drop = likelihood_drop(level) if intervals else None
        found.put(wanted, likelihood_intervals(surface, top, quantities, 3 + len(shares), drop))
    status = _status(found, data.count(), failures, wanted, intervals)
    table, survival = tables(
        data, found, shares, ages, ("sigma", "median"), _lognormal_point, status
    )
    return LognormalFits(table, level, _METHOD, _SOURCE, survival)


def _lognormal_point(log_sigma: Floats, mu: Floats, shares: Floats, ages: Floats) -> dict[str, Any]:
    """Point estimates from the parameters: what the columns hold between their limits."""
    from scipy.special import ndtr, ndtri

    sigma = np.exp(log_sigma)
    with np.errstate(over="ignore"):
        mean = np.exp(mu + sigma**2 / 2)
        return {
            "sigma": sigma,
            "median": np.exp(mu),
            "mean": mean,
            "sd": mean * np.sqrt(np.expm1(sigma**2)),
            "quantiles": np.exp(mu[:, None] + sigma[:, None] * ndtri(shares)),
            "survival": ndtr(-(np.log(ages) - mu[:, None]) / sigma[:, None]),
            "to_survival": lambda z: ndtr(-z),
            "to_first": np.exp,
            "more": lambda covariance: {
                "mu": mu,
                "se_mu": np.sqrt(covariance[:, 2]),
                "se_sigma": sigma * np.sqrt(covariance[:, 0]),
            },
        }


def _status(
    found: Estimates,
    n: Floats,
    failures: Floats,
    wanted: NDArray[np.bool_],
    intervals: bool,
) -> tuple[list[str], list[str]]:
    """Say of each group what its row is worth."""
    open_region = found.found & intervals & ~np.isfinite(found.low[:, :3]).all(axis=1)
    return worded_status(
        len(failures),
        [
            (n == 0, "no lives", "No life with a known age in this group."),
            (failures == 0, "no failures", "No failure: neither median nor spread can be told."),
            (
                ~wanted | (found.at_edge & ~found.found),
                "at bound",
                "A narrower spread of lives always fits better; no figures are returned.",
            ),
            (
                ~found.found,
                "not converged",
                "The likelihood has no clear top; no figures are returned. Look at the recorded "
                "ages.",
            ),
            (
                open_region,
                "interval open",
                "The data set no limit on one side: limits that do not exist are left out.",
            ),
            (
                failures < FEW_FAILURES,
                "few failures",
                f"Fewer than {FEW_FAILURES} failures: the figures are guesses and the intervals "
                "too short.",
            ),
        ],
    )
