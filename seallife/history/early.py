"""Early failures: what share of installations failed soon after fitting.

In: `LifeTable`. Out: one row a service class. Next: `seallife.report`.
"""

from __future__ import annotations

import pandas as pd

from seallife.history.rates import share_limits
from seallife.lives import LifeTable

__all__ = ["early_failures"]


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
