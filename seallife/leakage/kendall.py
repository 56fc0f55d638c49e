"""Do readings rise or fall with time? Kendall's S of whole fleets of segments at once.

In: times and bounds of readings by segment. Out: `KendallTests`. Next: `seallife.leakage.trend`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.leakage.kendallnull import p_values, statistics
from seallife.leakage.segments import Bools, Readings, batches, read_readings, words
from seallife.life.groups import Floats
from seallife.life.result import TableResult, worded_status

__all__ = ["KendallTests", "mann_kendall"]

_METHOD = "Mann-Kendall test; pairs of readings whose order is not certain count 0"
_SOURCE = (
    "Kendall (1975), Rank Correlation Methods; Gilbert (1987), Statistical Methods for "
    "Environmental Pollution Monitoring, sec. 16.4; Helsel (2005), Nondetects and Data Analysis"
)


@dataclass(frozen=True, eq=False)
class KendallTests(TableResult):
    """Mann-Kendall tests of all segments.

    Attributes
    ----------
    table : DataFrame
        Per segment: ``n``; ``s``, pairs that certainly rise less pairs that certainly fall;
        ``tau``, ``s`` over all pairs; ``variance`` of ``s`` for independent readings without a
        trend; ``inflation`` of it that was applied; ``z``; ``p`` (two-sided), ``p_rising`` (one-
        sided); ``exact``, whether p counts every order; ``status``, ``message``.
    """


def mann_kendall(
    time: ArrayLike,
    low: ArrayLike,
    high: ArrayLike,
    segment: ArrayLike | None = None,
    *,
    inflation: ArrayLike | float = 1.0,
    variance: Literal["orders", "pairs"] = "orders",
) -> KendallTests:
    """Do readings rise or fall with time, beyond chance?

    Parameters
    ----------
    time : array_like, shape (n,)
        [d]
    low, high : array_like, shape (n,)
        Bounds of each reading: equal for an exact one, (0, limit) or (-inf, limit) below
        detection, (scale end, inf) above scale. A value equal to the limit of a reading below
        detection is the larger of the two.
    segment : array_like, shape (n,), optional
        Label of the segment of each reading; None for one segment named ``"all"``.
    inflation : float or array_like, shape (g,)
        By how much serial correlation widens the variance of S
        (`seallife.leakage.correlation.inflation_of`), segments sorted by label.
    variance : {'orders', 'pairs'}
        How the variance is found, see Notes.

    Returns
    -------
    KendallTests

    Raises
    ------
    InputError
        If the readings or the inflation cannot be used.

    Notes
    -----
    ``orders``: the variance over all orders in which the readings could have come, which is the
    textbook formula with ties of values and of times where all readings are exact. It takes
    the limits of detection to have nothing to do with time. Up to 10 readings of different times
    whose ties are plain, p counts every order; else it is that of the normal law with a
    continuity correction of 1. Correlated readings can show the largest S more easily than the
    normal law has it: with an inflated variance p is that of the beta law between the least
    and the largest S with this variance.

    ``pairs``: the approximation of the NADA programs for readings below detection: each pair that
    is not certain takes 1 off the variance. It is for comparing with those programs.

    Examples
    --------
    >>> got = mann_kendall([1, 2, 3, 4], [10, 15, 14, 20], [10, 15, 14, 20])["all"]
    >>> int(got["s"]), round(float(got["p_rising"]), 4)
    (4, 0.1667)

    Source
    ------
    Kendall (1975), ch. 4 and 5; Gilbert (1987), sec. 16.4; Helsel (2005), ch. 11 and 12; Daniels
    (1944), Biometrika 33, 129-135, for the variance over all orders.
    """
    readings = read_readings(time, low, high, segment)
    wide = np.broadcast_to(np.asarray(inflation, dtype=np.float64), (len(readings),))
    if not (wide >= 1).all():
        raise InputError("is less than 1", where="inflation")
    found = statistics(readings)
    if variance == "pairs":
        spread = _variance_by_pairs(readings)
        found = replace(found, variance=spread, kind=np.full(len(readings), None, dtype=object))
    elif variance != "orders":
        raise InputError(f"is {variance!r}", where="variance", hint="give 'orders' or 'pairs'")
    n = readings.groups.sizes
    z, p, rising, exact = p_values(found, wide)
    cases = [
        *words(readings),
        (found.variance <= 0, "no order", "The order of no pair of readings is certain."),
    ]
    status, message = worded_status(len(readings), cases)
    table = pd.DataFrame(
        {
            "segment": readings.groups.label_list(),
            "n": n,
            "s": found.s.astype(np.int64),
            "tau": np.where(n > 1, found.s / np.maximum(n * (n - 1) / 2, 1), np.nan),
            "variance": found.variance,
            "inflation": wide,
            "z": z,
            "p": p,
            "p_rising": rising,
            "exact": exact,
            "status": status,
            "message": message,
        }
    )
    return KendallTests(table, np.nan, _METHOD, _SOURCE)


def _variance_by_pairs(readings: Readings) -> Floats:
    """Variance of S as in the NADA programs: for exact readings and readings below detection."""
    if readings.above.any() or not (readings.exact | readings.below).all():
        raise InputError(
            "'pairs' holds for exact readings and readings below detection only",
            where="variance",
            hint="give 'orders'",
        )
    out = np.zeros(len(readings))
    for ids, rows in batches(readings):
        n = rows.shape[1]
        high, below = readings.high[rows], ~readings.exact[rows]
        time = readings.time[rows]
        limits = _tie_sums(high, below)
        values, times = _tie_sums(high, ~below), _tie_sums(time, np.ones_like(below))
        smaller = (high[:, :, None] > high[:, None, :]) | (
            (high[:, :, None] == high[:, None, :]) & below[:, None, :] & ~below[:, :, None]
        )
        # place of each reading from the smallest; of equal limits each stands on the last
        place = smaller.sum(axis=2)
        tied = (high[:, :, None] == high[:, None, :]) & below[:, None, :] & below[:, :, None]
        pairs = (place * below).sum(axis=1) + np.triu(tied, 1).sum(axis=(1, 2))
        out[ids] = (
            n * (n - 1) * (2 * n + 5) / 18
            - limits[0] / 18
            - (pairs - limits[3])
            - (values[0] + times[0]) / 18
            + values[1] * times[1] / (9 * max(n * (n - 1) * (n - 2), 1))
            + values[2] * times[2] / (2 * max(n * (n - 1), 1))
        )
    return np.maximum(out, 0.0)


def _tie_sums(values: Floats, rows: Bools) -> tuple[Floats, Floats, Floats, Floats]:
    """Sums over ties of t of t(t-1)(2t+5), t(t-1)(t-2), t(t-1) and t-1, each of shape (g,)."""
    same = (values[:, :, None] == values[:, None, :]) & rows[:, :, None] & rows[:, None, :]
    size = same.sum(axis=2).astype(np.float64)
    one = np.where(size > 0, 1 / np.maximum(size, 1), 0.0)
    return (
        ((size - 1) * (2 * size + 5) * (size > 0)).sum(axis=1),
        ((size - 1) * (size - 2) * (size > 0)).sum(axis=1),
        ((size - 1) * (size > 0)).sum(axis=1),
        ((size - 1) * one).sum(axis=1),
    )
