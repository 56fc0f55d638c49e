"""The models of seal life, asked of a table of lives: one clock, one class column.

In: the life table. Out: the result of each model. Next: `seallife.lifeanswers`.

A failure known only to an interval counts at its middle here; `seallife.life.fits` takes the
interval as it is. A life of unknown age keeps its class but weighs nothing.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.errors import InputError
from seallife.life.causecurves import Incidence
from seallife.life.causefits import CauseFits
from seallife.life.causes import fit_causes
from seallife.life.choose import LawChoice, choose_law
from seallife.life.incidence import cumulative_incidence
from seallife.life.lifetable import exposure_table
from seallife.life.mixture import MixtureVerdicts, hides_mixture
from seallife.life.pooling import PooledWeibull, pool_weibull
from seallife.life.usable import Clock, UsableLives, usable_lives

__all__ = [
    "NOT_TOLD",
    "WHOLE_FLEET",
    "cause_fits_of_lives",
    "incidence_of_lives",
    "laws_of_lives",
    "mixtures_of_lives",
    "pool_lives",
    "rates_of_lives",
    "told_causes",
]

NOT_TOLD = "not told"
"""Cause of a failure of which the records say nothing."""

WHOLE_FLEET = "whole fleet"
"""Group of all lives where they are not parted."""

_SILENT = ("", "unknown")


def pool_lives(
    lives: pd.DataFrame,
    by: str = "service_class",
    clock: Clock = "run_h",
    *,
    level: float = 0.90,
    survival_at: tuple[float, ...] = (),
) -> PooledWeibull:
    """How long do the seals of each class last, where thin classes borrow from the others?

    Parameters
    ----------
    lives, by, clock, level, survival_at
        As for `seallife.life.fit_lives`.
    """
    use = usable_lives(lives, by, clock)
    return pool_weibull(use.middle, use.failed, level=level, survival_at=survival_at, **use.grouped)


def mixtures_of_lives(
    lives: pd.DataFrame,
    by: str = "service_class",
    clock: Clock = "run_h",
    *,
    level: float = 0.90,
) -> MixtureVerdicts:
    """In which classes does one Weibull hide an early-failing part?

    Parameters
    ----------
    lives, by, clock, level
        As for `seallife.life.fit_lives`.
    """
    use = usable_lives(lives, by, clock)
    return hides_mixture(use.middle, use.failed, level=level, **use.grouped)


def laws_of_lives(
    lives: pd.DataFrame,
    by: str = "service_class",
    clock: Clock = "run_h",
    *,
    level: float = 0.90,
    **settings: Any,
) -> LawChoice:
    """Which law do the lives of each class follow, as far as they can tell?

    Parameters
    ----------
    lives, by, clock, level
        As for `seallife.life.fit_lives`.
    **settings
        ``laws``, ``folds``, ``resamples``, ``seed`` of `seallife.life.choose_law`.
    """
    use = usable_lives(lives, by, clock)
    return choose_law(use.middle, use.failed, level=level, **use.grouped, **settings)


def rates_of_lives(
    lives: pd.DataFrame,
    by: str = "service_class",
    clock: Clock = "run_h",
    *,
    level: float = 0.90,
) -> pd.DataFrame:
    """How high is the failure rate of each class at each age, as counted?

    Parameters
    ----------
    lives, by, clock, level
        As for `seallife.life.fit_lives`, which tells the rate by the law.

    Returns
    -------
    DataFrame
        Of `seallife.life.exposure_table`, in bands that widen with age.
    """
    use = usable_lives(lives, by, clock)
    edges = np.array([*_BAND_YEARS, np.inf]) * use.year
    edges = np.r_[edges[edges < use.oldest], use.oldest]
    return exposure_table(use.middle, use.failed, edges, level=level, **use.grouped)


_BAND_YEARS = (0.0, 0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 9.0, 13.0, 20.0, 30.0)


def incidence_of_lives(
    lives: pd.DataFrame,
    cause: str,
    by: str | None = "service_class",
    clock: Clock = "run_h",
    *,
    level: float = 0.90,
) -> Incidence:
    """What share of seals has failed from each cause by each age?

    Parameters
    ----------
    lives, clock, level
        As for `seallife.life.fit_lives`.
    cause : str
        Column that names what a failed life failed from; where it is empty or 'unknown' the cause
        is ``not told``.
    by : str, optional
        Column of the class; all lives together where None.

    Raises
    ------
    InputError
        If a column is missing.
    """
    use, words, grouped = _caused(lives, cause, by, clock)
    return cumulative_incidence(use.middle, words, level=level, **grouped)


def cause_fits_of_lives(
    lives: pd.DataFrame,
    cause: str,
    by: str | None = "service_class",
    clock: Clock = "run_h",
    *,
    level: float = 0.90,
) -> CauseFits:
    """Which law does each cause follow, and do the causes age differently?

    Parameters
    ----------
    lives, cause, by, clock, level
        As for `incidence_of_lives`.
    """
    use, words, grouped = _caused(lives, cause, by, clock)
    return fit_causes(use.middle, words, level=level, **grouped)


def _caused(
    lives: pd.DataFrame, cause: str, by: str | None, clock: Clock
) -> tuple[UsableLives, NDArray[Any], dict[str, Any]]:
    """Lives as arrays with the cause of each failure, '' for a life that did not fail."""
    if cause not in lives:
        raise InputError(f"has no column {cause}", where="lives", hint="name the column of causes")
    whole = "_whole_"
    marked = lives.assign(**{whole: WHOLE_FLEET}) if by is None else lives
    use = usable_lives(marked, by or whole, clock)
    words = np.where(use.failed, told_causes(lives[cause]).to_numpy(dtype=object), "")
    return use, words, use.grouped


def told_causes(said: pd.Series) -> pd.Series:
    """Causes as the records give them, ``not told`` where they say nothing."""
    words = said.astype(object).where(said.notna(), "").astype(str).str.strip()
    return words.mask(words.isin(_SILENT), NOT_TOLD)
