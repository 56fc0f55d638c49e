"""Cumulative incidence of all causes: kept as steps, read at an age.

In: the steps of an Aalen-Johansen estimate. Out: tables. Next: `seallife.life.incidence`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.life.groups import Floats, Ints, segment_sum
from seallife.life.result import TableResult
from seallife.life.risksets import RiskSets

__all__ = ["Incidence", "none_seen"]


@dataclass(frozen=True, eq=False)
class Incidence(TableResult):
    """Cumulative incidence of every cause in every group, as steps.

    Attributes
    ----------
    table : DataFrame
        Per group: counts, ``exposure``, ``oldest_age``, ``causes`` (how many were seen),
        ``status``, ``message``.
    causes : tuple of str
        All causes, sorted; each has a curve in each group, flat at 0 where it was not seen.
    offsets : ndarray of int, shape (g + 1,)
        Steps of group i are ``offsets[i]:offsets[i + 1]`` of the arrays below.
    age, at_risk, survival : ndarray, shape (s,)
        Ages at which a life failed from any cause; lives at risk there; share still running after.
    events, incidence, se, low, high : ndarray, shape (s, k)
        One column per cause.
    risk_sets : RiskSets
        Lives at risk at every age at which one enters or ends.
    """

    causes: tuple[str, ...]
    offsets: Ints
    age: Floats
    at_risk: Floats
    survival: Floats
    events: Floats
    incidence: Floats
    se: Floats
    low: Floats
    high: Floats
    risk_sets: RiskSets

    @property
    def curves(self) -> pd.DataFrame:
        """One row per group, cause and age with a failure of any cause."""
        labels = self.table["group"].to_numpy(dtype=object)
        group = np.repeat(np.arange(len(labels)), np.diff(self.offsets))
        cause = np.tile(np.arange(len(self.causes)), len(self.age))
        step = np.repeat(np.arange(len(self.age)), len(self.causes))
        order = np.lexsort((step, cause, group[step]))
        step, cause = step[order], cause[order]
        return pd.DataFrame(
            {
                "group": labels[group[step]],
                "cause": np.array(self.causes, dtype=object)[cause],
                "age": self.age[step],
                "at_risk": self.at_risk[step],
                **{
                    name: getattr(self, name)[step, cause]
                    for name in ("events", "incidence", "se", "low", "high")
                },
            }
        )

    def at(self, ages: ArrayLike) -> pd.DataFrame:
        """Incidence of each cause in each group at given ages.

        Parameters
        ----------
        ages : array_like, shape (m,)
            Ages; NaN results beyond the oldest age seen in a group.

        Returns
        -------
        DataFrame
            ``group``, ``cause``, ``age``, ``at_risk``, ``incidence``, ``se``, ``low``, ``high``,
            ``survival``. While a cause has not been seen its upper limit is what none of the lives
            at risk at that age allows.

        Raises
        ------
        InputError
            If ``ages`` is not a one-dimensional list of ages.
        """
        wanted = np.asarray(ages, dtype=np.float64)
        if wanted.ndim != 1 or np.isnan(wanted).any():
            raise InputError("must be a one-dimensional list of ages", where="ages")
        g, k, m = len(self.table), len(self.causes), len(wanted)
        oldest = self.table["oldest_age"].to_numpy(dtype=np.float64)
        names = ("incidence", "se", "low", "high")
        out = {name: np.full((g, k, m), np.nan) for name in names}
        at_risk, survival = np.zeros((g, m)), np.full((g, m), np.nan)
        sets = self.risk_sets
        for j, age in enumerate(wanted):
            seen = (age <= oldest) & (age >= 0)
            steps = segment_sum(self.age <= age, self.offsets).astype(np.int64)
            place, some = self.offsets[:-1] + steps - 1, seen & (steps > 0)
            following = sets.offsets[:-1] + segment_sum(sets.age < age, sets.offsets).astype(int)
            at_risk[seen, j] = sets.at_risk[following[seen]]
            for name, column in out.items():
                column[seen, :, j] = 0.0
                column[some, :, j] = getattr(self, name)[place[some]]
            survival[seen, j] = 1.0
            survival[some, j] = self.survival[place[some]]
        none = out["incidence"] == 0
        bound = np.broadcast_to(none_seen(at_risk, self.level)[:, None, :], none.shape)
        out["high"] = np.where(none, bound, out["high"])
        labels = self.table["group"].to_numpy(dtype=object)
        wide = (g, k, m)
        return pd.DataFrame(
            {
                "group": np.repeat(labels, k * m),
                "cause": np.tile(np.repeat(np.array(self.causes, dtype=object), m), g),
                "age": np.tile(wanted, g * k),
                "at_risk": np.broadcast_to(at_risk[:, None, :], wide).ravel(),
                **{name: column.ravel() for name, column in out.items()},
                "survival": np.broadcast_to(survival[:, None, :], wide).ravel(),
            }
        )


def none_seen(at_risk: Floats, level: float) -> Floats:
    """Upper limit of a share of which ``at_risk`` lives showed none; NaN where there are none."""
    with np.errstate(divide="ignore", invalid="ignore"):
        high = 1 - ((1 - level) / 2) ** (1 / at_risk)
    return np.where(at_risk > 0, high, np.nan)
