"""Now that the pump is open anyway: renew the seal, or leave it in until the next time?

In: `LawDraws`, ages and stretches between opportunities, costs. Out: `Opportunity`. Next:
`seallife.spares.outage`.

A seal left in may fail before the next opportunity, which costs more than a renewal. A seal renewed
now is renewed sooner than it need have been: the time it would still have run is given away, and
with it comes a new seal that may fail early. What an hour of run is worth is the cost over time of
the position in the long run, so both sides are in money.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from seallife.life.groups import Floats, Ints
from seallife.spares.cumulative import FAR, running_time
from seallife.spares.lawdraws import LawDraws

__all__ = ["Ahead", "Opportunity", "look_ahead", "renew_now"]

_MOST_TIMES = 12
"""Opportunities after which a seal may be renewed, in the search for the cheapest."""

_CELLS = 2_000_000
"""Figures worked on at once."""


@dataclass(frozen=True, eq=False)
class Opportunity:
    """Whether to renew a seal at an opportunity, element by element.

    Attributes
    ----------
    cost_leaving : ndarray
        Chance to fail before the next opportunity, times what a failure costs more than a renewal.
    cost_renewing : ndarray
        Time that the seal would still have run, times the position's cost over time.
    renew : ndarray of bool
        Whether renewing costs less.
    simple_rule : ndarray of bool
        Whether the chance to fail times the cost of a failure is above the planned cost. It leaves
        out that a new seal may fail too, and says 'renew' even of seals that do not age.
    """

    cost_leaving: Floats
    cost_renewing: Floats
    renew: NDArray[np.bool_]
    simple_rule: NDArray[np.bool_]

    @property
    def gain(self) -> Floats:
        """What renewing gains; below 0 where it costs."""
        return self.cost_leaving - self.cost_renewing


@dataclass(frozen=True, eq=False)
class Ahead:
    """What may happen to each seal until the next opportunity, by draw of the laws.

    Attributes
    ----------
    chance_left, chance_renewed : ndarray, shape (draws, n)
        Chance to fail before it, if left in and if renewed now.
    running : ndarray, shape (draws, n)
        Time that the seal left in runs until it fails or is renewed at the next opportunity.
    cost_rate : ndarray, shape (draws, n)
        Cost over time of the position in the long run, renewed at whichever opportunity is best.
    """

    chance_left: Floats
    chance_renewed: Floats
    running: Floats
    cost_rate: Floats


def renew_now(
    chance: ArrayLike,
    running: ArrayLike,
    cost_rate: ArrayLike,
    planned_cost: ArrayLike,
    failure_cost: ArrayLike,
) -> Opportunity:
    """Does it pay to renew a seal at this opportunity, rather than at the next or when it fails?

    Parameters
    ----------
    chance : array_like
        Chance to fail before the next opportunity if left in.
    running : array_like
        Mean time until it fails or the next opportunity comes.
    cost_rate : array_like
        Cost over time of the position in the long run.
    planned_cost, failure_cost : array_like
        Of a renewal at an opportunity and of a failure. All are broadcast.

    Returns
    -------
    Opportunity

    Notes
    -----
    Either way a new seal goes in: now, or at the failure, or at the next opportunity. Left in, the
    seal costs the planned cost later, and more if it fails; all that follows comes later by the
    time it runs. For lives without ageing both sides never meet: the gain is below 0 at any chance.

    Source
    ------
    Dekker & Dijkstra (1992), Naval Research Logistics 39, 975-990: age replacement at
    opportunities; Barlow & Proschan (1965), Mathematical Theory of Reliability, ch. 4.

    Examples
    --------
    >>> renew_now(0.4, 8_000, 0.35, 3_000, 15_000).gain.item()
    2000.0
    """
    p, time, rate, planned, failure = (
        np.asarray(v, dtype=np.float64)
        for v in (chance, running, cost_rate, planned_cost, failure_cost)
    )
    leaving, renewing = p * (failure - planned), rate * time
    return Opportunity(leaving, renewing, leaving > renewing, p * failure > planned)


def look_ahead(
    laws: LawDraws,
    place: Ints,
    age: Floats,
    stretch: Floats,
    factor: Floats,
    planned_cost: Floats,
    failure_cost: Floats,
) -> Ahead:
    """What may happen to each seal between this opportunity and the next?

    Parameters
    ----------
    laws : LawDraws
    place : ndarray of int, shape (n,)
        Number of the class of each seal.
    age, stretch : ndarray, shape (n,)
        Age now and time until the next opportunity, in the unit of ``laws``.
    factor : ndarray, shape (n,)
        How often the position fails against its class.
    planned_cost, failure_cost : ndarray, shape (n,)
        NaN where not known; so is then the cost over time.

    Returns
    -------
    Ahead

    Notes
    -----
    The long run is that of a seal renewed at the k-th opportunity after its renewal if it still
    runs, for the k with the lowest cost over time, or never. Under rates that are constant between
    knots all integrals are exact.
    """
    wide = laws.draws * (len(laws.ages) + _MOST_TIMES + 1)
    blocks = np.array_split(np.arange(len(place)), 1 + len(place) * wide // _CELLS)
    given = (age, stretch, factor, planned_cost, failure_cost)
    parts = [_block(laws, place[b], *(v[b] for v in given)) for b in blocks]
    return Ahead(*(np.concatenate(figure, axis=1) for figure in zip(*parts, strict=True)))


def _block(
    laws: LawDraws,
    place: Ints,
    age: Floats,
    stretch: Floats,
    factor: Floats,
    planned: Floats,
    failure: Floats,
) -> tuple[Floats, Floats, Floats, Floats]:
    """Figures of a few seals: see `Ahead`."""
    n = len(place)
    knots = np.broadcast_to(laws.ages, (n, len(laws.ages)))
    first, last = age[:, None], (age + stretch)[:, None]
    ages = np.concatenate((first, np.clip(knots, first, last), last), axis=1)
    total = laws.at(place, ages) * factor[:, None]
    left = -np.expm1(total[..., 0] - total[..., -1])
    running = running_time(ages, total)[..., -1]

    times = stretch[:, None] * np.arange(1, _MOST_TIMES + 1)
    ages = np.concatenate((knots, times), axis=1)
    order = np.argsort(ages, axis=1, kind="stable")
    end = np.full((n, 1), laws.ages[-1] * FAR)
    ages = np.append(np.take_along_axis(ages, order, axis=1), end, axis=1)
    total = laws.at(place, ages) * factor[:, None]
    run = running_time(ages, total)
    at = np.broadcast_to(np.argsort(order, axis=1)[:, -_MOST_TIMES:], (laws.draws, n, _MOST_TIMES))
    failed = -np.expm1(-np.take_along_axis(total, at, axis=2))
    with np.errstate(divide="ignore"):
        mean_cost = planned[:, None] * (1 - failed) + failure[:, None] * failed
        rate = (mean_cost / np.take_along_axis(run, at, axis=2)).min(axis=2)
    return left, failed[..., 0], running, np.minimum(rate, failure / run[..., -1])
