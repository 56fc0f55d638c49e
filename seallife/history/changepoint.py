"""Did the rate of events change at one point of exposure, and where?

In: events on exposure. Out: `ChangePoints`. Next: `seallife.figures.growth`.

For events at random. Where positions are known, `seallife.history.positionchange` asks for less.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from zlib import crc32

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.history.systems import read_systems
from seallife.life.groups import Floats
from seallife.life.lifedata import check_level
from seallife.life.result import TableResult, worded_status

__all__ = ["ChangePoints", "change_point", "check_search"]

_METHOD = "likelihood ratio of one change of rate against none, at its best point, resampled"
_SOURCE = (
    "Worsley (1986), Biometrika 73, 91-104; Akman & Raftery (1986), Annals of Statistics 14, "
    "1583-1590"
)
_FEW = 5
_PLACES = 100  # tried for the interval
_AT_ONCE = 2_000_000  # random numbers held in memory


@dataclass(frozen=True, eq=False)
class ChangePoints(TableResult):
    """Change points of all groups.

    Attributes
    ----------
    table : DataFrame
        Per group: ``group``, ``events``, ``exposure``; ``change`` (exposure at the best point)
        with ``change_low``, ``change_high``; ``rate_before``, ``rate_after``, ``ratio`` (after
        over before; picked as the largest, so further from 1 than the truth is apt to be);
        ``statistic`` (twice the log likelihood ratio), ``p``; ``changed`` (p at most ``alarm``);
        ``status``, ``message``.
    alarm : float
        Share of groups without change in which ``changed`` is true by chance.
    trim : float
        Share of exposure at either end in which no change is looked for.
    resamples, seed : int
    """

    alarm: float
    trim: float
    resamples: int
    seed: int


def check_search(alarm: float, trim: float, resamples: int) -> None:
    """Refuse settings with which no change can be looked for.

    Raises
    ------
    InputError
    """
    if not 0 < alarm < 1:
        raise InputError(f"is {alarm!r}", where="alarm", hint="give a share such as 0.05")
    if not 0 < trim < 0.5:
        raise InputError(f"is {trim!r}", where="trim", hint="give a share such as 0.05")
    if resamples < 99:
        raise InputError(f"is {resamples}", where="resamples", hint="give 99 or more")


def change_point(
    times: ArrayLike,
    end: float | ArrayLike,
    *,
    group: ArrayLike | None = None,
    end_group: ArrayLike | None = None,
    level: float = 0.90,
    alarm: float = 0.05,
    trim: float = 0.05,
    resamples: int = 999,
    seed: int = 1,
) -> ChangePoints:
    """At which point of exposure did the rate of events change, if it did?

    Parameters
    ----------
    times : array_like, shape (n,)
        Exposure at each event, from where watching began.
    end : float or array_like, shape (g,)
        Exposure at which watching ended, of each group.
    group : array_like, shape (n,), optional
        Group of each event; one if not given.
    end_group : array_like, shape (g,)
        Group of each end, where there are several.
    level : float
        Two-sided level of the interval of the point.
    alarm : float
        How often a change may be called where there was none.
    trim : float
        Share of exposure at either end in which no change is looked for.
    resamples, seed : int

    Returns
    -------
    ChangePoints

    Raises
    ------
    InputError
        If the data, ``level``, ``alarm``, ``trim`` or ``resamples`` cannot be used.

    Notes
    -----
    ``p`` is the share of resamples, as many events put at random on the exposure, whose best point
    stands out as much: looking everywhere is thereby paid for. The interval holds every point at
    which a change would leave the best one standing out no more than resamples do that change
    there, with as many events before and after; it does not hang on the size of the change. The
    points alone hold the truth at their level; from the first of them to the last it is in 91 to
    97 %. It is given where ``changed``; a group without change has none.

    False alarms: 4 to 6 % at a nominal 5 % for events at random. It does **not** hold for renewal
    (0 to 3 % at Weibull shape 1.5, 6 to 20 % at 0.8) nor for a pooled fleet whose positions differ
    and come and go (5 to 9 %; `tests/history_coverage.csv`); there use
    `seallife.history.positionchange.change_by_position`. One change is looked for: of a slow trend
    it picks the middle.

    Examples
    --------
    >>> early = [2, 5, 9, 11, 14, 18, 21, 26, 29, 31, 35, 38]
    >>> got = change_point([*early, 60, 95], 100)["all"]
    >>> f"{got['changed']} {got['change']:.1f}"
    'True 38.0'

    Source
    ------
    Worsley (1986), Biometrika 73, 91-104 (exponential family, conditional confidence region);
    Akman & Raftery (1986), Annals of Statistics 14, 1583-1590 (Poisson process). From memory;
    checked by simulation.
    """
    check_level(level)
    check_search(alarm, trim, resamples)
    data = read_systems(times, end, unit=group, end_unit=end_group)
    names = data.unit.tolist()
    rows = []
    for g in range(len(names)):
        share = data.relative()[data.events[g] : data.events[g + 1]]
        found = _one(share, (level, alarm, trim), resamples, seed)
        whole = float(data.end[g])
        lengths = {k: found[k] * whole for k in ("change", "change_low", "change_high")}
        rates = {k: found[k] / whole for k in ("rate_before", "rate_after")}
        rows.append({"group": names[g], "exposure": whole, **found, **lengths, **rates})
    columns = ["group", "events", "exposure", "change", "change_low", "change_high", "rate_before"]
    columns += ["rate_after", "ratio", "statistic", "p", "changed"]
    table = pd.DataFrame(rows, columns=columns)
    few = (table["events"] < _FEW).to_numpy()
    status, _ = worded_status(
        len(table),
        [((table["events"] == 0).to_numpy(), "no events", ""), (few, "few events", "")],
    )
    message = [_sentence(row, alarm) for row in table.to_dict(orient="records")]
    table = table.assign(status=status, message=message)
    return ChangePoints(table, level, _METHOD, _SOURCE, alarm, trim, resamples, seed)


def _one(
    share: Floats, shares: tuple[float, float, float], resamples: int, seed: int
) -> dict[str, float | int | bool]:
    """Change point of one group, on exposure 0 to 1; ``shares`` are level, alarm and trim."""
    level, alarm, trim = shares
    n = len(share)
    out: dict[str, float | int | bool] = {"events": n, "changed": False}
    blank = ("change", "change_low", "change_high", "rate_before", "rate_after", "ratio")
    out |= dict.fromkeys((*blank, "statistic", "p"), np.nan)
    if n < 2:
        return out
    height, at, count = _best(share[None, :], trim)
    rng = np.random.default_rng([seed, n, crc32(np.ascontiguousarray(share).tobytes())])
    drawn = _heights(rng, n, np.array([0.0, 1.0]), np.array([n]), trim, resamples, None)
    p = (1 + int((drawn >= height[0] - 1e-9).sum())) / (1 + resamples)
    before = int(count[0])
    rates = before / at[0], (n - before) / (1 - at[0])
    out |= {"change": float(at[0]), "statistic": float(height[0]), "p": p}
    out |= {"rate_before": rates[0], "rate_after": rates[1]}
    out["ratio"] = rates[1] / rates[0] if rates[0] > 0 else np.inf
    if p <= alarm + 1e-12:
        low, high = _region(share, float(height[0]), float(at[0]), level, trim, resamples, rng)
        out |= {"changed": True, "change_low": low, "change_high": high}
    return out


def _gain(before: Floats, n: int, at: Floats) -> Floats:
    """Twice the log likelihood ratio of a change at each point, given the events before it."""
    from scipy.special import xlogy

    after = n - before
    fit = xlogy(before, before / (n * at)) + xlogy(after, after / (n * (1 - at)))
    return np.asarray(2 * fit)


def _best(shares: Floats, trim: float) -> tuple[Floats, Floats, Floats]:
    """Highest gain of each row of rising shares, where, and how many events lie before.

    It is at an event, which is then the last before or the first after.
    """
    n = shares.shape[1]
    inside = (shares >= trim) & (shares <= 1 - trim)
    at = np.where(inside, shares, 0.5)
    upto = np.arange(1, n + 1, dtype=np.float64)
    gains = [np.where(inside, _gain(k, n, at), -1.0) for k in (upto, upto - 1)]
    counts = [np.broadcast_to(k, shares.shape) for k in (upto, upto - 1)]
    points = [at, at]
    for end in (trim, 1 - trim):  # the ends of the range are points too
        count = (shares <= end).sum(axis=1).astype(np.float64)[:, None]
        counts.append(count)
        points.append(np.full_like(count, end))
        gains.append(_gain(count, n, points[-1]))
    whole = np.concatenate(gains, axis=1)
    place, rows = whole.argmax(axis=1), np.arange(len(shares))
    where, before = (np.concatenate(v, axis=1)[rows, place] for v in (points, counts))
    return whole[rows, place], where, before


def _heights(
    rng: np.random.Generator,
    n: int,
    edges: Floats,
    counts: np.ndarray[tuple[int, ...], np.dtype[np.int64]],
    trim: float,
    resamples: int,
    beside: float | None,
) -> Floats:
    """Best gains of resamples with so many events between edges, less the gain at ``beside``."""
    out = []
    rows = max(_AT_ONCE // n, 1)
    low = np.repeat(edges[:-1], counts)
    wide = np.repeat(np.diff(edges), counts)
    for first in range(0, resamples, rows):
        shares = np.sort(low + wide * rng.random((min(rows, resamples - first), n)), axis=1)
        height = _best(shares, trim)[0]
        if beside is not None:
            fixed = _gain(np.array([float(counts[0])]), n, np.array([beside]))
            height = height - fixed
        out.append(height)
    return np.concatenate(out)


def _region(
    share: Floats,
    height: float,
    at: float,
    level: float,
    trim: float,
    resamples: int,
    rng: np.random.Generator,
) -> tuple[float, float]:
    """Span of the points at which a change would leave the best one standing out no more."""
    n = len(share)
    places = np.unique(np.append(np.linspace(trim, 1 - trim, _PLACES), at))
    before = np.searchsorted(share, places, side="right")
    excess = height - _gain(before.astype(np.float64), n, places)
    held = np.zeros(len(places), bool)
    for i, (place, k) in enumerate(zip(places.tolist(), before.tolist(), strict=True)):
        drawn = _heights(
            rng, n, np.array([0.0, place, 1.0]), np.array([k, n - k]), trim, resamples, place
        )
        held[i] = (1 + int((drawn >= excess[i] - 1e-9).sum())) / (1 + resamples) > 1 - level
    held[np.searchsorted(places, at)] = True
    inside = np.flatnonzero(held)
    low, high = inside[0], inside[-1]
    first = places[low] if low == 0 else (places[low - 1] + places[low]) / 2
    last = places[high] if high == len(places) - 1 else (places[high] + places[high + 1]) / 2
    return float(first), float(last)


def _sentence(row: Mapping[Any, Any], alarm: float) -> str:
    """What was found, in words."""
    n = int(row["events"])
    if n < 2:
        return "Fewer than 2 events: there is no change to look for."
    if not row["changed"]:
        return f"No change of rate stands out of chance (p {row['p']:.2g}, {n} events)."
    word = "fell" if row["ratio"] < 1 else "rose"
    return (
        f"The rate {word} at exposure {row['change']:,.4g} ({row['change_low']:,.4g} to "
        f"{row['change_high']:,.4g}), beyond chance (p {row['p']:.2g}); a false alarm comes in "
        f"{100 * alarm:g} % of groups without change."
    )
