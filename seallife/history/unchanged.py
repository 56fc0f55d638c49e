"""What happened meanwhile at positions that nobody changed?

In: `Spans` of changed and unchanged positions. Out: `Meanwhile`. Next:
`seallife.history.improvement`.

At each failure of an unchanged position the changed ones at risk that day, over the unchanged ones
at risk, is how many failures the changed positions should have had for it, had the rates been the
same. The sum over all failures before, and after, is compared; days count only while both are at
risk, and changes that were spread over years are followed day by day. With an age clock each seal
counts with the rate of its age.

A class has few unchanged positions, and what happened meanwhile is often common to a site: the
change of the class leans on those of the site's other classes, the more the less they differ.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seallife.history.ageshape import AgeShape
from seallife.history.spans import Spans
from seallife.life.groups import Floats

__all__ = ["Meanwhile", "Side", "lean", "meanwhile"]

_ENOUGH = 3.0  # failures on each side, in effect, below which a change is not counted on
_COVERED = 0.9  # share of the changed positions' time that must have unchanged ones beside it
_FEWEST = 3  # unchanged seals at risk beside it
_SPREAD = 0.3  # scale of the half-normal law of how the changes of classes differ (log ratio)
_STEPS = 80  # of that spread
_CELLS = 2_000_000  # worked on at once, to bound memory


@dataclass(frozen=True)
class Side:
    """Unchanged positions on one side of a change.

    Attributes
    ----------
    expected : float
        Failures that the changed positions should have had at the unchanged ones' rate.
    size : float
        Time at risk of the changed positions that ``expected`` is for [d, or failures expected at
        the class's rates by age].
    effective : float
        Failures that ``expected`` rests on, in effect.
    failures : int
        Failures of the unchanged positions while changed ones were at risk.
    """

    expected: float
    size: float
    effective: float
    failures: int


@dataclass(frozen=True)
class Meanwhile:
    """How the rate of unchanged positions changed over the time of a project.

    Attributes
    ----------
    before, after : Side
    log_change : float
        Log of the rate after over that before.
    variance : float
    """

    before: Side
    after: Side
    log_change: float
    variance: float


def meanwhile(
    before: Spans, after: Spans, controls: Spans, rates: AgeShape | None, *, own: bool
) -> Meanwhile | None:
    """How did the failure rate of unchanged positions change over the same time?

    Parameters
    ----------
    before, after : Spans
        The changed positions at risk before and after their change.
    controls : Spans
        Unchanged positions of one class or several.
    rates : AgeShape or None
        Rates by age; None counts every day at risk alike.
    own : bool
        True where ``controls`` are of the changed positions' class, stratum by stratum; False for
        another class, of which only the change over time is of use.

    Returns
    -------
    Meanwhile or None
        None where there are too few unchanged positions or failures to count on.
    """
    sides = []
    strata = np.unique(np.concatenate([before.stratum, after.stratum])) if own else [None]
    for changed in (before, after):
        pairs = [(changed, controls)]
        if own:
            pairs = [
                (changed.rows(changed.stratum == s), controls.rows(controls.stratum == s))
                for s in strata
            ]
        side = _side(pairs, rates, own)
        if side is None or side.effective < _ENOUGH:
            return None
        sides.append(side)
    first, last = sides
    change = np.log(last.expected / last.size) - np.log(first.expected / first.size)
    return Meanwhile(first, last, float(change), 1 / first.effective + 1 / last.effective)


def _side(pairs: Iterable[tuple[Spans, Spans]], rates: AgeShape | None, own: bool) -> Side | None:
    """Expected failures of the changed positions on one side."""
    weights = [np.zeros(0)]
    size = whole = covered = 0.0
    for changed, controls in pairs:
        if not len(changed):
            continue
        days = changed.days
        whole += float(days.sum())
        if not len(controls):
            continue
        covered += float(_beside(changed, controls))
        at = controls.end[controls.failed]
        by = rates if own else None
        there = _at_risk(controls, at, rates)
        here = _at_risk(changed, at, by)
        weights.append(here[there > 0] / there[there > 0])
        size += float((days if by is None else by.expected(changed)).sum())
    weight = np.concatenate(weights)
    if whole <= 0 or covered < _COVERED * whole or size <= 0 or not weight.any():
        return None
    total, square = float(weight.sum()), float((weight**2).sum())
    return Side(total, size, total**2 / square, int((weight > 0).sum()))


def _beside(changed: Spans, controls: Spans) -> float:
    """Days at risk of changed positions with enough unchanged ones at risk beside them."""
    edges = np.unique(np.concatenate([controls.start, controls.end]))
    count = np.searchsorted(np.sort(controls.start), edges, side="right")
    count -= np.searchsorted(np.sort(controls.end), edges, side="right")
    # time with enough beside it, up to each edge
    steps = np.diff(edges) * (count[:-1] >= _FEWEST)
    upto = np.concatenate([[0.0], np.cumsum(steps)])
    return float(
        (np.interp(changed.end, edges, upto) - np.interp(changed.start, edges, upto)).sum()
    )


def _at_risk(spans: Spans, at: Floats, rates: AgeShape | None) -> Floats:
    """Seals at risk on each day, each with its failure rate that day where rates are given."""
    out = np.zeros(len(at))
    step = max(1, _CELLS // max(len(spans), 1))
    for i in range(0, len(at), step):
        day = at[i : i + step, None]
        weight: Floats | NDArray[np.bool_] = (spans.start < day) & (day <= spans.end)
        if rates is not None:
            age = spans.age + np.maximum(day - spans.start, 0.0) * spans.pace
            weight = weight * rates.at(spans.group, age) * spans.pace
        out[i : i + step] = weight.sum(axis=1)
    return out


def lean(
    own: Meanwhile | None,
    others: list[Meanwhile],
    draws: int,
    rng: np.random.Generator,
) -> tuple[Floats, float]:
    """What happened meanwhile at the class, leaning on the other classes?

    Parameters
    ----------
    own : Meanwhile or None
        Unchanged positions of the class itself, where there are enough.
    others : list of Meanwhile
        Other classes of the site.
    draws : int
        Number of draws.
    rng : Generator

    Returns
    -------
    log_change : ndarray, shape (draws,)
        Draws of the log change; zeros where nothing is known of unchanged positions.
    own_share : float
        Weight of the class itself in it; NaN where nothing is known.

    Source
    ------
    Gelman, Carlin, Stern & Rubin (2004), Bayesian Data Analysis, section 5.4 (normal changes
    around a common one, flat prior of that); Gelman (2006), Bayesian Analysis 1, 515-534
    (half-normal prior of their spread).
    """
    known = [m for m in (own, *others) if m is not None]
    if not known:
        return np.zeros(draws), np.nan
    if own is not None and not others:
        return own.log_change + np.sqrt(own.variance) * rng.standard_normal(draws), 1.0
    change = np.array([m.log_change for m in known])
    variance = np.array([m.variance for m in known])
    spread = (np.arange(_STEPS) + 0.5) / _STEPS * 4 * _SPREAD
    total = spread[:, None] ** 2 + variance
    worth = (1 / total).sum(axis=1)
    common = (change / total).sum(axis=1) / worth
    log_weight = -0.5 * (
        np.log(total).sum(axis=1)
        + np.log(worth)
        + ((change - common[:, None]) ** 2 / total).sum(axis=1)
        + (spread / _SPREAD) ** 2
    )
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    k = rng.choice(_STEPS, draws, p=weight)
    middle = common[k] + rng.standard_normal(draws) / np.sqrt(worth[k])
    if own is None:
        return middle + spread[k] * rng.standard_normal(draws), 0.0
    # `common` holds the class itself too: given it and the spread, the class's own change
    narrow = 1 / (1 / own.variance + 1 / spread[k] ** 2)
    at = narrow * (own.log_change / own.variance + middle / spread[k] ** 2)
    share = float((weight * spread**2 / (spread**2 + own.variance)).sum())
    return at + np.sqrt(narrow) * rng.standard_normal(draws), share
