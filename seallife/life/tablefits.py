"""The models of seal life, asked of a table of lives: one clock, one class column.

In: the life table. Out: the result of each model. Next: `seallife.lifeanswers`.

A failure known only to an interval counts at its middle here; `seallife.life.fits` takes the
interval as it is. A life of unknown age keeps its class but weighs nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.errors import InputError
from seallife.life.causecurves import Incidence
from seallife.life.causefits import CauseFits
from seallife.life.causes import fit_causes
from seallife.life.choose import LawChoice, choose_law
from seallife.life.discovery import discovery_rate
from seallife.life.effects import FactorEffects
from seallife.life.factors import LifeFactors, life_factors
from seallife.life.incidence import cumulative_incidence
from seallife.life.mixture import MixtureVerdicts, hides_mixture
from seallife.life.pooling import PooledWeibull, pool_weibull
from seallife.life.regression import fit_cox_factors, fit_weibull_factors
from seallife.life.result import TableResult
from seallife.life.usable import Clock, UsableLives, usable_lives

__all__ = [
    "NOT_TOLD",
    "Drivers",
    "cause_fits_of_lives",
    "drivers_of_lives",
    "incidence_of_lives",
    "laws_of_lives",
    "mixtures_of_lives",
    "pool_lives",
]

NOT_TOLD = "not told"
"""Cause of a failure of which the records say nothing."""


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
        Column that names what a failed life failed from; an empty one counts as ``not told``.
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


@dataclass(frozen=True, eq=False)
class Drivers(TableResult):
    """What goes with longer and shorter lives, within classes.

    Attributes
    ----------
    table : DataFrame
        Per term: ``term``, ``factor``, ``failures``, ``clusters`` (positions); ``time_ratio`` of
        lives and ``rate_ratio`` of failure rates at equal age, each with ``_low``, ``_high``;
        ``p`` of the time ratio and ``p_adjusted`` for the number of terms (false discovery rate);
        ``verdict`` ('longer', 'shorter', 'no evidence', 'cannot tell yet'), ``status``,
        ``message``.
    lives, rates : FactorEffects
        The two models behind it.
    factors : LifeFactors
        What is known of each factor, and which are not used and why.
    """

    lives: FactorEffects
    rates: FactorEffects
    factors: LifeFactors

    @property
    def doubts(self) -> pd.DataFrame:
        """Assumptions that the data speak against, by model."""
        both = [
            m.checks[m.checks["finding"] == "doubt"].assign(model=m.kind)
            for m in (self.lives, self.rates)
        ]
        return pd.concat(both, ignore_index=True)


def drivers_of_lives(
    lives: pd.DataFrame,
    positions: pd.DataFrame,
    changes: pd.DataFrame | None = None,
    by: str = "service_class",
    clock: Clock = "run_h",
    *,
    level: float = 0.90,
) -> Drivers:
    """What goes with longer and shorter lives of seals of the same class?

    Parameters
    ----------
    lives : DataFrame
        Columns of the life table.
    positions, changes : DataFrame
        As for `seallife.life.life_factors`.
    by : str
        Column of the class: lives are compared within classes.
    clock, level
        As for `seallife.life.fit_lives`.

    Returns
    -------
    Drivers
        A term counts as 'longer' or 'shorter' where lives and failure rates both say so and it
        stands out among all terms (`p_adjusted`). Positions were not given their factors by lot: a
        term goes with a longer life, and need not be its cause.

    Raises
    ------
    InputError
        If a column is missing.

    Source
    ------
    As for `seallife.life.fit_weibull_factors` and `fit_cox_factors`; Benjamini & Hochberg (1995),
    JRSS B 57, 289-300, for the number of terms.
    """
    use = usable_lives(lives, by, clock)
    factors = life_factors(lives, positions, changes)
    kept = ~use.out
    chosen = factors.usable().drop(columns="fluid_class", errors="ignore")[kept]
    asked: dict[str, Any] = {
        "entry_age": use.entry[kept],
        "cluster": lives["position_id"].to_numpy(dtype=object)[kept],
        "stratum": use.label[kept],
        "steps": {name: step for name, step in factors.steps.items() if name in chosen},
        "level": level,
    }
    age, failed = use.middle[kept], use.failed[kept]
    times = fit_weibull_factors(age, failed, chosen, **asked)
    rates = fit_cox_factors(age, failed, chosen, **asked)
    method = (
        "Weibull time ratios and Cox rate ratios within classes, limits robust to positions that "
        f"differ, {'run hours' if use.unit == 'h' else 'calendar days'}"
    )
    return Drivers(_both(times, rates, level), level, method, times.source, times, rates, factors)


def _both(times: FactorEffects, rates: FactorEffects, level: float) -> pd.DataFrame:
    """Terms of both models side by side, with a verdict that takes both and all terms."""
    limits = ["ratio", "low", "high"]
    out = times.table[
        ["term", "factor", "failures", "clusters", *limits, "p", "says", "status", "message"]
    ].rename(columns=dict(zip(limits, _names("time"), strict=True)))
    rate = rates.table[["term", *limits]].rename(
        columns=dict(zip(limits, _names("rate"), strict=True))
    )
    out = out.merge(rate, on="term", how="left", validate="one_to_one")
    adjusted = discovery_rate(out["p"])
    known = np.isfinite(adjusted)
    told = known & np.isfinite(out["rate_ratio"].to_numpy(dtype=np.float64))
    stands = told & (adjusted <= 1 - level)
    longer = stands & (out["time_ratio_low"] > 1) & (out["rate_ratio_high"] < 1)
    shorter = stands & (out["time_ratio_high"] < 1) & (out["rate_ratio_low"] > 1)
    thin = ~told | (out["status"] != "ok")
    verdict = np.select(
        [longer & ~thin, shorter & ~thin, thin],
        ["longer", "shorter", "cannot tell yet"],
        "no evidence",
    )
    order = ["term", "factor", "failures", "clusters", *_names("time"), *_names("rate"), "p"]
    out = out.assign(p_adjusted=adjusted, verdict=verdict)
    return out[[*order, "p_adjusted", "verdict", "status", "message"]]


def _names(kind: str) -> list[str]:
    return [f"{kind}_ratio{end}" for end in ("", "_low", "_high")]


def _caused(
    lives: pd.DataFrame, cause: str, by: str | None, clock: Clock
) -> tuple[UsableLives, NDArray[Any], dict[str, Any]]:
    """Lives as arrays with the cause of each failure, '' for a life that did not fail."""
    if cause not in lives:
        raise InputError(f"has no column {cause}", where="lives", hint="name the column of causes")
    whole = "_all_"
    use = usable_lives(lives.assign(**{whole: "all"}) if by is None else lives, by or whole, clock)
    said = lives[cause].astype(object).where(lives[cause].notna(), "").astype(str).str.strip()
    words = np.where(use.failed, said.mask(said == "", NOT_TOLD).to_numpy(dtype=object), "")
    return use, words, use.grouped
