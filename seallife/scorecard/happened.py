"""What do the records of a study show: failures and seals needed, by group, and each seal's fate?

In: `Study`. Out: `Events`, fates of seals. Next: `seallife.scorecard.card`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.errors import InputError
from seallife.history.mtbr import position_groups
from seallife.life.groups import Floats, Ints
from seallife.schema import DAYS_PER_YEAR
from seallife.study import Study

__all__ = ["KINDS", "Events", "events_of", "fates"]

KINDS = {
    "failures": "seals that failed",
    "seals needed": "seals taken out, planned ones included, where the pump went on",
}
"""What is counted -> what it means."""

_ONE_DAY = pd.Timedelta(days=1)


@dataclass(frozen=True, eq=False)
class Events:
    """Removals of a study, its groups, and its time on record.

    Attributes
    ----------
    groups : DataFrame
        Name of the group (by way of grouping) of each position (index); '' where in none.
    table : DataFrame
        One row a removal: position_id (of an end that is not named, the pump's first seal), end,
        and a column of booleans for each of `KINDS`.
    stretches : DataFrame
        Time on record: `seallife.observation.Observation.stretches`.
    last : Timestamp
        Last day of the records.
    """

    groups: pd.DataFrame
    table: pd.DataFrame
    stretches: pd.DataFrame
    last: pd.Timestamp

    @cached_property
    def running(self) -> pd.Index:
        """Positions on record and in use on the last day."""
        now = self.stretches["end"] > self.last
        return pd.Index(self.stretches.loc[now, "position_id"].unique())

    def counts(
        self, asked: pd.DataFrame, after: pd.Timestamp, until: pd.Timestamp
    ) -> tuple[Ints, pd.DataFrame]:
        """How many events of each kind and group came after one day and up to another?

        Parameters
        ----------
        asked : DataFrame
            kind, by, group.
        after, until : Timestamp

        Returns
        -------
        counts : ndarray of int, shape (n,)
        events : DataFrame
            The rows of ``table`` that lie between.
        """
        rows = self.table[(self.table["end"] > after) & (self.table["end"] <= until)]
        return self.sums(asked, rows), rows

    def sums(self, asked: pd.DataFrame, rows: pd.DataFrame) -> Ints:
        """Number of these events by kind and group, as asked."""
        out = np.zeros(len(asked), dtype=np.int64)
        for (kind, by), part in asked.groupby(["kind", "by"], sort=False):
            group = rows.loc[rows[kind], "position_id"].map(self.groups[by])
            found = group.value_counts().reindex(part["group"], fill_value=0)
            out[asked.index.get_indexer(part.index)] = found.to_numpy()
        return out

    def years(self, asked: pd.DataFrame, after: pd.Timestamp, until: pd.Timestamp) -> Floats:
        """Position-years on record of each group after one day and up to another."""
        first, stop = after + _ONE_DAY, until + _ONE_DAY
        start, end = self.stretches["start"], self.stretches["end"]
        days = (end.where(end < stop, stop) - start.where(start > first, first)).dt.days
        days = days.clip(lower=0)
        by_position = days.groupby(self.stretches["position_id"]).sum() / DAYS_PER_YEAR
        return self._over_groups(asked, by_position)

    def positions(self, asked: pd.DataFrame) -> Ints:
        """Positions of each group in use on the last day."""
        return self._over_groups(asked, pd.Series(1.0, index=self.running)).astype(np.int64)

    def broken(
        self, asked: pd.DataFrame, after: pd.Timestamp, until: pd.Timestamp
    ) -> npt.NDArray[np.bool_]:
        """In which groups do records begin, or are they missing, in that time?"""
        first, stop = after + _ONE_DAY, until + _ONE_DAY
        rows = self.stretches
        begins = rows["starts_with"].isin(["records begin", "gap"])
        begins &= (rows["start"] > first) & (rows["start"] < stop)
        ends = (rows["ends_with"] == "gap") & (rows["end"] >= first) & (rows["end"] < stop)
        hit = rows.loc[begins | ends, "position_id"].unique()
        return self._over_groups(asked, pd.Series(1.0, index=hit)) > 0

    def _over_groups(self, asked: pd.DataFrame, values: pd.Series) -> Floats:
        """Sum a value of each position over the groups asked for."""
        out = np.zeros(len(asked))
        for by, part in asked.groupby("by", sort=False):
            sums = values.groupby(self.groups[by].reindex(values.index)).sum()
            found = sums.reindex(part["group"], fill_value=0.0)
            out[asked.index.get_indexer(part.index)] = found.to_numpy()
        return out


def events_of(study: Study) -> Events:
    """Which removals does a study hold, as failures and as seals needed, and in which groups?"""
    register, removals = study.register.table, study.removals.table
    class_of = study.classes.table.set_index("position_id")["service_class"]
    pool = register.set_index("position_id")["pool"]
    first = register.drop_duplicates("pump_key").set_index("pump_key")["position_id"]
    named = removals["position_id"] != ""
    ended = removals["ended"].replace("unknown", study.settings.rules.unknown_reason)
    return Events(
        position_groups(study.register, class_of).assign(pool=pool),
        pd.DataFrame(
            {
                "position_id": removals["position_id"].where(
                    named, removals["pump_key"].map(first)
                ),
                "end": removals["end"],
                "failures": ended == "failed",
                "seals needed": removals["reason"] != "pump retired",
            }
        ),
        study.watched.stretches,
        study.watched.windows["end"].max() - _ONE_DAY,
    )


def fates(
    seals: pd.DataFrame, lives: pd.DataFrame, after: pd.Timestamp, until: pd.Timestamp
) -> pd.DataFrame:
    """What became of each seal that was in service on a day?

    Parameters
    ----------
    seals : DataFrame
        life_id, position_id, chance: of failing by ``until``.
    lives : DataFrame
        Table of the `LifeTable` of all that is known now.
    after, until : Timestamp

    Returns
    -------
    DataFrame
        life_id, position_id, given; fate ('failed', 'taken out', 'running', 'out already'), part
        (share of the time for which the seal was asked), chance (for that part, at an even hazard),
        happened. One that was taken out in good order, or whose record stopped, is asked only up to
        then. One whose removal was under way on that day was out already and is not asked.

    Raises
    ------
    InputError
        A chance lies outside 0 to 1.
    """
    given = seals["chance"].to_numpy(dtype=float)
    if not ((given >= 0) & (given <= 1)).all():
        raise InputError("must lie between 0 and 1", where="seal_chances: chance")
    there = lives[(lives["entry"] <= after) & (lives["exit"] > after)]
    there = there.drop_duplicates("position_id").set_index("position_id")[["exit", "end"]]
    then = there.reindex(seals["position_id"])
    out = (then["exit"] <= until).to_numpy()
    failed = out & (then["end"] == "failed").to_numpy()
    part = ((then["exit"] - after) / (until - after)).to_numpy()
    part = np.where(out & ~failed, part, 1.0)
    fate = np.select(
        [then["exit"].isna().to_numpy(), failed, out],
        ["out already", "failed", "taken out"],
        "running",
    )
    return pd.DataFrame(
        {
            "life_id": seals["life_id"].to_numpy(),
            "position_id": seals["position_id"].to_numpy(),
            "given": given,
            "fate": fate,
            "part": part,
            "chance": -np.expm1(np.log1p(-np.minimum(given, 1 - 1e-12)) * part),
            "happened": failed,
        }
    )
