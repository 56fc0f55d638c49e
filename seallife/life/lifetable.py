"""What do counts by age band say about life?

In: counts or lives, and the edges of the bands. Out: tables. For records that keep only counts,
and for rates by age.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.life.groups import Floats
from seallife.life.lifedata import check_level, read_lives

__all__ = ["actuarial_table", "exposure_table", "grouped_survival"]


def actuarial_table(
    edges: ArrayLike, failures: ArrayLike, lost: ArrayLike, *, entering: float | None = None
) -> pd.DataFrame:
    """What share reaches each age band, from counts of failures and of lives lost sight of?

    Parameters
    ----------
    edges : array_like, shape (k,) or (k + 1,)
        Lower edge of each band; with a last upper edge, or without one for an open last band.
    failures, lost : array_like, shape (k,)
        Failures and lives otherwise ended in each band.
    entering : float, optional
        Lives at the first edge; all that fail or are lost by default.

    Returns
    -------
    DataFrame
        Per band: ``lower``, ``upper``, ``entering``, ``lost``, ``failures``, ``at_risk`` (a lost
        life counts half), ``survival`` at the lower edge with ``survival_se``, ``hazard`` in the
        band with ``hazard_se`` (NaN in an open band).

    Raises
    ------
    InputError
        If counts and edges do not match, or more lives end than entered.

    Examples
    --------
    >>> table = actuarial_table([0, 1, 2], [10, 5], [4, 6], entering=100)
    >>> table["survival"].round(4).tolist()
    [1.0, 0.898]

    Source
    ------
    Klein & Moeschberger (1997), Survival Analysis, section 5.4: eq. 5.4.1 to 5.4.5.
    """
    d, c = _counts(failures, "failures"), _counts(lost, "lost")
    borders = _edges(edges)
    if len(borders) == len(d):
        borders = np.append(borders, np.inf)
    if len(d) != len(c) or len(borders) != len(d) + 1:
        raise InputError(
            f"has {len(borders)} edges for {len(d)} failures and {len(c)} lost",
            where="edges",
            hint="give one count per band",
        )
    n0 = float((d + c).sum()) if entering is None else float(entering)
    start = n0 - np.concatenate(([0.0], np.cumsum(d + c)[:-1]))
    at_risk = start - c / 2
    if np.any(start < d + c) or np.any(at_risk <= 0):
        raise InputError("more lives end than entered", where="entering", hint="check the counts")
    q = d / at_risk
    left = np.where(at_risk > d, at_risk - d, np.nan)
    survival = np.concatenate(([1.0], np.cumprod(1 - q)[:-1]))
    variance = np.concatenate(([0.0], np.cumsum(d / (at_risk * left))[:-1]))
    width = np.diff(borders)
    width = np.where(np.isfinite(width), width, np.nan)
    hazard = d / ((at_risk - d / 2) * width)
    with np.errstate(divide="ignore", invalid="ignore"):
        hazard_se = hazard * np.sqrt((1 - (hazard * width / 2) ** 2) / d)
    return pd.DataFrame(
        {
            "lower": borders[:-1],
            "upper": borders[1:],
            "entering": start,
            "lost": c,
            "failures": d,
            "at_risk": at_risk,
            "survival": survival,
            "survival_se": survival * np.sqrt(variance),
            "hazard": hazard,
            "hazard_se": np.where(d > 0, hazard_se, np.nan),
        }
    )


def grouped_survival(
    at_risk: ArrayLike, failures: ArrayLike, *, level: float = 0.90
) -> pd.DataFrame:
    """What share has failed by the end of each inspection interval?

    Parameters
    ----------
    at_risk : array_like, shape (k,)
        Lives entering each interval; lives that leave do so at its end.
    failures : array_like, shape (k,)
        Failures found in each interval.
    level : float
        Two-sided level of the limits, set on the logit of the share failed.

    Returns
    -------
    DataFrame
        Per interval: ``at_risk``, ``failures``, ``share`` failed in it, ``failed`` and ``survival``
        at its end, ``se``, ``low`` and ``high`` of ``failed`` (NaN where that is 0 or 1).

    Raises
    ------
    InputError
        If an interval has more failures than lives.

    Source
    ------
    Meeker & Escobar (1998), Statistical Methods for Reliability Data, eq. 3.9 and 3.15 (Greenwood
    and logit limits).
    """
    from scipy.special import ndtri

    n, d = _counts(at_risk, "at_risk"), _counts(failures, "failures")
    check_level(level)
    if n.shape != d.shape or np.any(d > n) or np.any(n <= 0):
        raise InputError(
            "needs one count per interval, no fewer lives than failures",
            where="at_risk",
            hint="check the counts",
        )
    share = d / n
    survival = np.cumprod(1 - share)
    failed = 1 - survival
    with np.errstate(divide="ignore", invalid="ignore"):
        se = survival * np.sqrt(np.cumsum(share / (n - d)))
        power = np.exp(ndtri((1 + level) / 2) * se / (failed * survival))
        low = failed / (failed + survival * power)
        high = failed / (failed + survival / power)
    inside = (failed > 0) & (failed < 1)
    return pd.DataFrame(
        {
            "at_risk": n,
            "failures": d,
            "share": share,
            "failed": failed,
            "survival": survival,
            "se": np.where(inside, se, np.nan),
            "low": np.where(inside, low, np.nan),
            "high": np.where(inside, high, np.nan),
        }
    )


def exposure_table(
    age: ArrayLike,
    failed: ArrayLike,
    edges: ArrayLike,
    *,
    group: ArrayLike | None = None,
    entry_age: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    level: float = 0.90,
) -> pd.DataFrame:
    """How often do seals fail at each age, per time lived at that age?

    Parameters
    ----------
    age, failed, group, entry_age, weight
        As for `fit_weibull`.
    edges : array_like, shape (k + 1,)
        Edges of the age bands, rising. A failure belongs to the band (lower, upper].
    level : float
        Two-sided level of the exact Poisson limits of the rate; one-sided upper where a band has
        no failure.

    Returns
    -------
    DataFrame
        Per group and band: ``group``, ``lower``, ``upper``, ``exposure`` lived under observation,
        ``failures``, ``rate`` with ``rate_low`` and ``rate_high`` (NaN without exposure).

    Raises
    ------
    InputError
        If the data or the edges cannot be used.

    Examples
    --------
    >>> table = exposure_table([5, 15], [True, True], [0, 10, 20], entry_age=[0, 8])
    >>> table["exposure"].tolist(), table["failures"].tolist()
    ([7.0, 5.0], [1.0, 1.0])

    Source
    ------
    Breslow & Day (1987), Statistical Methods in Cancer Research II, section 2.1 (occurrence over
    exposure); Garwood (1936), Biometrika 28, 437-442 (limits).
    """
    from scipy.special import gammaincinv

    data = read_lives(age, failed, group=group, entry_age=entry_age, weight=weight)
    check_level(level)
    borders = _edges(edges)
    if len(borders) < 2:
        raise InputError("has fewer than two edges", where="edges", hint="give two or more")
    entry = np.zeros(len(data.age)) if data.entry is None else data.entry
    worth = np.ones(len(data.age)) if data.weight is None else data.weight
    shape = (len(data.groups), len(borders) - 1)
    exposure, failures = np.zeros(shape), np.zeros(shape)
    for j, (lower, upper) in enumerate(pairwise(borders)):
        lived = np.minimum(data.age, upper) - np.maximum(entry, lower)
        exposure[:, j] = data.groups.sum(np.maximum(lived, 0.0) * worth)
        inside = data.failed & (data.age > lower) & (data.age <= upper)
        failures[:, j] = data.groups.sum(inside * worth)
    some, seen = failures > 0, exposure > 0
    per = np.where(seen, exposure, np.nan)
    low = np.where(some, gammaincinv(np.where(some, failures, 1.0), (1 - level) / 2), 0.0)
    high = np.where(some, gammaincinv(failures + 1, (1 + level) / 2), -np.log1p(-level))
    labels = np.empty(len(data.groups), dtype=object)
    labels[:] = data.groups.label_list()
    return pd.DataFrame(
        {
            "group": np.repeat(labels, shape[1]),
            "lower": np.tile(borders[:-1], shape[0]),
            "upper": np.tile(borders[1:], shape[0]),
            "exposure": exposure.ravel(),
            "failures": failures.ravel(),
            "rate": (failures / per).ravel(),
            "rate_low": (low / per).ravel(),
            "rate_high": (high / per).ravel(),
        }
    )


def _counts(values: ArrayLike, name: str) -> Floats:
    """One-dimensional counts, none negative or missing."""
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 1 or not np.all(np.isfinite(array) & (array >= 0)):
        raise InputError("must be counts of 0 or more", where=name, hint="give one per band")
    return array


def _edges(values: ArrayLike) -> Floats:
    """Edges that rise."""
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 1 or np.isnan(array).any() or not np.all(np.diff(array) > 0):
        raise InputError("must rise from band to band", where="edges", hint="sort the edges")
    return array
