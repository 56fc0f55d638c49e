"""How many seals will a position use up to a time, whatever the law of their lives?

In: a law, times, the age of the seal now in. Out: `Renewals`, `RenewalCounts`. Next:
`seallife.spares.replacement`; for Weibull laws alone, `seallife.spares.weibullrenewal`.

Each seal that fails is followed at once by a new one. All figures stand between bounds that no
error of the method can cross. Times and ages are in the unit of the law; for calendar time with a
law in run hours give days times the hours a day that the position runs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.life.groups import Floats
from seallife.spares.cumulative import Law, cumulative_rate
from seallife.spares.lattice import convolve, due, life_steps, refine, steps_before

__all__ = ["RenewalCounts", "Renewals", "count_distribution", "renewal_of"]

_ROUNDING = 1e-14
"""What a sum of chances may be off by, for each step."""


@dataclass(frozen=True, eq=False)
class Renewals:
    """Expected number of renewals up to each time.

    Attributes
    ----------
    times, value, low, high : ndarray, shape (t,)
        The number, and bounds between which it is sure to lie.
    steps : int
        Steps into which time was cut.
    """

    times: Floats
    value: Floats
    low: Floats
    high: Floats
    steps: int


@dataclass(frozen=True, eq=False)
class RenewalCounts:
    """How the number of renewals up to each time is distributed.

    Attributes
    ----------
    times : ndarray, shape (t,)
    at_least, at_least_low, at_least_high : ndarray, shape (t, most + 2)
        Chance of k renewals or more, k from 0 to most + 1, and its bounds.
    steps : int
        Steps into which time was cut.
    """

    times: Floats
    at_least: Floats
    at_least_low: Floats
    at_least_high: Floats
    steps: int

    @property
    def chance(self) -> Floats:
        """Chance of exactly k renewals, k from 0 to most, shape (t, most + 1)."""
        return self.at_least[:, :-1] - self.at_least[:, 1:]

    @property
    def chance_limits(self) -> tuple[Floats, Floats]:
        """Bounds of `chance`."""
        low = self.at_least_low[:, :-1] - self.at_least_high[:, 1:]
        return np.maximum(low, 0.0), self.at_least_high[:, :-1] - self.at_least_low[:, 1:]

    @property
    def more(self) -> Floats:
        """Chance of more than ``most`` renewals, shape (t,)."""
        return self.at_least[:, -1]


def renewal_of(
    law: Law, times: ArrayLike, *, age: float = 0.0, tolerance: float = 1e-3
) -> Renewals:
    """How many seals will a position use up to each time?

    Parameters
    ----------
    law : callable or (ages, cumulative)
        Cumulative failure rate, see `cumulative_rate`.
    times : array_like, shape (t,)
        Times from now, above 0.
    age : float
        Age of the seal now in; 0 for a new one.
    tolerance : float
        Distance between bounds at which to stop; they are left wider where that takes too long.

    Returns
    -------
    Renewals

    Raises
    ------
    InputError
        Times not above 0, an age below 0, no law, or a seal of that age can no longer run.

    Notes
    -----
    The value itself is far closer than its bounds where the failure rate has no jump.

    Source
    ------
    Cox (1962), Renewal Theory, ch. 4; bounds by rounding lives down and up as in Feller (1971), An
    Introduction to Probability Theory and Its Applications II, ch. XI.

    Examples
    --------
    >>> found = renewal_of(lambda x: (x / 10_000) ** 2, [10_000, 20_000])
    >>> found.value.round(4).tolist()
    [0.7537, 1.894]
    """
    cumulative = cumulative_rate(law)
    at = _times(times, age, tolerance)
    _can_run(cumulative(np.array([age])), age)

    def bounds(n: int) -> tuple[Floats, Floats, Floats]:
        step = float(at.max()) / n
        life = life_steps(cumulative, step, n + 1)
        first = life if age == 0 else life_steps(cumulative, step, n + 1, age)
        soon = np.cumsum(due(life, first))
        late = np.cumsum(due(_later(life), _later(first)))
        up, down = steps_before(at, step)
        return _middle(soon, late, at / step), late[up] - _ROUNDING * n, soon[down] + _ROUNDING * n

    return Renewals(at, *refine(bounds, tolerance))


def count_distribution(
    law: Law, times: ArrayLike, most: int, *, age: float = 0.0, tolerance: float = 1e-3
) -> RenewalCounts:
    """How likely is each number of seals used up to each time?

    Parameters
    ----------
    law, times, age, tolerance
        As for `renewal_of`; the tolerance is that of a chance.
    most : int
        Largest number asked for.

    Returns
    -------
    RenewalCounts

    Raises
    ------
    InputError
        As for `renewal_of`, or ``most`` is below 0.
    """
    if most < 0:
        raise InputError(f"is {most!r}", where="most", hint="give 0 or more")
    cumulative = cumulative_rate(law)
    at = _times(times, age, tolerance)
    _can_run(cumulative(np.array([age])), age)

    def bounds(n: int) -> tuple[Floats, Floats, Floats]:
        step = float(at.max()) / n
        life = life_steps(cumulative, step, n + 1)
        ends = life if age == 0 else life_steps(cumulative, step, n + 1, age)
        up, down = steps_before(at, step)
        value, low, high = (np.ones((len(at), most + 2)) for _ in range(3))
        for k in range(1, most + 2):
            reached = np.cumsum(ends)
            early = np.append(np.zeros(k), reached)  # k lives cut up: k steps later
            value[:, k] = _middle(reached, early[: n + 1], at / step)
            low[:, k] = np.maximum(early[up] - _ROUNDING * n, 0.0)
            high[:, k] = np.minimum(reached[down] + _ROUNDING * n, 1.0)
            ends = convolve(ends, life)
        return value, low, high

    value, low, high, steps = refine(bounds, tolerance)
    return RenewalCounts(at, np.minimum.accumulate(value, axis=1), low, high, steps)


def _times(times: ArrayLike, age: float, tolerance: float) -> Floats:
    """Times as an array."""
    at = np.atleast_1d(np.asarray(times, dtype=np.float64))
    if at.ndim != 1 or not len(at) or not np.all(np.isfinite(at) & (at > 0)):
        raise InputError("are not times above 0", where="times", hint="give one or more")
    if not (np.isfinite(age) and age >= 0):
        raise InputError(f"is {age!r}", where="age", hint="give an age from 0")
    if not tolerance > 0:
        raise InputError(f"is {tolerance!r}", where="tolerance", hint="give a figure above 0")
    return at


def _can_run(total: Floats, age: float) -> None:
    """Refuse an age that no seal reaches."""
    if not np.isfinite(total).all():
        raise InputError(f"is {age:g}, which no seal of this law reaches", where="age")


def _later(ends: Floats) -> Floats:
    """A life cut up to whole steps in place of down."""
    return np.append(0.0, ends[:-1])


def _middle(soon: Floats, late: Floats, at: Floats) -> Floats:
    """Between the two counts at any time, in steps; both are of the time at a whole step."""
    middle = (np.append(0.0, soon[:-1]) + late[: len(soon)]) / 2
    return np.interp(at, np.arange(len(middle)), middle)
