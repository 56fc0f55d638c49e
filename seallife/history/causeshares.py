"""What fails most, costs most, and keeps pumps out longest: shares of causes with limits.

In: failures with their cause, hours out of service and cost. Out: one row a cause. Next:
`seallife.report`.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.errors import InputError
from seallife.history.rates import share_limits
from seallife.life.tablefits import NOT_TOLD, told_causes
from seallife.schema import HOURS_PER_DAY

__all__ = ["cause_shares", "failures_with_cost"]

_MEASURES = ("hours_out", "cost")

Floats = npt.NDArray[np.float64]


def failures_with_cost(
    removals: pd.DataFrame, orders: pd.DataFrame, cause: str, unknown_as: str = "failed"
) -> pd.DataFrame:
    """Which failures were there, from what, how long out and at what cost?

    Parameters
    ----------
    removals : DataFrame
        Table of `Removals`.
    orders : DataFrame
        Work orders with ``record_id`` and ``cost``; may be empty.
    cause : str
        Column of ``removals`` that names the cause.
    unknown_as : {'failed', 'withdrawn'}
        How a removal of unknown reason counts.

    Returns
    -------
    DataFrame
        ``removal_id``, ``cause``, ``hours_out`` from the end of the seal's life to the pump's
        return [h] (NaN where either is not known), ``cost`` of all its orders (NaN where none
        gives one).

    Raises
    ------
    InputError
        If ``removals`` has no such column.
    """
    if cause not in removals:
        raise InputError(f"has no column {cause}", where="removals", hint="name the cause's column")
    failed = removals[removals["ended"].replace("unknown", unknown_as) == "failed"]
    out = (failed["back"] - failed["end"]).dt.total_seconds() / 3600
    cost = pd.Series(np.nan, index=failed.index)
    if len(orders) and "cost" in orders:
        ids = failed["record_ids"].astype(str).str.split().explode()
        paid = ids.map(pd.to_numeric(orders.set_index("record_id")["cost"]).astype(float))
        cost = paid.groupby(level=0).sum(min_count=1).reindex(failed.index)
    return pd.DataFrame(
        {
            "removal_id": failed["removal_id"],
            "cause": told_causes(failed[cause]),
            "hours_out": out.where((out >= 0) & (out < 10_000 * HOURS_PER_DAY)),
            "cost": cost,
        }
    ).reset_index(drop=True)


def cause_shares(
    failures: pd.DataFrame, level: float = 0.90, *, resamples: int = 400, seed: int = 1
) -> pd.DataFrame:
    """What share of the failures, of the hours out and of the cost has each cause?

    Parameters
    ----------
    failures : DataFrame
        From `failures_with_cost`.
    level : float
        Two-sided level of all limits.
    resamples, seed : int
        Of the limits of hours and cost, which a few long or dear repairs rule.

    Returns
    -------
    DataFrame
        Most failures first, what is not told last: ``cause``, ``failures``; ``share_told`` of the
        failures that tell, with limits; ``share_least`` and ``share_most`` of all failures, none
        or all of the untold added; ``hours_out`` and ``cost`` summed, ``hours_out_known`` and
        ``cost_known`` failures that give them, ``hours_out_share`` and ``cost_share`` of what is
        told, with limits.

    Source
    ------
    Shares of counts: Clopper & Pearson (1934); of hours and cost: percentile bootstrap over
    failures (Efron & Tibshirani 1993, An Introduction to the Bootstrap, chapter 13).
    """
    sizes = failures["cause"].value_counts()
    untold = int(sizes.get(NOT_TOLD, 0))
    told = sizes.drop(NOT_TOLD, errors="ignore")
    order = sorted(told.index, key=lambda c: (-int(told[c]), str(c)))
    count = np.array([int(told[c]) for c in order], dtype=float)
    n = int(count.sum())
    low, high = share_limits(count, np.full(len(count), n), level)
    whole = max(n + untold, 1)
    out = pd.DataFrame(
        {
            "cause": order,
            "failures": count.astype(int),
            "share_told": count / max(n, 1),
            "share_told_low": low,
            "share_told_high": high,
            "share_least": count / whole,
            "share_most": (count + untold) / whole,
        }
    )
    if untold:
        out = pd.concat(
            [out, pd.DataFrame({"cause": [NOT_TOLD], "failures": [untold]})], ignore_index=True
        )
    by = failures.groupby("cause")
    for name in _MEASURES:
        out[name] = out["cause"].map(by[name].sum(min_count=1)).astype(float)
        out[f"{name}_known"] = out["cause"].map(by[name].count()).fillna(0).astype(int)
    tellers = failures[failures["cause"] != NOT_TOLD]
    place = pd.Index(order).get_indexer(pd.Index(tellers["cause"]))
    rng = np.random.default_rng(seed)
    for name in _MEASURES:
        share, least, most = _weighed(tellers[name], place, len(order), level, resamples, rng)
        pad = np.full(len(out) - len(order), np.nan)
        for end, column in (("", share), ("_low", least), ("_high", most)):
            out[f"{name}_share{end}"] = np.r_[column, pad]
    return out


def _weighed(
    value: pd.Series,
    place: npt.NDArray[np.int64],
    causes: int,
    level: float,
    resamples: int,
    rng: np.random.Generator,
) -> tuple[Floats, Floats, Floats]:
    """Share of each cause in a sum over failures, with bootstrap limits; NaN of nothing."""
    x = value.to_numpy(dtype=float)
    known = np.isfinite(x)
    none = np.full(causes, np.nan)
    if not known.any() or x[known].sum() <= 0:
        return none, none, none
    x, at = x[known], place[known]
    member = np.zeros((len(x), causes))
    member[np.arange(len(x)), at] = x
    share = member.sum(axis=0) / x.sum()
    times = rng.multinomial(len(x), np.full(len(x), 1 / len(x)), size=resamples)
    sums = times @ member
    total = sums.sum(axis=1, keepdims=True)
    drawn = sums[total[:, 0] > 0] / total[total[:, 0] > 0]
    low, high = np.quantile(drawn, [(1 - level) / 2, (1 + level) / 2], axis=0)
    return share, low, high
