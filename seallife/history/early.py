"""Early failures: what share of installations failed soon after fitting, and fitted when.

In: `LifeTable`. Out: tables by service class or by month fitted. Next: `seallife.report`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.errors import InputError
from seallife.history.rates import share_limits
from seallife.lives import LifeTable

__all__ = ["EarlyStretches", "early_failures", "early_stretches"]

_LONGEST_MONTHS = 24
_LEAST_EARLY = 3


def early_failures(lives: LifeTable, early_days: int, level: float = 0.90) -> pd.DataFrame:
    """What share of installations failed early?

    Counted are lives seen from their installation that were either watched for ``early_days`` or
    failed before: a seal watched for less tells nothing either way.

    Parameters
    ----------
    lives : LifeTable
    early_days : int
        Calendar days.
    level : float
        Two-sided level of the exact limits.

    Returns
    -------
    pandas.DataFrame
        service_class, installs, early, early_share, early_share_low, early_share_high.
    """
    table = lives.table
    counted, early = _counted(table, early_days)
    frame = pd.DataFrame(
        {"service_class": table["service_class"], "installs": counted, "early": early}
    )
    out = frame.groupby("service_class", as_index=False)[["installs", "early"]].sum()
    out[["installs", "early"]] = out[["installs", "early"]].astype(int)
    return _with_share(out, level)


@dataclass(frozen=True, eq=False)
class EarlyStretches:
    """When seals were fitted that failed early.

    Attributes
    ----------
    table : DataFrame
        Per site: ``site``, ``installs``, ``early``; the stretch of months fitted in which early
        failures crowd most: ``first``, ``last`` (month), ``installs_in``, ``early_in``,
        ``expected_in`` (at the share of the site's other months), ``ratio`` of the shares, ``p``;
        ``verdict`` ('more than chance', 'no evidence', 'cannot tell yet').
    months : DataFrame
        ``site``, ``month`` fitted, ``installs``, ``early``.
    quarters : DataFrame
        The same by ``quarter``, with ``early_share``, ``early_share_low``, ``early_share_high``
        (exact limits, each quarter by itself).
    early_days : int
    level : float
        A stretch is called more than chance where ``p`` is at or below 1 - level.
    resamples, seed : int
        Of ``p``.
    """

    table: pd.DataFrame
    months: pd.DataFrame
    quarters: pd.DataFrame
    early_days: int
    level: float
    resamples: int
    seed: int


def early_stretches(
    lives: LifeTable,
    early_days: int,
    level: float = 0.90,
    *,
    resamples: int = 499,
    seed: int = 1,
) -> EarlyStretches:
    """Was there a stretch of time in which seals were fitted worse than else?

    Of all stretches of up to 24 months the one is taken in which early failures crowd most, by the
    likelihood ratio of two shares against one. Its ``p`` is the share of resamples, early failures
    dealt at random over the site's installations, whose best stretch crowds as much: looking at
    all stretches is thereby paid for.

    Parameters
    ----------
    lives : LifeTable
    early_days : int
        Calendar days within which a failure counts as early.
    level : float
        A false alarm comes in at most 1 - level of sites in which nothing happened.
    resamples, seed : int

    Returns
    -------
    EarlyStretches

    Raises
    ------
    InputError
        Fewer than 19 resamples.

    Source
    ------
    Kulldorff (1997), Communications in Statistics: Theory and Methods 26, 1481-1496 (scan
    statistic, Bernoulli model), here along time only.
    """
    if resamples < 19:
        raise InputError(f"is {resamples}", where="resamples", hint="give 19 or more")
    table = lives.table
    counted, early = _counted(table, early_days)
    month = table["start"].dt.to_period("M")
    frame = pd.DataFrame(
        {"site": table["site"], "month": month, "installs": counted, "early": early}
    )[counted]
    per = frame.groupby(["site", "month"], as_index=False)[["installs", "early"]].sum()
    per[["installs", "early"]] = per[["installs", "early"]].astype(np.int64)
    rng = np.random.default_rng(seed)
    rows = [
        {"site": site, **_stretch(part, level, resamples, rng)}
        for site, part in per.groupby("site", sort=True)
    ]
    columns = ["site", "installs", "early", "first", "last", "installs_in", "early_in"]
    columns += ["expected_in", "ratio", "p", "verdict"]
    months = per.assign(month=per["month"].dt.to_timestamp())
    quarter = months["month"].dt.to_period("Q").dt.to_timestamp()
    by = months.assign(quarter=quarter).groupby(["site", "quarter"], as_index=False)
    quarters = by[["installs", "early"]].sum()
    return EarlyStretches(
        pd.DataFrame(rows, columns=columns),
        months,
        _with_share(quarters, level),
        early_days,
        level,
        resamples,
        seed,
    )


def _with_share(counts: pd.DataFrame, level: float) -> pd.DataFrame:
    """Counts with the share that failed early and its exact limits."""
    low, high = share_limits(counts["early"], counts["installs"], level)
    whole = counts["installs"].where(counts["installs"] > 0)
    share = counts["early"] / whole
    return counts.assign(early_share=share, early_share_low=low, early_share_high=high)


def _counted(table: pd.DataFrame, early_days: int) -> tuple[pd.Series, pd.Series]:
    """Installations that tell of early failure, and those that failed early."""
    seen = table["age_known"] & (table["entry_age_d"] <= 0)
    age = table["exit_age_d"]
    early = seen & (table["end"] == "failed") & (age <= early_days)
    return early | (seen & (age >= early_days)), early


def _stretch(
    part: pd.DataFrame, level: float, resamples: int, rng: np.random.Generator
) -> dict[str, object]:
    """The most crowded stretch of one site."""
    n, k = part["installs"].to_numpy(), part["early"].to_numpy()
    out: dict[str, object] = {"installs": int(n.sum()), "early": int(k.sum())}
    if k.sum() < _LEAST_EARLY or len(n) < 2:
        return out | {"verdict": "cannot tell yet"}
    ordinal = part["month"].map(lambda m: m.ordinal).to_numpy()
    first, last = np.nonzero(
        (ordinal[None, :] >= ordinal[:, None])
        & (ordinal[None, :] - ordinal[:, None] < _LONGEST_MONTHS)
    )
    whole = (last - first + 1) < len(n)  # all months together are no stretch
    first, last = first[whole], last[whole]
    score = _crowding(n, k[None, :], first, last)[0]
    drawn = rng.multivariate_hypergeometric(n, int(k.sum()), size=resamples)
    best = _crowding(n, drawn, first, last).max(axis=1)
    at = int(np.argmax(score))
    p = (1 + np.count_nonzero(best >= score[at] - 1e-9)) / (resamples + 1)
    inside = slice(first[at], last[at] + 1)
    n_in, k_in = int(n[inside].sum()), int(k[inside].sum())
    rest = (k.sum() - k_in) / (n.sum() - n_in)
    return out | {
        "first": part["month"].iloc[first[at]].to_timestamp(),
        "last": part["month"].iloc[last[at]].to_timestamp(),
        "installs_in": n_in,
        "early_in": k_in,
        "expected_in": n_in * rest,
        "ratio": k_in / n_in / rest if rest > 0 else np.inf,
        "p": p,
        "verdict": "more than chance" if p <= 1 - level else "no evidence",
    }


def _crowding(
    n: NDArray[np.int64],
    early: NDArray[np.int64],
    first: NDArray[np.int64],
    last: NDArray[np.int64],
) -> NDArray[np.float64]:
    """Log likelihood ratio of each stretch in each set of counts; 0 where no more than else."""
    from scipy.special import xlogy

    def inside(counts: NDArray[np.int64]) -> NDArray[np.float64]:
        sums = np.cumsum(counts, axis=-1)
        before = np.concatenate([np.zeros_like(sums[..., :1]), sums], axis=-1)
        return np.asarray(before[..., last + 1] - before[..., first], dtype=np.float64)

    def best(k: NDArray[np.float64], m: NDArray[np.float64]) -> NDArray[np.float64]:
        share = k / m
        return np.asarray(xlogy(k, share) + xlogy(m - k, 1 - share))

    m, k = inside(n), inside(early)
    all_m, all_k = float(n.sum()), early.sum(axis=1, keepdims=True).astype(np.float64)
    ratio = best(k, m) + best(all_k - k, all_m - m) - best(all_k, np.full_like(all_k, all_m))
    return np.where(k / m > (all_k - k) / (all_m - m), ratio, 0.0)
