"""The lognormal law of readings of which some are known as bounds only, with or without a trend.

In: bounds of readings by segment. Out: `LognormalFits`. Next: reports on leakage.

With g = 1 / sigma and d = coefficients / sigma the log-likelihood is concave (Olsen 1978), so
Newton's steps climb to its one top from anywhere, for all segments at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.leakage.segments import Bools, Readings, read_readings, words
from seallife.leakage.tobitclimb import climb_all
from seallife.life.groups import Floats, segment_max, segment_sum
from seallife.life.result import TableResult, worded_status

__all__ = ["LognormalFits", "censored_lognormal"]

_SMALLEST = 1e-8  # of the scatter of the readings, below which sigma has gone to 0
_METHOD = "lognormal law by maximum likelihood; open readings as probabilities"
_SOURCE = (
    "Tobin (1958), Econometrica 26, 24-36; Olsen (1978), Econometrica 46, 1211-1215; Helsel "
    "(2005), Nondetects and Data Analysis, ch. 6 and 12"
)


@dataclass(frozen=True, eq=False)
class LognormalFits(TableResult):
    """Lognormal laws of all segments.

    Attributes
    ----------
    table : DataFrame
        Per segment: ``n``, ``n_exact``; ``mu`` with ``mu_se`` (with a trend: the line at time 0);
        ``slope`` with ``slope_se``, ``slope_low``, ``slope_high`` [natural log per day] where a
        trend was asked for; ``sigma``, ``sigma_se``, and ``sigma_adjusted``, with the bias of few
        readings taken off; ``log_likelihood``, of the readings in their unit; without a trend
        ``mean``, ``sd`` and ``median`` [unit of the readings]; ``status``, ``message``.
    """


def censored_lognormal(
    low: ArrayLike,
    high: ArrayLike,
    segment: ArrayLike | None = None,
    *,
    time: ArrayLike | None = None,
    level: float = 0.90,
) -> LognormalFits:
    """Which lognormal law do readings follow, and does its median rise with time?

    Parameters
    ----------
    low, high : array_like, shape (n,)
        Bounds of each reading: equal for an exact one, (0, limit) below detection, (scale end,
        inf) above scale, two others for an interval.
    segment : array_like, shape (n,), optional
        Label of the segment of each reading; None for one segment named ``"all"``.
    time : array_like, shape (n,), optional
        [d]; with it the log of the median is a straight line in time.
    level : float
        Confidence level of the limits of the slope.

    Returns
    -------
    LognormalFits

    Raises
    ------
    InputError
        If readings or level cannot be used, or an exact reading is 0.

    Notes
    -----
    Standard errors are those of the observed information. Sigma of maximum likelihood is too
    small in few readings: with n exact ones and k coefficients on average by
    sqrt(2 / n) * gamma((n - k + 1) / 2) / gamma((n - k) / 2), which is 0.80 for 4 readings without
    a trend and 0.83 for 8 with one. ``sigma_adjusted`` is divided by that, n being all readings:
    with up to half of 8 to 30 readings below detection, and 3 or more exact, it is then right on
    average within 4 %.
    The limits of the slope take the standard error up by sqrt(n / (n - 2)) and Student's law with
    n - 2 degrees of freedom; with up to half of 8 to 30 readings below detection they cover 90 to
    92 % at 90 %. They take readings as independent.

    There is no top where a line through the exact readings satisfies all others too, as with
    fewer exact ones than coefficients; the status says so.

    Examples
    --------
    >>> got = censored_lognormal([0, 0, 3, 5, 8, 20], [2, 2, 3, 5, 8, 20])["all"]
    >>> f"{got['median']:.2f} {got['sigma']:.3f}"
    '3.61 1.147'

    Source
    ------
    Tobin (1958); Olsen (1978); Helsel (2005), ch. 6 and 12.
    """
    if not 0 < level < 1:
        raise InputError(f"is {level}", where="level", hint="give a share such as 0.90")
    trend = time is not None
    place = np.zeros(np.asarray(low).shape) if time is None else time
    readings = read_readings(place, low, high, segment)
    bad = (readings.high <= 0) | (readings.low < 0)
    if bad.any():
        at = readings.groups.order
        row = int(np.argmax(bad)) if at is None else int(at[np.argmax(bad)])
        raise InputError(
            "is not above 0, so has no logarithm",
            where=f"reading {row}",
            hint="give a reading below detection as low = 0 and high = its limit",
        )
    fit = _climb(readings, 3 if trend else 2)
    n, exact = readings.groups.sizes, readings.groups.sum(readings.exact)
    columns = _columns(fit, readings, exact, trend, level)
    skipped = {"one time", "no spread", "few readings"} if not trend else {"few readings"}
    cases = [c for c in words(readings) if c[1] not in skipped]
    cases += [
        (
            (n > 0) & (exact < (3 if trend else 2)) & ~fit.found,
            "few readings",
            "Too few exact readings for a law.",
        ),
        (
            ~fit.found,
            "no spread",
            "A law without scatter satisfies all readings: nothing can be told of scatter.",
        ),
    ]
    status, message = worded_status(len(readings), cases)
    table = pd.DataFrame(
        {
            "segment": readings.groups.label_list(),
            "n": n,
            "n_exact": exact.astype(np.int64),
            **columns,
            "status": status,
            "message": message,
        }
    )
    return LognormalFits(table, level, _METHOD, _SOURCE)


@dataclass(frozen=True, eq=False)
class _Tops:
    """Top of each segment: scaled coefficients with 1 / sigma last, shape (g, k)."""

    place: Floats
    covariance: Floats
    value: Floats
    found: Bools
    shift: Floats
    stretch: Floats
    start: Floats
    span: Floats


def _climb(readings: Readings, k: int) -> _Tops:
    """Newton's steps for all segments, on logs and times brought to one size."""
    groups, offsets = readings.groups, readings.groups.offsets
    filled = np.maximum(groups.sizes, 1)
    with np.errstate(divide="ignore"):
        low, high = np.log(readings.low), np.log(readings.high)
    known = np.where(np.isfinite(low), low, high)
    shift = segment_sum(known, offsets) / filled
    centred = known - groups.spread(shift)
    stretch = np.sqrt(segment_sum(centred**2, offsets) / filled)
    stretch = np.where(stretch > 0, stretch, 1.0)
    per = groups.spread(stretch)
    start = segment_sum(readings.time, offsets) / filled
    span = segment_max(np.abs(readings.time - groups.spread(start)), offsets)
    span = np.where(np.isfinite(span) & (span > 0), span, 1.0)
    x = np.ones((len(known), k - 1))
    if k == 3:
        x[:, 1] = (readings.time - groups.spread(start)) / groups.spread(span)
    low, high = (low - groups.spread(shift)) / per, (high - groups.spread(shift)) / per
    exact = readings.exact
    at, value, hessian, done = climb_all((low, high, exact, x, offsets), len(groups), k, _SMALLEST)
    eye = np.eye(k)
    size = np.abs(np.linalg.det(hessian))
    sound = done & (at[:, -1] < 1 / _SMALLEST) & (size > 1e-14) & (groups.sizes > 0)
    inner = np.where(sound[:, None, None], -hessian, eye)
    covariance = np.linalg.inv(inner)
    sound &= (np.diagonal(covariance, axis1=1, axis2=2) > 0).all(axis=1)
    return _Tops(at, covariance, value, sound, shift, stretch, start, span)


def _columns(
    fit: _Tops, readings: Readings, exact: Floats, trend: bool, level: float
) -> dict[str, Floats]:
    """Figures of the table from the tops, in the units of the readings."""
    from scipy.special import gammaln, stdtrit

    g = np.where(fit.found, fit.place[:, -1], np.nan)
    k = fit.place.shape[1]
    scale, sigma = fit.stretch, fit.stretch / g
    # mu = shift + stretch * (d0 - d1 * start / span) / g, slope = stretch * d1 / (g * span)
    turn = np.zeros((len(g), k, k))
    turn[:, 0, 0] = turn[:, 1, 1] = scale / g
    turn[:, -1, -1] = -scale / g**2
    combined = fit.place[:, 0]
    if trend:
        turn[:, 0, 1] = -scale / g * fit.start / fit.span
        turn[:, 1, 1] = scale / g / fit.span
        turn[:, 1, -1] = -scale / g**2 * fit.place[:, 1] / fit.span
        combined = combined - fit.place[:, 1] * fit.start / fit.span
    turn[:, 0, -1] = -scale / g**2 * combined
    if not trend:
        turn[:, 1, 1] = -scale / g**2
        turn[:, 1, 0] = 0.0
    spread = turn @ fit.covariance @ np.swapaxes(turn, 1, 2)
    error = np.sqrt(np.diagonal(spread, axis1=1, axis2=2))
    n = readings.groups.sizes
    told = n > k - 1
    df, m = np.where(told, n - (k - 1.0), 1.0), np.where(told, n, 2.0)
    bias = np.sqrt(2 / m) * np.exp(gammaln((df + 1) / 2) - gammaln(df / 2))
    mu = fit.shift + scale * combined / g
    logs = segment_sum(
        np.where(readings.exact, np.log(np.where(readings.exact, readings.low, 1.0)), 0.0),
        readings.groups.offsets,
    )
    out = {"mu": mu, "mu_se": error[:, 0]}
    if trend:
        slope = scale * fit.place[:, 1] / g / fit.span
        half = stdtrit(df, (1 + level) / 2) * np.sqrt(m / df) * error[:, 1]
        half = np.where(told, half, np.inf)
        out |= {
            "slope": slope,
            "slope_se": error[:, 1],
            "slope_low": slope - half,
            "slope_high": slope + half,
        }
    out |= {
        "sigma": sigma,
        "sigma_se": error[:, -1],
        "sigma_adjusted": np.where(told, sigma / bias, np.nan),
        # readings were brought to one size, and their logs are not they themselves
        "log_likelihood": np.where(fit.found, fit.value - exact * np.log(scale) - logs, np.nan),
    }
    if not trend:
        mean = np.exp(mu + sigma**2 / 2)
        out |= {"mean": mean, "sd": mean * np.sqrt(np.expm1(sigma**2)), "median": np.exp(mu)}
    return out
