"""What share still runs at each age, with no law assumed?

In: ages and ends. Out: `SurvivalCurves`. Next: figures, report, and the check of every law.

All groups at once: one sort of the ages, then running sums inside each group.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError
from seallife.life.curves import Limits, SurvivalCurves, crossing, survival_limits
from seallife.life.groups import Floats, Groups, Ints, running_sum, segment_sum
from seallife.life.lifedata import LifeData, check_level, read_lives
from seallife.life.result import worded_status
from seallife.life.risksets import Pile, RiskSets, risk_sets

__all__ = ["kaplan_meier"]

_SOURCE = "Kaplan & Meier (1958); Klein & Moeschberger (1997), Survival Analysis, chapter 4"


def kaplan_meier(
    age: ArrayLike,
    failed: ArrayLike,
    *,
    group: ArrayLike | None = None,
    entry_age: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    level: float = 0.90,
    limits: Limits = "log-log",
    start: float | None = None,
) -> SurvivalCurves:
    """What share of each group still runs at each age?

    Parameters
    ----------
    age : array_like, shape (n,)
        Age at failure or at the end of observation, any one unit.
    failed : array_like of bool, shape (n,)
        Whether the life ended in failure.
    group : array_like, shape (n,), optional
        Class of each life.
    entry_age : array_like, shape (n,), optional
        Age at which watching began. A life is at risk at age t if entry_age < t <= age.
    weight : array_like, shape (n,), optional
        Number of lives each row stands for.
    level : float
        Two-sided confidence level.
    limits : {'log-log', 'log', 'logit'}
        Scale on which limits are set; on each of them they stay between 0 and 1.
    start : float, optional
        Survival from this age on, given that it was reached. With late entry the first ages often
        have a handful at risk, and one failure among them would pull the whole curve down.

    Returns
    -------
    SurvivalCurves
        ``table`` has one row per group; ``curves`` one row per age with a failure.

    Raises
    ------
    InputError
        If the data, ``level``, ``limits`` or ``start`` cannot be used.

    Examples
    --------
    >>> curves = kaplan_meier([10, 32, 56, 98, 98], [1, 1, 1, 0, 0])
    >>> curves.curves[["age", "at_risk", "survival"]].to_numpy().round(2).tolist()
    [[10.0, 5.0, 0.8], [32.0, 4.0, 0.6], [56.0, 3.0, 0.4]]

    Source
    ------
    Kaplan & Meier (1958), JASA 53, 457-481; Greenwood (1926) for the standard error; Aalen (1978)
    for the cumulative hazard; Klein & Moeschberger (1997), Survival Analysis, sections 4.3, 4.5
    and 4.6 (limits, medians, late entry).
    """
    check_level(level)
    if limits not in ("log-log", "log", "logit"):
        raise InputError(f"is {limits!r}", where="limits", hint="use 'log-log', 'log' or 'logit'")
    data = read_lives(age, failed, group=group, entry_age=entry_age, weight=weight)
    if start is not None:
        data = _from_start(data, start)
    steps = Pile(7, int(data.failed.sum()))
    risk = Pile(3, len(data.age) + (0 if data.entry is None else int((data.entry > 0).sum())))
    emptied = np.zeros(0, bool)
    for part in data.blocks():
        sets = risk_sets(part)
        risk.add(sets.offsets, (sets.age, sets.at_risk, sets.failures))
        offsets, columns, trap = _product_limit(sets, level, limits)
        steps.add(offsets, columns)
        emptied = np.append(emptied, trap)
    offsets = steps.offsets()
    ages, at_risk, failures, survival, se, low, high = steps.columns()
    floor = np.where(survival == 0, 0.0, low)
    # an emptied risk set has no median: the curve fell for want of lives, not of life
    medians = {
        name: np.where(emptied, np.nan, crossing(ages, curve, offsets, 0.5))
        for name, curve in (("median", survival), ("median_low", floor), ("median_high", high))
    }
    status, message = _status(data, emptied)
    table = pd.DataFrame(
        {
            "group": data.groups.label_list(),
            **data.counts(),
            **medians,
            "status": status,
            "message": message,
        }
    )
    return SurvivalCurves(
        table,
        level,
        f"Kaplan-Meier, Greenwood, {limits} limits",
        _SOURCE,
        limits,
        0.0 if start is None else float(start),
        offsets,
        ages,
        at_risk,
        failures,
        survival,
        se,
        low,
        high,
        RiskSets(risk.offsets(), *risk.columns()),
    )


def _product_limit(
    sets: RiskSets, level: float, limits: Limits
) -> tuple[Ints, tuple[Floats, ...], NDArray[np.bool_]]:
    """Curves of some groups: offsets, columns of `SurvivalCurves`, and who was emptied too soon."""
    step = np.flatnonzero(sets.failures > 0)
    offsets = np.searchsorted(step, sets.offsets)
    at_risk, failures = sets.at_risk[step], sets.failures[step]
    last = failures >= at_risk  # nobody is left: survival is 0 from here on
    some = bool(last.any())
    left = np.where(last, 1.0, at_risk - failures) if some else at_risk - failures
    log_survival = running_sum(np.log(left / at_risk), offsets)
    variance = running_sum(failures / (at_risk * left), offsets)
    emptied = np.zeros(len(offsets) - 1, bool)
    if some:
        # what follows in the same group is void too
        ended = running_sum(last.astype(np.float64), offsets) > 0
        log_survival[ended], variance[ended] = -np.inf, np.nan
        later = step + 1 < np.repeat(sets.offsets[1:], np.diff(offsets))
        emptied = segment_sum(last & later, offsets) > 0
    survival = np.exp(log_survival)
    low, high = survival_limits(log_survival, variance, level, limits)
    se = survival * np.sqrt(variance)
    return offsets, (sets.age[step], at_risk, failures, survival, se, low, high), emptied


def _from_start(data: LifeData, start: float) -> LifeData:
    """Only lives that reached ``start``: their ages and entries need no change."""
    if not (np.isfinite(start) and start >= 0):
        raise InputError(f"is {start!r}", where="start", hint="give an age of 0 or more")
    rows: NDArray[np.bool_] = data.age >= start
    columns = (data.entry, data.weight)
    entry, weight = (None if c is None else c[rows] for c in columns)
    # the order is spent: these rows are gathered already
    kept = data.groups.keep(rows)
    groups = Groups(kept.labels, kept.offsets)
    return LifeData(groups, data.age[rows], data.failed[rows], entry, None, weight)


def _status(data: LifeData, trap: NDArray[np.bool_]) -> tuple[list[str], list[str]]:
    """Say of each curve what it is worth."""
    failures = data.count(data.failed)
    return worded_status(
        len(failures),
        [
            (data.count() == 0, "no lives", "No life reached the starting age."),
            (failures == 0, "no failures", "No failure: survival is 1 to the oldest age seen."),
            (
                trap,
                "risk set emptied",
                "All lives at risk had failed at an age that others passed later, so the curve "
                "stays at 0 wrongly; give a later start.",
            ),
            (failures < 5, "few failures", "Fewer than 5 failures: the steps are coarse."),
        ],
    )
