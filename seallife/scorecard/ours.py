"""Our own forecasts, as they would have been made on any day.

In: `Study` of that day. Out: chances of counts and of seals. Next: `seallife.scorecard.card`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from seallife.intake import Progress, silent
from seallife.life.groups import Floats
from seallife.scorecard.card import Scorecard, scorecard
from seallife.spares.confirmed import NO_ITEM
from seallife.spares.demand import forecast_demand, month_edges
from seallife.study import Study

__all__ = ["count_forecast", "our_scorecard", "seal_chances"]

_BY = {"failures": ("all", "site", "service_class"), "seals needed": ("all", "site", "pool")}


def our_scorecard(
    study: Study,
    *,
    origins: Sequence[pd.Timestamp] | None = None,
    horizons: Sequence[int] = (12, 24),
    most: int | None = None,
    progress: Progress = silent,
) -> Scorecard:
    """Would our forecasts of seals needed have come true, year by year?

    Parameters
    ----------
    study, origins, horizons, most, progress
        As for `seallife.scorecard.scorecard`.
    """
    return scorecard(
        study,
        count_forecast,
        seal_chances,
        origins=origins,
        horizons=horizons,
        most=most,
        progress=progress,
    )


def count_forecast(study: Study, months: Sequence[int]) -> tuple[pd.DataFrame, Floats]:
    """How likely is each number of failures and of seals needed, by group and horizon?

    Parameters
    ----------
    study : Study
        Of the day.
    months : sequence of int
        Horizons.

    Returns
    -------
    rows : DataFrame
        ``kind``, ``by``, ``group``, ``months``.
    chances : ndarray, shape (rows, counts)
    """
    ahead = study.spares.ahead
    demand = forecast_demand(ahead, months=max(months), level=study.settings.rules.level)
    rows, chances = [], []
    for upto in months:
        for kind, groupings in _BY.items():
            for by in groupings:
                part = "failed" if kind == "failures" else "all"
                groups, chance = demand.chances(upto, by, part)
                named = np.asarray(groups) != NO_ITEM
                groups, chance = groups[named], chance[named]
                keys = {"kind": kind, "by": by, "group": groups, "months": upto}
                rows.append(pd.DataFrame(keys))
                chances.append(chance)
    width = max(c.shape[1] for c in chances)
    wide = [np.pad(c, ((0, 0), (0, width - c.shape[1]))) for c in chances]
    return pd.concat(rows, ignore_index=True), np.concatenate(wide)


def seal_chances(study: Study, months: int) -> pd.DataFrame:
    """How likely is each seal in service to fail within so many months, if nobody renews it?

    Parameters
    ----------
    study : Study
        Of the day.
    months : int

    Returns
    -------
    DataFrame
        ``life_id``, ``position_id``, ``chance``.
    """
    ahead = study.spares.ahead
    days = float(month_edges(ahead.now, months)[-1])
    rows = ahead.seals[["life_id", "position_id"]].assign(chance=ahead.chance_to_fail(days))
    return rows[rows["life_id"] != ""].reset_index(drop=True)
