"""Do these classes share one shape, and one scale?

In: ages, ends, classes. Out: `ShapeComparison`. Next: whether to pool classes.

The score of a common shape is the sum of the scores of the classes, so the comparison costs no
more than a fit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError
from seallife.life.groups import Floats
from seallife.life.lifedata import check_level, read_lives, unbounded
from seallife.life.powersums import PowerSums, power_sums
from seallife.life.profile import SHAPE_RANGE, solve_profile
from seallife.life.result import TableResult

__all__ = ["ShapeComparison", "compare_shapes"]


@dataclass(frozen=True, eq=False)
class ShapeComparison(TableResult):
    """Three ways to fit the same classes, and the tests between them.

    Attributes
    ----------
    table : DataFrame
        Per model (``separate``, ``common shape``, ``pooled``): ``shape`` (NaN where each class has
        its own), ``parameters``, ``loglik``, ``aic``; and the test of the model against the one
        above it: ``chi2``, ``df``, ``p``; ``status`` and ``message``.
    classes : DataFrame
        Per class: ``failures``, own ``shape`` and ``scale``; ``common_scale`` under the common
        shape; ``log_ratio`` of that to the first class, with ``se_log_ratio`` and the limits of the
        ``ratio``.
    left_out : tuple
        Classes without a failure: they say nothing about a shape.
    """

    classes: pd.DataFrame
    left_out: tuple[object, ...]


def compare_shapes(
    age: ArrayLike,
    failed: ArrayLike,
    group: ArrayLike,
    *,
    entry_age: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    level: float = 0.90,
) -> ShapeComparison:
    """Do the classes share one shape, or even one law?

    Parameters
    ----------
    age, failed, group, entry_age, weight
        As for `fit_weibull`.
    level : float
        Two-sided level of the scale ratios.

    Returns
    -------
    ShapeComparison

    Raises
    ------
    InputError
        If the data cannot be used, fewer than two classes have a failure, or all failures of all
        classes lie at their oldest ages.

    Source
    ------
    Lawless (2003), Statistical Models and Methods for Lifetime Data, section 5.4: likelihood-ratio
    tests of equal Weibull shapes and scales.
    """
    from scipy.special import ndtri

    data = read_lives(age, failed, group=group, entry_age=entry_age, weight=weight)
    check_level(level)
    some = data.count(data.failed) > 0
    left_out = tuple(data.groups.labels[~some].tolist())
    if some.sum() < 2:
        raise InputError(
            f"has {int(some.sum())} class with a failure", where="group", hint="give two or more"
        )
    data = data.take(some)
    sums = power_sums(data)
    r = sums.failures
    endless = unbounded(data)
    shape, own_mu, own_loglik = _separate(sums, endless)
    common, slope, bend, mu = _common(sums)
    loglik = [float(np.sum(own_loglik)), float(_loglik(sums, np.full(len(r), common), mu).sum())]
    columns = (data.entry, None, data.weight)
    one = read_lives(data.age, data.failed, entry_age=columns[0], weight=columns[2])
    whole = power_sums(one)
    if unbounded(one)[0]:
        raise InputError(
            "has all failures at the oldest age of all", where="age", hint="no shape can be told"
        )
    pooled, pooled_mu, _, _ = _top(whole)
    loglik.append(float(_loglik(whole, pooled, pooled_mu)[0]))
    parameters = np.array([2 * len(r), len(r) + 1, 2])
    table = _models(loglik, parameters, np.array([np.nan, common, pooled[0]]), endless)
    # a change of the common shape moves all scales together along their ridges
    info = float(np.sum(r * (1 + common**2 * bend)))
    lean = slope - mu
    tilt = (lean - lean[0]) / np.sqrt(info)
    se = np.sqrt(1 / (common**2 * r) + 1 / (common**2 * r[0]) + tilt**2)
    log_ratio = mu + sums.centre - mu[0] - sums.centre[0]
    se[0] = 0.0
    wide = ndtri((1 + level) / 2) * se
    classes = pd.DataFrame(
        {
            "group": data.groups.label_list(),
            "failures": r,
            "shape": shape,
            "scale": np.exp(own_mu + sums.centre),
            "common_scale": np.exp(mu + sums.centre),
            "log_ratio": log_ratio,
            "se_log_ratio": se,
            "ratio": np.exp(log_ratio),
            "ratio_low": np.exp(log_ratio - wide),
            "ratio_high": np.exp(log_ratio + wide),
            "loglik": own_loglik,
        }
    )
    source = "Lawless (2003), Statistical Models and Methods for Lifetime Data, section 5.4"
    method = "likelihood-ratio tests of equal Weibull shape and scale"
    return ShapeComparison(table, level, method, source, classes, left_out)


def _separate(sums: PowerSums, endless: NDArray[np.bool_]) -> tuple[Floats, Floats, Floats]:
    """Own shape, centred log scale and log-likelihood of each class; NaN without a top."""
    out = np.full((3, len(sums.failures)), np.nan)
    good = ~endless
    if good.any():
        part = sums.take(good)
        shape, mu, _, _ = _top(part)
        out[:, good] = shape, mu, _loglik(part, shape, mu)
    return out[0], out[1], out[2]


def _top(sums: PowerSums) -> tuple[Floats, Floats, Floats, Floats]:
    """Shape, centred log scale, and slope and bend of log S there."""
    top = solve_profile(sums)
    mu = (top.log_sum - np.log(sums.failures)) / top.shape
    return top.shape, mu, top.slope, top.bend


def _common(sums: PowerSums) -> tuple[float, Floats, Floats, Floats]:
    """Common shape by halving a bracket in log shape and Newton, and what follows from it."""
    r, m = sums.failures, sums.log_age_sum
    low, high = np.log(SHAPE_RANGE)
    theta = 0.0
    slope = bend = log_sum = np.zeros(len(r))
    for _ in range(100):
        b = np.exp(theta)
        s = sums.sums(np.full(len(r), b), 2)
        log_sum, slope = np.log(s[0]), s[1] / s[0]
        bend = s[2] / s[0] - slope**2
        score = float(np.sum(r + b * (m - r * slope)))
        curve = float(np.sum(b * (m - r * slope) - b**2 * r * bend))
        low, high = (theta, high) if score > 0 else (low, theta)
        step = -score / curve if curve < 0 else np.nan
        new = theta + step
        if abs(step) < 1e-13 or high - low < 1e-14:
            break
        theta = new if low < new < high else (low + high) / 2
    return float(b), slope, bend, (log_sum - np.log(r)) / b


def _loglik(sums: PowerSums, shape: Floats, mu: Floats) -> Floats:
    """Log-likelihood of each group at its best scale for the shape, constants and all."""
    r, m = sums.failures, sums.log_age_sum
    return r * np.log(shape) + shape * (m - r * mu) - r - m - r * sums.centre


def _models(
    loglik: list[float], parameters: NDArray[np.int64], shape: Floats, endless: NDArray[np.bool_]
) -> pd.DataFrame:
    """Table of the three models and of the tests between neighbours."""
    from scipy.special import gammaincc

    value = np.array(loglik)
    df = np.append(0, -np.diff(parameters))
    chi2 = np.append(np.nan, np.maximum(2 * (value[:-1] - value[1:]), 0.0))
    p = gammaincc(np.maximum(df, 1) / 2, chi2 / 2)
    note = np.full(3, "", dtype=object)
    if endless.any():
        note[:2] = "A class has all its failures at its oldest age: it has no shape of its own."
    return pd.DataFrame(
        {
            "model": ["separate", "common shape", "pooled"],
            "shape": shape,
            "parameters": parameters,
            "loglik": value,
            "aic": 2 * parameters - 2 * value,
            "chi2": chi2,
            "df": df,
            "p": p,
            "status": np.where(np.isfinite(value), "ok", "at bound"),
            "message": note,
        }
    )
