"""By how many times are seals in alarm more likely to fail than others of their class and age?

In: states of the alarm at readings, seal lives. Out: `FactorEffects`. Next:
`seallife.leakanswers`.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from seallife.clocks import day_number
from seallife.errors import need_columns
from seallife.life.effects import FactorEffects
from seallife.life.regression import fit_cox_factors

__all__ = ["rate_in_alarm"]


def rate_in_alarm(
    states: pd.DataFrame, lives: pd.DataFrame, *, level: float = 0.90
) -> FactorEffects:
    """By how many times is the failure rate higher while a seal is in alarm?

    Parameters
    ----------
    states : DataFrame
        Each reading: ``life_id``, ``day`` (number), ``judged``, ``alarm``, as for
        `seallife.leakage.foretell.foretold_failures`.
    lives : DataFrame
        Columns of the life table.
    level : float

    Returns
    -------
    FactorEffects
        One row: in alarm against no alarm, within service classes at equal calendar age. The state
        at a reading holds until the next reading, so nothing is used before it was known. Lives
        of unknown age are left out.

    Raises
    ------
    InputError
        A column is missing.

    Source
    ------
    Cox (1972) with a covariate that changes in time: each stretch between two readings is a row
    that enters late. Andersen & Gill (1982), Annals of Statistics 10, 1100-1120.
    """
    told = ["start", "exit", "end", "position_id", "service_class"]
    need_columns(states, ("life_id", "day", "judged", "alarm"), "states")
    need_columns(lives, ("life_id", *told), "lives")
    about = lives.set_index("life_id")
    rows = states[states["judged"].astype(bool)].sort_values(["life_id", "day"], kind="stable")
    rows = rows.join(about[told], on="life_id")
    leave = pd.Series(day_number(rows["exit"]), index=rows.index, dtype=float)
    rows = rows[(rows["day"] < leave) & rows["start"].notna()]
    after = rows.groupby("life_id")["day"].shift(-1)
    until = after.fillna(leave.reindex(rows.index))
    began = np.asarray(day_number(rows["start"]), dtype=np.float64)
    return fit_cox_factors(
        until.to_numpy(dtype=np.float64) - began,
        ((rows["end"] == "failed") & after.isna()).to_numpy(dtype=bool),
        pd.DataFrame({"leakage": np.where(rows["alarm"].astype(bool), "in alarm", "no alarm")}),
        entry_age=rows["day"].to_numpy(dtype=np.float64) - began,
        cluster=rows["position_id"].to_numpy(dtype=object),
        stratum=rows["service_class"].astype(str).to_numpy(dtype=object),
        level=level,
    )
