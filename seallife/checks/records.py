"""What the checks of a whole fleet look at.

In: the stages before. Out: `Records`. Next: the other modules of `seallife.checks`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from seallife.changes import Changes
from seallife.events import Removals
from seallife.intake import Fleet
from seallife.observation import Observation
from seallife.register import Register, match_tags

__all__ = ["Records"]


@dataclass(frozen=True)
class Records:
    """A fleet as read and understood; nothing here is changed.

    Attributes
    ----------
    fleet, register, watched, removals, changes
        See the modules that make them.
    """

    fleet: Fleet
    register: Register
    watched: Observation
    removals: Removals
    changes: Changes

    @cached_property
    def orders(self) -> pd.DataFrame:
        """Work orders with pump_key, how (the tag was matched), site, day, seal_removal, stock_no.

        ``day`` is the earliest of the order's dates but for its closing; ``stock_no`` the number
        at the head of the part drawn; ``repeated`` marks rows that stand in the table before.
        """
        raw = self.fleet["work_orders"]
        found = match_tags(raw["tag"], raw["site"], self.register)
        positions = self.register.table
        site = found["pump_key"].map(
            positions.drop_duplicates("pump_key").set_index("pump_key")["site"]
        )
        sites = positions["site"].unique()
        given = raw["site"].where(raw["site"] != "", sites[0] if len(sites) == 1 else "")
        days = raw[["date_raised", "malfunction_start", "work_start", "work_end"]]
        used = set(" ".join(self.removals.table["record_ids"]).split())
        return raw.assign(
            pump_key=found["pump_key"],
            how=found["how"],
            site=site.fillna(given),
            day=days.min(axis=1),
            seal_removal=raw["record_id"].isin(used),
            stock_no=raw["part"].str.extract(r"^\s*([A-Z]{0,3}-?\d{4,})\b")[0].fillna(""),
            repeated=raw.drop(columns="record_id").duplicated() & (raw["wo_no"] != ""),
        )

    @cached_property
    def pumps(self) -> pd.DataFrame:
        """One row a pump: pump_key, tag, site, record_id."""
        columns = ["pump_key", "tag", "site", "record_id"]
        return self.register.table.drop_duplicates("pump_key")[columns].reset_index(drop=True)

    @cached_property
    def set_of_sisters(self) -> pd.Series:
        """Name of the set of pumps that share a duty, for each position of the register."""
        table = self.register.table
        pair = table["tag"].str.replace(r"(?<=\d)[-_ ]?[A-Za-z]$", "", regex=True)
        pair = table["pair_group"].where(table["pair_group"] != "", pair)
        return table["site"] + "/" + pair
