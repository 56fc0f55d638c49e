"""What can be said with none, one or few failures, if the shape is taken from elsewhere?

In: lives and a shape known from like seals. Out: scale with exact limits, or a lower bound.

With the shape b fixed, t^b is an exponential life: the total of t^b on test decides the scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError
from seallife.life.estimates import Estimates, tables
from seallife.life.groups import Floats
from seallife.life.lifedata import LifeData
from seallife.life.powersums import power_sums
from seallife.life.result import worded_status

if TYPE_CHECKING:
    from seallife.life.weibull import WeibullFits

__all__ = ["exact_limits", "fit_fixed_shape", "fixed_shape_fit"]

_SOURCE = "Nelson (1985), J. Quality Technology 17, 140-146; Epstein & Sobel (1953)"


def fit_fixed_shape(
    age: ArrayLike,
    failed: ArrayLike,
    shape: float,
    *,
    group: ArrayLike | None = None,
    entry_age: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    level: float = 0.90,
    survival_at: Sequence[float] | NDArray[Any] = (),
    fractions: Sequence[float] = (0.10, 0.50),
) -> WeibullFits:
    """How long do seals last, if the shape of their wear is known from elsewhere?

    Parameters
    ----------
    age, failed, group, entry_age, weight, survival_at, fractions
        As for `fit_weibull`.
    shape : float
        Weibull shape, from like seals; the answer is only as good as this.
    level : float
        Two-sided level of the limits; the level of the one-sided lower bound without failures.

    Returns
    -------
    WeibullFits
        Without failures there is no scale: ``scale_low`` and what follows from it are one-sided
        lower bounds. ``scale_if_one_failed`` is the scale if one seal were about to fail.

    Raises
    ------
    InputError
        If the data or the shape cannot be used.

    Notes
    -----
    Limits are exact chi-square limits on scale^shape, with 2r + 2 degrees of freedom for the lower
    one, as observation ends at a set time and not at a failure.

    Examples
    --------
    >>> fits = fit_fixed_shape([2000.0] * 10, [False] * 10, 2.0)
    >>> row = fits["all"]
    >>> row["status"], round(float(row["scale_low"]), 1)
    ('no failures', 4167.9)

    Source
    ------
    Nelson (1985), Weibull analysis of reliability data with few or no failures, Journal of
    Quality Technology 17, 140-146.
    """
    from seallife.life.weibull import fit_weibull

    return fit_weibull(
        age,
        failed,
        group=group,
        entry_age=entry_age,
        weight=weight,
        fixed_shape=shape,
        level=level,
        survival_at=survival_at,
        fractions=fractions,
    )


def fixed_shape_fit(
    data: LifeData, shape: float, level: float, ages: Floats, shares: Floats
) -> WeibullFits:
    """Fit checked lives with a fixed shape; the work of `fit_fixed_shape`."""
    from seallife.life.quantities import log_weibull_mean
    from seallife.life.weibull import WeibullFits, weibull_point

    if not (np.isfinite(shape) and shape > 0):
        raise InputError(f"is {shape!r}", where="fixed_shape", hint="give a shape such as 1.4")
    if data.low is not None:
        raise InputError(
            "is not used with a fixed shape", where="age_low", hint="give the middle age instead"
        )
    sums = power_sums(data)
    b = float(shape)
    with np.errstate(divide="ignore", invalid="ignore"):
        total = np.log(sums.sums(np.full(len(sums.centre), b))[0])  # of scale^b, centred
    r, centre, lives = sums.failures, sums.centre, data.count() > 0
    out = Estimates.empty(len(r), 3 + len(shares) + len(ages))
    out.found[:] = r > 0
    log_r = np.log(np.where(r > 0, r, np.nan))
    out.log_sigma[:] = np.where(lives, -np.log(b), np.nan)
    out.mu[:] = (total - log_r) / b + centre
    out.loglik[:] = (
        r * np.log(b)
        + r * (log_r - total)
        + b * sums.log_age_sum
        - r
        - sums.log_age_sum
        - r * centre
    )
    out.loglik[lives & (r == 0)] = 0.0
    out.covariance[:, 0], out.covariance[:, 2] = 0.0, np.exp(-log_r) / b**2
    out.covariance[:, 1] = 0.0
    low, high = exact_limits(r, level)
    tau = np.full((1, 1), -np.log(b))
    mean = float(log_weibull_mean(tau, np.zeros((1, 1)))[0][0, 0])
    noise = np.log(-np.log1p(-shares)) / b
    for side, factor in ((out.low, low), (out.high, high)):
        with np.errstate(divide="ignore", invalid="ignore"):
            mu = np.where(lives, (total + np.log(factor)) / b + centre, np.nan)
        mu = np.where(np.isfinite(mu), mu, np.nan)
        side[:, 1], side[:, 2] = mu, mu + mean
        side[:, 3 : 3 + len(shares)] = mu[:, None] + noise
        # a long scale means a low standard age
        z = (np.log(ages) - mu[:, None]) * b
        (out.high if side is out.low else out.low)[:, 3 + len(shares) :] = z
    table, survival = tables(
        data, out, shares, ages, ("shape", "scale"), weibull_point, _status(data, r, level)
    )
    table["aic"] = 2 - 2 * table["loglik"]
    table.insert(
        table.columns.tolist().index("loglik"), "scale_if_one_failed", np.exp(total / b + centre)
    )
    method = f"Weibull with fixed shape {b:g}, exact chi-square limits"
    return WeibullFits(table, level, method, _SOURCE, survival)


def exact_limits(
    failures: ArrayLike, level: float, *, ends_at_failure: bool = False
) -> tuple[Floats, Floats]:
    """Limits of a mean life as multiples of the total exposure, exact for exponential lives.

    Parameters
    ----------
    failures : array_like, shape (g,)
        Number of failures.
    level : float
        Two-sided level; without failures the level of the one-sided lower bound.
    ends_at_failure : bool
        Whether watching ended at the last failure rather than at a set time.

    Returns
    -------
    low, high : ndarray, shape (g,)
        High is inf without failures: then there is no upper bound.

    Examples
    --------
    >>> low, high = exact_limits([2], 0.90)
    >>> round(800 * float(low[0]), 4), round(800 * float(high[0]), 3)
    (127.069, 2251.229)

    Source
    ------
    Epstein & Sobel (1953), JASA 48, 486-502.
    """
    from scipy.special import gammaincinv

    r = np.asarray(failures, dtype=np.float64)
    one, some = np.where(r > 0, r, 1.0), r > 0
    extra = 0.0 if ends_at_failure else 1.0
    low = 1 / gammaincinv(one + np.where(some, extra, 0.0), (1 + level) / 2)
    low = np.where(some, low, -1 / np.log1p(-level))
    return low, np.where(some, 1 / gammaincinv(one, (1 - level) / 2), np.inf)


def _status(data: LifeData, r: Floats, level: float) -> tuple[list[str], list[str]]:
    """Say what a row with a fixed shape is worth."""
    return worded_status(
        len(r),
        [
            (data.count() == 0, "no lives", "No life with a known age in this group."),
            (
                r == 0,
                "no failures",
                f"No failure: there is no scale; the lower limits are one-sided at {level:g} and "
                "hold only if the fixed shape does.",
            ),
            (
                r < 5,
                "few failures",
                "Fewer than 5 failures: the limits hold only if the fixed shape does.",
            ),
        ],
    )
