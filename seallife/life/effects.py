"""How much longer or shorter seals live by each factor: the result of a regression.

In: what `seallife.life.effecttable` made. Out: `FactorEffects`. Next: figures, report.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.life.design import Design
from seallife.life.groups import Floats
from seallife.life.newton import Spread
from seallife.life.result import TableResult

__all__ = ["FactorEffects"]


@dataclass(frozen=True, eq=False)
class FactorEffects(TableResult):
    """How much longer or shorter seals live by each factor.

    Attributes
    ----------
    table : DataFrame
        Per term: ``term`` (what is compared), ``factor``, ``label`` and ``against`` (groups; ''
        for a number), ``step``, ``n`` and ``failures`` (of the group, or of all), ``clusters`` (on
        the side of the comparison with fewer);
        ``coef`` (log ratio of one unit), ``se`` (behind the limits), ``se_model``, ``se_robust``;
        ``ratio``, ``low``, ``high`` of the step, ``p``, ``says`` (the same in words), ``status``,
        ``message``. The ratio is one of lives (Weibull) or of failure rates (Cox). Where all that
        is known of one lies in a single cluster, or there are no limits, it is NaN and the row says
        so; ``coef`` stands all the same.
    kind : {'time ratio', 'hazard ratio'}
    tests : DataFrame
        Of all factors together and of each: ``factor``, ``df``, ``loglik`` without it,
        likelihood-ratio ``chi2`` and ``p``, which hold for independent lives; ``p_robust`` holds
        with clusters too.
    checks : DataFrame
        Assumptions: ``check``, ``factor``, ``value``, ``df``, ``p``, ``finding`` ('nothing found',
        'doubt', 'not checked'), ``message``.
    left_out : DataFrame
        ``factor`` and ``reason`` of each factor, and each stratum, not used.
    baseline : DataFrame
        Weibull: per ``stratum``, ``shape`` with limits and ``scale`` at the mean of each number
        and the reference of each group. Cox: per ``stratum`` and ``age`` with a failure, lives
        ``at_risk``, ``cum_hazard`` and ``survival`` of the same seal.
    loglik, loglik_none : float
        Log-likelihood with and without the factors.
    n, failures, clusters : int
        Of the lives used; ``clusters`` is 0 where none were given.
    missing : int
        Lives left out for a missing value.
    status, message : str
        Of the whole.
    """

    kind: str
    tests: pd.DataFrame
    checks: pd.DataFrame
    left_out: pd.DataFrame
    baseline: pd.DataFrame
    loglik: float
    loglik_none: float
    n: int
    failures: int
    clusters: int
    missing: int
    status: str
    message: str
    design: Design = field(repr=False)
    coef: Floats = field(repr=False)
    spread: Spread | None = field(repr=False)

    def survival(
        self, ages: ArrayLike, factors: pd.DataFrame | None = None, *, start: float = 0.0
    ) -> pd.DataFrame:
        """Share still running at each age, of seals with given factors.

        Parameters
        ----------
        ages : array_like, shape (m,)
        factors : DataFrame, shape (k, ...), optional
            Seals by their factors; without it the seal of ``baseline``.
        start : float
            Given that this age was reached. With late entry the youngest ages often have a handful
            at risk, and a curve that begins there rests on them.

        Returns
        -------
        DataFrame
            ``row`` (of ``factors``), ``stratum``, ``age``, ``survival``; NaN below ``start`` and,
            by Cox, beyond the oldest age with a failure.

        Raises
        ------
        InputError
            If the factors are not those of the fit.
        """
        at = np.asarray(ages, dtype=np.float64)
        if at.ndim != 1 or not np.all(np.isfinite(at) & (at >= 0)):
            raise InputError("must be a list of ages of 0 or more", where="ages")
        x = np.zeros((1, len(self.coef))) if factors is None else self.design.encode(factors)
        return _survival_rows(self.baseline, x @ self.coef, at, start, self.kind)


def _survival_rows(
    baseline: pd.DataFrame, log_ratio: Floats, ages: Floats, start: float, kind: str
) -> pd.DataFrame:
    """Read survival at ages off a baseline, for seals with given log ratios."""
    rows = []
    known = baseline.groupby("stratum", sort=True) if len(baseline) else ()
    for name, part in known:
        for i, move in enumerate(log_ratio):
            if kind == "time ratio":
                shape, scale = float(part["shape"].iloc[0]), float(part["scale"].iloc[0])
                hazard = np.exp(-shape * move) * (np.append(ages, start) / scale) ** shape
            else:
                at, cum = part["age"].to_numpy(), np.append(0.0, part["cum_hazard"].to_numpy())
                steps = np.searchsorted(at, np.append(ages, start), side="right")
                hazard = np.exp(move) * cum[steps]
                hazard[:-1][ages > at[-1]] = np.nan
            survival = np.where(ages < start, np.nan, np.exp(hazard[-1] - hazard[:-1]))
            rows.append(
                pd.DataFrame({"row": i, "stratum": name, "age": ages, "survival": survival})
            )
    empty = pd.DataFrame(columns=["row", "stratum", "age", "survival"])
    return pd.concat(rows, ignore_index=True) if rows else empty
