"""How long was each group at risk in each month, and how many failures do its seals' ages bring?

In: lives, groups of positions, run hours. Out: `MonthExposure`. Next: `seallife.history.mtbr`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.clocks import RunClock, day_number
from seallife.history.agerates import AgeRates
from seallife.observation import Observation
from seallife.schema import DAYS_PER_YEAR

__all__ = ["EXPOSURES", "MonthExposure", "month_edges", "month_exposure"]

Floats = npt.NDArray[np.float64]

EXPOSURES = ("exposure_years", "exposure_h", "expected")

_CHUNK = 5_000  # lives worked on at once, to bound memory


@dataclass(frozen=True, eq=False)
class MonthExposure:
    """Time at risk by month.

    Attributes
    ----------
    table : DataFrame
        by, group, month, exposure_years, exposure_h, expected; months in order in each group.
    days : DataFrame
        Days at risk of each position (index) in each month (columns).
    """

    table: pd.DataFrame
    days: pd.DataFrame


def month_edges(watched: Observation) -> pd.DatetimeIndex:
    """First days of the months that the records touch, and of the month after the last."""
    first = watched.windows["start"].min().to_period("M")
    last = (watched.windows["end"].max() - pd.Timedelta(days=1)).to_period("M")
    return pd.period_range(first, last + 1, freq="M").to_timestamp()


def month_exposure(
    lives: pd.DataFrame,
    groups: pd.DataFrame,
    clock: RunClock,
    edges: pd.DatetimeIndex,
    rates: AgeRates,
) -> MonthExposure:
    """How long was each group at risk in each month?

    Parameters
    ----------
    lives : DataFrame
        `LifeTable.table`.
    groups : DataFrame
        Group of each position (index) in each way of grouping (columns).
    edges : DatetimeIndex
        From `month_edges`.
    rates : AgeRates
        For the failures expected.
    """
    seen = groups[groups.index.isin(lives["position_id"])].astype(str)
    coded = {by: pd.factorize(seen[by], sort=True) for by in seen.columns}
    months = len(edges) - 1
    sums = {by: np.zeros((3, len(names), months)) for by, (_, names) in coded.items()}
    own = np.zeros((len(seen), months))
    whose = seen.index.get_indexer(pd.Index(lives["position_id"]))
    order = np.argsort(whose, kind="stable")
    lives, whose = lives.iloc[order], whose[order]
    edge = day_number(edges)
    for at in range(0, len(lives), _CHUNK):
        part = lives.iloc[at : at + _CHUNK]
        start, end = day_number(part["entry"]), day_number(part["exit"])
        cut = np.clip(edge[None, :], start[:, None], end[:, None])
        run, _ = clock.at(part["position_id"].repeat(len(edge)), cut.ravel())
        spent = np.diff(run.reshape(cut.shape), axis=1)
        rows = np.stack([np.diff(cut, axis=1), spent, _expected(part, spent, rates)])
        position, rows = _summed(whose[at : at + _CHUNK], rows)
        own[position] += rows[0]
        for by, (code, _) in coded.items():
            group, whole = _summed(code[position], rows)
            sums[by][:, group] += whole
    frames = []
    for by, (_, names) in coded.items():
        days, hours, expected = (s.ravel() for s in sums[by])
        frame = {
            "by": by,
            "group": np.repeat(np.asarray(names, dtype=object), months),
            "month": np.tile(edges[:-1].to_numpy(), len(names)),
            "exposure_years": days / DAYS_PER_YEAR,
            "exposure_h": hours,
            "expected": expected,
        }
        frames.append(pd.DataFrame(frame))
    days_of = pd.DataFrame(own, index=seen.index, columns=edges[:-1])
    return MonthExposure(pd.concat(frames, ignore_index=True), days_of)


def _summed(code: npt.NDArray[np.int64], rows: Floats) -> tuple[npt.NDArray[np.int64], Floats]:
    """Codes that occur, and the sum over the rows (second axis) of each."""
    order = np.argsort(code, kind="stable")
    names, first = np.unique(code[order], return_index=True)
    return names, np.add.reduceat(rows[:, order], first, axis=1)


def _expected(lives: pd.DataFrame, spent: Floats, rates: AgeRates) -> Floats:
    """Failures expected of each life in each month, shape (lives, months)."""
    place = rates.classes.get_indexer(pd.Index(lives["service_class"].astype(str)))
    entry = pd.to_numeric(lives["entry_age_h"]).to_numpy(dtype=float, na_value=np.nan)
    aged = lives["age_known"].to_numpy(dtype=bool) & np.isfinite(entry)
    out = rates.unaged[place][:, None] * spent
    age = np.concatenate([np.zeros((len(lives), 1)), np.cumsum(spent, axis=1)], axis=1)[aged]
    age += entry[aged, None]
    at = np.broadcast_to(place[aged, None], age.shape)
    out[aged] = np.diff(rates.cumulative(rates.rates, at, age), axis=1)
    return np.asarray(out)
