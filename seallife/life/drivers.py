"""What goes with longer and shorter lives of seals of the same class, by a table of lives?

In: the life table, the register, the changes. Out: `Drivers`. Next: figures, report.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from seallife.life.discovery import discovery_rate
from seallife.life.effects import FactorEffects
from seallife.life.factors import LifeFactors, life_factors
from seallife.life.regression import fit_cox_factors, fit_weibull_factors
from seallife.life.result import TableResult
from seallife.life.usable import Clock, usable_lives

__all__ = ["Drivers", "drivers_of_lives"]


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
    As for `seallife.life.fit_weibull_factors` and `fit_cox_factors`; Benjamini &
    Yekutieli (2001), Annals of Statistics 29, 1165-1188, for the number of terms that share lives.
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
    # positions share several conditions, and groups a reference: no term stands for itself
    adjusted = discovery_rate(out["p"], dependent=True)
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
