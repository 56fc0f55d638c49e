"""Are we getting better? Mean time between repairs and between failures, with exact limits.

In: `Removals`, `LifeTable`, groups of positions. Out: `MtbrHistory`. Next: `seallife.figures`,
`seallife.report`.

MTBR is time at risk over all seal removals, planned ones included. MTBF is time at risk over
failures. They are two numbers with two names. The unit is one seal position: a pump with two
seals counts twice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.clocks import RunClock, day_number
from seallife.events import Removals
from seallife.history.agerates import AgeRates, age_rates
from seallife.history.rates import mtbr
from seallife.history.recent import recent_verdicts
from seallife.history.windows import window_sums
from seallife.lives import LifeTable
from seallife.observation import Observation
from seallife.register import Register
from seallife.schema import DAYS_PER_YEAR, ENDED_BY

__all__ = ["DEFINITIONS", "MtbrHistory", "mtbr_history", "position_groups"]

DEFINITIONS = {
    "MTBR": "time at risk of all seal positions divided by seal removals, planned ones included",
    "MTBF": "time at risk of all seal positions divided by seal failures",
}
_BY = ("all", "site", "unit", "service_class")
_ROLLING_MONTHS = 12
_CHUNK = 5_000  # lives worked on at once, to bound memory


@dataclass(frozen=True)
class MtbrHistory:
    """MTBR and MTBF over time.

    Attributes
    ----------
    monthly : pandas.DataFrame
        by, group, month (its first day), exposure_years, exposure_h, expected (failures of seals
        of these classes at these ages, at the rates of the whole record), removals, failures,
        unknown (removals of unknown reason, counted among the failures where the rules say so).
    rolling : pandas.DataFrame
        The same summed over the twelve months that end with ``month``, with mtbr_years and
        mtbf_years and their limits ``_low``, ``_high``; whole months only. Neighbouring rows
        share eleven months: never test them for a trend. age_ratio with limits: failures over
        expected; above 1 is worse than seals of these ages were in the whole record.
    overall : pandas.DataFrame
        The whole of the records, one row a group, with positions and on both clocks
        (``mtbf_run_years`` counts run hours, 8,766 h a year).
    recent : pandas.DataFrame
        The last twelve whole months against up to three years before, see
        `seallife.history.recent.recent_verdicts`.
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
    lives: LifeTable,
    clock: RunClock,
    service_class: pd.Series,
    *,
    level: float = 0.90,
    unknown_as: str = "failed",
) -> MtbrHistory:
    """How did MTBR and MTBF go, month by month, by site, unit and service class?

    Parameters
    ----------
    register, watched, removals, lives, clock
        Positions, record windows, removals, lives and run hours. Time at risk is that of the
        lives: while a seal is out for repair nothing is at risk.
    service_class : pandas.Series
        Position -> class.
    level : float
        Two-sided level of all limits.
    unknown_as : {'failed', 'withdrawn'}
        How removals of unknown reason are counted.
    """
    groups = position_groups(register, service_class)
    edges = _month_edges(watched)
    exposure = _exposure(lives.table, groups, clock, edges, age_rates(lives.table))
    counts = _counts(removals, register, groups, edges, unknown_as)
    monthly = pd.concat(
        [
            exposure.groupby([by, "month"])[_EXPOSURES]
            .sum()
            .reset_index()
            .rename(columns={by: "group"})
            .assign(by=by)
            for by in _BY
        ],
        ignore_index=True,
    )[["by", "group", "month", *_EXPOSURES]]
    monthly = monthly.merge(counts, on=["by", "group", "month"], how="left")
    monthly[_COUNTS] = monthly[_COUNTS].fillna(0).astype(int)
    # a failure at an end nobody named ended no life: all ages share such failures alike
    whole = monthly[monthly["by"] == "all"]
    if whole["expected"].sum() > 0:
        monthly["expected"] *= whole["failures"].sum() / whole["expected"].sum()
    sizes = []
    for by in _BY:
        count = groups[by].value_counts().rename_axis("group").reset_index(name="positions")
        sizes.append(count.assign(by=by))
    size = pd.concat(sizes)
    # A month that the records do not reach the end of would make a year of eleven months.
    whole = monthly[monthly["month"].isin(edges[:-1][edges[1:] <= watched.windows["end"].max()])]
    return MtbrHistory(
        monthly,
        _with_means(window_sums(whole, _ROLLING_MONTHS), level),
        _overall(monthly, size, level),
        recent_verdicts(whole, _perhaps_failed(removals.unplaced), level=level),
        level,
        unknown_as,
    )


def position_groups(register: Register, service_class: pd.Series) -> pd.DataFrame:
    """Which group of each way of grouping (columns) does each position (index) stand in?"""
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
    lives: pd.DataFrame,
    groups: pd.DataFrame,
    clock: RunClock,
    edges: pd.DatetimeIndex,
    rates: AgeRates,
) -> pd.DataFrame:
    """Time at risk, and failures expected at these ages, by month of each finest group."""
    seen = groups[groups.index.isin(lives["position_id"])].astype(str)
    cells = seen.groupby(list(_BY), sort=True)
    cell_of = cells.ngroup()
    names = cells.size().index.to_frame(index=False)
    lives = lives.assign(cell=lives["position_id"].map(cell_of).to_numpy())
    lives = lives.sort_values("cell", kind="stable")
    edge = day_number(edges)
    days, hours, expected = np.zeros((3, len(names), len(edge) - 1))
    for at in range(0, len(lives), _CHUNK):
        part = lives.iloc[at : at + _CHUNK]
        start, end = day_number(part["entry"]), day_number(part["exit"])
        cut = np.clip(edge[None, :], start[:, None], end[:, None])
        run, _ = clock.at(part["position_id"].repeat(len(edge)), cut.ravel())
        spent = np.diff(run.reshape(cut.shape), axis=1)
        cell, first = np.unique(part["cell"].to_numpy(), return_index=True)
        days[cell] += np.add.reduceat(np.diff(cut, axis=1), first, axis=0)
        hours[cell] += np.add.reduceat(spent, first, axis=0)
        expected[cell] += np.add.reduceat(_expected(part, spent, rates), first, axis=0)
    months = len(edge) - 1
    rows = names.loc[names.index.repeat(months)].reset_index(drop=True)
    return rows.assign(
        month=np.tile(edges[:-1].to_numpy(), len(names)),
        exposure_years=days.ravel() / DAYS_PER_YEAR,
        exposure_h=hours.ravel(),
        expected=expected.ravel(),
    )


def _expected(
    lives: pd.DataFrame, spent: npt.NDArray[np.float64], rates: AgeRates
) -> npt.NDArray[np.float64]:
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


def _perhaps_failed(unplaced: pd.DataFrame) -> pd.DataFrame:
    """Site and date of the removals without a place that may have been failures."""
    ended = unplaced["reason"].map(ENDED_BY)
    return unplaced.loc[ended != "withdrawn", ["site", "end"]]


def _with_means(table: pd.DataFrame, level: float) -> pd.DataFrame:
    """Add MTBR and MTBF in calendar years with limits."""
    for name, count in (("mtbr", "removals"), ("mtbf", "failures")):
        got = mtbr(table["exposure_years"], table[count], level=level)
        table[f"{name}_years"] = got["mean_time"].to_numpy()
        table[f"{name}_years_low"] = got["low"].to_numpy()
        table[f"{name}_years_high"] = got["high"].to_numpy()
    some = table["expected"] > 0
    got = mtbr(table["expected"].where(some, 1.0), table["failures"], level=level)
    # mtbr gives expected over failures; wanted is failures over expected
    for name, other in (("", "mean_time"), ("_low", "high"), ("_high", "low")):
        ratio = 1 / got[other].to_numpy()
        table[f"age_ratio{name}"] = np.where(some, ratio, np.nan)
    table.loc[some & (table["failures"] == 0), "age_ratio"] = 0.0
    return table


_COUNTS = ["removals", "failures", "unknown"]
_EXPOSURES = ["exposure_years", "exposure_h", "expected"]
_SUMS = [*_EXPOSURES, *_COUNTS]


def _overall(monthly: pd.DataFrame, size: pd.DataFrame, level: float) -> pd.DataFrame:
    table = monthly.groupby(["by", "group"], sort=False)[_SUMS].sum().reset_index()
    table = table.merge(size, on=["by", "group"], how="left")
    run = mtbr(table["exposure_h"] / (DAYS_PER_YEAR * 24), table["failures"], level=level)
    table["mtbf_run_years"] = run["mean_time"].to_numpy()
    table["mtbf_run_years_low"] = run["low"].to_numpy()
    table["mtbf_run_years_high"] = run["high"].to_numpy()
    return _with_means(table, level)
