"""Two simple measures the pages need: early failures, and failures expected in each month.

In: lives, monthly counts. Out: tables. Next: `seallife.report.pages`.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.lives import LifeTable

__all__ = ["early_failures", "expected_counts", "share_limits"]

Floats = npt.NDArray[np.float64]


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
    low = np.where(k > 0, betaincinv(np.maximum(k, 1), n - k + 1, alpha), 0.0)
    high = np.where(k < n, betaincinv(k + 1, np.maximum(n - k, 1), 1 - alpha), 1.0)
    return np.where(n > 0, low, np.nan), np.where(n > 0, high, np.nan)


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
    seen = table["age_known"] & (table["entry_age_d"] <= 0)
    age = table["exit_age_d"]
    early = seen & (table["end"] == "failed") & (age <= early_days)
    counted = early | (seen & (age >= early_days))
    frame = pd.DataFrame(
        {"service_class": table["service_class"], "installs": counted, "early": early}
    )
    out = frame.groupby("service_class", as_index=False)[["installs", "early"]].sum()
    out[["installs", "early"]] = out[["installs", "early"]].astype(int)
    low, high = share_limits(out["early"], out["installs"], level)
    whole = out["installs"].where(out["installs"] > 0)
    return out.assign(early_share=out["early"] / whole, early_share_low=low, early_share_high=high)


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
