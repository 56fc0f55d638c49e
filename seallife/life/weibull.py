"""How long do the seals of each class last, if their lives follow a Weibull law?

In: ages and ends. Out: `WeibullFits`. Next: figures, spares, report.

    S(t) = exp(-(t / scale) ** shape)

All groups are fitted at once. A group with exact ages needs one number per shape from its data
(`seallife.life.powersums`); a group with interval ends is climbed on its rows
(`seallife.life.locationscale`). Both are in `seallife.life.weibullfit`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from seallife.life.estimates import Estimates, hazard_table, tables
from seallife.life.groups import Floats
from seallife.life.lifedata import LifeData, check_level, read_lives, unbounded
from seallife.life.profile import SHAPE_RANGE
from seallife.life.quantities import check_ages, check_shares
from seallife.life.region import likelihood_drop
from seallife.life.result import TableResult, worded_status
from seallife.life.weibullfit import Asked, calibrate, fit_exact, fit_rows

__all__ = ["FEW_FAILURES", "WeibullFits", "fit_weibull", "weibull_point"]

FEW_FAILURES = 5
"""Below this many failures a fit is shown but marked."""

_MANY = 200  # failures from which on intervals need no calibration

_AT_ONCE = 250  # groups whose resamples are held

_METHOD = "Weibull, maximum likelihood, likelihood-ratio intervals"
_SOURCE = "Meeker & Escobar (1998), Statistical Methods for Reliability Data, chapters 8 and 11"


@dataclass(frozen=True, eq=False)
class WeibullFits(TableResult):
    """Weibull fits of all groups.

    Attributes
    ----------
    table : DataFrame
        Per group: ``n``, ``failures``, ``censored``, ``entered_late``, ``exposure``,
        ``oldest_age``; ``shape``, ``scale``, ``b10``, ``b50`` (median), ``mean``, each with
        ``_low`` and ``_high``; where calibrated ``shape_corrected``, of which the fitted shape
        would be typical (the bias of few failures taken off), and ``resamples`` used; ``sd``;
        standard errors and covariance of log scale and log shape from the observed information;
        ``loglik``, ``aic``, ``status``, ``message``. Ages are in the caller's unit.
    survival : DataFrame
        ``group``, ``age``, ``survival``, ``low``, ``high`` at the ages asked for.
    hazard : DataFrame
        ``group``, ``age``, ``hazard``, ``low``, ``high``, likewise: see `weibull_hazard`.
    """

    survival: pd.DataFrame
    hazard: pd.DataFrame = field(default_factory=pd.DataFrame)


def fit_weibull(
    age: ArrayLike,
    failed: ArrayLike,
    *,
    group: ArrayLike | None = None,
    entry_age: ArrayLike | None = None,
    age_low: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    fixed_shape: float | None = None,
    level: float = 0.90,
    survival_at: Sequence[float] | NDArray[Any] = (),
    hazard_at: Sequence[float] | NDArray[Any] = (),
    fractions: Sequence[float] = (0.10, 0.50),
    intervals: bool = True,
    resamples: int = 0,
    seed: int = 1,
) -> WeibullFits:
    """Which Weibull law do the lives of each group follow, and how sure is that?

    Parameters
    ----------
    age : array_like, shape (n,)
        Age at failure or at the end of observation, any one unit.
    failed : array_like of bool, shape (n,)
        Whether the life ended in failure; a life withdrawn in good order did not.
    group : array_like, shape (n,), optional
        Class of each life.
    entry_age : array_like, shape (n,), optional
        Age at which watching began, 0 from new. Lives that ended before records began cannot be
        in the data, and the likelihood allows for that.
    age_low : array_like, shape (n,), optional
        For a failure known only to lie in ``(age_low, age]``; NaN for an exact age.
    weight : array_like, shape (n,), optional
        Number of lives each row stands for.
    fixed_shape : float, optional
        Take the shape as known; see `seallife.life.fewfailures`.
    level : float
        Two-sided confidence level.
    survival_at : sequence of float
        Ages at which the share still running is wanted.
    hazard_at : sequence of float
        Ages at which the failure rate is wanted; not used with a fixed shape.
    fractions : sequence of float
        Shares failed whose ages are wanted: 0.10 gives the column ``b10``.
    intervals : bool
        False leaves all limits NaN and saves most of the time.
    resamples, seed : int
        Resamples with which the intervals of few failures are calibrated, see
        `seallife.life.calibration`; 0 for plain likelihood-ratio intervals. Classes of 200 failures
        and more need none; not used with a fixed shape, whose limits are exact, nor with weights
        that are no whole numbers.

    Returns
    -------
    WeibullFits
        One row per group in the order of the labels, whatever its status.

    Raises
    ------
    InputError
        If the data, ``level``, ``fractions`` or ``survival_at`` cannot be used.

    Notes
    -----
    Intervals take the least and greatest value of a quantity over the region of parameters whose
    likelihood ratio stays within the chi-square limit with 1 degree of freedom. A limit that does
    not exist is NaN and the message says why.

    Examples
    --------
    >>> fits = fit_weibull([54, 187, 216, 240, 500, 500], [1, 1, 1, 1, 0, 0])
    >>> row = fits["all"]
    >>> round(float(row["shape"]), 3), round(float(row["scale"]), 1), row["status"]
    (1.175, 411.7, 'few failures')

    Source
    ------
    Meeker & Escobar (1998), Statistical Methods for Reliability Data, eq. 8.1 (right censoring),
    8.7 (likelihood-ratio regions), 11.3 (late entry).
    """
    data = read_lives(age, failed, group=group, entry_age=entry_age, age_low=age_low, weight=weight)
    check_level(level)
    shares, ages, rate_ages = (
        check_shares(fractions),
        check_ages(survival_at),
        check_ages(hazard_at),
    )
    if fixed_shape is not None:
        from seallife.life.fewfailures import fixed_shape_fit

        return fixed_shape_fit(data, fixed_shape, level, ages, shares)
    asked = Asked(shares, np.log(ages), np.log(rate_ages))
    resamples = resamples if intervals else 0
    found, status, typical, used = _estimate(data, asked, level, resamples, seed, intervals)
    table, survival = tables(data, found, shares, ages, ("shape", "scale"), weibull_point, status)
    method = _METHOD
    if resamples:
        table.insert(table.columns.tolist().index("scale"), "shape_corrected", np.exp(-typical))
        table["resamples"] = used
        method += f" calibrated by {resamples} resamples (seed {seed})"
    rates = (v[:, asked.plain :] for v in (asked.at(found), found.low, found.high))
    hazard = hazard_table(data.groups.label_list(), rate_ages, *rates)
    return WeibullFits(table, level, method, _SOURCE, survival, hazard)


def _estimate(
    data: LifeData, asked: Asked, level: float, resamples: int, seed: int, intervals: bool = True
) -> tuple[Estimates, tuple[list[str], list[str]], Floats, NDArray[np.int64]]:
    """Fit checked lives: fits, status and message, and what `calibrate` returns."""
    failures, endless = data.count(data.failed), unbounded(data)
    wanted = (failures >= 2) & ~endless
    found = Estimates.empty(len(wanted), asked.width)
    interval = (
        np.zeros(len(wanted), bool) if data.low is None else data.groups.sum(data.interval) > 0
    )
    drop = likelihood_drop(level) if intervals else None
    for rows, fit in ((wanted & ~interval, fit_exact), (wanted & interval, fit_rows)):
        if rows.any():
            found.put(rows, fit(data.take(rows), asked, drop))
    status = _status(found, data.count(), failures, endless, wanted, intervals)
    return found, status, *_calibrated(data, found, asked, level, resamples, seed)


def _calibrated(
    data: LifeData, found: Estimates, asked: Asked, level: float, resamples: int, seed: int
) -> tuple[Floats, NDArray[np.int64]]:
    """Calibrate the limits of the groups that have a fit; see `seallife.life.weibullfit`."""
    typical, used = found.log_sigma.copy(), np.zeros(len(found.mu), np.int64)
    whole = data.weight is None or bool(np.all(data.weight == np.rint(data.weight)))
    # where failures are many, calibration moves limits by less than resampling scatters them
    wanted = found.found & (data.count(data.failed) < _MANY)
    at = np.flatnonzero(wanted)
    if not (resamples and whole and len(at)):
        return typical, used
    for some in np.split(at, range(_AT_ONCE, len(at), _AT_ONCE)):
        part, lives = found.take(some), data.take(np.isin(np.arange(len(wanted)), some))
        typical[some], used[some] = calibrate(lives, part, asked, level, resamples, seed)
        found.low[some], found.high[some] = part.low, part.high
    return typical, used


def weibull_point(log_sigma: Floats, mu: Floats, shares: Floats, ages: Floats) -> dict[str, Any]:
    """Point estimates from the parameters: what the columns hold between their limits."""
    from scipy.special import gamma

    sigma = np.exp(log_sigma)
    mean = gamma(1 + sigma)
    with np.errstate(over="ignore", invalid="ignore"):
        spread = np.sqrt(np.maximum(gamma(1 + 2 * sigma) - mean**2, 0.0))
    noise = np.log(-np.log1p(-shares))
    with np.errstate(over="ignore"):
        z = (np.log(ages) - mu[:, None]) / sigma[:, None]
        return {
            "shape": 1 / sigma,
            "scale": np.exp(mu),
            "mean": np.exp(mu) * mean,
            # of a shape near 0.01 it is larger than any number
            "sd": np.exp(mu) * np.where(np.isfinite(spread), spread, np.nan),
            "quantiles": np.exp(mu[:, None] + sigma[:, None] * noise),
            "survival": np.exp(-np.exp(z)),
            "to_survival": lambda z: np.exp(-np.exp(z)),
            "to_first": lambda log_sigma: np.exp(-log_sigma),
            "more": lambda covariance: {
                "se_log_shape": np.sqrt(covariance[:, 0]),
                "se_log_scale": np.sqrt(covariance[:, 2]),
                "cov_log_shape_scale": -covariance[:, 1],
            },
        }


def _status(
    found: Estimates,
    n: Floats,
    failures: Floats,
    endless: NDArray[np.bool_],
    wanted: NDArray[np.bool_],
    intervals: bool,
) -> tuple[list[str], list[str]]:
    """Say of each group what its row is worth."""
    open_region = found.found & intervals & ~np.isfinite(found.low[:, 1:3]).all(axis=1)
    few = found.found & (failures < FEW_FAILURES)
    steep = "any steeper shape fits better still"
    return worded_status(
        len(failures),
        [
            (n == 0, "no lives", "No life with a known age in this group."),
            (
                failures == 0,
                "no failures",
                "No failure: neither shape nor scale can be told; give fixed_shape for a lower "
                "bound.",
            ),
            (
                failures < 2,
                "few failures",
                "A single failure cannot tell a shape; none is returned. Give fixed_shape.",
            ),
            (
                endless,
                "at bound",
                f"All failures came at the oldest age, so {steep}; no shape is returned. Give "
                "fixed_shape.",
            ),
            (
                found.at_edge & ~found.found,
                "at bound",
                f"The best shape lies outside {SHAPE_RANGE[0]:g} to {SHAPE_RANGE[1]:g}, which no "
                "data of lives can show; no shape is returned. Look at the recorded ages.",
            ),
            (
                wanted & ~found.found,
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
                few,
                "few failures",
                f"Fewer than {FEW_FAILURES} failures: the shape is a guess and pulled upward, the "
                "intervals are too short; compare with a fixed shape.",
            ),
        ],
    )
