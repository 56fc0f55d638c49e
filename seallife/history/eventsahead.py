"""Failures and removals ahead: seals age on, and what comes out is followed by a new seal.

In: seals in service, run hours, `AgeRates`. Out: expected numbers. Next: `seallife.history.target`.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.clocks import RunClock
from seallife.history.agerates import AgeRates
from seallife.schema import DAYS_PER_YEAR

__all__ = ["events_ahead", "planned_rates", "routine_removals"]

_PLANNED_YEARS = 3
_NOT_ROUTINE = ("planned in outage", "upgrade", "pump retired")

Floats = npt.NDArray[np.float64]


def events_ahead(
    running: pd.DataFrame,
    clock: RunClock,
    rates: AgeRates,
    planned: Floats,
    now: pd.Timestamp,
    date: pd.Timestamp,
    draws: int,
    rng: np.random.Generator,
    member: Floats,
) -> tuple[Floats, Floats]:
    """How many failures and removals will the twelve months before a date bring?

    Parameters
    ----------
    running : DataFrame, shape (n, ...)
        Seals in service: ``position_id``, ``service_class``, ``age_known``, ``exit_age_h``.
    clock : RunClock
        Run hours of the last year say how fast each position ages.
    rates : AgeRates
    planned : ndarray, shape (c,)
        Removals in good order a day and position, from `planned_rates`.
    now, date : Timestamp
        First day ahead and the date.
    draws : int
        Draws of the rates.
    rng : Generator
    member : ndarray, shape (groups, n)
        1 where a seal belongs to a group.

    Returns
    -------
    failures, removals : ndarray, shape (groups, draws)
        Expected numbers, one a draw of the rates. A seal fitted ahead ages from new, and may fail
        in the month it was fitted.
    """
    steps = _steps(now, date)
    n = len(running)
    place = rates.classes.get_indexer(pd.Index(running["service_class"].astype(str)))
    speed = clock.hours_a_day(running["position_id"], now)
    age = pd.to_numeric(running["exit_age_h"]).to_numpy(dtype=float, na_value=np.nan)
    aged = running["age_known"].to_numpy(dtype=bool) & np.isfinite(age)
    drawn, unaged = rates.drawn(draws, rng)
    edges = np.append(0.0, steps)
    widths = np.diff(edges)
    # by their middles: twelve steps, be the year's first edge a day late or early
    counted = (edges[:-1] + edges[1:]) / 2 > steps[-1] - DAYS_PER_YEAR
    pull = planned[place] * widths[0]

    def hazard(first: Floats, last: Floats, known: npt.NDArray[np.bool_]) -> Floats:
        """Expected failures of a seal between two ages, shape (draws, n)."""
        upto, before = (rates.cumulative(drawn, place, x) for x in (last, first))
        return np.where(known, upto - before, unaged[:, place] * (last - first))

    every = np.ones(n, dtype=bool)
    # hazard of a seal fitted amid a step, in the rest of that step and in each later one
    fresh = []
    for k in range(len(widths)):
        first = max(k - 0.5, 0.0) * widths[0] * speed
        fresh.append(hazard(first, (k + 0.5) * widths[0] * speed, every))
    old = np.where(aged, age, 0.0)
    left = np.ones((draws, n))
    fitted: list[Floats] = []
    failures, removals = np.zeros((2, len(member), draws))
    for k in range(len(widths)):
        pieces = [(left, hazard(old + edges[k] * speed, old + edges[k + 1] * speed, aged), pull)]
        pieces += [(mass, fresh[k - j], pull) for j, mass in enumerate(fitted)]
        out_failed, out = np.zeros((draws, n)), np.zeros((draws, n))
        after: list[Floats] = []
        for mass, risk, other in pieces:
            gone = mass * -np.expm1(-(risk + other))
            with np.errstate(divide="ignore", invalid="ignore"):
                share = np.where(risk + other > 0, risk / (risk + other), 0.0)
            out += gone
            out_failed += gone * share
            after.append(mass - gone)
        left, fitted = after[0], after[1:]
        again = out * -np.expm1(-(fresh[0] + pull / 2))
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where(fresh[0] + pull > 0, fresh[0] / (fresh[0] + pull / 2), 0.0)
        fitted.append(out)
        if counted[k]:
            failures += member @ (out_failed + again * share).T
            removals += member @ (out + again).T
    return failures, removals


def planned_rates(lives: pd.DataFrame, rates: AgeRates, now: pd.Timestamp) -> Floats:
    """How often are seals pulled in good order, outages and upgrades left out?

    Parameters
    ----------
    lives : DataFrame
        Table of a `LifeTable`; its last three years count.
    rates : AgeRates
        Names the classes.
    now : Timestamp
        First day after the records.

    Returns
    -------
    ndarray, shape (c,)
        Removals a day and position, by class.
    """
    counts, spent = routine_removals(lives, rates.classes, now)
    return np.where(spent > 0, counts / np.maximum(spent, 1.0), 0.0)


def routine_removals(
    lives: pd.DataFrame, classes: pd.Index, now: pd.Timestamp
) -> tuple[Floats, Floats]:
    """How many seals were lately pulled in good order, outages and upgrades left out?

    Parameters
    ----------
    lives : DataFrame
        Table of a `LifeTable`; its last three years count.
    classes : Index
    now : Timestamp
        First day after the records.

    Returns
    -------
    counts, days : ndarray, shape (c,)
        Removals, and days in service, by class.
    """
    since = now - pd.DateOffset(years=_PLANNED_YEARS)
    pulled = lives["end"].eq("withdrawn") & (lives["exit"] > since)
    pulled &= ~lives["reason"].isin(_NOT_ROUTINE)
    begun = lives["entry"].where(lives["entry"] > since, since)
    days = (lives["exit"] - begun).dt.days.clip(lower=0)
    by = lives["service_class"].astype(str)
    sums = pd.DataFrame({"count": pulled, "days": days}).groupby(by).sum()
    counts, spent = sums.reindex(classes, fill_value=0).to_numpy(dtype=np.float64).T
    return counts, spent


def _steps(now: pd.Timestamp, date: pd.Timestamp) -> Floats:
    """Days from now to the end of each step of about a month, the last step ending at the date."""
    days = float((date - now).days + 1)
    return np.linspace(0.0, days, max(round(days / DAYS_PER_YEAR * 12), 1) + 1)[1:]
