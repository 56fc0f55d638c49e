"""Are we getting better? Mean time between repairs and between failures, with exact limits.

In: `Observation`, `Removals`, groups of positions. Out: `MtbrHistory`. Next: `seallife.figures`,
`seallife.report`.

MTBR is time at risk over all seal removals, planned ones included. MTBF is time at risk over
failures. They are two numbers with two names. The unit is one seal position: a pump with two
seals counts twice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.clocks import RunClock, day_number
from seallife.errors import InputError
from seallife.events import Removals
from seallife.observation import Observation
from seallife.register import Register
from seallife.schema import DAYS_PER_YEAR

__all__ = ["DEFINITIONS", "MtbrHistory", "compare_rates", "mtbr", "mtbr_history"]

DEFINITIONS = {
    "MTBR": "time at risk of all seal positions divided by seal removals, planned ones included",
    "MTBF": "time at risk of all seal positions divided by seal failures",
}
_BY = ("all", "site", "unit", "service_class")
_ROLLING_MONTHS = 12
_CHUNK = 20_000  # stretches worked on at once, to bound memory

Floats = npt.NDArray[np.float64]


def mtbr(
    exposure: npt.ArrayLike,
    events: npt.ArrayLike,
    *,
    level: float = 0.90,
    truncated_by: Literal["time", "failure"] = "time",
    sides: Literal["two", "lower"] = "two",
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

    Returns
    -------
    pandas.DataFrame
        exposure, events, mean_time, low, high in the unit of ``exposure``, status, message.
        Without events ``mean_time`` is missing and ``high`` infinite: only a lower limit exists.

    Raises
    ------
    InputError
        Negative or missing values, a level outside (0, 1), or no event where watching stopped
        at one.

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
    alpha = (1 - level) / 2 if sides == "two" else 1 - level
    freedom = 2 * n + (2 if truncated_by == "time" else 0)
    low = 2 * t / chdtri(freedom, alpha)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = np.where(n > 0, t / n, np.nan)
        high = np.where(n > 0, 2 * t / chdtri(np.maximum(2 * n, 1), 1 - alpha), np.inf)
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


def compare_rates(
    events: tuple[float, float], exposure: tuple[float, float], *, level: float = 0.90
) -> dict[str, float | str]:
    """Is the second event rate lower than the first, by more than chance?

    Parameters
    ----------
    events, exposure : tuple of two floats
        Counts and time at risk, before and after.
    level : float
        Two-sided level of the ratio's interval.

    Returns
    -------
    dict
        ``ratio`` (rate after over rate before, nan without events before), ``low``, ``high``,
        ``verdict``: 'improved', 'worse', 'no evidence' or 'cannot tell yet', and ``message``.
        'cannot tell yet' is said where even a halved rate would not have shown.

    Source
    ------
    Conditional on the total, the later count is binomial; exact (Clopper-Pearson) limits.
    """
    from scipy.special import betaincinv

    (n0, n1), (t0, t1) = events, exposure
    total = n0 + n1
    alpha = (1 - level) / 2
    low, high, ratio = 0.0, np.inf, np.nan
    if t0 > 0 and t1 > 0 and total > 0:
        p_low = betaincinv(n1, n0 + 1, alpha) if n1 else 0.0
        p_high = betaincinv(n1 + 1, n0, 1 - alpha) if n0 else 1.0
        low = float(p_low / (1 - p_low) * t0 / t1)
        high = float(p_high / (1 - p_high) * t0 / t1) if p_high < 1 else np.inf
        ratio = n1 / t1 / (n0 / t0) if n0 else np.nan
    years = _exposure_needed(n0, t0, t1, alpha)
    if high < 1:
        verdict, message = "improved", "the rate fell by more than chance explains"
    elif low > 1:
        verdict, message = "worse", "the rate rose by more than chance explains"
    elif years > t1:
        verdict = "cannot tell yet"
        message = (
            f"even a halved rate would not show yet; about {years - t1:,.0f} more position-years "
            "are needed"
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
        "message": message,
    }


def _exposure_needed(n0: float, t0: float, t1: float, alpha: float) -> float:
    """Later exposure at which a halved rate would give an upper limit below one."""
    from scipy.special import betaincinv

    if n0 <= 0 or t0 <= 0:
        return np.inf
    for years in np.geomspace(max(t1, t0 / 20), 50 * t0, 60):
        n1 = np.ceil(0.5 * n0 / t0 * years)
        p = betaincinv(n1 + 1, n0, 1 - alpha)
        if p / (1 - p) * t0 / years < 1:
            return float(years)
    return np.inf


@dataclass(frozen=True)
class MtbrHistory:
    """MTBR and MTBF over time.

    Attributes
    ----------
    monthly : pandas.DataFrame
        by, group, month (its first day), exposure_years, exposure_h, removals, failures,
        unknown (removals of unknown reason, counted among the failures where the rules say so).
    rolling : pandas.DataFrame
        The same summed over the twelve months that end with ``month``, with mtbr_years and
        mtbf_years and their limits ``_low``, ``_high``. Neighbouring rows share eleven months:
        never test them for a trend.
    overall : pandas.DataFrame
        The whole of the records, one row a group, with positions and on both clocks
        (``mtbf_run_years`` counts run hours, 8,766 h a year).
    recent : pandas.DataFrame
        The last twelve months against the three years before: ratio of failure rates, limits,
        verdict, message.
    level : float
    unknown_as : str
        How removals of unknown reason are counted.
    """

    monthly: pd.DataFrame
    rolling: pd.DataFrame
    overall: pd.DataFrame
    recent: pd.DataFrame
    level: float
    unknown_as: str


def mtbr_history(
    register: Register,
    watched: Observation,
    removals: Removals,
    clock: RunClock,
    service_class: pd.Series,
    *,
    level: float = 0.90,
    unknown_as: str = "failed",
) -> MtbrHistory:
    """How did MTBR and MTBF go, month by month, by site, unit and service class?

    Parameters
    ----------
    register, watched, removals, clock
        Positions, their time at risk, removals and run hours.
    service_class : pandas.Series
        Position -> class.
    level : float
        Two-sided level of all limits.
    unknown_as : {'failed', 'withdrawn'}
        How removals of unknown reason are counted.
    """
    groups = _groups(register, service_class)
    edges = _month_edges(watched)
    days, hours = _exposure(watched, clock, edges)
    counts = _counts(removals, register, groups, edges, unknown_as)
    frames = []
    for by in _BY:
        of = watched.stretches["position_id"].map(groups[by]).to_numpy()
        names, code = np.unique(of.astype(str), return_inverse=True)
        for k, name in enumerate(names):
            mine = code == k
            frames.append(
                pd.DataFrame(
                    {
                        "by": by,
                        "group": name,
                        "month": edges[:-1],
                        "exposure_years": days[mine].sum(0) / DAYS_PER_YEAR,
                        "exposure_h": hours[mine].sum(0),
                    }
                )
            )
    monthly = pd.concat(frames, ignore_index=True)
    monthly = monthly.merge(counts, on=["by", "group", "month"], how="left")
    columns = ["removals", "failures", "unknown"]
    monthly[columns] = monthly[columns].fillna(0).astype(int)
    sizes = []
    for by in _BY:
        count = groups[by].value_counts().rename_axis("group").reset_index(name="positions")
        sizes.append(count.assign(by=by))
    size = pd.concat(sizes)
    return MtbrHistory(
        monthly,
        _rolling(monthly, level),
        _overall(monthly, size, level),
        _recent(monthly, level),
        level,
        unknown_as,
    )


def _groups(register: Register, service_class: pd.Series) -> pd.DataFrame:
    """Position -> its group for each way of grouping."""
    table = register.table.set_index("position_id")
    unit = table["unit"].where(table["unit"] != "", "no unit")
    return pd.DataFrame(
        {
            "all": "all",
            "site": table["site"],
            "unit": table["site"] + " / " + unit,
            "service_class": service_class.reindex(table.index),
        },
        index=table.index,
    )


def _month_edges(watched: Observation) -> pd.DatetimeIndex:
    """First days of the months that the records touch, and of the month after the last."""
    first = watched.windows["start"].min().to_period("M")
    last = (watched.windows["end"].max() - pd.Timedelta(days=1)).to_period("M")
    return pd.period_range(first, last + 1, freq="M").to_timestamp()


def _exposure(
    watched: Observation, clock: RunClock, edges: pd.DatetimeIndex
) -> tuple[Floats, Floats]:
    """Days and hours at risk of each stretch in each month, shape (stretches, months)."""
    rows = watched.stretches
    edge = day_number(edges)
    days, hours = np.empty((2, len(rows), len(edge) - 1))
    for at in range(0, len(rows), _CHUNK):
        part = rows.iloc[at : at + _CHUNK]
        start, end = day_number(part["start"]), day_number(part["end"])
        cut = np.clip(edge[None, :], start[:, None], end[:, None])
        days[at : at + _CHUNK] = np.diff(cut, axis=1)
        names = part["position_id"].repeat(len(edge))
        run, _ = clock.at(names, cut.ravel())
        hours[at : at + _CHUNK] = np.diff(run.reshape(cut.shape), axis=1)
    return days, hours


def _counts(
    removals: Removals,
    register: Register,
    groups: pd.DataFrame,
    edges: pd.DatetimeIndex,
    unknown_as: str,
) -> pd.DataFrame:
    """Removals and failures per group and month."""
    events = removals.table
    first = register.table.drop_duplicates("pump_key").set_index("pump_key")["position_id"]
    # Where the end of the pump is not named, its first seal stands for the pump's groups.
    position = events["position_id"].where(
        events["position_id"] != "", events["pump_key"].map(first)
    )
    ended = events["ended"].replace("unknown", unknown_as)
    base = pd.DataFrame(
        {
            "position_id": position,
            "month": events["end"].dt.to_period("M").dt.to_timestamp(),
            "removals": 1,
            "failures": (ended == "failed").astype(int),
            "unknown": (events["ended"] == "unknown").astype(int),
        }
    )
    frames = []
    for by in _BY:
        named = base.assign(by=by, group=base["position_id"].map(groups[by]).astype(str))
        sums = named.groupby(["by", "group", "month"])[["removals", "failures", "unknown"]].sum()
        frames.append(sums.reset_index())
    return pd.concat(frames, ignore_index=True)


def _with_means(table: pd.DataFrame, level: float) -> pd.DataFrame:
    """Add MTBR and MTBF in calendar years with limits."""
    for name, count in (("mtbr", "removals"), ("mtbf", "failures")):
        got = mtbr(table["exposure_years"], table[count], level=level)
        table[f"{name}_years"] = got["mean_time"].to_numpy()
        table[f"{name}_years_low"] = got["low"].to_numpy()
        table[f"{name}_years_high"] = got["high"].to_numpy()
    return table


_SUMS = ["exposure_years", "exposure_h", "removals", "failures", "unknown"]


def _rolling(monthly: pd.DataFrame, level: float) -> pd.DataFrame:
    """Twelve-month sums; only windows that are whole and had exposure in each month."""
    by = monthly.groupby(["by", "group"], sort=False)
    sums = by[_SUMS].rolling(_ROLLING_MONTHS).sum().reset_index(level=[0, 1], drop=True)
    least = by["exposure_years"].rolling(_ROLLING_MONTHS).min()
    least = least.reset_index(level=[0, 1], drop=True)
    table = monthly[["by", "group", "month"]].join(sums)
    table = table[(least > 0).reindex(table.index)].reset_index(drop=True)
    table[["removals", "failures", "unknown"]] = (
        table[["removals", "failures", "unknown"]].round().astype(int)
    )
    return _with_means(table, level)


def _overall(monthly: pd.DataFrame, size: pd.DataFrame, level: float) -> pd.DataFrame:
    table = monthly.groupby(["by", "group"], sort=False)[_SUMS].sum().reset_index()
    table = table.merge(size, on=["by", "group"], how="left")
    run = mtbr(table["exposure_h"] / (DAYS_PER_YEAR * 24), table["failures"], level=level)
    table["mtbf_run_years"] = run["mean_time"].to_numpy()
    table["mtbf_run_years_low"] = run["low"].to_numpy()
    table["mtbf_run_years_high"] = run["high"].to_numpy()
    return _with_means(table, level)


def _recent(monthly: pd.DataFrame, level: float) -> pd.DataFrame:
    """Compare the last twelve months with up to three years before."""
    last = monthly.loc[monthly["exposure_years"] > 0, "month"].max()
    months_ago = (
        (last.year - monthly["month"].dt.year) * 12 + last.month - monthly["month"].dt.month
    )
    rows = []
    for (by, group), part in monthly.groupby(["by", "group"], sort=False):
        ago = months_ago[part.index]
        after, before = part[ago < 12], part[(ago >= 12) & (ago < 48)]
        n0, n1 = before["failures"].sum(), after["failures"].sum()
        t0, t1 = before["exposure_years"].sum(), after["exposure_years"].sum()
        verdict = compare_rates((n0, n1), (t0, t1), level=level)
        rows.append(
            {
                "by": by,
                "group": group,
                "failures_before": n0,
                "years_before": t0,
                "failures_after": n1,
                "years_after": t1,
                **verdict,
            }
        )
    return pd.DataFrame(rows)
