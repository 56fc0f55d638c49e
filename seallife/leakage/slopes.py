"""How fast do readings rise or fall? The slope at which Kendall's S of the residuals is nought.

In: times and bounds of readings by segment. Out: `Slopes`. Next: `seallife.leakage.trend`.

A pair of readings certainly rises against a line as long as the slope of the line is below
(low of the later - high of the earlier) / days, and certainly falls once it is above
(high of the later - low of the earlier) / days. S of the residuals is the number of the first
above the slope less the number of the second below it, so it is nought at the median of both
together. For exact readings both are the slope of the pair and the median is Theil's and Sen's;
with readings below detection it is that of Akritas, Murphy & LaValley, without any search.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.leakage.kendallnull import Statistics, certain, half_width, null_variance, statistics
from seallife.leakage.middle import middle
from seallife.leakage.pairslopes import PairSlopes, Ranks
from seallife.leakage.segments import Bools, Readings, batches, read_readings, words
from seallife.life.groups import Floats
from seallife.life.result import TableResult, worded_status

__all__ = ["Lines", "Slopes", "fit_lines", "open_words", "theil_sen"]

_INVERSIONS = 3

_METHOD = "Theil-Sen slope, for open readings Akritas-Theil-Sen; limits where the test just holds"
_SOURCE = (
    "Sen (1968), J. Am. Stat. Assoc. 63, 1379-1389; Gilbert (1987), sec. 16.5; Akritas, Murphy & "
    "LaValley (1995), J. Am. Stat. Assoc. 90, 170-177; Helsel (2005), ch. 12"
)


@dataclass(frozen=True, eq=False)
class Slopes(TableResult):
    """Slopes of all segments.

    Attributes
    ----------
    table : DataFrame
        Per segment: ``n``; ``slope`` with ``low`` and ``high``, its limits [unit of the readings
        per day]; ``intercept``, the line at time 0; ``status``, ``message``. A limit that the
        readings do not give is -inf or inf; a slope or intercept they do not give is NaN.
    """


@dataclass(frozen=True, eq=False)
class Lines:
    """Slope of each segment, each of shape (g,).

    Attributes
    ----------
    slope, low, high : ndarray
        Slope and its limits [1/d].
    flat_from, flat_to : ndarray
        Slopes between which S of the residuals is nought.
    level : ndarray
        The line at the first reading.
    """

    slope: Floats
    low: Floats
    high: Floats
    flat_from: Floats
    flat_to: Floats
    level: Floats


def theil_sen(
    time: ArrayLike,
    low: ArrayLike,
    high: ArrayLike,
    segment: ArrayLike | None = None,
    *,
    level: float = 0.90,
    inflation: ArrayLike | float = 1.0,
    ranks: Ranks = "between",
) -> Slopes:
    """How fast do readings rise or fall, whatever single readings do?

    Parameters
    ----------
    time : array_like, shape (n,)
        [d]
    low, high : array_like, shape (n,)
        Bounds of each reading: equal for an exact one, (0, limit) or (-inf, limit) below
        detection, (scale end, inf) above scale.
    segment : array_like, shape (n,), optional
        Label of the segment of each reading; None for one segment named ``"all"``.
    level : float
        Confidence level of the two-sided limits.
    inflation : float or array_like, shape (g,)
        By how much serial correlation widens the variance of S, segments sorted by label.
    ranks : {'between', 'nearest'}
        A limit mostly falls between two of the ordered slopes: take it between them (Gilbert) or
        the nearest of them, as common programs do.

    Returns
    -------
    Slopes

    Raises
    ------
    InputError
        If the readings, the level or the inflation cannot be used.

    Notes
    -----
    Where S of the residuals is nought over a stretch of slopes, the slope is its middle. The
    variance of S behind the limits is that of the readings where all of a segment are exact
    (Gilbert), else that of the residuals from the line. The intercept is median(y) - slope *
    median(t) where all readings are exact; else the median of the residuals by Kaplan & Meier, or
    by Turnbull where some are below detection and some above scale.

    Examples
    --------
    >>> y = [10, 22, 21, 30, 22, 30, 40, 40]
    >>> got = theil_sen([1, 1, 1, 2, 3, 3, 4, 5], y, y)["all"]
    >>> f"{got['slope']:.1f} {got['low']:.4f} {got['high']:.4f}"
    '5.5 2.5724 9.2686'

    Source
    ------
    Sen (1968); Gilbert (1987), sec. 16.5; Akritas, Murphy & LaValley (1995); Helsel (2005), ch.
    12. That the Akritas-Theil-Sen slope is a median needs no search follows from the head of this
    module.
    """
    if not 0 < level < 1:
        raise InputError(f"is {level}", where="level", hint="give a share such as 0.90")
    if ranks not in ("between", "nearest"):
        raise InputError(f"is {ranks!r}", where="ranks", hint="give 'between' or 'nearest'")
    readings = read_readings(time, low, high, segment)
    wide = np.broadcast_to(np.asarray(inflation, dtype=np.float64), (len(readings),))
    if not (wide >= 1).all():
        raise InputError("is less than 1", where="inflation")
    lines = fit_lines(readings, level, statistics(readings), wide, ranks)
    groups = readings.groups
    first = np.zeros(len(readings))
    first[groups.sizes > 0] = readings.time[groups.offsets[:-1][groups.sizes > 0]]
    status, message = worded_status(len(readings), [*words(readings), *open_words(lines)])
    table = pd.DataFrame(
        {
            "segment": groups.label_list(),
            "n": groups.sizes,
            "slope": lines.slope,
            "low": lines.low,
            "high": lines.high,
            "intercept": lines.level - lines.slope * first,
            "status": status,
            "message": message,
        }
    )
    return Slopes(table, level, _METHOD, _SOURCE)


def open_words(lines: Lines) -> list[tuple[Bools, str, str]]:
    """Cases for `worded_status` of lines that the readings leave open."""
    return [
        (
            np.isnan(lines.slope),
            "slope open",
            "Too few readings lie between detection and scale end to tell a slope.",
        ),
        (
            np.isnan(lines.level),
            "level open",
            "Half of the readings or more are open on one side: the line has a slope, but no "
            "level can be told.",
        ),
    ]


def fit_lines(
    readings: Readings,
    level: float | None,
    found: Statistics | None,
    inflation: Floats,
    ranks: Ranks = "between",
    chosen: Bools | None = None,
) -> Lines:
    """Slopes, limits and levels of the chosen segments; NaN for the others.

    Parameters
    ----------
    readings : Readings
    level : float or None
        Of the limits; None where no limits and no levels are needed.
    found : Statistics
        Of the readings; not needed without limits.
    inflation : ndarray, shape (g,)
        See `theil_sen`.
    ranks : {'between', 'nearest'}
    chosen : ndarray of bool, shape (g,), optional
    """
    g = len(readings)
    slope, low, high, start, stop, base = np.full((6, g), np.nan)
    exact_segment = readings.groups.sum(readings.exact) == readings.groups.sizes
    below_row = readings.below
    for exact in (True, False):
        wanted = exact_segment == exact
        for ids, rows in batches(readings, wanted if chosen is None else wanted & chosen):
            if rows.shape[1] < 2:
                continue
            time = readings.time[rows] - readings.time[rows[:, :1]]
            lo, hi = readings.low[rows], readings.high[rows]
            ordered = PairSlopes.of(time, lo, hi, exact)
            start[ids], stop[ids] = ordered.flat()
            b = _between(start[ids], stop[ids])
            slope[ids] = b
            if level is None or found is None:
                continue
            line = np.where(np.isnan(b), 0.0, b)[:, None] * time
            wide = inflation[ids]
            if exact:
                half = half_width(found.variance[ids], found.most[ids], wide, level)
                low[ids], high[ids] = ordered.limits(half, ranks)
            else:
                ends = _inverted(ordered, (time, lo, hi), b, wide, level, ranks)
                low[ids], high[ids] = ends
            if exact:
                base[ids] = np.median(lo, axis=1) - b * np.median(time, axis=1)
            else:
                # what is below detection may be nought or anything: its middle is no value
                under = np.where(below_row[rows], -np.inf, lo - line)
                base[ids] = np.where(np.isnan(b), np.nan, middle(under, hi - line))
    return Lines(slope, low, high, start, stop, base)


def _inverted(
    ordered: PairSlopes,
    rows: tuple[Floats, Floats, Floats],
    slope: Floats,
    inflation: Floats,
    level: float,
    ranks: Ranks,
) -> tuple[Floats, Floats]:
    """Limits of open readings: the variance of S is that of the residuals from the limit itself.

    Which pairs are certain depends on the line, and with it the variance; a few rounds are enough.
    """
    time, low, high = rows
    late = time[:, :, None] > time[:, None, :]
    ends = [slope, slope]
    for _ in range(_INVERSIONS):
        for side in (0, 1):
            at = np.where(np.isfinite(ends[side]), ends[side], slope)
            line = np.where(np.isfinite(at), at, 0.0)[:, None] * time
            spread, most, _ = null_variance(certain(low, high, line), late)
            half = half_width(spread, most, inflation, level)
            ends[side] = ordered.limits(half, ranks)[side]
    return ends[0], ends[1]


def _between(start: Floats, stop: Floats) -> Floats:
    """Middle of two ends; NaN where one is open."""
    known = np.isfinite(start) & np.isfinite(stop)
    return np.where(known, np.where(known, start, 0) / 2 + np.where(known, stop, 0) / 2, np.nan)
