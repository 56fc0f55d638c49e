"""What is the usual level of readings of which some are below detection, without a law for all?

In: readings by segment. Out: `Levels`. Next: reports on leakage.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.leakage.middle import middle
from seallife.leakage.segments import Bools, batches, flags, read_readings, words
from seallife.life.groups import Floats
from seallife.life.result import TableResult, worded_status

__all__ = ["Levels", "levels_with_nondetects"]

_METHOD = "Kaplan-Meier turned round for readings below detection; regression on order statistics"
_SOURCE = "Helsel (2005), Nondetects and Data Analysis, ch. 6; Helsel & Cohn (1988)"


@dataclass(frozen=True, eq=False)
class Levels(TableResult):
    """Levels of all segments [unit of the readings].

    Attributes
    ----------
    table : DataFrame
        Per segment: ``n``, ``n_exact``; ``km_mean``, ``km_sd``, ``km_median`` (Kaplan-Meier);
        ``ros_mean``, ``ros_sd``, ``ros_median`` (regression on order statistics); ``status``,
        ``message``. NaN where it cannot be told.
    """


def levels_with_nondetects(
    value: ArrayLike, nondetect: ArrayLike, segment: ArrayLike | None = None
) -> Levels:
    """How high are readings as a rule, when some only tell that they are below a limit?

    Parameters
    ----------
    value : array_like, shape (n,)
        Reading; below detection its limit. Above 0. Readings above scale have no place here:
        `seallife.leakage.tobit.censored_lognormal` takes them.
    nondetect : array_like of bool, shape (n,)
        Readings below detection.
    segment : array_like, shape (n,), optional
        Label of the segment of each reading; None for one segment named ``"all"``.

    Returns
    -------
    Levels

    Raises
    ------
    InputError
        If a reading is missing or not above 0, or lengths differ.

    Notes
    -----
    Kaplan-Meier puts what lies below the lowest exact reading on that reading, so the mean is too
    high where many are below detection. Its standard deviation is the standard error of the
    mean times sqrt(n), as in the NADA programs. Regression on order statistics puts values from
    the lognormal line through the exact readings in the place of those below detection, for
    means of a segment only: no single one of them is a reading. It needs 2 different exact
    readings.

    Examples
    --------
    >>> got = levels_with_nondetects([1, 1, 2, 3, 5, 9], [1, 1, 0, 0, 0, 0])["all"]
    >>> f"{got['km_mean']:.2f} {got['km_median']:.2f} {got['ros_mean']:.2f}"
    '3.83 2.50 3.38'

    Source
    ------
    Helsel (2005), ch. 6; Helsel & Cohn (1988), Water Resources Research 24, 1997-2004.
    """
    x = np.asarray(value, dtype=np.float64)
    if x.ndim != 1:
        raise InputError(f"has shape {x.shape}", where="value", hint="give one row of numbers")
    bad = ~(np.isfinite(x) & (x > 0))
    if bad.any():
        raise InputError(
            "is not a number above 0",
            where=f"value[{int(np.argmax(bad))}]",
            hint="give a reading below detection as its limit, and leave out what is missing",
        )
    below = flags(nondetect, len(x), "nondetect")
    readings = read_readings(np.zeros(len(x)), np.where(below, 0.0, x), x, segment)
    figures = np.full((6, len(readings)), np.nan)
    for ids, rows in batches(readings):
        high, exact = readings.high[rows], readings.exact[rows]
        # of equal numbers the limit first: a value equal to a limit is the larger
        order = np.lexsort((exact, high), axis=1)
        high, exact = np.take_along_axis(high, order, 1), np.take_along_axis(exact, order, 1)
        figures[:2, ids] = _kaplan_meier(high, exact)
        figures[2, ids] = middle(np.where(exact, high, -np.inf), high)
        figures[3:, ids] = _order_statistics(high, exact)
    status, message = worded_status(
        len(readings), [c for c in words(readings) if c[1] not in ("one time", "no spread")]
    )
    names = ("km_mean", "km_sd", "km_median", "ros_mean", "ros_sd", "ros_median")
    table = pd.DataFrame(
        {
            "segment": readings.groups.label_list(),
            "n": readings.groups.sizes,
            "n_exact": readings.groups.sum(readings.exact).astype(np.int64),
            **dict(zip(names, figures, strict=True)),
            "status": status,
            "message": message,
        }
    )
    return Levels(table, np.nan, _METHOD, _SOURCE)


def _kaplan_meier(high: Floats, exact: Bools) -> Floats:
    """Mean and standard deviation of sorted readings, shape (2, g)."""
    g, n = high.shape
    place = np.arange(1, n + 1)
    step = np.where(exact, 1 - 1 / place, 1.0)
    under = np.cumprod(step[:, ::-1], axis=1)[:, ::-1]
    upto = np.concatenate([under[:, 1:], np.ones((g, 1))], axis=1)
    lowest = np.argmax(exact, axis=1)
    count = exact.sum(axis=1)
    rows = np.arange(g)
    mass = np.where(exact, upto - under, 0.0)
    # what lies below the lowest exact reading is put on it
    mass[rows, lowest] += under[rows, lowest]
    mean = (mass * high).sum(axis=1)
    # the mean falls from the top by the area over the share below; Greenwood's sum over that area
    floor = np.maximum(high, high[rows, lowest][:, None])
    width = np.diff(floor, axis=1, prepend=floor[:, :1])
    area = np.cumsum(width * under, axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        term = np.where(exact & (place > 1), 1 / (place * (place - 1.0)), 0.0)
    variance = (area**2 * term).sum(axis=1)
    told = count > 1
    spread = np.sqrt(variance * n * np.where(told, count, 2) / np.where(told, count - 1, 1))
    return np.stack([np.where(count > 0, mean, np.nan), np.where(told, spread, np.nan)])


def _order_statistics(high: Floats, exact: Bools) -> Floats:
    """Mean, standard deviation and median of sorted readings with those open filled, (3, g)."""
    from scipy.special import ndtri

    g, n = high.shape
    place = np.arange(n)
    later = np.concatenate([high[:, 1:], np.full((g, 1), np.inf)], axis=1)
    later_open = np.concatenate([~exact[:, 1:], np.zeros((g, 1), bool)], axis=1)
    # a limit stands at the last of the readings that have it
    limit = ~exact & ~(later_open & (later == high))
    seen = np.cumsum(exact, axis=1)
    before = np.concatenate([np.zeros((g, 1), int), seen[:, :-1]], axis=1)
    at = np.where(limit, place, n)
    following = np.minimum.accumulate(at[:, ::-1], axis=1)[:, ::-1]
    beyond = np.concatenate([following[:, 1:], np.full((g, 1), n)], axis=1)
    ends = np.concatenate([seen, seen[:, -1:]], axis=1)
    upper = np.where(beyond < n, np.take_along_axis(ends, np.minimum(beyond, n), 1), seen[:, -1:])
    between = upper - seen  # exact readings from a limit to the next
    # readings below a limit are those that stand before it, and those that have it
    factor = np.where(limit, (place + 1) / (place + 1 + between), 1.0)
    share = np.cumprod(factor[:, ::-1], axis=1)[:, ::-1]  # below the limit at or after this place
    after = np.concatenate([share, np.ones((g, 1))], axis=1)
    top = np.take_along_axis(after, beyond, 1)  # share below the next limit
    floor_at = np.maximum.accumulate(np.where(limit, place, -1), axis=1)
    has = floor_at >= 0
    bottom = np.where(has, np.take_along_axis(share, np.maximum(floor_at, 0), 1), 0.0)
    start = np.where(has, np.take_along_axis(seen, np.maximum(floor_at, 0), 1), 0)
    inside = np.where(exact, upper - start, 0)
    position = bottom + (top - bottom) * (before + 1 - start) / (inside + 1)
    same = ~exact[:, :, None] & ~exact[:, None, :] & (high[:, :, None] == high[:, None, :])
    rank = np.tril(same).sum(axis=2)
    own = np.take_along_axis(after, following, 1)
    position = np.where(exact, position, own * rank / (same.sum(axis=2) + 1))
    quantile = ndtri(np.clip(position, 1e-12, 1 - 1e-12))
    count = exact.sum(axis=1)
    w = exact / np.maximum(count, 1)[:, None]
    logs = np.log(high)
    qm, ym = (w * quantile).sum(axis=1), (w * logs).sum(axis=1)
    sxx = (w * (quantile - qm[:, None]) ** 2).sum(axis=1)
    sxy = (w * (quantile - qm[:, None]) * logs).sum(axis=1)
    scatter = (w * (logs - ym[:, None]) ** 2).sum(axis=1)
    told = ((count > 1) & (scatter > 0)) | (count == n)
    slope = np.where(sxx > 0, sxy / np.where(sxx > 0, sxx, 1.0), 0.0)
    filled = np.where(exact, high, np.exp(ym[:, None] + slope[:, None] * (quantile - qm[:, None])))
    spread = filled.std(axis=1, ddof=1) if n > 1 else np.full(g, np.nan)
    out = np.stack([filled.mean(axis=1), spread, np.median(filled, axis=1)])
    return np.where(told, out, np.nan)
