"""What drives the life of the seals?

In: ages, ends, a table of factors. Out: `FactorEffects`. Next: figures, report.

`fit_weibull_factors` asks by which ratio a factor makes lives longer or shorter;
`fit_cox_factors` by which ratio it raises the failure rate, with no law for the ages.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.life.aft import WeibullLives, fit_scale
from seallife.life.assumptions import check_cox, check_weibull
from seallife.life.design import Steps
from seallife.life.effects import FactorEffects
from seallife.life.effecttable import Method, effects, factor_tests, refused, with_gone
from seallife.life.factordata import read_factors
from seallife.life.newton import spread_of
from seallife.life.partial import RatedLives, fit_rate
from seallife.life.profile import SHAPE_RANGE

__all__ = ["FactorEffects", "fit_cox_factors", "fit_weibull_factors"]

_AFT = Method(
    "time ratio",
    "Weibull lives with factors on the scale, maximum likelihood",
    "Kalbfleisch & Prentice (2002), sections 2.2.4 and 3.6; Lin & Wei (1989)",
)
_COX = Method(
    "hazard ratio",
    "Cox regression, Efron ties",
    "Cox (1972); Efron (1977); Lin & Wei (1989), robust standard errors",
)
_RUNS_AWAY = (
    "The likelihood has no clear top: a factor tells failures from survivors without fail, or the "
    "shape runs away; no figures are returned. Look at the factors one by one."
)
_OPEN = 30.0
"""Logs from a shape or scale to its limit that no data of lives set."""
_ENDLESS = 18.0
"""Log ratio over the range of a factor beyond which it has no top."""


def fit_weibull_factors(
    age: ArrayLike,
    failed: ArrayLike,
    factors: pd.DataFrame,
    *,
    entry_age: ArrayLike | None = None,
    cluster: ArrayLike | None = None,
    stratum: ArrayLike | None = None,
    steps: Steps | None = None,
    level: float = 0.90,
) -> FactorEffects:
    """By which ratio does each factor make seals live longer or shorter?

    Parameters
    ----------
    age : array_like, shape (n,)
        Age at failure or at the end of observation, any one unit.
    failed : array_like of bool, shape (n,)
        Whether the life ended in failure.
    factors : DataFrame, shape (n, k)
        Numbers, or words and flags for groups. A life with a missing value is left out and
        counted; a factor not known for more than a fifth of the lives is left out instead.
    entry_age : array_like, shape (n,), optional
        Age at which watching began.
    cluster : array_like, shape (n,), optional
        Seal position of each life. Lives of one position resemble each other; without this the
        intervals take them as independent and are too short.
    stratum : array_like, shape (n,), optional
        Class of each life: each has a scale and a shape of its own, and the ratios are those
        within classes.
    steps : mapping, optional
        Factor -> (step, its words), for the ratio of a number: ``{"temp_c": (10, "10 °C")}``.
    level : float
        Two-sided confidence level.

    Returns
    -------
    FactorEffects
        One row a term, whatever its status. A factor that drives another is no cause by itself:
        positions were not given their factors by lot.

    Raises
    ------
    InputError
        If the data, ``factors``, ``steps`` or ``level`` cannot be used.

    Source
    ------
    Kalbfleisch & Prentice (2002), The Statistical Analysis of Failure Time Data, sections 2.2.4
    and 3.6; Meeker & Escobar (1998), eq. 11.3 (late entry); Lin & Wei (1989) for clusters.
    """
    data = read_factors(
        age, failed, factors, entry_age, cluster, stratum, steps, level, own_law=True
    )
    if data.refused:
        return refused(data, _AFT, level, "too few failures", data.refused)
    design = data.design
    lives = WeibullLives.of(data.age, data.failed, data.entry, design.x, data.stratum)
    top, q = fit_scale(lives), lives.strata
    least, most = -np.log(SHAPE_RANGE[::-1])
    if not top.found or (top.place[:q] < least).any() or (top.place[:q] > most).any():
        return refused(data, _AFT, level, "not converged", _RUNS_AWAY)
    scores = lives.scores(top.place)
    spread = spread_of(top.information, scores, data.cluster, lives.pieces(top.place))
    wide = spread.wide(level) * np.sqrt(np.diag(spread.used))
    columns = {"stratum": data.strata, "failures": np.bincount(data.stratum[data.failed])}
    for name, sign, part in (("shape", -1, slice(0, q)), ("scale", 1, slice(q, 2 * q))):
        middle = sign * top.place[part]
        columns[name] = np.exp(middle)
        # a limit that the data do not set is left out, as in the table of ratios
        closed = np.where(wide[part] < _OPEN, wide[part], np.nan)
        columns[f"{name}_low"] = np.exp(middle - closed)
        columns[f"{name}_high"] = np.exp(middle + closed)

    def without(gone: list[int]) -> float:
        return fit_scale(lives.without(gone), with_gone(top.place, gone, 2 * q)).value

    tests = factor_tests(top, design, spread, 2 * q, without)
    checks = check_weibull(lives, top, data, spread, scores)
    return effects(data, _AFT, level, top, 2 * q, spread, tests, checks, pd.DataFrame(columns))


def fit_cox_factors(
    age: ArrayLike,
    failed: ArrayLike,
    factors: pd.DataFrame,
    *,
    entry_age: ArrayLike | None = None,
    cluster: ArrayLike | None = None,
    stratum: ArrayLike | None = None,
    steps: Steps | None = None,
    level: float = 0.90,
) -> FactorEffects:
    """By which ratio does each factor raise or lower the failure rate at every age?

    Parameters
    ----------
    age, failed, factors, entry_age, cluster, stratum, steps, level
        As for `fit_weibull_factors`; each stratum has a baseline of its own.

    Returns
    -------
    FactorEffects
        ``baseline`` counts a life at risk from its entry age only (entry < age with a failure <=
        exit), so that survival read from it is right with late entry too.

    Raises
    ------
    InputError
        If the data, ``factors``, ``steps`` or ``level`` cannot be used.

    Source
    ------
    Cox (1972), JRSS B 34, 187-220; Efron (1977), JASA 72, 557-565; Breslow (1974), Biometrics 30,
    89-99; Klein & Moeschberger (1997), Survival Analysis, section 9.4 (late entry).
    """
    data = read_factors(
        age, failed, factors, entry_age, cluster, stratum, steps, level, own_law=False
    )
    if data.refused:
        return refused(data, _COX, level, "too few failures", data.refused)
    design = data.design
    lives = RatedLives(data.age, data.entry, data.failed, design.x, data.stratum)
    top = fit_rate(lives)
    reach = np.abs(top.place) * (design.x.max(axis=0) - design.x.min(axis=0))
    if not top.found or (reach > _ENDLESS).any():
        return refused(data, _COX, level, "not converged", _RUNS_AWAY)
    scores = lives.scores(top.place)
    spread = spread_of(top.information, scores, data.cluster, lives.pieces(top.place))
    at, ages, at_risk, rise = lives.baseline(top.place)
    cum = pd.Series(rise).groupby(at).cumsum().to_numpy()
    baseline = pd.DataFrame(
        {
            "stratum": np.array(data.strata, dtype=object)[at],
            "age": ages,
            "at_risk": at_risk.astype(np.int64),
            "cum_hazard": cum,
            "survival": np.exp(-cum),
        }
    )

    def without(gone: list[int]) -> float:
        return fit_rate(lives.without(gone), with_gone(top.place, gone, 0)).value

    tests = factor_tests(top, design, spread, 0, without)
    checks = check_cox(lives, top, data, spread, scores)
    return effects(data, _COX, level, top, 0, spread, tests, checks, baseline)
