"""Does one group have more repairs than another? Difference of two mean cumulative numbers.

In: events and stretches of two groups. Out: `MeanCumulativeDifference`. Next:
`seallife.figures.recurrence`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.history.recurrence_gap import largest_gap
from seallife.history.steps import Steps, steps_of
from seallife.history.watch import Watch, read_watch
from seallife.life.groups import Floats, segment_sum
from seallife.life.lifedata import check_level
from seallife.life.result import TableResult

__all__ = ["MeanCumulativeDifference", "mean_cumulative_difference"]

_METHOD = "difference of mean cumulative numbers of repairs, Lawless-Nadeau variance, t limits"
_SOURCE = (
    "Nelson (1995), Technometrics 37, 147-157; Cook, Lawless & Nadeau (1996), Biometrics 52, "
    "557-571 (test)"
)


@dataclass(frozen=True, eq=False)
class MeanCumulativeDifference(TableResult):
    """Second group less first, over the time in which both were watched.

    Attributes
    ----------
    table : DataFrame
        Per group: ``group``, ``units``, ``events`` (those while both were watched), ``mean`` at
        the last of them.
    curve : DataFrame
        Per time with an event: ``time``; ``at_risk_first``, ``at_risk_second``; ``first``,
        ``second`` (means since both were watched); ``difference`` (second less first) with ``se``,
        ``low``, ``high``; ``ratio`` (second over first) with ``ratio_low``, ``ratio_high``, NaN
        where one of them is 0.
    first, second : object
        Labels of the two groups.
    statistic, df, p : float
        Test of equal means over the whole time: Student's t, its degrees of freedom, and how
        often one as large comes by chance; NaN where there is nothing to compare.
    gap_time, gap_p : float
        Time at which the curves, weighed, part most, and how often chance lets curves part as much
        at any time.
    message : str
        What both tests say, as a sentence.
    resamples, seed : int
        Of ``gap_p``.
    """

    curve: pd.DataFrame
    first: object
    second: object
    statistic: float
    df: float
    p: float
    gap_time: float
    gap_p: float
    message: str
    resamples: int
    seed: int


@dataclass(frozen=True)
class _Side:
    """One group at each time: units watched, weighted mean, its variance, units watched alike."""

    at_risk: Floats
    mean: Floats
    variance: Floats
    units: Floats


def mean_cumulative_difference(
    times: ArrayLike,
    unit: ArrayLike,
    start: ArrayLike,
    end: ArrayLike,
    stretch_unit: ArrayLike,
    group: ArrayLike,
    *,
    level: float = 0.90,
    resamples: int = 999,
    seed: int = 1,
) -> MeanCumulativeDifference:
    """How many more repairs has a unit of one group had than one of another, by each time?

    Parameters
    ----------
    times, unit, start, end, stretch_unit
        Events and stretches, see `seallife.history.recurrence.mean_cumulative`.
    group : array_like, shape (m,)
        Group of each stretch: two labels; the second in order is compared with the first.
    level : float
        Two-sided level of the limits, each point by itself.
    resamples, seed : int
        Of the test for the largest gap.

    Returns
    -------
    MeanCumulativeDifference

    Raises
    ------
    InputError
        As `mean_cumulative`; if there are not two groups; if a unit stands in both, since its
        repairs in the one and in the other are not independent.

    Notes
    -----
    Both curves count only while both groups were watched, so that late entry of one leaves nothing
    out of the other. Degrees of freedom are Welch's. Half an event is added to each group's
    variance: a group with hardly an event would else seem to be known exactly.

    Two tests, both of which allow for units that differ and for repairs of one unit that hang
    together. One weighs each time by n1 n2 / (n1 + n2) and sees a group that has more repairs
    throughout; the other looks at the largest gap and sees curves that part and meet again. At a
    nominal 5 % each rings 1 to 7 % of the time, less with few repairs
    (`tests/history_coverage.csv`, groups of equal size); the first some 8 % where five units that
    differ by 100 % stand against twenty. Limits at a nominal 90 % hold 87 to 95 %. Choose one test
    beforehand: whoever takes the better of the two rings nearly twice as often.

    Examples
    --------
    >>> got = mean_cumulative_difference(
    ...     [2, 4, 6, 8], list("aacd"), [0] * 4, [10] * 4, list("abcd"), [1, 1, 2, 2])
    >>> got.curve[["time", "difference"]].to_numpy().tolist()
    [[2.0, -0.5], [4.0, -1.0], [6.0, -0.5], [8.0, 0.0]]

    Source
    ------
    Nelson (1995); Lawless & Nadeau (1995), Technometrics 37, 158-168; Cook, Lawless & Nadeau
    (1996), Biometrics 52, 557-571. From memory; checked by simulation.
    """
    check_level(level)
    if resamples < 99:
        raise InputError(f"is {resamples}", where="resamples", hint="give 99 or more")
    watch = read_watch(times, unit, start, end, stretch_unit, group=group)
    if len(watch) != 2:
        names = ", ".join(map(str, watch.group.tolist()[:8]))
        hint = "give the stretches of two groups"
        raise InputError(f"holds {len(watch)} labels ({names})", where="group", hint=hint)
    _no_unit_twice(watch)
    steps = steps_of(watch)
    own, other = _at_risk(watch, steps)
    both = (other > 0).astype(np.float64)
    when = np.unique(steps.time[other > 0])
    sides = _sides(steps, both, other, when)
    weighed = _sides(steps, own * other / np.maximum(own + other, 1), other, when)
    statistic, df, p = _test(weighed)
    curve = _curve(when, sides, level)
    at_risk = (sides[0].at_risk, sides[1].at_risk)
    gap_time, gap_p = largest_gap(watch, when, at_risk, resamples, seed)
    first, second = watch.group.tolist()
    return MeanCumulativeDifference(
        _table(watch, steps, both, sides),
        level,
        _METHOD,
        _SOURCE,
        curve,
        first,
        second,
        statistic,
        df,
        p,
        gap_time,
        gap_p,
        _sentence((first, second), statistic, p, gap_time, gap_p, level),
        resamples,
        seed,
    )


def _no_unit_twice(watch: Watch) -> None:
    twice = set(watch.unit[: watch.units[1]].tolist()) & set(watch.unit[watch.units[1] :].tolist())
    if twice:
        raise InputError(
            f"unit {sorted(twice, key=str)[0]!r} stands in both groups",
            where="group",
            hint="compare units with other units; for before and after see growth_of_groups",
        )


def _watched(watch: Watch, g: int, when: Floats) -> Floats:
    """Units of one group watched at each time."""
    run = slice(watch.group_stretches[g], watch.group_stretches[g + 1])
    start, end = np.sort(watch.start[run]), np.sort(watch.end[run])
    entered, left = (np.searchsorted(ends, when, side="left") for ends in (start, end))
    return (entered - left).astype(np.float64)


def _at_risk(watch: Watch, steps: Steps) -> tuple[Floats, Floats]:
    """Units watched at each step in its own group and in the other."""
    run = steps.offsets[1]
    other = np.concatenate(
        [_watched(watch, 1, steps.time[:run]), _watched(watch, 0, steps.time[run:])]
    )
    return steps.at_risk, other


def _sides(steps: Steps, weight: Floats, other: Floats, when: Floats) -> tuple[_Side, _Side]:
    """Both groups at the same times, each rise times a weight."""
    units = steps.units_alike(weight)
    columns = (steps.mean(weight), steps.limit_variance(units, weight), units)
    n = [_watched(steps.watch, g, when) for g in (0, 1)]
    # weights stand at the steps of either group; at a time both have, they are equal
    both = np.argsort(steps.time[other > 0], kind="stable")
    place = np.searchsorted(steps.time[other > 0][both], when)
    at_time = weight[other > 0][both][place]
    out = []
    for g in (0, 1):
        run = slice(steps.offsets[g], steps.offsets[g + 1])
        step = np.searchsorted(steps.time[run], when, side="right")
        mean, variance, alike = (np.append(0.0, column[run])[step] for column in columns)
        half = 0.5 * np.cumsum((at_time / n[g]) ** 2) / np.arange(1, len(when) + 1)
        alike = np.where(alike > 0, alike, n[g])
        variance = np.where(mean > 0, variance, np.where(alike > 1, 0.0, np.nan)) + half
        out.append(_Side(n[g], mean, variance, alike))
    return out[0], out[1]


def _welch(sides: tuple[_Side, _Side]) -> Floats:
    """Degrees of freedom of a difference."""
    total = sides[0].variance + sides[1].variance
    parts = [side.variance**2 / np.maximum(side.units - 1, 1e-6) for side in sides]
    return np.asarray(total**2 / (parts[0] + parts[1]))


def _curve(when: Floats, sides: tuple[_Side, _Side], level: float) -> pd.DataFrame:
    """Difference and ratio at each time, with limits."""
    from scipy.special import stdtrit

    one, two = sides
    quantile = stdtrit(_welch(sides), (1 + level) / 2) if len(when) else np.zeros(0)
    gap, se = two.mean - one.mean, np.sqrt(one.variance + two.variance)
    some = (one.mean > 0) & (two.mean > 0)
    safe = [np.where(some, side.mean, 1.0) for side in sides]
    ratio = np.where(some, safe[1] / safe[0], np.nan)
    spread = np.sqrt(sum(side.variance / m**2 for side, m in zip(sides, safe, strict=True)))
    wide = np.exp(np.minimum(quantile * spread, 700.0))
    return pd.DataFrame(
        {
            "time": when,
            "at_risk_first": one.at_risk.astype(np.int64),
            "at_risk_second": two.at_risk.astype(np.int64),
            "first": one.mean,
            "second": two.mean,
            "difference": gap,
            "se": se,
            "low": gap - quantile * se,
            "high": gap + quantile * se,
            "ratio": ratio,
            "ratio_low": ratio / wide,
            "ratio_high": ratio * wide,
        }
    )


def _test(sides: tuple[_Side, _Side]) -> tuple[float, float, float]:
    """Student's t of the weighted difference at the end, its degrees of freedom and p."""
    from scipy.special import stdtr

    if not len(sides[0].mean):
        return np.nan, np.nan, np.nan
    gap = float((sides[1].mean - sides[0].mean)[-1])
    variance = float((sides[0].variance + sides[1].variance)[-1])
    if not variance > 0:
        return np.nan, np.nan, np.nan
    df = float(_welch(sides)[-1])
    statistic = gap / np.sqrt(variance)
    return statistic, df, float(2 * stdtr(df, -abs(statistic)))


def _table(watch: Watch, steps: Steps, both: Floats, sides: tuple[_Side, _Side]) -> pd.DataFrame:
    counted = segment_sum(steps.events * both, steps.offsets)
    return pd.DataFrame(
        {
            "group": watch.group.tolist(),
            "units": np.diff(watch.units),
            "events": counted.astype(np.int64),
            "mean": [float(side.mean[-1]) if len(side.mean) else 0.0 for side in sides],
        }
    )


def _sentence(
    names: tuple[object, object],
    statistic: float,
    p: float,
    gap_time: float,
    gap_p: float,
    level: float,
) -> str:
    if not np.isfinite(p):
        return "There is nothing to compare: no repair while two units of each group were watched."
    more, less = names[::-1] if statistic > 0 else names
    told = (
        f"Over the whole time {more} has more repairs than {less}, by more than chance explains"
        if p <= 1 - level
        else f"Over the whole time no evidence that {names[0]} and {names[1]} differ"
    )
    if not np.isfinite(gap_p):
        return f"{told} (p {p:.2g})."
    stands = "stands out of chance" if gap_p <= 1 - level else "does not stand out of chance"
    return f"{told} (p {p:.2g}); the largest gap, at {gap_time:.4g}, {stands} (p {gap_p:.2g})."
