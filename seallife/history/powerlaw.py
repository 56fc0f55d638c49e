"""Power law of the rate of events: cumulative events grow as exposure to the power of a shape.

In: events on exposure. Out: `PowerLaw`. Next: `seallife.figures.growth`.

    expected events of one system up to T  =  scale * T^shape
    rate at T                              =  scale * shape * T^(shape - 1)

A shape below 1 means that events become fewer, above 1 that they become more. It is no Weibull
shape: that speaks of the age of a seal, this of the rate of a whole system.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.history.powerlawlimits import fit_test, rate_limits
from seallife.history.systems import Systems, Truncation, read_systems
from seallife.life.groups import Floats, Ints, segment_max
from seallife.life.lifedata import check_level
from seallife.life.result import TableResult, worded_status

__all__ = ["PowerLaw", "power_law"]

_METHOD = "power law (Crow), maximum likelihood given the counts, exact limits of the shape"
_SOURCE = (
    "Crow (1975), AMSAA Technical Report 138; MIL-HDBK-189 (1981), appendix C; Finkelstein (1976), "
    "Technometrics 18, 115-117"
)
_FEW = 5


@dataclass(frozen=True, eq=False)
class PowerLaw(TableResult):
    """Power laws of all groups.

    Attributes
    ----------
    table : DataFrame
        Per group: ``systems``, ``events``, ``exposure`` (sum of the ends), ``end`` (the longest);
        ``shape`` with ``shape_low``, ``shape_high``; ``shape_unbiased``; ``shape_alike`` (were all
        systems of one law: the same where all ends are equal); ``scale`` and ``scale_unbiased``
        (with each of the shapes); ``rate_at_end`` and ``mtbf_at_end`` (one system, at the longest
        end) with limits; ``fit`` (Cramer-von Mises statistic with the unbiased shape) and
        ``fit_p``; ``status``, ``message``.
    truncated_by : {'time', 'failure'}
    resamples, seed : int
        Of ``fit_p``.
    """

    truncated_by: Truncation
    resamples: int
    seed: int


def power_law(
    times: ArrayLike,
    end: ArrayLike | None,
    *,
    unit: ArrayLike | None = None,
    end_unit: ArrayLike | None = None,
    group: ArrayLike | None = None,
    truncated_by: Truncation = "time",
    level: float = 0.90,
    resamples: int = 999,
    seed: int = 1,
) -> PowerLaw:
    """By which power of exposure do events grow, and what is their rate now?

    Parameters
    ----------
    times, end, unit, end_unit, group, truncated_by
        Events and ends on exposure, see `seallife.history.trendtests.trend_tests`.
    level : float
        Two-sided level of all limits.
    resamples, seed : int
        Of the fit test.

    Returns
    -------
    PowerLaw

    Raises
    ------
    InputError
        If the data, the level or the number of resamples cannot be used.

    Notes
    -----
    With S the sum of ln(end / time) over events whose time is not the end itself, 2 shape S is
    chi-square with twice as many degrees of freedom, whatever the scale of each system and its own
    end: ``shape`` = N / S and its limits rest on that and are exact. (Of watching that ended with a
    failure S has one event fewer a system, N counts all.)

    ``rate_at_end`` takes all systems to be of one law. Its limits are those of the product of the
    shape above and of the expected number of events, independent of each other; exact where
    watching ended with a failure. Where it ended by time the number of events is a Poisson count:
    half an event is added to it, so that limits hold 88 to 92 % from an expected 5 events on
    (`tests/history_coverage.csv`), rather than at least 90 %.

    Everything here takes events to come at random (Poisson) with that rate. Seals renewed at each
    event with an ageing law come more evenly: limits are then too wide, and ``fit`` seldom rings.

    Examples
    --------
    >>> got = power_law([5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478], 1500)["all"]
    >>> f"{got['shape']:.4f} {got['shape_unbiased']:.4f}"
    '0.5372 0.4835'

    Source
    ------
    Crow (1975), AMSAA TR-138 (estimates, fit test); MIL-HDBK-189 (1981), appendix C; Finkelstein
    (1976), Technometrics 18, 115-117, and Crow (1982), Technometrics 24, 67-72 (limits of the
    rate as products of chi-squares).
    """
    from scipy.special import chdtri

    check_level(level)
    if resamples < 99:
        raise InputError(f"is {resamples}", where="resamples", hint="give 99 or more")
    data = read_systems(
        times, end, unit=unit, end_unit=end_unit, group=group, truncated_by=truncated_by
    )
    events = np.diff(data.group_events)
    free = data.free
    freedom = data.by_group(free)
    logs = data.by_group(np.where(free, -np.log(data.relative()), 0.0))
    known = (freedom > 0) & (logs > 0)
    safe = np.where(known, logs, 1.0)
    shape = np.where(known, events / safe, np.nan)
    biased = freedom - 1  # N / S is too large: its mean is shape N / (freedom - 1)
    unbiased = np.where(known & (biased > 0), biased / safe, np.nan)
    df = np.where(known, 2 * freedom, 1.0)
    low, high = (
        np.where(known, chdtri(df, tail) / (2 * safe), np.nan)
        for tail in ((1 + level) / 2, (1 - level) / 2)
    )
    longest = segment_max(data.end, data.units)
    spread = _scaled_sum(data, shape, longest)
    rate = events * shape / (longest * spread)
    rate_low, rate_high = rate_limits(data, events, freedom, np.where(known, logs, np.nan), level)
    fit, fit_p = fit_test(data, freedom, unbiased, resamples, seed)
    status, message = worded_status(
        len(data),
        [
            (events == 0, "no events", "No event: neither shape nor rate can be told."),
            (~known, "too few events", "One event at the end tells nothing of the shape."),
            (events < _FEW, "few events", f"Fewer than {_FEW} events: the limits say how little."),
        ],
    )
    table = pd.DataFrame(
        {
            "group": data.group.tolist(),
            "systems": np.diff(data.units),
            "events": events,
            "exposure": data.by_system(data.end),
            "end": longest,
            "shape": shape,
            "shape_low": low,
            "shape_high": high,
            "shape_unbiased": unbiased,
            "shape_alike": _alike(data, events, longest, shape),
            "scale": _scale(data, events, shape, longest),
            "scale_unbiased": _scale(data, events, unbiased, longest),
            "rate_at_end": rate,
            "rate_at_end_low": rate_low,
            "rate_at_end_high": rate_high,
            "mtbf_at_end": 1 / rate,
            "mtbf_at_end_low": 1 / rate_high,
            "mtbf_at_end_high": 1 / rate_low,
            "fit": fit,
            "fit_p": fit_p,
            "status": status,
            "message": message,
        }
    )
    return PowerLaw(table, level, _METHOD, _SOURCE, truncated_by, resamples, seed)


def _scaled_sum(data: Systems, shape: Floats, longest: Floats) -> Floats:
    """Sum over systems of (end / longest end)^shape, shape (g,)."""
    power = np.repeat(shape, np.diff(data.units))
    return data.by_system((data.end / np.repeat(longest, np.diff(data.units))) ** power)


def _scale(data: Systems, events: Ints, shape: Floats, longest: Floats) -> Floats:
    """Scale that gives the events seen; on logs, since a steep shape lets powers run off."""
    some = np.where(events > 0, events, np.nan)
    log = np.log(some / _scaled_sum(data, shape, longest)) - shape * np.log(longest)
    return np.asarray(np.exp(np.minimum(log, 700.0)))


def _alike(data: Systems, events: Ints, longest: Floats, shape: Floats) -> Floats:
    """Shape of most likelihood were all systems of one law (Crow 1975): Newton on its log."""
    of = np.repeat(np.arange(len(data)), np.diff(data.units))
    ends = np.log(data.end / longest[of])
    logs = data.by_group(np.log(data.time / longest[of][data.unit_of_event]))
    known = np.isfinite(shape) & (events > 0)
    at = np.log(np.where(known, shape, 1.0))
    n = np.maximum(events, 1)
    for _ in range(60):
        b = np.exp(at)
        weight = np.exp(b[of] * ends)
        sums = [data.by_system(weight * ends**k) for k in (0, 1, 2)]
        mean, square = sums[1] / sums[0], sums[2] / sums[0]
        slope = n / b + logs - n * mean
        bend = -n / b**2 - n * (square - mean**2)
        move = np.clip(-slope / (b * bend), -1, 1)
        at = at + np.where(known, move, 0.0)
        if np.abs(np.where(known, move, 0.0)).max(initial=0.0) < 1e-14:
            break
    return np.where(known, np.exp(at), np.nan)
