"""Which leakage is rising, as it would have been known at each reading?

In: readings as plain arrays. Out: `LeakAlarms`. Next: figures, report.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.leakage.alarmtables import (
    add_baselines,
    add_states,
    again,
    kinds,
    readings_table,
    segments_table,
)
from seallife.leakage.episodes import episodes, find_thresholds, watched_months
from seallife.leakage.forecasts import Noise, forecasts
from seallife.leakage.noise import fit_noise
from seallife.leakage.sequences import Sequences, read_sequences
from seallife.life.lifedata import check_level
from seallife.life.result import TableResult

__all__ = ["LeakAlarms", "watch_rises", "watch_rises_at"]

_METHOD = "likelihood of a ramp over none from forecast errors, threshold by simulation"
_SOURCE = (
    "West & Harrison (1997), Bayesian Forecasting and Dynamic Models, 2.7 and 11 (forecast errors "
    "of a level, likelihood ratios against a named change); Hawkins (1987), Self-starting cusums, "
    "The Statistician 36; from memory"
)
DOUBLING_DAYS = (20.0, 28.0, 40.0)
"""Days in which a rise may double; other sets, as 15 to 40 or 20 to 80, find as much."""


@dataclass(frozen=True, eq=False)
class LeakAlarms(TableResult):
    """Which seals' leakage is rising.

    Attributes
    ----------
    table : DataFrame
        Per ``segment``: ``n`` readings, ``used`` (after run-in, without re-reads), ``baseline``
        with ``baseline_low`` and ``baseline_high`` (leakage before any rise that is on, native
        unit), ``line`` (warning line, native unit), ``months`` watched, ``state`` ('quiet',
        'rising', 'rising, confirmed', 'cannot tell yet'), ``alarms`` (episodes so far),
        ``first_alarm`` (time of the first), ``since`` (time at which the alarm that is on began),
        ``kind`` of the latest rise ('ramp', 'step', 'drift', 'cannot tell', '' without alarm),
        ``status``, ``message``.
    readings : DataFrame
        Per reading, in the caller's order: ``segment``, ``time``, ``low``, ``high``, ``use``
        ('used', 'run-in', 're-read'), ``z`` (expected standardised forecast error), ``score``,
        ``threshold``, ``baseline``, ``line``, ``warned``, ``alarm`` (one begins here), ``rising``
        (one is on), ``confirmed``. A re-read has the state after it, and no score.
    sigma, phi : float
        Standard deviation of quiet readings about their level, natural log, and correlation from
        one to the next at the ``usual_gap`` [d].
    centre, spread : float
        Median of the seals' levels, native unit, and their standard deviation, natural log.
    threshold : float
        Score above which an alarm begins.
    false_alarms, simulated : float
        Rate stated, and rate the threshold gave on the drawn fleets [1 / 100 position-months].
    alarm_rate, months : float
        Rate found in these readings, true and false alarms together, and position-months watched.
    """

    readings: pd.DataFrame
    sigma: float
    phi: float
    usual_gap: float
    centre: float
    spread: float
    threshold: float
    false_alarms: float
    simulated: float
    alarm_rate: float
    months: float


def watch_rises(
    time: ArrayLike,
    low: ArrayLike,
    high: ArrayLike,
    *,
    segment: ArrayLike | None = None,
    age: ArrayLike | None = None,
    run_in: float = 30.0,
    baseline: int = 6,
    false_alarms: float = 1.0,
    correlation: float | Literal["pooled"] | None = "pooled",
    seed: int = 1,
    resamples: int = 50,
    level: float = 0.90,
) -> LeakAlarms:
    """Which leakage is rising, sequentially, as it would have been known at each reading?

    Parameters
    ----------
    time : array_like, shape (n,)
        Day of each reading, from any first day.
    low, high : array_like, shape (n,)
        Bounds of each reading in its native unit: equal for an exact one; 0 and the detection
        limit below detection; end of the scale and infinity above it.
    segment : array_like, shape (n,), optional
        Seal life and method of measuring. A renewal, or another instrument, begins a new one.
    age : array_like, shape (n,), optional
        Age of the seal at the reading [d], for the run-in; without it none is left out.
    run_in : float
        Readings of younger seals are left out [d].
    baseline : int
        Readings that a segment needs before the first that can alarm, 2 or more.
    false_alarms : float
        Stated rate of false alarms per 100 position-months.
    correlation : float, 'pooled' or None
        Correlation of the noise of readings at the usual gap: given, found from all readings, or
        none.
    seed, resamples : int
        For the fleets drawn to set the threshold: at most so many; fewer where 100,000 readings
        are reached before.
    level : float
        The warning line is the upper limit of this level for single quiet readings; level of the
        interval of the baseline.

    Returns
    -------
    LeakAlarms

    Raises
    ------
    InputError
        Naming the argument, the first bad row, its value and the next step.

    Notes
    -----
    On the log scale a reading is the seal's level plus noise. Levels come from the fleet's normal
    spread, so that few readings are helped by the other seals'. At each reading the earlier ones
    of its segment give a forecast; the errors, standardised, are independent and standard normal
    while nothing changes (Kalman filter). The score is the log of the likelihood ratio of an
    exponential rise, doubling in 20, 28 or 40 days and begun at one of the readings of the last
    150 days, averaged over these; what the filter takes for a change of level is allowed for.
    A reading known only between bounds adds the score expected of it there and the information
    that leaves, never its limit as a value.

    An alarm begins where the score passes the threshold, and is one alarm until the seal is
    renewed or the reading has fallen back: two readings in a row not above the warning line and
    with a score below the threshold. While it is on, baseline and line stay as they were before
    the likeliest onset. It is confirmed once two of three readings in a row are above the line, or
    a re-read is. The rate stated holds for quiet seals with normal noise: the threshold comes from
    fleets drawn with the same days, limits, levels, noise and correlation. Other noise alarms at
    another rate: of 1 stated, 2.0 came with Student noise of 5 degrees, 1.5 where seals differ in
    noise by a third, 0.7 to 1.0 where levels wander or follow the seasons. Compare ``alarm_rate``.

    How much can be seen (demo fleet; readings with a scatter of 0.5, at 1 false alarm in 100
    months): 58 % of ramps 14 days or more before the failure from monthly readings, 74 % from
    fortnightly ones. A watch that knew each seal's level and the law of ramps would see 65 % and
    81 %. Four in five from monthly readings are beyond any method at that rate. Fewer readings
    for ``baseline``, as 3, find 1 to 4 % more at the same rate, if levels are about log-normal.

    Sigma, phi and the spread of levels come from the whole record, later readings too: only they,
    and so the threshold, are not known at the first readings of a real survey.

    A suspicious seal is read more often. Readings within 7 days of the last (or half the usual
    gap, if less) repeat it: they can confirm an alarm, but are no new evidence. Readings taken
    sooner than usual otherwise count in full, since a forecast error has the same law whatever
    made one read; they add occasions to alarm, which the rate counts by calendar months. Days for
    a rise are calendar days whatever their number.

    Readings stop when a seal is pulled or fails, often because it leaked. Alarms that would have
    come later are missing, and the share of seals in alarm at any time is below that of seals that
    rise. Failures without a ramp (dry running, flashing) give no alarm at all.

    'quiet' means no evidence so far. A reading above a limit is acted on whatever stands here.

    Source
    ------
    West & Harrison (1997), Bayesian Forecasting and Dynamic Models; Hawkins (1987), The
    Statistician 36: both from memory. Rates and lead times were measured on the demo fleet's law
    of leakage by the study that stands with the tests.
    """
    alarms = watch_rises_at(
        time,
        low,
        high,
        (false_alarms,),
        segment=segment,
        age=age,
        run_in=run_in,
        baseline=baseline,
        correlation=correlation,
        seed=seed,
        resamples=resamples,
        level=level,
    )
    return next(alarms)


def watch_rises_at(
    time: ArrayLike,
    low: ArrayLike,
    high: ArrayLike,
    rates: Sequence[float],
    *,
    segment: ArrayLike | None = None,
    age: ArrayLike | None = None,
    run_in: float = 30.0,
    baseline: int = 6,
    correlation: float | Literal["pooled"] | None = "pooled",
    seed: int = 1,
    resamples: int = 50,
    level: float = 0.90,
) -> Iterator[LeakAlarms]:
    """Which leakage is rising, at several stated rates of false alarms?

    Parameters
    ----------
    rates : sequence of float
        Stated rates of false alarms per 100 position-months.
    time, low, high, segment, age, run_in, baseline, correlation, seed, resamples, level
        As for `watch_rises`; noise and drawn fleets serve all rates.

    Yields
    ------
    LeakAlarms
        One a rate, each as `watch_rises` gives it; one at a time, as each holds all readings.

    Raises
    ------
    InputError
        As `watch_rises`.
    """
    check_level(level)
    if not (baseline == int(baseline) and baseline >= 2):
        raise InputError(f"is {baseline}", where="baseline", hint="give 2 readings or more")
    for rate in rates:
        if not 0 < rate <= 20:
            raise InputError(
                f"is {rate}", where="false_alarms", hint="give above 0 to 20 in 100 months"
            )
    if resamples < 1:
        raise InputError(f"is {resamples}", where="resamples", hint="give 1 or more")
    from scipy.special import ndtri

    data = read_sequences(time, low, high, segment, age, run_in)
    bounds = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    rng = np.random.default_rng(seed)
    noise = fit_noise(data, correlation, rng)
    line = float(ndtri(0.5 + level / 2))
    plain = readings_table(data, bounds, np.asarray(time, dtype=float))
    if noise is None:
        blank = Noise(np.nan, np.nan, np.nan, np.nan)
        none = np.full(len(data.labels), "", dtype=object)
        table = segments_table(data, plain, blank, none, baseline)
        for rate in rates:
            yield _result(table, plain, data, blank, (np.nan, rate, np.nan, 0.0), level)
        return
    seen = forecasts(data, data.low, data.high, noise, DOUBLING_DAYS)
    thresholds = find_thresholds(
        data, seen, noise, DOUBLING_DAYS, baseline, line, rates, resamples, rng
    )
    repeated = again(data, bounds[0])
    months = watched_months(data, baseline)
    for rate, (threshold, simulated) in zip(rates, thresholds, strict=True):
        shown = plain.copy()
        found = episodes(data, data.low, repeated, seen, noise, baseline, threshold, line)
        add_states(shown, data, seen, found, noise, threshold, line)
        table = segments_table(data, shown, noise, kinds(data, seen, found), baseline)
        add_baselines(table, data, found, noise, line)
        yield _result(table, shown, data, noise, (threshold, rate, simulated, months), level)


def _result(
    table: pd.DataFrame,
    shown: pd.DataFrame,
    data: Sequences,
    noise: Noise,
    rates: tuple[float, float, float, float],
    level: float,
) -> LeakAlarms:
    threshold, stated, simulated, months = rates
    found = float(table["alarms"].sum() / months * 100) if months else np.nan
    return LeakAlarms(
        table,
        level,
        _METHOD,
        _SOURCE,
        shown,
        noise.sigma,
        noise.phi,
        data.usual,
        float(np.exp(noise.centre)),
        noise.spread,
        threshold,
        stated,
        simulated,
        found,
        months,
    )
