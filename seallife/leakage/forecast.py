"""When will leakage that rises reach a limit?

In: readings of many seals, a limit each. Out: `TimeToLimit`. Next: reports on leakage.

The level of a segment (one seal life read by one method) is taken as flat at a baseline, then as
doubling again and again in equal times, from a start that nobody saw. What is foretold is the time
at which that level is at the limit, were it to rise on as it does: never a single reading, and
never a reason to wait. One reading over a limit is a leak at once, whatever the level.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.leakage.forecastwords import forecast_messages
from seallife.leakage.nextstep import PLAN_WITHIN, next_steps, rank_rising
from seallife.leakage.rampahead import ramp_figures
from seallife.leakage.rampnoise import look, pooled_sigma
from seallife.leakage.rampreadings import Bools, PerSegment, RampReadings, per_segment, read_ramps
from seallife.life.groups import Floats, segment_max
from seallife.life.result import TableResult, worded_status

__all__ = ["LEAST_READINGS", "NEAR", "RISE_PRIOR", "SURE", "WIDEST", "TimeToLimit", "time_to_limit"]

LEAST_READINGS = 4
"""Readings on different days below which nothing is foretold."""
RISE_PRIOR = 0.2
"""Share of segments taken to rise before their readings are seen."""
SURE = 0.9
"""Share from which a segment is said to rise."""
WIDEST = 5.0
"""Ratio of latest to earliest time above which nothing is foretold."""
NEAR = 14.0
"""Earliest times below count as this many days in that ratio: so close, the next reading tells. A
shorter time would also leave over just those forecasts that err to the late side."""

_SCREEN = 2.0  # gain by least squares below which no grid could make a rise sure
_WARNING = 1.645  # noise above the baseline: one reading in twenty of a flat level
_LEAST_SIGMA, _MOST_SIGMA = (
    0.05,
    3.0,
)  # that a grid of this size can follow; that a reading can have
_METHOD = "flat level, then exponential rise from an unknown start; lognormal noise; posterior grid"
_SOURCE = (
    "two-phase regression: Hinkley (1971), J. Am. Stat. Assoc. 66, 736-743; degradation to a "
    "threshold: Meeker & Escobar (1998), Statistical Methods for Reliability Data, chapter 13; "
    "measured by tests/forecast_study.csv"
)


@dataclass(frozen=True, eq=False)
class TimeToLimit(TableResult):
    """When the level of each segment reaches its limit.

    Attributes
    ----------
    table : DataFrame
        Per segment: ``n``, ``n_nondetect``, ``n_later`` (readings after the date of forecast, not
        used); ``now``, ``last`` [d]; ``sigma`` (noise of log readings); ``limit``; ``rising``
        (share of the posterior with a visible rise; 0 where a first look found nothing like
        one); ``baseline``, ``level_now`` [unit of the readings]; ``doubling_days`` with
        ``doubling_low``, ``doubling_high``; ``days``, ``days_low``, ``days_high`` from ``now`` to
        the limit, 0 where the level may be there already; ``rank``, ``next_step``; ``status``,
        ``message``. Where the interval is too wide only ``days_low`` is given.
    """

    def ranked(self) -> pd.DataFrame:
        """Rows over a limit, then rises by their earliest time; nothing else."""
        rows = self.table[self.table["rank"].notna()]
        return rows.sort_values("rank", kind="stable", ignore_index=True)


def time_to_limit(
    time: ArrayLike,
    low: ArrayLike,
    high: ArrayLike,
    limit: PerSegment,
    *,
    segment: ArrayLike | None = None,
    now: PerSegment | None = None,
    sigma: PerSegment | None = None,
    level: float = 0.90,
    widest: float = WIDEST,
    plan_within: float = PLAN_WITHIN,
) -> TimeToLimit:
    """When will leakage that rises reach a limit?

    Parameters
    ----------
    time : array_like, shape (n,)
        [d], counted from any day.
    low, high : array_like, shape (n,)
        Bounds of each reading in its unit: equal for an exact one, 0 and the detection limit
        below detection, scale end and inf above scale.
    limit : float, mapping or array_like, shape (g,)
        In the unit of the readings: one for all, by segment, or in the sorted order of segments.
        NaN or no entry where none is known.
    segment : array_like, shape (n,), optional
        Label of each reading: one seal life, read by one method. None for one segment.
    now : float, mapping or array_like, optional
        Date of forecast [d]; readings after it are counted but not used. The last reading of each
        segment by default.
    sigma : float, mapping or array_like, optional
        Standard deviation of log readings of one level; by default found from all segments that
        have none given, so give segments of one method together, or their own figures.
    level : float
        Share of the interval.
    widest : float
        Ratio of latest to earliest time above which no time is given; an earliest time of less than
        a fortnight counts as one.
    plan_within : float
        Days that it takes to prepare a renewal, for ``next_step``.

    Returns
    -------
    TimeToLimit

    Raises
    ------
    InputError
        Lengths that differ, a number that is missing, bounds the wrong way round, a reading of
        nought or one that says nothing, a limit or noise that is not above zero.

    Notes
    -----
    Statuses, the first that holds: ``over the limit now`` (last reading), ``was over the limit``
    (an earlier one, and no repair has begun a new segment since), ``may be over the limit`` (the
    last reading cannot tell, or the level is likely there already), ``few readings`` (days with
    one before the date of forecast: fewer than 4), ``no limit``, ``not rising``, ``too wide to
    say`` (latest time above ``widest`` times the earliest), ``ok``.

    Assumed before the readings are seen: a rise in one segment of five, begun at any time of its
    record alike, doubling in 9 to 68 days in two of three cases (`rampgrid`). A segment is said to
    rise when nine tenths of the posterior do. Only segments in which a rise by least squares gains
    2 or more in log likelihood get a posterior: the rest could not become sure.

    What does not rise as a doubling does is foretold wrongly: where leakage grows along a
    straight line, the limit is put too early; where it grows faster still, too late; where it
    jumps, nothing was foretold. Noise is taken as independent: where it is alike from one reading
    to the next, or wild, intervals are too narrow (``tests/forecast_study.csv``: about 80 to 85 %
    in place of 90). Many failures show nothing before.

    Examples
    --------
    >>> days = [0, 30, 61, 90, 121, 150, 182, 211, 225, 239]
    >>> ppm = [10, 13, 9, 11, 10, 14, 9, 22, 41, 64]
    >>> row = time_to_limit(days, ppm, ppm, 500, sigma=0.3)["all"]
    >>> f"{row['days_low']:.0f} to {row['days_high']:.0f} days: {row['next_step']}"
    '32 to 126 days: plan the renewal'
    """
    if not 0 < level < 1:
        raise InputError(f"is {level}", where="level", hint="give a share such as 0.90")
    if not plan_within > 0:
        raise InputError(f"is {plan_within}", where="plan_within", hint="give days above 0")
    if not widest > 1:
        raise InputError(f"is {widest}", where="widest", hint="give a ratio above 1, such as 5")
    readings = read_ramps(time, low, high, segment, now)
    labels, g = readings.groups.labels, len(readings.groups)
    limits = per_segment(limit, labels, "limit", np.nan)
    noise = _noise(sigma, readings)
    if (limits <= 0).any():
        where = f"limit of {labels[int(np.argmax(limits <= 0))]!r}"
        raise InputError("is not above zero", where=where, hint="leave it out if there is none")

    enough = _days_read(readings) >= LEAST_READINGS
    looked = np.flatnonzero(enough & (look(readings, noise).gain >= _SCREEN))
    log_limit = np.log(limits) - readings.centre
    found = ramp_figures(readings.take(looked), noise[looked], log_limit[looked], level)
    odds = RISE_PRIOR / (1 - RISE_PRIOR) * np.exp(np.minimum(found.pop("evidence"), 700.0))
    rising = np.where(enough, 0.0, np.nan)
    rising[looked] = odds / (1 + odds)
    # not those that do not rise: what a rise would do there is nobody's figure
    sure = rising[looked] >= SURE
    figure = {name: np.full(g, np.nan) for name in found}
    for name, values in found.items():
        figure[name][looked[sure]] = values[sure]

    cases, confirmed = _cases(readings, log_limit, figure, noise, enough, rising, widest)
    status, _ = worded_status(g, [(rows, word, "") for rows, word in cases])
    word = np.array(status, dtype=object)
    given = {"ok": ("days", "days_low", "days_high"), "too wide to say": ("days_low",)}
    days = {
        name: np.where(
            np.isin(word, [s for s, names in given.items() if name in names]),
            np.maximum(figure[name], 0.0),
            np.nan,
        )
        for name in ("days", "days_low", "days_high")
    }
    table = pd.DataFrame(
        {
            "segment": readings.groups.label_list(),
            "n": readings.groups.sizes,
            "n_nondetect": readings.groups.sum(np.isneginf(readings.low)).astype(np.int64),
            "n_later": readings.later,
            "now": readings.now,
            "last": np.where(readings.groups.sizes > 0, readings.last, np.nan),
            "sigma": noise,
            "limit": limits,
            "rising": rising,
            "baseline": np.exp(figure["base"] + readings.centre),
            "level_now": np.exp(figure["now"] + readings.centre),
            "doubling_days": figure["doubling"],
            "doubling_low": figure["doubling_low"],
            "doubling_high": figure["doubling_high"],
            **days,
            "rank": rank_rising(word, days["days_low"]),
            "next_step": next_steps(word, days["days_low"], confirmed, plan_within=plan_within),
            "status": status,
        }
    )
    table["message"] = forecast_messages(table, level)
    return TimeToLimit(table, level, _METHOD, _SOURCE)


def _noise(sigma: PerSegment | None, readings: RampReadings) -> Floats:
    """Noise of each segment: given, or found from those that have none given."""
    g = len(readings.groups)
    given = np.full(g, np.nan)
    if sigma is not None:
        given = per_segment(sigma, readings.groups.labels, "sigma", np.nan)
    bad = (given < _LEAST_SIGMA) | (given > _MOST_SIGMA)
    if bad.any():
        raise InputError(
            f"is {given[bad][0]:g}",
            where="sigma",
            hint=f"give a standard deviation of log readings, {_LEAST_SIGMA} to {_MOST_SIGMA}",
        )
    blank = np.flatnonzero(np.isnan(given))
    if len(blank):
        given[blank] = pooled_sigma(readings.take(blank))
    return given


def _days_read(readings: RampReadings) -> Floats:
    """Different times with a reading, per segment."""
    new = np.diff(readings.time, prepend=np.nan) != 0
    new[readings.groups.offsets[:-1][readings.groups.sizes > 0]] = True
    return readings.groups.sum(new)


def _cases(
    readings: RampReadings,
    limit: Floats,
    figure: dict[str, Floats],
    noise: Floats,
    enough: Bools,
    rising: Floats,
    widest: float,
) -> tuple[list[tuple[Bools, str]], Bools]:
    """Statuses in order of weight, and whether two of the last three readings stand out."""
    groups = readings.groups
    low, high = (_last_three(v, readings) for v in (readings.low, readings.high))
    at_limit = limit[:, None]
    with np.errstate(invalid="ignore"):
        over = low[:, -1:] >= at_limit
        was = segment_max(readings.low, groups.offsets) >= limit
        # an exact reading below the limit is not in doubt, a detection limit above it is
        doubt = (low[:, -1] < limit) & (high[:, -1] > limit)
        warning = figure["base"] + _WARNING * noise
        confirmed = (low > warning[:, None]).sum(axis=1) >= 2
        latest, earliest = figure["days_high"], figure["days_low"]
        wide = latest > widest * np.maximum(earliest, NEAR)
        passed = latest <= 0
    cases = [
        (over[:, 0], "over the limit now"),
        (was, "was over the limit"),
        (doubt | passed, "may be over the limit"),
        (~enough, "few readings"),
        (np.isnan(limit), "no limit"),
        (~(rising >= SURE), "not rising"),
        (wide, "too wide to say"),
    ]
    return cases, confirmed


def _last_three(values: Floats, readings: RampReadings) -> Floats:
    """Last three rows of each segment, shape (g, 3), newest last; NaN where fewer."""
    first, end = readings.groups.offsets[:-1, None], readings.groups.offsets[1:, None]
    rows = end - np.arange(3, 0, -1)
    if not len(values):
        return np.full(rows.shape, np.nan)
    return np.where(rows >= first, values[np.maximum(rows, 0)], np.nan)
