"""Is a renewed seal as good as new, by the table of lives?

In: the life table. Out: `RenewalEffect`. Next: report.

The bridge between the table of lives and `seallife.life.renewal_effect`: it counts the renewals of
each position and knows which of them are the first since the position was commissioned.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from seallife.errors import InputError, need_columns
from seallife.life.renewal_effect import RenewalEffect, renewal_effect
from seallife.life.usable import Clock

__all__ = ["fit_renewal_effect"]


def fit_renewal_effect(
    lives: pd.DataFrame,
    by: str = "service_class",
    clock: Clock = "run_h",
    *,
    level: float = 0.90,
    margin: float = 0.80,
) -> RenewalEffect:
    """Is a renewed seal as good as new, by a table of lives?

    Parameters
    ----------
    lives : DataFrame
        Columns of the life table: ``position_id``, ``entry``, ``start_kind``, ``rebuild_no``,
        ``end``, ``age_known``, the class column, and ``entry_age_h``, ``exit_age_h`` (or ``_d``).
    by : str
        Column that holds the class.
    clock : {'run_h', 'calendar_d'}
        Run hours or calendar days.
    level, margin : float
        As for `renewal_effect`.

    Raises
    ------
    InputError
        If a column is missing or ``clock`` is unknown.
    """
    units = {"run_h": "h", "calendar_d": "d"}
    if clock not in units:
        raise InputError(f"is {clock!r}", where="clock", hint="use 'run_h' or 'calendar_d'")
    ages = [f"{name}_age_{units[clock]}" for name in ("entry", "exit")]
    needed = ["position_id", "entry", "start_kind", "rebuild_no", "end", "age_known", by, *ages]
    need_columns(lives, needed, "lives")
    rows = lives.sort_values(["position_id", "entry"], kind="stable")
    group = rows.groupby("position_id")
    new = rows["start_kind"].eq("renewed") & (group.cumcount() > 0)
    before = new.groupby(rows["position_id"]).cumsum()
    whole = group["start_kind"].transform("first").eq("commissioned")
    entry, age = (pd.to_numeric(rows[c]).to_numpy(dtype=float, na_value=np.nan) for c in ages)
    low = f"exit_low_{units[clock]}"
    if low in rows:
        young = pd.to_numeric(rows[low]).to_numpy(dtype=float, na_value=np.nan)
        inside = rows["end"].eq("failed").to_numpy() & (young < age)
        # a failure known only to an interval counts at its middle
        age = np.where(inside, (np.fmax(young, entry) + age) / 2, age)
    with np.errstate(invalid="ignore"):
        used = rows["age_known"].to_numpy(dtype=bool) & (entry >= 0) & (age > entry)
    rebuilt = rows["rebuild_no"].gt(0).astype(float).where(rows["rebuild_no"].notna())
    order = (before + 1.0).where(whole)
    return renewal_effect(
        age[used],
        rows["end"].eq("failed").to_numpy()[used],
        rows["position_id"].to_numpy()[used],
        entry_age=entry[used],
        stratum=rows[by].astype(object).where(rows[by].notna(), "unknown").to_numpy()[used],
        rebuilt=rebuilt.to_numpy()[used],
        order=order.to_numpy()[used],
        renewals=before.to_numpy(dtype=float)[used],
        level=level,
        margin=margin,
    )
