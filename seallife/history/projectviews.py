"""One project looked at in several ways: raw, without luck, against unchanged positions, by age.

In: `Fleetwide`, `ProjectSpans`. Out: `Judged`. Next: `seallife.history.improvement`.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.history.ageshape import AgeShape
from seallife.history.changeratio import RateRatio, dispersion, more_needed, rate_ratio
from seallife.history.projectspans import Fleetwide, ProjectSpans
from seallife.history.rates import compare_rates
from seallife.history.shrunk import shrunk_rates
from seallife.history.spans import Spans
from seallife.history.unchanged import Meanwhile, Side, lean, meanwhile
from seallife.life.groups import Floats
from seallife.schema import DAYS_PER_YEAR

__all__ = [
    "AGE_ALONE",
    "BY_AGE",
    "RAW",
    "SHRUNK",
    "UNCHANGED",
    "WITHOUT",
    "Judged",
    "judge_project",
]

RAW, WITHOUT = "before and after", "without the time that chose them"
SHRUNK, UNCHANGED = "record shrunk to the class", "against unchanged positions"
BY_AGE, AGE_ALONE = "against unchanged, at equal age", "at equal age"

_NONE = RateRatio(np.nan, 0.0, np.inf, np.nan)


class Judged(NamedTuple):
    """Figures of one project: a row of the table, its views, its rates."""

    row: dict[str, Any]
    views: pd.DataFrame
    rates: pd.DataFrame


def judge_project(
    fleet: Fleetwide,
    spans: ProjectSpans,
    unplaced: tuple[int, int],
    *,
    level: float,
    draws: int,
    seed: tuple[int, ...],
) -> Judged:
    """Look at one project in all ways.

    Parameters
    ----------
    fleet : Fleetwide
    spans : ProjectSpans
    unplaced : tuple of int
        Failures that may be missing from the counts, before and after.
    level, draws, seed
        Of all intervals.
    """
    before, after, raw = spans.before, spans.after, spans.whole
    counts = (before.failures, after.failures)
    scatter = _scatter(fleet, spans)
    views = {RAW: _plain((raw.failures, after.failures), (raw.years, after.years), level)}
    if spans.left_out:
        views[WITHOUT] = _plain(counts, (before.years, after.years), level)
    ratio_of = partial(rate_ratio, dispersion=scatter, level=level, draws=draws, seed=(*seed, 1))
    own_share, undone, needed = np.nan, False, np.inf
    own: Meanwhile | None = None
    change = np.zeros(draws)
    for name, rates in ((UNCHANGED, None), (BY_AGE, fleet.rates)):
        first, last = (float(_size(s, rates).sum()) for s in (before, after))
        got, others = _elsewhere(fleet, spans, rates)
        change, own_share = lean(got, others, draws, np.random.default_rng((*seed, 2)))
        if name == UNCHANGED:
            own = got
            views[SHRUNK] = _shrunk(fleet, spans, change, level, draws, seed)
        views[name] = _NONE
        if min(first, last) > 0 and sum(counts) > 0:
            size = (first, last)
            views[name] = ratio_of(counts, size, log_change=change)
            if views[name].high < 1:
                more = ratio_of((counts[0], counts[1] + unplaced[1]), size, log_change=change)
                undone = more.high >= 1
            else:
                more = ratio_of((counts[0] + unplaced[0], counts[1]), size, log_change=change)
                undone = more.low <= 1
        needed = more_needed(
            counts[0],
            (first, last),
            log_change=float(change.mean()),
            variance=float(change.var()),
            dispersion=scatter,
            level=level,
        )
    main, used = views[BY_AGE], BY_AGE
    if np.isnan(own_share):
        views[UNCHANGED], used = _NONE, AGE_ALONE
        views[AGE_ALONE] = views.pop(BY_AGE)
    order = [v for v in (RAW, WITHOUT, SHRUNK, UNCHANGED, BY_AGE, AGE_ALONE) if v in views]
    row = {
        "service_class": ", ".join(fleet.groups[np.unique(fleet.group[spans.inside])]),
        "window": _window_word(spans),
        "window_start": pd.Timestamp(0) + pd.Timedelta(days=spans.edges[0]),
        "failures_before": raw.failures,
        "years_before": raw.years,
        "failures_window": spans.window.failures,
        "years_window": spans.window.years,
        "failures_after": after.failures,
        "years_after": after.years,
        "ratio": main.ratio,
        "low": main.low,
        "high": main.high,
        "p": main.p,
        "needed_years": needed * after.years if after.years else np.inf,
        "dispersion": scatter,
        "own_share": own_share,
        "status": _status(spans, own_share),
        # what the sentence needs and the table does not show
        "undone": undone,
        "age_factor": _age_factor(before, after, fleet.rates),
        "change_meanwhile": float(np.exp(change.mean())),
    }
    shown = pd.DataFrame(
        [(v, views[v].ratio, views[v].low, views[v].high, v == used) for v in order],
        columns=["view", "ratio", "low", "high", "used"],
    )
    return Judged(row, shown, _rates(spans, own, level))


def _size(spans: Spans, rates: AgeShape | None) -> Floats:
    return spans.days if rates is None else rates.expected(spans)


def _per_position(spans: Spans, values: NDArray[Any], count: int) -> Floats:
    return np.asarray(np.bincount(spans.position, values, count), dtype=np.float64)


def _plain(failures: tuple[int, int], years: tuple[float, float], level: float) -> RateRatio:
    """Ratio of raw rates with exact limits."""
    got = compare_rates(failures, years, level=level)
    return RateRatio(float(got["ratio"]), float(got["low"]), float(got["high"]), np.nan)


def _elsewhere(
    fleet: Fleetwide, spans: ProjectSpans, rates: AgeShape | None
) -> tuple[Meanwhile | None, list[Meanwhile]]:
    """Unchanged positions of the project's classes, and of each other class of its sites."""
    if not len(spans.before) or not len(spans.after):
        return None, []
    free = fleet.spans.rows(fleet.never[fleet.spans.position])
    strata = np.unique(fleet.stratum[spans.inside])
    groups = np.unique(fleet.group[spans.inside])
    here = free.rows(np.isin(free.stratum, strata))
    own = meanwhile(spans.before, spans.after, here, rates, own=True)
    if own is None:
        # too few at the site: those of all sites
        before, after, all_sites = (
            replace(s, stratum=s.group)
            for s in (spans.before, spans.after, free.rows(np.isin(free.group, groups)))
        )
        own = meanwhile(before, after, all_sites, rates, own=True)
    sites = np.unique(fleet.site[spans.inside].astype(str))
    near = free.rows(np.isin(fleet.site[free.position].astype(str), sites))
    others = [
        meanwhile(spans.before, spans.after, near.rows(near.stratum == s), rates, own=False)
        for s in np.unique(near.stratum)
        if s not in strata and not np.isin(near.group[near.stratum == s][:1], groups).any()
    ]
    return own, [m for m in others if m is not None]


def _scatter(fleet: Fleetwide, spans: ProjectSpans) -> float:
    """Dispersion of counts before and after, over the project and the unchanged of its sites."""
    count = len(fleet.positions)
    sites = np.unique(fleet.site[spans.inside].astype(str))
    free = fleet.spans.rows(
        fleet.never[fleet.spans.position]
        & np.isin(fleet.site[fleet.spans.position].astype(str), sites)
    )
    start, begins = spans.edges
    early = free.within(-np.inf, start if spans.left_out else begins)
    sides = (spans.before.joined(early), spans.after.joined(free.within(begins, np.inf)))
    had = [_per_position(s, s.failed, count) for s in sides]
    due = [_per_position(s, fleet.rates.expected(s), count) for s in sides]
    # the project's positions share one ratio, each unchanged class has its own
    kind = np.where(spans.inside, 0, fleet.stratum + 1)
    return dispersion(had[0], had[1], (due[0], due[1]), kind)


def _shrunk(
    fleet: Fleetwide,
    spans: ProjectSpans,
    change: Floats,
    level: float,
    draws: int,
    seed: tuple[int, ...],
) -> RateRatio:
    """Failures after over those due by the whole record before, shrunk to the class."""
    count = len(fleet.positions)
    free = fleet.spans.rows(fleet.never[fleet.spans.position])
    record = spans.whole.joined(free.within(-np.inf, spans.edges[1]))
    had = _per_position(record, record.failed, count)
    time = _per_position(record, record.days, count)
    strata = np.unique(fleet.stratum[spans.inside])
    used = np.flatnonzero(np.isin(fleet.stratum, strata) & (spans.inside | (time > 0)))
    rate = shrunk_rates(had[used], time[used], fleet.stratum[used])
    later = _per_position(spans.after, spans.after.days, count)[used]
    mine = spans.inside[used] & (later > 0) & np.isfinite(rate.rate)
    due = float((rate.rate * later)[mine].sum())
    variance = float((rate.variance * later**2)[mine].sum())
    if due <= 0:
        return _NONE
    rng = np.random.default_rng((*seed, 3))
    failures = spans.after.failures
    wanted = due * np.exp(change)
    # the rate of the class is itself an estimate
    wanted = wanted * rng.gamma(had[used].sum() + 0.5, 1 / (had[used].sum() + 0.5), draws)
    if variance > 0:
        wanted = wanted * rng.gamma(due**2 / variance, variance / due**2, draws)
    drawn = rng.gamma(failures + 0.5, 1.0, draws) / wanted
    low, high = np.quantile(drawn, [(1 - level) / 2, (1 + level) / 2])
    ratio = failures / due / float(np.exp(change.mean()))
    return RateRatio(ratio, float(low) if failures else 0.0, float(high), np.nan)


def _age_factor(before: Spans, after: Spans, rates: AgeShape) -> float:
    """Failures due a day after the change over those before, by the ages of the seals alone."""
    if not len(before) or not len(after):
        return np.nan
    due = [float(rates.expected(s).sum()) / float(s.days.sum()) for s in (before, after)]
    return due[1] / due[0] if due[0] > 0 else np.nan


def _window_word(spans: ProjectSpans) -> str:
    if spans.left_out:
        return "left out"
    return "kept" if len(spans.window) else "none"


def _status(spans: ProjectSpans, own_share: float) -> str:
    if not len(spans.whole):
        return "no record before"
    if not len(spans.before):
        return "nothing left before"
    if not len(spans.after):
        return "no record after"
    return "no unchanged positions" if np.isnan(own_share) else "ok"


def _rates(spans: ProjectSpans, own: Meanwhile | None, level: float) -> pd.DataFrame:
    """Failures per position-year with exact limits, changed and unchanged."""
    rows: list[tuple[object, ...]] = []
    periods = [("before", spans.before), ("after", spans.after)]
    if spans.left_out:
        periods.insert(1, ("chosen by", spans.window))
    for period, side in periods:
        if side.years > 0:
            rows.append(("changed", period, *_poisson(side.failures, side.years, level)))
    for period, there in (("before", own and own.before), ("after", own and own.after)):
        if isinstance(there, Side):
            # counts in effect: a failure counts as much as changed positions stood beside it
            rate = there.expected / there.size * DAYS_PER_YEAR
            shape = _poisson(there.effective, there.effective / rate, level)
            rows.append(("unchanged", period, there.failures, *shape[1:]))
    columns = ["group", "period", "failures", "years", "rate", "low", "high"]
    return pd.DataFrame(rows, columns=columns)


def _poisson(failures: float, years: float, level: float) -> tuple[float, ...]:
    """Count, time, rate and its exact limits; one-sided above where nothing failed."""
    from scipy.special import gammaincinv

    low = gammaincinv(failures, (1 - level) / 2) if failures > 0 else 0.0
    high = gammaincinv(failures + 1, (1 + level) / 2) if failures > 0 else -np.log1p(-level)
    return failures, years, failures / years, float(low) / years, float(high) / years
