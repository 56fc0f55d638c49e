"""What in the store has lain, or will have lain, too long to be used?

In: elastomers and cure dates of stock items, and where known `DemandPaths`. Out: `ShelfLife`.
Next: reports on spares.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.errors import InputError, need_columns
from seallife.life.groups import Floats
from seallife.life.result import TableResult, worded_status
from seallife.spares.paths import DemandPaths

__all__ = ["ASSEMBLED", "QUIET", "ShelfLife", "shelf_group", "shelf_life"]

ASSEMBLED = (
    "The periods are for unassembled parts; in an assembled cartridge elastomers are stretched and "
    "compressed, and its maker's limit holds."
)
"""What must be said of cartridges."""

QUIET = ("ok", "none in the store", "does not age")
"""Words of a status of which nobody need be told."""

_SOURCE = "ISO 2230:2002, as restated by makers of O-rings; see shelf_life.toml"


@dataclass(frozen=True, eq=False)
class ShelfLife(TableResult):
    """How long stock items may still lie.

    Attributes
    ----------
    table : DataFrame
        Per ``pool``: ``elastomer``, ``group`` ('A', 'B', 'C', 'own limit', 'ageless' or ''),
        ``cure_date``, ``limit_date`` and ``extended_date`` (with an extension after inspection),
        ``limit_in_force`` (the second where inspected), ``days_left`` to it, ``used_before``
        (share of futures that use up what is there by then; NaN where not foreseen), ``caution``,
        ``status``, ``message``.
    now : Timestamp
    """

    now: pd.Timestamp


def shelf_group(elastomer: str) -> str:
    """To which group of shelf lives does a material belong?

    Parameters
    ----------
    elastomer : str
        Code or common name, with anything beside it; of several materials the shortest-lived.

    Returns
    -------
    str
        'A', 'B', 'C', 'ageless', or '' where no material of the table is named.

    Examples
    --------
    >>> [shelf_group(text) for text in ("FKM, peroxide cured", "FKM/NBR", "graphite", "unknown")]
    ['C', 'B', 'ageless', '']
    """
    words = f" {' '.join(re.findall(r'[a-z]+', elastomer.casefold()))} "
    found = [group for name, group in _groups().items() if f" {name} " in words]
    return min(found, default="")  # 'A' < 'B' < 'C' < 'ageless'


def shelf_life(
    stores: pd.DataFrame,
    now: pd.Timestamp,
    *,
    paths: DemandPaths | None = None,
    share: float = 0.5,
) -> ShelfLife:
    """Which stock items are over their shelf life, or will be before they are used?

    Parameters
    ----------
    stores : DataFrame
        Per ``pool``: ``elastomer``, ``cure_date`` of the oldest in stock (the cure quarter, not
        the day it was bought); where known ``on_hand``, ``lead_time_d``, ``shelf_years`` (a limit
        of the maker or the site, in place of the standard's), ``inspected`` (True where the oldest
        was inspected for the extension), ``assembled`` (False for loose parts).
    now : Timestamp
    paths : DemandPaths, optional
        Futures from ``now``; where None nothing is said of use before the limit.
    share : float
        Share of futures that must have used up the stock by its limit.

    Returns
    -------
    ShelfLife

    Raises
    ------
    InputError
        A column is missing, or a limit in years is not above 0.

    Notes
    -----
    All pieces are taken as old as the oldest. Kept cool, dark, dry and free of ozone and strain,
    as the standard asks; else limits are shorter.
    """
    need_columns(stores, ("pool", "elastomer", "cure_date"), "stores", "see read_pools")
    n = len(stores)
    material = stores["elastomer"].fillna("").astype(str).str.strip()
    names = {text: shelf_group(text) for text in material.unique()}
    group = material.map(names).to_numpy(dtype=object)
    own = _numbers(stores, "shelf_years")
    if np.any(own <= 0):
        raise InputError("is not above 0", where="stores.shelf_years", hint="leave it empty")
    group = np.where(np.isnan(own), group, "own limit")
    periods = _periods()
    first, more = (np.array([periods.get(g, (np.nan, np.nan))[i] for g in group]) for i in (0, 1))
    first = np.where(np.isnan(own), first, own)
    more = np.where(np.isnan(own), more, 0.0)
    cured = pd.to_datetime(stores["cure_date"]).to_numpy("datetime64[D]")
    limit, extended = _after(cured, first), _after(cured, first + more)
    inspected = stores["inspected"].eq(True).to_numpy() if "inspected" in stores else np.zeros(n)
    force = np.where(inspected.astype(bool), extended, limit)
    today = np.datetime64(now, "D")
    left = np.where(np.isnat(force), np.nan, (force - today).astype(float))
    lead, held = _numbers(stores, "lead_time_d"), _numbers(stores, "on_hand")
    used = _used_before(paths, stores, left, held)
    loose = stores["assembled"].eq(False).to_numpy() if "assembled" in stores else np.zeros(n)
    day, until = np.datetime_as_string(force), np.datetime_as_string(extended)
    known = ~np.isnan(left)
    over = known & (left < 0)
    status, message = worded_status(
        n,
        [
            (held == 0, "none in the store", ""),
            (group == "ageless", "does not age", ""),
            (
                material.eq("").to_numpy() & np.isnan(own),
                "elastomer not given",
                "Without the elastomer no limit can be said.",
            ),
            (
                group == "",
                "elastomer not in the table",
                "Give its code, such as FKM, or a limit in shelf_years.",
            ),
            (np.isnat(cured), "cure date not given", "Read it on the bag: it is not the purchase."),
            (over & (today <= extended), "over its first limit", ""),
            (over, "expired", ""),
            (known & (left < lead), "expires before a new one could arrive", ""),
            (used < share, "expires before expected use", ""),
        ],
    )
    figures = zip(status, message, day, until, lead, used, strict=True)
    table = pd.DataFrame(
        {
            "pool": stores["pool"].to_numpy(),
            "elastomer": material.to_numpy(),
            "group": group,
            "cure_date": cured.astype("datetime64[s]"),
            "limit_date": limit.astype("datetime64[s]"),
            "extended_date": extended.astype("datetime64[s]"),
            "limit_in_force": force.astype("datetime64[s]"),
            "days_left": left,
            "used_before": used,
            "caution": np.where(loose.astype(bool) | (group == "ageless"), "", ASSEMBLED),
            "status": status,
            "message": [_message(*row) for row in figures],
        }
    )
    return ShelfLife(table, np.nan, "shelf life from the cure date, by group", _SOURCE, now)


def _message(status: str, message: str, day: str, until: str, lead: float, used: float) -> str:
    """Sentence of a row; that of its case where it has one."""
    told = {
        "over its first limit": f"Over since {day}: use after an inspection only, until {until}.",
        "expired": f"Over since {day}: not to be fitted.",
        "expires before a new one could arrive": f"Over on {day}; a new one takes {lead:.0f} d.",
        "expires before expected use": (
            f"Over on {day}; by then the stock is used up in {used:.0%} of futures."
        ),
    }
    return message or told.get(status, "")


@lru_cache(maxsize=1)
def _table() -> dict[str, Any]:
    with (files("seallife.spares") / "shelf_life.toml").open("rb") as file:
        return tomllib.load(file)


def _groups() -> dict[str, str]:
    """Group of each material."""
    table = _table()
    lists = {name: entry["materials"] for name, entry in table["group"].items()}
    lists["ageless"] = table["ageless"]["materials"]
    return {word.casefold(): name for name, words in lists.items() for word in words}


def _periods() -> dict[str, tuple[float, float]]:
    """First period and its extension of each group [y]."""
    return {
        name: (float(entry["years"]), float(entry["extension_years"]))
        for name, entry in _table()["group"].items()
    }


def _after(day: NDArray[np.datetime64], years: Floats) -> NDArray[np.datetime64]:
    """The same day so many years later, to the month; not a time where either is missing."""
    start = day.astype("datetime64[M]")
    months = np.rint(np.nan_to_num(years) * 12).astype("timedelta64[M]")
    later = (start + months).astype("datetime64[D]") + (day - start.astype("datetime64[D]"))
    return np.where(np.isnan(years), np.datetime64("NaT"), later)


def _numbers(stores: pd.DataFrame, name: str) -> Floats:
    """A column of numbers; NaN where the table has none."""
    if name not in stores:
        return np.full(len(stores), np.nan)
    return stores[name].to_numpy(dtype=np.float64, na_value=np.nan)


def _used_before(
    paths: DemandPaths | None, stores: pd.DataFrame, left: Floats, held: Floats
) -> Floats:
    """Share of futures that need all that is there before the limit; NaN where not foreseen."""
    out = np.full(len(stores), np.nan)
    if paths is None:
        return out
    place = paths.pools.get_indexer(pd.Index(stores["pool"]))
    rows = np.flatnonzero((place >= 0) & (held > 0) & (left >= 0) & (left <= paths.days))
    until = np.full(len(paths.pools), np.nan)
    until[place[rows]] = left[rows]
    needed = paths.needed(until)
    out[rows] = (needed[place[rows]] >= held[rows, None]).mean(axis=1)
    return out
