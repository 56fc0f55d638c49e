"""At which seal was each reading taken? Position, then the life that ran on that day.

In: readings, `Register`, `LifeTable`, `Changes`. Out: places. Next: `seallife.leakage.readings`.

A reading on the day of a renewal may be of the old seal or the new. Where two or more stand, the
first by the clock is of the old one, without a clock the highest; one alone is of the old one,
whose leak had it renewed.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.changes import Changes
from seallife.clocks import RunClock, day_number
from seallife.lives import LifeTable
from seallife.register import Register, match_tags

__all__ = ["place_in_lives", "place_readings"]


def place_readings(raw: pd.DataFrame, register: Register) -> pd.DataFrame:
    """At which position was each reading taken?

    Returns
    -------
    pandas.DataFrame
        pump_key ('' where the tag meets none), position_id ('' where the pump has two seals and the
        end is not named).
    """
    pumps = match_tags(raw["tag"], raw["site"], register)["pump_key"].astype(object)
    table = register.table
    single = table[~table["pump_key"].duplicated(keep=False)].set_index("pump_key")["position_id"]
    ends = table.drop_duplicates(["pump_key", "seal_end"]).set_index(["pump_key", "seal_end"])
    keys = pd.MultiIndex.from_arrays([pumps, raw["seal_end"]])
    by_end = pd.Series(ends["position_id"].reindex(keys).to_numpy(), index=raw.index, dtype=object)
    # objects throughout: where no reading has a place pandas would take them for numbers
    place = pumps.map(single).astype(object)
    place = place.where(place.notna(), by_end)
    return pd.DataFrame({"pump_key": pumps, "position_id": place.fillna("")})


def place_in_lives(
    rows: pd.DataFrame, lives: LifeTable, changes: Changes, clock: RunClock
) -> pd.DataFrame:
    """Which life ran at each reading, and how old was the seal?

    Parameters
    ----------
    rows : pandas.DataFrame
        position_id, date, value.

    Returns
    -------
    pandas.DataFrame
        In the order of ``rows``: life_id ('' where no seal is on record), at ('running', 'day of
        change', 'seal out' between a seal's end and its successor's start, 'no seal on record'),
        epoch (of the position at the date), age_d, age_h (NaN where not known), to_end_d (days to
        the end of the life).
    """
    day = rows["date"].dt.normalize()
    asked = pd.DataFrame({"position_id": rows["position_id"], "date": day}).reset_index()
    asked = asked.sort_values("date", kind="stable")
    table = lives.table.reset_index(names="life")
    began = table[["position_id", "entry", "exit", "life", "removal_id"]].sort_values("entry")
    began = began.astype({"position_id": object})
    found = pd.merge_asof(
        asked, began, left_on="date", right_on="entry", by="position_id"
    ).set_index("index")
    found = found.reindex(rows.index)
    found["at"] = np.select(
        [found["life"].isna(), day < found["exit"], found["removal_id"] != ""],
        ["no seal on record", "running", "seal out"],
        "no seal on record",
    )
    found = _on_the_day(found, rows, day, table)
    life = found["life"].where(found["at"] != "no seal on record")
    chosen = table.reindex(life.to_numpy())
    position = rows["position_id"]
    number, began_d = day_number(day), day_number(chosen["start"])
    hours, _ = clock.at(position, number)
    start_h, _ = clock.at(position, began_d)
    entry_h, _ = clock.at(position, day_number(chosen["entry"]))
    age_known = (chosen["age_known"] == True).to_numpy(dtype=bool)  # noqa: E712  (object column with gaps)
    # a seal that had run elsewhere brings its age along
    older_d = chosen["entry_age_d"].to_numpy(dtype=float) - (day_number(chosen["entry"]) - began_d)
    older_h = chosen["entry_age_h"].to_numpy(dtype=float) - (entry_h - start_h)
    return pd.DataFrame(
        {
            "life_id": chosen["life_id"].fillna("").to_numpy(),
            "at": found["at"].to_numpy(),
            "epoch": _epoch(rows["position_id"], day, changes),
            "age_d": np.where(age_known, number - began_d + older_d, np.nan),
            "age_h": np.where(age_known, hours - start_h + older_h, np.nan),
            "to_end_d": day_number(chosen["exit"]) - number,
        },
        index=rows.index,
    )


def _on_the_day(
    found: pd.DataFrame, rows: pd.DataFrame, day: pd.Series, table: pd.DataFrame
) -> pd.DataFrame:
    """Part the readings of a day on which one seal followed another."""
    ended = table[table["removal_id"] != ""][["position_id", "exit", "life"]]
    ended = ended.drop_duplicates(["position_id", "exit"], keep="last")
    old = pd.DataFrame({"position_id": rows["position_id"], "exit": day}).merge(
        ended, on=["position_id", "exit"], how="left"
    )["life"]
    old = pd.Series(old.to_numpy(), index=rows.index)
    both = old.notna() & found["life"].notna()
    if not both.any():
        return found
    late = rows["date"] - day
    order = pd.DataFrame({"p": rows["position_id"], "d": day, "late": late, "v": -rows["value"]})
    order = order[both].sort_values(["p", "d", "late", "v"], kind="stable")
    first = ~order.duplicated(["p", "d"])
    to_old = first.reindex(rows.index, fill_value=False)
    # where the next seal starts on a later day no reading of this one can be of it
    to_old |= both & (found["life"] == old)
    return found.assign(
        life=np.where(to_old & both, old, found["life"]),
        at=found["at"].mask(both, "day of change"),
    )


def _epoch(position: pd.Series, day: pd.Series, changes: Changes) -> npt.NDArray[np.int64]:
    """Number of the position's configuration on each day."""
    table = changes.table[["position_id", "begins", "epoch"]].sort_values("begins")
    asked = pd.DataFrame({"position_id": position.astype(object), "day": day}).reset_index()
    asked = asked.sort_values("day", kind="stable")
    table = table.astype({"position_id": object})
    got = pd.merge_asof(asked, table, left_on="day", right_on="begins", by="position_id")
    return got.set_index("index")["epoch"].reindex(position.index).fillna(1).to_numpy(np.int64)
