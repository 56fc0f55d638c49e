"""Are we getting better? Mean time between repairs and between failures, with limits.

In: `Removals`, `LifeTable`, groups of positions. Out: `MtbrHistory`. Next: `seallife.figures`,
`seallife.report`.

MTBR is time at risk over all seal removals, planned ones included. MTBF is time at risk over
failures. They are two numbers with two names. The unit is one seal position: a pump with two
seals counts twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from seallife.clocks import RunClock
from seallife.events import Removals
from seallife.history.agerates import age_rates
from seallife.history.clustering import clustering, repeat_pairs, widening
from seallife.history.monthexposure import EXPOSURES, month_edges, month_exposure
from seallife.history.recent import recent_verdicts
from seallife.history.windows import WIDENED, window_sums, with_means
from seallife.lives import LifeTable
from seallife.observation import Observation
from seallife.register import Register
from seallife.schema import ENDED_BY

__all__ = ["DEFINITIONS", "MtbrHistory", "mtbr_history", "position_groups"]

DEFINITIONS = {
    "MTBR": "time at risk of all seal positions divided by seal removals, planned ones included",
    "MTBF": "time at risk of all seal positions divided by seal failures",
}
_ROLLING_MONTHS = 12
_NOT_KNOWN = "not known"


@dataclass(frozen=True)
class MtbrHistory:
    """MTBR and MTBF over time.

    Attributes
    ----------
    monthly : pandas.DataFrame
        by, group, month (its first day), exposure_years, exposure_h, expected (failures of seals
        of these classes at these ages, at the rates of the whole record), removals, failures,
        unknown (removals of unknown reason, counted among the failures where the rules say so),
        mtbr_dispersion, mtbf_dispersion (by which limits of this group are widened).
    rolling : pandas.DataFrame
        The same summed over the twelve months that end with ``month``, with the columns of
        `seallife.history.windows.with_means`: MTBR and MTBF on both clocks, and age_ratio,
        failures over expected, above 1 worse than seals of these ages were in the whole record.
        Whole months only. Neighbouring rows share eleven months: never test them for a trend.
    overall : pandas.DataFrame
        The whole of the records, one row a group, with positions and the same columns.
    recent : pandas.DataFrame
        The last twelve whole months against up to three years before, see
        `seallife.history.recent.recent_verdicts`.
    level : float
    unknown_as : str
        How removals of unknown reason are counted.
    clustered : pandas.DataFrame
        Whether removals (measure MTBR) and failures (MTBF) follow each other at one pump more
        closely than chance, by group: `seallife.history.clustering.clustering`. ``used``: by this
        limits are widened.
    breaks : tuple of Timestamp
        Days on which the records changed; nothing reaches across one.
    """

    monthly: pd.DataFrame
    rolling: pd.DataFrame
    overall: pd.DataFrame
    recent: pd.DataFrame
    level: float
    unknown_as: str
    clustered: pd.DataFrame
    breaks: tuple[pd.Timestamp, ...]


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
    breaks: Sequence[pd.Timestamp] = (),
) -> MtbrHistory:
    """How did MTBR and MTBF go, month by month, by site, unit, class, arrangement and pump type?

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
    breaks : sequence of Timestamp
        Days on which what is recorded or counted changed: no rolling year and no comparison
        reaches across one.
    """
    groups = position_groups(register, service_class)
    edges = month_edges(watched)
    exposure = month_exposure(lives.table, groups, clock, edges, age_rates(lives.table))
    events = _events(removals, register, edges, unknown_as)
    counts = _counts(events, groups)
    monthly = exposure.table.merge(counts, on=["by", "group", "month"], how="left")
    monthly[_COUNTS] = monthly[_COUNTS].fillna(0).astype(int)
    # a failure at an end nobody named ended no life: all ages share such failures alike
    whole = monthly[monthly["by"] == "all"]
    if whole["expected"].sum() > 0:
        monthly["expected"] *= whole["failures"].sum() / whole["expected"].sum()
    clustered = _clustered(events, exposure.days, register, groups)
    for measure, name in zip(("MTBR", "MTBF"), WIDENED, strict=True):
        used = clustered[clustered["measure"] == measure].set_index(["by", "group"])["used"]
        keys = pd.MultiIndex.from_frame(monthly[["by", "group"]])
        monthly[name] = used.reindex(keys).fillna(1.0).to_numpy()
    # A month that the records do not reach the end of would make a year of eleven months.
    whole = monthly[monthly["month"].isin(edges[:-1][edges[1:] <= watched.windows["end"].max()])]
    rolling = window_sums(whole, _ROLLING_MONTHS, breaks=breaks)
    return MtbrHistory(
        monthly,
        with_means(rolling, level),
        _overall(monthly, groups, level),
        recent_verdicts(whole, _perhaps_failed(removals.unplaced), level=level, breaks=breaks),
        level,
        unknown_as,
        clustered,
        tuple(breaks),
    )


def position_groups(register: Register, service_class: pd.Series) -> pd.DataFrame:
    """Which group of each way of grouping (columns) does each position (index) stand in?"""
    table = register.table.set_index("position_id")
    unit = table["unit"].where(table["unit"] != "", "no unit")
    kind, pump = (table[c].fillna("").astype(str) for c in ("arrangement", "pump_type"))
    return pd.DataFrame(
        {
            "all": "all",
            "site": table["site"],
            "unit": table["site"] + " / " + unit,
            "service_class": service_class.reindex(table.index),
            "arrangement": ("arrangement " + kind).where(kind != "", _NOT_KNOWN),
            "pump_type": pump.where(pump != "", _NOT_KNOWN),
        },
        index=table.index,
    )


def _events(
    removals: Removals, register: Register, edges: pd.DatetimeIndex, unknown_as: str
) -> pd.DataFrame:
    """Position and month of each removal, and what it counts as."""
    events = removals.table
    first = register.table.drop_duplicates("pump_key").set_index("pump_key")["position_id"]
    # Where the end of the pump is not named, its first seal stands for the pump's groups.
    position = events["position_id"].where(
        events["position_id"] != "", events["pump_key"].map(first)
    )
    ended = events["ended"].replace("unknown", unknown_as)
    month = events["end"].dt.to_period("M").dt.to_timestamp()
    return pd.DataFrame(
        {
            "position_id": position,
            "month": month,
            "place": edges[:-1].get_indexer(pd.DatetimeIndex(month)),
            "removals": 1,
            "failures": (ended == "failed").astype(int),
            "unknown": (events["ended"] == "unknown").astype(int),
        }
    )


def _counts(events: pd.DataFrame, groups: pd.DataFrame) -> pd.DataFrame:
    """Removals and failures per group and month."""
    frames = []
    for by in groups.columns:
        named = events.assign(by=by, group=events["position_id"].map(groups[by]).astype(str))
        sums = named.groupby(["by", "group", "month"])[_COUNTS].sum()
        frames.append(sums.reset_index())
    return pd.concat(frames, ignore_index=True)


def _clustered(
    events: pd.DataFrame, days: pd.DataFrame, register: Register, groups: pd.DataFrame
) -> pd.DataFrame:
    """Whether events of one pump cluster, for each measure and group."""
    pumps = register.table.set_index("position_id")["pump_key"].reindex(days.index)
    code, names = pd.factorize(pumps)
    exposure = np.zeros((len(names), days.shape[1]))
    np.add.at(exposure, code, days.to_numpy())
    # both seals of a pump stand in its groups, so that its first tells them
    first = groups.loc[days.index[np.unique(code, return_index=True)[1]]]
    row = days.index.get_indexer(pd.Index(events["position_id"]))
    kept = (row >= 0) & (events["place"] >= 0).to_numpy()
    row, place = row[kept], events["place"].to_numpy()[kept]
    out = []
    for measure, name in (("MTBR", "removals"), ("MTBF", "failures")):
        counts = np.zeros_like(exposure)
        np.add.at(counts, (code[row], place), events[name].to_numpy()[kept])
        pairs = repeat_pairs(counts, exposure)
        of_groups = [
            clustering(pairs, first[by].astype(str).to_numpy()).assign(by=by)
            for by in groups.columns
        ]
        out.append(widening(pd.concat(of_groups, ignore_index=True)).assign(measure=measure))
    table = pd.concat(out, ignore_index=True)
    return table[["measure", "by", *table.columns.drop(["measure", "by"])]]


def _perhaps_failed(unplaced: pd.DataFrame) -> pd.DataFrame:
    """Site and date of the removals without a place that may have been failures."""
    ended = unplaced["reason"].map(ENDED_BY)
    return unplaced.loc[ended != "withdrawn", ["site", "end"]]


_COUNTS = ["removals", "failures", "unknown"]
_SUMS = [*EXPOSURES, *_COUNTS]


def _overall(monthly: pd.DataFrame, groups: pd.DataFrame, level: float) -> pd.DataFrame:
    grouped = monthly.groupby(["by", "group"], sort=False)
    table = grouped[_SUMS].sum().join(grouped[list(WIDENED)].first()).reset_index()
    sizes = []
    for by in groups.columns:
        count = groups[by].value_counts().rename_axis("group").reset_index(name="positions")
        sizes.append(count.assign(by=by))
    table = table.merge(pd.concat(sizes), on=["by", "group"], how="left")
    return with_means(table, level)
