"""Survival curves of all groups: read at an age, turned round, averaged.

In: the steps of a product-limit estimate. Out: tables. Next: `seallife.life.nonparametric`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.life.groups import Floats, Ints, running_sum, segment_max, segment_min, segment_sum
from seallife.life.result import TableResult
from seallife.life.risksets import RiskSets

__all__ = ["Limits", "SurvivalCurves", "crossing", "survival_limits"]

Limits = Literal["log-log", "log", "logit"]


@dataclass(frozen=True, eq=False)
class SurvivalCurves(TableResult):
    """Survival of all groups by age, as steps.

    Attributes
    ----------
    table : DataFrame
        Per group: counts, ``exposure``, ``oldest_age``, ``median`` with limits (NaN where the
        curve or its limit does not come down to one half), ``status``, ``message``.
    limits : str
        Scale of the limits.
    start : float
        Age at which the curves start at 1.
    offsets : ndarray of int, shape (g + 1,)
        Steps of group i are ``offsets[i]:offsets[i + 1]`` of the arrays below.
    age, at_risk, failures, survival, se, low, high : ndarray, shape (k,)
        One entry per age with a failure. Limits are NaN where survival is 0.
    risk_sets : RiskSets
        Lives at risk at every age at which one enters or ends.
    """

    limits: str
    start: float
    offsets: Ints
    age: Floats
    at_risk: Floats
    failures: Floats
    survival: Floats
    se: Floats
    low: Floats
    high: Floats
    risk_sets: RiskSets

    @cached_property
    def cum_hazard(self) -> Floats:
        """Nelson-Aalen cumulative hazard at each step, shape (k,)."""
        return running_sum(self.failures / self.at_risk, self.offsets)

    @cached_property
    def cum_hazard_se(self) -> Floats:
        """Its standard error, from the sum of d / n^2, shape (k,)."""
        return np.sqrt(running_sum(self.failures / self.at_risk**2, self.offsets))

    @property
    def curves(self) -> pd.DataFrame:
        """One row per group and age with a failure."""
        names = ("age", "at_risk", "failures", "survival", "se", "low", "high")
        columns = {name: getattr(self, name) for name in (*names, "cum_hazard", "cum_hazard_se")}
        return pd.DataFrame({"group": self._labels(np.diff(self.offsets)), **columns})

    def at(self, ages: ArrayLike) -> pd.DataFrame:
        """Survival of each group at given ages, and how many lives it rests on there.

        Parameters
        ----------
        ages : array_like, shape (m,)
            Ages; NaN results beyond the oldest age seen in a group.

        Returns
        -------
        DataFrame
            ``group``, ``age``, ``at_risk``, ``survival``, ``se``, ``low``, ``high``. Before the
            first failure survival is 1 with no limits.
        """
        wanted = np.asarray(ages, dtype=np.float64)
        if wanted.ndim != 1 or np.isnan(wanted).any():
            raise InputError("must be a one-dimensional list of ages", where="ages")
        groups = len(self.offsets) - 1
        oldest = self.table["oldest_age"].to_numpy(dtype=np.float64)
        out = {k: np.full((groups, len(wanted)), np.nan) for k in ("survival", "se", "low", "high")}
        at_risk = np.zeros((groups, len(wanted)))
        sets = self.risk_sets
        for j, age in enumerate(wanted):
            seen = (age <= oldest) & (age >= self.start)
            steps = segment_sum(self.age <= age, self.offsets).astype(np.int64)
            place = self.offsets[:-1] + steps - 1
            out["survival"][:, j] = np.where(seen, 1.0, np.nan)
            some = seen & (steps > 0)
            for name, column in out.items():
                column[some, j] = getattr(self, name)[place[some]]
            next_age = sets.offsets[:-1] + segment_sum(sets.age < age, sets.offsets).astype(
                np.int64
            )
            at_risk[seen, j] = sets.at_risk[next_age[seen]]
        return pd.DataFrame(
            {
                "group": self._labels(np.full(groups, len(wanted))),
                "age": np.tile(wanted, groups),
                "at_risk": at_risk.ravel(),
                **{name: column.ravel() for name, column in out.items()},
            }
        )

    def running(self, ages: ArrayLike) -> pd.DataFrame:
        """Survival of each group at given ages, with limits before the first failure too.

        Parameters
        ----------
        ages : array_like, shape (m,)

        Returns
        -------
        DataFrame
            As from `at`. Before the first failure ``high`` is 1, and ``low`` the survival p with
            which all of n seals still run with a chance of p ** n = (1 - level) / 2, where n is
            the fewest at risk at any age so far: whatever the law, it could have put its failures
            there. It is 0 where at some age none was at risk.
        """
        out = self.at(ages)
        wanted = np.asarray(ages, dtype=np.float64)
        sets = self.risk_sets
        # those at risk at an event were so since the event before
        before = np.concatenate(([self.start], sets.age[:-1]))
        before[sets.offsets[:-1][np.diff(sets.offsets) > 0]] = self.start
        fewest = np.zeros((len(self.offsets) - 1, len(wanted)))
        for j, age in enumerate(wanted):
            passed = (before < age) & (sets.age > self.start)
            fewest[:, j] = segment_min(np.where(passed, sets.at_risk, np.inf), sets.offsets)
        none_yet = (out["survival"].to_numpy() == 1) & out["low"].isna().to_numpy()
        with np.errstate(divide="ignore"):
            least = ((1 - self.level) / 2) ** (1 / fewest.ravel())
        out["low"] = np.where(none_yet, least, out["low"])
        out["high"] = np.where(none_yet, 1.0, out["high"])
        return out

    def plotting_positions(self) -> pd.DataFrame:
        """Where do the failures stand on probability paper?

        Returns
        -------
        DataFrame
            Per group and age with a failure: ``group``, ``age``, ``at_risk``, ``failures``;
            ``failed``, the share failed at the middle of the step, so that all who lived through
            it lie half below and half above; ``low`` and ``high``, the limits of the share failed
            behind the step. NaN from where a risk set emptied while older lives still ran: from
            there on the curve says nothing.

        Examples
        --------
        >>> from seallife.life.nonparametric import kaplan_meier
        >>> kaplan_meier([10, 20, 30, 40], [1, 1, 1, 1]).plotting_positions()["failed"].tolist()
        [0.125, 0.375, 0.625, 0.875]

        Source
        ------
        Meeker & Escobar (1998), Statistical Methods for Reliability Data, section 6.4 (from
        memory); of complete lives these are the positions (i - 1/2) / n of Hazen (1914).
        """
        first = self.offsets[:-1][np.diff(self.offsets) > 0]
        above = np.concatenate(([1.0], self.survival[:-1]))
        above[first] = 1.0
        void = np.repeat(
            self.table["status"].to_numpy() == "risk set emptied", np.diff(self.offsets)
        )
        void = void & (self.survival == 0)
        failed = np.where(void, np.nan, 1 - (above + self.survival) / 2)
        return pd.DataFrame(
            {
                "group": self._labels(np.diff(self.offsets)),
                "age": self.age,
                "at_risk": self.at_risk,
                "failures": self.failures,
                "failed": failed,
                "low": 1 - self.high,
                "high": 1 - self.low,
            }
        )

    def band_ages(self, count: int = 24) -> Floats:
        """At which ages should a law be asked for its limits, so that a band can be drawn?

        Parameters
        ----------
        count : int
            Ages spread evenly on the log scale from the first failure to the oldest life of any
            group with failures; the oldest age of each such group is added.

        Returns
        -------
        ndarray
            For ``survival_at`` of `fit_weibull` and `fit_lives`; empty without failures.
        """
        some = self.table["failures"].to_numpy() > 0
        oldest = self.table["oldest_age"].to_numpy(dtype=np.float64)[some]
        if not len(oldest):
            return oldest
        return np.unique(np.r_[np.geomspace(self.age.min(), oldest.max(), count), oldest])

    def quantile(self, share: float) -> pd.DataFrame:
        """Age by which a share has failed, with Brookmeyer-Crowley limits; NaN where not reached.

        Parameters
        ----------
        share : float
            Share failed: 0.5 for the median.
        """
        if not 0 < share < 1:
            raise InputError(f"is {share!r}", where="share", hint="give a share between 0 and 1")
        low = np.where(self.survival == 0, 0.0, self.low)
        columns = {"age": self.survival, "low": low, "high": self.high}
        ages = {k: crossing(self.age, c, self.offsets, 1 - share) for k, c in columns.items()}
        return pd.DataFrame({"group": self.table["group"], "share": share, **ages})

    def restricted_mean(self, horizon: float) -> pd.DataFrame:
        """Mean age at failure counted up to a horizon, with standard error and limits.

        Parameters
        ----------
        horizon : float
            Age up to which life is counted.

        Returns
        -------
        DataFrame
            ``group``, ``horizon``, ``mean``, ``se``, ``low``, ``high``, ``status``, ``message``.
            NaN where a group has no life that old while some still run.

        Notes
        -----
        Limits are set on the scale of log(-log) of the mean over the horizon, and so stay inside
        it. Where none has failed before the horizon the upper limit is the horizon and the lower
        one exact, whatever the law: with w(t) the share of the horizon left at age t and n(t) the
        lives at risk it is the horizon times alpha to the power max w(t)/n(t).

        Source
        ------
        Klein & Moeschberger (1997), eq. 4.5.1 and 4.5.2.
        """
        if not (np.isfinite(horizon) and horizon > self.start):
            raise InputError(f"is {horizon!r}", where="horizon", hint="give an age above the start")
        clipped = np.minimum(self.age, horizon)
        sizes = np.diff(self.offsets)
        following = np.append(clipped[1:], horizon)
        following[self.offsets[1:][sizes > 0] - 1] = horizon
        area = self.survival * (following - clipped)
        # from each step to the horizon
        beyond = np.repeat(segment_sum(area, self.offsets), sizes)
        beyond = beyond - running_sum(area, self.offsets) + area
        first = segment_min(clipped, self.offsets)
        mean = np.minimum(first, horizon) - self.start + segment_sum(area, self.offsets)
        left = self.at_risk - self.failures
        weight = np.where(left > 0, self.failures / (self.at_risk * np.maximum(left, 1e-300)), 0.0)
        se = np.sqrt(segment_sum(np.where(self.age < horizon, beyond**2 * weight, 0), self.offsets))
        oldest = self.table["oldest_age"].to_numpy(dtype=np.float64)
        emptied = segment_sum(self.survival == 0, self.offsets) > 0
        short = ~(oldest >= horizon) & ~emptied
        mean, se = np.where(short, np.nan, mean), np.where(short, np.nan, se)
        width = horizon - self.start
        with np.errstate(divide="ignore", invalid="ignore"):
            logs, variance = np.log(mean / width), (se / mean) ** 2
        low, high = survival_limits(logs, variance, self.level, "log-log")
        none = ~short & (segment_sum(self.age < horizon, self.offsets) == 0)
        low = np.where(none, width * self._none_failed(horizon), width * low)
        note = "No life seen to the horizon: choose one within the oldest age."
        return pd.DataFrame(
            {
                "group": self.table["group"],
                "horizon": float(horizon),
                "mean": mean,
                "se": se,
                "low": low,
                "high": np.where(none, width, width * high),
                "status": np.where(short, "horizon beyond data", self.table["status"]),
                "message": np.where(short, note, self.table["message"]),
            }
        )

    def _none_failed(self, horizon: float) -> Floats:
        """Least share of the way to a horizon that lives of which none failed allow, (g,)."""
        sets, width = self.risk_sets, horizon - self.start
        since = np.concatenate(([0.0], sets.age[:-1]))
        since[sets.offsets[:-1][np.diff(sets.offsets) > 0]] = 0.0
        left = np.maximum(1 - (np.maximum(since, self.start) - self.start) / width, 0.0)
        counts = (sets.age > self.start) & (left > 0)
        with np.errstate(divide="ignore", invalid="ignore"):
            pull = segment_max(np.where(counts, left / sets.at_risk, 0.0), sets.offsets)
        least: Floats = ((1 - self.level) / 2) ** np.maximum(pull, 0.0)
        return least

    def _labels(self, counts: Ints) -> Any:
        """Label of each row of a long table."""
        return np.repeat(self.table["group"].to_numpy(dtype=object), counts)


def crossing(age: Floats, curve: Floats, offsets: Ints, height: float) -> Floats:
    """First age of each group at which the curve is down to ``height``; NaN where it stays above.

    A curve is a product of fractions, so a hair's breadth above counts as down.
    """
    with np.errstate(invalid="ignore"):
        down = curve <= height * (1 + 1e-12)
    first = segment_min(np.where(down, age, np.inf), offsets)
    return np.where(np.isfinite(first), first, np.nan)


def survival_limits(
    log_survival: Floats, variance: Floats, level: float, limits: Limits
) -> tuple[Floats, Floats]:
    """Limits of a survival from its log and the variance of that (Greenwood's sum).

    NaN where survival is 0 or 1.
    """
    from scipy.special import ndtri

    wide = ndtri((1 + level) / 2) * np.sqrt(variance)
    inside = (log_survival < 0) & np.isfinite(log_survival)
    every = bool(inside.all())
    log_s = log_survival if every else np.where(inside, log_survival, -1.0)
    if limits == "log":
        low, high = np.exp(log_s - wide), np.exp(np.minimum(log_s + wide, 0.0))
    elif limits == "logit":
        odds = -np.exp(log_s) / np.expm1(log_s)
        power = np.exp(wide / -np.expm1(log_s))
        low, high = odds / (odds + power), odds / (odds + 1 / power)
    else:
        power = np.exp(-wide / log_s)
        low, high = np.exp(log_s * power), np.exp(log_s / power)
    if every:
        return low, high
    return np.where(inside, low, np.nan), np.where(inside, high, np.nan)
