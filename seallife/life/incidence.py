"""What share has failed from each cause at each age, with no law assumed?

In: ages and causes. Out: `Incidence`. Next: `seallife.figures.causes`, `seallife.life.causes`.

A seal that failed from one cause can no longer fail from another. One minus the survival curve of
one cause alone answers what would be if the others were abolished; the cumulative incidence says
what happens while all are at work. Incidences of all causes and the share still running add to 1.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError
from seallife.life.causecurves import Incidence, none_seen
from seallife.life.groups import Floats, Ints, running_sum, segment_sum
from seallife.life.lifedata import LifeData, check_level, read_lives
from seallife.life.result import worded_status
from seallife.life.risksets import RiskSets, risk_sets

__all__ = ["cause_words", "cumulative_incidence", "incidence_of", "read_causes"]

_SOURCE = (
    "Aalen & Johansen (1978), Scand. J. Statist. 5, 141-150; Kalbfleisch & Prentice (2002), The "
    "Statistical Analysis of Failure Time Data, section 8.2"
)


def cumulative_incidence(
    age: ArrayLike,
    cause: Sequence[Any] | NDArray[Any],
    *,
    group: ArrayLike | None = None,
    entry_age: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    level: float = 0.90,
) -> Incidence:
    """What share of each group has failed from each cause by each age?

    Parameters
    ----------
    age : array_like, shape (n,)
        Age at failure or at the end of observation, any one unit.
    cause : array_like, shape (n,)
        Cause of failure in a word; ``''`` or None where the life did not end in failure. Booleans
        are taken as one cause named ``'failed'``.
    group, entry_age, weight
        As for `fit_weibull`. A life is at risk at age t if entry_age < t <= age.
    level : float
        Two-sided confidence level.

    Returns
    -------
    Incidence

    Raises
    ------
    InputError
        If the data or ``level`` cannot be used, or a cause is missing.

    Notes
    -----
    With n at risk, d failures in all and d_k of cause k, the incidence grows by S(t-) d_k / n. Its
    variance is the delta method's, failures of one age being multinomial. Limits are set on the
    scale of log(-log) of the incidence and so stay between 0 and 1; where a cause has not been seen
    the lower limit is 0 and the upper what none of n at risk allows; where all have failed from one
    cause they are NaN.

    Examples
    --------
    >>> seen = cumulative_incidence([2, 3, 5, 8, 9], ["leak", "", "fit", "leak", ""])
    >>> seen.curves[["cause", "age", "incidence"]].round(3).to_numpy().tolist()[:3]
    [['fit', 2.0, 0.0], ['fit', 5.0, 0.267], ['fit', 8.0, 0.267]]

    Source
    ------
    Aalen & Johansen (1978), Scand. J. Statist. 5, 141-150; Kalbfleisch & Prentice (2002), The
    Statistical Analysis of Failure Time Data, section 8.2; variance as in Marubini & Valsecchi
    (1995), Analysing Survival Data from Clinical Trials and Observational Studies, chapter 10.
    """
    check_level(level)
    data, words = read_causes(age, cause, group, entry_age, weight)
    return incidence_of(data, words, tuple(sorted(set(words.tolist()) - {""})), level)


def incidence_of(
    data: LifeData, words: NDArray[Any], causes: tuple[str, ...], level: float
) -> Incidence:
    """Curves of checked lives; ``words`` in the caller's order, ``''`` for no failure."""
    sets = risk_sets(data)
    codes = np.searchsorted(np.array(causes, dtype=object), data.groups.gather(words)[data.failed])
    count = _count_causes(data, sets, codes, len(causes))
    total = count.sum(axis=1)
    step = np.flatnonzero(total > 0)
    offsets = np.searchsorted(step, sets.offsets)
    n, d, d_k = sets.at_risk[step], total[step], count[step]
    left = n - d
    last = left <= 1e-9 * n  # nobody is left: survival is 0 from here on
    change = np.log(np.where(last, n, left) / n)
    log_survival = running_sum(change, offsets)
    ended = running_sum(last.astype(np.float64), offsets)
    survival = np.where(ended > 0, 0.0, np.exp(log_survival))
    before = np.where(ended - last > 0, 0.0, np.exp(log_survival - change))
    # after the last failure no incidence grows, so its share of the variance is 0
    hazard = np.where(ended > 0, 0.0, d / (n * np.where(last, 1.0, left)))
    by_cause = [_one_cause(offsets, n, d_k[:, k], before, hazard) for k in range(len(causes))]
    shape = (len(causes), len(step))
    incidence, se = (np.array([c[i] for c in by_cause]).reshape(shape).T for i in (0, 1))
    whole = incidence > 1 - 1e-12  # all have failed from one cause, but for rounding
    incidence, se = np.where(whole, 1.0, incidence), np.where(whole, 0.0, se)
    low, high = _limits(incidence, se, none_seen(n, level), level)
    later = step + 1 < np.repeat(sets.offsets[1:], np.diff(offsets))
    emptied = segment_sum(last & later, offsets) > 0
    seen = np.array([segment_sum(d_k[:, k], offsets) > 0 for k in range(len(causes))])
    status, message = _status(data, emptied)
    table = pd.DataFrame(
        {
            "group": data.groups.label_list(),
            **data.counts(),
            "causes": seen.reshape(len(causes), len(data.groups)).sum(axis=0),
            "status": status,
            "message": message,
        }
    )
    return Incidence(
        table,
        level,
        "Aalen-Johansen cumulative incidence, delta variance, log-log limits",
        _SOURCE,
        causes,
        offsets,
        sets.age[step],
        n,
        survival,
        d_k,
        incidence,
        se,
        low,
        high,
        sets,
    )


def read_causes(
    age: ArrayLike,
    cause: Sequence[Any] | NDArray[Any],
    group: ArrayLike | None,
    entry_age: ArrayLike | None,
    weight: ArrayLike | None,
) -> tuple[LifeData, NDArray[Any]]:
    """Lives, checked, and their causes as words in the caller's order.

    Raises
    ------
    InputError
        If the data cannot be used or a cause is missing.
    """
    words = cause_words(cause)
    if np.ndim(age) == 1 and len(words) != np.shape(age)[0]:
        raise InputError(
            f"has {len(words)} values where age has {np.shape(age)[0]}",
            where="cause",
            hint="match age",
        )
    return read_lives(age, words != "", group=group, entry_age=entry_age, weight=weight), words


def cause_words(cause: Sequence[Any] | NDArray[Any]) -> NDArray[Any]:
    """Causes as words, ``''`` for none; a missing one is refused, as it is not known to be none.

    Raises
    ------
    InputError
        Naming the first life whose cause is neither a word nor nothing.
    """
    # as objects: numpy would make a missing cause beside words the word "nan"
    array = np.asarray(cause, dtype=object)
    if array.ndim != 1:
        raise InputError(
            f"has shape {array.shape}", where="cause", hint="give a one-dimensional array"
        )
    values = array.tolist()
    if values and all(isinstance(c, bool) for c in values):
        return np.where(array.astype(bool), "failed", "").astype(object)
    words = np.array(["" if c is None else c for c in values], dtype=object)
    bad = [not isinstance(c, str) for c in words]
    if any(bad):
        raise InputError(
            f"{words[bad.index(True)]!r} is no word",
            where=f"cause[{bad.index(True)}]",
            hint="give '' where a life did not fail, 'unknown' where it failed of unknown cause",
        )
    return np.array([c.strip() for c in words], dtype=object)


def _count_causes(data: LifeData, sets: RiskSets, codes: Ints, causes: int) -> Floats:
    """Failures of each cause at every age of every group, shape (ages, causes)."""
    failed = np.flatnonzero(data.failed)
    # ages as whole numbers, so that group and age make one rising key
    known = np.unique(data.age)
    width = len(known) + 1
    of_step = np.repeat(np.arange(len(data.groups)), np.diff(sets.offsets))
    # an age of entry alone takes the place before the next age at an end; the end stands last
    keys = of_step * width + np.searchsorted(known, sets.age)
    wanted = data.groups.codes[failed] * width + np.searchsorted(known, data.age[failed])
    step = np.searchsorted(keys, wanted, side="right") - 1
    worth = np.ones(len(failed)) if data.weight is None else data.weight[failed]
    flat = np.bincount(step * max(causes, 1) + codes, worth, len(keys) * max(causes, 1))
    return flat.astype(np.float64).reshape(len(keys), max(causes, 1))[:, :causes]


def _one_cause(
    offsets: Ints, n: Floats, d: Floats, before: Floats, hazard: Floats
) -> tuple[Floats, Floats]:
    """Incidence of one cause and its standard error.

    With F the incidence now and F_s that at an earlier step the variance is the sum over steps of
    (F - F_s)^2 d / (n (n - d)) + S^2 d_k (n - d_k) / n^3 - 2 (F - F_s) S d_k / n^2.
    """
    # a running sum carries the rounding of the group before it: nothing seen is exactly nothing
    none = running_sum((d > 0).astype(np.float64), offsets) == 0
    total = np.where(none, 0.0, running_sum(before * d / n, offsets))
    pull = before * d / n**2
    square = (
        total**2 * running_sum(hazard, offsets)
        - 2 * total * running_sum(hazard * total, offsets)
        + running_sum(hazard * total**2, offsets)
    )
    own = running_sum(before * pull * (n - d) / n, offsets)
    cross = total * running_sum(pull, offsets) - running_sum(pull * total, offsets)
    variance = np.where(none, 0.0, square + own - 2 * cross)
    return total, np.sqrt(np.maximum(variance, 0.0))


def _limits(incidence: Floats, se: Floats, bound: Floats, level: float) -> tuple[Floats, Floats]:
    """Limits on the scale of log(-log incidence); 0 and a bound while nothing was seen."""
    from scipy.special import ndtri

    inside = (incidence > 0) & (incidence < 1)
    log_share = np.log(np.where(inside, incidence, 0.5))
    # far out a limit is 0 or 1 to all digits
    wide = ndtri((1 + level) / 2) * se / (np.exp(log_share) * -log_share)
    power = np.exp(np.minimum(wide, 600.0))
    low, high = np.exp(log_share * power), np.exp(log_share / power)
    none = incidence == 0
    low = np.where(inside, low, np.where(none, 0.0, np.nan))
    return low, np.where(inside, high, np.where(none, bound[:, None], np.nan))


def _status(data: LifeData, emptied: NDArray[np.bool_]) -> tuple[list[str], list[str]]:
    """Say of each group what its curves are worth."""
    failures = data.count(data.failed)
    return worded_status(
        len(failures),
        [
            (data.count() == 0, "no lives", "No life with a known age in this group."),
            (failures == 0, "no failures", "No failure: all incidences are 0 so far."),
            (
                emptied,
                "risk set emptied",
                "All lives at risk had failed at an age that others passed later, so the curves "
                "stand still from there on wrongly; read them at earlier ages only.",
            ),
            (failures < 5, "few failures", "Fewer than 5 failures: the steps are coarse."),
        ],
    )
