"""What does the outage list need to know of each seal?

In: table of seals in service, days between outages. Out: the same, checked. Next:
`seallife.spares.outage`.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.errors import InputError, need_columns
from seallife.life.groups import Floats

__all__ = ["days_between", "read_seals"]

_COLUMNS = ("life_id", "position_id", "tag", "site", "unit", "service_class", "criticality")
_LEAK_STATES = ("in alarm", "none", "not read")


def read_seals(seals: pd.DataFrame, unit: str) -> pd.DataFrame:
    """Columns of the seals in service that are used, as numbers and words.

    Raises
    ------
    InputError
        A column is missing, a seal is there twice, or a value cannot be used.
    """
    numbers = [f"age_{unit}", "factor", "days_to_outage", *(["hours_a_day"] if unit == "h" else [])]
    need_columns(seals, [*_COLUMNS, *numbers], "seals")
    extra = [c for c in ("leak_state", "alarm_chance") if c in seals]
    rows = seals[[*_COLUMNS, *numbers, *extra]].reset_index(drop=True)
    for name in ("hours_a_day", "alarm_chance"):
        if name not in rows:
            rows[name] = np.nan
    for name in (*numbers, "alarm_chance"):
        rows[name] = pd.to_numeric(rows[name]).astype(np.float64)
        bad = rows.loc[rows[name] < 0, name]
        if len(bad):
            raise InputError(f"is {bad.iloc[0]:g}", where=f"seals.{name}", hint="give 0 or more")
    if rows["life_id"].duplicated().any():
        twice = rows.loc[rows["life_id"].duplicated(), "life_id"].iloc[0]
        raise InputError(f"{twice!r} is there twice", where="seals.life_id")
    if not np.isfinite(rows["factor"]).all():
        raise InputError("is not known", where="seals.factor", hint="give 1 where unknown")
    if (rows["alarm_chance"] > 1).any():
        raise InputError("is above 1", where="seals.alarm_chance", hint="give a share")
    strange = set(rows.get("leak_state", pd.Series(dtype=object)).dropna()) - set(_LEAK_STATES)
    if strange:
        hint = f"use one of {', '.join(_LEAK_STATES)}"
        raise InputError(f"is {min(strange)!r}", where="seals.leak_state", hint=hint)
    return rows


def days_between(
    rows: pd.DataFrame, spacing: pd.DataFrame | None, default: float
) -> tuple[Floats, NDArray[np.bool_]]:
    """Days from the coming outage of each seal to the one after, and whether they were given.

    Raises
    ------
    InputError
        A column is missing or days are not above 0.
    """
    out = np.full(len(rows), np.nan)
    if spacing is not None:
        need_columns(spacing, ["site", "unit", "days_between"], "spacing")
        if not (spacing["days_between"] > 0).all():
            raise InputError("is not above 0", where="spacing.days_between", hint="give days")
        named = spacing.assign(unit=spacing["unit"].fillna("").astype(str))
        known = named.drop_duplicates(["site", "unit"]).set_index(["site", "unit"])["days_between"]
        for unit in (rows["unit"].fillna("").astype(str), pd.Series("", index=rows.index)):
            found = known.reindex(pd.MultiIndex.from_arrays([rows["site"], unit])).to_numpy()
            out = np.where(np.isnan(out), found.astype(np.float64), out)
    return np.where(np.isnan(out), default, out), ~np.isnan(out)
