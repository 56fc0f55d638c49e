"""The table of emissions: one row a year.

In: hours and kg of all members. Out: a table. Next: `seallife.leakage.emissions`.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.leakage.standing import Members, year_names
from seallife.life.groups import Floats
from seallife.life.result import worded_status

__all__ = ["year_table"]

_FEW = 10  # positions read in a year, below which its interval means little


def year_table(
    edges: Floats,
    ends: float,
    day: Floats,
    below: NDArray[np.bool_],
    above: NDArray[np.bool_],
    members: Members,
    hours: Floats,
    kg: Floats,
    average: float,
    limits: tuple[Floats, Floats],
) -> pd.DataFrame:
    """What was emitted in each year, and what that rests on?

    Parameters
    ----------
    edges : ndarray, shape (m + 1,)
        [d since 1970]
    ends : float
        End of records [d since 1970].
    day : ndarray, shape (n,)
    below, above : ndarray of bool, shape (n,)
        Readings not detected and above scale.
    members : Members
    hours : ndarray, shape (p, m)
        Monitored, of each member.
    kg : ndarray, shape (m,)
        Emitted in those.
    average : float
        Rate of the other hours [kg/h].
    limits : tuple of ndarray, shape (m,)
        Of ``kg``.
    """
    last = pd.Timestamp(0) + pd.Timedelta(days=ends)
    dates = pd.Timestamp(0) + pd.to_timedelta(edges, unit="D")
    held = members.hours(edges)
    positions, monitored = (held > 0).sum(axis=0), (hours > 0).sum(axis=0)
    read = hours.sum(axis=0)
    rest = np.maximum(held.sum(axis=0) - read, 0.0)
    rest = np.where(rest < 1e-6 * np.maximum(held.sum(axis=0), 1.0), 0.0, rest)
    other = np.where(rest > 0, rest * average, 0.0)
    single = monitored == 1
    mine = np.where(single | (monitored == 0), np.nan, kg)
    add = np.where(np.isnan(other), 0.0, other)
    total = np.where(monitored == 0, np.where(rest > 0, other, np.nan), mine + add)
    inside = [np.histogram(day[rows], edges)[0] for rows in (np.full(len(day), True), below, above)]
    share = read / np.where(read + rest > 0, read + rest, 1.0)
    left_out = (rest > 0) & np.isnan(average)
    status, message = worded_status(
        len(kg),
        [
            (positions == 0, "no positions", "The population has no position in this year."),
            (
                monitored == 0,
                "not monitored",
                "No reading stands for this year; what is given comes from the average factor.",
            ),
            (
                single,
                "single seal",
                "One position was read: the equations hold for totals of many seals, so no figure "
                "is given. Follow this seal in the unit of its readings.",
            ),
            (
                monitored < _FEW,
                "few positions",
                f"Fewer than {_FEW} positions were read: the limits mean little.",
            ),
            (
                left_out,
                "part",
                "Time that no reading stands for is left out, see share_monitored: give an "
                "average_factor to have it in the total.",
            ),
            (
                edges[1:] > ends,
                "to date",
                f"Counted to the end of records, {last:%Y-%m-%d}.",
            ),
        ],
    )
    return pd.DataFrame(
        {
            "year": year_names(dates),
            "start": dates[:-1],
            "end": dates[1:],
            "positions": positions,
            "monitored": monitored,
            "not_monitored": positions - monitored,
            "hours_monitored": read,
            "hours_not_monitored": rest,
            "share_monitored": share,
            "readings": inside[0],
            "nondetect": inside[1],
            "pegged": inside[2],
            "kg_monitored": mine,
            "kg_not_monitored": other,
            "kg": total,
            "kg_low": limits[0] + add,
            "kg_high": limits[1] + add,
            "status": status,
            "message": message,
        }
    )
