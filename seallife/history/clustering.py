"""Do repairs follow each other closely at the same pump, and how much wider must limits be for it?

In: counts and time at risk of each pump by month. Out: one row a group. Next:
`seallife.history.mtbr`, `seallife.history.windows`.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.errors import InputError
from seallife.life.discovery import discovery_rate

__all__ = ["LIMITS", "RepeatPairs", "clustering", "repeat_pairs", "widening"]

Floats = npt.NDArray[np.float64]

LIMITS = (
    "limits of MTBR and MTBF speak of these positions and of the luck they had, not of other "
    "positions; they are exact Poisson limits, widened where repairs at one pump follow each other "
    "within a year more often than chance explains"
)

_CHANCE = 0.05  # share of fleets without clustering whose limits are widened all the same


class RepeatPairs(NamedTuple):
    """Pairs of events at one pump, one value a pump, shape (n,) each.

    ``events``; ``near`` and ``all``, pairs of events less than a year and less than three years
    apart; ``share``, the part of the latter that would be near if events fell evenly on the time
    at risk (1 where the record is too short to hold any other).
    """

    events: Floats
    near: Floats
    all: Floats
    share: Floats


def repeat_pairs(
    counts: npt.ArrayLike, exposure: npt.ArrayLike, *, near: int = 12, far: int = 36
) -> RepeatPairs:
    """How many events follow another at the same pump within a year, and within three years?

    Parameters
    ----------
    counts : array_like, shape (n, months)
        Events of each pump in each month.
    exposure : array_like, shape (n, months)
        Time at risk, any unit; zero in a gap of the records.
    near, far : int
        Months within which an event counts as a repeat, and within which it is counted at all.

    Raises
    ------
    InputError
        Arrays of different shape, or ``near`` not below ``far``.

    Examples
    --------
    >>> pairs = repeat_pairs([[1, 1, 0, 0, 1]], [[1.0] * 5], near=2, far=4)
    >>> pairs.near.tolist(), pairs.all.tolist(), pairs.share.round(2).tolist()
    ([1.0], [2.0], [0.57])
    """
    n, t = np.asarray(counts, dtype=float), np.asarray(exposure, dtype=float)
    if n.shape != t.shape or n.ndim != 2:
        raise InputError(f"has shape {n.shape} where exposure has {t.shape}", where="counts")
    if not 0 < near < far:
        raise InputError(f"is {near} where far is {far}", where="near", hint="give less than far")
    # within one month each pair is there once, and half of the square of the time
    found, room = np.zeros((2, far, len(n)))
    found[0], room[0] = (n * (n - 1)).sum(axis=1) / 2, (t * t).sum(axis=1) / 2
    for lag in range(1, min(far, n.shape[1])):
        found[lag] = np.einsum("ij,ij->i", n[:, lag:], n[:, :-lag])
        room[lag] = np.einsum("ij,ij->i", t[:, lag:], t[:, :-lag])
    whole = room.sum(axis=0)
    share = np.divide(room[:near].sum(axis=0), whole, out=np.ones(len(n)), where=whole > 0)
    return RepeatPairs(n.sum(axis=1), found[:near].sum(axis=0), found.sum(axis=0), share)


def clustering(pairs: RepeatPairs, group: npt.ArrayLike | None = None) -> pd.DataFrame:
    """By how much does the variance of a count exceed its mean because repairs cluster?

    Parameters
    ----------
    pairs : RepeatPairs
        From `repeat_pairs`.
    group : array_like, shape (n,), optional
        Group of each pump; all one where None.

    Returns
    -------
    pandas.DataFrame
        group, events, repeats (pairs less than a year apart), repeats_expected (by the pairs up to
        three years apart), dispersion (variance of a count over its mean; below 1 where events
        keep apart, as renewed seals that fail with age do), p (of as many repeats by chance),
        factor (``dispersion`` where it is above 1 beyond chance, else 1), status ('ok',
        'too short', 'no events').

    Notes
    -----
    A limit of MTBF speaks of these positions and of the luck they had: given the rate of each, the
    failures of all are a sum of Poisson counts and so Poisson, however much the rates differ. The
    spread of counts between positions, which a chi-square over positions or a resampling of
    positions measures, is therefore no part of it; it would be if the positions were a sample and
    the interval spoke of others. What does break the limits is that failures at one position bring
    more failures there: a repair that fails again soon. Then the variance of the count is its mean
    times 1 + 2 e, where e is the number of further failures within reach of one failure beyond
    those that its rate brings.

    e is read from pairs of failures at one pump (a bad bearing takes both its seals). Of those
    less than three years apart a known share would be less than a year apart, whatever the rate of
    the pump, so that neither pumps that differ nor rates that drift over years pass for clustering.
    Repeats that come later than a year are not seen, nor are causes that fell many pumps at once.
    Limits stay exact unless repeats exceed chance at 5 %, one-sided (binomial, given the pairs).
    Renewed seals that fail with age keep apart: limits are then too wide, and stay so.

    Source
    ------
    Variance of counts by pair correlation: Cox & Isham (1980), Point Processes, sec. 2.5, from
    memory; quasi-Poisson scale: McCullagh & Nelder (1989), Generalized Linear Models, sec. 6.2.3.

    Examples
    --------
    >>> even = repeat_pairs(np.ones((50, 60)), np.ones((50, 60)))
    >>> clustering(even)["factor"].tolist()
    [1.0]
    """
    from scipy.special import betainc

    label = np.zeros(len(pairs.events), dtype=int) if group is None else np.asarray(group)
    frame = pd.DataFrame(
        {
            "group": label,
            "events": pairs.events,
            "repeats": pairs.near,
            "all": pairs.all,
            "repeats_expected": pairs.all * pairs.share,
            "informed": pairs.events * (1 - pairs.share),
        }
    )
    table = frame.groupby("group", sort=False).sum().reset_index()
    near, every, expected, informed = (
        table[c].to_numpy(dtype=float) for c in ("repeats", "all", "repeats_expected", "informed")
    )
    can = informed > 1e-9
    with np.errstate(divide="ignore", invalid="ignore"):
        size = np.where(can, 1 + 2 * (near - expected) / informed, np.nan)
        chance = np.where(every > 0, expected / every, 0.0)
    # the chance of so many or more near pairs among all, each near by itself
    more = betainc(np.maximum(near, 1), every - near + 1, np.minimum(chance, 1))
    p = np.where(can, np.where(near > 0, more, 1.0), np.nan)
    table[["events", "repeats"]] = table[["events", "repeats"]].round().astype(int)
    return table[["group", "events", "repeats", "repeats_expected"]].assign(
        dispersion=size,
        p=p,
        factor=np.where(can & (p <= _CHANCE), np.maximum(size, 1.0), 1.0),
        status=np.where(can, "ok", np.where(table["events"] > 0, "too short", "no events")),
    )


def widening(table: pd.DataFrame) -> pd.DataFrame:
    """By how much are the limits of each group of a fleet widened?

    Parameters
    ----------
    table : DataFrame
        by, group and the columns of `clustering`; the fleet is the row whose ``by`` is 'all'.

    Returns
    -------
    DataFrame
        With ``used`` in place of ``factor``: that of the whole fleet, as most groups are too small
        to tell; the group's own where that is larger and beyond chance among so many groups (false
        discovery rate 5 %).
    """
    fleet = table["by"] == "all"
    own = ~fleet & (table["status"] == "ok")
    q = pd.Series(1.0, index=table.index)
    q[own] = discovery_rate(table.loc[own, "p"].to_numpy(dtype=float))
    whole = float(table.loc[fleet, "factor"].max()) if fleet.any() else 1.0
    used = np.where(q <= _CHANCE, np.fmax(table["dispersion"], whole), whole)
    return table.drop(columns="factor").assign(used=used)
