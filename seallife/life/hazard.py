"""How high is the failure rate at each age, by the fitted law?

In: ages and ends. Out: `WeibullHazards`. Next: `seallife.figures.hazard`.

    h(t) = (shape / scale) (t / scale) ** (shape - 1)

The rate counted in bands of age, which assumes no law, is
`seallife.life.lifetable.exposure_table`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError
from seallife.life.lawfits import fit_one_law
from seallife.life.laws import LAWS
from seallife.life.lifedata import read_lives
from seallife.life.quantities import check_ages
from seallife.life.result import TableResult
from seallife.life.weibull import WeibullFits, fit_weibull

__all__ = ["LawHazards", "WeibullHazards", "hazards_of", "law_hazards", "weibull_hazard"]

_COLUMNS = (
    *("group", "n", "failures", "censored", "entered_late", "exposure", "oldest_age"),
    *("shape", "scale", "resamples", "status", "message"),
)
_SOURCE = "Meeker & Escobar (1998), Statistical Methods for Reliability Data, chapters 4 and 8"


@dataclass(frozen=True, eq=False)
class WeibullHazards(TableResult):
    """Failure rate by age of all groups.

    Attributes
    ----------
    table : DataFrame
        Per group: ``n``, ``failures``, ``censored``, ``entered_late``, ``exposure``,
        ``oldest_age``, ``shape``, ``scale``, ``resamples`` used, ``status``, ``message``.
    hazard : DataFrame
        ``group``, ``age``, ``hazard``, ``low``, ``high`` at the ages asked for: failures per seal
        and unit of age, among those that have come so far. NaN where there is no fit or no limit.
    """

    hazard: pd.DataFrame


def weibull_hazard(
    age: ArrayLike,
    failed: ArrayLike,
    at: Sequence[float] | NDArray[Any],
    *,
    group: ArrayLike | None = None,
    entry_age: ArrayLike | None = None,
    age_low: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    level: float = 0.90,
    resamples: int = 400,
    seed: int = 1,
) -> WeibullHazards:
    """How high is the failure rate of each group at given ages, if its lives follow a Weibull law?

    Parameters
    ----------
    age, failed, group, entry_age, age_low, weight, level
        As for `fit_weibull`.
    at : sequence of float
        Ages at which the rate is wanted, above 0, in the unit of ``age``.
    resamples, seed : int
        As for `fit_weibull`; 0 for plain likelihood-ratio limits.

    Returns
    -------
    WeibullHazards
        Rates per unit of ``age``: times 8,766 those of run hours are per year of running. Beyond
        the oldest age of a group a rate is a guess that no seal has tested.

    Raises
    ------
    InputError
        If the data, ``at`` or ``level`` cannot be used.

    Notes
    -----
    Limits are the least and the greatest rate over the region of shape and scale whose likelihood
    ratio stays within the chi-square limit, moved to where resampled signed roots say that they
    cover (see `seallife.life.calibration`). They hold age by age, not for all ages at once.
    Simulated (1,000 sets of lives a case; complete, withdrawn at random, entered late, stopped at
    half; rates at the ages by which 10, 30, 50 and 80 % fail), limits at 90 % held the rate in 88
    to 98 % of sets with 5 failures, 88 to 92 % with 10 and 87 to 93 % with 20 and 50; the plain
    ones in 82 to 88 % with 5.

    Examples
    --------
    >>> rates = weibull_hazard([54, 187, 216, 240, 500, 500], [1, 1, 1, 1, 0, 0], [100.0, 400.0])
    >>> rates.hazard["hazard"].round(5).tolist()
    [0.00223, 0.00284]

    Source
    ------
    Meeker & Escobar (1998), Statistical Methods for Reliability Data, section 4.8 (rate) and
    equation 8.7 (likelihood-ratio regions).
    """
    fits = fit_weibull(
        age,
        failed,
        group=group,
        entry_age=entry_age,
        age_low=age_low,
        weight=weight,
        level=level,
        hazard_at=at,
        fractions=(),
        resamples=resamples,
        seed=seed,
    )
    return hazards_of(fits)


def hazards_of(fits: WeibullFits) -> WeibullHazards:
    """Take from fits the rates at the ages that they were asked for."""
    table = fits.table.reindex(columns=_COLUMNS).fillna({"resamples": 0}).astype({"resamples": int})
    return WeibullHazards(table, fits.level, fits.method, _SOURCE, fits.hazard)


@dataclass(frozen=True, eq=False)
class LawHazards(TableResult):
    """Failure rate by age of all groups under several laws, without limits.

    Attributes
    ----------
    table : DataFrame
        Per group and law: ``group``, ``law``, ``failures``, ``status`` ('ok', 'at bound' or
        'not fitted'), ``message``.
    hazard : DataFrame
        ``group``, ``law``, ``age``, ``hazard`` per unit of age; NaN where not fitted.
    """

    hazard: pd.DataFrame


def law_hazards(
    age: ArrayLike,
    failed: ArrayLike,
    at: Sequence[float] | NDArray[Any],
    laws: Sequence[str],
    *,
    group: ArrayLike | None = None,
    entry_age: ArrayLike | None = None,
    weight: ArrayLike | None = None,
) -> LawHazards:
    """How high would the failure rate be at each age under other laws than the Weibull?

    Parameters
    ----------
    age, failed, group, entry_age, weight
        As for `fit_weibull`.
    at : sequence of float
        Ages at which the rate is wanted, above 0.
    laws : sequence of str
        Names out of `seallife.life.laws.LAWS`, such as the candidates of a `LawChoice`.

    Returns
    -------
    LawHazards

    Raises
    ------
    InputError
        If the data, ``at`` or a law cannot be used.

    Examples
    --------
    >>> found = law_hazards([54, 187, 216, 240, 500], [1, 1, 1, 1, 0], [100.0], ["exponential"])
    >>> found.hazard["hazard"].round(5).tolist()
    [0.00334]
    """
    unknown = [name for name in laws if name not in LAWS]
    if unknown or not laws:
        hint = f"use names out of {', '.join(LAWS)}"
        raise InputError(f"is {unknown or list(laws)!r}", where="laws", hint=hint)
    data = read_lives(age, failed, group=group, entry_age=entry_age, weight=weight)
    ages, labels = check_ages(at), data.groups.label_list()
    log_ages = np.log(ages)
    rows, curves = [], []
    for name in laws:
        law, fit = LAWS[name], fit_one_law(LAWS[name], data)
        columns, x = [np.repeat(c, len(ages)) for c in fit.where.T], np.tile(log_ages, len(labels))
        with np.errstate(all="ignore"):
            hazard = np.exp(law.log_density(columns, x) - law.log_survival(columns, x))
        good = np.repeat(fit.why == "", len(ages)) & np.isfinite(hazard)
        wall = fit.on_wall.any(axis=1)
        curves.append(
            pd.DataFrame(
                {
                    "group": np.repeat(np.arange(len(labels)), len(ages)),
                    "law": name,
                    "age": np.tile(ages, len(labels)),
                    "hazard": np.where(good, hazard, np.nan),
                }
            )
        )
        rows.append(
            pd.DataFrame(
                {
                    "group": np.arange(len(labels)),
                    "law": name,
                    "failures": data.count(data.failed),
                    "status": np.select(
                        [fit.why != "", wall], ["not fitted", "at bound"], default="ok"
                    ),
                    "message": np.where(wall, "the likelihood rises beyond the range", fit.why),
                }
            )
        )
    return LawHazards(
        _named(rows, labels), np.nan, "maximum likelihood", _SOURCE, _named(curves, labels)
    )


def _named(parts: list[pd.DataFrame], labels: list[Any]) -> pd.DataFrame:
    """Rows of all laws, group by group, with the labels of the groups."""
    out = pd.concat(parts, ignore_index=True).sort_values("group", kind="stable", ignore_index=True)
    names = np.empty(len(labels), dtype=object)
    names[:] = labels
    return out.assign(group=names[out["group"].to_numpy()])
