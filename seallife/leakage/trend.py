"""Does the leakage of a seal rise, how fast, and how sure is that?

In: readings as taken, a label of the seal life each. Out: `Trends`. Next: reports on leakage.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.leakage.correlation import Correlation, inflation_of, pooled_correlation
from seallife.leakage.kendallnull import p_values, statistics
from seallife.leakage.segments import Readings, column, flags, labelled, read_readings, words
from seallife.leakage.slopes import fit_lines, open_words
from seallife.life.groups import Floats, segment_max
from seallife.life.result import TableResult, worded_status

__all__ = ["Trends", "trend"]

_SOURCE = (
    "Kendall (1975), Rank Correlation Methods; Sen (1968), J. Am. Stat. Assoc. 63; Gilbert (1987), "
    "Statistical Methods for Environmental Pollution Monitoring; Helsel (2005), Nondetects and "
    "Data Analysis; Hamed & Rao (1998), J. Hydrology 204"
)


@dataclass(frozen=True, eq=False)
class Trends(TableResult):
    """Trends of all segments.

    Attributes
    ----------
    table : DataFrame
        Per segment: ``pool``; ``n``, ``n_nondetect``, ``n_pegged``; ``start``, ``days`` (first
        reading, and days to the last); ``s``, ``tau``, ``p``, ``p_rising`` (Mann-Kendall, two- and
        one-sided); ``slope_per_day`` with ``slope_low`` and ``slope_high`` [natural log per day,
        or unit per day where ``log`` is false]; ``doubling_days`` (negative: halving) with
        ``doubling_soonest``, that of the upper limit of the slope; ``intercept``, the line at
        ``start`` [unit of the readings]; ``inflation`` of the variance that was applied;
        ``status``, ``message``.
    log : bool
        Whether slopes are those of the logarithm.
    correlation : str
        What was done about serial correlation, in words.
    phi : dict
        Correlation at 30 days that was applied, by pool.
    """

    log: bool
    correlation: str
    phi: dict[str, float]


def trend(
    time: ArrayLike,
    value: ArrayLike,
    *,
    nondetect: ArrayLike | None = None,
    pegged: ArrayLike | None = None,
    segment: ArrayLike | None = None,
    pool: ArrayLike | None = None,
    log: bool = True,
    level: float = 0.90,
    correlation: Literal["pooled", "none"] | float = "pooled",
) -> Trends:
    """Does leakage rise along each seal life, how fast, and how sure is that?

    Parameters
    ----------
    time : array_like, shape (n,)
        [d], counted from any day.
    value : array_like, shape (n,)
        Reading in the unit of its method; below detection the limit, above scale the scale end.
    nondetect, pegged : array_like of bool, shape (n,), optional
        Readings below detection and above scale.
    segment : array_like, shape (n,), optional
        Label of the segment: a seal life read by one method. None for one segment.
    pool : array_like, shape (n,), optional
        Label of the method or class whose segments share one serial correlation, the same for
        all readings of a segment; None for one pool.
    log : bool
        Whether the trend is that of the logarithm: leakage goes with the third power of the gap.
    level : float
        Confidence level of the limits of the slope.
    correlation : {'pooled', 'none'} or float
        Readings that follow each other are alike, and a trend then shows where there is none.
        'pooled' finds how alike from all segments of a pool and widens the variance of each by
        its own times; a number is taken as the correlation at 30 days; 'none' takes readings as
        independent.

    Returns
    -------
    Trends

    Raises
    ------
    InputError
        If a time or value is missing, a value is negative, or nought where its logarithm is
        needed, lengths differ, or an option is none of those named.

    Notes
    -----
    Statuses: ``ok``; ``few readings`` (fewer than 4), ``not detected``, ``above scale``, ``one
    time``, ``no spread`` (all the same), ``slope open`` (too few exact readings to tell a slope),
    ``level open`` (slope, but no level: half of the readings or more below detection).

    A figure describes the readings of a segment. Readings end where the seal is taken out, often
    for its leakage, and a seal under suspicion is read more often: rates of rising segments in
    such records are not those of all seals. Many failures show nothing before.

    Examples
    --------
    >>> days = [0, 30, 61, 90, 121, 150, 182, 211]
    >>> ppm = [10, 10, 14, 11, 25, 30, 41, 77]
    >>> got = trend(days, ppm, nondetect=[1, 1, 0, 0, 0, 0, 0, 0])["all"]
    >>> f"S {got['s']}, p {got['p']:.3f}, doubles in {got['doubling_days']:.0f} days"
    'S 25, p 0.001, doubles in 61 days'

    Source
    ------
    See `seallife.leakage.kendall`, `seallife.leakage.slopes`, `seallife.leakage.correlation`.
    """
    if not 0 < level < 1:
        raise InputError(f"is {level}", where="level", hint="give a share such as 0.90")
    low, high = _bounds(value, nondetect, pegged, log)
    readings = read_readings(time, low, high, segment)
    pools = _pools(pool, readings)
    phi, said, by_pool = _alike(readings, pools, correlation)
    wide = inflation_of(readings, phi)
    found = statistics(readings)
    _, p, rising, _ = p_values(found, wide)
    lines = fit_lines(readings, level, found, wide)
    cases = [*words(readings), *open_words(lines)]
    status, message = worded_status(len(readings), cases)
    groups, n = readings.groups, readings.groups.sizes
    start = np.full(len(readings), np.nan)
    start[n > 0] = readings.time[groups.offsets[:-1][n > 0]]
    with np.errstate(divide="ignore"):
        doubling = np.where(lines.slope == 0, np.inf, np.log(2) / lines.slope)
        soonest = np.where(lines.high > 0, np.log(2) / lines.high, np.inf)
    table = pd.DataFrame(
        {
            "segment": groups.label_list(),
            "pool": pools.tolist(),
            "n": n,
            "n_nondetect": groups.sum(readings.below).astype(np.int64),
            "n_pegged": groups.sum(readings.above).astype(np.int64),
            "start": start,
            "days": segment_max(readings.time, groups.offsets) - start,
            "s": found.s.astype(np.int64),
            "tau": np.where(n > 1, found.s / np.maximum(n * (n - 1) / 2, 1), np.nan),
            "p": p,
            "p_rising": rising,
            "slope_per_day": lines.slope,
            "slope_low": lines.low,
            "slope_high": lines.high,
            "doubling_days": doubling if log else np.nan,
            "doubling_soonest": np.where(np.isnan(lines.high), np.nan, soonest) if log else np.nan,
            "intercept": np.exp(lines.level) if log else lines.level,
            "inflation": wide,
            "status": status,
            "message": message,
        }
    )
    scale = "log of the readings" if log else "readings"
    method = f"Mann-Kendall test and Theil-Sen slope of the {scale}; {said}"
    return Trends(table, level, method, _SOURCE, log, said, by_pool)


def _bounds(
    value: ArrayLike, nondetect: ArrayLike | None, pegged: ArrayLike | None, log: bool
) -> tuple[Floats, Floats]:
    """Bounds of each reading, on the scale of the trend."""
    x = column(value, "value")
    below, above = (
        flags(f, len(x), name) for f, name in ((nondetect, "nondetect"), (pegged, "pegged"))
    )
    for bad, what, hint in (
        (~np.isfinite(x), "is not a number", "leave the reading out"),
        (x < 0, "is negative", "correct the reading or leave it out"),
        (below & above, "is both below detection and above scale", "give one of the two"),
        (below & (x == 0), "is a limit of detection of 0", "give the limit of the method"),
        (
            (x == 0) & log,
            "is 0, which has no logarithm",
            "give it as below detection with the limit as its value, or log=False",
        ),
    ):
        if bad.any():
            raise InputError(what, where=f"value[{int(np.argmax(bad))}]", hint=hint)
    y = np.log(x) if log else x
    return np.where(below, -np.inf if log else 0.0, y), np.where(above, np.inf, y)


def _pools(pool: ArrayLike | None, readings: Readings) -> np.ndarray[tuple[int], np.dtype[Any]]:
    """Pool of each segment, shape (g,)."""
    groups = readings.groups
    if pool is None:
        return np.full(len(groups), "all", dtype=object)
    labels = labelled(pool, len(readings.time), "pool")
    code = np.empty(len(readings.time), dtype=np.int64)
    code[np.arange(len(code)) if labels.order is None else labels.order] = labels.codes
    code = groups.gather(code)
    first = code[groups.offsets[:-1]]
    mixed = groups.sum(code != groups.spread(first)) > 0
    if mixed.any():
        raise InputError(
            f"segment {groups.labels[int(np.argmax(mixed))]!r} is in more than one pool",
            where="pool",
            hint="begin a new segment where the method changes",
        )
    return np.asarray(labels.labels[first], dtype=object)


def _alike(
    readings: Readings,
    pools: np.ndarray[tuple[int], np.dtype[Any]],
    correlation: Literal["pooled", "none"] | float,
) -> tuple[Floats, str, dict[str, float]]:
    """Correlation at 30 days of each segment, what was done in words, and by pool."""
    names = list(dict.fromkeys(pools.tolist()))
    if correlation == "pooled":
        found: dict[Any, Correlation] = {k: pooled_correlation(readings, pools == k) for k in names}
        phi = np.array([found[k].phi for k in pools.tolist()], dtype=np.float64)
        said = "; ".join(
            c.sentence() if len(found) == 1 else f"{k}: {c.sentence()}" for k, c in found.items()
        )
        return phi, said, {str(k): c.phi for k, c in found.items()}
    if correlation == "none":
        number, said = 0.0, "readings taken as independent"
    else:
        if isinstance(correlation, (str, bool)) or not 0 <= correlation < 1:
            raise InputError(
                f"is {correlation!r}",
                where="correlation",
                hint="give 'pooled', 'none' or a correlation at 30 days from 0 to below 1",
            )
        number, said = float(correlation), f"correlation at 30 days given as {correlation:g}"
    return np.full(len(readings), number), said, {str(k): number for k in names}
