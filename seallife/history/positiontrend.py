"""Did positions get better or worse over time, each against itself?

In: `Watch`. Out: `PositionTrends`. Next: `seallife.history.growth`.

Rate of a position at time t: its own constant times exp(change * t). Given how many events each
position had, its own constant drops out: positions may differ, enter late, leave early and have
gaps, and a changing mix of them is no trend. What is left over at each position, its score

    U_i = sum over its events of (t - mean t expected while it was watched)

has mean 0; their spread over positions, not a law of events, says how far chance may carry the sum.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.history.verdicts import could_undo, trend_verdicts
from seallife.history.watch import Watch, read_watch
from seallife.life.groups import Floats, segment_max, segment_min, segment_sum
from seallife.life.lifedata import check_level
from seallife.life.result import TableResult, worded_status

__all__ = ["PositionTrends", "trend_by_position", "trends_of"]

_METHOD = "log-linear rate within positions, given their counts; score test by positions, t limits"
_SOURCE = (
    "Lawless, Cigsar & Cook (2012), Technometrics 54, 147-158; Cox & Lewis (1966), The Statistical "
    "Analysis of Series of Events, chapter 3"
)
_STEEPEST = 60.0  # log ratio of the rates at both ends: beyond it there is no limit
_FEW_POSITIONS = 4
_LEAST_WORTH = 1e-9  # an event in a stretch without exposure must lie somewhere


@dataclass(frozen=True, eq=False)
class PositionTrends(TableResult):
    """Trends within positions of all groups.

    Attributes
    ----------
    table : DataFrame
        Per group: ``group``, ``positions``, ``with_events`` (positions that had any), ``events``,
        ``exposure``, ``first`` and ``last`` (times between which somebody was watched);
        ``yearly`` (factor by which the rate changes in ``per`` units of time) with ``yearly_low``,
        ``yearly_high``; ``ratio`` (rate at ``last`` over rate at ``first``) with ``ratio_low``,
        ``ratio_high``; ``statistic`` (Student's t), ``df``, ``p`` (two-sided); ``verdict``
        ('improved', 'worse', 'no evidence', 'cannot tell yet'), ``status``, ``message``.
    per : float
        Units of time in a year, or in whatever ``yearly`` is to count.
    """

    per: float


def trend_by_position(
    times: ArrayLike,
    unit: ArrayLike,
    start: ArrayLike,
    end: ArrayLike,
    stretch_unit: ArrayLike,
    *,
    group: ArrayLike | None = None,
    worth: ArrayLike | None = None,
    level: float = 0.90,
    per: float = 365.25,
) -> PositionTrends:
    """Did the rate of events change over calendar time, each position against itself?

    Parameters
    ----------
    times, unit, start, end, stretch_unit, group
        Events and stretches in calendar time, see `seallife.history.recurrence.mean_cumulative`.
    worth : array_like, shape (m,), optional
        Exposure per unit of time in each stretch, such as run hours a day; 1 if not given.
    level : float
        Two-sided level of all limits, and of the verdict.
    per : float
        Units of time in a year: 365.25 if times are days.

    Returns
    -------
    PositionTrends

    Raises
    ------
    InputError
        If the data, ``level`` or ``per`` cannot be used.

    Notes
    -----
    The verdict is 'improved' or 'worse' where the limits of ``ratio`` leave out 1; so one group in
    ten of those in which nothing changed gets one at level 0.90. 'cannot tell yet' is said where
    the limits are so wide that a halved rate would not have shown.

    The test needs no law of events: at a nominal 5 % it rings 3 to 7 % of the time at random
    events, at renewal with Weibull shape 0.8 and 1.5, at positions that differ by 70 %, enter late
    and leave early (`tests/history_coverage.csv`). Where it does **not** hold: positions that are
    all new at the begin, with seals of a law with age, have a rate that moves while the first of
    them age, and the trend seen is then that of age (it rings 5 to 80 % of the time at Weibull
    shape 1.5, the more the larger the fleet); the tests of gaps of
    `seallife.history.trendtests.trend_tests` hold there. A common cause that hits many positions
    at once (a bad lot, a cold winter) is a change to it, as it is one.

    It sees a rate that goes up or down. A rate that goes up and comes back passes;
    `seallife.history.positionchange.change_by_position` looks for one date of change.

    Source
    ------
    Lawless, Cigsar & Cook (2012), Technometrics 54, 147-158 (robust test over systems); Cox & Lewis
    (1966), sec. 3.3 (log-linear rate). One-sample t of the scores, inverted for the limits: chosen
    by simulation.
    """
    watch = read_watch(times, unit, start, end, stretch_unit, group=group, worth=worth)
    return trends_of(watch, level=level, per=per)


def trends_of(
    watch: Watch,
    *,
    level: float = 0.90,
    per: float = 365.25,
    unplaced: Sequence[tuple[Floats, int]] | None = None,
) -> PositionTrends:
    """Do `trend_by_position` on what was checked and gathered already.

    ``unplaced``, if given, holds for each group the times of events that lack a unit (NaN where
    the time is not known) and how many of them may belong to it; a verdict of change that they
    could undo is 'cannot tell yet'.
    """
    from scipy.special import stdtr, stdtrit

    check_level(level)
    if not (np.isfinite(per) and per > 0):
        raise InputError(f"is {per!r}", where="per", hint="give the units of time in a year")
    scores = _Scores(watch)
    n = scores.with_events
    enough = n >= 2
    df = np.maximum(n - 1, 1)
    quantile = stdtrit(df, (1 + level) / 2)
    best = _steepness(scores)
    limits = [_limit(scores, best, quantile, side) for side in (-1.0, 1.0)]
    statistic = np.where(enough, scores.student(np.zeros(len(watch))), np.nan)
    low, high = (np.where(enough, limits[i], (-np.inf, np.inf)[i]) for i in (0, 1))
    # with few positions t may leave its quantile and come back: limits and p say the same of 0
    held = np.abs(statistic) < quantile
    low, high = np.where(held, np.minimum(low, 0.0), low), np.where(held, np.maximum(high, 0), high)
    best = np.where(scores.events > 0, best, np.nan)
    years = (scores.last - scores.first) / per
    columns = {
        "positions": np.diff(watch.units),
        "with_events": n,
        "events": scores.events,
        "exposure": watch.exposure(),
        "first": scores.first,
        "last": scores.last,
        "yearly": _exp(best / years),
        "yearly_low": _exp(low / years),
        "yearly_high": _exp(high / years),
        "ratio": _exp(best),
        "ratio_low": _exp(low),
        "ratio_high": _exp(high),
        "statistic": statistic,
        "df": np.where(enough, n - 1, 0),
        "p": np.where(enough, np.minimum(2 * stdtr(df, -np.abs(statistic)), 1.0), np.nan),
    }
    verdict, message = trend_verdicts(columns, low, high, level, per)
    if unplaced is not None:
        u = scores.of_positions(np.zeros(len(watch)))
        parts = [u[watch.units[g] : watch.units[g + 1]] for g in range(len(watch))]
        counts = np.diff(watch.events)
        for g, (days, most) in enumerate(unplaced):
            if verdict[g] in ("improved", "worse"):
                mine = parts[g][counts[watch.units[g] : watch.units[g + 1]] > 0]
                place = (days - scores.first[g]) / (scores.last[g] - scores.first[g])
                undone = could_undo(mine, place - scores.middle()[g], most, level)
                if undone:
                    message[g] = f"{verdict[g]} by the failures placed, but {undone}"
                    verdict[g] = "cannot tell yet"
    status, _ = worded_status(
        len(watch),
        [
            (scores.events == 0, "no events", ""),
            (n < 2, "one position", ""),
            (n < _FEW_POSITIONS, "few positions", ""),
            (~np.isfinite(high - low), "interval open", ""),
        ],
    )
    table = pd.DataFrame({"group": watch.group.tolist(), **columns})
    table = table.assign(verdict=verdict, status=status, message=message)
    return PositionTrends(table, level, _METHOD, _SOURCE, per)


def _exp(log: Floats) -> Floats:
    """Ratio from its log; infinite where that is."""
    return np.where(log == np.inf, np.inf, np.exp(np.minimum(log, 700.0)))


class _Scores:
    """Score of each position for a steepness of its group's rate.

    Time runs from 0 to 1 over each group's span; the rate at 1 is exp(steepness) times that at 0.
    """

    def __init__(self, watch: Watch) -> None:
        self._watch = watch
        of_stretch = watch.group_of_unit[watch.unit_of_stretch]
        self.first = segment_min(watch.start, watch.group_stretches)
        self.last = segment_max(watch.end, watch.group_stretches)
        span = self.last - self.first
        begin = (watch.start - self.first[of_stretch]) / span[of_stretch]
        stop = (watch.end - self.first[of_stretch]) / span[of_stretch]
        self._middle, self._half = (begin + stop) / 2, (stop - begin) / 2
        self._worth = np.log(np.maximum(watch.worth, _LEAST_WORTH) * (stop - begin))
        self._of_stretch = of_stretch
        of_event = watch.group_of_unit[watch.unit_of_event]
        time = (watch.time - self.first[of_event]) / span[of_event]
        self._count = np.diff(watch.events).astype(np.float64)
        self._sum = segment_sum(time, watch.events)
        self.events = np.diff(watch.group_events)
        self.with_events = segment_sum(self._count > 0, watch.units).astype(np.int64)

    def of_positions(self, steepness: Floats) -> Floats:
        """Score of each position, shape (u,)."""
        s = steepness[self._of_stretch]
        d = s * self._half
        small = np.abs(d) < 1e-3
        safe = np.where(small, 1.0, d)
        # integral and mean of exp(s x) over a stretch: sinh(d) / d, and Langevin's function
        size = np.abs(safe)
        bulge = np.where(small, d**2 / 6, size + np.log1p(-np.exp(-2 * size)) - np.log(2 * size))
        lean = np.where(small, d / 3 - d**3 / 45, 1 / np.tanh(safe) - 1 / safe)
        weight = self._worth + s * self._middle + bulge
        stretches = self._watch.stretches
        most = np.repeat(segment_max(weight, stretches), np.diff(stretches))
        share = np.exp(weight - most)
        moment = segment_sum(share * (self._middle + self._half * lean), stretches)
        return np.asarray(self._sum - self._count * moment / segment_sum(share, stretches))

    def middle(self) -> Floats:
        """Mean time, from 0 to 1, of the exposure of each group, shape (g,)."""
        weight: Floats = np.exp(self._worth)
        bounds = self._watch.group_stretches
        whole = segment_sum(weight, bounds)
        return np.asarray(segment_sum(weight * self._middle, bounds) / whole)

    def total(self, steepness: Floats) -> Floats:
        """Sum of the scores of each group, shape (g,): falls as steepness grows."""
        return segment_sum(self.of_positions(steepness), self._watch.units)

    def student(self, steepness: Floats) -> Floats:
        """Student's t of the scores of positions with events, shape (g,)."""
        u = self.of_positions(steepness)
        total, square = (segment_sum(v, self._watch.units) for v in (u, u**2))
        n = np.maximum(self.with_events, 2)
        spread = (square - total**2 / n) / (n - 1) * n
        known = spread > 1e-12 * square
        huge = np.where(np.abs(total) > 1e-12, np.copysign(np.inf, total), 0.0)
        return np.asarray(np.where(known, total / np.sqrt(np.where(known, spread, 1.0)), huge))


def _steepness(scores: _Scores) -> Floats:
    """Steepness at which the scores of each group sum to 0, within the steepest allowed."""
    down, up = (np.full(len(scores.events), side * _STEEPEST) for side in (-1, 1))
    for _ in range(60):
        middle = (down + up) / 2
        above = scores.total(middle) > 0
        down, up = np.where(above, middle, down), np.where(above, up, middle)
    return np.asarray((down + up) / 2)


def _limit(scores: _Scores, best: Floats, quantile: Floats, side: float) -> Floats:
    """Steepness on one side beyond which Student's t leaves its quantile; infinite where never."""
    inside, outside = best, np.full(len(best), np.nan)
    step = 0.05
    while step < 2.5 * _STEEPEST:
        at = np.clip(best + side * step, -_STEEPEST, _STEEPEST)
        left = np.isnan(outside) & (np.abs(scores.student(at)) >= quantile)
        outside = np.where(left, at, outside)
        inside = np.where(np.isnan(outside), at, inside)
        step *= 1.4
    found = ~np.isnan(outside)
    outside = np.where(found, outside, inside)
    for _ in range(45):
        middle = (inside + outside) / 2
        left = np.abs(scores.student(middle)) >= quantile
        inside, outside = np.where(left, inside, middle), np.where(left, middle, outside)
    return np.where(found, (inside + outside) / 2, side * np.inf)
