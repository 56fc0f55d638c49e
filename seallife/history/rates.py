"""Mean time between events, shares and the ratio of two rates, with exact limits.

In: exposure and counts as plain numbers. Out: estimates with limits and words. Next:
`seallife.history.mtbr`.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.errors import InputError

__all__ = ["compare_rates", "expected_counts", "mtbr", "share_limits"]

Floats = npt.NDArray[np.float64]


def mtbr(
    exposure: npt.ArrayLike,
    events: npt.ArrayLike,
    *,
    level: float = 0.90,
    truncated_by: Literal["time", "failure"] = "time",
    sides: Literal["two", "lower"] = "two",
    dispersion: npt.ArrayLike = 1.0,
) -> pd.DataFrame:
    """How long between events, and between which limits?

    Parameters
    ----------
    exposure : array_like, shape (n,)
        Time at risk summed over positions, any unit.
    events : array_like of int, shape (n,)
        Repairs (for MTBR) or failures (for MTBF) in it.
    level : float
        Level of the interval, two-sided or one-sided as ``sides`` says.
    truncated_by : {'time', 'failure'}
        Whether watching stopped at a date or at the last event.
    sides : {'two', 'lower'}
        'lower': ``low`` alone holds at ``level``; ``high`` is infinite.
    dispersion : array_like, scalar or shape (n,)
        Variance of the count over its mean, from `seallife.history.clustering`; 1 for exact
        Poisson limits. Above it limits are those of events / dispersion in exposure / dispersion:
        as many clusters as that are told by the events, each of its own luck.

    Returns
    -------
    pandas.DataFrame
        exposure, events, mean_time, low, high in the unit of ``exposure``, status, message.
        Without events ``mean_time`` is missing and ``high`` infinite: only a lower limit exists.

    Raises
    ------
    InputError
        Negative or missing values, a level outside (0, 1), a dispersion that is not above 0, or
        no event where watching stopped at one.

    Source
    ------
    Exact Poisson limits by chi-square quantiles: Epstein & Sobel 1953; NIST/SEMATECH e-Handbook
    of Statistical Methods, sec. 8.4.5.1.

    Examples
    --------
    >>> mtbr([190.0], [38]).round(1)[["mean_time", "low", "high"]].iloc[0].tolist()
    [5.0, 3.8, 6.7]
    """
    from scipy.special import chdtri  # inverse of the chi-square survival function

    t, n = np.atleast_1d(np.asarray(exposure, float)), np.atleast_1d(np.asarray(events, float))
    if not 0 < level < 1:
        raise InputError(f"is {level}, not between 0 and 1", where="level")
    for name, values in (("exposure", t), ("events", n)):
        bad = ~np.isfinite(values) | (values < 0)
        if bad.any():
            i = int(np.flatnonzero(bad)[0])
            raise InputError(f"value {i} is {values[i]}, not zero or more", where=name)
    if truncated_by == "failure" and (n < 1).any():
        raise InputError("is 0 where watching stopped at an event", where="events")
    size = np.asarray(dispersion, dtype=float)
    if (~np.isfinite(size) | (size <= 0)).any():
        raise InputError("must be above 0", where="dispersion", hint="1 for the Poisson law")
    alpha = (1 - level) / 2 if sides == "two" else 1 - level
    freedom = 2 * n / size
    low = 2 * t / size / chdtri(freedom + (2 if truncated_by == "time" else 0), alpha)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = np.where(n > 0, t / n, np.nan)
        some = np.where(n > 0, freedom, 1.0)
        high = np.where(n > 0, 2 * t / size / chdtri(some, 1 - alpha), np.inf)
    if sides == "lower":
        high = np.full_like(low, np.inf)
    none = n == 0
    confidence = f"{1 - alpha:.3g}"
    table = pd.DataFrame({"exposure": t, "events": n.astype(int), "mean_time": mean})
    return table.assign(
        low=low,
        high=high,
        status=np.where(t <= 0, "no exposure", np.where(none, "no events", "ok")),
        message=np.where(
            t <= 0,
            "no time at risk, so nothing can be said",
            np.where(none, f"no event seen: only a lower limit, one-sided at {confidence}", ""),
        ),
    )


def share_limits(
    part: npt.ArrayLike, whole: npt.ArrayLike, level: float = 0.90
) -> tuple[Floats, Floats]:
    """Between which limits does a share lie, given so many of so many?

    Parameters
    ----------
    part, whole : array_like, shape (n,)
        Counts.
    level : float
        Two-sided level.

    Source
    ------
    Clopper & Pearson (1934), Biometrika 26: exact limits from the beta distribution.

    Examples
    --------
    >>> [limit.round(3).tolist() for limit in share_limits([2], [20])]
    [[0.018], [0.283]]
    """
    from scipy.special import betaincinv

    k, n = np.asarray(part, float), np.asarray(whole, float)
    alpha = (1 - level) / 2
    low = np.where(k > 0, betaincinv(np.where(k > 0, k, 1), n - k + 1, alpha), 0.0)
    high = np.where(k < n, betaincinv(k + 1, np.where(k < n, n - k, 1), 1 - alpha), 1.0)
    return np.where(n > 0, low, np.nan), np.where(n > 0, high, np.nan)


def compare_rates(
    events: tuple[float, float],
    exposure: tuple[float, float],
    *,
    level: float = 0.90,
    dispersion: float = 1.0,
) -> dict[str, float | str]:
    """Is the second event rate lower than the first, by more than chance?

    Parameters
    ----------
    events, exposure : tuple of two floats
        Counts and time at risk, before and after.
    level : float
        Two-sided level of the ratio's interval.
    dispersion : float
        Variance of the counts over their mean, as for `mtbr`.

    Returns
    -------
    dict
        ``ratio`` (rate after over rate before, nan without events before), ``low``, ``high``,
        ``verdict``: 'improved', 'worse', 'no evidence' or 'cannot tell yet', ``more_years`` of
        exposure it takes to tell, and ``message``.
        'cannot tell yet' is said where even a halved rate would not have shown.

    Source
    ------
    Conditional on the total, the later count is binomial; exact (Clopper-Pearson) limits.
    """
    (n0, n1), (t0, t1) = (tuple(v / dispersion for v in pair) for pair in (events, exposure))
    total = n0 + n1
    low, high, ratio = 0.0, np.inf, np.nan
    if t0 > 0 and t1 > 0 and total > 0:
        share = [float(limit[0]) for limit in share_limits([n1], [total], level)]
        low, high = (p / (1 - p) * t0 / t1 if p < 1 else np.inf for p in share)
        ratio = n1 / t1 / (n0 / t0) if n0 else np.nan
    years = _exposure_needed(n0, t0, t1, level)
    if high < 1:
        verdict, message = "improved", "the rate fell by more than chance explains"
    elif low > 1:
        verdict, message = "worse", "the rate rose by more than chance explains"
    elif years > t1:
        verdict = "cannot tell yet"
        message = (
            f"even a halved rate would not show yet; about {dispersion * (years - t1):,.0f} more "
            "position-years are needed"
            if np.isfinite(years)
            else "there are too few events before to tell a halved rate from chance"
        )
    else:
        verdict, message = "no evidence", "the difference is within what chance explains"
    return {
        "ratio": ratio,
        "low": low,
        "high": high,
        "verdict": verdict,
        "more_years": dispersion * (years - t1) if verdict == "cannot tell yet" else 0.0,
        "message": message,
    }


def _exposure_needed(n0: float, t0: float, t1: float, level: float) -> float:
    """Later exposure at which a halved rate would give an upper limit below one."""
    if n0 <= 0 or t0 <= 0:
        return np.inf
    years = np.geomspace(max(t1, t0 / 20), 50 * t0, 60)
    halved = np.ceil(0.5 * n0 / t0 * years)
    _, share = share_limits(halved, halved + n0, level)
    shown = share / (1 - share) * t0 / years < 1
    return float(years[np.argmax(shown)]) if shown.any() else np.inf


def expected_counts(monthly: pd.DataFrame, level: float = 0.90) -> pd.DataFrame:
    """How many failures would each month bring if the rate had never changed?

    Parameters
    ----------
    monthly : pandas.DataFrame
        Rows of one group of `MtbrHistory.monthly`.
    level : float
        At least this share of months lies within ``low`` to ``high`` by chance.

    Returns
    -------
    pandas.DataFrame
        month, exposure_years, failures, expected, low, high, outside. Months without time at risk
        are left out.

    Source
    ------
    Quantiles of the Poisson law whose mean is exposure times the rate of the whole record.
    """
    from scipy.special import pdtr, pdtrik

    rows = monthly.loc[monthly["exposure_years"] > 0, ["month", "exposure_years", "failures"]]
    rows = rows.reset_index(drop=True)
    total = rows["exposure_years"].sum()
    rate = rows["failures"].sum() / total if total > 0 else 0.0
    mean = (rows["exposure_years"] * rate).to_numpy(dtype=float)
    alpha = (1 - level) / 2
    limits = []
    for share in (alpha, 1 - alpha):
        if rate == 0:
            limits.append(np.zeros(len(rows)))
            continue
        first = np.maximum(np.ceil(pdtrik(share, mean) - 1e-9), 0)
        # The inverse is continuous: one count less may do already.
        less = np.maximum(first - 1, 0)
        first = np.where(pdtr(less, mean) >= share, less, first)
        limits.append(np.nan_to_num(first))
    low, high = limits
    failures = rows["failures"].to_numpy(dtype=float)
    return rows.assign(
        expected=mean, low=low, high=high, outside=(failures < low) | (failures > high)
    )
